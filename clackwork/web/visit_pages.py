"""Visits as pages: those of a site, a form for the phone, one against its promise, photographs; and what is due."""

from __future__ import annotations

import datetime
from typing import Any

from fastapi import APIRouter
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response

from clackwork.book import Book, Record
from clackwork.cautions import cautions_for
from clackwork.errors import ClackworkError, InputError
from clackwork.sheets.typeset import sentence
from clackwork.shop import photographs
from clackwork.shop.sites_due import SiteDue, sites_due
from clackwork.shop.visits import Comparison, build_at, comparison_of, find_visit, kept_comparison, place_of, visits_of
from clackwork.visits_report import (
    FIGURES,
    due_assumed,
    due_words,
    explanation_words,
    headline,
    measured_words,
    promised_words,
    side_words,
    when_words,
)
from clackwork.web import record_forms
from clackwork.web.access import visitor_of
from clackwork.web.field_lists import PURPOSE_WORDS, forms
from clackwork.web.forms import LINK, NAME, Filled
from clackwork.web.life_pages import part_with_photographs
from clackwork.web.pages import go_to, page, templates, units_of
from clackwork.web.problems import status_of
from clackwork.web.record_pages import book_of, form_page, record_page
from clackwork.web.summaries import Line, path_of, summary

router = APIRouter(include_in_schema=False)

_LONGEST_NAME = 80
_SHOWN = 5
"""Explanations shown."""
_SHORT = {key: words.split(":")[0] for key, words in PURPOSE_WORDS.items()}


def due_rows(found: tuple[SiteDue, ...], system: str, *, here: bool = False) -> list[Line]:
    """What is due as rows of a list, for any page; ``here`` where the page is that of the one site."""
    rows = []
    for one in found:
        words = f"{sentence(due_words(one.due, system))} {due_assumed(one.due, system)}".strip()
        when = when_words(one.due)
        rows.append(
            Line(f"/visits/new?site={one.site.id}", when, words)
            if here
            else Line(f"/sites/{one.site.id}/visits", one.due.site, words, when)
        )
    return rows


@router.get("/due")
def due_page(request: Request) -> Response:
    """What is due at all sites, the most urgent first."""
    found = sites_due(book_of(request))
    over = [one for one in found if one.due.days_over >= 0]
    coming = [one for one in found if one.due.days_over < 0]
    system = units_of(request)
    return page(
        request,
        "due.html",
        over=due_rows(tuple(over), system),
        coming=due_rows(tuple(coming), system),
        cautions=[one.words for one in cautions_for("work_in_water")],
    )


@router.get("/sites/{number:int}/visits")
def visits_page(request: Request, number: int) -> Response:
    """The visits to a site, and what is due there."""
    book, system = book_of(request), units_of(request)
    site = book.get("site", number)
    lines = []
    for record, visit in visits_of(book, number):
        kept = kept_comparison(book, record.id)
        said = "" if kept is None else headline(kept)
        end = f"{visit.date}, {_SHORT[visit.purpose]}"
        lines.append(Line(path_of(record), record.name, _readings(record, system), end, said))
    due = due_rows(sites_due(book, site_id=number), system, here=True)
    return page(request, "site_visits.html", site=site, lines=lines, due=due, built="as_built" in site.entered)


def _readings(record: Record, system: str) -> str:
    """A visit's readings in one line, the day and the purpose left for its end."""
    return ", ".join(summary(record, system).split(", ")[2:])


@router.get("/visits/new")
def new_visit(request: Request) -> Response:
    """An empty form with today's date, the site and the build that stands there."""
    book, filled = book_of(request), record_forms.fresh(forms()["visit"])
    today = datetime.date.today()
    filled.values |= {"date": today.isoformat(), LINK + "site": request.query_params.get("site", "")[:12]}
    number = record_forms.number_in(filled.value(LINK + "site"))
    if number is not None:
        _begin_at(book, filled, book.get("site", number), today)
    return form_page(request, filled, None)


