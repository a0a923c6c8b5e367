"""The engine over many cases, in chunks, on any executor: threads, processes, or a cluster.

Every row is worked out by itself, so that results are the same to the last bit for any executor, any number of workers
and any cutting into chunks, on processors of one family with one C library. The engine draws no random numbers.

On this computer, by threads or by processes::

    results = sweep_cases(cases)
    results = sweep_cases(cases, executor=process_pool, keep="map.sweep")

On a Dask cluster (``clackwork[cluster]``), whose workers have the same clackwork and numba::

    with Client(address) as client:
        results = sweep_cases(cases, executor=client.get_executor(pure=False), keep="map.sweep")
"""

from __future__ import annotations

import contextlib
import functools
import hashlib
import math
import os
import platform
import time
from collections import deque
from collections.abc import Callable, Generator, Sequence
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, Executor, Future, ThreadPoolExecutor, wait
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from clackwork._cache import kernel_key
from clackwork.errors import ClackworkError, InputError, ModelError, require_range
from clackwork.ram import kernel
from clackwork.ram.batch import Progress, run_packed
from clackwork.ram.engine import BeatResult, RamCase, pack, unpack
from clackwork.ram.kept_rows import KeptRows, RowArray
from clackwork.ram.operating import held_case, settled_rows
from clackwork.ram.parts import DeliveryLine
from clackwork.water import Water

FloatArray = NDArray[np.float64]
Workers = Executor | Callable[[], Executor] | None
"""Where chunks go: an executor, which stays open; what makes one; or None for threads on all cores."""

CHUNK_TIME = 0.2
"""Work in a chunk [s]: a hundred times what a cluster spends on a task (1.6-2.1 ms measured with Dask)."""
_THREAD_CHUNK_TIME = 0.02
"""A thread of this process takes a chunk in some 0.1 ms, so that small ones cost nothing and share out better."""
_MOST_WAITING = 512
"""Chunks sent and not yet back: enough for as many workers, few enough to hold in memory."""
_FIRST_ROWS = 3
"""Rows of the first chunk, from all over the work, by whose time the others are cut."""
_ENGINE_SOURCES = kernel_key()
"""Of the sources as they were when this process read them."""


@dataclass(frozen=True)
class _Work:
    """Rows for the engine; where ``lines`` is not empty it holds a row's line and water, or None for a head held."""

    packed: FloatArray
    lines: tuple[tuple[DeliveryLine, Water] | None, ...] = ()

    def chunk(self, rows: RowArray) -> _Work:
        """Some of the rows."""
        return _Work(self.packed[rows], tuple(self.lines[row] for row in rows) if self.lines else ())

    @property
    def digest(self) -> str:
        """Digest of all that goes into the results."""
        found = hashlib.sha256(repr((kernel.PARAMETERS, self.packed.shape)).encode())
        found.update(np.ascontiguousarray(self.packed).tobytes())
        for line in self.lines:
            found.update(repr(line).encode())
        return found.hexdigest()


@dataclass(frozen=True)
class _Answer:
    """What comes back: results of a chunk, or the ``fault`` that ended it."""

    results: FloatArray
    seconds: float
    engine: str
    fault: str = ""


@functools.cache
def _engine() -> str:
    """What results depend on besides inputs: sources, compiler, kind of processor."""
    from importlib.metadata import version

    return f"sources {_ENGINE_SOURCES}, numba {version('numba')}, {platform.machine()}"


def _run_rows(work: _Work) -> FloatArray:
    """Results of all rows of a piece of work: float64[rows, len(RESULTS)]."""
    return settled_rows(work.packed, work.lines or (None,) * len(work.packed), workers=1)


def _run_chunk(work: _Work) -> _Answer:
    """Run one chunk where it was sent. A fault of the work comes back as an answer: what raises is a worker lost."""
    try:
        if not getattr(kernel.simulate, "signatures", True):  # compile before the clock runs
            run_packed(work.packed[:1], workers=1)
        began = time.perf_counter()
        results = _run_rows(work)
        return _Answer(results, time.perf_counter() - began, _engine())
    except Exception as error:
        return _Answer(np.zeros((0, len(kernel.RESULTS))), 0.0, _engine(), f"{type(error).__name__}: {error}")


def process_pool(workers: int | None = None) -> Executor:
    """A pool of processes, each with an interpreter of its own; all cores when not given.

    They are started afresh (spawned), not forked: a fork of a process with threads may hang. A script that makes one
    keeps its own work under ``if __name__ == "__main__":``.
    """
    import multiprocessing
    from concurrent.futures import ProcessPoolExecutor

    if workers is not None:
        require_range("workers", workers, 1, 10_000, "")
    return ProcessPoolExecutor(workers, mp_context=multiprocessing.get_context("spawn"))


