"""Where a book lies: a folder with an SQLite file, or a PostgreSQL database; and its transactions.

Writers wait for one another: on SQLite by BEGIN IMMEDIATE, on PostgreSQL by an advisory lock held to the end of the
transaction. Readers see one moment of the book and hold nobody up.
"""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from clackwork.book.errors import BookError

FILE_NAME = "book.sqlite"
BACKUPS = "backups"
PATIENCE = 30.0
"""How long a writer waits for its turn [s]; a change takes some milliseconds."""
_WRITER_LOCK = 0x636C61636B  # "clack" in ASCII: any number that nothing else in the database locks
_BEGIN = "clackwork_begin"


@dataclass(frozen=True)
class Place:
    """Where a book lies.

    Attributes
    ----------
    folder : Path or None
        Of a book on SQLite; None on PostgreSQL.
    address : sqlalchemy.URL
    """

    folder: Path | None
    address: sa.URL

    @property
    def file(self) -> Path | None:
        """The SQLite file; None on PostgreSQL."""
        return None if self.folder is None else self.folder / FILE_NAME

    @property
    def words(self) -> str:
        """For people: the folder, or the address without its password."""
        return self.address.render_as_string() if self.folder is None else str(self.folder)


def find_place(place: Path | str) -> Place:
    """What a person gave as the place of a book.

    Raises
    ------
    BookError
        An address that is not PostgreSQL's, or cannot be read.
    """
    text = str(place)
    if isinstance(place, str) and "://" in text:
        try:
            address = sa.make_url(text)
        except (sa.exc.ArgumentError, ValueError) as error:
            raise BookError(f"The address of the book cannot be read; {_ADDRESS_LIKE}") from error
        if address.drivername not in ("postgresql", "postgresql+psycopg") or not address.database:
            raise BookError(f"A book cannot lie at {address.render_as_string()}; {_ADDRESS_LIKE}")
        return Place(None, address.set(drivername="postgresql+psycopg"))
    if not text.strip():
        raise BookError("The place of the book is empty; give a folder.")
    folder = Path(place).expanduser().absolute()
    return Place(folder, sa.URL.create("sqlite", database=str(folder / FILE_NAME)))


_ADDRESS_LIKE = 'write it as "postgresql+psycopg:' + '//USER:PASSWORD@HOST/DATABASE", or give a folder.'


class Store:
    """Connections to one place.

    Parameters
    ----------
    place : Place
    """

    def __init__(self, place: Place) -> None:
        self.place = place
        self.engine = _sqlite_engine(place) if place.folder is not None else _postgresql_engine(place)
        if place.folder is not None:
            self._reader = self.engine.execution_options(**{_BEGIN: "BEGIN"})
            self._writer = self.engine.execution_options(**{_BEGIN: "BEGIN IMMEDIATE"})
        else:
            self._reader = self.engine.execution_options(isolation_level="REPEATABLE READ")
            self._writer = self.engine.execution_options(isolation_level="READ COMMITTED")

    @contextmanager
    def reading(self) -> Iterator[sa.Connection]:
        """A transaction that sees one moment of the book."""
        with _said_in_words(self.place), self._reader.begin() as connection:
            yield connection

    @contextmanager
    def writing(self) -> Iterator[sa.Connection]:
        """A transaction that writes alone; what it wrote is on the disk when the block ends, or nothing is."""
        with _said_in_words(self.place), self._writer.begin() as connection:
            if self.place.folder is None:
                connection.execute(sa.select(sa.func.pg_advisory_xact_lock(_WRITER_LOCK)))
            yield connection

    def close(self) -> None:
        """Let go of every connection."""
        self.engine.dispose()


def _sqlite_engine(place: Place) -> sa.Engine:
    """An engine whose transactions begin as `_BEGIN` says; every commit is synced to the disk."""
    engine = sa.create_engine(
        place.address,
        pool_size=8,
        max_overflow=24,
        pool_timeout=PATIENCE,
        connect_args={"timeout": PATIENCE, "check_same_thread": False, "isolation_level": None},
    )

    @sa.event.listens_for(engine, "connect")
    def prepare(connection: sqlite3.Connection, _: Any) -> None:
        _use_wal(connection)
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute("PRAGMA foreign_keys = ON")

    @sa.event.listens_for(engine, "begin")
    def begin(connection: sa.Connection) -> None:
        connection.exec_driver_sql(connection.get_execution_options().get(_BEGIN, "BEGIN"))

    return engine


def _use_wal(connection: sqlite3.Connection) -> None:
    """Turn the write-ahead log on; while another process does the same, SQLite does not wait by itself."""
    until = time.monotonic() + PATIENCE
    while True:
        try:
            if connection.execute("PRAGMA journal_mode = WAL").fetchone()[0] != "wal":
                raise BookError(
                    "The book's folder does not allow a write-ahead log; keep it on a disk of this machine."
                )
            return
        except sqlite3.OperationalError as error:
            if "locked" not in str(error) or time.monotonic() > until:
                raise
            time.sleep(0.02)


def _postgresql_engine(place: Place) -> sa.Engine:
    try:
        return sa.create_engine(
            place.address,
            pool_size=8,
            max_overflow=24,
            pool_timeout=PATIENCE,
            pool_pre_ping=True,
            connect_args={"connect_timeout": 10, "application_name": "clackwork", "options": "-c lock_timeout=30s"},
        )
    except ModuleNotFoundError as error:
        raise BookError(
            "PostgreSQL needs the psycopg package, which is not installed: install clackwork with its postgresql extra."
        ) from error


_TROUBLES = (
    ("not a database", "is no book, or it is damaged; restore a backup"),
    ("malformed", "is damaged; restore a backup"),
    ("disk is full", "cannot grow: the disk is full"),
    ("readonly", "cannot be written; look at the rights of its folder"),
    ("unable to open", "cannot be opened; look at the rights of its folder"),
    ("locked", "is busy with another writer; try again"),
    ("lock timeout", "is busy with another writer; try again"),
    ("connection refused", "does not answer; is PostgreSQL running there"),
    ("connection failed", "does not answer; look at its address, user and password"),
    ("connection timeout", "does not answer; is PostgreSQL running there"),
    ("i/o error", "cannot be read or written: the disk reports an error"),
)
"""Words in a database's message, and what they mean to the one who keeps the book."""


@contextmanager
def _said_in_words(place: Place) -> Iterator[None]:
    """Restate a database's error as a sentence; what does not concern the place goes on as it is."""
    try:
        yield
    except (sa.exc.DatabaseError, sqlite3.DatabaseError) as error:
        message = str(getattr(error, "orig", None) or error).lower()
        meaning = next((meaning for word, meaning in _TROUBLES if word in message), None)
        if meaning is None:
            raise
        raise BookError(f"The book at {place.words} {meaning}.") from error
    except sa.exc.TimeoutError as error:
        raise BookError(f"The book at {place.words} is busy; try again.") from error
