"""The twin of a build and its performance, as pages: the answer first, then pictures, then tables."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from clackwork.book import Book, Record
from clackwork.cautions import CAUTIONS
from clackwork.errors import InputError
from clackwork.sheets.typeset import sentence
from clackwork.shop import fitting
from clackwork.shop.fitting import FittedBuild, ask_fit, fitted_build
from clackwork.shop.performance import DRAWS, Performance
from clackwork.shop.performance_work import BuildPerformance, ask_performance, build_performance
from clackwork.twin.twin import Twin
from clackwork.web.access import visitor_of
from clackwork.web.job_api import line_of_job, look_for_work
from clackwork.web.pages import go_to, page, units_of
from clackwork.web.record_forms import number_in
from clackwork.web.record_pages import book_of
from clackwork.web.twin_api import read_falls

router = APIRouter(include_in_schema=False)

_MOST_PIPES = 200
_BETWEEN = re.compile(r";|,\s|\band\b")
"""What stands between falls typed in one field; a comma without a space may be a decimal one."""


@dataclass(frozen=True)
class ChartPart:
    """A chart on a page with its words."""

    name: str
    title: str
    caption: str


def _trail(build: Record, pump: Record) -> list[tuple[str, str]]:
    """Where the page stands."""
    return [("Pumps", "/pumps"), (pump.name, f"/pumps/{pump.id}"), (build.name, f"/builds/{build.id}")]


@router.get("/builds/{number:int}/twin")
def twin_page(request: Request, number: int) -> Response:
    """The twin of a build."""
    return _twin_page(request, fitted_build(book_of(request), number))


def _twin_page(
    request: Request, found: FittedBuild, *, status: int = 200, error: str = "", draws: str = ""
) -> Response:
    kept = found.kept
    shown: dict[str, Any] = {} if kept is None else _twin_words(kept.twin, units_of(request))
    return page(
        request,
        "twin.html",
        status=status,
        build=found.build,
        trail=_trail(found.build, found.pump),
        kept=kept,
        runs=found.runs,
        line=line_of_job(found.job) if found.job else None,
        error=error,
        draws=draws or str(fitting.DRAWS),
        reload=False,
        **shown,
    )


def _twin_words(twin: Twin, units: str) -> dict[str, Any]:
    """A twin in words: what it meets, what to run next, values, what pinned them."""
    from clackwork.sheets.twin_section import AT_THE_BENCH, LEAST_GAIN, PARAMETERS_HEAD, percent
    from clackwork.sheets.twin_table import is_met, parameter_rows, residual_rows

    useful = [run for run in twin.next_runs if run.narrowing >= LEAST_GAIN]
    return {
        "met": sum(1 for one in twin.residuals if is_met(one)),
        "readings": len(twin.residuals),
        "form": percent(twin.model_form_spread),
        "pinned_count": sum(1 for one in twin.pinned if one.pinned_by is not None),
        "parameter_count": len(twin.pinned),
        "pinned": [sentence(one.sentence) for one in twin.pinned if one.pinned_by is not None],
        "free": [sentence(one.sentence) for one in twin.pinned if one.pinned_by is None],
        "next_run": sentence(useful[0].sentence) if useful else "",
        "more_runs": [sentence(run.sentence) for run in useful[1:]],
        "cautions": [CAUTIONS[name].words for name in AT_THE_BENCH],
        "parameters_head": PARAMETERS_HEAD,
        "parameters": parameter_rows(twin, units),
        "residuals": residual_rows(twin, units),
    }


@router.post("/builds/{number:int}/twin")
async def fit_from_page(request: Request, number: int) -> Response:
    """Ask for a fit."""
    form = await request.form()
    typed = str(form.get("draws", "")).strip()[:12]

    def ask() -> Response:
        book = book_of(request)
        try:
            draws = _whole(typed, "draws", fitting.DRAWS)
            ask_fit(book, number, draws=draws, by=visitor_of(request).name)
        except InputError as error:
            return _twin_page(request, fitted_build(book, number), status=422, error=str(error), draws=typed)
        look_for_work(request)
        return go_to(request, f"/builds/{number}/twin")

    return await run_in_threadpool(ask)


def _whole(text: str, field: str, otherwise: int) -> int:
    """A whole number typed, or what is taken when nothing was."""
    if not text:
        return otherwise
    try:
        return int(text)
    except ValueError:
        raise InputError(field, text, "it must be a whole number") from None


@router.get("/builds/{number:int}/performance")
def performance_page(request: Request, number: int) -> Response:
    """The performance of a build."""
    return _performance_page(request, build_performance(book_of(request), number))


def _performance_page(
    request: Request,
    found: BuildPerformance,
    *,
    status: int = 200,
    error: str = "",
    typed: tuple[str, str, str] | None = None,
) -> Response:
    units = units_of(request)
    shown: dict[str, Any] = {} if found.kept is None else _performance_words(found.kept.performance, units)
    falls, draws, pipe = typed or (_falls_typed(found, units), str(DRAWS), _pipe_chosen(found))
    return page(
        request,
        "performance.html",
        status=status,
        build=found.build,
        trail=_trail(found.build, found.pump),
        twin=found.twin,
        kept=found.kept,
        line=line_of_job(found.job) if found.job else None,
        error=error,
        falls=falls,
        draws=draws,
        pipe=pipe,
        pipes=_pipes(book_of(request)),
        reload=False,
        paper="us-letter" if units == "us" else "a4",
        **shown,
    )


def _falls_typed(found: BuildPerformance, units: str) -> str:
    """The falls of the last performance as one would type them."""
    from clackwork.charts.performance_chart import fall_words

    return ", ".join(fall_words(fall, units) for fall in found.kept.performance.falls) if found.kept else ""


def _pipe_chosen(found: BuildPerformance) -> str:
    """The choice of the last performance's pipe: "rig 3", or empty for the rig of the runs."""
    asked = found.kept.job.arguments if found.kept else {}
    return f"{asked['pipe_of']} {asked['pipe_number']}" if "pipe_of" in asked else ""


