"""Twin and performance of a build as JSON, pictures, tables and paper."""

from __future__ import annotations

import datetime
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Path, Query
from fastapi.responses import JSONResponse
from pydantic import BaseModel, ConfigDict, Field
from starlette.requests import Request
from starlette.responses import Response

from clackwork.book import Book, KeptTwin, NotThere
from clackwork.quantities import parse
from clackwork.shop import fitting
from clackwork.shop.fitting import ask_fit, fitted_build
from clackwork.shop.performance import DRAWS
from clackwork.shop.performance_work import BuildPerformance, KeptPerformance, ask_performance, build_performance
from clackwork.web.access import visitor_of
from clackwork.web.job_api import JobOut, job_out, look_for_work
from clackwork.web.pages import units_of
from clackwork.web.record_api import Whole
from clackwork.web.record_pages import book_of

router = APIRouter(prefix="/api/builds/{number}")

Number = Annotated[int, Path(ge=1, le=2**31 - 1, description="The number of the build.")]
Units = Annotated[
    Literal["metric", "us"] | None, Query(description="Units of the figures; left out, those of the page.")
]
Paper = Literal["a4", "us-letter"]
Wide = Annotated[bool, Query(description="As wide as the column of a page, without its title.")]
RequestId = Annotated[str, Field(min_length=8, max_length=100)] | None
TwinChart = Literal["residuals", "spread"]
PerformanceChart = Literal["delivered-flow", "water-drawn", "efficiency", "peak-pressure"]


class FitAsked(BaseModel):
    """A fit to be made."""

    model_config = ConfigDict(extra="forbid")

    draws: int = Field(fitting.DRAWS, ge=1, le=10**6, description="Posterior draws kept.")
    seed: int = Field(1, ge=0, le=2**31 - 1)
    request_id: RequestId = None


class PerformanceAsked(BaseModel):
    """A performance to be drawn."""

    model_config = ConfigDict(extra="forbid")

    falls: list[Annotated[str, Field(max_length=40)]] = Field(
        default_factory=list, max_length=20, description='As typed: ["1.5 m", "7 ft"]. None for those of the runs.'
    )
    rig: Whole | None = Field(None, description="Number of the rig whose drive pipe it is drawn for.")
    site: Whole | None = Field(
        None, description="Number of the site instead; neither for the rig with most of the runs."
    )
    draws: int = Field(DRAWS, ge=1, le=10**6)
    seed: int = Field(1, ge=0, le=2**31 - 1)
    units: Literal["metric", "us"] = Field("metric", description="Lifts are round in its unit.")
    request_id: RequestId = None


def kept_twin(book: Book, number: int) -> KeptTwin:
    """The last twin of a build.

    Raises
    ------
    NotThere
    """
    build = book.get("build", number)
    kept = book.twin_of(number)
    if kept is None:
        raise NotThere(f"Build '{build.name}' has no twin yet: fit it to its runs first.")
    return kept


def shown_performance(book: Book, number: int) -> tuple[BuildPerformance, KeptPerformance]:
    """The last performance of a build.

    Raises
    ------
    NotThere
    """
    found = build_performance(book, number)
    if found.kept is None:
        raise NotThere(f"Build '{found.build.name}' has no performance drawn yet: ask for it first.")
    return found, found.kept


def read_falls(texts: list[str]) -> list[float]:
    """Falls as typed, in SI.

    Raises
    ------
    InputError
    """
    return [parse(text, "head", field="falls").value for text in texts]


@router.post("/twin/fit", status_code=202, summary="Fit a build to its runs")
def fit(request: Request, number: Number, asked: FitAsked) -> JobOut:
    """Queue the fit; its twin is kept when it is done."""
    by = visitor_of(request).name
    job = ask_fit(book_of(request), number, draws=asked.draws, seed=asked.seed, by=by, request_id=asked.request_id)
    look_for_work(request)
    return job_out(job)


@router.get("/twin", summary="The twin of a build")
def twin(request: Request, number: Number, units: Units = None) -> dict[str, Any]:
    """Fitted values, measured against modelled, what is pinned, the run to make next, and whether it still stands."""
    from clackwork.answers_json import twin_json

    found = fitted_build(book_of(request), number)
    kept = kept_twin(book_of(request), number)
    return twin_json(kept.twin, units or units_of(request)) | {
        "twin_id": kept.record.id,
        "fitted_at": kept.record.made_at.isoformat(),
        "engine": kept.record.entered["engine"],
        "draws": kept.record.entered["draws"],
        "runs": kept.record.entered["runs"],
        "runs_now": found.runs,
        "stale": kept.stale,
        "reasons": list(kept.reasons),
    }


@router.get("/twin/charts/{name}.svg", summary="A chart as a picture", response_class=Response)
def twin_svg(request: Request, number: Number, name: TwinChart, narrow: bool = False) -> Response:
    """The chart drawn, for paper and where there are no scripts."""
    from clackwork.charts.vega import to_svg

    return Response(to_svg(_twin_spec(book_of(request), number, name, narrow)), media_type="image/svg+xml")


