"""Examine a book: the place it lies in, its tables, its journal, its files, its backups. Nothing is changed.

The folder alone is looked at by `clackwork.book.folders.folder_warnings`, at every opening.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import sqlalchemy as sa

import clackwork
from clackwork.book.backup import backups_folder, list_backups, silent, work_folder
from clackwork.book.backup_file import Progress, unpack
from clackwork.book.errors import BookError
from clackwork.book.figures import all_records, figures_of, is_read, same_figures
from clackwork.book.folders import folder_warnings
from clackwork.book.journal import as_kept
from clackwork.book.migrate import KNOWN, REVISION, revision_of
from clackwork.book.places import Place, Store, find_place
from clackwork.book.records import from_row as record_from_row
from clackwork.book.tables import attachment, change, record
from clackwork.book.writing import KEPT_BY_PROGRAM
from clackwork.errors import ClackworkError

GOOD, WARNING, BAD = "good", "warning", "bad"
LEVELS = (GOOD, WARNING, BAD)

_LEAST_FREE = 200_000_000  # bytes
_FREE_TIMES = 3  # the size of the book: a backup or a restore needs as much
_OLD_BACKUP = timedelta(days=30)
_MOST_NAMED = 5
_FILES_AT_ONCE = 20


@dataclass(frozen=True)
class Finding:
    """One thing that was looked at.

    Attributes
    ----------
    key : str
        "place", "folder", "space", "tables", "pages", "links", "journal", "records", "files", "backups", "versions".
    level : {"good", "warning", "bad"}
    words : str
        What was found, a sentence.
    next_step : str
        What to do about it; empty when good.
    """

    key: str
    level: str
    words: str
    next_step: str = ""


def examine(place: Place | Path | str, *, progress: Progress = silent) -> tuple[Finding, ...]:
    """Look at all of a book.

    Parameters
    ----------
    place : Place, Path or str
        A folder or a database's address.
    progress : callable, optional
        Called with records read and all records.

    Returns
    -------
    tuple of Finding
        In the order looked at; a book that cannot be opened ends it early.

    Raises
    ------
    BookError
        The place itself cannot be understood.
    """
    where = place if isinstance(place, Place) else find_place(place)
    return tuple(_examined(where, progress))


def _examined(place: Place, progress: Progress) -> Iterator[Finding]:
    yield Finding(
        "versions", GOOD, f"clackwork {clackwork.__version__}, tables {REVISION}, SQLite {sqlite3.sqlite_version}."
    )
    if place.folder is not None:
        if place.file is None or not place.file.is_file():
            yield Finding(
                "place", BAD, f"There is no book in {place.folder}.", "Check the folder, or restore a backup."
            )
            return
        yield from _folder(place.folder, place.file)
    try:
        with contextlib.closing(Store(place)) as store:
            yield from _book(store, progress)
    except (BookError, sa.exc.SQLAlchemyError, sqlite3.Error) as error:
        words = str(error) if isinstance(error, BookError) else f"The book cannot be read ({type(error).__name__})."
        yield Finding("tables", BAD, words.splitlines()[0], "Restore a backup: clackwork restore FILE --into FOLDER.")
        return
    yield from _backups(place)


def _folder(folder: Path, book_file: Path) -> Iterator[Finding]:
    """The folder: whether it can be written, what drive it is on, the room left."""
    try:
        with tempfile.TemporaryFile(dir=folder) as stream:
            stream.write(b"clackwork")
            stream.flush()
            os.fsync(stream.fileno())
        yield Finding("folder", GOOD, f"{folder} can be written.")
    except OSError as error:
        words = f"{folder} cannot be written: {error.strerror or error}."
        yield Finding("folder", BAD, words, "Look at the rights of the folder.")
    warnings = folder_warnings(folder)
    yield from (Finding("folder", WARNING, one.words, one.next_step) for one in warnings)
    free, size = shutil.disk_usage(folder).free, book_file.stat().st_size
    needed = max(_LEAST_FREE, _FREE_TIMES * size)
    words = f"The book takes {_megabytes(size)}; the disk has {_megabytes(free)} left."
    if free < needed:
        yield Finding("space", WARNING, words, f"Make room: {_megabytes(needed)} let a backup and a restore pass.")
    else:
        yield Finding("space", GOOD, words)


def _megabytes(size: int) -> str:
    return f"{size / 1e6:.1f} MB" if size < 1e8 else f"{size / 1e9:.1f} GB"


def _book(store: Store, progress: Progress) -> Iterator[Finding]:
    """The tables and what stands in them."""
    with store.reading() as connection:
        found = revision_of(connection)
        if found not in KNOWN:
            words = f"The tables are of revision {found or 'none'}, which this version does not know."
            yield Finding("tables", BAD, words, "Install the version that wrote the book.")
            return
        if found != REVISION:
            words = f"The tables are of revision {found}; the next opening brings them up to {REVISION}."
            yield Finding("tables", WARNING, words, "A backup is made first, by itself.")
            return
        yield Finding("tables", GOOD, f"The tables are of revision {found}, as they should be.")
        if store.place.folder is not None:
            yield from _sqlite(connection)
        yield from _journal(connection)
        yield from _records(connection, progress)
        yield from _files(connection)


def _sqlite(connection: sa.Connection) -> Iterator[Finding]:
    """SQLite's own checks; PostgreSQL keeps links and pages by itself."""
    faults = [str(row[0]) for row in connection.exec_driver_sql("PRAGMA integrity_check(10)") if row[0] != "ok"]
    yield _verdict("pages", faults, "Pages and indexes of the book are sound.", "Restore a backup.")
    broken = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
    links = [f"{row[0]} {row[1]} points to a {row[2]} that is not there" for row in broken]
    yield _verdict("links", links, "Every link between records leads somewhere.", "Restore a backup.")


