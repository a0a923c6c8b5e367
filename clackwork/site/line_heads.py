"""Heads along the delivery line: running, standing, with its outlet shut, and in the surge of a shutting valve.

Heads are metres of water above the pump's spill level; a head over the line's own height there is what the pipe bears.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from clackwork.errors import InputError, require_range
from clackwork.hammer import pipe_wave_speed
from clackwork.pipes import Pipe
from clackwork.ram.line_surge import line_surge
from clackwork.ram.parts import DeliveryLine
from clackwork.ram.steady_loss import steady_loss
from clackwork.site.design import Zone
from clackwork.site.route import Route
from clackwork.water import Water

FloatArray = NDArray[np.float64]

FLOAT_CLOSING_TIME = 1.0
"""In which the last of a float valve's closing takes place [s], on the safe side: common practice, no published source."""
_MOST_STEPS = 400
"""Into which a line is cut for its heads, at most; in whole metres."""
_LEAST_SURGE_FLOW = 1e-6  # [m3/s] a litre in a quarter of an hour stops without a surge worth following
_ERROR_FLOWS = (0.5, 1.5)
"""Times the running flow at which a line of one pipe is held against its zones."""


@dataclass(frozen=True)
class LineDuty:
    """What a delivery line has to do.

    Attributes
    ----------
    flow : float
        Of all pumps together [m3/s]; the upper end of what is promised, for the line to be safe.
    water : Water
    fittings_loss : float
        Sum over the line in velocity heads; counts as spread along it.
    outlet_shuts : bool
        Whether something shuts the outlet while the pump runs, as a float valve at the tank.
    shut_off_head : float or None
        Of the pump with its delivery shut [m]; None when it is not known.
    closing_time : float
        Of that valve [s].
    wall_temperature : float or None
        Highest of the pipe's wall [K]; None for that of the water.
    swing_head, beat_rate : float
        What the vessel lets through of the beats: range of head [m] and beats per second [1/s].
    """

    flow: float
    water: Water
    fittings_loss: float = 0.0
    outlet_shuts: bool = False
    shut_off_head: float | None = None
    closing_time: float = FLOAT_CLOSING_TIME
    wall_temperature: float | None = None
    swing_head: float = 0.0
    beat_rate: float = 0.0

    def __post_init__(self) -> None:
        require_range("flow", self.flow, 0.0, 0.1, "m3/s", "Was it litres a minute?")
        require_range("fittings_loss", self.fittings_loss, 0.0, 1000.0, "")
        require_range("swing_head", self.swing_head, 0.0, 600.0, "m")
        if self.outlet_shuts and self.shut_off_head is None:
            raise InputError(
                "shut_off_head",
                "none",
                "a line whose outlet shuts has to bear the head at which the pump stops delivering",
                "Work it out with clackwork.ram.engine.shut_off_head.",
            )


@dataclass(frozen=True, eq=False)
class HeadLine:
    """Heads along a line, for its checks and its drawing; float64[places] each.

    Attributes
    ----------
    distances, heights : array
        From the pump along the line, and of the line above the spill level [m].
    standing_heads : array
        With the pump at rest: the line full to its outlet, or to a summit beyond [m].
    running_heads : array
        Hydraulic grade line at the flow, the line full all the way [m].
    vented_heads : array
        The same with air let in at summits that the line would suck at; the higher of the two is what the pump meets [m].
    highest_heads, lowest_heads : array
        Of all that may come, surge and dead head where the outlet shuts [m].
    surge_rise : float
        Highest rise of the surge over the running head [m]; 0 where nothing shuts.
    """

    distances: FloatArray
    heights: FloatArray
    standing_heads: FloatArray
    running_heads: FloatArray
    vented_heads: FloatArray
    highest_heads: FloatArray
    lowest_heads: FloatArray
    surge_rise: float


