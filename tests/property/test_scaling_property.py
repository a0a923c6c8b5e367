"""Relations that hold for a pump in any size."""

from __future__ import annotations

import math
from dataclasses import asdict, replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clackwork.pipes import find_pipe
from clackwork.ram.engine import RamCase
from clackwork.ram.parts import AirVessel, Build, DeliveryValve, DrivePipe, GuidedPoppet, HingedFlap, Supply
from clackwork.ram.scaling import scale_factors, scaled

FACTORS = st.floats(0.4, 2.5)
POPPETS = st.builds(
    GuidedPoppet,
    mass=st.floats(0.05, 1.0),
    stroke=st.floats(0.003, 0.012),
    seat_bore=st.floats(0.02, 0.04),
    spring_rate=st.floats(0.0, 200.0),
    spring_preload=st.floats(0.0, 5.0),
    tilt=st.floats(0.0, 1.0),
)
FLAPS = st.builds(
    HingedFlap,
    mass=st.floats(0.05, 1.0),
    stroke=st.floats(0.003, 0.012),
    seat_bore=st.floats(0.02, 0.04),
    mass_distance=st.floats(0.02, 0.05),
    seat_distance=st.floats(0.02, 0.05),
    inertia=st.floats(1e-5, 1e-3),
    hinge_stiffness=st.floats(0.0, 0.05),
)


def ram(valve: GuidedPoppet | HingedFlap) -> RamCase:
    build = Build("any", valve, DeliveryValve(0.022, slip_volume=2e-6), AirVessel(4e-3), body_air=1e-6)
    return RamCase(build, DrivePipe(find_pipe("steel-sch40", "1 in"), 30.0), Supply(6.0), vessel_head=40.0)


@given(st.one_of(POPPETS, FLAPS), FACTORS, FACTORS)
def test_there_and_back_is_the_same_pump(valve: GuidedPoppet | HingedFlap, factor: float, head_factor: float) -> None:
    case = ram(valve)
    there = scaled(case, factor, head_factor=head_factor)
    back = scaled(there, 1.0 / factor, head_factor=1.0 / head_factor)
    was, now = asdict(case.build.waste_valve), asdict(back.build.waste_valve)
    for name, value in was.items():
        assert now[name] == pytest.approx(value, rel=1e-9, abs=1e-9), name
    assert back.drive_pipe.length == pytest.approx(30.0)
    assert back.drive_pipe.pipe.bore == pytest.approx(case.drive_pipe.pipe.bore)
    assert (back.supply.fall, back.vessel_head) == pytest.approx((6.0, 40.0))
    assert back.wave_speed == pytest.approx(case.wave_speed)


@given(st.one_of(POPPETS, FLAPS), FACTORS, FACTORS)
def test_opening_load_goes_as_head_times_area(
    valve: GuidedPoppet | HingedFlap, factor: float, head_factor: float
) -> None:
    case = ram(valve)
    was = valve.reduced(case.water.density)
    now = scaled(case, factor, head_factor=head_factor).build.waste_valve.reduced(case.water.density)
    by = head_factor * factor**2
    assert now.opening_load_open == pytest.approx(by * was.opening_load_open, rel=1e-9, abs=1e-9)
    assert now.opening_load_shut == pytest.approx(by * was.opening_load_shut, rel=1e-9, abs=1e-9)


@given(POPPETS, FACTORS, FACTORS)
def test_a_poppets_moving_mass_goes_as_its_volume(valve: GuidedPoppet, factor: float, head_factor: float) -> None:
    case = ram(valve)
    was = valve.reduced(case.water.density).effective_mass
    now = scaled(case, factor, head_factor=head_factor).build.waste_valve.reduced(case.water.density).effective_mass
    assert now == pytest.approx(factor**3 * was)


@given(FACTORS, FACTORS)
def test_surge_ratio_and_returns_stay(factor: float, head_factor: float) -> None:
    case = ram(GuidedPoppet(0.2, 0.006, 0.028))
    made = scaled(case, factor, head_factor=head_factor)
    by = scale_factors(factor, head_factor)
    # V a / (g (h - H)) and 2 L / a over the time of a beat
    assert by.velocity * made.wave_speed / case.wave_speed == pytest.approx(by.head)
    assert by.length * case.wave_speed / made.wave_speed == pytest.approx(by.time)
    assert by.flow * by.time == pytest.approx(by.volume)
    assert by.energy == pytest.approx(by.volume * by.head)
    assert math.isinf(made.supply.plan_area)


@given(st.floats(0.6, 1.6), st.floats(0.6, 1.6))
def test_one_after_the_other_is_both_at_once(first: float, second: float) -> None:
    case = replace(ram(GuidedPoppet(0.2, 0.006, 0.028)), vessel_head=None)
    both = scaled(case, first * second)
    one_by_one = scaled(scaled(case, first), second)
    assert one_by_one.build.waste_valve.stroke == pytest.approx(both.build.waste_valve.stroke)
    assert one_by_one.build.waste_valve.mass == pytest.approx(both.build.waste_valve.mass)
    assert one_by_one.build.air_vessel.volume == pytest.approx(both.build.air_vessel.volume)
