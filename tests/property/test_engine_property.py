"""What the engine keeps to for rams of any make: finite figures, water and energy that add up, no sudden turns.

Numbers are drawn the same in every run.
"""

from __future__ import annotations

import dataclasses
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from random_rams import NUMBERS, ram_of

from clackwork.pipes import find_pipe
from clackwork.ram import kernel
from clackwork.ram.batch import run_packed
from clackwork.ram.engine import STATES, BeatResult, RamCase, pack, run_batch, run_beats, shut_off_head
from clackwork.ram.operating import operating_point
from clackwork.ram.parts import (
    STANDARD_GRAVITY,
    AirVessel,
    Build,
    DeliveryLine,
    DeliveryValve,
    DrivePipe,
    GuidedPoppet,
    Snifter,
    Supply,
)
from clackwork.ram.sensitivity import opening_load, settled_beats

MOVING = ("beating", "irregular")
SHARE = st.integers(0, 1000).map(lambda share: share / 1000.0)
RAMS = (
    st.fixed_dictionaries({name: SHARE for name in NUMBERS}).map(ram_of).filter(lambda case: opening_load(case) > 0.0)
)
LINES = st.builds(
    DeliveryLine,
    st.sampled_from([find_pipe("pe100-sdr11", "20 mm"), find_pipe("pe100-sdr11", "32 mm")]),
    st.floats(10.0, 400.0),
    st.floats(2.0, 60.0),
)


def examples(count: int) -> settings:
    """So many examples, the same ones every time."""
    unhurried = [HealthCheck.too_slow, HealthCheck.filter_too_much]
    return settings(max_examples=count, deadline=None, derandomize=True, suppress_health_check=unhurried)


def gross_flow(case: RamCase, result: BeatResult) -> float:
    """Flow at the highest velocity the column has [m3/s]: what small errors of a beat are small against."""
    return 0.25 * math.pi * case.drive_pipe.pipe.bore**2 * max(result.steady_velocity, result.closing_velocity)


def missing_water(case: RamCase, result: BeatResult) -> float:
    """Water drawn and not accounted for, as a share of the gross flow."""
    return (result.drawn_flow - result.waste_flow - result.delivered_flow) / gross_flow(case, result)


def figures(result: BeatResult) -> list[float]:
    """All figures of a result, those of its energy too."""
    own = [value for value in dataclasses.asdict(result).values() if isinstance(value, float)]
    return [*own, *dataclasses.asdict(result.energy).values(), result.energy.unaccounted]


def check_any(case: RamCase, result: BeatResult) -> None:
    """What holds for every result: finite, a known state, no pressure below that of vapour, no gain."""
    assert all(map(math.isfinite, figures(result)))
    assert result.state in STATES.values()
    water = case.water
    atmospheric_head = water.atmospheric_pressure_abs / (water.density * STANDARD_GRAVITY)
    assert result.lowest_head >= water.vapour_head_gauge - 1e-9 > -atmospheric_head
    assert result.vessel_head > -atmospheric_head
    assert result.simulated_time > 0.0
    assert 0.0 <= result.landing_speed_shut < 20.0
    assert min(result.beat_rate, result.beat_spread, result.cavity_volume, result.snifted_air) >= 0.0
    assert result.beat_rate == 0.0 or result.state in MOVING
    assert result.daubuisson_efficiency <= 1.005
    assert result.rankine_efficiency <= 1.005


@examples(300)
@given(RAMS)
def test_any_ram_keeps_to_what_can_be(case: RamCase) -> None:
    result = run_beats(case)
    check_any(case, result)
    if result.state not in MOVING:
        return
    assert abs(missing_water(case, result)) < 0.01
    if case.build.delivery_valve.leak_area == 0.0:
        # what slipped out before the beats averaged may come back in them, and water where air went up
        back = (case.build.delivery_valve.slip_volume / result.beats + result.snifted_air) * result.beat_rate
        assert result.delivered_flow >= -back - 1e-9 * gross_flow(case, result)
        assert result.delivered_flow <= result.drawn_flow + 0.01 * gross_flow(case, result)
        # what is lifted the fall has paid for
        lifted = result.delivered_flow * result.vessel_head
        assert lifted <= (result.drawn_flow + 0.01 * gross_flow(case, result)) * case.supply.fall


@examples(100)
@given(RAMS, st.floats(1.03, 2.0))
def test_nothing_is_delivered_above_the_shut_off_head(case: RamCase, above: float) -> None:
    # air from a snifter gathers while nothing is delivered and softens the beat: with one, the shut-off head is lower
    tight = replace(case.build.delivery_valve, leak_area=0.0)
    case = replace(case, build=replace(case.build, delivery_valve=tight, snifter=None))
    shut = run_beats(replace(case, vessel_head=None))
    assume(shut.state == "beating" and shut_off_head(case) > case.supply.fall)
    result = run_beats(replace(case, vessel_head=min(above * shut_off_head(case) + 0.5, 590.0)))
    assert abs(result.delivered_flow) <= 1e-4 * gross_flow(case, result)


def nudged(case: RamCase, name: str, factor: float) -> RamCase:
    """The case with its fall, held head, stroke or moving mass times a factor."""
    if name == "fall":
        return replace(case, supply=replace(case.supply, fall=case.supply.fall * factor))
    if name == "lift":
        assert case.vessel_head is not None
        return replace(case, vessel_head=case.vessel_head * factor)
    valve = case.build.waste_valve
    changed = min(getattr(valve, name) * factor, 50.0)
    return replace(case, build=replace(case.build, waste_valve=replace(valve, **{name: changed})))


