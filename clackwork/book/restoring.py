"""Restoring a book from a backup: look first at what it would do, then do all of it or nothing."""

from __future__ import annotations

import contextlib
import os
import shutil
import sqlite3
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import sqlalchemy as sa

from clackwork.book.backup import (
    BEFORE_RESTORE,
    LEFT_OUT,
    backups_folder,
    before_migration,
    make_backup,
    silent,
    work_folder,
)
from clackwork.book.backup_file import BackupInfo, Facts, Progress, check_sqlite, facts_of, read_info, unpack
from clackwork.book.errors import BookError
from clackwork.book.migrate import KNOWN, REVISION, bring_up_to_date, revision_of
from clackwork.book.places import BACKUPS, FILE_NAME, Place, Store, find_place
from clackwork.book.row_copy import carry_rows, tables_in
from clackwork.book.tables import metadata

_STOPPED = "stopped by a restore of the book"
_SPARE = 3  # times the size of the book inside: unpacked, brought up to date, put in place


@dataclass(frozen=True)
class RestorePlan:
    """What restoring a backup would do.

    Attributes
    ----------
    backup : BackupInfo
    place : Place
        Where it would go.
    present : Facts or None
        What is there now; None when there is no book, or it cannot be read.
    lines : tuple of str
        For people: what comes, what goes, what is kept.
    changes_lost : int or None
        Changes in the journal that the backup does not have; None when that is not known.
    """

    backup: BackupInfo
    place: Place
    present: Facts | None
    lines: tuple[str, ...]
    changes_lost: int | None


@dataclass(frozen=True)
class Restored:
    """What a restore did.

    Attributes
    ----------
    plan : RestorePlan
    before : BackupInfo or None
        The backup made of what was there; None when there was nothing, or it could not be read.
    put_aside : tuple of Path
        Files of a book that could not be read, moved out of the way.
    """

    plan: RestorePlan
    before: BackupInfo | None
    put_aside: tuple[Path, ...]


def look_into(backup: Path, place: Path | str) -> RestorePlan:
    """Open and check a backup, and say what restoring it would do.

    Parameters
    ----------
    backup : Path
    place : Path or str
        A folder or a database's address, as for a book.

    Raises
    ------
    BookError
        The backup is damaged, foreign, of a later version, or too large for the disk.
    """
    where = find_place(place)
    with work_folder(_near(where)) as work:
        info, copy = _unpacked(backup, work)
        kept = check_sqlite(copy, backup.name)
        _refuse_later(kept, backup)
        present, trouble = _present(where)
        lost, gone = _history(where, present, kept)
    older = kept.tables != REVISION
    return RestorePlan(info, where, present, _plan_lines(info, kept, present, trouble, gone, older), lost)


def _near(place: Place) -> Path:
    """A folder on the disk a restore would write to; nothing is left there."""
    if place.folder is None:
        return backups_folder(place)
    folder = place.folder
    while not folder.exists():
        folder = folder.parent
    return folder


def _unpacked(backup: Path, work: Path) -> tuple[BackupInfo, Path]:
    """The book of a backup in a work folder, when the disk has room for what a restore needs."""
    said = read_info(backup)
    free = shutil.disk_usage(work).free
    if said.size + _SPARE * said.book_size > free:
        raise BookError(f"The disk has {free // 1_000_000} MB left, too little to restore {backup.name}.")
    return unpack(backup, work)


def _refuse_later(kept: Facts, backup: Path) -> None:
    if kept.tables not in KNOWN:
        raise BookError(
            f"{backup.name} was made by a later version of clackwork (tables {kept.tables}, this one knows {REVISION}); "
            "install that version to restore it."
        )


def _present(place: Place) -> tuple[Facts | None, str]:
    """What is there now, and why it cannot be read when it cannot."""
    if place.file is not None and not place.file.exists():
        return None, ""
    try:
        with contextlib.closing(Store(place)) as store, store.reading() as connection:
            found = revision_of(connection)
            if found is None and not sa.inspect(connection).get_table_names():
                return None, ""
            facts = facts_of(lambda question: [tuple(row) for row in connection.execute(sa.text(question))])
            return facts, "" if found in KNOWN else f"it has tables {found}, which this version does not know"
    except (BookError, sa.exc.SQLAlchemyError, sqlite3.Error) as error:
        return None, str(error).splitlines()[0] if isinstance(error, BookError) else "it is no book, or it is damaged"


def _history(place: Place, present: Facts | None, kept: Facts) -> tuple[int | None, str]:
    """How many changes of the present book the backup does not have, and in words."""
    if present is None or present.last_change is None:
        return 0, ""
    if kept.last_change is None or present.first_change != kept.first_change:
        return None, "The backup is of another book than the one that is there."
    with contextlib.closing(Store(place)) as store, store.reading() as connection:
        question = 'SELECT "at" FROM change WHERE id = :id'
        at = connection.execute(sa.text(question), {"id": kept.last_change[0]}).scalar()
        later = connection.execute(
            sa.text("SELECT count(*) FROM change WHERE id > :id"), {"id": kept.last_change[0]}
        ).scalar_one()
    if at is None:
        return 0, "The backup is newer than the book: the book has nothing that the backup does not have."
    if at != kept.last_change[1]:
        return None, "Book and backup have gone different ways; what was changed in the book since they parted is left."
    if not later:
        return 0, "Nothing has been changed since the backup was made."
    last = present.last_change[1][:16].replace("T", " ")
    which = "one change" if later == 1 else f"{later} changes"
    return int(later), f"The book loses {which} made after the backup, the last at {last} UTC."


