"""Sweeps give the same numbers on any executor, go on where they were stopped, and lose nothing with a worker."""

from __future__ import annotations

import functools
import math
import os
import signal
import subprocess
import sys
from collections.abc import Callable
from concurrent.futures import Executor, Future, ProcessPoolExecutor, ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from clackwork.errors import ClackworkError, InputError, ModelError
from clackwork.pipes import find_pipe
from clackwork.ram import kernel, sweep
from clackwork.ram.batch import run_packed
from clackwork.ram.engine import BeatResult, RamCase, pack, run_beats
from clackwork.ram.operating import held_case, operating_point
from clackwork.ram.parts import (
    AirVessel,
    Build,
    DeliveryLine,
    DeliveryValve,
    DrivePipe,
    GuidedPoppet,
    Supply,
    Surroundings,
)
from clackwork.ram.sweep import process_pool, sweep_cases, sweep_rows

BUILD = Build("invented", GuidedPoppet(0.25, 0.006, 0.028), DeliveryValve(0.022), AirVessel(4e-3))
PIPE = DrivePipe(find_pipe("steel-sch40", "1 in"), 12.0)
LINE = DeliveryLine(find_pipe("pe100-sdr11", "25 mm"), 120.0, 20.0)
KILL = getattr(signal, "SIGKILL", signal.SIGTERM)


def cases_of(count: int) -> list[RamCase]:
    """Held heads, lines and a warmer, higher place by turns; one stalls."""
    found = []
    for i in range(count):
        case = RamCase(BUILD.retuned(mass=0.15 + 0.25 * i / count), PIPE, Supply(4.0), vessel_head=16.0)
        if i % 3 == 1:
            case = replace(case, vessel_head=None, line=LINE)
        if i % 5 == 4:
            case = replace(case, surroundings=Surroundings(temperature=293.15, altitude=800.0))
        if i == count // 2:
            case = replace(case, build=case.build.retuned(mass=9.0))
        found.append(case)
    return found


def one_by_one(cases: list[RamCase]) -> list[BeatResult]:
    return [operating_point(case) if case.line else run_beats(case) for case in cases]


CASES = cases_of(30)


@pytest.fixture(scope="module")
def expected() -> list[BeatResult]:
    return one_by_one(CASES)


@pytest.fixture(scope="module")
def rows() -> np.ndarray:
    return np.array([pack(replace(case, line=None, vessel_head=16.0)) for case in CASES])


class Stop(Exception):
    """Raised by a user who has seen enough."""


def stop_after(share: float) -> Callable[[int, int], None]:
    def progress(done: int, count: int) -> None:
        if done >= share * count:
            raise Stop

    return progress


class Inline(Executor):
    """Runs each task when it is sent; ``loses`` says which sendings are lost, ``changed`` alters answers."""

    def __init__(self, loses: Callable[[int], bool] = lambda _: False, **changed: Any) -> None:
        self.loses, self.changed = loses, changed
        self.sizes: list[int] = []

    def submit(self, fn: Any, /, *args: Any, **kwargs: Any) -> Future[Any]:
        future: Future[Any] = Future()
        size = len(args[0].packed)
        self.sizes.append(size)
        if self.loses(len(self.sizes)):
            future.set_exception(OSError("connection reset"))
        else:
            answer = fn(*args, **kwargs)
            changed = {"seconds": 0.01 * size} | self.changed
            future.set_result(replace(answer, **changed))
        return future


# --- the same numbers ---


@pytest.mark.parametrize("threads", [None, 1, 2, 5])
def test_threads_give_the_numbers_of_one_by_one(expected: list[BeatResult], threads: int | None) -> None:
    """Frozen dataclasses of floats: equal means equal to the last bit."""
    if threads is None:
        assert sweep_cases(CASES) == expected
        return
    with ThreadPoolExecutor(threads) as pool:
        assert sweep_cases(CASES, executor=pool, chunk_time=0.01) == expected
        assert pool.submit(abs, -1).result() == 1  # given open, left open
    assert {result.state for result in expected} >= {"beating", "stalled open"}


def test_rows_are_those_of_a_batch(rows: np.ndarray) -> None:
    before = rows.copy()
    assert np.array_equal(sweep_rows(rows), run_packed(rows, workers=1))
    assert np.array_equal(rows, before)


def test_rows_with_lines_are_at_their_operating_points(expected: list[BeatResult]) -> None:
    lined = [case for case in CASES if case.line]
    packed = np.array([pack(held_case(case)) for case in lined])
    found = sweep_rows(packed, lines=[(case.line, case.water) for case in lined if case.line])
    flows = [result.delivered_flow for case, result in zip(CASES, expected, strict=True) if case.line]
    assert list(found[:, kernel.R["delivered_flow"]]) == flows
    with pytest.raises(InputError, match="one for each"):
        sweep_rows(packed, lines=[(LINE, lined[0].water)])


