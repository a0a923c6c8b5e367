"""A surveyed place as a design takes it: figures, what is wanted, and what the survey does not say, assumed openly."""

from __future__ import annotations

from dataclasses import dataclass

from clackwork.bench.gum import Estimate
from clackwork.errors import InputError
from clackwork.ram.parts import DeliveryLine, DrivePipe, Surroundings
from clackwork.site.design import Assumed
from clackwork.site.first_start import INTAKE_DEPTH
from clackwork.site.heights import fall_in_lift
from clackwork.site.laying import ENTRY_LOSS, LINE_FITTINGS
from clackwork.site.promise import SECONDS_A_DAY
from clackwork.site.quick_plans import counted_on
from clackwork.site.route import Route, RoutePoint
from clackwork.site.site import Site
from clackwork.site.source_flow import driest
from clackwork.site.survey import Survey
from clackwork.site.told import WHY, told_readings
from clackwork.water import Water, water_at

ASSUMED_WORDS = {
    **WHY,
    "ground_to_source": "the way to the source was not surveyed: every length of drive pipe is taken to reach it",
    "route": "the way of the line was not surveyed: it is taken to climb evenly, with no point above the outlet",
    "wanted_flow": "nothing was asked for: the most that can be delivered is looked for",
    "submergence": "the mouth of the drive pipe lies so deep under the source's level (Globo Rural 2023)",
    "entry_loss": "a screened mouth and a bend, in velocity heads",
    "fittings_loss": "a usual number of bends and valves along the delivery line, in velocity heads",
    "bounds": "stroke 0.6 to 1.6 times and weight 0.5 to 2 times the build's own, where the workshop sets no bounds",
}
"""Why each assumption is as it is, by what is assumed."""


@dataclass(frozen=True)
class Place:
    """A surveyed place, ready to be designed.

    Attributes
    ----------
    survey : Survey
    source : Estimate
        What may be drawn in the driest time [m3/s].
    route : Route
        Surveyed, or straight.
    wanted_flow : float or None
        Delivered flow wanted [m3/s], of the survey or of its needs.
    """

    survey: Survey
    source: Estimate
    route: Route
    wanted_flow: float | None

    @property
    def fall(self) -> float:
        """[m]"""
        return self.survey.fall.value

    @property
    def lift(self) -> float:
        """Highest point that the water passes above the pump [m]."""
        return max(self.survey.lift.value, self.route.summit)

    @property
    def surroundings(self) -> Surroundings:
        """Water and altitude."""
        return self.survey.surroundings

    @property
    def water(self) -> Water:
        """Water there."""
        return water_at(self.surroundings.temperature, self.surroundings.altitude)

    @property
    def drawn_at_most(self) -> float:
        """What may be drawn in the middle so that there is enough in 95 of 100 cases [m3/s]."""
        return counted_on(self.source.value, self.source.standard_uncertainty)

    @property
    def submergence(self) -> float:
        """Of the drive pipe's mouth under the full level [m]."""
        return min(INTAKE_DEPTH, 0.5 * self.fall)

    @property
    def wall_temperature(self) -> float:
        """Highest of a pipe's wall [K]."""
        return self.survey.wall_temperature or self.surroundings.temperature

    def site(self, drive_pipe: DrivePipe, line: DeliveryLine) -> Site:
        """The place with a drive pipe and a delivery line."""
        survey = self.survey
        return Site(
            name=survey.name,
            fall=self.fall,
            source_flow=self.source.value,
            drive_pipe=drive_pipe,
            line=line,
            fall_spread=survey.fall.standard_uncertainty,
            source_flow_spread=self.source.standard_uncertainty,
            lift_spread=survey.lift.standard_uncertainty,
            lift_with_fall=fall_in_lift(survey.lift),
            surroundings=self.surroundings,
            wanted_flow=self.wanted_flow,
            submergence=self.submergence,
        )


def place_of(survey: Survey) -> Place:
    """What a design reads from a survey.

    Raises
    ------
    InputError
        When the line is shorter than it climbs, or the stream keeps all.
    """
    source = driest(survey)
    if source.value < 1e-6:
        raise InputError(
            "source_flow",
            f"{source.value:g} m3/s",
            "nothing is left to draw in the driest time",
            "Look for another source, or ask the authority what the stream has to keep.",
        )
    route = survey.route or _straight(survey.line_length, survey.lift.value)
    wanted = survey.wanted_flow
    if wanted is None and survey.needs is not None and survey.needs.highest_daily > 0.0:
        wanted = survey.needs.highest_daily / SECONDS_A_DAY
    return Place(survey, source, route, wanted)


def _straight(length: float, lift: float) -> Route:
    if length < 0.99 * lift:
        raise InputError(
            "line_length",
            f"{length:g} m",
            f"it climbs {lift:g} m and cannot be shorter",
            "Measure it along the ground.",
        )
    return Route((RoutePoint(0.0, 0.0), RoutePoint(max(length, lift), lift)))


def assumed_of(place: Place, usual_bounds: bool) -> tuple[Assumed, ...]:
    """What the survey does not say, as data."""
    survey = place.survey
    found: list[tuple[str, bool, float | str, str]] = [
        ("ground_to_source", survey.ground_to_source is None, "", "words"),
        ("route", survey.route is None, place.route.length, "length"),
        ("wanted_flow", place.wanted_flow is None, "", "words"),
        ("submergence", True, place.submergence, "length"),
        ("entry_loss", True, ENTRY_LOSS, "count"),
        ("fittings_loss", True, LINE_FITTINGS, "count"),
        ("bounds", usual_bounds, "", "words"),
    ]
    told = told_readings(survey.fall, survey.lift, place.source)
    found += [
        ("fall_spread", "fall" in told, survey.fall.standard_uncertainty, "head"),
        ("lift_spread", "lift" in told, survey.lift.standard_uncertainty, "head"),
        ("source_flow_spread", "source flow" in told, place.source.standard_uncertainty, "volume_flow"),
    ]
    return tuple(Assumed(what, value, kind, ASSUMED_WORDS[what]) for what, so, value, kind in found if so)