class _Sender:
    """Chunks on their way: cuts and sends them, takes answers back, sends again what was lost."""

    def __init__(self, work: _Work, todo: RowArray, workers: Workers, chunk_time: float, sendings: int) -> None:
        first = np.unique(np.linspace(0, len(todo) - 1, _FIRST_ROWS).astype(np.int64))
        self._todo = np.concatenate([todo[first], np.delete(todo, first)])
        self._next, self._first_rows = 0, len(first)
        self._work, self._chunk_time, self._sendings, self._pace = work, chunk_time, sendings, math.nan
        self._make: Callable[[], Executor] | None
        if isinstance(workers, Executor):
            self._make, self._executor = None, workers
        else:
            self._chunk_time = chunk_time if workers else min(chunk_time, _THREAD_CHUNK_TIME)
            self._make = workers or _threads
            self._executor = self._make()
        self._sent: dict[Future[_Answer], tuple[RowArray, int]] = {}
        self._again: deque[tuple[RowArray, int]] = deque()

    def answers(self) -> Generator[tuple[RowArray, FloatArray]]:
        """Rows and their results, as chunks come back."""
        ended = False
        try:
            while self._fill():
                broken: BrokenExecutor | None = None
                for future in wait(self._sent, return_when=FIRST_COMPLETED).done:
                    rows, times = self._sent.pop(future)
                    try:
                        answer = future.result()
                    except Exception as lost:
                        self._lose(rows, times, lost)
                        broken = lost if isinstance(lost, BrokenExecutor) else broken
                        continue
                    yield rows, self._checked(rows, answer)
                if broken is not None:
                    self._renew(broken)
            ended = True
        finally:
            for future in self._sent:
                future.cancel()
            if self._make is not None:
                self._executor.shutdown(wait=ended)

    def _fill(self) -> bool:
        """Send chunks until enough are on their way; False when none is left, sent or to send."""
        while len(self._sent) < _MOST_WAITING:
            if self._again:
                rows, times = self._again.popleft()
            elif self._next < len(self._todo) and not (math.isnan(self._pace) and self._sent):
                rows, times = self._cut(), 0
            else:
                break
            try:
                future = self._executor.submit(_run_chunk, self._work.chunk(rows))
            except BrokenExecutor as lost:
                self._lose(rows, times, lost)
                self._renew(lost)
            except RuntimeError as error:
                raise ClackworkError(f"The executor takes no work: {error}. Give one that is open.") from error
            else:
                self._sent[future] = (rows, times + 1)
        return bool(self._sent)

    def _cut(self) -> RowArray:
        """The next chunk of rows: of some ``chunk_time`` by the pace of those that came back."""
        size = self._first_rows if math.isnan(self._pace) else math.ceil(self._chunk_time / max(self._pace, 1e-6))
        rows = self._todo[self._next : self._next + size]
        self._next += len(rows)
        return rows

    def _checked(self, rows: RowArray, answer: _Answer) -> FloatArray:
        """Results of an answer that holds some, of this very engine."""
        if answer.fault:
            raise ClackworkError(f"Rows {_named(rows)} could not be run: {answer.fault}.")
        if answer.engine != _engine():
            raise ClackworkError(
                f"A worker runs another engine ({answer.engine}; this one is {_engine()}): its results would not be the "
                "same. Install one version of clackwork and numba on all."
            )
        pace = answer.seconds / len(rows)
        self._pace = pace if math.isnan(self._pace) else 0.5 * (self._pace + pace)
        return answer.results

    def _lose(self, rows: RowArray, times: int, lost: Exception) -> None:
        """Put a chunk whose worker was lost in line again, or give up."""
        if times >= self._sendings:
            raise ClackworkError(
                f"Rows {_named(rows)} were sent to workers {times} times and never came back; the last was lost by "
                f"{type(lost).__name__}: {lost}. Look at the workers' own log and their memory."
            ) from lost
        self._again.append((rows, times))

    def _renew(self, lost: BrokenExecutor) -> None:
        """Another pool for one that broke, which takes all that was on its way with it."""
        if self._make is None:
            raise ClackworkError(
                "A worker was lost and broke its pool. Call again with a new pool, or give what makes one, such as "
                "executor=process_pool, and lost chunks are sent again."
            ) from lost
        for rows, times in self._sent.values():
            self._lose(rows, times, lost)
        self._sent.clear()
        self._executor.shutdown(wait=False)
        self._executor = self._make()


def _threads() -> Executor:
    return ThreadPoolExecutor(os.cpu_count() or 1)


def _named(rows: RowArray) -> str:
    """Rows for a sentence: "3, 9, 17 and 20 more"."""
    said = ", ".join(str(row) for row in rows[:3])
    return said + (f" and {len(rows) - 3} more" if len(rows) > 3 else "")


