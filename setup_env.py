"""Build and refresh the project's own environment, ``.venv``; standard library only.

Shared by ``start.py`` and ``check.py``. It needs neither ``ensurepip`` nor Debian's ``python3-venv``: the
environment is made without pip and filled by the pip wheel kept in ``vendor/`` (docs/decisions/0001). Nothing
here may import the package or anything that is not in the standard library.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import re
import shutil
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parent
ENVIRONMENT = ROOT / ".venv"
STAMP = ENVIRONMENT / "clackwork-stamp.json"
INCOMPLETE = ENVIRONMENT / "clackwork-incomplete"
INSTALL_LOG = ENVIRONMENT / "clackwork-install.log"
LOCK_FILE = ROOT / ".venv.lock"

PIP_WHEEL = ROOT / "vendor" / "pip-26.3-py3-none-any.whl"
PIP_WHEEL_SHA256 = "f3b60b20ffaadd4415ed7957212a38ac63fa4c5fa375bd0f4a797777940fad13"

RUN_LOCK = "requirements.lock"
TEST_LOCK = "requirements-test.lock"
ROOM_NEEDED = {RUN_LOCK: 1.0e9, TEST_LOCK: 1.6e9}
"""Free disk space asked for before an install [bytes]: installed size and downloads, with some to spare."""

WAIT_FOR_OTHER_START = 900.0
"""Longest wait for another start that is setting up the same folder [s]."""


class SetupError(Exception):
    """What is missing and how to get it, in one sentence."""


def say(text: str) -> None:
    """Print one line at once, also when the output is a pipe."""
    print(text, flush=True)


def environment_python() -> Path:
    """Path of the interpreter inside ``.venv``."""
    if os.name == "nt":
        return ENVIRONMENT / "Scripts" / "python.exe"
    return ENVIRONMENT / "bin" / "python"


def clean_variables() -> dict[str, str]:
    """The caller's environment variables, less what would change which packages are seen."""
    variables = {k: v for k, v in os.environ.items() if k not in {"PYTHONPATH", "PYTHONHOME", "__PYVENV_LAUNCHER__"}}
    variables["PYTHONNOUSERSITE"] = "1"
    return variables


def sha256_of(path: Path) -> str:
    """SHA-256 of a file, in hex."""
    return hashlib.sha256(path.read_bytes()).hexdigest()


# --- one start at a time ---


def _try_lock(handle: int) -> bool:
    """Take the exclusive lock on an open file without waiting; False when another process holds it."""
    try:
        if os.name == "nt":
            import msvcrt

            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined, unused-ignore]
        else:
            import fcntl

            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


@contextlib.contextmanager
def only_one(lock_file: Path, doing: str) -> Iterator[None]:
    """Hold a lock file while ``doing`` something; the system drops it when the process ends, however it ends."""
    try:
        handle = os.open(lock_file, os.O_RDWR | os.O_CREAT, 0o644)
    except OSError as error:
        raise SetupError(
            f"This folder cannot be written ({error.strerror}): copy the project to a folder of your own, "
            "or change its owner, and start again."
        ) from error
    try:
        began, told = time.monotonic(), False
        while not _try_lock(handle):
            if not told:
                say(f"Another start is {doing}; waiting for it.")
                told = True
            if time.monotonic() - began > WAIT_FOR_OTHER_START:
                minutes = WAIT_FOR_OTHER_START / 60.0
                raise SetupError(f"Another start has been {doing} for {minutes:.0f} minutes: end it, then start again.")
            time.sleep(0.2)
        yield
    finally:
        os.close(handle)


# --- what stands already ---