def test_spawned_processes_give_the_same_and_one_killed_loses_nothing(expected: list[BeatResult]) -> None:
    pools: list[ProcessPoolExecutor] = []
    killed: list[int] = []

    def make() -> Executor:
        pool = process_pool(2)
        assert isinstance(pool, ProcessPoolExecutor)
        pools.append(pool)
        return pool

    def progress(done: int, count: int) -> None:
        if done >= count // 3 and not killed:
            killed.append(min(pools[0]._processes))
            os.kill(killed[0], KILL)

    assert sweep_cases(CASES, executor=make, chunk_time=0.005, progress=progress) == expected
    assert len(killed) == 1
    assert len(pools) == 2


def test_a_given_pool_that_breaks_says_so_and_what_is_done_is_kept(rows: np.ndarray, tmp_path: Path) -> None:
    with ProcessPoolExecutor(1, mp_context=process_pool()._mp_context) as pool:  # type: ignore[attr-defined]

        def progress(done: int, count: int) -> None:
            if done:
                os.kill(min(pool._processes), KILL)

        with pytest.raises(ClackworkError, match="executor=process_pool"):
            sweep_rows(rows, executor=pool, keep=tmp_path / "kept", progress=progress, chunk_time=0.005)
    seen: list[int] = []
    again = sweep_rows(rows, keep=tmp_path / "kept", progress=lambda done, _: seen.append(done))
    assert 0 < seen[0] < len(rows)
    assert np.array_equal(again, run_packed(rows, workers=1))


# --- stopped and resumed ---


def test_a_stopped_sweep_goes_on_where_it_was(rows: np.ndarray, tmp_path: Path) -> None:
    keep = tmp_path / "map.sweep"
    first = Inline()
    with pytest.raises(Stop):
        sweep_rows(rows, executor=first, keep=keep, progress=stop_after(0.4), chunk_time=0.04)
    second, seen = Inline(), []
    results = sweep_rows(rows, executor=second, keep=keep, progress=lambda *at: seen.append(at), chunk_time=0.04)
    assert np.array_equal(results, run_packed(rows, workers=1))
    kept = seen[0][0]
    assert 0.4 * len(rows) <= kept < len(rows)
    assert sum(second.sizes) == len(rows) - kept
    assert seen[-1] == (len(rows), len(rows))
    third = Inline()
    assert np.array_equal(sweep_rows(rows, executor=third, keep=keep), results)
    assert third.sizes == []


def test_cases_with_lines_resume(expected: list[BeatResult], tmp_path: Path) -> None:
    with pytest.raises(Stop):
        sweep_cases(CASES, keep=tmp_path / "kept", progress=stop_after(0.3), chunk_time=0.005)
    assert sweep_cases(CASES, keep=tmp_path / "kept") == expected


def test_a_piece_of_a_record_and_a_flipped_bit_cost_their_rows_only(rows: np.ndarray, tmp_path: Path) -> None:
    keep = tmp_path / "kept"
    results = sweep_rows(rows, keep=keep)
    content = bytearray(keep.read_bytes())
    content[-1000] ^= 1
    keep.write_bytes(content[:-7])
    executor = Inline()
    for run_again in (2, 0):
        assert np.array_equal(sweep_rows(rows, executor=executor, keep=keep), results)
        assert sum(executor.sizes) == run_again
        executor = Inline()