def _sweep(
    work: _Work,
    executor: Workers,
    keep: Path | str | None,
    progress: Progress | None,
    chunk_time: float,
    sendings: int,
) -> FloatArray:
    """Results of all rows of some work: float64[rows, len(RESULTS)]."""
    require_range("chunk_time", chunk_time, 0.0, 3600.0, "s")
    require_range("sendings", sendings, 1, 1000, "")
    count = len(work.packed)
    results = np.zeros((count, len(kernel.RESULTS)))
    missing = np.ones(count, dtype=bool)
    kept = None
    if keep is not None:
        kept = KeptRows(Path(keep), work.digest, _engine(), count, kernel.RESULTS)
        rows, found = kept.open()
        results[rows], missing[rows] = found, False
    todo = np.flatnonzero(missing)
    done = count - len(todo)
    if progress:
        progress(done, count)
    if not len(todo):
        return results
    with contextlib.closing(_Sender(work, todo, executor, chunk_time, sendings).answers()) as answers:
        for rows, found in answers:
            results[rows] = found
            if kept is not None:
                kept.add(rows, found)
            done += len(rows)
            if progress:
                progress(done, count)
    return results


def sweep_rows(
    packed: FloatArray,
    *,
    lines: Sequence[tuple[DeliveryLine, Water]] = (),
    executor: Workers = None,
    keep: Path | str | None = None,
    progress: Progress | None = None,
    chunk_time: float = CHUNK_TIME,
    sendings: int = 3,
) -> FloatArray:
    """Simulate every row of ``packed`` on an executor.

    Parameters
    ----------
    packed : float64[cases, len(PARAMETERS)]
    lines : sequence of (DeliveryLine, Water), optional
        One for each row, then run at its operating point; left out, every row is run at its own head.
    executor : Executor, callable or None
        Any :class:`concurrent.futures.Executor`; what makes one, such as :func:`process_pool`, which is then closed at
        the end and made again when a lost worker breaks it; None for threads on all cores.
    keep : path, optional
        File that keeps the results of finished chunks; a second call with the same rows goes on from it.
    progress : callable, optional
        Called with (rows done, all), first before any is run; it may raise to stop. What is kept by then stays.
    chunk_time : float, optional
        Work in a chunk [s]; at most 0.02 s for threads by None.
    sendings : int, optional
        Times that a chunk is sent at most, when its worker is lost each time.

    Returns
    -------
    float64[cases, len(RESULTS)]
        Rows in the order given, the same to the last bit as :func:`clackwork.ram.operating.settled_rows`.

    Raises
    ------
    InputError
        When the rows are of another shape, or not as many as the lines, or the file keeps results of other inputs or
        another engine.
    ClackworkError
        When workers are lost too often, or run another engine, or the file cannot be written.
    """
    packed = np.ascontiguousarray(packed, dtype=np.float64)
    if packed.ndim != 2 or packed.shape[1] != len(kernel.PARAMETERS):
        allowed = f"it must be of shape (cases, {len(kernel.PARAMETERS)})"
        raise InputError("packed", f"an array of shape {packed.shape}", allowed, "Make its rows by engine.pack.")
    if lines and len(lines) != len(packed):
        raise InputError("lines", f"{len(lines)}", f"it must be one for each of the {len(packed)} rows, or none")
    return _sweep(_Work(packed, tuple(lines)), executor, keep, progress, chunk_time, sendings)


def sweep_cases(
    cases: Sequence[RamCase],
    *,
    executor: Workers = None,
    keep: Path | str | None = None,
    progress: Progress | None = None,
    chunk_time: float = CHUNK_TIME,
    sendings: int = 3,
) -> list[BeatResult]:
    """Settled beats of many cases on an executor, each at its held head, or at its operating point when it has a line.

    Parameters
    ----------
    cases : sequence of RamCase
    executor, keep, progress, chunk_time, sendings
        As for :func:`sweep_rows`.

    Returns
    -------
    list of BeatResult
        In the order given, the same to the last bit as one by one.

    Raises
    ------
    ModelError
        When a case cannot be run, with its place among the cases.
    InputError, ClackworkError
        As for :func:`sweep_rows`.
    """
    held = [held_case(case) for case in cases]
    packed = np.zeros((len(held), len(kernel.PARAMETERS)))
    for i, case in enumerate(held):
        try:
            packed[i] = pack(case)
        except ModelError as error:
            raise ModelError(f"Case {i} of {len(held)}: {error}") from error
    lines = tuple((case.line, case.water) if case.line else None for case in cases)
    work = _Work(packed, lines if any(lines) else ())
    results = _sweep(work, executor, keep, progress, chunk_time, sendings)
    return [unpack(case, row, result) for case, row, result in zip(held, packed, results, strict=True)]