def line_places(route: Route, zones: Sequence[Zone] = ()) -> FloatArray:
    """Distances at which heads are worked out [m]: points of the route, ends of the zones, and whole metres between."""
    step = max(1.0, float(math.ceil(route.length / _MOST_STEPS)))
    ends = [end for zone in zones for end in (zone.start, zone.end)]
    points = [point.distance for point in route.points]
    places = np.unique(np.array([*np.arange(0.0, route.length, step), *ends, *points]))
    return places[places <= route.length]


def heights_along(route: Route, distances: FloatArray) -> FloatArray:
    """Heights of the line at distances along it [m]."""
    along, up = np.array([(point.distance, point.height) for point in route.points]).T
    return np.interp(distances, along, up)


def _losses(distances: FloatArray, pipes: Sequence[Pipe], duty: LineDuty, flow: float) -> FloatArray:
    """Head lost from each place to the next [m], float64[places - 1]; ``pipes`` one for each stretch between."""
    per_metre = {
        pipe: steady_loss(pipe, 1.0, duty.fittings_loss / float(distances[-1]), flow, duty.water) for pipe in set(pipes)
    }
    return np.array([per_metre[pipe] for pipe in pipes]) * np.diff(distances)


def pipes_along(zones: Sequence[Zone], distances: FloatArray) -> list[Pipe]:
    """The pipe of each stretch between two places."""
    middles = 0.5 * (distances[:-1] + distances[1:])
    ends = np.array([zone.end for zone in zones])
    return [zones[min(int(place), len(zones) - 1)].pipe for place in np.searchsorted(ends, middles)]


def head_line(route: Route, zones: Sequence[Zone], duty: LineDuty) -> HeadLine:
    """Heads along a line of given pipes.

    Parameters
    ----------
    route : Route
    zones : sequence of Zone
        From the pump to the outlet; only their pipes and ends are read.
    duty : LineDuty

    Returns
    -------
    HeadLine

    Notes
    -----
    The surge is that of a line of one pipe, the zone's that would stop the flow with the highest head a V/g, laid over
    the running heads of the zones: on the safe side where classes differ.
    """
    distances = line_places(route, zones)
    return heads_of_pipes(route, distances, pipes_along(zones, distances), duty)


def heads_of_pipes(route: Route, distances: FloatArray, pipes: Sequence[Pipe], duty: LineDuty) -> HeadLine:
    """As :func:`head_line`, with the pipe of each stretch between the places [m]."""
    heights = heights_along(route, distances)
    standing = np.maximum.accumulate(heights[::-1])[::-1]
    losses = _losses(distances, pipes, duty, duty.flow)
    running = np.full(len(distances), heights[-1])
    running[:-1] += np.cumsum(losses[::-1])[::-1]
    vented = running.copy()
    for place in range(len(losses) - 1, -1, -1):
        vented[place] = max(vented[place + 1] + losses[place], heights[place])
    highest = np.maximum(standing, vented + 0.5 * duty.swing_head)
    lowest, rise = running - 0.5 * duty.swing_head, 0.0
    if duty.outlet_shuts:
        up, down = _surge(route, distances, pipes, duty, float((running - heights).min()))
        highest = np.maximum(highest, np.maximum(running + up, duty.shut_off_head or 0.0))
        lowest, rise = np.minimum(lowest, running + down), float(up.max())
    boiling = heights + duty.water.vapour_head_gauge
    lowest = np.maximum(lowest, np.minimum(boiling, running))
    return HeadLine(distances, heights, standing, running, vented, highest, lowest, rise)


