"""The delivery line as an elastic pipe: its surge when the valve at the tank shuts.

Delay lines joined by lumped losses, as the drive pipe of the kernel (:mod:`clackwork.ram.pipe_losses`), between an air
vessel or a held head at the pump and a valve at the outlet. Heads are metres above the datum at the pump.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from clackwork.errors import InputError, ModelError, require_range
from clackwork.hammer import Anchoring, joukowsky_head, pipe_wave_speed, reflection_time
from clackwork.ram.engine import Resolution
from clackwork.ram.line_steps import (
    BOIL_MARGIN,
    CAVITY,
    HIGHEST,
    LOWEST,
    STEADY,
    SURGE_COLUMNS,
    SURGE_PARAMETERS,
    step_surge,
)
from clackwork.ram.parts import STANDARD_GRAVITY, AirVessel, DeliveryLine
from clackwork.water import Water

FloatArray = NDArray[np.float64]

_LEAST_LOSSES = 31  # odd, so that one stands in the middle
_MOST_LOSSES = 201
_LOSS_SHARE = 0.1  # of a lump's loss in the head a V/g of the flow; one substitution of its friction then serves
_STEPS_PER_HALF = 8
_SLOWEST_CLOSING = 1000.0  # in reflections, as for a closing in closed form
_LONGEST = 3000.0  # in reflections
_REFLECTIONS_FOLLOWED = 10.0
_TRACE_ROWS = 20000
CAVITY_GAS = 1e-7
"""Share of the water, at outside pressure, that is free gas: what lets cavities collapse without false spikes (Wylie and
Streeter, Fluid Transients, discrete gas cavities; from memory)."""
_LEAST_SWING = 1e-3  # [m]
_LEAST_CAVITY = 1e-12  # [m3]


@dataclass(frozen=True, eq=False)
class SurgeTrace:
    """Values along time, float64[rows] each.

    Attributes
    ----------
    time : array
        From the moment the valve begins to shut [s].
    vessel_head, middle_head, valve_head : array
        At the pump, halfway along and before the valve [m above datum].
    vessel_flow, valve_flow : array
        Into the line and out of it [m3/s].
    opening : array
        Share of the valve's open area.
    cavity_volume : array
        Of all vapour in the line [m3].
    """

    time: FloatArray
    vessel_head: FloatArray
    middle_head: FloatArray
    valve_head: FloatArray
    vessel_flow: FloatArray
    valve_flow: FloatArray
    opening: FloatArray
    cavity_volume: FloatArray


@dataclass(frozen=True, eq=False)
class LineSurge:
    """What the delivery line bears when the valve at its outlet shuts.

    Attributes
    ----------
    wave_speed : float
        [m/s]
    reflection_time : float
        A wave's way to the far end and back [s]; quicker closings are as bad as a sudden one.
    joukowsky_rise : float
        Rise if the flow stopped at once, a V/g [m].
    start_head : float
        In the vessel, in steady flow [m above datum].
    peak_head, peak_place : float
        Highest head anywhere [m above datum] and its distance from the pump [m].
    first_peak_time : float
        When the head at the valve first comes within a hundredth of its highest rise [s].
    period : float
        Of the swing left after the closing, at the valve [s]; 0 when it does not swing.
    highest_pressure_head, highest_place : float
        Most that a piece of the line has to bear: head over its own height [m of water, gauge], and its distance [m].
    lowest_pressure_head, lowest_place : float
        Least: below zero the line sucks [m of water, gauge], and its distance [m].
    boils : bool
        Whether the head came down to vapour head and the column parted. What follows a collapse is less certain.
    cavity_volume, cavity_place : float
        Most vapour at any time, all along the line [m3], and the distance of the largest cavity [m]; 0 when the water
        does not boil.
    distances, heights : float64[places]
        From the pump to the valve, at the middle of each stretch between and at the points of the route [m]; heights
        above datum [m].
    steady_heads, highest_heads, lowest_heads : float64[places]
        Before the closing and the envelope after it [m above datum].
    trace : SurgeTrace
    """

    wave_speed: float
    reflection_time: float
    joukowsky_rise: float
    start_head: float
    peak_head: float
    peak_place: float
    first_peak_time: float
    period: float
    highest_pressure_head: float
    highest_place: float
    lowest_pressure_head: float
    lowest_place: float
    boils: bool
    cavity_volume: float
    cavity_place: float
    distances: FloatArray
    heights: FloatArray
    steady_heads: FloatArray
    highest_heads: FloatArray
    lowest_heads: FloatArray
    trace: SurgeTrace


def _choose_resolution(line: DeliveryLine, flow: float, wave_speed: float) -> Resolution:
    """Losses enough that each is small beside the head a V/g; an odd number, so that one stands in the middle."""
    velocity = flow / (0.25 * math.pi * line.pipe.bore**2)
    # friction factor of 0.05, more than any sound pipe has at flows that make a surge
    losses = (0.05 * line.length / line.pipe.bore + line.fittings_loss) * velocity**2 / (2.0 * STANDARD_GRAVITY)
    needed = math.ceil(losses / (_LOSS_SHARE * joukowsky_head(wave_speed, velocity)))
    return Resolution(min(max(needed, _LEAST_LOSSES), _MOST_LOSSES) // 2 * 2 + 1, _STEPS_PER_HALF)


def _route_points(line: DeliveryLine, route: Sequence[tuple[float, float]] | None) -> FloatArray:
    """Distances and heights of the points between which the line runs straight [m], float64[2, points]."""
    points = np.array(route or ((0.0, 0.0), (line.length, line.lift)), dtype=float).reshape(-1, 2).T
    along, up = points
    ends = len(along) >= 2 and along[0] == 0.0 and np.isclose(along[-1], line.length) and np.isclose(up[-1], line.lift)
    if not ends or np.any(np.diff(along) <= 0.0) or not np.all(np.isfinite(up)):
        raise InputError(
            "route",
            [(float(x), float(z)) for x, z in zip(along, up, strict=True)],
            f"its distances must rise from 0 to the line's length of {line.length:g} m, and it must end at the lift "
            f"of {line.lift:g} m",
            "Give pairs of distance from the pump and height above the spill level, in metres.",
        )
    return points


def _boiling_heads(points: FloatArray, places: FloatArray, vapour_head: float) -> FloatArray:
    """Vapour head at each place, taken at the highest point of its stretch [m above datum]."""
    along, up = points
    heights = np.interp(places, along, up)
    n = len(places) - 2
    stretch = np.minimum(along / along[-1] * n, n - 1).astype(int)
    np.maximum.at(heights, stretch[1:-1] + 1, up[1:-1])
    return heights + vapour_head


def _swing_period(time: FloatArray, head: FloatArray, closing_time: float) -> float:
    """Time between the first two falls of the head from well above its mean to well below [s]; 0 with fewer."""
    after = time >= closing_time
    late = head[after][int(after.sum()) // 2 :]
    if not len(late) or np.ptp(late) < _LEAST_SWING:
        return 0.0
    swing = head[after] - late.mean()
    side = np.where(np.abs(swing) > 0.125 * np.ptp(late), np.sign(swing), 0.0)
    outside = np.flatnonzero(side)
    falls = outside[1:][np.diff(side[outside]) < 0.0]
    return float(time[after][falls[1]] - time[after][falls[0]]) if len(falls) > 1 else 0.0


def _first_peak_time(time: FloatArray, head: FloatArray, steady_head: float) -> float:
    """When the head first comes within a hundredth of its highest rise [s]."""
    return float(time[int(np.argmax(head >= steady_head + 0.99 * (head.max() - steady_head)))])


def _line_values(
    line: DeliveryLine, water: Water, flow: float, wave_speed: float, resolution: Resolution
) -> dict[str, float]:
    """Parameters that the line, its flow and the resolution set; the gas as if all of the line were filled with it."""
    if line.leak_area > 0.0:
        raise ModelError("The surge is worked out for a sound delivery line: take away its leak.")
    n, half = resolution.losses, resolution.steps_per_half
    if n % 2 == 0 or n < 1:
        raise InputError("resolution.losses", n, "it must be an odd number", "One loss stands in the middle.")
    area = 0.25 * math.pi * line.pipe.bore**2
    outside = water.atmospheric_pressure_abs / (water.density * STANDARD_GRAVITY)
    return {
        "impedance": wave_speed / (STANDARD_GRAVITY * area),
        "time_step": line.length / wave_speed / (2.0 * n * half),
        "losses": float(n),
        "steps_per_half": float(half),
        "flow": flow,
        "bore": line.pipe.bore,
        "roughness": line.pipe.roughness,
        "viscosity": water.kinematic_viscosity,
        "stretch_over_g": line.length / n / STANDARD_GRAVITY,
        "fittings": line.fittings_loss / n / (2.0 * STANDARD_GRAVITY * area**2),
        "lift": line.lift,
        "gas": area * line.length / n * outside,
        "atmospheric_head": outside,
    }


def _vessel_values(vessel: AirVessel | None, shut_off_head: float | None, water: Water) -> dict[str, float]:
    """Parameters of the pump's end; no volume holds the head."""
    if vessel is None:
        return {"vessel_volume": 0.0, "precharge_head_abs": 1.0, "polytropic_index": 1.0, "shut_off_head": 0.0}
    if shut_off_head is None:
        raise InputError(
            "shut_off_head",
            "none",
            "a vessel needs one, for the pump gives on while the valve shuts",
            "Work it out with clackwork.ram.engine.shut_off_head.",
        )
    precharge = vessel.precharge_gauge + water.atmospheric_pressure_abs
    return {
        "vessel_volume": vessel.volume,
        "precharge_head_abs": precharge / (water.density * STANDARD_GRAVITY),
        "polytropic_index": vessel.polytropic_index,
        "shut_off_head": shut_off_head,
    }


