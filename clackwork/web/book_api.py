"""The book itself as JSON: which one is open, its backups, sharing and devices."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Literal

from fastapi import APIRouter, Path, UploadFile
from pydantic import BaseModel, ConfigDict, Field
from starlette.requests import Request

from clackwork.book.backup_file import BackupInfo
from clackwork.web import backups
from clackwork.web.access import require_shop, visitor_of
from clackwork.web.devices import BookDevices
from clackwork.web.record_pages import book_of

router = APIRouter(prefix="/api/book")

FileName = Annotated[str, Path(min_length=1, max_length=200)]


class BookOut(BaseModel):
    """Which book lies open."""

    open: Literal["none", "own", "demonstration"]
    title: str
    units: str


class OpenIn(BaseModel):
    """Which book to open; the own one is made when it is not there."""

    model_config = ConfigDict(extra="forbid")

    book: Literal["own", "demonstration"]
    title: Annotated[str, Field(max_length=80)] = ""


class BackupOut(BaseModel):
    """A backup in the book's folder."""

    name: str
    made_at: datetime
    reason: str
    size_bytes: int
    sha256: str


class PlanOut(BaseModel):
    """What restoring a backup would do."""

    backup: BackupOut
    lines: list[str]
    changes_lost: int | None


class RestoreIn(BaseModel):
    """Restore the backup that was looked into."""

    model_config = ConfigDict(extra="forbid")

    sha256: Annotated[str, Field(min_length=64, max_length=64)]


class SharingOut(BaseModel):
    """Whether the book is shared, and where."""

    on: bool
    address: str


class SharingIn(BaseModel):
    """Turn sharing on or off."""

    model_config = ConfigDict(extra="forbid")

    on: bool


class CodeOut(BaseModel):
    """A code that lets one device in."""

    code: str
    seconds_left: float


class DeviceOut(BaseModel):
    """A device that is let in."""

    id: int
    name: str
    paired_at: datetime
    seen_at: datetime | None


def book_out(request: Request) -> BookOut:
    """Which book lies open."""
    shelf = request.app.state.shelf
    which: Literal["none", "own", "demonstration"] = "none"
    if shelf.is_open:
        which = "demonstration" if shelf.is_demo else "own"
    return BookOut(open=which, title=shelf.title(), units=shelf.own_units())


def backup_out(info: BackupInfo) -> BackupOut:
    """A backup as JSON, without the folder it lies in."""
    return BackupOut(
        name=info.path.name, made_at=info.made_at, reason=info.reason, size_bytes=info.size, sha256=info.sha256
    )


@router.get("", summary="Which book lies open")
def which_book(request: Request) -> BookOut:
    """The open book."""
    return book_out(request)


@router.post("/open", summary="Open a book, or start one")
def open_book(request: Request, wanted: OpenIn) -> BookOut:
    """Open the workshop's own book or the demonstration."""
    require_shop(request, "Opening a book")
    shelf = request.app.state.shelf
    if wanted.book == "own":
        shelf.open_own(wanted.title.strip(), by=visitor_of(request).name)
    else:
        shelf.open_demo()
    return book_out(request)


@router.delete("/demonstration", summary="Throw the demonstration away")
def throw_demo_away(request: Request) -> BookOut:
    """Remove the invented book; the own one is not touched."""
    require_shop(request, "Throwing the demonstration away")
    request.app.state.shelf.throw_demo_away()
    return book_out(request)


@router.get("/backups", summary="List the backups")
def list_backups(request: Request) -> list[BackupOut]:
    """Backups of the open book, the newest first."""
    return [backup_out(one) for one in backups.listed_backups(book_of(request).place)]


@router.post("/backups", status_code=201, summary="Make a backup")
def make_backup(request: Request) -> BackupOut:
    """Back up the open book."""
    return backup_out(backups.make_one(book_of(request).place))


@router.post("/restore", summary="Bring a backup's file and look into it")
def bring_backup(request: Request, backup: UploadFile) -> PlanOut:
    """Keep the file beside the other backups and say what restoring it would do; nothing is restored."""
    require_shop(request, "Restoring")
    place = request.app.state.settings.place
    return _plan(place, backups.take_in(place, backup.file, backup.filename or "").name)


@router.get("/restore/{name}", summary="Look into a backup")
def look_into_backup(request: Request, name: FileName) -> PlanOut:
    """What restoring a backup would do."""
    require_shop(request, "Restoring")
    return _plan(request.app.state.settings.place, name)


def _plan(place: object, name: str) -> PlanOut:
    """A plan as JSON."""
    plan = backups.plan_of(place, name)
    return PlanOut(backup=backup_out(plan.backup), lines=list(plan.lines), changes_lost=plan.changes_lost)


@router.post("/restore/{name}", summary="Restore a backup that was looked into")
def restore_backup(request: Request, name: FileName, wanted: RestoreIn) -> BookOut:
    """Put the backup in the place of the workshop's own book, which is backed up first."""
    require_shop(request, "Restoring")
    backups.restore_named(request.app.state.settings.place, name, wanted.sha256)
    shelf = request.app.state.shelf
    shelf.close()
    shelf.open_own()
    return book_out(request)


# --- sharing and devices ---


@router.get("/sharing", summary="Whether the book is shared")
def sharing(request: Request) -> SharingOut:
    """Whether others on the local network may come in, and where."""
    door = request.app.state.sharing.door
    return SharingOut(on=door is not None, address=door.url if door else "")


@router.put("/sharing", summary="Turn sharing on or off")
async def share(request: Request, wanted: SharingIn) -> SharingOut:
    """Open or close the door on the local network."""
    require_shop(request, "Sharing")
    state = request.app.state
    if wanted.on:
        await state.sharing.start()
    else:
        await state.sharing.stop()
        state.desk.forget()
    return sharing(request)


@router.post("/code", status_code=201, summary="Ask for a pairing code")
def new_code(request: Request) -> CodeOut:
    """A code that lets one device in; the one before it is dead."""
    require_shop(request, "A pairing code")
    desk = request.app.state.desk
    return CodeOut(code=desk.new_code().digits, seconds_left=desk.seconds_left())


@router.get("/devices", summary="List the devices let in")
def devices(request: Request) -> list[DeviceOut]:
    """Devices paired with the open book."""
    return [
        DeviceOut(id=one.id, name=one.name, paired_at=one.paired_at, seen_at=one.seen_at)
        for one in BookDevices(book_of(request)).devices()
    ]


@router.delete("/devices/{number}", status_code=204, summary="Withdraw a device")
def withdraw_device(request: Request, number: Annotated[int, Path(ge=1, le=2**31 - 1)]) -> None:
    """Let a device in no more."""
    require_shop(request, "Withdrawing a device")
    BookDevices(book_of(request)).withdraw_device(number)
