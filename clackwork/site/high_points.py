"""High and low points of the delivery line: where air gathers, where it is drained, and how deep it lies."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from clackwork.errors import require_not_negative, require_positive
from clackwork.ram.parts import STANDARD_GRAVITY
from clackwork.site.check_reasons import check_reason
from clackwork.site.design import Zone
from clackwork.site.route import Route, RoutePoint
from clackwork.site.site import Reason

BELOW_FROST = 0.152
"""Cover below the depth to which the ground freezes [m]: 6 in (model plumbing codes of the United States, read as quoted).
Local codes come first."""
LEAST_COVER = 0.305
"""Least cover of a water pipe [m]: 12 in (as above)."""


@dataclass(frozen=True)
class AirPoint:
    """A high point at which air gathers.

    Attributes
    ----------
    distance, height : float
        Along the line from the pump, and above its spill level [m].
    velocity : float
        Of the water beyond it [m/s].
    clearing_velocity : float
        That which carries the air down the slope beyond it [m/s].
    """

    distance: float
    height: float
    velocity: float
    clearing_velocity: float

    @property
    def is_carried(self) -> bool:
        """Whether the water takes the air along."""
        return self.velocity >= self.clearing_velocity


def clearing_velocity(bore: float, slope: float) -> float:
    """Velocity at which water carries air down a pipe that falls.

    Parameters
    ----------
    bore : float
        [m], above 0.
    slope : float
        Fall over length of pipe, the sine of its angle, 0 to 1.

    Returns
    -------
    float
        [m/s]

    Notes
    -----
    V = sqrt(g D) (0.825 + 0.25 sqrt(sin angle)): the envelope of published tests by Wisner, Mohsen and Kouwen, Removal of
    Air from Water Lines by Hydraulic Means (1975), in the form of Sanks, Pumping Station Design (read as quoted). Most of
    those pipes are wider than 100 mm; May, Allen and Nelson (2018) found bores of 25 and 38 mm to behave alike (read
    in its abstract).
    """
    require_positive("bore", bore, "m")
    return math.sqrt(STANDARD_GRAVITY * bore) * (0.825 + 0.25 * math.sqrt(min(max(slope, 0.0), 1.0)))


def _turns(route: Route, sign: float) -> list[tuple[int, int]]:
    """First and last point of every summit (sign 1) or hollow (sign -1) between the ends; level ones have several."""
    heights = [sign * point.height for point in route.points]
    found = []
    first = 1
    while first < len(heights) - 1:
        last = first
        while last < len(heights) - 2 and heights[last + 1] == heights[first]:
            last += 1
        if heights[first - 1] < heights[first] > heights[last + 1]:
            found.append((first, last))
        first = last + 1
    return found


def air_points(route: Route, zones: Sequence[Zone], flow: float) -> tuple[AirPoint, ...]:
    """High points between pump and outlet, with whether the water carries the air down beyond them.

    Parameters
    ----------
    route : Route
    zones : sequence of Zone
    flow : float
        What the line carries at the least [m3/s].
    """
    found = []
    for _, at in _turns(route, 1.0):
        summit = route.points[at]
        slope, after = 0.0, at
        while after < len(route.points) - 1 and route.points[after + 1].height < route.points[after].height:
            here, there = route.points[after], route.points[after + 1]
            slope = max(slope, (here.height - there.height) / (there.distance - here.distance))
            after += 1
        zone = next((one for one in zones if one.start <= summit.distance < one.end), zones[-1])
        velocity = flow / (0.25 * math.pi * zone.pipe.bore**2)
        found.append(AirPoint(summit.distance, summit.height, velocity, clearing_velocity(zone.pipe.bore, slope)))
    return tuple(found)


def air_reasons(points: Sequence[AirPoint]) -> tuple[Reason, ...]:
    """A note for every high point at which air stays: an air valve there."""
    return tuple(
        check_reason(
            "air_gathers",
            "note",
            distance=(point.distance, "length"),
            velocity=(point.velocity, "velocity"),
            clearing_velocity=(point.clearing_velocity, "velocity"),
        )
        for point in points
        if not point.is_carried
    )


def drain_points(route: Route) -> tuple[RoutePoint, ...]:
    """Where the line is drained: at the pump, and at every hollow between, its first point where it lies level."""
    return (route.points[0], *(route.points[first] for first, _ in _turns(route, -1.0)))


def bury_depth(frost_depth: float) -> float:
    """Least cover of the line [m] where the ground freezes to a depth [m]; local codes come first.

    Raises
    ------
    InputError
        When the depth is negative.
    """
    require_not_negative("frost_depth", frost_depth, "m")
    return max(frost_depth + BELOW_FROST, LEAST_COVER)


def frost_reasons(route: Route, frost_depth: float) -> tuple[Reason, ...]:
    """How deep to bury the line and where to drain it; nothing where the ground does not freeze."""
    if frost_depth <= 0.0:
        return ()
    hollows = len(drain_points(route)) - 1
    depths = {"frost_depth": (frost_depth, "length"), "bury_depth": (bury_depth(frost_depth), "length")}
    bury = check_reason("bury", "note", **depths)
    if hollows > 1:
        return bury, check_reason("drain", "note", drains=(float(hollows), "count"))
    return bury, check_reason("drain_one" if hollows else "drain_at_pump", "note")
