"""The kernel's pipe as a pipe: a column stopped dead at the pump's end, against closed forms of water hammer.

The delivery is shut, the waste valve held on its seat from the first step, friction and the body's storage taken
away, and the column set moving: what is left is the frictionless pipe of the closed forms.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from clackwork.pipes import find_pipe
from clackwork.ram import kernel
from clackwork.ram.engine import RamCase, Resolution, pack
from clackwork.ram.parts import AirVessel, Build, DeliveryValve, DrivePipe, GuidedPoppet, Supply

PART = "The kernel's pipe"
LENGTH, WAVE_SPEED = 37.23, 1319.0
RETURN_TIME = 2.0 * LENGTH / WAVE_SPEED
RIG = "closed form; length and wave speed of a rig after Bergant and Simpson 1999"


def stopped_column(
    supply_head: float, velocity: float, vapour_head: float, upper_bore: float = 0.0
) -> NDArray[np.float64]:
    """Time [s] and head at the stopped end [m], float64[2, rows]; with a like pipe of another bore above, or none."""
    build = Build("pipe", GuidedPoppet(mass=0.05, stroke=0.004, seat_bore=0.02), DeliveryValve(0.02), AirVessel(1e-3))
    pipe = DrivePipe(find_pipe("steel-sch40", "1 in"), LENGTH)
    packed = pack(RamCase(build, pipe, Supply(supply_head)), resolution=Resolution(8, 10))
    for name, value in (
        ("wave_speed", WAVE_SPEED),
        ("vapour_head", vapour_head),
        ("entry_loss", -1.0),
        ("friction_factor_scale", 0.0),
        ("unsteady_friction", 0.0),
        ("body_compliance", 0.0),
        ("start_velocity", velocity),
        ("start_opening", 0.0),
        ("load_shut", -1e6),
        ("load_open", -1e6),
        ("wait_shut", 0.3),
        ("upper_length", LENGTH if upper_bore else 0.0),
        ("upper_bore", upper_bore),
        ("upper_wave_speed", WAVE_SPEED),
        ("upper_losses", 8.0),
    ):
        packed[kernel.P[name]] = value
    trace = np.zeros((20000, len(kernel.TRACE_COLUMNS)))
    rows = kernel.simulate(packed, np.zeros(len(kernel.RESULTS)), trace, 1)
    return np.ascontiguousarray(trace[:rows, :2].T)


@pytest.mark.parametrize(("phase", "head"), [(0.5, 58.900), (1.5, 5.100), (2.5, 58.900), (3.5, 5.100)])
def test_instant_closure(phase: float, head: float, record_case: Callable[..., None]) -> None:
    """L 37.23 m, a 1319 m/s, V0 0.2 m/s, H0 32 m."""
    time, found = stopped_column(32.0, 0.2, -1e3)
    computed = float(np.interp(phase * RETURN_TIME, time, found))
    record_case(f"instant closure, head in phase {phase:g} of 2L/a", RIG, head, computed, 1e-4, "m", "FORM")


def test_first_cavity(record_case: Callable[..., None]) -> None:
    """V0 0.30 m/s, H0 22 m, vapour head -10.25 m: first head, collapse, head after it and short pulse."""
    time, head = stopped_column(22.0, 0.30, -10.25)
    step = time[1] - time[0]
    jumps = np.flatnonzero(np.abs(np.diff(head)) > 1.0) + 1
    steps = jumps[np.diff(jumps, prepend=-9) > 2]  # a cavity may close over two steps: one jump
    collapse, pulse, pulse_end = (float(time[i]) for i in steps[1:4])
    for case, published, computed, tolerance, unit in (
        ("first head", 62.350, float(head[1]), 1e-4, "m"),
        ("head in the cavity", -10.25, float(np.interp(1.5 * RETURN_TIME, time, head)), 1e-6, "m"),
        ("collapse", 0.12101, collapse, 2.0 * step / 0.12, "s"),
        ("head after collapse", 46.150, float(head[steps[1] + 3]), 1e-3, "m"),
        ("short pulse begins", 0.16936, pulse, 2.0 * step / 0.17, "s"),
        ("short pulse, 5 H0 - 4 Hv - a V0 / g", 110.650, float(head[steps[2] + 3]), 1e-3, "m"),
        ("short pulse ends", 0.17746, pulse_end, 2.0 * step / 0.18, "s"),
    ):
        record_case(f"first cavity, {case}", RIG, published, computed, tolerance, unit, "FORM")


@pytest.mark.parametrize("upper_bore", [0.020, 0.0409])
def test_waves_meet_another_bore(upper_bore: float, record_case: Callable[..., None]) -> None:
    """Pipe of another bore above: r = (B1 - B2) / (B1 + B2) comes back from the junction, doubled at the dead end.

    Wylie and Streeter, Fluid Transients, waves at a series connection (from memory).
    """
    time, head = stopped_column(40.0, 0.2, -1e3, upper_bore)
    bore = find_pipe("steel-sch40", "1 in").bore
    upper, lower = 1.0 / upper_bore**2, 1.0 / bore**2
    back = (upper - lower) / (upper + lower)
    blow = WAVE_SPEED * 0.2 / 9.80665
    again = head[np.searchsorted(time, 1.5 * RETURN_TIME)]
    source = "closed form of waves at a series connection, Wylie and Streeter (from memory)"
    name = f"{1e3 * upper_bore:g} mm above {1e3 * bore:.1f} mm"
    record_case(f"blow, {name}", source, 40.0 + blow, float(head[1]), 1e-5, "m", "FORM")
    answer = 40.0 + blow * (1.0 + 2.0 * back)
    record_case(f"after the junction's answer, {name}", source, answer, float(again), 1e-4, "m", "FORM")