def _verdict(key: str, faults: Sequence[str], good: str, next_step: str, level: str = BAD) -> Finding:
    """One finding from a list of faults."""
    if not faults:
        return Finding(key, GOOD, good)
    words = "; ".join(faults[:_MOST_NAMED])
    more = f"; and {len(faults) - _MOST_NAMED} more" if len(faults) > _MOST_NAMED else ""
    return Finding(key, level, f"{words[0].upper()}{words[1:]}{more}.", next_step)


def _journal(connection: sa.Connection) -> Iterator[Finding]:
    """Each record is what its last change says, and each of its versions is in the journal."""
    ends = sa.select(sa.func.max(change.c.id).label("id"), sa.func.count().label("number"))
    last = ends.group_by(change.c.record_id).subquery()
    chosen = sa.select(change.c.record_id, change.c.after, last.c.number).join(last, last.c.id == change.c.id)
    told = {number: (json.loads(after), versions) for number, after, versions in connection.execute(chosen)}
    faults = []
    for one in all_records(connection):
        name = f"{one.kind} '{one.name}' (number {one.id})"
        after, versions = told.get(one.id, (None, 0))
        if after is None:
            faults.append(f"{name} is not in the journal")
        elif after != as_kept(one):
            faults.append(f"{name} is not as its last change says")
        elif versions != one.version:
            faults.append(f"{name} has version {one.version} and {versions} changes")
    yield _verdict("journal", faults, "Journal and records agree.", "Keep a backup, then ask for help with this list.")


def _records(connection: sa.Connection, progress: Progress) -> Iterator[Finding]:
    """Each record can be read, and its SI figures are those its text gives."""
    everything = {one.id: one for one in all_records(connection)}
    faults = []
    for count, one in enumerate(everything.values(), start=1):
        progress(count, len(everything))
        if not is_read(one, everything):
            continue  # a link that leads nowhere is a finding of its own
        try:
            si = figures_of(one, everything)
        except (ClackworkError, KeyError) as error:
            faults.append(f"{one.kind} '{one.name}' cannot be read ({str(error).rstrip('.')})")
            continue
        if not same_figures(si, one.si):
            faults.append(f"{one.kind} '{one.name}' has other figures than its text gives")
    words = "Every record can be read, and its figures are those of its text."
    yield _verdict("records", faults, words, "Open the record, look at it and save it again.", WARNING)


def _files(connection: sa.Connection) -> Iterator[Finding]:
    """Each kept file and twin has its bytes, and a file those it was kept with."""
    chosen = (
        sa.select(record, attachment.c.content)
        .outerjoin(attachment, attachment.c.record_id == record.c.id)
        .where(record.c.kind.in_(KEPT_BY_PROGRAM))
        .execution_options(yield_per=_FILES_AT_ONCE)
    )
    faults, count = [], 0
    for row in connection.execute(chosen):
        count += 1
        one, content = record_from_row(row), row.content
        said = one.entered.get("sha256")
        if content is None:
            faults.append(f"{one.kind} '{one.name}' has lost its bytes")
        elif said is not None and hashlib.sha256(content).hexdigest() != said:
            faults.append(f"{one.kind} '{one.name}' is not as it was kept")
    words = f"Kept files and twins: {count}, each with its bytes."
    yield _verdict("files", faults, words, "Keep the file again, or fit the build again; or restore a backup.")


def _backups(place: Place) -> Iterator[Finding]:
    """How old the newest backup is, and whether it can be read."""
    folder = backups_folder(place)
    found = list_backups(place)
    step = "Make one: clackwork backup FOLDER."
    if not found:
        yield Finding("backups", WARNING, f"There is no backup in {folder}.", step)
        return
    newest = found[0]
    try:
        with work_folder(folder) as work:
            unpack(newest.path, work)
    except BookError as error:
        yield Finding("backups", BAD, str(error), "Make another: clackwork backup FOLDER.")
        return
    words = (
        f"The newest backup of {len(found)} is {newest.path.name}, of {newest.made_at:%Y-%m-%d %H:%M} UTC; it is whole."
    )
    old = datetime.now(UTC) - newest.made_at > _OLD_BACKUP
    yield Finding("backups", WARNING if old else GOOD, words, step if old else "")
