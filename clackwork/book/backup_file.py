"""The one file of a backup: a zip with the book as an SQLite file and a list of what is in it; checked before use."""

from __future__ import annotations

import hashlib
import json
import os
import sqlite3
import zipfile
from collections.abc import Callable, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from types import MappingProxyType
from typing import IO, Any

from clackwork.book.errors import BookError
from clackwork.book.places import FILE_NAME

FORMAT = 1
"""Number of the form of the zip; the tables inside have a revision of their own."""
MANIFEST = "manifest.json"
LARGEST_BOOK = 4_000_000_000
"""Bytes of the SQLite file in a backup; twenty thousand runs take some sixty million."""
LARGEST_MANIFEST = 100_000
_MOST_SHRUNK = 200  # times; pages of readings shrink five to fifteen times
_SHRUNK_FROM = 50_000_000  # bytes; an almost empty book may shrink more
_CHUNK = 1 << 20
_COUNTS = "SELECT kind, count(*) FROM record WHERE removed = 0 GROUP BY kind ORDER BY kind"

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class BackupInfo:
    """What a backup says of itself.

    Attributes
    ----------
    path : Path
    made_at : datetime
        UTC.
    title : str
        Of the workshop; empty when it has none.
    reason : str
        "by hand", "before a migration", "before a restore".
    program, tables : str
        Version of clackwork and revision of the tables in it.
    counts : mapping of str to int
        Records of each kind that are not removed.
    changes : int
        In the journal.
    size, book_size : int
        Bytes of the zip, and of the book inside.
    sha256 : str
        Of the book inside, as hexadecimal.
    """

    path: Path
    made_at: datetime
    title: str
    reason: str
    program: str
    tables: str
    counts: Mapping[str, int]
    changes: int
    size: int
    book_size: int
    sha256: str


@dataclass(frozen=True)
class Facts:
    """What stands in a book, counted.

    Attributes
    ----------
    tables, title, counts, changes
        As in `BackupInfo`.
    first_change, last_change : tuple of (int, str), or None
        Number and moment of the ends of the journal; two books with the same first change are one book.
    """

    tables: str
    title: str
    counts: Mapping[str, int]
    changes: int
    first_change: tuple[int, str] | None
    last_change: tuple[int, str] | None


