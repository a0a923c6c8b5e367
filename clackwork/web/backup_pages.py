"""Backups in the page: make one, take it home, look into one, restore it."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.requests import Request
from starlette.responses import FileResponse, Response

from clackwork.book.places import find_place
from clackwork.errors import InputError
from clackwork.web import backups
from clackwork.web.access import require_shop
from clackwork.web.pages import go_to, page
from clackwork.web.record_pages import book_of

router = APIRouter(include_in_schema=False)


def own_place(request: Request) -> Any:
    """Where the workshop's own book is: what a restore writes to."""
    return request.app.state.settings.place


@router.post("/book/backup")
def make(request: Request) -> Response:
    """Make a backup of the open book."""
    made = backups.make_one(book_of(request).place)
    return go_to(request, "/book#backups", f"Backed up in {made.path.name}. Keep a copy on another disk.")


@router.get("/book/backups/{name}")
def give(request: Request, name: str) -> Response:
    """A backup's file."""
    require_shop(request, "Taking a backup")
    place = book_of(request).place
    path = backups.backup_named(str(place.folder) if place.folder else own_place(request), name)
    return FileResponse(path, filename=path.name, media_type="application/zip")


@router.post("/book/restore")
async def bring(request: Request) -> Response:
    """Take a backup's file in and show what restoring it would do."""
    require_shop(request, "Restoring")
    sent = (await request.form()).get("backup")
    if not isinstance(sent, UploadFile) or not sent.filename:
        raise InputError("backup", "(nothing)", "choose the file of a backup")
    path = await run_in_threadpool(backups.take_in, own_place(request), sent.file, sent.filename)
    return go_to(request, f"/book/restore/{path.name}")


@router.get("/book/restore/{name}")
def look(request: Request, name: str) -> Response:
    """What restoring a backup would do."""
    require_shop(request, "Restoring")
    plan = backups.plan_of(own_place(request), name)
    return page(request, "restore.html", plan=plan, place=find_place(own_place(request)).words)


@router.post("/book/restore/{name}")
async def put_back(request: Request, name: str) -> Response:
    """Restore it and open the book."""
    require_shop(request, "Restoring")
    sha256 = str((await request.form()).get("sha256", ""))

    def do() -> Response:
        shelf = request.app.state.shelf
        done = backups.restore_named(own_place(request), name, sha256)
        shelf.close()
        shelf.open_own()
        kept = f" What was there before is kept in {done.before.path.name}." if done.before else ""
        return go_to(request, "/", f"The book is as it was in the backup.{kept}")

    return await run_in_threadpool(do)