def _report(
    speed: float, values: dict[str, float], places: FloatArray, points: FloatArray, vapour_head: float,
    envelope: FloatArray, trace: FloatArray,
) -> LineSurge:  # fmt: skip
    """What :func:`line_surge` returns, from what the steps filled in; points of the route are read between places."""
    distances = np.union1d(places, points[0])
    heights = np.interp(distances, *points)
    highest, lowest, steady = (np.interp(distances, places, envelope[row]) for row in (HIGHEST, LOWEST, STEADY))
    lowest = np.maximum(lowest, np.minimum(heights + vapour_head, steady))
    if np.any(steady - heights <= vapour_head):
        raise ModelError("The line boils at its high point before the valve shuts: lower it, or raise valve_drop.")
    over, under, cavity = highest - heights, lowest - heights, envelope[CAVITY]
    peak, most, least, worst = (int(x) for x in (highest.argmax(), over.argmax(), under.argmin(), cavity.argmax()))
    boils = bool(cavity[worst] > values["gas"] / BOIL_MARGIN + _LEAST_CAVITY)
    kept = SurgeTrace(*(np.ascontiguousarray(column) for column in trace.T))
    return LineSurge(
        wave_speed=speed,
        reflection_time=reflection_time(float(distances[-1]), speed),
        joukowsky_rise=values["impedance"] * values["flow"],
        start_head=float(steady[0]),
        peak_head=float(highest[peak]),
        peak_place=float(distances[peak]),
        first_peak_time=_first_peak_time(kept.time, kept.valve_head, float(steady[-1])),
        period=_swing_period(kept.time, kept.valve_head, values["closing_time"]),
        highest_pressure_head=float(over[most]),
        highest_place=float(distances[most]),
        lowest_pressure_head=float(under[least]),
        lowest_place=float(distances[least]),
        boils=boils,
        cavity_volume=float(kept.cavity_volume.max()) if boils else 0.0,
        cavity_place=float(places[worst]) if boils else 0.0,
        distances=distances,
        heights=heights,
        steady_heads=steady,
        highest_heads=highest,
        lowest_heads=lowest,
        trace=kept,
    )


