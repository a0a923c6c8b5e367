"""A pump on the screen: settled figures, a trace that keeps its peaks, stall edges, and their JSON."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from workshop_books import demo_text

from clackwork.book.errors import NotThere
from clackwork.errors import ClackworkError, InputError
from clackwork.pipes import find_pipe
from clackwork.quantities import parse
from clackwork.ram.engine import RamCase, run_beats
from clackwork.ram.parts import (
    AirVessel,
    Build,
    DeliveryLine,
    DeliveryValve,
    DrivePipe,
    GuidedPoppet,
    HingedFlap,
    Supply,
)
from clackwork.ram.sensitivity import input_value, with_input
from clackwork.shop.live import (
    SLIDERS,
    LiveBand,
    LiveEdges,
    live_beat,
    live_edges,
    slider_ranges,
    vessel_water,
)
from clackwork.shop.live_setting import (
    LIFT_TO_FALL,
    changed_parts,
    demo_start,
    keep_revision,
    read_build_table,
    read_place,
    set_case,
)
from clackwork.web.live_answers import edges_answer
from clackwork.web.live_api import router
from clackwork.workbook import load_workbook

PIPE = DrivePipe(find_pipe("steel-sch40", "1 in"), 12.0)
BUILD = Build(
    "yard", GuidedPoppet(mass=0.2, stroke=0.006, seat_bore=0.028), DeliveryValve(bore=0.022), AirVessel(volume=3e-3)
)
CASE = RamCase(BUILD, PIPE, Supply(2.1), vessel_head=12.0)
STOPPED = replace(CASE, supply=Supply(0.2))


def test_the_last_beats_are_whole_and_alike() -> None:
    live = live_beat(CASE)
    assert live.state == "beating" and live.beats and len(live.phases) == 3
    assert live.phases[0].accelerate == 0.0
    for earlier, later in zip(live.phases[:-1], live.phases[1:], strict=True):
        assert earlier.end == later.accelerate
    assert live.result is not None
    period = live.phases[-1].end / 3.0
    assert period == pytest.approx(1.0 / live.result.beat_rate, rel=0.02)
    assert live.trace["time"][0] == 0.0 and live.trace["time"][-1] == pytest.approx(live.phases[-1].end)
    assert np.all(np.diff(live.trace["time"]) > 0.0)


def test_the_figures_are_those_of_the_engine() -> None:
    live, run = live_beat(CASE), run_beats(CASE)
    assert live.result == run


@pytest.mark.parametrize("head", [12.0, None])
def test_thinning_loses_no_peak(head: float | None, monkeypatch: pytest.MonkeyPatch) -> None:
    case = replace(CASE, vessel_head=head)
    thin = live_beat(case)
    monkeypatch.setattr("clackwork.shop.live._BUCKETS", 10**7)
    whole = live_beat(case)
    assert len(thin.trace["time"]) < 0.2 * len(whole.trace["time"])
    for name in ("body_head", "velocity", "opening"):
        assert thin.trace[name].max() == whole.trace[name].max()
        assert thin.trace[name].min() == whole.trace[name].min()


def test_the_vessel_takes_in_what_the_line_takes_out() -> None:
    live = live_beat(CASE)
    assert live.result is not None
    water = live.trace["vessel_water"]
    per_beat = live.result.delivered_flow / live.result.beat_rate
    assert abs(water[-1] - water[0]) < 0.1 * per_beat
    assert 0.5 * per_beat < water.max() - water.min() < 1.5 * per_beat
    assert water.mean() == pytest.approx(vessel_water(CASE, 12.0), rel=0.01)


def test_air_of_the_vessel_by_hand() -> None:
    # isothermal, filled at outside pressure: at a head of that same pressure the air is half its volume
    case = replace(CASE, build=replace(BUILD, air_vessel=AirVessel(volume=3e-3, polytropic_index=1.0)))
    outside = case.water.atmospheric_pressure_abs / (case.water.density * 9.80665)
    assert vessel_water(case, outside) == pytest.approx(1.5e-3, rel=1e-9)
    assert vessel_water(case, 0.0) == 0.0
    pumped = replace(BUILD, air_vessel=AirVessel(volume=3e-3, precharge_gauge=case.water.atmospheric_pressure_abs,
                                                 polytropic_index=1.0))  # fmt: skip
    assert vessel_water(replace(case, build=pumped), 0.5 * outside) == 0.0, "below its fill it holds no water"


def test_a_line_is_run_at_its_operating_point() -> None:
    line = DeliveryLine(find_pipe("pe100-sdr11", "25 mm"), 60.0, 12.0)
    live = live_beat(replace(CASE, vessel_head=None, line=line))
    assert live.result is not None and 12.0 < live.result.vessel_head < 13.0


def test_stalls_are_said_in_words() -> None:
    live = live_beat(STOPPED)
    assert live.state == "stalled open" and not live.beats
    assert live.words.startswith("Stalls open") and "weight" in live.words
    assert live.trace["time"].size and np.ptp(live.trace["opening"]) == 0.0


def test_a_valve_that_nothing_opens_is_no_error() -> None:
    live = live_beat(replace(CASE, build=BUILD.retuned(tilt=math.pi)))
    assert live.state == "stalled shut" and live.result is None and not live.trace
    assert "nothing opens the waste valve" in live.words


def test_a_pump_that_lifts_nothing_says_so() -> None:
    live = live_beat(replace(CASE, vessel_head=400.0))
    assert live.state == "delivers nothing" and "lifts nothing" in live.words


def test_words_follow_units_and_the_source() -> None:
    assert "L/min" in live_beat(CASE).words
    words = live_beat(CASE, system="us", source_flow=1e-5).words
    assert "gpm" in words and "more than the source gives" in words
    assert "source" not in live_beat(CASE, source_flow=1.0).words
    assert "runs there by itself" in live_beat(replace(CASE, vessel_head=1.5)).words


def test_sliders_hold_the_setting_and_every_end_can_be_set() -> None:
    flap = HingedFlap(mass=0.14, stroke=0.007, seat_bore=0.03, mass_distance=0.022, seat_distance=0.022)
    for case in (CASE, replace(CASE, build=replace(BUILD, waste_valve=flap)), replace(CASE, vessel_head=None)):
        ranges = slider_ranges(case)
        assert ("lift" in {each.name for each in ranges}) is (case.vessel_head is not None)
        for each in ranges:
            assert each.low <= input_value(case, each.name) <= each.high and 0.0 < each.step < each.high - each.low
            for end in (each.low, each.high):
                assert input_value(with_input(case, each.name, end), each.name) == end


def test_edges_part_beating_from_stalling() -> None:
    edges = live_edges(CASE, "fall", 0.2, 3.0)
    assert edges.bands[0].low == 0.2 and edges.bands[-1].high == 3.0
    assert [a.high for a in edges.bands[:-1]] == [b.low for b in edges.bands[1:]]
    assert edges.bands[0].state == "stalled open"
    edge = edges.bands[0].high
    assert run_beats(with_input(CASE, "fall", 0.97 * edge)).state == "stalled open"
    assert run_beats(with_input(CASE, "fall", 1.03 * edge)).state == "beating"
    assert edges.here is not None and edges.here.state == ""


def test_edges_are_found_from_within_a_stall_too() -> None:
    edges = live_edges(STOPPED, "fall", 0.1, 3.0)
    assert edges.here is not None and edges.here.state == "stalled open"
    told = edges_answer(STOPPED, edges, "metric")
    assert told["words"].startswith("It would beat from ")


def test_edges_refuse_what_is_no_slider() -> None:
    with pytest.raises(InputError, match="it must be one of stroke"):
        live_edges(CASE, "seat_bore", 0.01, 0.02)
    with pytest.raises(InputError, match="below the high end"):
        live_edges(CASE, "fall", 2.0, 2.0)


def test_edge_words() -> None:
    bands = (LiveBand(0.002, 0.004, "stalled shut"), LiveBand(0.004, 0.012, ""), LiveBand(0.012, 0.02, "stalled open"))
    told = edges_answer(CASE, LiveEdges("stroke", 0.008, bands), "metric")
    assert told["words"] == "Stalls shut below 4.00 mm (50 % less); stalls open above 12.0 mm (50 % more)."
    assert [band["stalls"] for band in told["bands"]] == [True, False, True]
    everywhere = edges_answer(CASE, LiveEdges("stroke", 0.008, (LiveBand(0.002, 0.02, ""),)), "metric")
    assert everywhere["words"] == "Beats all along this slider."
    nowhere = edges_answer(CASE, LiveEdges("stroke", 0.008, (LiveBand(0.002, 0.02, "stalled open"),)), "us")
    assert nowhere["words"] == "It beats nowhere on this slider as the others stand."


# ---------------------------------------------------------------- how it is set


def test_places_are_rigs_and_the_sites_that_have_a_drive_pipe() -> None:
    pipe = {"series": "steel-sch40", "size": "1 in", "length": "12 m"}
    rig = read_place("yard", {"fall": "2.1 m", "drive_pipe": pipe, "water_temperature": "11 °C"})
    assert (rig.fall, rig.lift) == (2.1, pytest.approx(LIFT_TO_FALL * 2.1))
    assert rig.surroundings.temperature == pytest.approx(284.15) and rig.source_flow is None
    with pytest.raises(InputError, match="fall"):
        read_place("nowhere", {"drive_pipe": pipe})
    book = load_workbook(demo_text())
    found = {one.name: one for one in demo_start().places}
    assert list(found) == [*book.rigs, *book.sites]
    hazel, site = found["Upper Hazel"], book.sites["Upper Hazel"]  # its fall is levelled, not typed
    assert (hazel.fall, hazel.lift, hazel.source_flow) == (site.fall, site.line.lift, site.source_flow)


def test_what_is_moved_is_set() -> None:
    start = demo_start()
    build = read_build_table(start.build)
    moved = {"stroke": 0.005, "mass": 0.1, "tilt": 0.1, "fall": 1.5, "lift": 9.0, "pipe_length": 8.0}
    case = set_case(build, start.places[0], moved, series="pvc-sch40", size="1 in")
    assert {name: input_value(case, name) for name in SLIDERS} == moved
    assert case.drive_pipe.pipe.series == "pvc-sch40"
    shut = set_case(build, start.places[0], moved, shut=True)
    assert shut.vessel_head is None


class _ShelfOfOne:
    """A book with one build, which keeps what is added to it."""

    def __init__(self) -> None:
        self.added: list[dict[str, Any]] = []

    def get(self, kind: str, id: int) -> Any:
        if (kind, id) != ("build", 7):
            raise NotThere(kind, id)
        return type("Kept", (), {"name": "flap", "entered": demo_start().build, "links": {"pump": 3}})

    def add(self, kind: str, name: str, entered: dict[str, Any], **more: Any) -> str:
        self.added.append({"kind": kind, "name": name, "entered": entered, **more})
        return name


def test_a_revision_keeps_all_but_what_was_moved() -> None:
    book: Any = _ShelfOfOne()
    keep_revision(book, 7, "flap, heavier", {"mass": "160 g"}, by="shop", request_id="abc")
    [made] = book.added
    assert made["links"] == {"pump": 3, "revision_of": 7} and (made["by"], made["request_id"]) == ("shop", "abc")
    before = demo_start().build
    valve = {**before["waste_valve"], "mass": "160 g"}
    assert made["entered"] == {**before, "waste_valve": valve}


def test_a_revision_refuses_what_cannot_be() -> None:
    book: Any = _ShelfOfOne()
    with pytest.raises(InputError, match="Move one of them first"):
        keep_revision(book, 7, "same", {})
    with pytest.raises(InputError, match="can be moved"):
        keep_revision(book, 7, "other", {"fall": "3 m"})
    with pytest.raises(InputError, match="stroke"):
        keep_revision(book, 7, "wide", {"stroke": "70 mm"})
    assert changed_parts(demo_start().build, {"tilt": "5 deg"})["waste_valve"]["tilt"] == "5 deg"
    assert book.added == []


# ---------------------------------------------------------------- the API


@pytest.fixture(scope="module")
def api() -> Iterator[TestClient]:
    app = FastAPI()
    app.include_router(router)
    with TestClient(app) as client:
        yield client


def test_start_and_first_answer(api: TestClient) -> None:
    start = api.get("/api/live/start").json()
    assert {each["name"] for each in start["sliders"]} == set(SLIDERS)
    answer = api.post("/api/live", json=start["setting"]).json()
    assert answer["state"] == "beating" and answer["words"].startswith("Beats ")
    lengths = {len(column["values"]) for column in answer["trace"]["columns"]}
    lengths |= {len(answer["trace"][name]) for name in ("opening_m", "passing", "spout_mm", "level_mm", "travel_mm")}
    assert len(lengths) == 1 and lengths.pop() > 200
    assert {"body_head_m", "velocity_m_s", "opening_mm", "delivered_flow_l_min"} <= {
        column["key"] for column in answer["trace"]["columns"]
    }
    assert answer["values"]["delivered_flow_l_min"] > 0.0
    assert [each["name"] for each in answer["section"]["motions"]] == ["waste-valve", "delivery-valve"]
    assert any("gauges rated" in words for words in answer["cautions"]), "beside the peak pressure"


def test_typed_and_si_say_the_same(api: TestClient) -> None:
    setting = api.get("/api/live/start").json()["setting"]
    del setting["stroke_m"], setting["fall_m"]
    typed = api.post("/api/live", json={**setting, "stroke": "1/4 in", "fall": "7 ft"}).json()
    numbers = {"stroke_m": parse("1/4 in", "length").value, "fall_m": parse("7 ft", "head").value}
    given = api.post("/api/live", json={**setting, **numbers}).json()
    assert typed == given
    assert typed["inputs"]["stroke"]["shown"] == "6.35 mm" and typed["inputs"]["stroke"]["also"] == "0.250 in"


def test_units_change_words_and_keys(api: TestClient) -> None:
    setting = api.get("/api/live/start").json()["setting"]
    answer = api.post("/api/live", json={**setting, "units": "us"}).json()
    assert "gpm" in answer["words"] and "delivered_flow_gal_min" in answer["values"]
    metric = api.post("/api/live", json=setting).json()
    assert answer["trace"]["opening_m"] == metric["trace"]["opening_m"]


def test_delivery_shut_has_its_caution_and_no_efficiency(api: TestClient) -> None:
    setting = api.get("/api/live/start").json()["setting"]
    answer = api.post("/api/live", json={**setting, "delivery_shut": True}).json()
    assert any(words.startswith("Never shut the delivery") for words in answer["cautions"])
    assert not {"delivered_flow", "daubuisson_efficiency"} & {each["name"] for each in answer["figures"]}
    assert "lift" not in answer["inputs"]


def test_stalled_answer_has_no_loop(api: TestClient) -> None:
    setting = api.get("/api/live/start").json()["setting"]
    answer = api.post("/api/live", json={**setting, "fall_m": 0.2}).json()
    assert answer["state"] == "stalled open" and answer["trace"]["phases"] == [] and not answer["beats"]
    assert [each["name"] for each in answer["figures"]] == ["drawn_flow", "waste_flow"]


def test_edges_over_the_api(api: TestClient) -> None:
    setting = api.get("/api/live/start").json()["setting"]
    answer = api.post("/api/live/edges", json={**setting, "move": "fall", "low": 0.5, "high": 3.0}).json()
    assert answer["bands"][0]["state"] == "stalled open" and answer["bands"][0]["low"] == 0.5


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"stroke": "7"}, "stroke"),
        ({"mass": "7 mm"}, "mass"),
        ({"fall_m": 1000.0}, "supply.fall"),
        ({"lift_m": -4.0}, "lift"),
        ({"pipe_length": "2 miles"}, "pipe_length"),
        ({"size": "9 in"}, "size"),
    ],
)
def test_what_cannot_be_is_refused_by_field(api: TestClient, change: dict[str, Any], field: str) -> None:
    setting = api.get("/api/live/start").json()["setting"]
    with pytest.raises(ClackworkError) as refused:
        api.post("/api/live", json={**setting, "series": "steel-sch40" if "size" in change else "", **change})
    assert isinstance(refused.value, InputError) and refused.value.field == field


def test_limits_are_told_in_the_unit_typed(api: TestClient) -> None:
    with pytest.raises(InputError, match=r'stroke = "12 in" is not usable: it must be 0.003937 to 7.874 in'):
        api.post("/api/live", json={"stroke": "12 in"})


def test_unknown_keys_and_endless_figures_are_refused(api: TestClient) -> None:
    assert api.post("/api/live", json={"strok_m": 0.007}).status_code == 422
    assert api.post("/api/live", json={"mass": "1" * 500}).status_code == 422
    assert api.post("/api/live/edges", json={"move": "bore", "low": 1, "high": 2}).status_code == 422