@examples(40)
@given(RAMS, st.sampled_from(["fall", "lift", "stroke", "mass"]))
def test_a_small_change_changes_little_away_from_stalls(case: RamCase, name: str) -> None:
    """A stall is near when some ram within 4 % of this one does not beat. A beat holds a whole number of wave trips, so
    that results step; a thousandth moves no flow by more than a hundredth of the gross flow, and the beats by a tenth."""
    assume(name != "lift" or case.vessel_head is not None)
    around = [run_beats(nudged(case, name, factor)) for factor in (1.0, 0.96, 0.98, 1.02, 1.04)]
    assume(all(result.state == "beating" for result in around))
    one, other = (run_beats(nudged(case, name, factor)) for factor in (0.9995, 1.0005))
    assert one.state in MOVING and other.state in MOVING
    assume(one.state == other.state == "beating")
    step = 0.01 * gross_flow(case, around[0])
    for flow in ("drawn_flow", "waste_flow", "delivered_flow"):
        assert abs(getattr(one, flow) - getattr(other, flow)) <= step
    assert one.beat_rate == pytest.approx(other.beat_rate, rel=0.1)


@examples(15)
@given(st.lists(RAMS, min_size=2, max_size=7), st.integers(2, 5))
def test_a_batch_gives_what_each_gives_alone_to_the_last_bit(cases: list[RamCase], workers: int) -> None:
    packed = np.array([pack(case) for case in cases])
    alone = np.zeros((len(cases), len(kernel.RESULTS)))
    for row, result in zip(packed, alone, strict=True):
        kernel.simulate(row, result, np.zeros((0, len(kernel.TRACE_COLUMNS))), 1)
    for count in (1, workers):
        assert run_packed(packed, workers=count).tobytes() == alone.tobytes()
    assert run_batch(cases) == [run_beats(case) for case in cases]


@examples(20)
@given(st.lists(st.tuples(RAMS, LINES), min_size=1, max_size=3), st.integers(1, 3))
def test_operating_points_together_are_those_alone(pairs: list[tuple[RamCase, DeliveryLine]], workers: int) -> None:
    cases = [replace(case, vessel_head=None, line=line) for case, line in pairs]
    alone = [operating_point(case) for case in cases]
    assert settled_beats(cases, workers=workers) == alone
    for case, result in zip(cases, alone, strict=True):
        check_any(case, result)
        assert case.line is not None
        if result.delivered_flow > 0.0:
            assert result.vessel_head >= case.line.lift * (1.0 - 1e-9)


@examples(15)
@given(RAMS, LINES)
def test_a_full_run_with_vessel_and_line_keeps_to_what_can_be(case: RamCase, line: DeliveryLine) -> None:
    result = run_beats(replace(case, vessel_head=None, line=line))
    check_any(case, result)
    assert result.vessel_ripple >= 0.0
    assert result.line_flow >= 0.0


# --- one ram each for what once went wrong ---


def small_ram(held: float, *, fall: float = 4.0, mass: float = 0.1, snifter: float = 0.0, slip: float = 0.0) -> RamCase:
    """An inch ram on plastic pipe, invented."""
    valve = DeliveryValve(0.022, slip_volume=slip)
    build = Build("small", GuidedPoppet(mass, 0.006, 0.028), valve, AirVessel(4e-3))
    build = replace(build, snifter=Snifter(snifter) if snifter else None)
    return RamCase(build, DrivePipe(find_pipe("pvc-sch40", "1 in"), 12.0), Supply(fall), vessel_head=held)


def test_the_small_ram_is_sound_without_slip_and_snifter() -> None:
    for held in (25.0, 40.0, 55.0):
        result = run_beats(small_ram(held))
        assert result.state == "beating"
        assert abs(missing_water(small_ram(held), result)) < 2e-4


def test_water_adds_up_while_the_delivery_valve_slips() -> None:
    valve = DeliveryValve(0.0075, loss_coefficient=20.0, slip_volume=1e-5)
    build = Build("slips", GuidedPoppet(0.12, 0.005, 0.025), valve, AirVessel(4e-3))
    case = RamCase(build, DrivePipe(find_pipe("pe100-sdr11", "32 mm"), 4.0), Supply(2.0), vessel_head=2.5)
    assert abs(missing_water(case, run_beats(case))) < 0.01


def test_a_valve_without_leak_gives_nothing_back() -> None:
    case = small_ram(50.0, mass=0.08, slip=3e-6)
    result = run_beats(case)
    assert result.delivered_flow >= -1e-9 * gross_flow(case, result)


def test_water_adds_up_with_a_snifter_and_a_cavity() -> None:
    case = small_ram(80.0, fall=8.0, mass=0.5, snifter=1e-3)
    result = run_beats(case)
    assert result.cavity_volume > 0.0
    assert abs(missing_water(case, result)) < 0.002


def test_water_adds_up_with_a_snifter() -> None:
    case = replace(small_ram(40.0, snifter=2e-3), drive_pipe=DrivePipe(find_pipe("pvc-sch40", "1 in"), 25.0))
    result = run_beats(case)
    assert result.cavity_volume == 0.0
    assert abs(missing_water(case, result)) < 2e-4


def test_a_ram_with_a_snifter_settles_near_its_shut_off_head() -> None:
    assert run_beats(small_ram(60.0)).state == "beating"
    assert run_beats(small_ram(60.0, snifter=1e-3)).state == "beating"
