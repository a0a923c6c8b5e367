"""Backups as the page needs them: listed, made, given out, looked into, restored."""

from __future__ import annotations

import os
import secrets
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, BinaryIO

from clackwork.book.backup import backups_folder, list_backups, make_backup
from clackwork.book.backup_file import BackupInfo
from clackwork.book.errors import BookError, NotThere
from clackwork.book.places import Place, find_place
from clackwork.book.restoring import Restored, RestorePlan, look_into, restore
from clackwork.errors import InputError

_CHUNK = 1 << 20


def listed_backups(place: Place) -> tuple[BackupInfo, ...]:
    """The backups of a book, the newest first."""
    return list_backups(place)


def make_one(place: Place) -> BackupInfo:
    """Make a backup now."""
    return make_backup(place)


def backup_named(place: Any, name: str) -> Path:
    """The file of a backup in the folder of a place.

    Raises
    ------
    NotThere
        No backup of that name; nothing outside the folder is looked at.
    """
    folder = backups_folder(find_place(place)).resolve()
    path = (folder / name).resolve()
    if path.parent != folder or path.suffix != ".zip" or not path.is_file():
        raise NotThere("There is no backup of that name; it may have been moved away.")
    return path


def take_in(place: Any, sent: BinaryIO, name: str) -> Path:
    """Keep a file that was sent, beside the other backups.

    It keeps its place there whatever comes of it: a backup is never deleted.

    Raises
    ------
    InputError
        It is no backup that can be restored; it is not kept.
    """
    folder = backups_folder(find_place(place))
    folder.mkdir(parents=True, exist_ok=True)
    stem = f"book-{datetime.now(UTC):%Y%m%d-%H%M%S}-brought-{secrets.token_hex(2)}"
    part, path = folder / f"{stem}.part", folder / f"{stem}.zip"
    try:
        with part.open("xb") as kept:
            while chunk := sent.read(_CHUNK):
                kept.write(chunk)
            kept.flush()
            os.fsync(kept.fileno())
        look_into(part, place)
        os.replace(part, path)
    except BookError as error:
        raise InputError("backup", f'"{name[:80]}"', str(error).replace(part.name, "it").rstrip(".")) from error
    finally:
        part.unlink(missing_ok=True)
    return path


def plan_of(place: Any, name: str) -> RestorePlan:
    """What restoring a backup would do."""
    return look_into(backup_named(place, name), place)


def restore_named(place: Any, name: str, sha256: str) -> Restored:
    """Restore a backup that was looked into before.

    Raises
    ------
    NotThere
        It is another file than the one looked into.
    """
    plan = plan_of(place, name)
    if plan.backup.sha256 != sha256:
        raise NotThere("That backup has changed since you looked into it; look into it again.")
    return restore(plan)
