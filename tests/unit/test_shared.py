"""Pumps side by side on one source and one line: their common point, and the ripple of their beats."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from clackwork.errors import InputError, ModelError
from clackwork.pipes import find_pipe
from clackwork.ram.engine import RamCase, run_beats
from clackwork.ram.operating import line_head, operating_point
from clackwork.ram.parts import (
    AirVessel,
    Build,
    DeliveryLine,
    DeliveryValve,
    DrivePipe,
    GuidedPoppet,
    Supply,
    Surroundings,
)
from clackwork.ram.shared import SharedPoint, beat_offsets, beat_pulse, shared_operating_point, shared_ripple

PIPE = find_pipe("steel-sch40", "1 in")
SLIP = math.pi * 0.022**3 / 16.0  # what the delivery valve's disc sweeps
BUILD = Build(
    "invented",
    GuidedPoppet(mass=0.2, stroke=0.006, seat_bore=0.028),
    DeliveryValve(0.022, slip_volume=SLIP),
    AirVessel(4e-3),
)
PUMP = RamCase(BUILD, DrivePipe(PIPE, 30.0), Supply(6.0))
OTHER = replace(PUMP, supply=Supply(7.0))
STALLED = replace(PUMP, build=BUILD.retuned(mass=5.0))
WIDE = DeliveryLine(find_pipe("pe100-sdr11", "25 mm"), 200.0, 40.0)
NARROW = DeliveryLine(replace(WIDE.pipe, bore=0.009), 200.0, 30.0)


@cache
def point(count: int, line: DeliveryLine = WIDE) -> SharedPoint:
    return shared_operating_point([PUMP] * count, line)


def test_one_pump_is_at_its_operating_point() -> None:
    alone = operating_point(replace(PUMP, line=WIDE))
    assert point(1).vessel_head == pytest.approx(alone.vessel_head, rel=2e-3)
    assert point(1).delivered_flow == pytest.approx(alone.delivered_flow, rel=0.03)
    assert point(1).state == "enough"


@pytest.mark.parametrize("count", [2, 4])
def test_pumps_on_a_line_of_as_many_times_the_area_give_as_alone(count: int) -> None:
    """Where all loss is by velocity heads, which the same velocity keeps."""
    narrow = DeliveryLine(replace(WIDE.pipe, bore=0.006), 0.1, 36.0, fittings_loss=100.0)
    wide = replace(narrow, pipe=replace(narrow.pipe, bore=0.006 * math.sqrt(count)))
    one, all_of_them = point(1, narrow), point(count, wide)
    assert one.vessel_head > 40.0
    assert all_of_them.vessel_head == pytest.approx(one.vessel_head, rel=5e-3)
    for result in all_of_them.results:
        assert result.delivered_flow == pytest.approx(one.delivered_flow, rel=0.03)


def test_two_deliver_less_than_twice_one_on_the_same_line() -> None:
    one, two = point(1, NARROW), point(2, NARROW)
    assert two.vessel_head > one.vessel_head + 3.0
    assert one.delivered_flow < two.delivered_flow < 1.95 * one.delivered_flow


@pytest.mark.parametrize("cases", [(PUMP, PUMP), (PUMP, OTHER), (OTHER, PUMP, PUMP)])
def test_line_and_pumps_agree_and_water_is_kept(cases: tuple[RamCase, ...]) -> None:
    found = shared_operating_point(cases, NARROW)
    assert line_head(NARROW, found.delivered_flow, PUMP.water) == pytest.approx(found.vessel_head, rel=0.01)
    assert found.delivered_flow == pytest.approx(sum(result.delivered_flow for result in found.results))
    assert found.drawn_flow == pytest.approx(found.delivered_flow + found.waste_flow, rel=0.01)
    for case, held, result in zip(cases, found.cases, found.results, strict=True):
        assert result.vessel_head == pytest.approx(found.vessel_head + case.supply.fall - cases[0].supply.fall)
        assert held.vessel_head == result.vessel_head
        assert held.supply.fall == case.supply.fall


def test_a_source_that_falls_short_starves_pumps_that_draw_no_less_as_it_falls() -> None:
    full = point(2)

    def on(source_flow: float) -> SharedPoint:
        return shared_operating_point([PUMP] * 2, WIDE, source_flow=source_flow, submergence=1.0)

    assert on(1.001 * full.drawn_flow) == full
    starved = on(0.8 * full.drawn_flow)
    assert (starved.state, starved.drawdown) == ("starved", 1.0)
    assert all(case.supply.fall == 5.0 for case in starved.cases)
    assert starved.drawn_flow > 0.8 * full.drawn_flow


def test_the_level_settles_where_all_draw_what_comes() -> None:
    """A pump stalled open draws less at a lower level, and more than the one that beats."""
    full = shared_operating_point([PUMP, STALLED], WIDE)
    short = 0.96 * full.drawn_flow
    found = shared_operating_point([PUMP, STALLED], WIDE, source_flow=short, submergence=2.0)
    assert found.state == "drawn down"
    assert 0.0 < found.drawdown < 2.0
    assert found.drawn_flow == pytest.approx(short, rel=2e-3)


def test_pumps_that_do_not_beat_are_said_to_be_stalled() -> None:
    found = shared_operating_point([STALLED, STALLED], WIDE)
    assert found.state == "stalled"
    assert found.delivered_flow == 0.0
    assert found.vessel_head == pytest.approx(WIDE.lift)
    with pytest.raises(ModelError, match="deliver nothing"):
        shared_ripple(found, WIDE, (0.0, 0.0))
    with pytest.raises(ModelError, match="stalled open"):
        beat_pulse(found.cases[0])
    mixed = shared_operating_point([PUMP, STALLED], WIDE)
    assert mixed.state == "enough"
    assert mixed.delivered_flow == pytest.approx(point(1).delivered_flow, rel=0.01)
    assert mixed.drawn_flow > 2.0 * point(1).drawn_flow


def test_a_beat_carries_the_mean_flows() -> None:
    [case], [result] = point(1).cases, point(1).results
    pulse = beat_pulse(case)
    assert pulse.period == pytest.approx(1.0 / result.beat_rate, rel=0.02)
    assert pulse.delivered_flow.mean() == pytest.approx(result.delivered_flow, rel=0.03)
    assert pulse.drawn_flow.mean() == pytest.approx(result.drawn_flow, rel=0.03)
    delivering = pulse.delivered_flow > 0.01 * pulse.delivered_flow.max()
    assert pulse.period * delivering.mean() == pytest.approx(result.delivery_time, rel=0.3)


def test_the_ripple_of_one_pump_is_that_of_a_full_run() -> None:
    """The engine steps vessel and rigid line with the pump; here their small swings are added up."""
    full = run_beats(replace(PUMP, line=WIDE, vessel_head=point(1).vessel_head))
    ripple = shared_ripple(point(1), WIDE, (0.0,))
    assert ripple.head_ripple == pytest.approx(full.vessel_ripple, rel=0.1)
    assert ripple.worst_head_ripple == pytest.approx(ripple.head_ripple, rel=1e-6)


@pytest.mark.parametrize("count", [2, 3, 4])
def test_in_step_ripples_more_than_out_of_step(count: int) -> None:
    found = point(count)
    together = shared_ripple(found, WIDE, beat_offsets(count, "in step"), basin_area=0.5)
    spread = shared_ripple(found, WIDE, beat_offsets(count, "out of step"), basin_area=0.5)
    chance = shared_ripple(found, WIDE, beat_offsets(count, "random", seed=3), basin_area=0.5)
    for swing in ("head_ripple", "drawn_ripple", "level_dip"):
        most, least, between = (getattr(each, swing) for each in (together, spread, chance))
        assert most > 1.5 * least > 0.0, swing
        assert between < 1.01 * most, swing
    assert together.head_ripple == pytest.approx(together.worst_head_ripple, rel=0.01)
    for each in (together, spread, chance):
        assert each.delivered_flow == pytest.approx(found.delivered_flow, rel=0.03)
        assert each.drawn_flow == pytest.approx(found.drawn_flow, rel=0.03)
        assert each.line_flows.mean() == pytest.approx(each.delivered_flow, rel=1e-3)
        assert each.drawn_flows.mean() == pytest.approx(each.drawn_flow, rel=1e-3)
        assert abs(each.levels.mean()) < 1e-3 * each.level_dip


def test_air_and_basin_take_up_the_ripple() -> None:
    offsets = beat_offsets(2, "in step")
    bare = shared_ripple(point(2), WIDE, offsets, basin_area=1.0)
    more = shared_ripple(point(2), WIDE, offsets, basin_area=4.0, vessel=AirVessel(0.02))
    assert more.head_ripple < 0.5 * bare.head_ripple
    assert more.level_dip == pytest.approx(0.25 * bare.level_dip, rel=1e-6)
    assert shared_ripple(point(2), WIDE, offsets).level_dip == 0.0


def test_the_basin_falls_by_what_is_drawn() -> None:
    ripple = shared_ripple(point(1), WIDE, (0.0,), basin_area=2.0)
    step = ripple.time[1] - ripple.time[0]
    fall = np.cumsum(ripple.drawn_flow - ripple.drawn_flows) * step / 2.0
    assert ripple.level_dip == pytest.approx(np.ptp(fall), rel=0.02)


def test_unlike_pumps_drift_through_every_step() -> None:
    found = shared_operating_point([PUMP, OTHER], WIDE)
    ripple = shared_ripple(found, WIDE, (0.0, 0.5))
    assert ripple.time[-1] > 60.0 / min(result.beat_rate for result in found.results)
    assert 0.7 * ripple.worst_head_ripple < ripple.head_ripple <= 1.001 * ripple.worst_head_ripple


def test_offsets() -> None:
    assert beat_offsets(3, "in step") == (0.0, 0.0, 0.0)
    assert beat_offsets(4, "out of step") == (0.0, 0.25, 0.5, 0.75)
    chance = beat_offsets(5, "random", seed=7)
    assert chance == beat_offsets(5, "random", seed=7) != beat_offsets(5, "random", seed=8)
    assert all(0.0 <= offset < 1.0 for offset in chance)
    with pytest.raises(InputError, match="arrangement = apart"):
        beat_offsets(2, "apart")  # type: ignore[arg-type]


def test_errors_name_what_is_wrong() -> None:
    with pytest.raises(InputError, match="cases"):
        shared_operating_point([], WIDE)
    with pytest.raises(InputError, match="source_flow = 0"):
        shared_operating_point([PUMP], WIDE, source_flow=0.0)
    with pytest.raises(InputError, match="submergence"):
        shared_operating_point([PUMP, OTHER], WIDE, submergence=4.9)
    with pytest.raises(ModelError, match="same temperature"):
        shared_operating_point([PUMP, replace(PUMP, surroundings=Surroundings(290.0))], WIDE)
    with pytest.raises(ModelError, match="plan area"):
        shared_operating_point([replace(PUMP, supply=Supply(3.0, plan_area=0.1))], WIDE)
    with pytest.raises(InputError, match="one for each of the 2 pumps"):
        shared_ripple(point(2), WIDE, (0.0,))
    with pytest.raises(InputError, match="basin_area"):
        shared_ripple(point(2), WIDE, (0.0, 0.0), basin_area=0.0)
