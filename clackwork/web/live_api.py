"""The live page and its API: a pump in section that beats as its sliders are moved."""

from __future__ import annotations

import json
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query
from pydantic import BaseModel, ConfigDict, Field
from starlette.requests import Request
from starlette.responses import Response

from clackwork.book.errors import NotThere
from clackwork.errors import InputError
from clackwork.quantities import Quantity, format_quantity, parse
from clackwork.ram.engine import RamCase
from clackwork.ram.parts import Surroundings
from clackwork.shop.live import SLIDERS, live_beat, live_edges
from clackwork.shop.live_setting import (
    PARTS,
    LivePlace,
    LiveStart,
    book_start,
    demo_start,
    keep_revision,
    pipe_choices,
    read_build_table,
    set_case,
)
from clackwork.web.live_answers import SI_KEYS, edges_answer, inputs_answer, live_answer, ranges_answer
from clackwork.workbook_errors import restated

router = APIRouter()

Text = Annotated[str | None, Field(max_length=200)]
Number = Annotated[float | None, Field(ge=-1e9, le=1e9, allow_inf_nan=False)]


class LiveSetting(BaseModel):
    """A build, a place and what was moved; what is left out is that of the invented workbook.

    Every figure may be given as typed text with its unit (``stroke``) or in SI (``stroke_m``); text comes first.
    """

    model_config = ConfigDict(extra="forbid")

    units: Literal["metric", "us"] = "metric"
    build: dict[str, Any] | None = Field(None, description="As in a workbook: [build.NAME], as typed.")
    drive_pipe: dict[str, Any] | None = Field(None, description="As in a workbook: drive_pipe, as typed.")
    series: str = Field("", max_length=80, description="Another drive pipe of the catalogue.")
    size: str = Field("", max_length=80)
    delivery_shut: bool = False
    stroke: Text = None
    stroke_m: Number = None
    mass: Text = None
    mass_kg: Number = None
    tilt: Text = None
    tilt_rad: Number = None
    fall: Text = None
    fall_m: Number = None
    lift: Text = None
    lift_m: Number = None
    pipe_length: Text = None
    pipe_length_m: Number = None
    water_temperature_k: Number = None
    altitude_m: Number = None
    source_flow_m3_s: Annotated[float | None, Field(ge=0.0, le=1e3, allow_inf_nan=False)] = None

    def typed(self) -> dict[str, Quantity]:
        """What was moved by typing."""
        texts = {name: getattr(self, name) for name in SLIDERS}
        return {name: parse(text, SLIDERS[name], field=name) for name, text in texts.items() if text is not None}

    def moved(self, typed: dict[str, Quantity]) -> dict[str, float]:
        """What was moved, in SI."""
        numbers = {name: getattr(self, SI_KEYS[name]) for name in SLIDERS}
        given = {name: float(number) for name, number in numbers.items() if number is not None}
        return given | {name: quantity.value for name, quantity in typed.items()}

    def place(self) -> LivePlace:
        """The place, that of the invented workbook where nothing is said."""
        base = demo_start().places[0]
        given = {
            "temperature": self.water_temperature_k,
            "altitude": self.altitude_m,
        }
        around = Surroundings(**{name: value for name, value in given.items() if value is not None})
        pipe = base.drive_pipe if self.drive_pipe is None else self.drive_pipe
        return LivePlace(base.name, base.fall, base.lift, pipe, around, self.source_flow_m3_s)

    def case(self) -> RamCase:
        """The engine case."""
        build = read_build_table(demo_start().build if self.build is None else self.build)
        typed = self.typed()
        try:
            return set_case(
                build, self.place(), self.moved(typed), series=self.series, size=self.size, shut=self.delivery_shut
            )
        except InputError as error:
            name = "pipe_length" if error.field == "drive_pipe.length" else error.field.split(".")[-1]
            raise restated(error, name, typed[name]) if name in typed else error from error


class EdgesAsked(LiveSetting):
    """A setting, and the slider whose stalls are asked for."""

    move: Literal["stroke", "mass", "tilt", "fall", "lift", "pipe_length"]
    low: float = Field(ge=0.0, le=1e4, allow_inf_nan=False, description="Low end of the slider [SI].")
    high: float = Field(gt=0.0, le=1e4, allow_inf_nan=False, description="High end of the slider [SI].")


