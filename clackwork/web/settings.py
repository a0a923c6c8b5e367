"""What a server is started with: where the books are, where it listens, how much it takes."""

from __future__ import annotations

import os
import secrets
import sys
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType

from clackwork.errors import ClackworkError

FORM_LIMIT = 1_000_000
"""Largest body of a form or of JSON [bytes]; a build's form is a thousandth of it."""

BACKUP_LIMIT = 500_000_000
"""Largest backup taken [bytes]."""

READINGS_LIMIT = 6_000_000
"""Largest body with a file of readings [bytes]: what is read of one is at most 5 MB."""

PHOTOGRAPHS_LIMIT = 100_000_000
"""Largest body with photographs [bytes]: eight at once, of 12 MB each."""

UPLOAD_LIMITS: Mapping[str, int] = MappingProxyType(
    {
        "/book/restore": BACKUP_LIMIT,
        "/api/book/restore": BACKUP_LIMIT,
        "/readings": READINGS_LIMIT,
        "/api/readings/files": READINGS_LIMIT,
        "/sites/table": READINGS_LIMIT,
        "/api/sites/tables": READINGS_LIMIT,
        "/photographs": PHOTOGRAPHS_LIMIT,
        "/api/photographs": PHOTOGRAPHS_LIMIT,
    }
)
"""Paths that take files, and the largest body of each [bytes]."""

DEFAULT_PORT = 8765
_KEY_FILE = "web-key"
_KEY_BYTES = 32


@dataclass(frozen=True)
class Settings:
    """How the page is served.

    Attributes
    ----------
    place : Path or str
        Folder of the workshop's own book, or an address of a database.
    demo_place : Path
        Folder of the invented book.
    host : str
        Address shared on the local network; empty lets the machine choose. The loopback address is always served.
    port : int
    secret : bytes
        Signs form tokens and messages; never shown or logged.
    form_limit : int
        Largest body of a request [bytes].
    upload_limits : mapping of str to int
        The same for single paths that take files.
    """

    place: Path | str
    demo_place: Path
    host: str = ""
    port: int = DEFAULT_PORT
    secret: bytes = field(default_factory=lambda: secrets.token_bytes(_KEY_BYTES), repr=False)
    form_limit: int = FORM_LIMIT
    upload_limits: Mapping[str, int] = field(default_factory=lambda: UPLOAD_LIMITS)


def user_folder() -> Path:
    """The folder in which the system keeps a user's data, ``clackwork`` inside it.

    Raises
    ------
    ClackworkError
        The user has no home folder.
    """
    if os.environ.get("XDG_DATA_HOME"):
        return Path(os.environ["XDG_DATA_HOME"]) / "clackwork"
    if os.name == "nt" and os.environ.get("LOCALAPPDATA"):
        return Path(os.environ["LOCALAPPDATA"]) / "clackwork"
    try:
        home = Path.home()
    except RuntimeError as error:
        raise ClackworkError("There is no home folder to keep a book in: name one, clackwork serve FOLDER.") from error
    data = home / "Library" / "Application Support" if sys.platform == "darwin" else home / ".local" / "share"
    return data / "clackwork"


def is_database(place: Path | str) -> bool:
    """Whether a place is the address of a database and not a folder."""
    return isinstance(place, str) and "://" in place


def settings_for(place: str | None, *, host: str = "", port: int = DEFAULT_PORT) -> Settings:
    """Settings of a server for one place, with the key kept beside its book.

    Parameters
    ----------
    place : str or None
        A folder or a database's address; None is the folder ``book`` of the user's data folder.
    host, port
        As in `Settings`.

    Raises
    ------
    ClackworkError
        The folder cannot be used.
    """
    if place is not None and is_database(place):
        home = user_folder()
        return Settings(place, home / "demo", host, port, secret=_kept_key(home))
    folder = Path(place).absolute() if place else user_folder() / "book"
    if folder.exists() and not folder.is_dir():
        raise ClackworkError(f"{folder} is a file; name a folder, such as clackwork serve {folder.stem}-book.")
    return Settings(folder, folder.with_name(f"{folder.name}-demo"), host, port, secret=_kept_key(folder))


def _kept_key(folder: Path) -> bytes:
    """The key of a folder, made once; forms left open then outlive a restart."""
    path = folder / _KEY_FILE
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if path.is_file():
            kept = bytes.fromhex(path.read_text(encoding="ascii"))
            if len(kept) == _KEY_BYTES:
                return kept
            path.unlink()
        made = secrets.token_bytes(_KEY_BYTES)
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "w", encoding="ascii") as stream:
            stream.write(made.hex())
    except FileExistsError:  # another start made it in between
        return bytes.fromhex(path.read_text(encoding="ascii"))
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise ClackworkError(f"The folder {folder} cannot be used for a book: {reason}. Name another.") from error
    return made
