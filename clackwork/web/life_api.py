"""Parts in service and switches as JSON: what parts show, a look, the study of a switch with its charts and sheet."""

from __future__ import annotations

import datetime
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Path, Query
from fastapi.responses import JSONResponse
from pydantic import BaseModel, ConfigDict, Field
from starlette.requests import Request
from starlette.responses import Response

from clackwork.book import Book, Record
from clackwork.book.errors import NotThere
from clackwork.charts.vega import Spec
from clackwork.life.stocking import USUAL_RISK, stock_of_parts
from clackwork.life_report import life_json
from clackwork.shop.looking import add_look, groups_of_book
from clackwork.shop.sites_due import parts_in_service
from clackwork.shop.switching import DRAWS, KeptStudy, ask_switch, switch_shown
from clackwork.stock_report import stock_json
from clackwork.web.access import visitor_of
from clackwork.web.job_api import JobOut, job_out, look_for_work
from clackwork.web.pages import units_of
from clackwork.web.record_api import RecordOut, record_out
from clackwork.web.record_pages import book_of
from clackwork.web.twin_api import download

router = APIRouter(prefix="/api")

Number = Annotated[int, Path(ge=1, le=2**31 - 1)]
Units = Annotated[Literal["metric", "us"] | None, Query(description="Of the answer; else those of the page.")]
Paper = Literal["a4", "us-letter"]
Chart = Literal["worth", "delivery"]


class LookIn(BaseModel):
    """A look at a part, as typed."""

    model_config = ConfigDict(extra="forbid")

    version: Annotated[int, Field(ge=1, le=2**31 - 1, description="Of the part, as it was seen.")]
    date: str
    outcome: str
    beats: int | None = None
    wear: str | None = None
    just_seen: str | None = None
    weight_loss: str | None = None
    leak: str | None = None
    seen_failing: Literal["yes", "no"] | None = None
    cause: str | None = None
    found: str | None = None


class StudyAsked(BaseModel):
    """How a switch is to be studied."""

    model_config = ConfigDict(extra="forbid")

    draws: int = DRAWS
    seed: Annotated[int, Field(ge=0, le=2**31 - 1)] = 1
    request_id: Annotated[
        str | None, Field(max_length=80, description="Sent again, it gives the work already asked for.")
    ] = None


@router.get("/parts/life", summary="What parts in service show")
def parts_life(
    request: Request,
    units: Units = None,
    risk: Annotated[
        float, Query(ge=0.001, le=0.5, description="Of running out of spares within twelve months.")
    ] = USUAL_RISK,
) -> dict[str, Any]:
    """By kind and material, lives in months of the calendar, at 90 %; service and spares of those that run on at sites."""
    system, book = units or units_of(request), book_of(request)
    stock = stock_of_parts(parts_in_service(book), datetime.date.today(), risk=risk)
    parts = [life_json(one, system) for one in groups_of_book(book)]
    return {"units": system, "parts": parts, "service": stock_json(stock, system)}


@router.post("/parts/{number}/looks", status_code=201, summary="Enter a look at a part")
def enter_look(request: Request, number: Number, look: LookIn) -> RecordOut:
    """Put behind the looks there are; a look that cannot be is refused and changes nothing."""
    typed = look.model_dump(exclude_none=True, exclude={"version"})
    made = add_look(book_of(request), number, typed, version=look.version, by=visitor_of(request).name)
    return record_out(made)


@router.post("/switches/{number}/study", status_code=202, summary="Study a switch")
def study(request: Request, number: Number, asked: StudyAsked) -> JobOut:
    """Queue the study over all designed sites and likely ones; it is kept when it is done."""
    job = ask_switch(
        book_of(request),
        number,
        draws=asked.draws,
        seed=asked.seed,
        by=visitor_of(request).name,
        request_id=asked.request_id,
    )
    look_for_work(request)
    return job_out(job)


def _kept(book: Book, number: int) -> tuple[Record, KeptStudy]:
    found = switch_shown(book, number)
    if found.kept is None:
        raise NotThere(f"Switch '{found.switch.name}' was not studied yet.")
    return found.switch, found.kept


@router.get("/switches/{number}/study", summary="The study of a switch")
def shown_study(request: Request, number: Number, units: Units = None) -> dict[str, Any]:
    """As the command ``switch`` prints it, with why it is out of date, if it is."""
    system = units or units_of(request)
    _, kept = _kept(book_of(request), number)
    return {"units": system, **kept.plain[system], "reasons": list(kept.reasons), "job_id": kept.job.id}


@router.get("/switches/{number}/study/charts/{name}.svg", summary="A chart of a study as SVG", response_class=Response)
def study_svg(request: Request, number: Number, name: Chart, units: Units = None, narrow: bool = False) -> Response:
    """The chart drawn."""
    from clackwork.charts.vega import to_svg

    spec = _spec(request, number, name, units, narrow, False)
    return Response(to_svg(spec), media_type="image/svg+xml")


@router.get("/switches/{number}/study/charts/{name}", summary="A chart of a study as Vega-Lite")
def study_spec(
    request: Request, number: Number, name: Chart, units: Units = None, narrow: bool = False, wide: bool = False
) -> Response:
    """The change at every place, the lowest fall first."""
    return JSONResponse(_spec(request, number, name, units, narrow, wide))


def _spec(request: Request, number: int, name: Chart, units: str | None, narrow: bool, wide: bool) -> Spec:
    from clackwork.charts.switch_chart import switch_chart

    _, kept = _kept(book_of(request), number)
    words = kept.words[units or units_of(request)]
    width: int | str = "container" if wide else 300 if narrow else 520
    return switch_chart(words["bars"], name, words["bar_units"][name], width=width, heading=not wide, narrow=narrow)


@router.get("/switches/{number}/study.pdf", summary="The sheet of a study", response_class=Response)
def study_pdf(request: Request, number: Number, units: Units = None, paper: Paper | None = None) -> Response:
    """The sheet to print; on A4 or US letter, as the units go when nothing is said."""
    from clackwork.sheets.switch_sheet import switch_pdf

    book, system = book_of(request), units or units_of(request)
    switch, kept = _kept(book, number)
    pdf = switch_pdf(
        kept.words[system],
        name=switch.name,
        pump=book.get("pump", switch.links["pump"]).name,
        note=str(switch.entered.get("note", "")),
        reasons=kept.reasons,
        paper=paper or ("us-letter" if system == "us" else "a4"),
        date=datetime.datetime.now().astimezone().date(),
    )
    return download(pdf, "application/pdf", f"switch {switch.name}", "pdf", inline=True)
