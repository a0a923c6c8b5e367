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
    """Folders to try, best first: the checkout's environment, the user's cache, the temporary folder."""
    key = kernel_key(package)
    environment = package.parent / ".venv"
    if environment.is_dir():
        yield environment / "numba-cache" / key
    user_cache = _user_cache()
    if user_cache is not None:
        yield user_cache / "clackwork" / "numba" / key
    owner = os.getuid() if hasattr(os, "getuid") else "user"
    yield Path(tempfile.gettempdir()) / f"clackwork-numba-{owner}" / key


def _usable(folder: Path) -> bool:
    """Make ``folder``; True when it can be written and nobody else could have put compiled code into it."""
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        for level in (folder, folder.parent):
            state = level.lstat()
            if not stat.S_ISDIR(state.st_mode):
                return False
            if hasattr(os, "getuid") and (state.st_uid != os.getuid() or state.st_mode & stat.S_IWOTH):
                return False
        with tempfile.TemporaryFile(dir=folder):
            return True
    except OSError:
        return False


def ensure_cache_dir(package: Path = PACKAGE) -> Path:
    """Set ``NUMBA_CACHE_DIR`` when it is unset and return the folder; call before importing numba.

    Parameters
    ----------
    package : Path
        Folder of the package; another one only in tests.
    """
    given = os.environ.get("NUMBA_CACHE_DIR")
    if given:
        return Path(given)
    folder = next((path for path in _candidates(package) if _usable(path)), None)
    if folder is None:
        folder = Path(tempfile.mkdtemp(prefix="clackwork-numba-"))
    os.environ["NUMBA_CACHE_DIR"] = str(folder)
    config = sys.modules.get("numba.core.config")
    if config is not None:  # numba came first and has read its settings already
        config.CACHE_DIR = str(folder)  # type: ignore[attr-defined]
    return folder
