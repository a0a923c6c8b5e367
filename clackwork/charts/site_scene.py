"""A site from the side, unrolled to left and right of the pump: plain points in metres, for the drawing."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from clackwork.charts.promise_chart import run_along
from clackwork.pipes import Pipe
from clackwork.site.design import Choice
from clackwork.site.first_start import whole_length
from clackwork.site.route import Route
from clackwork.site.site import Site
from clackwork.site.survey import Survey

Point = tuple[float, float]
"""Level distance from the pump, left of it under 0, and height above its spill level [m]."""


@dataclass(frozen=True)
class Stretch:
    """A stretch of pipe with one kind of it.

    Attributes
    ----------
    kind : str
        "supply", "drive", "line" or "ground" where no pipe is designed yet.
    left, right : float
        Level distances [m].
    start, end : float
        Along the pipe, from the pump for the line [m].
    pipe : Pipe or None
    rating_head : float or None
        [m]
    """

    kind: str
    left: float
    right: float
    start: float
    end: float
    pipe: Pipe | None = None
    rating_head: float | None = None


@dataclass(frozen=True)
class Scene:
    """All that is drawn of a site.

    Attributes
    ----------
    name : str
    fall, lift : float
        [m]
    source : Point
        At its surface.
    standpipe : Point or None
        Its level.
    standpipe_diameter : float
        [m]
    line : tuple of Point
        From the pump to the outlet.
    stretches : tuple of Stretch
        From left to right.
    grade : tuple of Point
        Hydraulic grade line; empty when it was not given.
    air, drains : tuple of (float, Point)
        Along the line from the pump [m], and where that is.
    notes : tuple of (str, Point)
        What the survey noted on the way.
    pumps : int
        0 when nothing is designed.
    surveyed_way : bool
        Whether the way of the line was surveyed; else it is drawn straight.
    """

    name: str
    fall: float
    lift: float
    source: Point
    standpipe: Point | None
    standpipe_diameter: float
    line: tuple[Point, ...]
    stretches: tuple[Stretch, ...]
    grade: tuple[Point, ...]
    air: tuple[tuple[float, Point], ...]
    drains: tuple[tuple[float, Point], ...]
    notes: tuple[tuple[str, Point], ...]
    pumps: int
    surveyed_way: bool

    @property
    def ends(self) -> tuple[float, float]:
        """Leftmost and rightmost level distance [m]."""
        return self.source[0], self.line[-1][0]

    @property
    def heights(self) -> tuple[float, float]:
        """Lowest and highest height of anything drawn [m]."""
        heights = [0.0, self.fall, *(point[1] for point in (*self.line, *self.grade))]
        return min(heights), max(heights)


def site_scene(
    survey: Survey | None,
    design: Choice | Site | None,
    *,
    grade_line: Sequence[Point] = (),
    air_points: Sequence[float] = (),
    drain_points: Sequence[float] = (),
) -> Scene:
    """Lay out a site.

    Parameters
    ----------
    survey : Survey or None
        None for a place known only by its design.
    design : Choice, Site or None
        None for a place not designed yet.
    grade_line : sequence of (float, float)
        Distance along the line from the pump and head above the spill level [m], distances rising.
    air_points, drain_points : sequence of float
        Distances along the line from the pump [m].
    """
    site = design.site if isinstance(design, Choice) else design
    if survey is None and site is None:
        raise ValueError("a site is drawn from its survey or its design")
    fall = site.fall if site else _known(survey).fall.value
    lift = site.line.lift if site else _known(survey).lift.value
    length = site.line.length if site else _known(survey).line_length
    route = survey.route if survey else None
    way = _Way(route, length, lift)
    above = _above_pump(survey, site, fall)
    standpipe = (above[-1].left, fall) if site is not None and site.feed is not None else None
    return Scene(
        name=site.name if site else _known(survey).name,
        fall=fall,
        lift=lift,
        source=(above[0].left, fall),
        standpipe=standpipe,
        standpipe_diameter=math.sqrt(4.0 * site.standpipe_area / math.pi) if site and standpipe else 0.0,
        line=way.points,
        stretches=(*above, *_line_stretches(design, site, way)),
        grade=tuple((way.at(distance)[0], head) for distance, head in grade_line),
        air=tuple((distance, way.at(distance)) for distance in air_points),
        drains=tuple((distance, way.at(distance)) for distance in drain_points),
        notes=tuple((each.note, way.at(each.distance)) for each in route.points if each.note) if route else (),
        pumps=design.pumps if isinstance(design, Choice) else int(site is not None),
        surveyed_way=route is not None,
    )


def _known(survey: Survey | None) -> Survey:
    """The survey, where there is no design to go by."""
    assert survey is not None
    return survey


class _Way:
    """The line of the delivery pipe: places by distance along it."""

    def __init__(self, route: Route | None, length: float, lift: float) -> None:
        ends = ((0.0, 0.0), (length, lift))
        given = tuple((each.distance, each.height) for each in route.points) if route else ends
        self.distances = [distance for distance, _ in given]
        across = 0.0
        points = [(0.0, given[0][1])]
        for (start, low), (end, high) in pairwise(given):
            across += run_along(end - start, high - low)
            points.append((across, high))
        self.points = tuple(points)

    def at(self, distance: float) -> Point:
        """Where a distance along the pipe is; beyond the end, the end."""
        for place in range(1, len(self.points)):
            if distance <= self.distances[place] or place == len(self.points) - 1:
                start, end = self.distances[place - 1], self.distances[place]
                share = min(max((distance - start) / (end - start), 0.0), 1.0)
                (x, z), (x_next, z_next) = self.points[place - 1], self.points[place]
                return x + share * (x_next - x), z + share * (z_next - z)
        return self.points[-1]


def _above_pump(survey: Survey | None, site: Site | None, fall: float) -> list[Stretch]:
    """Supply and drive pipe, or the ground where nothing is designed."""
    if site is None:
        length = (_known(survey).ground_to_source) or fall
        return [Stretch("ground", -run_along(length, fall), 0.0, 0.0, length)]
    length = whole_length(site.drive_pipe)
    foot = -run_along(length, fall)
    drive = Stretch("drive", foot, 0.0, 0.0, length, site.drive_pipe.pipe)
    if site.feed is None:
        return [drive]
    return [Stretch("supply", foot - site.feed.length, foot, 0.0, site.feed.length, site.feed.pipe), drive]


def _line_stretches(design: Choice | Site | None, site: Site | None, way: _Way) -> list[Stretch]:
    """Zones of the delivery line; one where it has one pipe or none yet."""
    zones = design.zones if isinstance(design, Choice) else ()
    if zones:
        return [
            Stretch("line", way.at(z.start)[0], way.at(z.end)[0], z.start, z.end, z.pipe, z.rating_head) for z in zones
        ]
    end = way.distances[-1]
    return [Stretch("line", 0.0, way.points[-1][0], 0.0, end, site.line.pipe if site else None)]
