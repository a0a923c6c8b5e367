"""The fields of a site's survey: readings of heights and source, way of the line, needs, what the water carries."""

from __future__ import annotations

from types import MappingProxyType

from clackwork.site.needs import PUBLISHED_NEEDS
from clackwork.site.survey import CARRIED, DRINKERS
from clackwork.web.fields import Choice, Column, Field, Group, OnlyFor

HEIGHT_WORDS = {
    "level": "by level and staff",
    "hose": "by a water-filled hose, step by step",
    "gauge": "by a pressure gauge at the foot of a full pipe",
    "map": "off a map with contours",
}
_TIMES = Column("times", is_list=True)
_SOURCE = {
    "typed": (Column("flow"),),
    "bucket": (Column("volume"), _TIMES),
    "notch": (Column("heads", is_list=True), Column("angle")),
    "float": (Column("distance"), _TIMES, Column("width"), Column("depths", is_list=True), Column("bed")),
}
_SETUP = (Column("back"), Column("fore"), Column("sights_differ"))


def _choices(words: dict[str, str], empty: str) -> tuple[Choice, ...]:
    return (Choice("", empty), *(Choice(value, said) for value, said in words.items()))


def _height(table: str, title: str, help: str) -> Group:
    """A height by its readings."""

    def of(key: str, label: str, kind: str, method: str, help: str = "", columns: tuple[Column, ...] = ()) -> Field:
        only = OnlyFor(f"{table}.method", (method,))
        return Field(f"{table}.{key}", label, kind, help, only_for=only, columns=columns)

    gauge = (
        of("gauge.full_scale", "Gauge, full scale", "pressure_gauge", "gauge"),
        of("gauge.accuracy_class", "Gauge, class", "fraction", "gauge", "1.6 % for class 1.6."),
        of("gauge.resolution", "Gauge, step that can be read", "pressure_gauge", "gauge"),
        of("gauge.height_above_datum", "Gauge above the lower place", "length", "gauge"),
        of("gauge.height_half_width", "Its height may be off by", "length", "gauge"),
        of("gauge.name", "Gauge, name", "text", "gauge"),
    )
    setups = "A set-up a line, from the lower place up: back; fore. Such as 1.520 m; 0.310 m."
    fields = (
        Field(f"{table}.method", "How it was read", "choice", "", choices=_choices(HEIGHT_WORDS, "typed above")),
        of("setups", "Set-ups of the level", "rows", "level", setups, _SETUP),
        of("returned", "Levelled back", "rows", "level", "The way down again, a set-up a line.", _SETUP),
        of("staff_half_width", "A staff reading may be off by", "length", "level"),
        of("steps", "Steps of the hose", "list", "hose", "Such as 1.20 m; 0.95 m."),
        of("step_half_width", "A step may be off by", "length", "hose"),
        of(
            "pressures",
            "Readings of the gauge",
            "list",
            "gauge",
            "The water standing still. Such as 0.62 bar; 0.63 bar.",
        ),
        *gauge,
        of("lower", "Height of the lower place", "length", "map"),
        of("higher", "Height of the higher place", "length", "map"),
        of("contour_interval", "Between two contours", "length", "map"),
        Field(f"{table}.note", "Note on it", "text"),
    )
    return Group(title, fields, help, folded=True)


def survey_groups() -> tuple[Group, ...]:
    """All groups of the survey, in order."""
    above = "In place of the figure above."
    source = Field(
        "source",
        "Readings",
        "rows",
        "One a line. Such as 2026-08-14; bucket; 10 L; 31.2 s, 30.9 s - or notch; 62 mm, 63 mm - or float; 4 m; 9 s, 10 s; "
        "60 cm; 8 cm, 12 cm, 9 cm; rough - or typed; 30 L/min ± 5 L/min.",
        columns=(Column("date"), Column("method")),
        sort_key="method",
        sorts=MappingProxyType(_SOURCE),
    )
    route = Field(
        "route",
        "Points",
        "rows",
        "One a line from the pump on: distance along the pipe; height above the pump; what is there. Such as 0 m; 0 m.",
        columns=(Column("distance"), Column("height"), Column("note")),
    )
    use = Field(
        "needs.use",
        "Who needs water",
        "rows",
        f"One a line: who; how many; for each; months. For {', '.join(PUBLISHED_NEEDS)} the third may stay empty. Such as "
        "lactating cow; 8 or greenhouse; 60; 5 L/day; 4-9.",
        columns=(Column("what"), Column("number", is_number=True), Column("each"), Column("months")),
    )
    return (
        Group("Readings of the source", (source,), above, folded=True),
        _height("fall_readings", "Readings of the fall", above),
        _height("lift_from_pump_readings", "Readings of the lift, from the pump", above),
        _height("lift_from_source_readings", "Readings of the lift, from the source", above),
        Group("Way of the delivery line", (route,), folded=True),
        Group("The ground and the water", _about(), folded=True),
        Group(
            "Needs",
            (
                use,
                Field("needs.fire_reserve", "Kept for fire", "volume"),
                Field("needs.days_of_cover", "Days of cover", "number", "Left out: 2; 3 where it is seldom inspected."),
            ),
            folded=True,
        ),
    )


def _about() -> tuple[Field, ...]:
    """What else is known of the place."""
    drinkers = _choices({one: one for one in DRINKERS}, "not said")
    return (
        Field("survey.line_length", "Length of the delivery line", "length", "Left out: that of its way."),
        Field("survey.ground_to_source", "Pump to source along the ground", "length"),
        Field("survey.frost_depth", "Frost goes down to", "length", "Left out: none."),
        Field("survey.wall_temperature", "Hottest wall of a pipe", "temperature", "Of one in the sun."),
        Field("survey.carries", "The water carries", "list", f"Of {', '.join(CARRIED)}."),
        Field("survey.drinkers", "Who drinks it", "choice", "", choices=drinkers),
        Field("survey.stream_keeps", "Has to stay in the stream", "volume_flow", "Ask the authority."),
        Field(
            "survey.monthly_share",
            "Flow of each month",
            "list",
            "Twelve numbers from January on, over that of the month it was read in.",
        ),
    )
