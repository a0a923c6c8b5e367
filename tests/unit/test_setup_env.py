"""The set-up: what stands, what is missing, one start at a time, the kernel compiled ahead once."""

from __future__ import annotations

import importlib.util
import os
import re
import subprocess
import sys
import threading
from collections import namedtuple
from pathlib import Path
from types import ModuleType, SimpleNamespace

import pytest

ROOT = Path(__file__).resolve().parents[2]
LOCK_TEXT = """# made for the test
numpy==2.4.6 ; python_full_version < '3.12' \\
    --hash=sha256:00
    # via scipy==1.0 in a remark
numpy==2.5.5 ; python_full_version >= '3.12' \\
    --hash=sha256:11
vl-convert-python==1.9.0 \\
    --hash=sha256:22
"""


def module_of(name: str) -> ModuleType:
    """A fresh copy of a script of the project's folder, which is not on the path of an installed package."""
    spec = importlib.util.spec_from_file_location(name, ROOT / f"{name}.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture
def setup(tmp_path: Path) -> ModuleType:
    """The set-up, pointed at an empty folder."""
    module = module_of("setup_env")
    module.ROOT = tmp_path
    module.ENVIRONMENT = tmp_path / ".venv"
    for name in ("STAMP", "INCOMPLETE", "INSTALL_LOG"):
        setattr(module, name, module.ENVIRONMENT / getattr(module, name).name)
    module.LOCK_FILE = tmp_path / ".venv.lock"
    (tmp_path / module.RUN_LOCK).write_text(LOCK_TEXT)
    (tmp_path / module.TEST_LOCK).write_text(LOCK_TEXT + "pytest==8.4.0 \\\n    --hash=sha256:33\n")
    return module


@pytest.fixture
def installed(setup: ModuleType, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The locks installed, in order; the environment is real but nothing is fetched."""
    done: list[str] = []
    monkeypatch.setattr(setup, "_install", done.append)
    return done


# --- locks ---


def test_packages_of_a_lock(setup: ModuleType) -> None:
    assert setup.locked_packages(LOCK_TEXT) == {"numpy", "vl-convert-python"}


@pytest.mark.parametrize("lock", ["requirements.lock", "requirements-test.lock"])
def test_packages_of_the_locks_kept_here(setup: ModuleType, lock: str) -> None:
    names = setup.locked_packages((ROOT / lock).read_text())
    assert {"numpy", "scipy", "numba"} <= names
    assert all(re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", name) for name in names)
    assert ("pytest" in names) is (lock == "requirements-test.lock")


# --- what stands ---


def test_an_environment_is_made_once(setup: ModuleType, installed: list[str]) -> None:
    python = setup.ensure_environment()
    assert python.exists() and installed == [setup.RUN_LOCK]
    assert setup.ensure_environment() == python and installed == [setup.RUN_LOCK]
    shown = subprocess.run([str(python), "-c", "import sys; print(sys.path[-1])"], capture_output=True, text=True)
    assert shown.stdout.strip() == str(setup.ROOT)


def test_the_test_lock_serves_the_run_lock(setup: ModuleType, installed: list[str]) -> None:
    setup.ensure_environment(setup.TEST_LOCK)
    setup.ensure_environment(setup.RUN_LOCK)
    assert installed == [setup.TEST_LOCK]


def test_the_run_lock_does_not_serve_the_test_lock(setup: ModuleType, installed: list[str]) -> None:
    setup.ensure_environment(setup.RUN_LOCK)
    setup.ensure_environment(setup.TEST_LOCK)
    assert installed == [setup.RUN_LOCK, setup.TEST_LOCK]


@pytest.mark.parametrize("change", ["lock", "stamp gone", "stamp cut", "moved", "cut short", "another Python"])
def test_what_no_longer_fits_is_done_again(setup: ModuleType, installed: list[str], change: str) -> None:
    setup.ensure_environment()
    left_over = setup.ENVIRONMENT / "left-over"
    left_over.touch()
    stamp = setup.STAMP.read_text()
    if change == "lock":
        (setup.ROOT / setup.RUN_LOCK).write_text(LOCK_TEXT.replace("2.4.6", "2.4.7"))
    elif change == "stamp gone":
        setup.STAMP.unlink()
    elif change == "stamp cut":
        setup.STAMP.write_text(stamp[: len(stamp) // 2])
    elif change == "moved":
        setup.STAMP.write_text(stamp.replace(str(setup.ROOT), str(setup.ROOT / "before")))
    elif change == "cut short":
        setup.INCOMPLETE.touch()
    else:
        setup.STAMP.write_text(re.sub(r'("interpreter": ).*', r'\1"python3.0"', stamp))
    setup.ensure_environment()
    assert installed == [setup.RUN_LOCK] * 2 and setup.STAMP.read_text().count("python") >= 1
    assert left_over.exists() is (change not in ("cut short", "another Python"))  # a doubtful one is made afresh
    assert not setup.INCOMPLETE.exists()


def test_an_install_that_ends_badly_leaves_no_stamp(setup: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(setup, "PIP_WHEEL", setup.ROOT / "pip.whl")
    setup.PIP_WHEEL.write_bytes(b"not a wheel")
    monkeypatch.setattr(setup, "PIP_WHEEL_SHA256", setup.sha256_of(setup.PIP_WHEEL))
    monkeypatch.setattr(setup, "ROOM_NEEDED", {setup.RUN_LOCK: 1.0})
    with pytest.raises(setup.SetupError, match=r"could not be installed.*clackwork-install.log"):
        setup.ensure_environment()
    assert setup.INCOMPLETE.exists() and not setup.STAMP.exists() and setup.INSTALL_LOG.read_text()


# --- what is missing ---


def test_without_the_venv_module_the_package_is_named(setup: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "venv", None)
    with pytest.raises(setup.SetupError, match="sudo apt install python3-venv"):
        setup.ensure_environment()


def test_a_changed_pip_wheel_is_refused(setup: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(setup, "PIP_WHEEL", setup.ROOT / setup.RUN_LOCK)
    with pytest.raises(setup.SetupError, match="was changed or cut short"):
        setup._install(setup.RUN_LOCK)


def test_too_little_room_is_said_first(setup: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(setup, "ROOM_NEEDED", {setup.RUN_LOCK: 1e18})
    with pytest.raises(setup.SetupError, match=r"GB free and 1000000000\.0 GB needed"):
        setup._install(setup.RUN_LOCK)
    assert not setup.INCOMPLETE.exists()


def test_a_file_in_the_environments_place_is_not_removed(setup: ModuleType) -> None:
    setup.ENVIRONMENT.write_text("a note")
    with pytest.raises(setup.SetupError, match="move it away"):
        setup.ensure_environment()
    assert setup.ENVIRONMENT.read_text() == "a note"


def test_a_folder_that_cannot_be_written_is_said(setup: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(setup, "LOCK_FILE", setup.ROOT / setup.RUN_LOCK / "below a file")
    with pytest.raises(setup.SetupError, match=r"cannot be written.*copy the project to a folder of your own"):
        setup.ensure_environment()


@pytest.mark.parametrize(
    ("log", "sentence"),
    [
        ("ERROR: [Errno 28] No space left on device", "The disk filled up"),
        ("THESE PACKAGES DO NOT MATCH THE HASHES FROM THE REQUIREMENTS FILE", "not the one the lock names"),
        ("SSLError(1, '[SSL: CERTIFICATE_VERIFY_FAILED]')\nMax retries exceeded", "sudo apt install ca-certificates"),
        ("NewConnectionError: [Errno -3] Temporary failure in name resolution", "could not be reached"),
        ("ERROR: No matching distribution found for numba==0.68", "no ready-made package for this machine"),
        ("something else", "The packages could not be installed."),
    ],
)
def test_pips_words_become_a_sentence(setup: ModuleType, log: str, sentence: str) -> None:
    assert sentence in setup.explain_install(log)


def test_the_callers_packages_are_not_seen(setup: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PYTHONPATH", "elsewhere")
    monkeypatch.setenv("PIP_INDEX_URL", "kept")
    variables = setup.clean_variables()
    assert "PYTHONPATH" not in variables
    assert variables["PYTHONNOUSERSITE"] == "1" and variables["PIP_INDEX_URL"] == "kept"


Version = namedtuple("Version", "major minor micro")


@pytest.mark.parametrize(
    ("version", "fits"), [((3, 10, 13), False), ((3, 11, 0), True), ((3, 13, 9), True), ((3, 14, 0), False)]
)
def test_a_python_that_does_not_fit_is_said(
    monkeypatch: pytest.MonkeyPatch, version: tuple[int, int, int], fits: bool
) -> None:
    start = module_of("start")
    monkeypatch.setattr(start, "sys", SimpleNamespace(version_info=Version(*version), argv=["start.py"], exit=sys.exit))
    monkeypatch.setattr(start, "shutil", SimpleNamespace(which=lambda name: None))
    if fits:
        start.use_a_python_that_fits()
        return
    with pytest.raises(SystemExit) as ended:
        start.use_a_python_that_fits()
    sentence = f"Python 3.11, 3.12 or 3.13 is needed and this is {version[0]}.{version[1]}"
    assert str(ended.value.code).startswith(sentence) and "sudo apt install" in str(ended.value.code)


def test_another_python_on_the_path_takes_over(monkeypatch: pytest.MonkeyPatch) -> None:
    """The first that runs; one that is only a name, as a version manager leaves them, is passed over."""
    start = module_of("start")
    calls: list[list[str]] = []

    def call(command: list[str], **_: object) -> int:
        calls.append(command)
        return 127 if command[0] == "python3.13" else 0 if command[1] == "-c" else 7

    monkeypatch.setattr(
        start, "sys", SimpleNamespace(version_info=Version(3, 9, 2), argv=["start.py", "--no-serve"], exit=sys.exit)
    )
    monkeypatch.setattr(start, "shutil", SimpleNamespace(which=lambda name: name))
    monkeypatch.setattr(start, "subprocess", SimpleNamespace(call=call, DEVNULL=subprocess.DEVNULL))
    with pytest.raises(SystemExit) as ended:
        start.use_a_python_that_fits()
    assert ended.value.code == 7 and calls[-1] == ["python3.12", "start.py", "--no-serve"]


# --- one start at a time ---


def test_a_second_start_waits_for_the_first(setup: ModuleType, capsys: pytest.CaptureFixture[str]) -> None:
    order: list[str] = []

    def second() -> None:
        with setup.only_one(setup.LOCK_FILE, "at work"):
            order.append("second")

    with setup.only_one(setup.LOCK_FILE, "at work"):
        other = threading.Thread(target=second)
        other.start()
        other.join(0.5)
        order.append("first")
    other.join(10.0)
    assert order == ["first", "second"]
    assert capsys.readouterr().out == "Another start is at work; waiting for it.\n"


def test_waiting_has_an_end(setup: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(setup, "WAIT_FOR_OTHER_START", 0.1)
    with (
        setup.only_one(setup.LOCK_FILE, "at work"),
        pytest.raises(setup.SetupError, match="has been at work"),
        setup.only_one(setup.LOCK_FILE, "at work"),
    ):
        pytest.fail("two held one lock")


# --- the kernel compiled ahead ---

WARM = """
import pathlib, sys, setup_env
setup_env.environment_python = lambda: pathlib.Path(sys.executable)
setup_env.warm_kernel()
"""
JOBS = """
import dataclasses, numpy as np
from clackwork.pipes import find_pipe
from clackwork.ram import kernel
from clackwork.ram.batch import run_packed
from clackwork.ram.engine import RamCase, pack, run_beats, run_trace, shut_off_head, steady_velocity
from clackwork.ram.line_surge import line_surge
from clackwork.ram.operating import line_head
from clackwork.ram.parts import AirVessel, Build, DeliveryLine, DeliveryValve, DrivePipe, GuidedPoppet, Supply
pipe = find_pipe("steel-sch40", "1 in")
poppet = GuidedPoppet(mass=0.12, stroke=0.005, seat_bore=pipe.bore)
build = Build("invented", poppet, DeliveryValve(0.02), AirVessel(1e-3))
held = RamCase(build, DrivePipe(pipe, 20.0), Supply(3.0), vessel_head=15.0)
line = DeliveryLine(find_pipe("pvc-sch40", "1/2 in"), 60.0, 12.0)
run_beats(held), run_trace(held, duration=1.0), shut_off_head(held), steady_velocity(held)
run_beats(dataclasses.replace(held, vessel_head=None, line=line)), line_head(line, 1e-4, held.water)
rows = np.repeat(pack(held)[np.newaxis, np.newaxis], 2, axis=1)
run_packed(rows.reshape(2, -1), workers=2), [kernel.terminal_velocity(row) for row in rows[:, 1]]
line_surge(line, held.water, flow=1e-4, closing_time=0.1)
"""
"""Each way a job calls the compiled functions, on an invented ram."""


def run_two(program: str, variables: dict[str, str]) -> list[str]:
    """Output of two processes started together; both must end well."""
    pair = [
        subprocess.Popen([sys.executable, "-c", program], cwd=ROOT, env=variables, stdout=subprocess.PIPE, text=True)
        for _ in range(2)
    ]
    shown = [process.communicate(timeout=300)[0] for process in pair]
    assert [process.returncode for process in pair] == [0, 0], shown
    return shown


def test_of_two_starts_one_compiles_and_jobs_find_it_all(tmp_path: Path) -> None:
    variables = os.environ | {"NUMBA_CACHE_DIR": str(tmp_path / "cache")}
    both = "".join(run_two(WARM, variables))
    assert both.count("Compiling the ram kernel (once)") == 1
    assert "could not" not in both
    again = subprocess.run([sys.executable, "-c", WARM], cwd=ROOT, env=variables, capture_output=True, text=True)
    assert (again.stdout, again.stderr, again.returncode) == ("", "", 0)

    variables["NUMBA_DEBUG_CACHE"] = "1"
    jobs = subprocess.run([sys.executable, "-c", JOBS], cwd=ROOT, env=variables, capture_output=True, text=True)
    assert jobs.returncode == 0, jobs.stderr
    assert "data loaded from" in jobs.stdout  # numba does say what it does
    assert [line for line in jobs.stdout.splitlines() if "saved" in line] == []


def test_a_warm_up_cut_short_is_done_again(
    setup: ModuleType, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Compiled files left by half a warm-up do not pass for all of it."""
    folder = setup.ROOT / "cache"
    folder.mkdir()
    ran: list[str] = []

    def run_inside(program: str) -> bytes:
        if program == setup.FIND_CACHE:
            return os.fsencode(folder)
        ran.append(program)
        (folder / "kernel.one.nbc").touch()
        if len(ran) == 1:
            raise subprocess.CalledProcessError(-9, "python")
        return b""

    monkeypatch.setattr(setup, "_run_inside", run_inside)
    setup.warm_kernel()
    assert "could not be compiled ahead" in capsys.readouterr().out
    setup.warm_kernel()
    setup.warm_kernel()
    assert ran == [setup.COMPILE_KERNEL] * 2
    (setup.ROOT / setup.RUN_LOCK).write_text(LOCK_TEXT.replace("2.4.6", "2.4.7"))  # other packages, other compiles
    setup.warm_kernel()
    setup.warm_kernel(with_oracle=True)
    assert ran[2:] == [setup.COMPILE_KERNEL, setup.COMPILE_KERNEL + setup.COMPILE_ORACLE]
