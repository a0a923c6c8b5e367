"""Friction, ratings, fatigue, air at high points, standpipe and cost against published values."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest

from clackwork.pipes import custom_pipe, find_pipe
from clackwork.ram.parts import SupplyPipe
from clackwork.ram.pipe_losses import darcy_friction
from clackwork.ram.steady_loss import steady_loss
from clackwork.site.costing import capital_recovery, cost_of_volume
from clackwork.site.fatigue import bowman_cycles, fatigue_of, hoop_stress, vinson_cycles
from clackwork.site.high_points import bury_depth, clearing_velocity
from clackwork.site.line_checks import rating_head
from clackwork.site.standpipe import swing_of_supply
from clackwork.water import water_at

PART = "Checks of a design"
PSI = 6894.757293168
FT = 0.3048

Record = Callable[..., None]


def test_friction_of_a_delivery_line(record_case: Record) -> None:
    # 0.2 L/s, 26.2 mm, 100 m, 7 um, 20 degC; the friction factor and head by another library's Colebrook
    from fluids.friction import friction_factor

    water, bore, flow = water_at(293.15), 0.0262, 2e-4
    velocity = flow / (0.25 * math.pi * bore**2)
    reynolds = velocity * bore / water.kinematic_viscosity
    pipe = custom_pipe(bore, 0.003, "PE100", roughness=7e-6)
    source = "fluids, Colebrook (Clamond's solution)"
    published = float(friction_factor(Re=reynolds, eD=7e-6 / bore))
    record_case("0.2 L/s in 26.2 mm, Reynolds number", "worked out by hand", 9687.0, reynolds, 2e-4, "", "COMP")
    factor = darcy_friction(reynolds, 7e-6 / bore)
    record_case("0.2 L/s in 26.2 mm, friction factor", source, published, factor, 1e-5, "", "COMP")
    record_case("0.2 L/s in 26.2 mm, friction factor, rounded", source, 0.03155, factor, 2e-4, "", "COMP")
    lost = steady_loss(pipe, 100.0, 0.0, flow, water)
    record_case("0.2 L/s in 100 m of 26.2 mm, head lost", source, 0.845, lost, 1e-3, "m", "COMP")


@pytest.mark.parametrize(("flow", "bore", "least", "most"), [(2e-4, 0.0262, 0.77, 0.85), (1e-4, 0.0262, 0.77, 0.85)])
def test_hazen_williams_reads_low(record_case: Record, flow: float, bore: float, least: float, most: float) -> None:
    # Hazen and Williams with C 150, hf = 10.67 L Q^1.852/(C^1.852 D^4.87), over what Colebrook says
    water = water_at(293.15)
    lost = steady_loss(custom_pipe(bore, 0.003, "PE100", roughness=7e-6), 100.0, 0.0, flow, water)
    ratio = 10.67 * 100.0 * flow**1.852 / (150.0**1.852 * bore**4.87) / lost
    source = "Hazen-Williams C 150 at delivery flows of rams: 15 to 23 % low"
    record_case(
        f"{flow * 1e3:g} L/s in {bore * 1e3:g} mm, over Colebrook", source, (least, most), ratio, 0.0, "", "COMP"
    )


@pytest.mark.parametrize(("peak_psi", "cycles"), [(2000.0, 3.224e5)])
def test_vinson(record_case: Record, peak_psi: float, cycles: float) -> None:
    source = "Moser and Folkman, Buried Pipe Design, equation 4.17 (Vinson)"
    record_case(f"PVC, peak stress {peak_psi:g} psi", source, cycles, vinson_cycles(peak_psi * PSI), 1e-3, "cycles")


@pytest.mark.parametrize(("stress_range", "cycles"), [(1.0, 2.85e8), (10.0, 1.2730e5)])
def test_bowman(record_case: Record, stress_range: float, cycles: float) -> None:
    # worked out by hand: 2.85e8 / 10^3.35
    source = "Moser and Folkman, Buried Pipe Design, equation 4.18 (Bowman)"
    computed = bowman_cycles(stress_range * 1e6)
    record_case(f"PVC, range of stress {stress_range:g} MPa", source, cycles, computed, 1e-3, "cycles", "COMP")


def test_beats_of_a_year(record_case: Record) -> None:
    law = fatigue_of(find_pipe("pvc-sch40", "1 in"), 20.0, 20.0, 1.0, water_at())[0]
    source = "60 beats a minute, worked out by hand"
    record_case("cycles a year", source, 31.5e6, law.cycles / law.years, 3e-3, "cycles", "COMP")


@pytest.mark.parametrize(("size", "rating"), [("1/2", 600), ("1", 450), ("2", 280)])
def test_stress_at_the_rating(record_case: Record, size: str, rating: int) -> None:
    pipe = find_pipe("pvc-sch40", f"{size} in")
    stress = hoop_stress(pipe, rating * PSI) / PSI
    source = "ASTM D1785, 2 S t/(D - t) with S 2000 psi, ratings rounded to 10 psi"
    record_case(f"PVC schedule 40, {size} in, hoop stress at its rating", source, 2000.0, stress, 0.01, "psi")


@pytest.mark.parametrize("size", ["32 mm", "63 mm"])
@pytest.mark.parametrize(("series", "bar"), [("pe100-sdr11", 16.0), ("pe100-sdr13.6", 12.5), ("pe100-sdr17", 10.0)])
def test_polyethylene_stress_at_the_rating(record_case: Record, series: str, bar: float, size: str) -> None:
    # the wall is rounded up, so that the stress may only be lower
    stress = hoop_stress(find_pipe(series, size), bar * 1e5) / 1e6
    source = "ISO 4427-2: design stress 8 MPa at PN"
    record_case(f"{series}, {size}, hoop stress at PN", source, (7.2, 8.1), stress, 0.0, "MPa")


def test_rating_as_a_head(record_case: Record) -> None:
    water = water_at(293.15)
    source = "ASTM D1785 table 2 and makers' factor 0.62 at 100 F, over rho g"
    head = rating_head(find_pipe("pvc-sch40", "1 in"), (100 + 459.67) / 1.8, water)
    published = 450.0 * 0.62 * PSI / (water.density * 9.80665)
    record_case("PVC schedule 40, 1 in at 100 F", source, published, head, 1e-4, "m")


PVC_U = {
    "pvc-pn10": {25: 1.5, 32: 1.8, 40: 1.9, 50: 2.4, 63: 3.0, 75: 3.6, 90: 4.3},
    "pvc-pn16": {20: 1.5, 25: 1.9, 32: 2.4, 40: 3.0, 50: 3.7, 63: 4.7, 75: 5.6, 90: 6.7},
}


@pytest.mark.parametrize("series", PVC_U)
def test_metric_pvc_table(record_case: Record, series: str) -> None:
    bar = float(series.removeprefix("pvc-pn"))
    for diameter, wall in PVC_U[series].items():
        pipe = find_pipe(series, f"{diameter} mm")
        record_case(f"{series}, {diameter} mm, wall", "DIN 8062", wall, pipe.wall * 1e3, 1e-9, "mm")
        assert pipe.rating_gauge is not None
        # the wall is rounded up, so that the stress at PN may only be lower than the standard's 10 MPa
        stress = hoop_stress(pipe, bar * 1e5) / 1e6
        source = "DIN 8062: design stress 10 MPa at PN"
        record_case(f"{series}, {diameter} mm, hoop stress at PN", source, (7.5, 10.2), stress, 0.0, "MPa", "MEM")


@pytest.mark.parametrize(
    ("series", "walls"),
    [
        ("pe100-sdr11", {75: 6.8, 90: 8.2}),
        ("pe100-sdr13.6", {25: 2.0, 32: 2.4, 40: 3.0, 50: 3.7, 63: 4.7, 75: 5.6, 90: 6.7}),
        ("pe100-sdr17", {32: 2.0, 40: 2.4, 50: 3.0, 63: 3.8, 75: 4.5, 90: 5.4}),
    ],
)
def test_more_polyethylene(record_case: Record, series: str, walls: dict[int, float]) -> None:
    for diameter, wall in walls.items():
        computed = find_pipe(series, f"{diameter} mm").wall * 1e3
        source = "ISO 4427-2:2007 table 2, as reproduced"
        record_case(f"{series}, {diameter} mm, wall as reproduced", source, wall, computed, 1e-9, "mm")


def test_clearing_velocity(record_case: Record) -> None:
    # sqrt(g D) [0.825 + 0.25 sqrt(sin angle)] by hand: 100 mm at 30 degrees
    source = "Sanks, Pumping Station Design, after Wisner, Mohsen and Kouwen 1975"
    published = 0.99028 * (0.825 + 0.25 * 0.70711)
    record_case("air clears 100 mm at 30 degrees", source, published, clearing_velocity(0.1, 0.5), 1e-4, "m/s")


def test_swing_of_a_standpipe(record_case: Record) -> None:
    # z = v sqrt(L A/(g As)) by hand: 50 m of 50 mm bore at 0.4 m/s into 0.3 m diameter
    feed = SupplyPipe(custom_pipe(0.05, 0.004, "PVC"), 50.0)
    area, pipe_area = 0.25 * math.pi * 0.3**2, 0.25 * math.pi * 0.05**2
    source = "Massoud, Engineering Thermofluids, section IIIb.6: amplitude V d/D sqrt(L/g)"
    published = 0.4 * 0.05 / 0.3 * math.sqrt(50.0 / 9.80665)
    record_case("swing of a standpipe", source, published, swing_of_supply(feed, 0.4 * pipe_area, area), 1e-6, "m")


@pytest.mark.parametrize(
    ("interest", "years", "factor"),
    [(0.035, 10, 0.12024), (0.045, 18, 0.08224), (0.06, 2, 0.54544), (0.08, 12, 0.13270),
     (0.10, 16, 0.12782), (0.10, 18, 0.12193)],
)  # fmt: skip
def test_capital_recovery(record_case: Record, interest: float, years: int, factor: float) -> None:
    source = "ASHRAE Pocket Guide 2013, annual capital recovery factors"
    record_case(f"{interest:.1%}, {years} years", source, factor, capital_recovery(interest, years), 1e-4)


def test_capital_recovery_against_a_worked_example(record_case: Record) -> None:
    # a loan of 300 000 at 5 % over 25 years costs about 21 300 a year
    source = "notes on engineering economy, capital recovery factor"
    record_case("300 000 at 5 % over 25 years", source, 21_300.0, 3e5 * capital_recovery(0.05, 25), 2e-3, "a year")
    per_volume = cost_of_volume(3e5, 0.0, 25.0, 0.05, 100.0)
    record_case("the same over 100 m3 a day", source, 21_300.0 / 36_525.0, per_volume, 2e-3, "a m3", "COMP")


def test_bury_depth(record_case: Record) -> None:
    source = "model plumbing code: 6 in below the frost line, and 12 in of cover at least"
    record_case("cover where it freezes 36 in deep", source, 42.0, bury_depth(36 * 0.0254) / 0.0254, 1e-2, "in")
    record_case("cover where it never freezes", source, 12.0, bury_depth(0.0) / 0.0254, 1e-2, "in")
