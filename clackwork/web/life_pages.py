"""Parts in service and switches as pages: what parts show, a look entered on a phone, a switch studied."""

from __future__ import annotations

import datetime
from typing import Any

from fastapi import APIRouter
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from clackwork.book import Record
from clackwork.book.errors import Conflict
from clackwork.cautions import cautions_for
from clackwork.charts.switch_chart import CAPTION, HEADINGS
from clackwork.errors import ClackworkError, InputError
from clackwork.life.stocking import USUAL_RISK, stock_of_parts
from clackwork.life_report import life_lines
from clackwork.shop import photographs
from clackwork.shop.job_rows import last_job
from clackwork.shop.looking import add_look, groups_of_book
from clackwork.shop.sites_due import parts_in_service
from clackwork.shop.switching import DRAWS, ask_switch, switch_shown
from clackwork.stock_report import stock_lines
from clackwork.web.access import visitor_of
from clackwork.web.forms import NAME, VERSION, Filled, entered_of, filled_from
from clackwork.web.job_api import line_of_job, look_for_work
from clackwork.web.life_fields import look_form
from clackwork.web.lists import listing_of, offset_of, search_of
from clackwork.web.pages import go_to, page, units_of
from clackwork.web.problems import status_of
from clackwork.web.record_forms import number_in
from clackwork.web.record_pages import book_of, record_page, trail_of
from clackwork.web.summaries import Line, line_of, path_of, summary

router = APIRouter(include_in_schema=False)

_MOST_PARTS = 500
_USUAL = round(100.0 * USUAL_RISK)
_RISKS = (1, _USUAL, 10, 20)
"""Chances in a hundred of running out of spares that may be chosen."""


def part_line(record: Record, system: str) -> Line:
    """A part as a row: what it is, and its last look."""
    looks = record.entered.get("look", [])
    end = f"{looks[-1]['date']}: {looks[-1]['outcome']}" if looks else "no look yet"
    return line_of(record, system, end=end)


@router.get("/parts")
def parts_page(request: Request) -> Response:
    """Parts in service by kind and material, and what each kind shows."""
    book, system = book_of(request), units_of(request)
    records = {one.name: one for one in book.list("part", limit=_MOST_PARTS).records}
    error, groups, service = "", [], []
    asked = number_in(request.query_params.get("risk", ""))
    risk = asked if asked in _RISKS else _USUAL
    try:
        stock = stock_of_parts(parts_in_service(book), datetime.date.today(), risk=risk / 100.0)
        service = stock_lines(stock, system)
        for found in groups_of_book(book):
            heading, *said = life_lines(found, system)
            lines = [part_line(records[one.name], system) for one in found.records if one.name in records]
            groups.append({"heading": heading, "said": [one.strip() for one in said], "lines": lines})
    except ClackworkError as problem:
        error = str(problem)
        groups = [{"heading": "", "said": [], "lines": [part_line(one, system) for one in records.values()]}]
    return page(request, "parts.html", groups=groups, error=error, service=service, risks=_RISKS, risk=risk)


@router.get("/parts/{number:int}")
def part_page(request: Request, number: int) -> Response:
    """One part."""
    return part_with_photographs(request, number)


def part_with_photographs(request: Request, number: int, *, status: int = 200, error: str = "") -> Response:
    """The page of a part, with what was wrong with a photograph sent to it."""
    book = book_of(request)
    record = book.get("part", number)
    ended = any(look["outcome"] != "runs on" for look in record.entered.get("look", []))
    actions = [] if ended else [("Enter a look", f"/parts/{number}/look")]
    shown = record_page(
        request,
        record,
        "part.html",
        photographs=photographs.photographs_of(book, number, "part"),
        largest=f"{photographs.LARGEST_PHOTOGRAPH / 1e6:g} MB",
        error=error,
        more_actions=[*actions, ("What such parts show", "/parts")],
    )
    shown.status_code = status
    return shown


@router.get("/parts/{number:int}/look")
def new_look(request: Request, number: int) -> Response:
    """An empty look with today's date."""
    record = book_of(request).get("part", number)
    values = {"date": datetime.date.today().isoformat(), NAME: record.name, VERSION: str(record.version)}
    return _look_page(request, record, Filled(look_form(), values))


