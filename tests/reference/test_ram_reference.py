"""The engine against published figures and the facts of the trade."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from clackwork.pipes import find_pipe
from clackwork.ram.engine import RamCase, run_beats, shut_off_head
from clackwork.ram.operating import line_head, operating_point
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
from clackwork.ram.pipe_losses import darcy_friction
from clackwork.water import water_at


def metal_ram(mass: float = 0.3, stroke: float = 0.006) -> RamCase:
    """A 25 mm metal ram on 6 m of fall and 30 m of steel pipe against 40 m; invented."""
    poppet = GuidedPoppet(mass=mass, stroke=stroke, seat_bore=0.028)
    build = Build("metal", poppet, DeliveryValve(0.022), AirVessel(4e-3))
    return RamCase(build, DrivePipe(find_pipe("steel-sch40", "1 in"), 30.0), Supply(6.0), vessel_head=40.0)


def half_inch_ram(mass: float, fall: float = 0.9) -> RamCase:
    """A half-inch ram on 12.2 m of half-inch PVC; invented."""
    flap = HingedFlap(
        mass=mass, stroke=0.005, seat_bore=0.016, mass_distance=0.02, seat_distance=0.02, material_density=4000.0
    )
    build = Build("half inch", flap, DeliveryValve(0.013), AirVessel(1e-3))
    return RamCase(build, DrivePipe(find_pipe("pvc-sch40", "1/2 in"), 12.2), Supply(fall), vessel_head=8.0 * fall)


def test_metal_ram_is_as_efficient_as_published_tables_imply() -> None:
    """USAID Water for the World RWS.4.D.5 implies 0.45-0.75 for r 3-12 of a sensibly tuned pump."""
    tuned = []
    for mass in np.linspace(0.12, 0.26, 8):
        result = run_beats(metal_ram(float(mass)))
        if result.state == "beating" and 45.0 <= 60.0 * result.beat_rate <= 75.0:
            tuned.append(result.daubuisson_efficiency)
    assert tuned
    assert 0.45 <= float(np.median(tuned)) <= 0.75


def test_faster_smaller_beats_are_more_efficient_and_deliver_less() -> None:
    """Common practice, no published source."""
    slow, fast = run_beats(metal_ram(0.25)), run_beats(metal_ram(0.10))
    assert fast.beat_rate > slow.beat_rate
    assert fast.daubuisson_efficiency > slow.daubuisson_efficiency
    assert fast.delivered_flow < slow.delivered_flow


def test_heavier_flap_draws_more_pushes_higher_and_at_last_stands_open() -> None:
    """Common practice, no published source."""
    light, heavy = run_beats(half_inch_ram(0.012)), run_beats(half_inch_ram(0.02))
    assert heavy.drawn_flow > light.drawn_flow
    assert shut_off_head(half_inch_ram(0.02)) > shut_off_head(half_inch_ram(0.012))
    assert run_beats(half_inch_ram(0.08)).state == "stalled open"


def test_draws_more_with_the_delivery_open_than_shut() -> None:
    """Common practice, no published source; with the delivery shut the recoil gives water back to the supply."""
    case = half_inch_ram(0.02)
    assert run_beats(case).drawn_flow > run_beats(replace(case, vessel_head=None)).drawn_flow


def test_plastic_pipe_lowers_the_shut_off_head() -> None:
    """Follows from Joukowsky 1898: the rise goes with the wave speed."""
    steel = metal_ram(0.2)
    plastic = replace(steel, drive_pipe=DrivePipe(find_pipe("pvc-sch40", "1 in"), 30.0))
    assert 0.25 < shut_off_head(plastic) / shut_off_head(steel) < 0.55


@pytest.mark.parametrize("seed", range(30))
def test_what_goes_in_comes_out_and_no_more_is_lifted_than_falls(seed: int) -> None:
    rng = np.random.default_rng([7, seed])
    case = replace(metal_ram(rng.uniform(0.1, 0.5), rng.uniform(0.003, 0.008)), vessel_head=rng.uniform(12.0, 60.0))
    result = run_beats(case)
    if result.state != "beating":
        return
    assert result.drawn_flow == pytest.approx(result.waste_flow + result.delivered_flow, rel=0.01)
    assert result.rankine_efficiency <= result.daubuisson_efficiency <= 1.0


def test_operating_point_meets_the_full_run_with_vessel_and_line() -> None:
    line = DeliveryLine(find_pipe("pe100-sdr11", "25 mm"), 120.0, 36.0)
    case = replace(metal_ram(0.25), line=line, vessel_head=None)
    point = operating_point(case)
    assert point.vessel_head == pytest.approx(line_head(line, point.delivered_flow, water_at()), rel=2e-3)
    full = run_beats(replace(case, vessel_head=point.vessel_head))
    assert full.delivered_flow == pytest.approx(point.delivered_flow, rel=0.03)


@pytest.mark.parametrize("roughness", [0.0, 1e-4, 2e-3, 2e-2])
def test_friction_meets_a_general_library(roughness: float) -> None:
    """Colebrook by the `fluids` library (exact Clamond solution)."""
    from fluids.friction import Clamond

    for reynolds in np.geomspace(4000.0, 1e7, 12):
        assert darcy_friction(float(reynolds), roughness) == pytest.approx(
            Clamond(float(reynolds), roughness), rel=1e-5
        )


def test_friction_head_of_a_delivery_pipe() -> None:
    """0.2 L/s, 26.2 mm, 100 m, 7 um, 20 degC -> f 0.03155, 0.845 m (computed with `fluids`)."""
    pipe = replace(find_pipe("pe100-sdr11", "32 mm"), bore=0.0262, roughness=7e-6)
    head = line_head(DeliveryLine(pipe, 100.0, 0.0), 2e-4, water_at(293.15))
    assert head == pytest.approx(0.845, rel=0.003)


def test_start_up_of_the_column() -> None:
    """Daugherty and Franzini ex. 13.3: 25/50/75 % of the final velocity at 0.5766, 1.2401, 2.1966 s (fixed friction)."""
    from clackwork.rigid import terminal_velocity, time_constant, velocity_at

    loss = 1.0 + 0.5 + 0.02 * 15.0 / 0.1
    final = terminal_velocity(2.0, loss, 9.81)
    scale = time_constant(15.0, 2.0, final, 9.81)
    for share, time in ((0.25, 0.5766), (0.5, 1.2401), (0.75, 2.1966)):
        assert velocity_at(time, final, scale) / final == pytest.approx(share, rel=0.004)
    assert math.isfinite(final)
