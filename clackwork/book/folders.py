"""Whether a folder is a good place for a book: drives over a network and synced folders are not.

An SQLite file in a folder that another program copies to other machines, or on a drive over a network, may be damaged
or lose changes: locks and syncs to the disk do not hold there (SQLite, "How To Corrupt An SQLite Database File",
sections 2.1 and 1.2). Nothing here looks into files; it goes by the kind of drive, by marks that syncing programs leave
in the folders they copy, and by usual names of such folders.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

MOUNTS = Path("/proc/mounts")
NETWORK_KINDS = frozenset({"nfs", "nfs4", "cifs", "smb3", "smbfs", "ncpfs", "afs", "9p", "ceph"})
"""File systems that lie on another machine, by the name the system gives them."""
PROGRAM_KIND = "fuse."
"""Begins the names of file systems that a program shows: most of them lie elsewhere."""
MEMORY_KINDS = frozenset({"tmpfs", "ramfs"})
_DEVICE_NETWORK = 4  # DRIVE_REMOTE of the Windows call GetDriveTypeW
_SYNC_MARK = re.compile(r"\..*sync.*|\.stfolder|\.cloud.*", re.IGNORECASE)
_SYNC_NAME = re.compile(
    r"(?:.*[\s_-])?(?:sync|synced|cloud)(?:[\s_-].*)?"  # "Cloud files", "my_sync"
    r"|\w+cloud|(?:my|shared|team|cloud|\w+[a-z])drive(?:\s*-.*)?|(?:my|shared|team|cloud) drives?",
    re.IGNORECASE,
)
_MOST_ENTRIES = 2000  # of a folder that are looked at


@dataclass(frozen=True)
class FolderWarning:
    """Something against keeping a book in a folder.

    Attributes
    ----------
    key : str
        "network", "program", "memory", "synced".
    words, next_step : str
        Sentences.
    """

    key: str
    words: str
    next_step: str


_MOVE = "Keep the book on a disk of this machine, and put backups there instead."


def folder_warnings(folder: Path, mounts: str | None = None) -> tuple[FolderWarning, ...]:
    """What speaks against keeping a book in a folder; quick enough for every opening.

    Parameters
    ----------
    folder : Path
        Need not exist yet.
    mounts : str, optional
        Text of the system's table of mounts; read from the system when not given.
    """
    whole = Path(os.path.realpath(folder))
    found = []
    if mounts is None and os.name == "nt":
        kind = "cifs" if _is_windows_network(whole) else ""
    else:
        kind = kind_of_drive(whole, _system_mounts() if mounts is None else mounts)
    if kind in NETWORK_KINDS:
        found.append(FolderWarning("network", f"{folder} lies on a drive over a network ({kind}).", _MOVE))
    elif kind.startswith(PROGRAM_KIND):
        words = f"{folder} lies on a drive that a program shows ({kind}), which may be elsewhere."
        found.append(FolderWarning("program", words, _MOVE))
    elif kind in MEMORY_KINDS:
        words = f"{folder} lies in memory ({kind}): it is gone when the machine is switched off."
        found.append(FolderWarning("memory", words, "Keep the book on a disk."))
    mark = sync_mark(whole)
    if mark is not None:
        words = f"{folder} seems to be copied to other machines by a syncing program ({mark})."
        found.append(FolderWarning("synced", words, _MOVE))
    return tuple(found)


def _system_mounts() -> str:
    """The system's table of mounts; empty where there is none."""
    try:
        return MOUNTS.read_text(encoding="utf-8", errors="surrogateescape")
    except OSError:
        return ""


def kind_of_drive(folder: Path, mounts: str) -> str:
    """The file system a folder lies on, from the table of mounts; empty when that is not told."""
    best, kind = -1, ""
    for line in mounts.splitlines():
        parts = line.split(" ")
        if len(parts) < 3:
            continue
        point = re.sub(r"\\([0-7]{3})", lambda match: chr(int(match[1], 8)), parts[1])  # "\040" is a space
        if len(point) >= best and PurePosixPath(folder).is_relative_to(point):
            best, kind = len(point), parts[2]  # the last mount at a point covers the ones before
    return kind


def _is_windows_network(folder: Path) -> bool:
    """Whether Windows calls the drive of a folder a remote one."""
    if folder.drive.startswith("\\\\"):
        return True
    import ctypes

    kernel = getattr(ctypes, "windll").kernel32  # noqa: B009  (only Windows has it)
    return bool(kernel.GetDriveTypeW(f"{folder.drive}\\") == _DEVICE_NETWORK)


def sync_mark(folder: Path) -> str | None:
    """What shows that a folder or one above it is synced; None when nothing does.

    Marks are hidden entries with "sync" in their name, or called as the folder they lie in; or the folder's own name.
    The home folder and those above it are left out: programs keep settings there under such names.
    """
    for one in (folder, *folder.parents):
        if one in _outer_folders():
            break
        if _SYNC_NAME.fullmatch(one.name):
            return f"it lies under a folder called {one.name}"
        for name in _hidden_entries(one):
            if _SYNC_MARK.fullmatch(name) or (one.name and name[1:].casefold().split(".")[0] == one.name.casefold()):
                return f"{name} lies in {one}"
    return None


def _outer_folders() -> tuple[Path, ...]:
    """The home folder and those above it; only the top where there is no home."""
    try:
        home = Path(os.path.realpath(Path.home()))
    except RuntimeError:
        return ()
    return (home, *home.parents)


def _hidden_entries(folder: Path) -> Iterable[str]:
    """Names in a folder that begin with a dot; none of a folder that cannot be read."""
    try:
        with os.scandir(folder) as entries:
            return [entry.name for entry, _ in zip(entries, range(_MOST_ENTRIES), strict=False) if entry.name[0] == "."]
    except OSError:
        return ()
