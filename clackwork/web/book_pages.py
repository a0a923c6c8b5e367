"""The page of the book itself: workshop, sharing and devices, backups, the demonstration, the journal."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from typing import TYPE_CHECKING, Any

from fastapi import APIRouter
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response

from clackwork.web.access import require_shop, visitor_of
from clackwork.web.backups import listed_backups
from clackwork.web.devices import BookDevices
from clackwork.web.field_lists import forms
from clackwork.web.lists import offset_of
from clackwork.web.pages import go_to, page, templates, units_of
from clackwork.web.record_pages import book_of
from clackwork.web.sharing import qr_svg
from clackwork.web.summaries import fact_groups

if TYPE_CHECKING:
    from clackwork.book import Change

router = APIRouter(include_in_schema=False)

JOURNAL_ROWS = 25
ACTIONS = {"add": "added", "change": "changed", "remove": "taken away", "undo": "put back"}


@router.get("/book")
def book_page(request: Request) -> Response:
    """The book."""
    from clackwork.book.folders import folder_warnings

    book, shelf, offset = book_of(request), request.app.state.shelf, offset_of(request)
    changes = book.changes(offset=offset, limit=JOURNAL_ROWS + 1)
    folder = book.place.folder
    workshop = book.workshop()
    return page(
        request,
        "book.html",
        place=shelf.place,
        warnings=folder_warnings(folder) if folder is not None else (),
        workshop_record=workshop,
        groups=fact_groups(workshop, units_of(request)),
        sharing=sharing_state(request),
        devices=BookDevices(book).devices(),
        backups=listed_backups(book.place),
        has_own=shelf.has_own,
        has_demo=shelf.has_demo,
        journal=journal_rows(changes[:JOURNAL_ROWS]),
        offset=offset,
        later=max(0, offset - JOURNAL_ROWS),
        earlier=offset + JOURNAL_ROWS if len(changes) > JOURNAL_ROWS else 0,
    )


def journal_rows(changes: Sequence[Change]) -> list[dict[str, Any]]:
    """Rows of the journal; the changes of one action that follow one another are one row."""
    rows: list[dict[str, Any]] = []
    for _, group in groupby(changes, key=lambda change: change.together):
        listed = list(group)
        row = journal_row(listed[0])
        if len(listed) > 1:
            names = ", ".join(change.name for change in listed[:6]) + (" …" if len(listed) > 6 else "")
            can_undo = any(change.undone_by is None for change in listed)
            row |= {"name": f"{len(listed)} at once", "path": "", "what": names, "can_undo": can_undo}
            row |= {"words": ACTIONS.get(listed[0].action, listed[0].action), "together": "-together"}
        rows.append(row)
    return rows


def journal_row(change: Change) -> dict[str, Any]:
    """One change as the journal shows it."""
    form = forms().get(change.kind)
    removed = bool(change.after.get("removed"))
    can_undo = change.undone_by is None and not (change.kind == "workshop" and change.before is None)
    return {
        "id": change.id,
        "at": change.at,
        "by": change.by,
        "words": f"{form.word if form else change.kind} {ACTIONS.get(change.action, change.action)}",
        "name": change.name,
        "path": f"/{form.plural}/{change.record_id}" if form and change.kind != "workshop" and not removed else "",
        "what": what_changed(change),
        "state": "undone" if change.undone_by is not None else "",
        "can_undo": can_undo,
        "together": "",
    }


def what_changed(change: Change) -> str:
    """The fields that a change changed, old and new, in a line; empty for what was added or taken away."""
    from clackwork.web.forms import flat_texts

    if change.before is None or change.before.get("removed") != change.after.get("removed"):
        return ""
    old, new = flat_texts(change.before["entered"]), flat_texts(change.after["entered"])
    parts = []
    if change.before["name"] != change.after["name"]:
        parts.append(f"name {change.before['name']} → {change.after['name']}")
    for key in dict.fromkeys([*old, *new]):
        if old.get(key) != new.get(key):
            words = key.rpartition(".")[2].replace("_", " ")
            parts.append(f"{words} {_short(old.get(key))} → {_short(new.get(key))}")
    return "; ".join(parts[:4]) + (" …" if len(parts) > 4 else "")


def _short(text: str | None) -> str:
    if text is None:
        return "(nothing)"
    return text if len(text) <= 40 else f"{text[:39]}…"


@router.post("/book/undo/{number}")
def undo(request: Request, number: int) -> Response:
    """Put a change back."""
    undone = book_of(request).undo(number, by=visitor_of(request).name)
    return go_to(request, "/book#journal", f"{undone.name} is as it was before.")


@router.post("/book/undo-together/{number}")
def undo_together(request: Request, number: int) -> Response:
    """Put back all that was done in one action."""
    undone = book_of(request).undo_together(number, by=visitor_of(request).name)
    return go_to(request, "/book#journal", f"{len(undone)} changes were put back.")


@router.post("/book/workshop")
async def name_workshop(request: Request) -> Response:
    """Change what the book says of the workshop."""
    from clackwork.web.forms import entered_of, filled_from
    from clackwork.web.record_forms import version_in

    filled = filled_from(forms()["workshop"], await request.form())

    def save() -> Response:
        book = book_of(request)
        present = book.workshop()
        entered = {**present.entered, **entered_of(filled)}
        version = version_in(filled)
        book.change("workshop", present.id, version=version, entered=entered, by=visitor_of(request).name)
        return go_to(request, "/book", "Saved.")

    return await run_in_threadpool(save)


# --- sharing and devices ---


def sharing_state(request: Request) -> dict[str, Any]:
    """What the page shows of sharing: only this machine sees the code."""
    state, at_shop = request.app.state, visitor_of(request).at_shop
    door = state.sharing.door
    code = state.desk.present_code() if at_shop else None
    url = door.url if door else ""
    return {
        "on": door is not None,
        "url": url,
        "at_shop": at_shop,
        "code": f"{code.digits[:3]} {code.digits[3:]}" if code else "",
        "minutes": max(1, round(state.desk.seconds_left() / 60)),
        "qr": qr_svg(f"{url}pair#code={code.digits}") if door and code else "",
    }


@router.post("/book/share")
async def share(request: Request) -> Response:
    """Turn sharing on or off."""
    require_shop(request, "Sharing")
    state, wanted = request.app.state, (await request.form()).get("on") == "yes"
    if wanted:
        await state.sharing.start()
        state.desk.new_code()
        return go_to(request, "/book#sharing")
    await state.sharing.stop()
    state.desk.forget()
    return go_to(request, "/book#sharing", "Sharing is off; only this machine reaches the book.")


@router.post("/book/code")
def code(request: Request) -> Response:
    """A new pairing code."""
    require_shop(request, "A pairing code")
    request.app.state.desk.new_code()
    return go_to(request, "/book#sharing")


@router.get("/book/sharing")
def sharing_part(request: Request) -> HTMLResponse:
    """The part of the page that shows sharing, asked for again while a code is shown."""
    book = book_of(request)
    words = {
        "sharing": sharing_state(request),
        "devices": BookDevices(book).devices(),
        "token": request.state.form_token,
    }
    return HTMLResponse(templates.get_template("sharing.html").render(words))


@router.post("/book/devices/{number}/withdraw")
def withdraw(request: Request, number: int) -> Response:
    """Let a device in no more."""
    require_shop(request, "Withdrawing a device")
    BookDevices(book_of(request)).withdraw_device(number)
    return go_to(request, "/book#sharing", "That device is let in no more.")