def _surge(
    route: Route, distances: FloatArray, pipes: Sequence[Pipe], duty: LineDuty, least_over: float
) -> tuple[FloatArray, FloatArray]:
    """Rise and fall of the head against the running head at every place, after the outlet has shut [m].

    Nothing where hardly anything flows, or where the line boils as it runs, which is told of by itself.
    """
    nothing = np.zeros(len(distances))
    if duty.flow < _LEAST_SURGE_FLOW or least_over <= duty.water.vapour_head_gauge + 1.0:
        return nothing, nothing
    pipe = max(set(pipes), key=lambda one: pipe_wave_speed(one, duty.water) / one.bore**2)
    line = DeliveryLine(pipe, route.length, route.lift, fittings_loss=duty.fittings_loss)
    points = [(point.distance, point.height) for point in route.points]
    found = line_surge(line, duty.water, flow=duty.flow, closing_time=_closing_time(duty, pipe, route), route=points)
    up = np.interp(distances, found.distances, found.highest_heads - found.steady_heads)
    down = np.interp(distances, found.distances, found.lowest_heads - found.steady_heads)
    return up, down


def _closing_time(duty: LineDuty, pipe: Pipe, route: Route) -> float:
    """The closing time [s], no longer than the surge is followed for."""
    returns = 2.0 * route.length / pipe_wave_speed(pipe, duty.water)
    return min(duty.closing_time, 100.0 * returns)


def _same_loss(pipe: Pipe, length: float, fittings_loss: float, flow: float, wanted: float, water: Water) -> Pipe:
    """The pipe with the bore at which ``flow`` [m3/s] loses ``wanted`` [m] over a length [m]."""

    def miss(bore: float) -> float:
        return steady_loss(replace(pipe, bore=bore), length, fittings_loss, flow, water) / wanted - 1.0

    bore = brentq(miss, 0.1 * pipe.bore, 10.0 * pipe.bore, xtol=1e-9)
    return replace(pipe, bore=float(bore))


def line_in_one(route: Route, zones: Sequence[Zone], duty: LineDuty) -> tuple[DeliveryLine, float]:
    """A delivery line of one pipe that costs the flow as much head as all zones together.

    Returns
    -------
    line : DeliveryLine
        Of one zone as it is. Of more the longest zone's pipe, with the bore at which the running flow loses as much.
        Its lift is that of the summit where the way passes one higher than its outlet: the pump has to fill the line
        over it, and air that gathers there keeps the water beyond from drawing.
    error : float
        Largest share by which its loss differs from that of the zones at half and one and a half times the flow.
    """
    only = max(zones, key=lambda zone: zone.end - zone.start).pipe
    line = DeliveryLine(only, route.length, route.summit, fittings_loss=duty.fittings_loss)
    if len({zone.pipe for zone in zones}) == 1 or duty.flow <= 0.0:
        return line, 0.0

    def lost(flow: float) -> float:
        shares = [(zone.pipe, zone.end - zone.start) for zone in zones]
        return sum(
            steady_loss(pipe, length, duty.fittings_loss * length / route.length, flow, duty.water)
            for pipe, length in shares
        )

    pipe = _same_loss(only, route.length, duty.fittings_loss, duty.flow, lost(duty.flow), duty.water)
    errors = []
    for flow in (share * duty.flow for share in _ERROR_FLOWS):
        in_one = steady_loss(pipe, route.length, duty.fittings_loss, flow, duty.water)
        errors.append(abs(in_one / lost(flow) - 1.0))
    return replace(line, pipe=pipe), max(errors)


def line_of_one_pump(line: DeliveryLine, pumps: int, flow: float, water: Water) -> DeliveryLine:
    """The line as one of several equal pumps feels it that share it.

    Parameters
    ----------
    line : DeliveryLine
        Takes what all pumps deliver.
    pumps : int
    flow : float
        What one delivers [m3/s].
    water : Water

    Returns
    -------
    DeliveryLine
        Of the same length, so that its water keeps about its inertia; loses at ``flow`` what the shared line loses at
        ``pumps`` times as much, and about that near it. At every flow, of another length:
        :func:`clackwork.ram.shared.line_share`.
    """
    if pumps == 1 or flow <= 0.0:
        return line
    wanted = steady_loss(line.pipe, line.length, line.fittings_loss, pumps * flow, water)
    return replace(line, pipe=_same_loss(line.pipe, line.length, line.fittings_loss, flow, wanted, water))
