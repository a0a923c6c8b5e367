"""Where compiled code is kept: a folder keyed by the kernel's sources.

numba refreshes a function's cache when its own file changes, not when a function it calls in another file
does; with the key an edited kernel is never run from an old compile.
"""

from __future__ import annotations

import hashlib
import os
import stat
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

from clackwork.errors import ClackworkError

PACKAGE = Path(__file__).resolve().parent


def kernel_key(package: Path = PACKAGE) -> str:
    """Short hash over names and bytes of ``ram/*.py``."""
    digest = hashlib.sha256()
    for source in sorted((package / "ram").glob("*.py")):
        digest.update(source.name.encode() + b"\0" + source.read_bytes() + b"\0")
    return digest.hexdigest()[:16]


def _user_cache() -> Path | None:
    """The user's cache folder by the system's custom, or None without a home."""
    if os.environ.get("XDG_CACHE_HOME"):
        return Path(os.environ["XDG_CACHE_HOME"])
    if os.name == "nt":
        local = os.environ.get("LOCALAPPDATA")
        return Path(local) if local else None
    try:
        home = Path.home()
    except RuntimeError:
        return None
    return home / "Library" / "Caches" if sys.platform == "darwin" else home / ".cache"


def _candidates(package: Path) -> Iterator[Path]:
    """Folders to try, best first: the one asked for, the checkout's, the user's cache, the temporary folder."""
    key = kernel_key(package)
    given = os.environ.get("NUMBA_CACHE_DIR")
    if given:
        folder = Path(given).absolute()
        yield folder if folder.name == key else folder / key
    environment = package.parent / ".venv"
    if environment.is_dir():
        yield environment / "numba-cache" / key
    user_cache = _user_cache()
    if user_cache is not None:
        yield user_cache / "clackwork" / "numba" / key
    owner = os.getuid() if hasattr(os, "getuid") else "user"
    yield Path(tempfile.gettempdir()) / f"clackwork-numba-{owner}" / key


def _ours_alone(folder: Path) -> bool:
    """True when ``folder`` is a folder of this user's that not everyone may write."""
    state = folder.lstat()
    if not stat.S_ISDIR(state.st_mode):
        return False
    return not hasattr(os, "getuid") or (state.st_uid == os.getuid() and not state.st_mode & stat.S_IWOTH)


def _keeps_its_entries(folder: Path) -> bool:
    """True when nobody else, save the system's owner, can swap what this user keeps in ``folder``."""
    state = folder.stat()
    if not hasattr(os, "getuid"):
        return True
    guarded = not state.st_mode & stat.S_IWOTH or bool(state.st_mode & stat.S_ISVTX)
    return guarded and state.st_uid in (os.getuid(), 0)


def _usable(folder: Path) -> bool:
    """Make ``folder``; True when it can be written and nobody else could have put compiled code into it."""
    try:
        folder.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        if not _keeps_its_entries(folder.parent):
            return False
        folder.mkdir(mode=0o700, exist_ok=True)
        if not _ours_alone(folder):
            return False
        with tempfile.TemporaryFile(dir=folder):
            return True
    except OSError:
        return False


def ensure_cache_dir(package: Path = PACKAGE) -> Path:
    """Set ``NUMBA_CACHE_DIR`` to a folder for these sources and return it; call before importing numba.

    A folder already named there is where the keyed folder is made, so that compiles of other sources, or of
    another copy of the project, are never mixed up.

    Parameters
    ----------
    package : Path
        Folder of the package; another one only in tests.

    Raises
    ------
    ClackworkError
        When no folder at all can be written.
    """
    try:
        folder = next((path for path in _candidates(package) if _usable(path)), None)
        folder = folder or Path(tempfile.mkdtemp(prefix="clackwork-numba-"))
    except OSError as error:
        raise ClackworkError(
            "No folder can be written for compiled code: set NUMBA_CACHE_DIR to a folder you may write."
        ) from error
    os.environ["NUMBA_CACHE_DIR"] = str(folder)
    config = sys.modules.get("numba.core.config")
    if config is not None:  # numba came first and has read its settings already
        config.CACHE_DIR = str(folder)  # type: ignore[attr-defined]
    return folder
