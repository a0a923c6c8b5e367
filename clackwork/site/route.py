"""The way of the delivery line over the ground: points from the pump to the outlet."""

from __future__ import annotations

import math
from dataclasses import dataclass

from clackwork.errors import InputError

_ROUNDING = 1e-9
"""Share of a distance that adding up its pieces may be off by."""


@dataclass(frozen=True)
class RoutePoint:
    """One point of the way.

    Attributes
    ----------
    distance : float
        Along the pipe from the pump [m].
    height : float
        Above the pump's spill level [m].
    note : str
        What is there: "gate", "crosses the track".
    """

    distance: float
    height: float
    note: str = ""


@dataclass(frozen=True)
class Route:
    """The way from the pump to the outlet.

    Attributes
    ----------
    points : tuple of RoutePoint
        Two at least, distances rising from 0.
    """

    points: tuple[RoutePoint, ...]

    def __post_init__(self) -> None:
        if len(self.points) < 2:
            raise InputError("route", f"{len(self.points)} points", "it takes two at least", "Give pump and outlet.")
        for before, after in zip(self.points, self.points[1:], strict=False):
            if not after.distance > before.distance:
                raise InputError(
                    "route",
                    f"{after.distance:g} m after {before.distance:g} m",
                    "distances rise from the pump on",
                    "Put the points in order.",
                )
            if abs(after.height - before.height) > after.distance - before.distance + _ROUNDING * after.distance:
                raise InputError(
                    "route",
                    f"{abs(after.height - before.height):g} m up or down over {after.distance - before.distance:g} m",
                    "a pipe cannot climb more than its own length",
                    "Distances are along the pipe, heights above the pump.",
                )
        if self.points[0].distance != 0.0:
            raise InputError("route", f"{self.points[0].distance:g} m", "the first point is the pump, at distance 0")

    @property
    def length(self) -> float:
        """Along the pipe [m]."""
        return self.points[-1].distance

    @property
    def lift(self) -> float:
        """Of the outlet above the pump's spill level [m]."""
        return self.points[-1].height

    @property
    def summit(self) -> float:
        """Height of its highest point [m]."""
        return max(point.height for point in self.points)

    def height_at(self, distance: float) -> float:
        """Height [m] at a distance [m] along the pipe, straight between points."""
        if not 0.0 <= distance <= self.length * (1.0 + 1e-12):
            raise InputError("distance", f"{distance:g} m", f"the route is {self.length:g} m long")
        for before, after in zip(self.points, self.points[1:], strict=False):
            if distance <= after.distance:
                share = (distance - before.distance) / (after.distance - before.distance)
                return before.height + share * (after.height - before.height)
        return self.lift

    @property
    def level_distance(self) -> float:
        """Distance on the flat [m], for a drawing to scale."""
        pairs = zip(self.points, self.points[1:], strict=False)
        flat = (max((b.distance - a.distance) ** 2 - (b.height - a.height) ** 2, 0.0) for a, b in pairs)
        return sum(math.sqrt(square) for square in flat)


def straight_route(length: float, lift: float) -> Route:
    """A way that climbs evenly: what stands for one of which only length and lift [m] are known."""
    return Route((RoutePoint(0.0, 0.0), RoutePoint(length, lift)))
