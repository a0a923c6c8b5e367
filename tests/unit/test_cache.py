"""Where compiled code is kept: a folder of the user's own, keyed by the kernel's sources."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

from clackwork import _cache
from clackwork.errors import ClackworkError

ROOT = Path(__file__).resolve().parents[2]

needs_a_plain_user = pytest.mark.skipif(
    not hasattr(os, "getuid") or os.getuid() == 0, reason="permissions do not bind this user"
)
needs_permissions = pytest.mark.skipif(not hasattr(os, "getuid"), reason="the system has no file owners")


@pytest.fixture
def package(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A made-up checkout: ``ram`` with two sources, an environment, a user's cache, nothing asked for."""
    folder = tmp_path / "checkout" / "clackwork"
    (folder / "ram").mkdir(parents=True)
    (folder / "ram" / "kernel.py").write_text("a = 1\n")
    (folder / "ram" / "engine.py").write_text("b = 2\n")
    (tmp_path / "checkout" / ".venv").mkdir()
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "user"))
    monkeypatch.setenv("NUMBA_CACHE_DIR", "")  # so that the monkeypatch puts the real value back
    monkeypatch.delenv("NUMBA_CACHE_DIR")
    monkeypatch.delitem(sys.modules, "numba.core.config", raising=False)
    return folder


def test_key_follows_the_kernel_sources(package: Path) -> None:
    key = _cache.kernel_key(package)
    assert _cache.kernel_key(package) == key
    (package / "water.py").write_text("outside ram\n")
    assert _cache.kernel_key(package) == key
    (package / "ram" / "kernel.py").write_text("a = 2\n")
    edited = _cache.kernel_key(package)
    (package / "ram" / "valve.py").write_text("")
    added = _cache.kernel_key(package)
    (package / "ram" / "valve.py").rename(package / "ram" / "seat.py")
    assert len({key, edited, added, _cache.kernel_key(package)}) == 4


def test_every_compiled_function_is_in_the_key() -> None:
    """The key covers ``ram/*.py`` only, so nothing may be compiled elsewhere."""
    package = ROOT / "clackwork"
    holders = {path.relative_to(package) for path in package.rglob("*.py") if "import njit" in path.read_text()}
    assert Path("ram/kernel.py") in holders
    assert {str(path) for path in holders if path.parent != Path("ram")} == set()


def test_the_checkout_comes_first(package: Path) -> None:
    folder = _cache.ensure_cache_dir(package)
    assert folder == package.parent / ".venv" / "numba-cache" / _cache.kernel_key(package)
    assert folder.is_dir() and os.environ["NUMBA_CACHE_DIR"] == str(folder)
    assert _cache.ensure_cache_dir(package) == folder


def test_an_edited_kernel_moves_to_another_folder(package: Path) -> None:
    """Also in a process started by one that had the earlier folder in its environment variables."""
    first = _cache.ensure_cache_dir(package)
    (package / "ram" / "kernel.py").write_text("a = 3\n")
    second = _cache.ensure_cache_dir(package)
    assert second != first and second.name == _cache.kernel_key(package)


def test_a_folder_asked_for_holds_the_keyed_one(package: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(tmp_path / "asked"))
    folder = _cache.ensure_cache_dir(package)
    assert folder == tmp_path / "asked" / _cache.kernel_key(package)
    assert _cache.ensure_cache_dir(package) == folder


def test_without_an_environment_the_users_cache(package: Path, tmp_path: Path) -> None:
    (package.parent / ".venv").rmdir()
    assert _cache.ensure_cache_dir(package).parent == tmp_path / "user" / "clackwork" / "numba"


def test_an_environment_that_cannot_hold_a_cache_is_passed_over(package: Path, tmp_path: Path) -> None:
    (package.parent / ".venv" / "numba-cache").write_text("a file where the folder should be")
    assert _cache.ensure_cache_dir(package).parent == tmp_path / "user" / "clackwork" / "numba"


@needs_a_plain_user
def test_a_read_only_checkout_falls_back_to_the_users_cache(package: Path, tmp_path: Path) -> None:
    environment = package.parent / ".venv"
    environment.chmod(0o555)
    try:
        assert _cache.ensure_cache_dir(package).parent == tmp_path / "user" / "clackwork" / "numba"
    finally:
        environment.chmod(0o755)


@needs_permissions
def test_a_folder_anyone_may_write_is_not_trusted(package: Path) -> None:
    """Compiled code is run, so a folder into which others could put some is passed over."""
    kept = package.parent / ".venv" / "numba-cache"
    folder = kept / _cache.kernel_key(package)
    folder.mkdir(parents=True)
    folder.chmod(0o777)
    assert kept not in _cache.ensure_cache_dir(package).parents
    folder.chmod(0o700)
    kept.chmod(0o777)
    os.environ.pop("NUMBA_CACHE_DIR")
    assert kept not in _cache.ensure_cache_dir(package).parents
    kept.chmod(0o1777)  # others cannot replace entries that are not theirs
    os.environ.pop("NUMBA_CACHE_DIR")
    assert _cache.ensure_cache_dir(package) == folder


@needs_permissions
def test_a_link_is_not_followed(package: Path, tmp_path: Path) -> None:
    kept = package.parent / ".venv" / "numba-cache"
    kept.mkdir()
    (tmp_path / "elsewhere").mkdir()
    (kept / _cache.kernel_key(package)).symlink_to(tmp_path / "elsewhere")
    assert kept not in _cache.ensure_cache_dir(package).parents


def test_nowhere_to_write_is_a_sentence(package: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "file").write_text("")
    blocked = str(tmp_path / "file" / "below")
    monkeypatch.setenv("NUMBA_CACHE_DIR", blocked)
    monkeypatch.setenv("XDG_CACHE_HOME", blocked)
    (package.parent / ".venv").rmdir()
    monkeypatch.setattr(tempfile, "tempdir", blocked)
    with pytest.raises(ClackworkError, match="set NUMBA_CACHE_DIR to a folder you may write"):
        _cache.ensure_cache_dir(package)


BEAT = """
from clackwork.pipes import find_pipe
from clackwork.ram.engine import RamCase, run_beats
from clackwork.ram.parts import AirVessel, Build, DeliveryValve, DrivePipe, GuidedPoppet, Supply
pipe = find_pipe("steel-sch40", "1 in")
poppet = GuidedPoppet(mass=0.12, stroke=0.005, seat_bore=pipe.bore)
build = Build("invented", poppet, DeliveryValve(0.02), AirVessel(1e-3))
print(run_beats(RamCase(build, DrivePipe(pipe, 20.0), Supply(3.0), vessel_head=15.0)))
"""
"""One beating case, invented; every figure of its result is printed to the last digit."""


@pytest.mark.slow
def test_two_processes_on_an_empty_cache_agree(tmp_path: Path) -> None:
    """Both compile at once, without a lock between them; a third runs what they left behind."""
    variables = os.environ | {"NUMBA_CACHE_DIR": str(tmp_path / "cache")}

    def begin() -> subprocess.Popen[str]:
        return subprocess.Popen(
            [sys.executable, "-c", BEAT], cwd=ROOT, env=variables, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        )  # fmt: skip

    pair = [begin(), begin()]
    shown = [process.communicate(timeout=300) for process in pair]
    assert [process.returncode for process in pair] == [0, 0], shown
    assert shown[0] == shown[1] and "BeatResult(state='beating'" in shown[0][0]
    assert not list((tmp_path / "cache").rglob("*.tmp.*"))
    third = begin()
    assert third.communicate(timeout=300) == shown[0]