def _pipes(book: Book) -> list[tuple[str, str]]:
    """Pipes to choose from: those of the book's rigs, and of its sites that have one."""
    return [
        (f"{kind} {one.id}", f"{kind} {one.name}")
        for kind in ("rig", "site")
        for one in book.list(kind, limit=_MOST_PIPES).records
        if "drive_pipe" in one.entered
    ]


def _pipe_asked(text: str) -> tuple[int | None, int | None]:
    """Number of the rig or of the site whose pipe was chosen: "site 7" is (None, 7)."""
    kind, _, number = text.partition(" ")
    return (number_in(number) if kind == "rig" else None), (number_in(number) if kind == "site" else None)


def _performance_words(performance: Performance, units: str) -> dict[str, Any]:
    """A performance in words, the same as on its sheet."""
    from clackwork.charts.performance_chart import FIGURES, PEAK, caption_of, fall_words
    from clackwork.sheets import performance_sheet as sheet

    lead, chiefs = sheet.chief_words(performance, units)
    said = [one for one in (sheet.place_sentence(performance), sheet.elsewhere_sentence(performance, units)) if one]
    marked = len(performance.measured) > len(performance.measured_elsewhere)
    charts = [ChartPart(one.name, _capital(one.words), caption_of(performance, one, marked)) for one in FIGURES]
    return {
        "lead": lead,
        "chiefs": chiefs,
        "notes": [*sheet.stall_sentences(performance, units), *said],
        "charts": charts,
        "pressure_chart": ChartPart(PEAK.name, "Pressure in the pump", PEAK.caption),
        "pressures": sheet.pressure_chiefs(performance, units),
        "pressure_cautions": sheet.pressure_cautions(performance),
        "water_cautions": sheet.water_cautions(),
        "beat_caution": CAUTIONS["moving_valve"].words,
        "table_head": sheet.table_head(),
        "tables": [
            (fall_words(fall, units), sheet.table_rows(performance, fall, units))
            for fall in performance.falls
            if performance.at_fall(fall)
        ],
        "table_note": sheet.table_note(performance),
        "provenance": sheet.provenance_rows(performance, units),
    }


def _capital(words: str) -> str:
    return f"{words[:1].upper()}{words[1:]}"


@router.post("/builds/{number:int}/performance")
async def ask_from_page(request: Request, number: int) -> Response:
    """Ask for a performance."""
    form = await request.form()
    falls, draws, pipe = (str(form.get(name, "")).strip()[:200] for name in ("falls", "draws", "pipe"))

    def ask() -> Response:
        book, (rig, site) = book_of(request), _pipe_asked(pipe)
        try:
            ask_performance(
                book,
                number,
                falls=read_falls([one.strip() for one in _BETWEEN.split(falls) if one.strip()]),
                draws=_whole(draws, "draws", DRAWS),
                system=units_of(request),
                by=visitor_of(request).name,
                rig_id=rig,
                site_id=site,
            )
        except InputError as error:
            found = build_performance(book, number)
            return _performance_page(request, found, status=422, error=str(error), typed=(falls, draws, pipe))
        look_for_work(request)
        return go_to(request, f"/builds/{number}/performance")

    return await run_in_threadpool(ask)
