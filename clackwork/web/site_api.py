"""Sites as JSON, pictures and paper: designed, chosen, drawn."""

from __future__ import annotations

import datetime
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Path, Query
from fastapi.responses import JSONResponse
from pydantic import BaseModel, ConfigDict, Field
from starlette.requests import Request
from starlette.responses import Response

from clackwork.book.errors import NotThere
from clackwork.errors import InputError
from clackwork.life.part_dates import PartDates
from clackwork.quantities import parse
from clackwork.shop import designing
from clackwork.shop.choosing import choose
from clackwork.shop.designing import ask_design
from clackwork.shop.fitted import fitted_twins
from clackwork.shop.site_view import kept_choice, tank_year
from clackwork.shop.sites_due import care_card_parts
from clackwork.shop.visits import place_of as site_place
from clackwork.site.prices import Alternative
from clackwork.web.access import visitor_of
from clackwork.web.job_api import JobOut, job_out, look_for_work
from clackwork.web.pages import units_of
from clackwork.web.record_api import RecordOut, record_out
from clackwork.web.record_pages import book_of
from clackwork.web.twin_api import download

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
SiteChart = Literal["months", "source", "tank", "lengths"]


PaperName = Literal["proposal", "materials", "installation", "care", "as-built"]
Money = Annotated[float, Field(ge=0.0, le=1e9, allow_inf_nan=False)]


class AlternativeIn(BaseModel):
    """Another way to the same water."""

    model_config = ConfigDict(extra="forbid")

    name: Annotated[str, Field(min_length=1, max_length=80)]
    first_cost: Money = Field(description="In the currency of the workshop's prices.")
    yearly_cost: Money
    life_years: Annotated[float, Field(gt=0.0, le=1000.0, allow_inf_nan=False)]
    daily: Annotated[str, Field(max_length=100)] = Field(description='Water a day: "1400 L/day".')

    def read(self) -> Alternative:
        """In SI.

        Raises
        ------
        InputError
        """
        flow = parse(self.daily, "daily_volume_flow", field="daily").value
        if flow <= 0.0:
            raise InputError("daily", self.daily, "it must be above 0")
        return Alternative(self.name, self.first_cost, self.yearly_cost, self.life_years, 86400.0 * flow)


class DesignAsked(BaseModel):
    """A design to be searched."""

    model_config = ConfigDict(extra="forbid")

    draws: int = Field(designing.DRAWS, ge=1, le=10**6, description="Draws of each promise.")
    seed: int = Field(1, ge=0, le=2**31 - 1)
    alternatives: list[AlternativeIn] = Field(default_factory=list, max_length=8)
    request_id: RequestId = None


class Chosen(BaseModel):
    """A choice to be taken into the site."""

    model_config = ConfigDict(extra="forbid")

    choice: int = Field(ge=1, le=100, description="Its number, the first is 1.")
    version: int = Field(ge=1, le=2**31 - 1, description="The version of the site it was looked at.")
    units: Literal["metric", "us"] = Field("metric", description="Units in which it is written.")


def choice_place(number: int | None) -> int | None:
    """Place of a choice by its number."""
    return None if number is None else number - 1


@router.post("/design", status_code=202, summary="Design a site")
def ask(request: Request, number: Number, asked: DesignAsked) -> JobOut:
    """Queue the search; its choices are kept when it is done."""
    job = ask_design(
        book_of(request),
        number,
        draws=asked.draws,
        seed=asked.seed,
        alternatives=[one.read() for one in asked.alternatives],
        by=visitor_of(request).name,
        request_id=asked.request_id,
    )
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
    request: Request,
    number: int,
    name: str,
    units: str | None,
    choice: int | None,
    wide: bool = False,
    narrow: bool = False,
) -> dict[str, Any]:
    """A chart of one choice as Vega-Lite."""
    from clackwork.charts import site_charts as charts

    view, _, one = kept_choice(book_of(request), number, choice_place(choice))
    system = units or units_of(request)
    width: charts.Width = "container" if wide else 460
    if name == "lengths":
        plot = 460 if not wide else 170 if narrow else 420
        return charts.lengths_chart(
            one.by_length, one.drive_pipe.length, one.rules, system=system, width=plot, titled=not wide
        )
    if name == "tank":
        year = tank_year(one, site_place(view.found.site).survey)
        if year is None:
            raise NotThere("No tank was advised for this site: say what is needed there, and when the source was read.")
        return charts.tank_chart(year, system=system, width=width)
    draw = charts.months_chart if name == "months" else charts.source_chart
    return draw(one.months, system=system, width=width)


@router.get("/charts/{name}.svg", summary="A chart as a picture", response_class=Response)
def chart_svg(
    request: Request, number: Number, name: SiteChart, units: Units = None, choice: ChoiceNumber = None
) -> Response:
    """The chart drawn, for paper and where there are no scripts."""
    from clackwork.charts.vega import to_svg

    return Response(to_svg(_spec(request, number, name, units, choice)), media_type="image/svg+xml")


@router.get("/charts/{name}", summary="A chart of a site as Vega-Lite")
def chart(
    request: Request,
    number: Number,
    name: SiteChart,
    units: Units = None,
    choice: ChoiceNumber = None,
    wide: Wide = False,
    narrow: bool = False,
) -> Response:
    """Water month by month, the source month by month, or delivery against the length of the drive pipe."""
    return JSONResponse(_spec(request, number, name, units, choice, wide, narrow))


@router.get("/drawing.svg", summary="The place in elevation, to scale", response_class=Response)
def drawing(
    request: Request, number: Number, units: Units = None, choice: ChoiceNumber = None, narrow: bool = False
) -> Response:
    """Source, drive pipe, pump, way of the line with its pressure classes, tank; else what is known."""
    from clackwork.shop.site_view import drawing_of, site_view

    view = site_view(book_of(request), number, choice_place(choice))
    svg = drawing_of(view, units or units_of(request), narrow=narrow)
    return Response(svg, media_type="image/svg+xml")


@router.get("/papers/{name}.pdf", summary="A paper of a designed site", response_class=Response)
def paper(
    request: Request,
    number: Number,
    name: PaperName,
    units: Units = None,
    choice: ChoiceNumber = None,
    paper: Literal["a4", "us-letter"] | None = None,
    language: Annotated[str, Query(max_length=20, description="As the catalogue of words has it: en, es.")] = "en",
) -> Response:
    """Proposal, bill of materials, installation and first start, care card, or as-built record, to print."""
    from clackwork.sheets.site_sheets import SITE_SHEETS

    book, system = book_of(request), units or units_of(request)
    view, kept, one = kept_choice(book, number, choice_place(choice))
    today = datetime.datetime.now().astimezone().date()
    wears: tuple[PartDates, ...] = ()
    if name == "care":
        from clackwork.life_rates import beats_of_choice

        beats = beats_of_choice(one, [each.twin for each in fitted_twins(book)])
        wears = care_card_parts(book, number, one.build.name, beats, today)
    pdf = SITE_SHEETS[name](
        site_place(view.found.site).survey,
        kept.design,
        one,
        units=system,
        paper=paper or ("us-letter" if system == "us" else "a4"),
        language=language,
        date=today,
        qr=f"{str(request.base_url).rstrip('/')}/sites/{number}",
        parts=wears,
    )
    return download(pdf, "application/pdf", f"{name} {view.found.site.name}", "pdf", inline=True)
