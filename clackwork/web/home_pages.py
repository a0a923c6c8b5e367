"""The first page: with no book open three ways to begin, else the pumps and what was done last."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from clackwork.book.kinds import IN_WORKBOOK
from clackwork.errors import InputError
from clackwork.shop.demonstration import begin_demonstration
from clackwork.web.access import require_shop, visitor_of
from clackwork.web.job_api import look_for_work
from clackwork.web.pages import clock, go_to, page, units_of
from clackwork.web.record_pages import book_of
from clackwork.web.summaries import Line, line_of, note_of, path_of
from clackwork.workbook_reader import checked_name

router = APIRouter(include_in_schema=False)

_PUMPS, _TRIALS, _RECENT = 6, 5, 8


@router.get("/")
def home(request: Request) -> Response:
    """The first page."""
    shelf = request.app.state.shelf
    if not shelf.is_open:
        return first_page(request)
    book, system = book_of(request), units_of(request)
    pumps = book.list("pump", order="changed", limit=_PUMPS)
    builds, runs = book.counts("build", "pump"), book.counts("run", "pump")
    cards = [
        {
            "path": path_of(pump),
            "name": pump.name,
            "note": pump.entered.get("title") or note_of(pump),
            "builds": builds.get(pump.id, 0),
            "runs": runs.get(pump.id, 0),
        }
        for pump in pumps.records
    ]
    trials = book.list("trial", order="changed", limit=_TRIALS)
    return page(
        request,
        "home.html",
        pumps=cards,
        more_pumps=pumps.total if pumps.total > _PUMPS else 0,
        trials=[line_of(trial, system) for trial in trials.records],
        recent=_recent(request),
    )


def _recent(request: Request) -> list[Line]:
    """The records changed last, each once."""
    lines: dict[tuple[str, int], Line] = {}
    for change in book_of(request).changes(limit=60):
        key = (change.kind, change.record_id)
        if change.kind in _PLURALS and not change.after.get("removed") and key not in lines:
            lines[key] = Line(
                f"/{_PLURALS[change.kind]}/{change.record_id}", change.name, change.kind, clock(change.at)
            )
    return list(lines.values())[:_RECENT]


_PLURALS = {kind: f"{kind}s" for kind in IN_WORKBOOK}


def first_page(request: Request, *, title: str = "", error: str = "", status: int = 200) -> Response:
    """Three ways to begin."""
    settings = request.app.state.settings
    return page(
        request,
        "first.html",
        status=status,
        place=place_words(settings.place),
        at_shop=visitor_of(request).at_shop,
        title=title,
        error=error,
    )


def place_words(place: Any) -> str:
    """Where the own book is kept, without a password."""
    from clackwork.book.places import find_place

    return find_place(place).words


@router.post("/start/demo")
def start_demo(request: Request) -> Response:
    """Open the invented book."""
    shelf = request.app.state.shelf
    if shelf.is_open:
        require_shop(request, "Another book")
    shelf.open_demo()
    words = "This is the demonstration: look into everything, change what you like."
    if begin_demonstration(book_of(request)):
        look_for_work(request)
        words += " Its pumps are being fitted and two of its sites designed meanwhile: see Work in progress."
    return go_to(request, "/", words)


@router.post("/start/new")
async def start_new(request: Request) -> Response:
    """Start the workshop's own book, or open it when it is there."""
    require_shop(request, "Starting a book")
    title = str((await request.form()).get("title", "")).strip()
    return await run_in_threadpool(_start_new, request, title)


def _start_new(request: Request, title: str) -> Response:
    """Make the book under its name."""
    shelf = request.app.state.shelf
    try:
        checked_name(title, "title")
    except InputError as error:
        return first_page(
            request, title=title[:80], error=f"{error.allowed[:1].upper()}{error.allowed[1:]}.", status=422
        )
    shelf.open_own(title, by=visitor_of(request).name)
    return go_to(request, "/", "Your book is open. Begin with a pump.")


@router.post("/start/own")
def open_own(request: Request) -> Response:
    """Open the workshop's own book that is there."""
    require_shop(request, "Another book")
    shelf = request.app.state.shelf
    if not shelf.has_own:
        shelf.close()
        return go_to(request, "/")
    shelf.open_own()
    return go_to(request, "/", "Your own book is open.")


@router.post("/demo/away")
def throw_away(request: Request) -> Response:
    """Throw the invented book away."""
    require_shop(request, "Throwing the demonstration away")
    request.app.state.shelf.throw_demo_away()
    return go_to(request, "/", "The demonstration is gone; your own book was not touched.")


@router.get("/api")
def api_page(request: Request) -> Response:
    """What the JSON API offers, in a table."""
    description = request.app.openapi()
    entries = [
        (method.upper(), path, told.get("summary", ""))
        for path, methods in description["paths"].items()
        for method, told in methods.items()
    ]
    return page(request, "api.html", entries=entries, description=description["info"]["description"])