def _look_page(request: Request, record: Record, filled: Filled, *, status: int = 200) -> Response:
    looks = record.entered.get("look", [])
    before = looks[-1] if looks else None
    cautions = [one.words for topic in ("moving_valve", "dead_head") for one in cautions_for(topic)]
    shown = {"record": record, "filled": filled, "before": before, "cautions": cautions, "path": path_of(record)}
    return page(request, "part_look.html", status=status, trail=trail_of(book_of(request), record), **shown)


@router.post("/parts/{number:int}/look")
async def save_look(request: Request, number: int) -> Response:
    """Add the look, or show it again with what is wrong."""
    filled = filled_from(look_form(), await request.form())
    return await run_in_threadpool(_save_look, request, number, filled)


def _save_look(request: Request, number: int, filled: Filled) -> Response:
    book = book_of(request)
    version = number_in(filled.value(VERSION)) or 0
    typed: dict[str, Any] | None = None
    try:
        typed = entered_of(filled)
        add_look(book, number, typed, version=version, by=visitor_of(request).name)
    except Conflict:
        record = book.get("part", number)
        if record.entered.get("look", [])[-1:] == [typed]:  # sent before, its answer lost on the way
            return go_to(request, f"/parts/{number}", "The look is in the book.")
        filled.values[VERSION] = str(record.version)
        filled.errors[""] = (
            "Somebody else changed this part meanwhile. What you typed is below: look at it, then save again."
        )
        return _look_page(request, record, filled, status=409)
    except ClackworkError as error:
        field = error.field.rpartition(", ")[2] if isinstance(error, InputError) else ""
        key = "date" if field.startswith("look of") else field
        words = str(error)
        if isinstance(error, InputError) and filled.form.field(key) is not None:
            words = f"{error.allowed[:1].upper()}{error.allowed[1:]}. {error.next_step}".strip()
        filled.errors[key if filled.form.field(key) is not None else ""] = words
        return _look_page(request, book.get("part", number), filled, status=status_of(error))
    return go_to(request, f"/parts/{number}", "The look is in the book.")


@router.get("/switches")
def switches_page(request: Request) -> Response:
    """Every switch, with the verdict found last."""
    book, system, search = book_of(request), units_of(request), search_of(request)
    found = book.list("switch", search=search, offset=offset_of(request))
    lines = []
    for record in found.records:
        done = last_job(book, "switch", "switch_id", record.id, states=("done",))
        said = done.result["words"][system]["verdict"] if done is not None and done.result else "not studied yet"
        lines.append(Line(path_of(record), record.name, summary(record, system), "", said))
    empty = "No switch of that name." if search else "No switch yet: it asks whether to change to a new build."
    listing = listing_of(found, lines, "Find a switch", empty, "/switches/new", "Ask whether to switch")
    return page(request, "listing.html", title="Switches", listings=[listing], search=search)


@router.get("/switches/{number:int}")
def switch_page(request: Request, number: int) -> Response:
    """A switch: the verdict first."""
    return _switch_page(request, number)


def _switch_page(request: Request, number: int, *, status: int = 200, error: str = "", draws: str = "") -> Response:
    system = units_of(request)
    found = switch_shown(book_of(request), number)
    kept = found.kept
    shown: dict[str, Any] = {} if kept is None else dict(kept.words[system])
    asked = kept.job.arguments if kept else {}
    response = record_page(
        request,
        found.switch,
        template="switch.html",
        kept=kept,
        line=line_of_job(found.job) if found.job else None,
        reload=False,
        error=error,
        to_fit=found.to_fit,
        draws=draws or asked.get("draws", DRAWS),
        paper="us-letter" if system == "us" else "a4",
        headings=HEADINGS,
        caption=CAPTION,
        **shown,
    )
    response.status_code = status
    return response


@router.post("/switches/{number:int}/study")
async def study_from_page(request: Request, number: int) -> Response:
    """Ask for the study."""
    typed = str((await request.form()).get("draws", "")).strip()[:8]

    def ask() -> Response:
        draws = number_in(typed) if typed else DRAWS
        try:
            if draws is None:
                raise InputError("draws", typed, "it must be a whole number")
            ask_switch(book_of(request), number, draws=draws, by=visitor_of(request).name)
        except ClackworkError as error:
            return _switch_page(request, number, status=status_of(error), error=str(error), draws=typed)
        look_for_work(request)
        return go_to(request, f"/switches/{number}")

    return await run_in_threadpool(ask)