def _read_stamp() -> dict[str, object]:
    """The stamp of the last finished set-up, or an empty one."""
    try:
        stamp = json.loads(STAMP.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return stamp if isinstance(stamp, dict) else {}


def _wanted(lock: str) -> dict[str, str]:
    """What the stamp says once ``lock`` is installed; the test lock holds all of the run lock."""
    locks = [RUN_LOCK, TEST_LOCK] if lock == TEST_LOCK else [RUN_LOCK]
    return {name: sha256_of(ROOT / name) for name in locks} | {"root": str(ROOT)}


def _interpreter() -> str:
    """File that runs as the environment's Python; another one after the system's Python was replaced."""
    return os.path.realpath(environment_python())


def _stands(lock: str) -> bool:
    """True when ``.venv`` is finished, fits the lock, was not moved and runs the Python it was made with."""
    stamp = _read_stamp()
    if INCOMPLETE.exists() or not environment_python().exists():
        return False
    if stamp.get("python") is None or stamp.get("interpreter") != _interpreter():
        return False
    return all(stamp.get(key) == value for key, value in _wanted(lock).items())


def _python_of_environment() -> str:
    """Version of the interpreter in ``.venv`` ("3.11.7"), or "" when it does not run."""
    program = "import sys; print('.'.join(map(str, sys.version_info[:3])))"
    try:
        answer = subprocess.run(
            [str(environment_python()), "-c", program], capture_output=True, text=True, env=clean_variables()
        )
    except OSError:
        return ""
    return answer.stdout.strip() if answer.returncode == 0 else ""


# --- building ---


def _make_environment() -> None:
    """Make an empty ``.venv``, replacing one that does not run."""
    try:
        import venv
    except ImportError as error:
        raise SetupError(
            "Python's venv module is missing; on Debian or Ubuntu: sudo apt install python3-venv"
        ) from error
    say("Making the environment in .venv")
    if ENVIRONMENT.is_symlink() or ENVIRONMENT.is_file():
        raise SetupError("'.venv' in this folder is not a folder: move it away and start again.")
    try:
        venv.EnvBuilder(with_pip=False, clear=ENVIRONMENT.exists(), symlinks=os.name != "nt").create(ENVIRONMENT)
    except (OSError, subprocess.CalledProcessError) as error:
        raise SetupError(f"The environment could not be made in .venv: {error}.") from error


def _check_room(lock: str) -> None:
    """Refuse to begin when the disk would fill up half way."""
    free = shutil.disk_usage(ROOT).free
    if free < ROOM_NEEDED[lock]:
        raise SetupError(
            f"Not enough room on this disk: {free / 1e9:.1f} GB free and {ROOM_NEEDED[lock] / 1e9:.1f} GB "
            "needed; free some and start again."
        )


FAILURES = (
    (
        ("no space left", "errno 28"),
        "The disk filled up during the install: free about 2 GB and start again.",
    ),
    (
        ("do not match the hashes",),
        "A downloaded package is not the one the lock names, so nothing was installed: "
        "check the network's proxy or mirror.",
    ),
    (
        ("certificate_verify_failed", "certificate verify failed", "could not find a suitable tls ca"),
        "The package index's certificate is not trusted here: sudo apt install ca-certificates, or set PIP_CERT.",
    ),
    (
        (
            "connectionerror",
            "newconnectionerror",
            "name resolution",
            "max retries",
            "timed out",
            "proxyerror",
            "connection broken",
            "connecttimeout",
            "name or service not known",
            "network is unreachable",
        ),
        "The Python package index could not be reached: connect this machine to the network, "
        "or set pip's proxy or index, and start again.",
    ),
    (
        ("no matching distribution", "could not find a version"),
        "The package index offers no ready-made package for this machine: they exist for Linux (glibc), "
        "macOS and Windows on 64-bit processors with Python 3.11 to 3.13.",
    ),
)
"""Words in pip's output, and the sentence they call for; the first that fits is used."""


def explain_install(log: str) -> str:
    """One sentence for what went wrong, from pip's own words."""
    low = log.lower()
    for signs, sentence in FAILURES:
        if any(sign in low for sign in signs):
            return sentence
    return "The packages could not be installed."


def locked_packages(text: str) -> set[str]:
    """Names pinned in the text of a lock; one pinned twice, for two Pythons, counts once."""
    return set(re.findall(r"^([A-Za-z0-9][\w.-]*)==", text, flags=re.MULTILINE))


def _install(lock: str) -> None:
    """Install what the lock names, hash by hash, into ``.venv``."""
    if sha256_of(PIP_WHEEL) != PIP_WHEEL_SHA256:
        raise SetupError(f"vendor/{PIP_WHEEL.name} was changed or cut short: fetch the project again.")
    _check_room(lock)
    count = len(locked_packages((ROOT / lock).read_text(encoding="utf-8")))
    say(f"Installing {count} packages from {lock} (a minute or so the first time)")
    INCOMPLETE.touch()
    STAMP.unlink(missing_ok=True)
    command = [
        str(environment_python()),
        str(PIP_WHEEL / "pip"),
        "install",
        "--require-hashes",
        "--only-binary",
        ":all:",
    ]
    command += [
        "--no-input",
        "--disable-pip-version-check",
        "--root-user-action=ignore",
        "--retries",
        "2",
        "--no-user",
    ]
    command += ["--progress-bar", "off", "-r", str(ROOT / lock)]
    done = subprocess.run(
        command,
        cwd=ROOT,
        env=clean_variables(),
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        errors="replace",
    )
    with contextlib.suppress(OSError):
        INSTALL_LOG.write_text(done.stdout, encoding="utf-8")
    if done.returncode != 0:
        raise SetupError(f"{explain_install(done.stdout)} (pip's own words: .venv/{INSTALL_LOG.name})")


def _install_project() -> None:
    """Make ``import clackwork`` and ``.venv/bin/clackwork`` work, without a build."""
    ask = "import sysconfig; print(sysconfig.get_path('purelib'))"
    answer = subprocess.run(
        [str(environment_python()), "-c", ask],
        capture_output=True,
        text=True,
        check=True,
        env=clean_variables(),
    )
    (Path(answer.stdout.strip()) / "clackwork-checkout.pth").write_bytes(os.fsencode(str(ROOT)) + b"\n")
    python = environment_python()
    if os.name == "nt":
        python.with_name("clackwork.cmd").write_text(f'@"{python}" -m clackwork %*\r\n', encoding="utf-8")
        return
    launcher = python.with_name("clackwork")
    quoted = str(python).replace("'", "'\\''")
    launcher.write_text(f"#!/bin/sh\nexec '{quoted}' -m clackwork \"$@\"\n", encoding="utf-8")
    launcher.chmod(0o755)


def ensure_environment(lock: str = RUN_LOCK) -> Path:
    """Return the interpreter of an environment that fits ``lock``, building or refreshing it if need be.

    Raises
    ------
    SetupError
        With one sentence on what is missing and how to get it.
    """
    if _stands(lock):
        return environment_python()
    with only_one(LOCK_FILE, "setting up this folder"):
        if _stands(lock):  # another start finished it while this one waited
            return environment_python()
        version = _python_of_environment()
        replaced = _read_stamp().get("interpreter", _interpreter()) != _interpreter()
        if INCOMPLETE.exists() or replaced or not version or not (3, 11) <= _numbers(version) < (3, 14):
            _make_environment()
            version = _python_of_environment()
            if not version:
                raise SetupError("The new environment's Python does not run; is this disk mounted noexec?")
        _install(lock)
        _install_project()
        stamp = _wanted(lock) | {"python": version, "interpreter": _interpreter()}
        STAMP.write_text(json.dumps(stamp, indent=1) + "\n", encoding="utf-8")
        INCOMPLETE.unlink(missing_ok=True)
    return environment_python()


def _numbers(version: str) -> tuple[int, ...]:
    """ "3.11.7" as (3, 11)."""
    return tuple(int(part) for part in version.split(".")[:2])


# --- compiled code ---


FIND_CACHE = (
    "import os, sys; from clackwork._cache import ensure_cache_dir\n"
    "sys.stdout.buffer.write(os.fsencode(ensure_cache_dir()))"
)
COMPILE_KERNEL = (
    "from numba import float64 as number, int64 as count\n"
    "from clackwork.ram import kernel, line_steps, pipe_losses\n"
    "row, table = number[::1], number[:, ::1]\n"
    "kernel.simulate.compile((row, row, table, count))\n"
    "kernel.terminal_velocity.compile((row,))\n"
    "pipe_losses.darcy_friction.compile((number, number))\n"
    "line_steps.step_surge.compile((row, row, table, table, count))\n"
)
COMPILE_ORACLE = (
    "from clackwork.ram import characteristics\n"
    "characteristics.simulate_plain.compile((row, count, count, number, row))\n"
)
"""What is compiled ahead: all that a job calls, and the plain method of characteristics that only tests call."""


def _run_inside(program: str) -> bytes:
    """Output of a program run by the environment's Python in the project's folder."""
    done = subprocess.run(
        [str(environment_python()), "-c", program], cwd=ROOT, env=clean_variables(), stdout=subprocess.PIPE, check=True
    )
    return done.stdout


def _warm_marker(folder: Path, program: str) -> Path:
    """File that says ``program`` was run to its end for this copy, these packages and this Python.

    The folder's name covers the kernel's sources. Compiled files alone prove nothing: they may be half of what
    is needed, another Python's, or another copy's.
    """
    made_of = (str(ROOT), sha256_of(ROOT / RUN_LOCK), _interpreter(), program)
    return folder / f"warm-{hashlib.sha256(repr(made_of).encode()).hexdigest()[:16]}"


def warm_kernel(*, with_oracle: bool = False) -> None:
    """Compile the ram kernel unless that is done; a failure only costs time later.

    One start compiles and others wait for it. The lock is in the cache folder, not the set-up's own: a standing
    environment may be one that this user cannot write.
    """
    program = COMPILE_KERNEL + (COMPILE_ORACLE if with_oracle else "")
    try:
        folder = Path(os.fsdecode(_run_inside(FIND_CACHE)))
        marker = _warm_marker(folder, program)
        if marker.exists():
            return
        with only_one(folder / "warm.lock", "compiling the ram kernel"):
            if marker.exists():  # another start compiled it while this one waited
                return
            say("Compiling the ram kernel (once)")
            _run_inside(program)
            marker.touch()
    except (OSError, SetupError, subprocess.CalledProcessError):
        say("The ram kernel could not be compiled ahead; the first calculation will take a little longer.")