def digest(path: Path) -> str:
    """SHA-256 of a file as hexadecimal."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def facts_of(rows: Callable[[str], Sequence[tuple[Any, ...]]]) -> Facts:
    """Counts and versions in a book.

    Parameters
    ----------
    rows : callable
        Gives the rows that answer a question in SQL, on either database.

    Raises
    ------
    IndexError
        The tables have no revision.
    """
    counts = {str(kind): int(count) for kind, count in rows(_COUNTS)}
    workshop = rows("SELECT entered FROM record WHERE kind = 'workshop' AND removed = 0 ORDER BY id LIMIT 1")
    first, last = (rows(f'SELECT id, "at" FROM change ORDER BY id {way} LIMIT 1') for way in ("ASC", "DESC"))
    return Facts(
        tables=str(rows("SELECT version_num FROM alembic_version")[0][0]),
        title=str(dict(json.loads(workshop[0][0])).get("title", "")) if workshop else "",
        counts=MappingProxyType(counts),
        changes=int(rows("SELECT count(*) FROM change")[0][0]),
        first_change=(int(first[0][0]), str(first[0][1])) if first else None,
        last_change=(int(last[0][0]), str(last[0][1])) if last else None,
    )


def write_backup(
    book_file: Path, target: Path, facts: Facts, made_at: datetime, reason: str, program: str, progress: Progress
) -> BackupInfo:
    """Pack an SQLite file as a backup; the target appears whole, and never in the place of another file.

    Raises
    ------
    BookError
        The target is there already, or cannot be written.
    """
    sha256 = digest(book_file)
    manifest = {
        "format": FORMAT,
        "program": program,
        "tables": facts.tables,
        "made_at": made_at.isoformat(),
        "title": facts.title,
        "reason": reason,
        "counts": dict(facts.counts),
        "changes": facts.changes,
        "members": {FILE_NAME: {"bytes": book_file.stat().st_size, "sha256": sha256}},
    }
    part = target.with_name(f"{target.name}.{os.getpid()}.part")
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        with part.open("xb") as stream:
            _pack(stream, book_file, manifest, progress)
            stream.flush()
            os.fsync(stream.fileno())
        _name_new(part, target)
    except OSError as error:
        raise BookError(f"The backup {target} cannot be written: {error.strerror or error}.") from error
    finally:
        part.unlink(missing_ok=True)
    return info_from(manifest, target, target.stat().st_size)


def _pack(stream: IO[bytes], book_file: Path, manifest: Mapping[str, Any], progress: Progress) -> None:
    total, done = book_file.stat().st_size, 0
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(MANIFEST, json.dumps(manifest, ensure_ascii=False, indent=1))
        with book_file.open("rb") as source, archive.open(FILE_NAME, "w", force_zip64=True) as member:
            while chunk := source.read(_CHUNK):
                member.write(chunk)
                done += len(chunk)
                progress(done, total)


def _name_new(part: Path, target: Path) -> None:
    """Give a finished file its name, durably, unless another file has it."""
    try:
        os.link(part, target)
    except FileExistsError as error:
        raise BookError(
            f"{target} is there already, and a backup is never written over; choose another name."
        ) from error
    except OSError:  # a drive without hard links
        if target.exists():
            raise BookError(f"{target} is there already, and a backup is never written over.") from None
        os.replace(part, target)
    sync_folder(target.parent)


def sync_folder(folder: Path) -> None:
    """Have the names in a folder on the disk, where the system can."""
    if os.name != "posix":
        return
    number = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(number)
    finally:
        os.close(number)


def info_from(manifest: Mapping[str, Any], path: Path, size: int) -> BackupInfo:
    """What a list says, checked.

    Raises
    ------
    BookError
        Not the list of a backup.
    """
    try:
        counts = {str(kind): int(count) for kind, count in dict(manifest["counts"]).items()}
        return BackupInfo(
            path=path,
            made_at=datetime.fromisoformat(manifest["made_at"]),
            title=str(manifest["title"]),
            reason=str(manifest["reason"]),
            program=str(manifest["program"]),
            tables=str(manifest["tables"]),
            counts=MappingProxyType(counts),
            changes=int(manifest["changes"]),
            size=size,
            book_size=int(manifest["members"][FILE_NAME]["bytes"]),
            sha256=str(manifest["members"][FILE_NAME]["sha256"]),
        )
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise BookError(f"{path.name} is no backup of a book: its list of contents cannot be read.") from error


def read_info(path: Path) -> BackupInfo:
    """What a backup says of itself, without unpacking the book.

    Raises
    ------
    BookError
        Missing, damaged, not a backup, of a later form, or unpacking to more than a book can be.
    """
    with _opened(path) as archive:
        return _checked_info(archive, path)


def unpack(path: Path, folder: Path) -> tuple[BackupInfo, Path]:
    """The book of a backup as a file in a folder, checked against its SHA-256.

    Raises
    ------
    BookError
        As for `read_info`; also a book that is not the one the list tells.
    """
    target = folder / FILE_NAME
    with _opened(path) as archive:
        info = _checked_info(archive, path)
        said = archive.getinfo(FILE_NAME).file_size
        try:
            with archive.open(FILE_NAME) as member, target.open("xb") as out:
                left = said
                while left > 0 and (chunk := member.read(min(_CHUNK, left))):
                    out.write(chunk)
                    left -= len(chunk)
        except (zipfile.BadZipFile, EOFError, ValueError, NotImplementedError) as error:
            raise BookError(f"{path.name} is damaged and cannot be restored; take another backup.") from error
        except OSError as error:
            raise BookError(f"{path.name} cannot be unpacked: {error.strerror or error}.") from error
    if digest(target) != info.sha256:
        raise BookError(f"{path.name} is damaged: the book in it is not the one that was kept. Take another backup.")
    return info, target


def _opened(path: Path) -> zipfile.ZipFile:
    try:
        return zipfile.ZipFile(path)
    except FileNotFoundError as error:
        raise BookError(f"There is no backup {path}; check the name and the folder.") from error
    except (zipfile.BadZipFile, zipfile.LargeZipFile, ValueError, NotImplementedError) as error:
        raise BookError(f"{path.name} is no backup of a book, or it is damaged; take another backup.") from error
    except OSError as error:
        raise BookError(f"{path} cannot be read: {error.strerror or error}.") from error


def _checked_info(archive: zipfile.ZipFile, path: Path) -> BackupInfo:
    """The list of a backup, its members being what they must be and nothing else."""
    members = archive.infolist()
    if sorted(member.filename for member in members) != sorted((FILE_NAME, MANIFEST)):
        raise BookError(f"{path.name} is no backup of a book: it holds other things than a book and its list.")
    book, manifest = archive.getinfo(FILE_NAME), archive.getinfo(MANIFEST)
    shrunk = book.file_size > _SHRUNK_FROM and book.file_size > _MOST_SHRUNK * max(book.compress_size, 1)
    if manifest.file_size > LARGEST_MANIFEST or book.file_size > LARGEST_BOOK or shrunk:
        raise BookError(f"{path.name} would unpack to more than a book can be; it was not opened.")
    if any(member.flag_bits & 1 for member in members):
        raise BookError(f"{path.name} is locked with a password; a backup of a book is not.")
    try:
        said = json.loads(archive.read(MANIFEST))
    except (zipfile.BadZipFile, ValueError, RecursionError, NotImplementedError, OSError, EOFError) as error:
        raise BookError(f"{path.name} is damaged: its list of contents cannot be read. Take another backup.") from error
    number = said.get("format") if isinstance(said, dict) else None
    if isinstance(number, int) and number > FORMAT:
        raise BookError(f"{path.name} was made by a later version of clackwork; install that version to restore it.")
    if number != FORMAT:
        raise BookError(f"{path.name} is no backup of a book: its list of contents cannot be read.")
    info = info_from(said, path, path.stat().st_size)
    if info.book_size != book.file_size:
        raise BookError(f"{path.name} is damaged: the book in it has another size than its list tells.")
    return info


def check_sqlite(book_file: Path, name: str) -> Facts:
    """Refuse an SQLite file that is not a sound book.

    Raises
    ------
    BookError
        Damaged, or with other contents than a book's tables.
    """
    not_a_book = f"{name} holds a database that is no book of this program; it was not restored."
    with closing(sqlite3.connect(book_file.resolve().as_uri() + "?mode=ro&immutable=1", uri=True)) as connection:
        try:
            connection.execute("PRAGMA trusted_schema = OFF")
            connection.execute("PRAGMA cell_size_check = ON")
            things = connection.execute("SELECT type FROM sqlite_master").fetchall()
            if {kind for (kind,) in things} - {"table", "index"}:
                raise BookError(not_a_book)
            state = connection.execute("PRAGMA integrity_check(1)").fetchone()[0]
            broken = connection.execute("PRAGMA foreign_key_check").fetchone()
            if state != "ok" or broken is not None:
                raise BookError(
                    f"The book in {name} is damaged ({'links' if broken else 'pages'}); take another backup."
                )
            return facts_of(lambda question: connection.execute(question).fetchall())
        except (sqlite3.DatabaseError, IndexError, TypeError, ValueError) as error:
            raise BookError(not_a_book) from error
