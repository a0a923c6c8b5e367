"""Sites as a list: each with its answer at a glance and what is due there; and tables of sites brought in."""

from __future__ import annotations

import hashlib
import json
from dataclasses import replace
from typing import Any

from fastapi import APIRouter
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile
from starlette.requests import Request
from starlette.responses import Response

from clackwork.book import Record
from clackwork.design_words import ANSWERS, DAY
from clackwork.errors import ClackworkError, InputError
from clackwork.quantities import format_range
from clackwork.sheets.typeset import sentence
from clackwork.shop.glances import Glance, ask_glances, glances
from clackwork.shop.job_rows import last_job
from clackwork.shop.readings import Choices
from clackwork.shop.site_tables import look_at_sites, take_site_table
from clackwork.shop.sites_due import sites_due
from clackwork.visits_report import due_words, when_words
from clackwork.web.access import visitor_of
from clackwork.web.field_lists import forms
from clackwork.web.job_api import line_of_job, look_for_work
from clackwork.web.lists import listing_of, offset_of, search_of
from clackwork.web.pages import go_to, page, units_of
from clackwork.web.problems import status_of
from clackwork.web.readings_api import held_file, hold_file
from clackwork.web.readings_pages import answered_words, choices_in
from clackwork.web.record_pages import book_of
from clackwork.web.summaries import Line, line_of

router = APIRouter(include_in_schema=False)

_NO_PUMP = 0
"""Under which a table of sites is held: readings are held under the number of their pump."""


def glance_words(one: Glance | None, units: str) -> str:
    """An answer in a line: "Yes: 1640 L/day (1400 to 1900), 2 × flap"; empty where there is none."""
    if one is None:
        return ""
    if not one.answer:
        return "no answer" + (", out of date" if one.stale else "")
    water = "nothing delivered"
    if one.high > 0.0:
        water = format_range(one.low / DAY, one.middle / DAY, one.high / DAY, "daily_volume_flow", units)
    assumed = "" if one.designed else ", pipes assumed"
    stale = ", out of date" if one.stale else ""
    return f"{ANSWERS[one.answer]}: {water}, {one.pumps} × {one.build}{assumed}{stale}"


@router.get("/sites")
def sites(request: Request) -> Response:
    """Every site of the book."""
    return _sites_page(request)


def _sites_page(request: Request, *, status: int = 200, error: str = "") -> Response:
    book, units, search = book_of(request), units_of(request), search_of(request)
    found = book.list("site", search=search, offset=offset_of(request))
    answers = glances(book, found.records)
    due: dict[int, str] = {}
    for one in sites_due(book):
        due.setdefault(one.site.id, f"{sentence(due_words(one.due, units))} {when_words(one.due)}.")
    lines = [_line(site, units, answers.get(site.id), due.get(site.id, "")) for site in found.records]
    empty = "No site of that name." if search else "No site yet: a customer's place with its fall, lift and source."
    listing = listing_of(found, lines, "Find a site", empty, "", "")
    job = last_job(book, "glances", "all", "sites")
    return page(
        request,
        "sites.html",
        status=status,
        listing=listing,
        search=search,
        error=error,
        line=line_of_job(job) if job and job.state != "done" else None,
        reload=False,
        has_twin=bool(book.counts("twin", "build")),
        missing=any(site.id not in answers or answers[site.id].stale for site in found.records),
        due_total=len(due),
    )


def _line(site: Record, units: str, answer: Glance | None, due: str) -> Line:
    """A site as a row: its figures, its answer, what is due or else its note."""
    line = line_of(site, units, end=glance_words(answer, units))
    return replace(line, note=f"Due: {due}") if due else line


@router.post("/sites/answers")
async def ask_answers(request: Request) -> Response:
    """Ask for the answers at all sites."""

    def ask() -> Response:
        try:
            ask_glances(book_of(request), by=visitor_of(request).name)
        except InputError as error:
            return _sites_page(request, status=422, error=str(error))
        look_for_work(request)
        return go_to(request, "/sites")

    return await run_in_threadpool(ask)


@router.get("/sites/table")
def table_page(request: Request) -> Response:
    """Where a table of sites comes in."""
    return _choose_page(request)


def _choose_page(request: Request, *, status: int = 200, error: str = "") -> Response:
    return page(request, "sites_choose.html", status=status, error=error)


@router.post("/sites/table")
async def bring(request: Request) -> Response:
    """Look at a table, newly sent or held, or take it as it was looked at."""
    form = await request.form()
    sent = form.get("file")
    raw = await sent.read() if isinstance(sent, UploadFile) and sent.filename else None
    name = sent.filename or "" if isinstance(sent, UploadFile) else ""
    return await run_in_threadpool(_bring, request, form, raw, name)


def _bring(request: Request, form: FormData, raw: bytes | None, name: str) -> Response:
    choices = choices_in(form)
    try:
        upload = hold_file(request, _NO_PUMP, name, raw) if raw is not None else str(form.get("upload", ""))[:200]
        if not upload:
            raise InputError("file", "(nothing)", "choose a CSV or XLSX file")
        held = held_file(request, upload)
        error, status = "", 200
        do = str(form.get("do", ""))
        if raw is None and do in ("all", "good"):
            if form.get("looked") == mark_of(choices):
                return _take(request, held.raw, held.name, choices, only_good=do == "good")
            error, status = "You changed something since you looked: this is what it becomes now.", 409
        seen = look_at_sites(book_of(request), held.raw, held.name, choices)
    except ClackworkError as refused:
        words = (
            f"{refused.allowed[:1].upper()}{refused.allowed[1:]}." if isinstance(refused, InputError) else str(refused)
        )
        return _choose_page(request, status=status_of(refused), error=words)
    return _look_page(request, upload, seen, error=error, status=status)


def _take(request: Request, raw: bytes, name: str, choices: Choices, *, only_good: bool) -> Response:
    """Take a table as it was looked at."""
    taken = take_site_table(book_of(request), raw, name, choices, only_good=only_good, by=visitor_of(request).name)
    there = f"; {len(taken.same)} stood there already" if taken.same else ""
    count = len(taken.sites)
    words = f"{count} site{'' if count == 1 else 's'} taken{there}. The journal in the book can undo it all."
    return go_to(request, "/sites", words)


def mark_of(choices: Choices) -> str:
    """A mark that tells whether choices are those that were looked at."""
    columns = sorted((use.header, use.field, use.unit) for use in choices.columns.values())
    told = json.dumps([columns, sorted(choices.answers.items())])
    return hashlib.sha256(told.encode("utf-8", "surrogatepass")).hexdigest()


def field_words(names: list[str]) -> dict[str, str]:
    """Every field a column may be, in words."""
    labels = {one.key: one.label for one in forms()["site"].fields()}
    return {name: labels.get(name, name.replace("_", " ").replace(".", ", ")) for name in names}


def _look_page(request: Request, upload: str, seen: dict[str, Any], *, error: str, status: int) -> Response:
    """A table as it would be taken."""
    from clackwork.book.run_columns import ColumnUse

    columns = {one["header"]: ColumnUse(one["header"], one["field"], one["unit"]) for one in seen["columns"]}
    shown = Choices(columns, {}, {one["key"]: one["answer"] for one in seen["answered"]})
    return page(
        request,
        "sites_look.html",
        status=status,
        upload=upload,
        looked=mark_of(shown),
        seen=seen,
        error=error,
        words=field_words(seen["fields"]),
        asked=[one for one in seen["questions"] if not one["key"].startswith("unit:")],
        answered=[(one["key"], answered_words(one["key"]), one["answer"]) for one in seen["answered"]],
    )