def _begin_at(book: Book, filled: Filled, site: Record, today: datetime.date) -> None:
    """What is likely at a site: a name not taken, the build that stands there, commissioning when there was none."""
    before = visits_of(book, site.id)
    build = next((one.links["build"] for one, _ in before if "build" in one.links), None)
    if build is None:
        standing = build_at(book, place_of(site).as_built)
        build = standing.id if standing else None
    filled.values[LINK + "build"] = "" if build is None else str(build)
    commissioned = any(visit.purpose == "commissioning" for _, visit in before)
    filled.values["purpose"] = "service" if commissioned else "commissioning"
    stem, place = f"{site.name[: _LONGEST_NAME - 20]}, {today}", 1
    name = stem
    while book.find("visit", name) is not None:
        place += 1
        name = f"{stem} ({place})"
    filled.values[NAME] = name


@router.get("/visits/{number:int}")
def visit_page(request: Request, number: int) -> Response:
    """A visit."""
    return _visit_page(request, number)


def _visit_page(request: Request, number: int, *, status: int = 200, error: str = "") -> Response:
    book = book_of(request)
    record = book.get("visit", number)
    site = record.links["site"]
    kept = kept_comparison(book, number)
    shown = record_page(
        request,
        record,
        "visit.html",
        site=site,
        kept_said="" if kept is None else headline(kept),
        photographs=photographs.photographs_of(book, number),
        largest=f"{photographs.LARGEST_PHOTOGRAPH / 1e6:g} MB",
        error=error,
        more_actions=[("Another visit", f"/visits/new?site={site}"), ("All visits here", f"/sites/{site}/visits")],
    )
    shown.status_code = status
    return shown


@router.get("/visits/{number:int}/comparison")
def comparison_piece(request: Request, number: int) -> Response:
    """The comparison alone: the page of a visit asks for it once it is shown, as the engine takes a second."""
    book, system = book_of(request), units_of(request)
    made = comparison_of(book, number)
    visit = find_visit(book, number)
    shown = {"record": visit.record, "units": system, "feeds": visit.visit.for_twin, **_comparison_words(made, system)}
    return HTMLResponse(templates.get_template("visit_comparison.html").render(shown))


def _comparison_words(made: Comparison, system: str) -> dict[str, Any]:
    """A comparison in words."""
    from clackwork.answers_json import reason_words

    return {
        "made": made,
        "said": headline(made),
        "rows": [
            (FIGURES[one.figure], measured_words(one, system), promised_words(one, system), side_words(one), one.is_in)
            for one in made.compared
        ],
        "doubts": [sentence(reason_words(one, system)) for one in made.doubts],
        "explanations": [explanation_words(one, system) for one in made.explanations[:_SHOWN]],
    }


@router.post("/photographs")
async def add_photographs(request: Request) -> Response:
    """Keep photographs of a visit or a part; each that can be kept is, and the page says which could not."""
    form = await request.form()
    kind = "part" if "part" in form else "visit"
    typed = str(form.get(kind, ""))[:12]
    number = record_forms.number_in(typed)
    if number is None:
        raise InputError(kind, typed, f"it is the number of a {kind}", "Open its page again.")
    sent = [one for one in form.getlist("photograph") if isinstance(one, UploadFile) and one.filename]
    contents = [(one.filename or "", await one.read(photographs.LARGEST_PHOTOGRAPH + 1)) for one in sent]
    return await run_in_threadpool(_keep_photographs, request, kind, number, contents)


def _keep_photographs(request: Request, kind: str, number: int, contents: list[tuple[str, bytes]]) -> Response:
    book, refused, status = book_of(request), [], 422
    shown = part_with_photographs if kind == "part" else _visit_page
    if not contents:
        return shown(request, number, status=422, error="Choose a photograph first.")
    for name, content in contents[: photographs.MOST_AT_ONCE]:
        try:
            photographs.keep_photograph(book, number, content, by=visitor_of(request).name, kind=kind)
        except ClackworkError as error:
            refused.append(f"{name[:60]}: {error}")
            status = status_of(error)
    refused += [
        f"{name[:60]}: send at most {photographs.MOST_AT_ONCE} at once."
        for name, _ in contents[photographs.MOST_AT_ONCE :]
    ]
    if refused:
        return shown(request, number, status=status, error=" ".join(refused))
    return go_to(request, f"/{kind}s/{number}#photographs", "The photographs are in the book.")
