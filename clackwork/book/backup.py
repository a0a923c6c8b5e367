"""Backups of a book, each one file; nothing here deletes one.

A backup holds the book as an SQLite file whichever database it came from, so it moves a book between SQLite and
PostgreSQL. It leaves out the devices that may use the page: a restore pairs none and keeps those paired now.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import sqlalchemy as sa

import clackwork
from clackwork.book.backup_file import BackupInfo, Progress, facts_of, read_info, write_backup
from clackwork.book.errors import BookError
from clackwork.book.migrate import KNOWN, revision_of
from clackwork.book.places import BACKUPS, FILE_NAME, PATIENCE, Place, Store, find_place
from clackwork.book.row_copy import carry_rows

BY_HAND, BEFORE_MIGRATION, BEFORE_RESTORE = "by hand", "before a migration", "before a restore"
FOLDER_VARIABLE = "CLACKWORK_BACKUPS"
"""Environment variable with the folder for backups of a book that lies in a database."""
LEFT_OUT = ("device",)
"""Tables a backup leaves out and a restore leaves alone."""
_SCRIPTS = "clackwork.book:migrations"


def silent(done: int, total: int) -> None:
    """Progress that nobody looks at."""


def backups_folder(place: Place) -> Path:
    """Where backups of a book are kept unless told otherwise: in its folder; for a database, in the user's.

    Raises
    ------
    BookError
        A database, and the user has no home folder.
    """
    if place.folder is not None:
        return place.folder / BACKUPS
    if os.environ.get(FOLDER_VARIABLE):
        return Path(os.environ[FOLDER_VARIABLE])
    with contextlib.suppress(RuntimeError):
        return Path.home() / "clackwork-backups"
    raise BookError(f"There is no home folder to keep a backup in: set {FOLDER_VARIABLE} to a folder.")


def make_backup(
    place: Place | Path | str, target: Path | None = None, *, reason: str = BY_HAND, progress: Progress = silent
) -> BackupInfo:
    """Keep a book as it stands at one moment in one file, while others go on writing.

    Parameters
    ----------
    place : Place, Path or str
        Of the book; it may be open.
    target : Path, optional
        The file, or a folder for it; the folder of the book's backups when not given.
    reason : str, optional
    progress : callable, optional
        Called with bytes packed and all bytes.

    Raises
    ------
    BookError
        No book there, the target exists, or it cannot be written or read.
    """
    made_at = datetime.now(UTC)
    where = place if isinstance(place, Place) else find_place(place)
    if target is None:
        target = _free_name(backups_folder(where), made_at, reason)
    elif target.is_dir():
        target = _free_name(target, made_at, reason)
    elif target.exists():
        raise BookError(f"{target} is there already, and a backup is never written over; choose another name.")
    with work_folder(target.parent) as work:
        copy = work / FILE_NAME
        if where.file is not None:
            _copy_sqlite(where.file, copy)
        else:
            with contextlib.closing(Store(where)) as store:
                _copy_database(store, work)
        with contextlib.closing(sqlite3.connect(copy)) as connection:
            try:
                _leave_out(connection)
                facts = facts_of(lambda question: connection.execute(question).fetchall())
            except (sqlite3.DatabaseError, IndexError, ValueError) as error:
                raise BookError(f"What lies at {where.words} is no book, or it is damaged.") from error
        return write_backup(copy, target, facts, made_at, reason, clackwork.__version__, progress)


def before_migration(store: Store, revision: str) -> BackupInfo:
    """Keep a backup before the tables are changed; called by `clackwork.book.migrate.bring_up_to_date`."""
    return make_backup(store.place, reason=f"{BEFORE_MIGRATION} of tables {revision}")


def _free_name(folder: Path, made_at: datetime, reason: str) -> Path:
    """A name of its own: "book-20240506-070809-by-hand.zip"."""
    stem = f"book-{made_at:%Y%m%d-%H%M%S}-{reason.replace(' ', '-')}"
    number = 1
    while (path := folder / (f"{stem}.zip" if number == 1 else f"{stem}-{number}.zip")).exists():
        number += 1
    return path


@contextlib.contextmanager
def work_folder(beside: Path) -> Iterator[Path]:
    """A folder that is gone afterwards, on the disk where the result will lie."""
    try:
        beside.mkdir(parents=True, exist_ok=True)
        work = Path(tempfile.mkdtemp(prefix=".work-", dir=beside))
    except OSError as error:
        raise BookError(f"The folder {beside} cannot be written: {error.strerror or error}.") from error
    try:
        yield work
    finally:
        shutil.rmtree(work, ignore_errors=True)


def _copy_sqlite(book_file: Path, copy: Path) -> None:
    """One moment of an SQLite file; writers are not held up."""
    if not book_file.is_file():
        raise BookError(f"There is no book in {book_file.parent}; check the folder.")
    try:
        with contextlib.closing(_connect(book_file)) as connection:
            connection.execute("VACUUM INTO ?", (str(copy),))
    except sqlite3.Error as error:
        full = "the disk is full" if "full" in str(error) else "it is no book, or it is damaged"
        raise BookError(f"The book in {book_file.parent} cannot be copied: {full}.") from error


def _connect(book_file: Path) -> sqlite3.Connection:
    """A connection to a file that is there."""
    return sqlite3.connect(f"{book_file.resolve().as_uri()}?mode=rw", uri=True, timeout=PATIENCE, isolation_level=None)


def _copy_database(store: Store, work: Path) -> None:
    """The rows of a book that is no file as an SQLite file with the same tables."""
    with store.reading() as source:
        found = revision_of(source)
        if found not in KNOWN:
            raise BookError(f"What lies at {store.place.words} is no book that this version knows.")
        copy = Store(find_place(work))
        try:
            with copy.writing() as target:
                _make_tables(target, found)
                carry_rows(source, target, keep=LEFT_OUT)
        finally:
            copy.close()
    _fold(work / FILE_NAME)


def _make_tables(connection: sa.Connection, revision: str) -> None:
    """Tables of one revision in an empty database."""
    from alembic import command
    from alembic.config import Config

    settings = Config()
    settings.set_main_option("script_location", _SCRIPTS)
    settings.attributes["connection"] = connection
    command.upgrade(settings, revision)


def _fold(book_file: Path) -> None:
    """Bring everything into the one file, the write-ahead log included."""
    with contextlib.closing(_connect(book_file)) as connection:
        connection.execute("PRAGMA journal_mode = DELETE").fetchone()


def _leave_out(connection: sqlite3.Connection) -> None:
    """Take paired devices out of a copy, so that no trace of them stays in the file."""
    connection.execute("PRAGMA secure_delete = ON")
    there = {name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    for name in LEFT_OUT:
        if name in there:
            connection.execute(f"DELETE FROM {name}")
    connection.commit()


def list_backups(place: Place) -> tuple[BackupInfo, ...]:
    """The backups in the usual folder, newest first; files that are none are passed over."""
    found = []
    for path in backups_folder(place).glob("*.zip"):
        with contextlib.suppress(BookError):
            found.append(read_info(path))
    return tuple(sorted(found, key=lambda one: (one.made_at, one.path.name), reverse=True))
