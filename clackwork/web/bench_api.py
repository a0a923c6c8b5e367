"""Trials as JSON: planned, judged, drawn; and the runs a phone sends, each kept once."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Path, Query
from fastapi.responses import JSONResponse
from pydantic import BaseModel, ConfigDict, Field
from starlette.requests import Request
from starlette.responses import Response

from clackwork.shop.judging import judge_book_trial, trial_picture
from clackwork.shop.planning import plan_answer, plan_new_trial, plan_of_trial
from clackwork.shop.run_card import RunSent, card_of, keep_run
from clackwork.web.access import visitor_of
from clackwork.web.pages import units_of
from clackwork.web.record_api import RecordOut, Whole, record_out
from clackwork.web.record_pages import book_of

router = APIRouter(prefix="/api/bench")

Number = Annotated[int, Path(ge=1, le=2**31 - 1, description="The number of the trial.")]
Text = Annotated[str, Field(max_length=200)]
Units = Annotated[
    Literal["metric", "us"] | None, Query(description="Units of the figures; left out, those of the page.")
]


class TrialAsked(BaseModel):
    """A question for the bench, before it is in the book."""

    model_config = ConfigDict(extra="forbid")

    old_build: Whole
    new_build: Whole
    figure: Text = Field(description="As in a workbook: waste_flow, delivered_flow, ...")
    kind: Text = Field(description="Which runs are compared: shut_beating, delivering, ...")
    margin: Text = Field(description='Counts as the same within: "5 %".')
    difference_that_matters: Text = Field(description='The difference worth finding: "10 %".')
    back_pressure_head: Text | None = None
    scatter: Text = Field("", description="How far runs scatter; left out, what earlier runs show.")

    def entered(self) -> dict[str, str]:
        """The fields of the trial as typed."""
        names = ("figure", "kind", "margin", "difference_that_matters", "back_pressure_head")
        return {name: value for name in names if (value := getattr(self, name))}


class RunIn(BaseModel):
    """A run as a phone sends it."""

    model_config = ConfigDict(extra="forbid")

    build_id: Whole
    rig_id: Whole
    entered: dict[str, Any] = Field(description='As typed: {"kind": "shut_beating", "duration": "2:00.4", ...}.')
    request_id: Annotated[str, Field(min_length=8, max_length=100)] = Field(
        description="Made where the run was made; sent again, it gives the run already kept."
    )
    trial_made_at: Annotated[str, Field(max_length=40)] = Field(
        "", description="As the card was given it; tells a card of another book apart."
    )
    name: Annotated[str, Field(max_length=80)] = Field("", description="Left out: the build's name and a number.")


class RunKept(BaseModel):
    """The run in the book, and the card as it stands with it."""

    run: RecordOut
    card: dict[str, Any]


@router.post("/plan", summary="Plan a trial before it is in the book")
def plan(request: Request, asked: TrialAsked, units: Units = None) -> dict[str, Any]:
    """How many runs show the difference that matters, and in which order."""
    planned = plan_new_trial(book_of(request), asked.old_build, asked.new_build, asked.entered(), scatter=asked.scatter)
    return plan_answer(planned, units or units_of(request))


@router.get("/trials/{number}", summary="Judge a trial")
def judgement(request: Request, number: Number, units: Units = None) -> dict[str, Any]:
    """What is known in one sentence, then figures, runs, budget of uncertainty, what else changed, and the plan."""
    return judge_book_trial(book_of(request), number, units or units_of(request))


@router.get("/trials/{number}/plan", summary="The plan of a trial")
def plan_there(request: Request, number: Number, units: Units = None) -> dict[str, Any]:
    """The plan by what the trial's own runs show so far."""
    return plan_answer(plan_of_trial(book_of(request), number), units or units_of(request))


@router.get("/trials/{number}/chart", summary="The chart of a trial as Vega-Lite")
def chart(request: Request, number: Number, units: Units = None, narrow: bool = False) -> Response:
    """Every run so far, the means, the margin."""
    return JSONResponse(trial_picture(book_of(request), number, units or units_of(request), narrow=narrow))


@router.get("/trials/{number}/chart.svg", summary="The same, drawn", response_class=Response)
def chart_drawn(request: Request, number: Number, units: Units = None, narrow: bool = False) -> Response:
    """The chart as a picture."""
    from clackwork.charts.vega import to_svg

    spec = trial_picture(book_of(request), number, units or units_of(request), narrow=narrow)
    return Response(to_svg(spec), media_type="image/svg+xml")


@router.get("/trials/{number}/card", summary="All a run card needs")
def card(request: Request, number: Number, units: Units = None) -> dict[str, Any]:
    """The judgement so far, the readings to ask for, builds and rigs, and the picture."""
    return card_of(book_of(request), number, units or units_of(request))


@router.post("/trials/{number}/runs", status_code=201, summary="Keep a run made for a trial")
def keep(request: Request, number: Number, sent: RunIn, units: Units = None) -> RunKept:
    """Put a run into the book, once however often it is sent, and say how the trial stands with it."""
    book = book_of(request)
    run = RunSent(sent.build_id, sent.rig_id, sent.entered, sent.request_id, sent.trial_made_at, sent.name)
    made = keep_run(book, number, run, by=visitor_of(request).name)
    return RunKept(run=record_out(made), card=card_of(book, number, units or units_of(request)))
