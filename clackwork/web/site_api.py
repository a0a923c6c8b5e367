"""Sites as JSON, pictures and paper: designed, chosen, drawn."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Path, Query
from fastapi.responses import JSONResponse
from pydantic import BaseModel, ConfigDict, Field
from starlette.requests import Request
from starlette.responses import Response

from clackwork.shop import designing
from clackwork.shop.choosing import choose
from clackwork.shop.designing import ask_design
from clackwork.shop.site_view import kept_choice, lengths_of
from clackwork.web.access import visitor_of
from clackwork.web.job_api import JobOut, job_out, look_for_work
from clackwork.web.pages import units_of
from clackwork.web.record_api import RecordOut, record_out
from clackwork.web.record_pages import book_of

router = APIRouter(prefix="/api/sites/{number}")

Number = Annotated[int, Path(ge=1, le=2**31 - 1, description="The number of the site.")]
Units = Annotated[
    Literal["metric", "us"] | None, Query(description="Units of the figures; left out, those of the page.")
]
ChoiceNumber = Annotated[
    int | None, Query(ge=1, le=100, description="Number of the choice; left out, the one taken, else the first.")
]
Wide = Annotated[bool, Query(description="As wide as the column of a page, without its title.")]
RequestId = Annotated[str, Field(min_length=8, max_length=100)] | None
SiteChart = Literal["months", "source", "lengths"]


class DesignAsked(BaseModel):
    """A design to be searched."""

    model_config = ConfigDict(extra="forbid")

    draws: int = Field(designing.DRAWS, ge=1, le=10**6, description="Draws of each promise.")
    seed: int = Field(1, ge=0, le=2**31 - 1)
    request_id: RequestId = None


class Chosen(BaseModel):
    """A choice to be taken into the site."""

    model_config = ConfigDict(extra="forbid")

    choice: int = Field(ge=1, le=100, description="Its number, the first is 1.")
    version: int = Field(ge=1, le=2**31 - 1, description="The version of the site it was looked at.")
    units: Literal["metric", "us"] = Field("metric", description="Units in which it is written.")


def place_of(number: int | None) -> int | None:
    """Place of a choice by its number."""
    return None if number is None else number - 1


@router.post("/design", status_code=202, summary="Design a site")
def ask(request: Request, number: Number, asked: DesignAsked) -> JobOut:
    """Queue the search; its choices are kept when it is done."""
    by = visitor_of(request).name
    job = ask_design(book_of(request), number, draws=asked.draws, seed=asked.seed, by=by, request_id=asked.request_id)
    look_for_work(request)
    return job_out(job)


@router.get("/design", summary="The design of a site")
def design(request: Request, number: Number, units: Units = None) -> dict[str, Any]:
    """Its choices with reasons, checks, months and costs, what it rests on, and whether it still stands."""
    from clackwork.design_report import design_json

    view, kept, _ = kept_choice(book_of(request), number)
    return design_json(kept.design, units or units_of(request)) | {
        "chosen": None if view.chosen is None else view.chosen + 1,
        "rests_on": kept.rests_on,
        "stale": bool(kept.reasons),
        "stale_reasons": list(kept.reasons),
        "job_id": kept.job.id,
    }


@router.post("/design/choose", summary="Take a choice into the site")
def choose_one(request: Request, number: Number, chosen: Chosen) -> RecordOut:
    """Its pipes and tuning are written into the site's record, as one change that undo puts back."""
    book = book_of(request)
    _, kept, _ = kept_choice(book, number)
    changed = choose(
        book,
        kept,
        chosen.choice - 1,
        site_id=number,
        version=chosen.version,
        system=chosen.units,
        by=visitor_of(request).name,
    )
    return record_out(changed)


def _spec(
    request: Request, number: int, name: str, units: str | None, choice: int | None, wide: bool
) -> dict[str, Any]:
    """A chart of one choice as Vega-Lite."""
    from clackwork.charts import site_charts as charts

    _, _, one = kept_choice(book_of(request), number, place_of(choice))
    system = units or units_of(request)
    width: charts.Width = "container" if wide else 460
    if name == "lengths":
        return charts.lengths_chart(lengths_of(one), one.drive_pipe.length, one.rules, system=system, width=width)
    draw = charts.months_chart if name == "months" else charts.source_chart
    return draw(one.months, system=system, width=width)


@router.get("/charts/{name}.svg", summary="A chart as a picture", response_class=Response)
def chart_svg(
    request: Request, number: Number, name: SiteChart, units: Units = None, choice: ChoiceNumber = None
) -> Response:
    """The chart drawn, for paper and where there are no scripts."""
    from clackwork.charts.vega import to_svg

    return Response(to_svg(_spec(request, number, name, units, choice, False)), media_type="image/svg+xml")


@router.get("/charts/{name}", summary="A chart of a site as Vega-Lite")
def chart(
    request: Request,
    number: Number,
    name: SiteChart,
    units: Units = None,
    choice: ChoiceNumber = None,
    wide: Wide = False,
) -> Response:
    """Water month by month, the source month by month, or delivery against the length of the drive pipe."""
    return JSONResponse(_spec(request, number, name, units, choice, wide))
