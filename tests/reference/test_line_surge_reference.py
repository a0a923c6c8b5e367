"""The delivery line as an elastic pipe against closed forms of water hammer, and its convergence as steps are halved."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from functools import partial

import numpy as np
import pytest
from published_hammer import (
    ALLIEVI_HIGHEST,
    ALLIEVI_SOURCE,
    FIRST_CAVITY,
    LENGTH,
    SUDDEN_HIGH,
    SUDDEN_LOW,
    SUDDEN_REFLECTION,
    WAVE_SPEED,
)
from scipy.optimize import brentq

from clackwork.pipes import find_pipe
from clackwork.ram.engine import Resolution
from clackwork.ram.line_surge import LineSurge, line_surge
from clackwork.ram.parts import STANDARD_GRAVITY, AirVessel, DeliveryLine
from clackwork.water import water_at

PART = "Delivery line surge"
RETURN_TIME = 2.0 * LENGTH / WAVE_SPEED
RIG = "closed form; length and wave speed of a rig after Bergant and Simpson 1999"
PIPE = find_pipe("steel-sch40", "1 in")
AREA = 0.25 * math.pi * PIPE.bore**2
LEVEL = DeliveryLine(PIPE, LENGTH, 0.0)
WATER = water_at()
frictionless = partial(
    line_surge, LEVEL, wave_speed=WAVE_SPEED, friction_scale=0.0, unsteady_friction=0.0, cavity_gas=0.0
)
"""All of the head is lost in the valve, as the closed forms have it; cavities hold vapour alone."""


def test_instant_closure(record_case: Callable[..., None]) -> None:
    """L 37.23 m, a 1319 m/s, V0 0.2 m/s, H0 32 m: the head at the valve by halves of its swing."""
    surge = frictionless(WATER, flow=0.2 * AREA, closing_time=0.0, valve_drop=32.0)
    for turn, head in enumerate([SUDDEN_HIGH, SUDDEN_LOW] * 2):
        phase = turn + 0.5
        found = float(np.interp(phase * RETURN_TIME, surge.trace.time, surge.trace.valve_head))
        record_case(f"instant closure, head in phase {phase:g} of 2L/a", RIG, head, found, 1e-4, "m", "FORM")
    record_case("instant closure, half a period", RIG, SUDDEN_REFLECTION, 0.5 * surge.period, 1e-4, "s", "FORM")
    middle = [float(np.interp(t * RETURN_TIME, surge.trace.time, surge.trace.middle_head)) for t in (0.2, 0.5, 0.9)]
    assert middle == pytest.approx([32.0, surge.peak_head, 32.0], abs=1e-6)
    assert not surge.boils


@pytest.mark.parametrize(("rho", "theta", "highest"), ALLIEVI_HIGHEST)
def test_linear_closure(record_case: Callable[..., None], rho: float, theta: float, highest: float) -> None:
    still = 1.5
    velocity = 2.0 * rho * STANDARD_GRAVITY * still / WAVE_SPEED
    surge = frictionless(WATER, flow=velocity * AREA, closing_time=theta * RETURN_TIME, valve_drop=still)
    case = f"line shut evenly, rho {rho:g}, theta {theta:g}"
    record_case(case, ALLIEVI_SOURCE, highest, surge.peak_head / still, 5e-5, "H/H0", "FORM")


def test_first_cavity(record_case: Callable[..., None]) -> None:
    """V0 0.30 m/s, H0 22 m, vapour head -10.25 m: first head, collapse, head after it and short pulse."""
    dry = replace(WATER, vapour_head_gauge=-10.25)
    surge = frictionless(dry, flow=0.30 * AREA, closing_time=0.0, valve_drop=22.0, duration=0.185)
    time, head = surge.trace.time, surge.trace.valve_head
    collapse, pulse, pulse_end = (
        float(time[np.argmax((time > after) & good)])
        for after, good in ((0.06, head > 0.0), (0.13, head > 80.0), (0.1735, head < 80.0))
    )
    for case, published, computed, tolerance, unit in (
        ("first head", FIRST_CAVITY["first head"], float(head[1]), 1e-4, "m"),
        ("head in the cavity", -10.25, float(np.interp(1.5 * RETURN_TIME, time, head)), 1e-6, "m"),
        ("collapse", FIRST_CAVITY["collapse"], collapse, 2e-3, "s"),
        ("head after collapse", FIRST_CAVITY["head after collapse"], float(np.interp(0.13, time, head)), 1e-3, "m"),
        ("short pulse begins", FIRST_CAVITY["pulse begins"], pulse, 2e-3, "s"),
        ("short pulse, 5 H0 - 4 Hv - a V0 / g", FIRST_CAVITY["pulse"], surge.peak_head, 1e-3, "m"),
        ("short pulse ends", FIRST_CAVITY["pulse ends"], pulse_end, 2e-3, "s"),
    ):
        record_case(f"first cavity in the line, {case}", RIG, published, computed, tolerance, unit, "FORM")
    assert surge.boils
    assert surge.cavity_place == LENGTH


@pytest.mark.parametrize("litres", [0.02, 0.1, 1.0])
def test_swing_of_a_shut_line_on_a_vessel(record_case: Callable[..., None], litres: float) -> None:
    """A line shut at its far end on air of compliance C swings at tan(w L/a) = -w C a/(g A): a quarter wave on much air,
    half a wave on none."""
    outside = WATER.atmospheric_pressure_abs / (WATER.density * STANDARD_GRAVITY)
    vessel = AirVessel(1e-3 * litres, precharge_gauge=20.0 * WATER.density * STANDARD_GRAVITY, polytropic_index=1.0)
    air = vessel.volume * (20.0 + outside) / (40.0 + outside)
    stiffness = air / (40.0 + outside) * WAVE_SPEED**2 / (STANDARD_GRAVITY * AREA * LENGTH)
    angle = brentq(lambda x: math.sin(x) + x * stiffness * math.cos(x), 0.5 * math.pi + 1e-9, math.pi - 1e-9)
    surge = frictionless(
        WATER,
        flow=0.002 * AREA,
        closing_time=4.0 * RETURN_TIME,
        valve_drop=40.0,
        vessel=vessel,
        shut_off_head=40.002,
        duration=20.0 * RETURN_TIME,
        resolution=Resolution(31, 32),
    )
    period = math.pi * RETURN_TIME / angle
    source = "impedance of an elastic pipe in closed form (Wylie and Streeter; from memory)"
    record_case(f"period of a shut line on {litres:g} L of vessel", source, period, surge.period, 0.01, "s", "FORM")


STEEP = DeliveryLine(find_pipe("pe100-sdr11", "32 mm"), 300.0, 40.0)
LONG = DeliveryLine(find_pipe("pe100-sdr11", "32 mm"), 2000.0, 60.0)
VESSEL = {"vessel": AirVessel(0.01), "shut_off_head": 70.0}


@pytest.mark.parametrize(
    ("name", "surge"),
    [
        ("300 m of polyethylene, shut at once", partial(line_surge, STEEP, WATER, flow=2e-4, closing_time=0.0)),
        ("300 m of polyethylene, in 5 s", partial(line_surge, STEEP, WATER, flow=2e-4, closing_time=5.0)),
        ("the same on a vessel", partial(line_surge, STEEP, WATER, flow=2e-4, closing_time=5.0, **VESSEL)),
        ("2 km of polyethylene, in 10 s", partial(line_surge, LONG, WATER, flow=2e-4, closing_time=10.0)),
    ],
)
def test_halving_the_step(name: str, surge: Callable[..., LineSurge]) -> None:
    """The rise to the peak moves less than 1 % as losses and step are halved, and no more in the next halving."""
    coarse, fine, finest = (surge(resolution=Resolution(n, 8)) for n in (31, 63, 127))
    rise = finest.peak_head - finest.start_head
    first, second = abs(fine.peak_head - coarse.peak_head), abs(finest.peak_head - fine.peak_head)
    assert first < 0.01 * rise, name
    assert second < max(first, 0.002 * rise), name
    assert coarse.period == pytest.approx(finest.period, rel=0.02)
