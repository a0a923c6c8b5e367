"""What is drawn and written along a delivery line: its hydraulic grade line, where air valves and drains go."""

from __future__ import annotations

from dataclasses import dataclass

from clackwork.site.design import Choice, Zone
from clackwork.site.high_points import air_points, drain_points
from clackwork.site.line_heads import LineDuty, head_line
from clackwork.site.route import Route, RoutePoint
from clackwork.site.survey import Survey
from clackwork.water import water_at

_MOST_PLACES = 60
"""Places of the grade line that are kept for a drawing."""


@dataclass(frozen=True)
class LineMarks:
    """Marks along a delivery line, each a distance from the pump along it [m].

    Attributes
    ----------
    grade : tuple of (float, float)
        Hydraulic grade line: distance, and head above the spill level [m].
    air, drains : tuple of float
        Where air valves and drains go, the drain at the pump left out.
    """

    grade: tuple[tuple[float, float], ...] = ()
    air: tuple[float, ...] = ()
    drains: tuple[float, ...] = ()


def line_marks(survey: Survey, choice: Choice) -> LineMarks:
    """Work out the marks of a design's delivery line.

    Parameters
    ----------
    survey : Survey
        Without a way of the line it is taken as straight.
    choice : Choice
        The grade line is that of the middle flow promised; air valves go to the high points where the lowest flow
        promised leaves the air.
    """
    line, promise = choice.site.line, choice.promise
    straight = (RoutePoint(0.0, 0.0), RoutePoint(line.length, line.lift))
    route = survey.route or Route(straight)
    zones = choice.zones or (Zone(line.pipe, 0.0, route.length, 0.0, 0.0, 0.0),)
    around = choice.site.surroundings
    duty = LineDuty(promise.delivered_flow.middle, water_at(around.temperature, around.altitude), line.fittings_loss)
    heads = head_line(route, zones, duty)
    step = max(1, -(-len(heads.distances) // _MOST_PLACES))
    places = sorted({*range(0, len(heads.distances), step), len(heads.distances) - 1})
    return LineMarks(
        grade=tuple((float(heads.distances[place]), float(heads.vented_heads[place])) for place in places),
        air=tuple(one.distance for one in air_points(route, zones, promise.delivered_flow.low) if not one.is_carried),
        drains=tuple(point.distance for point in drain_points(route) if point.distance > 0.0),
    )
