"""The engine where nearly nothing is lost, against the closed forms of the ram without losses and the rigid column.

Friction, entry and velocity head at the entry are taken away, the open waste valve passes water with next to no head
and moves in a fraction of a wave's return, and the column is stopped in a hundred returns or more: what the
remainder of the last return does to a beat then shows no more. Falls are low, so that this takes no wave speed but that
of steel.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from clackwork import rigid
from clackwork.pipes import find_pipe
from clackwork.ram import kernel
from clackwork.ram.engine import BeatResult, RamCase, Resolution, pack, set_waits, unpack
from clackwork.ram.parts import AirVessel, Build, DeliveryValve, DrivePipe, GuidedPoppet, Supply

FloatArray = NDArray[np.float64]
PART = "The engine without losses"
IDEAL = "ram without losses: column accelerated by H, stopped by h - H"
COLUMN = "rigid column with losses as the square of the velocity"
PIPE = find_pipe("steel-sch40", "1 in")
STROKE = 0.003
WAVE_SPEED = 1400.0
OPEN_VALVE_DISCHARGE = 30.0
"""Coefficient far beyond that of any opening: the open valve costs 2 % of a velocity head."""


def open_valve_loss() -> float:
    """Loss of the open valve in velocity heads of the pipe, its seat as wide as the pipe."""
    ratio = 4.0 * STROKE / PIPE.bore
    return (1.0 + ratio**2) / (ratio**2 * OPEN_VALVE_DISCHARGE**2)


def closing_load(velocity: float, density: float) -> float:
    """Load of the head in front of the open valve on a disc as wide as its seat [N], from [m/s] and [kg/m3]."""
    return density * rigid.bore_area(PIPE.bore) * open_valve_loss() * velocity**2 / 2.0


def packed_ram(fall: float, lift: float, length: float, velocity: float, loss: float) -> tuple[RamCase, FloatArray]:
    """A ram whose waste valve begins to shut at ``velocity``; ``loss`` is spent at the mouth of its pipe."""
    poppet = GuidedPoppet(0.01, STROKE, PIPE.bore, damping=0.0, restitution=0.0, closing_coefficient=1.0)
    build = Build("ideal", poppet, DeliveryValve(0.1, loss_coefficient=0.1, cracking_head=0.0), AirVessel(1e-2))
    case = RamCase(build, DrivePipe(PIPE, length), Supply(fall), vessel_head=lift)
    packed = pack(case, resolution=Resolution(8, 8))
    load = closing_load(velocity, case.water.density)
    quick = 0.5 * length / WAVE_SPEED  # [s] over the stroke under its own load
    for name, value in (
        ("wave_speed", WAVE_SPEED),
        ("friction_factor_scale", 0.0),
        ("unsteady_friction", 0.0),
        ("body_compliance", 0.0),
        ("entry_loss", loss - 1.0),
        ("discharge_coefficient", OPEN_VALVE_DISCHARGE),
        ("delivery_loss", 0.01),
        ("load_shut", load),
        ("load_open", load),
        ("effective_mass", load * quick**2 / (2.0 * STROKE)),
    ):
        packed[kernel.P[name]] = value
    set_waits(packed[np.newaxis, :])
    return case, packed


def ram(fall: float, lift: float, length: float, velocity: float, loss: float = 0.0) -> BeatResult:
    """Its settled beats."""
    case, packed = packed_ram(fall, lift, length, velocity, loss)
    out = np.zeros(len(kernel.RESULTS))
    kernel.simulate(packed, out, np.zeros((0, len(kernel.TRACE_COLUMNS))), 1)
    return unpack(case, packed, out)


# fall, lift, length [m], velocity at which the valve begins to shut [m/s]. Others, such as H 0.5 m, h 1.5 m, L 20 m at
# 2 m/s, stay shut: where nothing is lost the last return may leave less than the fall to ring in the pipe for ever.
IDEAL_RAMS = [
    (0.3, 0.9, 5.0, 2.0),
    (0.5, 1.5, 5.0, 2.5),
    (0.5, 1.5, 20.0, 1.0),
    (0.4, 2.0, 20.0, 1.5),
    (0.3, 2.4, 20.0, 2.5),
    (0.3, 2.4, 80.0, 2.0),
]


@pytest.mark.parametrize(("fall", "lift", "length", "velocity"), IDEAL_RAMS)
def test_without_losses(
    fall: float, lift: float, length: float, velocity: float, record_case: Callable[..., None]
) -> None:
    result = ram(fall, lift, length, velocity)
    assert result.state == "beating"
    closing = result.closing_velocity
    for what, ideal, computed, tolerance in (
        ("d'Aubuisson", 1.0, result.daubuisson_efficiency, 0.005),
        ("Rankine", 1.0, result.rankine_efficiency, 0.005),
        (
            "beats over g H (h - H)/(L Vc h)",
            rigid.ideal_beat_rate(fall, lift, length, closing),
            result.beat_rate,
            0.015,
        ),
        ("drawn over A Vc/2", rigid.ideal_drawn_flow(PIPE.bore, closing), result.drawn_flow, 0.015),
        (
            "delivered over A Vc H/(2 h)",
            rigid.ideal_delivered_flow(PIPE.bore, closing, fall, lift),
            result.delivered_flow,
            0.015,
        ),
    ):
        case = f"H {fall:g} m, h {lift:g} m, L {length:g} m, Vc {velocity:g} m/s: {what}"
        record_case(case, IDEAL, 1.0, shown(computed / ideal), tolerance, "", "FORM")


def shown(value: float) -> float:
    """Four digits: the last ones differ from machine to machine."""
    return float(f"{value:.4g}")


def test_flows_do_not_know_the_length(record_case: Callable[..., None]) -> None:
    short, middle, long = (ram(0.4, 2.0, length, 2.0) for length in (5.0, 20.0, 80.0))
    for other, length, times in ((short, 5.0, 0.25), (long, 80.0, 4.0)):
        for what, expected, computed in (
            ("flow drawn", 1.0, other.drawn_flow / middle.drawn_flow),
            ("flow delivered", 1.0, other.delivered_flow / middle.delivered_flow),
            ("beats", 1.0 / times, other.beat_rate / middle.beat_rate),
            ("water per beat", times, other.water_per_beat / middle.water_per_beat),
        ):
            case = f"L {length:g} m over L 20 m: {what}"
            record_case(case, IDEAL, expected, shown(computed), 0.015, "", "FORM")


@pytest.mark.parametrize("share", [0.5, 0.7, 0.8, 0.9, 0.95, 0.98])
def test_waste_per_beat_of_a_column_with_losses(share: float, record_case: Callable[..., None]) -> None:
    loss = 0.5 + open_valve_loss()
    terminal = rigid.terminal_velocity(0.4, loss)
    result = ram(0.4, 4.8, 5.0, share * terminal, loss=0.5)
    assert result.state == "beating"
    assert result.steady_velocity == pytest.approx(terminal, rel=1e-6)
    waste = rigid.waste_volume_per_beat(PIPE.bore, 5.0, 0.4, loss, result.closing_velocity)
    case = f"waste per beat over -(A L/M) ln(1 - (Vc/V8)^2), Vc {share:g} V8"
    record_case(case, COLUMN, 1.0, shown(result.water_per_beat / waste), 0.02, "", "FORM")


def test_closing_velocity_above_the_steady_one_is_never_reached(record_case: Callable[..., None]) -> None:
    terminal = rigid.terminal_velocity(0.4, 0.5 + open_valve_loss())
    below, above = (ram(0.4, 4.8, 5.0, share * terminal, loss=0.5) for share in (0.99, 1.01))
    assert below.state in ("beating", "irregular", "stalled shut"), "the valve did shut"
    assert above.state == "stalled open"
    case = "a valve that would shut at 1.01 V8 stands open: velocity it comes to over V8"
    record_case(case, COLUMN, 1.0, shown(above.closing_velocity / terminal), 0.003, "", "FORM")


@pytest.mark.parametrize(("share", "time"), [(0.25, 0.5766), (0.50, 1.2401), (0.75, 2.1966)])
def test_starting_up(share: float, time: float, record_case: Callable[..., None]) -> None:
    """L 15 m, H 2 m, M 1 + 0.5 + 0.02 x 15 / 0.1: the engine's water from rest, its valve too heavy to shut."""
    _, packed = packed_ram(2.0, 4.0, 15.0, 100.0, 4.5 - open_valve_loss())
    trace = np.zeros((40000, len(kernel.TRACE_COLUMNS)))
    rows = kernel.simulate(packed, np.zeros(len(kernel.RESULTS)), trace, 1)
    times, velocities = trace[:rows, 0], trace[:rows, 2]
    near = np.abs(times - time) <= 2.0 * 15.0 / WAVE_SPEED  # a whole number of returns: their steps average out
    reached = float(velocities[near].mean()) / rigid.terminal_velocity(2.0, 4.5)
    source = "Daugherty & Franzini, Fluid Mechanics, example 13.3"
    record_case(f"starting up, share of steady flow at {time:g} s", source, share, shown(reached), 0.004)
