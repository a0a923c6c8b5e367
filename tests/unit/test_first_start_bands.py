"""Bands of a first start and care in beats: worked by hand, and against the units' own definitions."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from invented_design import choice, standpipe_choice, survey

from clackwork.quantities import parse
from clackwork.site.care import MONTH, care_plan, fatigue_cycles
from clackwork.site.design import FatigueLaw, PipeCheck
from clackwork.site.due import care_items, care_with
from clackwork.site.first_start import (
    GALLON_BUCKETS,
    LITRE_BUCKETS,
    START_PRESSURE,
    filling_time,
    first_start,
    pick_bucket,
    shared,
)
from clackwork.site.line_marks import line_marks
from clackwork.site.route import Route, RoutePoint
from clackwork.site.site import Range


def test_ten_psi_and_gallons_are_those_of_the_unit_table() -> None:
    """NIST Special Publication 811, appendix B.8, by the readers of typed quantities."""
    assert parse("10 psi", "pressure_gauge").value == pytest.approx(START_PRESSURE)
    assert parse("5 gal", "volume").value == pytest.approx(GALLON_BUCKETS[-1])


def test_a_bucket_by_hand() -> None:
    # 10 L at 0.5 L/s is 20 s; at 0.4 L/s 25 s
    times = filling_time(0.010, Range(4.0e-4, 4.5e-4, 5.0e-4))
    assert (times.low, times.high) == pytest.approx((20.0, 25.0))
    assert filling_time(0.010, Range(0.0, 1e-4, 2e-4)).high == math.inf


@pytest.mark.parametrize(
    ("flow", "bucket"), [(2.5e-5, 0.001), (4.9e-5, 0.001), (2.4e-4, 0.005), (5.1e-4, 0.020), (5.0e-3, 0.020)]
)
def test_the_smallest_bucket_that_takes_twenty_seconds(flow: float, bucket: float) -> None:
    assert pick_bucket(flow, LITRE_BUCKETS) == bucket


def test_readings_of_one_pump_of_two() -> None:
    one, two = first_start(choice()), first_start(standpipe_choice())
    waste = choice().promise.waste_flow
    assert shared(waste, 2).middle == 0.5 * waste.middle
    assert two.waste_bucket / two.waste_time.middle == pytest.approx(0.5 * one.waste_bucket / one.waste_time.middle)
    assert two.delivery_time == one.delivery_time
    assert two.beat_rate == one.beat_rate == choice().promise.beat_rate


def test_pressures_and_forces_by_hand() -> None:
    """Water of 12 degC has 999.5 kg/m3 (Kell 1975, from memory); 88.56 m of it on a bore of 52.5 mm."""
    start = first_start(choice())
    assert start.highest_pressure == pytest.approx(88.56 * 999.5 * 9.80665, rel=1e-3)
    assert start.pipe_force == pytest.approx(start.highest_pressure * math.pi / 4.0 * 0.0525**2, rel=1e-3)
    assert start.pipe_slope == pytest.approx(18.0 / 3.0)
    assert start.vessel_pressure.low < start.vessel_pressure.middle < start.vessel_pressure.high


def test_the_line_holds_the_water_of_its_zones() -> None:
    bores = [(zone.pipe.bore, zone.end - zone.start) for zone in choice().zones]
    volume = sum(math.pi / 4.0 * bore**2 * length for bore, length in bores)
    start = first_start(choice())
    assert start.line_volume == pytest.approx(volume)
    assert start.line_filled.middle == pytest.approx(volume / choice().promise.delivered_flow.middle)
    line = choice().site.line
    assert first_start(choice(zones=())).line_volume == pytest.approx(math.pi / 4.0 * line.pipe.bore**2 * line.length)


def test_a_week_of_beats() -> None:
    # 61.2 beats a minute, 10080 minutes a week
    tasks = {task.id: task for task in care_plan(choice())}
    assert tasks["beat_count"].beats == pytest.approx(61.2 * 10080.0)
    assert tasks["rubbers"].beats == 30e6  # the item's own count
    assert list(tasks) == sorted(tasks, key=lambda name: tasks[name].interval)
    assert set(tasks) == {item.id for item in care_items()} | {"drive_pipe"}


def test_a_workshop_keeps_its_own_intervals() -> None:
    items = care_with({"flush": {"months": 3.0}, "rubbers": {"months": 0.0, "beats": 1e6}, "paint": {"months": 0.0}})
    tasks = {task.id: task for task in care_plan(choice(), items)}
    assert tasks["flush"].interval == pytest.approx(3.0 * MONTH)
    assert tasks["rubbers"].interval == pytest.approx(1e6 / choice().promise.beat_rate.middle)
    assert "paint" not in tasks


def test_a_vessel_that_loses_its_air_is_looked_at_sooner() -> None:
    week = 7.0 * 86400.0
    leaking = choice(promise=replace(choice().promise, vessel_air=(week, 3.0 * week)))
    (task,) = (task for task in care_plan(leaking) if task.id == "vessel_air")
    assert (task.interval, task.why) == (0.5 * week, "air_goes")
    hours = choice(promise=replace(choice().promise, vessel_air=(3600.0, 7200.0)))
    assert next(task for task in care_plan(hours) if task.id == "vessel_air").interval == 86400.0


def test_the_most_careful_law_counts_and_a_test_without_failure_does_not() -> None:
    assert fatigue_cycles(choice()) == 4.0e7
    check = choice().checks[1]
    laws = (FatigueLaw("a", "", 1e6, 1.0, True, at_least=True), FatigueLaw("b", "", 5e6, 5.0, True))
    assert fatigue_cycles(choice(checks=(replace(check, fatigue=laws),))) == 5e6
    assert fatigue_cycles(choice(checks=())) == math.inf
    assert isinstance(check, PipeCheck)


def test_a_pump_that_does_not_beat_has_no_beats_to_count() -> None:
    stopped = choice(promise=replace(choice().promise, beat_rate=Range(0.0, 0.0, 0.0)))
    tasks = care_plan(stopped)
    assert all(task.beats == 0.0 for task in tasks if task.id in ("intake", "flush"))
    assert "drive_pipe" not in {task.id for task in tasks}


def test_marks_along_the_line() -> None:
    marks = line_marks(survey(), choice())
    assert marks.air == (60.0,)  # the one high point between pump and outlet
    assert marks.drains == (85.0,)  # the one hollow
    distances = [distance for distance, _ in marks.grade]
    heads = [head for _, head in marks.grade]
    assert distances[0] == 0.0 and distances[-1] == 160.0 and distances == sorted(distances)
    assert heads[-1] == pytest.approx(21.0) and heads == sorted(heads, reverse=True)
    assert len(marks.grade) <= 61


def test_a_line_without_a_way_is_straight() -> None:
    marks = line_marks(survey(route=None), choice())
    assert marks.air == marks.drains == ()
    falling = Route((RoutePoint(0.0, 0.0), RoutePoint(160.0, 21.0)))
    assert marks.grade == line_marks(survey(route=falling), choice()).grade
