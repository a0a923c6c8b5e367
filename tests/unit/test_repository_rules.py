"""Rules every tracked file keeps: no path of one machine, no address in a lock, no file too long to read."""

from __future__ import annotations

import hashlib
import re
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
LOCKS = ("requirements.lock", "requirements-test.lock")
LONGEST_SOURCE = 600
SKIPPED_FOLDERS = {".git", ".venv", "out", "build", "dist", "__pycache__", "vendor"}
BINARY_ENDINGS = {".whl", ".ttf", ".pdf", ".png", ".jpg", ".wav", ".pyc", ".nbi", ".nbc", ".gz"}

# put together here so that this file does not hold what it forbids
MACHINE_PATHS = re.compile(
    r"(?<![\w.<>)\]}*-])/(?:" + "|".join(("work", "root", "tmp", "home")) + r")(?:/|(?=[\s\"'`),;:]|$))"
)
ADDRESS = re.compile(r"(?:ht" r"tps?|ft" r"p|gi" r"t\+?\w*)://|ww" r"w\.|\bfi" r"le:", re.IGNORECASE)


def repository_files() -> list[Path]:
    """Files git tracks or would track; every file outside the skipped folders where git is not there."""
    try:
        asked = subprocess.run(
            ["git", "-c", f"safe.directory={ROOT}", "ls-files", "-co", "--exclude-standard", "-z"],
            cwd=ROOT, capture_output=True, text=True, check=True,
        )  # fmt: skip
        names = [name for name in asked.stdout.split("\0") if name]
    except (OSError, subprocess.CalledProcessError):
        names = []
    if not names:
        names = [path.relative_to(ROOT).as_posix() for path in ROOT.rglob("*")]
    kept = [ROOT / name for name in names if not SKIPPED_FOLDERS.intersection(Path(name).parts)]
    return sorted(
        path
        for path in kept
        if path.is_file() and not any(p.startswith(".") and p.endswith("_cache") for p in path.parts)
    )


FILES = repository_files()


def text_of(path: Path) -> str:
    """Text of a file, or "" when it is not text."""
    if path.suffix in BINARY_ENDINGS:
        return ""
    try:
        return path.read_text(encoding="utf-8")
    except UnicodeDecodeError:
        return ""


def test_no_machine_paths() -> None:
    found = [
        f"{path.relative_to(ROOT)}:{number}: {line.strip()[:100]}"
        for path in FILES
        for number, line in enumerate(text_of(path).splitlines(), start=1)
        if MACHINE_PATHS.search(line)
    ]
    assert found == []


@pytest.mark.parametrize(
    ("line", "hit"),
    [
        ("open('/" + "tmp/x')", True),
        ("in /" + "root", True),
        ("`/" + "work/main`", True),
        ("src/" + "work/main", False),
        ("workload /" + "homes", False),
    ],
)
def test_machine_path_pattern(line: str, hit: bool) -> None:
    assert bool(MACHINE_PATHS.search(line)) is hit


@pytest.mark.parametrize("lock", LOCKS)
def test_lock_has_no_address(lock: str) -> None:
    assert [line for line in (ROOT / lock).read_text().splitlines() if ADDRESS.search(line)] == []


def test_address_pattern_finds_one() -> None:
    assert ADDRESS.search("numpy @ ht" + "tps://example.org/numpy.whl")


def pins(lock: str) -> dict[str, str]:
    """Requirement with marker -> its hashes, of one lock."""
    blocks = re.split(r"\n(?=\w)", (ROOT / lock).read_text())
    return {
        b.split("\n")[0].rstrip(" \\"): "".join(sorted(re.findall(r"sha256:\w{64}", b))) for b in blocks if "==" in b
    }


@pytest.mark.parametrize("lock", LOCKS)
def test_every_pin_has_a_hash(lock: str) -> None:
    listed = pins(lock)
    assert len(listed) > 10
    assert [name for name, hashes in listed.items() if not hashes] == []


def test_test_lock_holds_the_run_lock() -> None:
    run, test = pins("requirements.lock"), pins("requirements-test.lock")
    assert {name for name in run if test.get(name) != run[name]} == set()


def test_locks_cover_the_project() -> None:
    import tomllib

    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    wanted = {"requirements.lock": project["dependencies"]}
    wanted["requirements-test.lock"] = project["dependencies"] + project["optional-dependencies"]["test"]
    for lock, requirements in wanted.items():
        locked = {name.split("==")[0] for name in pins(lock)}
        names = {re.match(r"[\w-]+", line)[0].lower() for line in requirements}  # type: ignore[index]
        assert names - locked == set()


def test_sources_are_short_enough_to_read() -> None:
    lengths = {path: len(text_of(path).splitlines()) for path in FILES if path.suffix == ".py"}
    assert len(lengths) > 5
    assert {str(path.relative_to(ROOT)): n for path, n in lengths.items() if n > LONGEST_SOURCE} == {}


def test_vendored_pip_is_the_one_the_set_up_trusts() -> None:
    text = (ROOT / "setup_env.py").read_text()
    [trusted] = re.findall(r'PIP_WHEEL_SHA256 = "(\w{64})"', text)
    [wheel] = (ROOT / "vendor").glob("pip-*.whl")
    assert wheel.name in text
    assert hashlib.sha256(wheel.read_bytes()).hexdigest() == trusted
    assert wheel.name in (ROOT / "vendor" / "README.md").read_text()


def test_checks_can_be_started() -> None:
    assert (ROOT / ".ci" / "run").stat().st_mode & 0o111