def line_surge(
    line: DeliveryLine,
    water: Water,
    *,
    flow: float,
    closing_time: float,
    valve_drop: float = 1.0,
    closing_exponent: float = 1.0,
    vessel: AirVessel | None = None,
    shut_off_head: float | None = None,
    route: Sequence[tuple[float, float]] | None = None,
    anchoring: Anchoring = "joints",
    gas_fraction: float = 0.0,
    wave_speed: float | None = None,
    friction_scale: float = 1.0,
    unsteady_friction: float = 1.0,
    cavity_gas: float = CAVITY_GAS,
    duration: float | None = None,
    resolution: Resolution | None = None,
) -> LineSurge:
    """Follow the surge in a delivery line whose outlet valve shuts while it flows steadily.

    Parameters
    ----------
    line : DeliveryLine
        Its fittings count as spread along it.
    water : Water
    flow : float
        Steady, before the closing [m3/s].
    closing_time : float
        From open to shut [s], up to 1000 reflections; 0 shuts at once.
    valve_drop : float, optional
        Head lost in the open valve at ``flow`` [m]. The less it is, the later the valve throttles and the higher the
        surge: an assumed 1 m errs to that side for a float valve.
    closing_exponent : float, optional
        The open area goes as (1 - time / closing_time) to this power.
    vessel : AirVessel or None
        At the pump's end; None holds the head there. Its air expands from where the steady flow has put it.
    shut_off_head : float, optional
        Head in the vessel at which the pump stops giving [m above datum], needed with a vessel; between the steady
        head and this one the pump gives evenly less. The line comes to stand at this head in the end: rate it on the
        higher of this and `LineSurge.peak_head`.
    route : sequence of (float, float), optional
        Distance from the pump and height above datum along the line [m]; an even slope when not given.
    anchoring, gas_fraction
        As in :func:`clackwork.hammer.pipe_wave_speed`.
    wave_speed : float, optional
        When it is known [m/s].
    friction_scale, unsteady_friction : float
        Multiply the Darcy friction factor and Vardy and Brown's unsteady wall shear.
    cavity_gas : float
        Free gas by volume, at outside pressure, in what may become cavities; 0 leaves pure vapour.
    duration : float, optional
        [s]; the closing and ten reflections after it when not given.
    resolution : Resolution, optional
        An odd number of losses.

    Returns
    -------
    LineSurge

    Raises
    ------
    InputError
        When a value is out of range.
    ModelError
        When the line leaks, or its water boils in steady flow.

    Notes
    -----
    The wall is elastic: polyethylene also creeps, which lowers the second and later peaks but hardly the first.
    Cavities of vapour and gas stand at the middle of each stretch and at the valve (discrete gas cavities; Wylie and
    Streeter, Fluid Transients; from memory). The outlet is taken as under water: at a head below it water runs back
    through a valve still open.
    """
    require_range("flow", flow, 1e-7, 0.1, "m3/s", "Was it litres a minute?")
    speed = wave_speed if wave_speed is not None else pipe_wave_speed(line.pipe, water, anchoring, gas_fraction)
    returns = reflection_time(line.length, require_range("wave_speed", speed, 50.0, 1500.0, "m/s"))
    slow = "Slower closing makes no surge worth following."
    require_range("closing_time", closing_time, 0.0, _SLOWEST_CLOSING * returns, "s", slow)
    followed = closing_time + _REFLECTIONS_FOLLOWED * returns if duration is None else duration
    require_range("duration", followed, returns, _LONGEST * returns, "s")
    resolution = resolution or _choose_resolution(line, flow, speed)
    drop = "It is the head lost in the open valve at this flow."
    values = _line_values(line, water, flow, speed, resolution) | _vessel_values(vessel, shut_off_head, water)
    values["gas"] *= require_range("cavity_gas", cavity_gas, 0.0, 1e-4, "")
    values |= {
        "friction_scale": require_range("friction_scale", friction_scale, 0.0, 10.0, ""),
        "unsteady_friction": require_range("unsteady_friction", unsteady_friction, 0.0, 2.0, ""),
        "valve_drop": require_range("valve_drop", valve_drop, 1e-3, 400.0, "m", drop),
        "closing_time": closing_time,
        "closing_exponent": require_range("closing_exponent", closing_exponent, 0.2, 5.0, "", "1 is an even closing."),
    }
    half, n = resolution.steps_per_half, resolution.losses
    steps = math.ceil(followed / values["time_step"] / half) * half
    places = np.concatenate(([0.0], (np.arange(n) + 0.5) * line.length / n, [line.length]))
    points = _route_points(line, route)
    stride = math.ceil(steps / _TRACE_ROWS)
    trace = np.zeros((math.ceil(steps / stride), len(SURGE_COLUMNS)))
    envelope = np.zeros((4, n + 2))
    packed = np.array([(values | {"steps": float(steps)})[name] for name in SURGE_PARAMETERS])
    step_surge(packed, _boiling_heads(points, places, water.vapour_head_gauge), envelope, trace, stride)
    if vessel is not None:
        low, hint = float(envelope[STEADY, 0]), "The pump gives this flow at the steady head, so it stops above it."
        require_range("shut_off_head", values["shut_off_head"], low + 1e-3, 1000.0, "m", hint)
    return _report(speed, values, places, points, water.vapour_head_gauge, envelope, trace)
