"""A pump in another size: what is kept exactly, what is not, and the engine as the judge of both."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from clackwork.errors import InputError
from clackwork.pipes import custom_pipe, find_pipe
from clackwork.ram import kernel
from clackwork.ram.engine import BeatResult, RamCase, Resolution, pack, run_beats, unpack
from clackwork.ram.groups import groups_of
from clackwork.ram.parts import (
    AirVessel,
    Build,
    DeliveryLine,
    DeliveryValve,
    DrivePipe,
    GuidedPoppet,
    HingedFlap,
    Snifter,
    Supply,
    SupplyPipe,
)
from clackwork.ram.scaling import scale_factors, scaled

STEEL = find_pipe("steel-sch40", "1 in")
# Without restitution: the engine takes rebounds slower than a fixed speed for none, which is not to any scale.
POPPET = RamCase(
    Build(
        "poppet",
        GuidedPoppet(0.3, 0.006, 0.028, restitution=0.0),
        DeliveryValve(0.022, slip_volume=2e-6),
        AirVessel(4e-3),
    ),
    DrivePipe(STEEL, 30.0),
    Supply(6.0),
    vessel_head=40.0,
)
FLAP = RamCase(
    Build(
        "flap",
        HingedFlap(0.018, 0.005, 0.016, 0.02, 0.02, material_density=4000.0, restitution=0.0),
        DeliveryValve(0.013, slip_volume=4e-7),
        AirVessel(1e-3),
    ),
    DrivePipe(find_pipe("pvc-sch40", "1/2 in"), 12.2),
    Supply(0.9),
    vessel_head=7.2,
)
GENTLE = replace(POPPET, drive_pipe=DrivePipe(STEEL, 15.0), supply=Supply(3.0), vessel_head=12.0)
"""Beats evenly without friction too; waves that ring on for ever would scatter the beats of others."""
FACTORS = [(2.0, 1.0), (0.5, 1.0), (2.0, 2.0), (1.5, 1.5), (1.7, 0.6), (1.0, 2.0)]


def as_if_alike(case: RamCase, factor: float, head_factor: float, *, friction: bool) -> BeatResult:
    """Run a case in water and pipe that follow its scale: Reynolds number, roughness over bore, outside pressure.

    With the same steps for a wave to run the pipe, whatever the size; what the water in the body gives follows too.
    """
    packed = pack(case, resolution=Resolution(8, 8))
    for name, by in (
        ("kinematic_viscosity", factor * math.sqrt(head_factor)),
        ("pipe_roughness", factor),
        ("atmospheric_head", head_factor),
        ("vapour_head", head_factor),
        ("friction_factor_scale", float(friction)),
        ("unsteady_friction", float(friction)),
        ("body_compliance", 1.0 / head_factor),
    ):
        packed[kernel.P[name]] *= by
    packed[kernel.P["least_beats"]] = 41.0  # waves that ring on make beats differ a little for a long time
    out = np.zeros(len(kernel.RESULTS))
    kernel.simulate(packed, out, np.zeros((0, len(kernel.TRACE_COLUMNS))), 1)
    return unpack(case, packed, out)


def assert_homologous(case: RamCase, factor: float, head_factor: float, friction: bool, within: float) -> None:
    first = as_if_alike(case, 1.0, 1.0, friction=friction)
    made = scaled(case, factor, head_factor=head_factor)
    second = as_if_alike(made, factor, head_factor, friction=friction)
    assert first.state == second.state == "beating"
    by = scale_factors(factor, head_factor)
    for name, expected in (
        ("drawn_flow", by.flow),
        ("delivered_flow", by.flow),
        ("beat_rate", by.beat_rate),
        ("water_per_beat", by.volume),
        ("steady_velocity", by.velocity),
        ("daubuisson_efficiency", 1.0),
        ("rankine_efficiency", 1.0),
    ):
        assert getattr(second, name) == pytest.approx(expected * getattr(first, name), rel=within), name
    assert second.energy.supplied == pytest.approx(by.energy * first.energy.supplied, rel=within)
    was, now = groups_of(case, first), groups_of(made, second)
    assert now.lift_ratio == pytest.approx(was.lift_ratio)
    assert now.loss_factor == pytest.approx(was.loss_factor, rel=1e-4)
    for name in ("velocity_ratio", "surge_ratio", "time_ratio", "return_ratio", "specific_delivery"):
        assert getattr(now, name) == pytest.approx(getattr(was, name), rel=2.0 * within), name


@pytest.mark.parametrize(("factor", "head_factor"), FACTORS)
def test_without_friction_flow_goes_as_length_squared_times_root_of_head(factor: float, head_factor: float) -> None:
    assert_homologous(GENTLE, factor, head_factor, friction=False, within=0.01)


@pytest.mark.parametrize(("factor", "head_factor"), FACTORS)
def test_exact_with_friction_too_where_the_reynolds_number_is_kept(factor: float, head_factor: float) -> None:
    assert_homologous(POPPET, factor, head_factor, friction=True, within=1e-5)


@pytest.mark.parametrize("factor", [0.7, 1.5, 2.0])
def test_a_flap_follows_where_heads_go_with_lengths(factor: float) -> None:
    assert_homologous(FLAP, factor, factor, friction=True, within=0.01)


def test_a_flap_at_the_same_heads_follows_within_a_few_percent() -> None:
    assert_homologous(FLAP, 2.0, 1.0, friction=True, within=0.05)


@pytest.mark.parametrize("case", [POPPET, FLAP], ids=["poppet", "flap"])
@pytest.mark.parametrize("with_heads", [False, True], ids=["same heads", "heads with lengths"])
def test_larger_is_somewhat_more_efficient_in_real_water(case: RamCase, with_heads: bool) -> None:
    made = [scaled(case, f, head_factor=f if with_heads else 1.0) for f in (0.75, 1.0, 2.0, 3.0)]
    results = [run_beats(each) for each in made]
    groups = [groups_of(each, result) for each, result in zip(made, results, strict=True)]
    assert all(each.state == "beating" for each in results)
    assert np.all(np.diff([each.daubuisson_efficiency for each in groups]) > 0.0)
    assert np.all(np.diff([each.loss_factor for each in groups]) < 0.0)
    small, large = groups[1].daubuisson_efficiency, groups[2].daubuisson_efficiency
    assert 1.03 < large / small < 1.4, "twice the size: some percent more, not twice as good"


def test_factor_one_is_the_same_pump() -> None:
    same = scaled(POPPET, 1.0)
    first, second = run_beats(POPPET), run_beats(same)
    assert second.delivered_flow == pytest.approx(first.delivered_flow, rel=1e-6)
    assert scaled(POPPET, 1.0, pipes="catalogue").drive_pipe == POPPET.drive_pipe


def test_opening_load_over_head_times_area_stays() -> None:
    sprung = replace(
        POPPET,
        build=replace(POPPET.build, waste_valve=GuidedPoppet(0.2, 0.006, 0.028, spring_rate=40.0, spring_preload=0.5)),
    )
    for case in (POPPET, sprung, FLAP):
        was = case.build.waste_valve.reduced(case.water.density)
        for factor, head_factor in FACTORS:
            now = scaled(case, factor, head_factor=head_factor).build.waste_valve.reduced(case.water.density)
            by = head_factor * factor**2
            assert now.opening_load_open == pytest.approx(by * was.opening_load_open)
            assert now.opening_load_shut == pytest.approx(by * was.opening_load_shut)


def test_parts_go_by_their_dimension() -> None:
    build = replace(
        FLAP.build,
        waste_valve=replace(FLAP.build.waste_valve, inertia=1e-5, hinge_stiffness=0.01, held_open=1e-4),
        delivery_valve=replace(FLAP.build.delivery_valve, leak_area=1e-7),
        body_air=1e-6,
        snifter=Snifter(0.001),
    )
    supply = Supply(0.9, plan_area=0.5, feed=SupplyPipe(find_pipe("pvc-sch40", "1 in"), 20.0))
    line = DeliveryLine(find_pipe("pe100-sdr11", "20 mm"), 50.0, 7.2, leak_area=1e-7)
    made = scaled(replace(FLAP, build=build, supply=supply, line=line), 2.0, head_factor=3.0, keep_surge_ratio=False)
    valve = made.build.waste_valve
    assert isinstance(valve, HingedFlap) and valve.inertia is not None
    assert (valve.stroke, valve.seat_bore, valve.seat_distance) == pytest.approx((0.01, 0.032, 0.04))
    assert (valve.mass, valve.inertia) == pytest.approx((0.018 * 12.0, 1e-5 * 48.0))
    assert (valve.hinge_stiffness, valve.held_open) == pytest.approx((0.24, 2e-4))
    assert made.build.snifter == Snifter(0.002)
    assert made.build.body_air == pytest.approx(8e-6)
    assert made.build.air_vessel.volume == pytest.approx(8e-3)
    assert made.build.delivery_valve.cracking_head == pytest.approx(0.15)
    assert made.build.delivery_valve.slip_volume == pytest.approx(3.2e-6)
    assert made.build.delivery_valve.leak_area == pytest.approx(4e-7)
    assert (made.supply.fall, made.supply.plan_area) == pytest.approx((2.7, 0.5 * 8.0 / 3.0))
    assert made.supply.feed is not None and made.supply.feed.length == pytest.approx(40.0)
    assert made.line is not None
    assert (made.line.length, made.line.lift, made.line.leak_area) == pytest.approx((100.0, 21.6, 4e-7))
    assert made.vessel_head == pytest.approx(21.6)
    assert made.drive_pipe.pipe.outside_diameter == pytest.approx(2.0 * FLAP.drive_pipe.pipe.outside_diameter)
    assert made.wave_speed_scale == 1.0
    assert made.drive_pipe.pipe.rating_gauge is None, "nobody rated a pipe of this size"


def test_surge_ratio_is_kept_or_let_go() -> None:
    higher = scaled(POPPET, 1.0, head_factor=2.0)
    assert higher.wave_speed == pytest.approx(math.sqrt(2.0) * POPPET.wave_speed)
    free = scaled(POPPET, 1.0, head_factor=2.0, keep_surge_ratio=False)
    assert free.wave_speed == pytest.approx(POPPET.wave_speed)
    with pytest.raises(InputError, match="keep_surge_ratio"):
        scaled(replace(POPPET, wave_speed_scale=2.5), 1.0, head_factor=4.0)


def test_nearest_listed_pipe() -> None:
    twice = scaled(POPPET, 2.0, pipes="catalogue")
    assert twice.drive_pipe.pipe == find_pipe("steel-sch40", "2 in")
    assert twice.wave_speed == pytest.approx(POPPET.wave_speed), "by its scale, whatever the wall"
    assert scaled(POPPET, 2.0, pipes="catalogue", keep_surge_ratio=False).wave_speed_scale == 1.0
    with pytest.raises(InputError, match=r"factor = 3.*nearest"):
        scaled(POPPET, 3.0, pipes="catalogue")
    own = replace(POPPET, drive_pipe=DrivePipe(custom_pipe(0.03, 0.003, "steel"), 30.0))
    with pytest.raises(InputError, match="no catalogue"):
        scaled(own, 2.0, pipes="catalogue")


@pytest.mark.parametrize(
    ("factor", "more", "words"),
    [
        (0.0, {}, "factor = 0"),
        (2.0, {"head_factor": 50.0}, "head_factor = 50"),
        (2.0, {"pipes": "listed"}, "exact, catalogue"),
        (0.15, {}, "bore = "),
    ],
)
def test_what_cannot_be_scaled_says_why(factor: float, more: dict[str, float | str], words: str) -> None:
    with pytest.raises(InputError, match=words):
        scaled(POPPET, factor, **more)  # type: ignore[arg-type]