def _plan_lines(
    info: BackupInfo, kept: Facts, present: Facts | None, trouble: str, gone: str, older: bool
) -> tuple[str, ...]:
    """A plan in words."""
    lines = [
        f"Backup {info.path.name} of {info.made_at:%Y-%m-%d %H:%M} UTC, made {info.reason}, by clackwork {info.program}."
    ]
    for kind in sorted({*kept.counts, *(present.counts if present else {})}):
        now = "" if present is None else f", now {present.counts.get(kind, 0)}"
        lines.append(f"  {kind}: {kept.counts.get(kind, 0)} in the backup{now}")
    if gone:
        lines.append(gone)
    if older:
        lines.append(f"The backup is of an earlier version (tables {kept.tables}); it is brought up to {REVISION}.")
    if trouble:
        lines.append(
            f"The book that is there cannot be used: {trouble.rstrip('.')}. Its files are put aside, not deleted."
        )
    elif present is not None:
        lines.append("A backup of the book as it is now is made first.")
    else:
        lines.append("There is no book at this place yet; one is made.")
    lines.append("Devices paired with the page stay as they are now; jobs that had not ended are not taken up again.")
    return tuple(lines)


def restore(plan: RestorePlan, *, progress: Progress = silent) -> Restored:
    """Put the book of a backup in the place of what is there, all at once or not at all.

    What is there is kept as a backup first; what cannot be read is put aside. Other processes may have the book open:
    they see the restored book in their next transaction.

    Raises
    ------
    BookError
        The backup has changed since it was looked into, or as for `look_into`.
    """
    place, backup = plan.place, plan.backup.path
    with work_folder(place.folder or backups_folder(place)) as work:
        info, copy = _unpacked(backup, work)
        if info != plan.backup:
            raise BookError(f"{backup.name} has changed since it was looked into; look into it again.")
        _refuse_later(check_sqlite(copy, backup.name), backup)
        source = Store(find_place(work))
        try:
            _bring_copy_up_to_date(source, backup)
            present, trouble = _present(place)
            unusable, aside = _put_aside(place, progress) if trouble else (None, ())
            before = _put_in_place(source, place, present is not None and not trouble, progress)
        finally:
            source.close()
    return Restored(plan, before or unusable, aside)


def _bring_copy_up_to_date(copy: Store, backup: Path) -> None:
    """Migrate the unpacked copy of a backup; the backup itself is the backup of that."""
    try:
        bring_up_to_date(copy, lambda store, found: None)
    except BookError as error:
        raise BookError(
            f"{backup.name} holds a database that is no book of this program; it was not restored."
        ) from error
    with copy.reading() as connection:
        _refuse_other_tables(connection, backup)


def _refuse_other_tables(connection: sa.Connection, backup: Path) -> None:
    """Refuse a database that has not the tables of a book, column by column."""
    found = {name: {column.name for column in table.columns} for name, table in tables_in(connection).items()}
    wanted = {name: {column.name for column in table.columns} for name, table in metadata.tables.items()}
    if found != wanted:
        raise BookError(f"{backup.name} holds a database that is no book of this program; it was not restored.")


def _put_aside(place: Place, progress: Progress) -> tuple[BackupInfo | None, tuple[Path, ...]]:
    """Move the files of a book that cannot be used out of the way, into a folder of their own; a backup if one can be."""
    if place.folder is None:
        raise BookError(f"What lies at {place.words} is no book of this version; name an empty database.")
    before = None
    with contextlib.suppress(BookError):
        before = make_backup(place, reason=BEFORE_RESTORE, progress=progress)
    folder = place.folder / BACKUPS / f"put-aside-{datetime.now(UTC):%Y%m%d-%H%M%S-%f}"
    folder.mkdir(parents=True)
    moved = []
    for ending in ("", "-wal", "-shm", "-journal"):
        path = place.folder / f"{FILE_NAME}{ending}"
        if path.exists():
            os.replace(path, folder / path.name)
            moved.append(folder / path.name)
    return before, tuple(moved)


def _put_in_place(source: Store, place: Place, has_book: bool, progress: Progress) -> BackupInfo | None:
    """Carry the rows over in one transaction; the backup of a book that is there is made inside it.

    So nobody can write between that backup and the restore: every change acknowledged before is in the one or the other.
    """
    with contextlib.closing(Store(place)) as store:
        bring_up_to_date(store, before_migration)
    with (
        contextlib.closing(_store_without_link_checks(place)) as target,
        source.reading() as rows,
        target.writing() as connection,
    ):
        before = make_backup(place, reason=BEFORE_RESTORE, progress=progress) if has_book else None
        carry_rows(rows, connection, keep=LEFT_OUT)
        connection.execute(
            sa.text("UPDATE job SET state = 'cancelled', message = :message WHERE state IN ('queued', 'running')"),
            {"message": _STOPPED},
        )
        if place.folder is not None and connection.exec_driver_sql("PRAGMA foreign_key_check").first() is not None:
            raise BookError("The backup holds a link that leads nowhere; it was not restored.")
    return before


def _store_without_link_checks(place: Place) -> Store:
    """A store whose SQLite checks no link while it writes: row by row that takes minutes; afterwards it takes a moment."""
    store = Store(place)
    if place.folder is not None:
        sa.event.listen(store.engine, "connect", lambda connection, _: connection.execute("PRAGMA foreign_keys = OFF"))
    return store