class Kept(BaseModel):
    """What was moved of a build, to be kept as a new one."""

    model_config = ConfigDict(extra="forbid")

    build_id: int = Field(ge=1, le=2**53)
    name: str = Field(min_length=1, max_length=80)
    units: Literal["metric", "us"] = "metric"
    stroke: Text = None
    stroke_m: Number = None
    mass: Text = None
    mass_kg: Number = None
    tilt: Text = None
    tilt_rad: Number = None
    request_id: Text = None

    def typed(self) -> dict[str, str]:
        """Each changed part as text with its unit."""
        found = {}
        for name in PARTS:
            text, number = getattr(self, name), getattr(self, SI_KEYS[name])
            if text is not None:
                found[name] = text
            elif number is not None:
                found[name] = format_quantity(number, SLIDERS[name], self.units)
        return found


def _json(answer: object) -> Response:
    """An answer written once, without a second look at its thousands of figures."""
    return Response(
        json.dumps(answer, ensure_ascii=False, allow_nan=False, separators=(",", ":")), media_type="application/json"
    )


@router.post("/api/live", summary="Settled figures, trace and drawing of one setting")
def live(asked: LiveSetting) -> Response:
    """What the pump does as it is set, quick enough to be asked while a slider moves."""
    case = asked.case()
    found = live_beat(case, system=asked.units, source_flow=asked.source_flow_m3_s)
    return _json(live_answer(case, found, asked.units))


@router.post("/api/live/edges", summary="Where along one slider the pump stalls")
def edges(asked: EdgesAsked) -> Response:
    """The stretches of one slider over which the pump beats or stalls, all else as set."""
    case = asked.case()
    return _json(edges_answer(case, live_edges(case, asked.move, asked.low, asked.high), asked.units))


@router.get("/api/live/start", summary="What the live page begins with")
def start(
    request: Request,
    build_id: Annotated[int | None, Query(ge=1, le=2**53)] = None,
    place: Annotated[int, Query(ge=0, le=1000)] = 0,
    units: Literal["metric", "us"] = "metric",
) -> Response:
    """A build's table, the places it can be set up at, the first setting and its sliders, and the pipes to choose from.

    Without a build the first one of the invented workbook.
    """
    found = demo_start() if build_id is None else book_start(request.app.state.shelf.book(), build_id)
    return _json(start_answer(found, min(place, len(found.places) - 1), units))


def start_answer(found: LiveStart, place: int, units: str) -> dict[str, Any]:
    """The first setting at one of the places, and everything its page needs once."""
    at = found.places[place]
    case = set_case(read_build_table(found.build, found.build_name), at, {})
    pipe = case.drive_pipe.pipe
    setting: dict[str, Any] = {
        "units": units,
        "build": dict(found.build),
        "drive_pipe": dict(at.drive_pipe),
        "water_temperature_k": at.surroundings.temperature,
        "altitude_m": at.surroundings.altitude,
        "source_flow_m3_s": at.source_flow,
        "delivery_shut": False,
    }
    inputs = inputs_answer(case, units)
    setting |= {SI_KEYS[name]: each[SI_KEYS[name]] for name, each in inputs.items()}
    return {
        "build_name": found.build_name,
        "places": [each.name for each in found.places],
        "place": place,
        "setting": setting,
        "inputs": inputs,
        "sliders": ranges_answer(case, units),
        "pipes": pipe_choices(),
        "pipe": {"series": pipe.series, "size": pipe.size},
    }


@router.post("/api/live/keep", status_code=201, summary="Keep what was moved as a new revision")
def keep(request: Request, asked: Kept) -> dict[str, Any]:
    """Stroke, weight and tilt as moved become a new build of the same pump."""
    from clackwork.web.access import visitor_of

    made = keep_revision(
        request.app.state.shelf.book(),
        asked.build_id,
        asked.name,
        asked.typed(),
        by=visitor_of(request).name,
        request_id=asked.request_id,
    )
    return {"build_id": made.id, "pump_id": made.links["pump"], "name": made.name, "version": made.version}


@router.get("/live", include_in_schema=False)
def live_page(request: Request) -> Response:
    """The page with the first build of the invented workbook."""
    from clackwork.web.pages import page

    return page(request, "live.html", pump_id=None, build_id=None, title="A pump at work")


@router.get("/pumps/{pump_id}/builds/{build_id}/live", include_in_schema=False)
def build_page(request: Request, pump_id: int, build_id: int) -> Response:
    """The page with one build of the book."""
    from clackwork.web.pages import page

    build = request.app.state.shelf.book().get("build", build_id)
    if build.links.get("pump") != pump_id:
        raise NotThere(f"There is no build {build_id} of pump {pump_id}: open it from its pump.")
    return page(request, "live.html", pump_id=pump_id, build_id=build_id, title=f"{build.name} at work")