@router.get("/twin/charts/{name}", summary="A chart of a twin as Vega-Lite")
def twin_chart(request: Request, number: Number, name: TwinChart, narrow: bool = False) -> Response:
    """Measured against modelled, or what the runs pinned down."""
    return JSONResponse(_twin_spec(book_of(request), number, name, narrow))


def _twin_spec(book: Book, number: int, name: str, narrow: bool) -> dict[str, Any]:
    from clackwork.charts.twin_chart import residual_chart, spread_chart

    draw = residual_chart if name == "residuals" else spread_chart
    return draw(kept_twin(book, number).twin, width=180 if narrow else 460)


@router.get("/twin/residuals.csv", summary="Measured against modelled as a table", response_class=Response)
def twin_csv(request: Request, number: Number, units: Units = None) -> Response:
    """Every figure of every run; the unit is in each column's name."""
    from clackwork.sheets.twin_table import residuals_csv

    kept = kept_twin(book_of(request), number)
    text = residuals_csv(kept.twin, units=units or units_of(request))
    return download(text.encode(), "text/csv; charset=utf-8", f"twin {kept.twin.build.name}", "csv")


@router.post("/performance", status_code=202, summary="Draw the performance of a build")
def ask(request: Request, number: Number, asked: PerformanceAsked) -> JobOut:
    """Queue the engine runs; the figures are kept when they are done."""
    job = ask_performance(
        book_of(request),
        number,
        falls=read_falls(asked.falls),
        rig_id=asked.rig,
        site_id=asked.site,
        draws=asked.draws,
        seed=asked.seed,
        system=asked.units,
        by=visitor_of(request).name,
        request_id=asked.request_id,
    )
    look_for_work(request)
    return job_out(job)


@router.get("/performance", summary="The performance of a build")
def performance(request: Request, number: Number) -> dict[str, Any]:
    """Delivered flow, water drawn, efficiency, beats and pressures at every fall and lift, in SI; runs beside them."""
    from clackwork.shop.performance_text import performance_plain

    _, kept = shown_performance(book_of(request), number)
    return performance_plain(kept.performance) | {"reasons": list(kept.reasons), "job_id": kept.job.id}


@router.get("/performance/charts/{name}.svg", summary="A chart as a picture", response_class=Response)
def performance_svg(request: Request, number: Number, name: PerformanceChart, units: Units = None) -> Response:
    """The chart drawn, for paper and where there are no scripts."""
    from clackwork.sheets.performance_sheet import performance_svg as drawn

    found, kept = shown_performance(book_of(request), number)
    svg = drawn(kept.performance, name, units=units or units_of(request))
    return download(svg.encode(), "image/svg+xml", f"{found.build.name} {name}", "svg", inline=True)


@router.get("/performance/charts/{name}", summary="A chart of a performance as Vega-Lite")
def performance_spec(
    request: Request, number: Number, name: PerformanceChart, units: Units = None, wide: Wide = False
) -> Response:
    """One figure against lift: bands, lines, measured points."""
    from clackwork.charts.performance_chart import performance_chart

    _, kept = shown_performance(book_of(request), number)
    system = units or units_of(request)
    if wide:
        return JSONResponse(performance_chart(kept.performance, name, system=system, width="container", heading=""))
    return JSONResponse(performance_chart(kept.performance, name, system=system))


@router.get("/performance.csv", summary="The performance as a table", response_class=Response)
def performance_csv(request: Request, number: Number, units: Units = None) -> Response:
    """All points and the runs beside them; the unit is in each column's name."""
    from clackwork.sheets.performance_sheet import performance_csv as table

    found, kept = shown_performance(book_of(request), number)
    text = table(kept.performance, units=units or units_of(request))
    return download(text.encode(), "text/csv; charset=utf-8", f"performance {found.build.name}", "csv")


@router.get("/performance.pdf", summary="The performance sheet", response_class=Response)
def performance_pdf(request: Request, number: Number, units: Units = None, paper: Paper | None = None) -> Response:
    """The sheet to print; on A4 or US letter, as the units go when nothing is said."""
    from clackwork.sheets.performance_sheet import performance_pdf as sheet

    found, kept = shown_performance(book_of(request), number)
    system = units or units_of(request)
    pdf = sheet(
        kept.performance,
        pump=found.pump.name,
        units=system,
        paper=paper or ("us-letter" if system == "us" else "a4"),
        date=datetime.datetime.now().astimezone().date(),
    )
    return download(pdf, "application/pdf", f"performance {found.build.name}", "pdf", inline=True)


def download(content: bytes, kind: str, name: str, ending: str, *, inline: bool = False) -> Response:
    """A file for the browser, under a name that every system takes."""
    from clackwork.sheets.typeset import file_stem

    stem = file_stem(name).encode("ascii", "ignore").decode() or "clackwork"
    how = "inline" if inline else "attachment"
    return Response(content, media_type=kind, headers={"content-disposition": f'{how}; filename="{stem}.{ending}"'})