def test_a_file_of_other_work_is_refused_and_left_alone(
    rows: np.ndarray, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    keep = tmp_path / "kept"
    sweep_rows(rows[:4], keep=keep)
    content = keep.read_bytes()
    changed = rows[:4].copy()
    changed[2, kernel.P["fall"]] = np.nextafter(changed[2, kernel.P["fall"]], 9.0)
    with pytest.raises(InputError, match="results of other inputs"):
        sweep_rows(changed, keep=keep)
    with pytest.raises(InputError, match=r"other inputs \(4 rows; these are 3\)"):
        sweep_rows(rows[:3], keep=keep)
    monkeypatch.setattr(sweep, "_engine", lambda: "sources of another day")
    with pytest.raises(InputError, match="another engine"):
        sweep_rows(rows[:4], keep=keep)
    assert keep.read_bytes() == content
    keep.write_text("my shopping list\n")
    with pytest.raises(InputError, match="file in which a sweep keeps its results"):
        sweep_rows(rows[:4], keep=keep)
    assert keep.read_text() == "my shopping list\n"


def test_other_lines_are_other_inputs(tmp_path: Path) -> None:
    lined = [replace(CASES[1], line=replace(LINE, fittings_loss=loss)) for loss in (0.0, 5.0)]
    sweep_cases(lined[:1], keep=tmp_path / "kept")
    with pytest.raises(InputError, match="other inputs"):
        sweep_cases(lined[1:], keep=tmp_path / "kept")


def test_a_file_that_cannot_be_written_is_named(rows: np.ndarray, tmp_path: Path) -> None:
    for path in (tmp_path, tmp_path / "missing" / "kept"):
        with pytest.raises(ClackworkError, match="could not be used"):
            sweep_rows(rows[:1], keep=path)


# --- chunks and lost workers ---


def test_chunks_hold_as_much_work_as_asked(rows: np.ndarray) -> None:
    """At 10 ms a row, as the inline executor says, a chunk of 80 ms holds 8 rows; the first few rows set the pace."""
    executor = Inline()
    sweep_rows(rows, executor=executor, chunk_time=0.08)
    assert executor.sizes == [3, 8, 8, 8, 3]
    assert sweep.CHUNK_TIME >= 0.1


def test_a_lost_chunk_is_sent_again(rows: np.ndarray) -> None:
    executor = Inline(loses=lambda sending: sending in (1, 3, 4))
    assert np.array_equal(sweep_rows(rows, executor=executor, chunk_time=0.1), run_packed(rows, workers=1))
    assert sum(executor.sizes) > len(rows)


def test_a_chunk_lost_every_time_is_given_up(rows: np.ndarray) -> None:
    executor = Inline(loses=lambda _: True)
    with pytest.raises(ClackworkError, match=r"sent to workers 2 times and never came back.*OSError"):
        sweep_rows(rows, executor=executor, sendings=2)
    assert executor.sizes == [3, 3]


def test_a_worker_with_another_engine_is_refused(rows: np.ndarray) -> None:
    with pytest.raises(ClackworkError, match="A worker runs another engine"):
        sweep_rows(rows, executor=Inline(engine="older"))


def test_a_fault_of_the_work_is_not_taken_for_a_lost_worker(rows: np.ndarray, monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(*_: object, **__: object) -> None:
        raise ZeroDivisionError("no bore")

    monkeypatch.setattr(sweep, "settled_rows", fails)
    executor = Inline()
    with pytest.raises(ClackworkError, match="Rows 0, 14, 29 could not be run: ZeroDivisionError: no bore"):
        sweep_rows(rows, executor=executor)
    assert executor.sizes == [3]


def test_a_closed_executor_is_named(rows: np.ndarray) -> None:
    pool = ThreadPoolExecutor(1)
    pool.shutdown()
    with pytest.raises(ClackworkError, match="takes no work"):
        sweep_rows(rows, executor=pool)


# --- edges ---


def test_no_work_is_no_work() -> None:
    seen: list[tuple[int, int]] = []
    assert sweep_cases([], progress=lambda *at: seen.append(at)) == []
    assert seen == [(0, 0)]
    assert sweep_rows(np.zeros((0, len(kernel.PARAMETERS)))).shape == (0, len(kernel.RESULTS))


def test_what_cannot_be_run_is_said_before_any_is() -> None:
    level = replace(BUILD, waste_valve=replace(BUILD.waste_valve, tilt=0.5 * math.pi + 0.1))
    executor = Inline()
    with pytest.raises(ModelError, match=r"Case 1 of 2: .*no load to open it"):
        sweep_cases([CASES[0], replace(CASES[0], build=level)], executor=executor)
    assert executor.sizes == []
    with pytest.raises(InputError, match="of shape"):
        sweep_rows(np.zeros((3, 2)))
    with pytest.raises(InputError, match="sendings"):
        sweep_cases(CASES, sendings=0)
    with pytest.raises(InputError, match="workers"):
        process_pool(0)


def test_the_package_does_not_import_a_cluster() -> None:
    program = (
        "import importlib, pkgutil, sys, clackwork\n"
        "for found in pkgutil.walk_packages(clackwork.__path__, 'clackwork.'):\n"
        "    if not found.name.endswith(('__main__', '.migrations.env')):\n"
        "        importlib.import_module(found.name)\n"
        "print('clackwork.ram.sweep' in sys.modules, 'dask' in sys.modules, 'distributed' in sys.modules)\n"
    )
    root = Path(__file__).resolve().parents[2]
    shown = subprocess.run([sys.executable, "-c", program], cwd=root, capture_output=True, text=True, check=True)
    assert shown.stdout.split() == ["True", "False", "False"]


@pytest.mark.slow
def test_a_cluster_that_loses_a_worker_midway_loses_nothing(tmp_path: Path) -> None:
    """Two worker processes on this computer's own address, one killed; then what was kept is finished without them."""
    distributed = pytest.importorskip("distributed")
    cases = cases_of(90)
    expected = one_by_one(cases)
    place = functools.partial(distributed.LocalCluster, host="127.0.0.1", dashboard_address=None, protocol="tcp")
    with (
        place(n_workers=2, threads_per_worker=1, processes=True, local_directory=str(tmp_path)) as cluster,
        distributed.Client(cluster) as client,
    ):
        executor = client.get_executor(pure=False)
        before = client.run(os.getpid)
        killed: list[tuple[int, int]] = []

        def progress(done: int, count: int) -> None:
            if done >= count // 3 and not killed:
                address = next(iter(client.processing()))
                killed.append((done, before[address]))
                os.kill(before[address], KILL)

        found = sweep_cases(cases, executor=executor, chunk_time=0.02, progress=progress)
        assert found == expected
        assert len(before) == 2 and len(killed) == 1
        assert killed[0][0] < len(cases)
        client.wait_for_workers(2, timeout=60)
        assert killed[0][1] not in client.run(os.getpid).values()
        with pytest.raises(Stop):
            sweep_cases(cases, executor=executor, chunk_time=0.02, keep=tmp_path / "kept", progress=stop_after(0.5))
    assert sweep_cases(cases, keep=tmp_path / "kept") == expected
