"""Places out of a workbook's tables: the survey with its readings, the site as designed, what was chosen and built."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from clackwork.bench.gum import Estimate
from clackwork.errors import InputError, require_range
from clackwork.ram.parts import DeliveryLine, Surroundings
from clackwork.site import heights, source_flow
from clackwork.site.needs import ALL_YEAR, Need, Needs, published_need
from clackwork.site.route import Route, RoutePoint
from clackwork.site.site import Site
from clackwork.site.standing import LaidPipe, Standing
from clackwork.site.survey import CARRIED, DRINKERS, FALLS, FLOWS, SourceReading, Survey
from clackwork.site.told import FALL_SPREAD, FLOW_SPREAD, LIFT_SPREAD, told_estimate, told_readings
from clackwork.workbook_instruments import read_own_instrument
from clackwork.workbook_parts import errors_of, make, read_drive_pipe, read_feed, read_pipe, read_surroundings
from clackwork.workbook_reader import Table

if TYPE_CHECKING:
    from clackwork.ram.parts import DrivePipe

_LIFTS = ("lift_from_pump", "lift_from_source")
_LIFT_HELP = "lift_from_pump is the outlet above the pump; lift_from_source is the outlet above the source."
_ROUTE_APART = (1.0, 0.1)
"""How far the end of a route may lie from the lift, [m] and as a share of it: common practice, no published source."""
_HIGHEST_WALL = 353.15
"""[K] A dark pipe in the sun reaches 60 to 70 degC: common practice, no published source."""


@dataclass(frozen=True)
class Place:
    """All that a workbook says of a customer's place.

    Attributes
    ----------
    survey : Survey
    site : Site or None
        None while no drive pipe and delivery line are chosen.
    design, as_built : Standing or None
    """

    survey: Survey
    site: Site | None
    design: Standing | None = None
    as_built: Standing | None = None


def read_place(table: Table, name: str) -> Place:
    """A customer's place, from [site.NAME]."""
    surroundings = read_surroundings(table)
    fall, fall_method = _read_fall(table, surroundings)
    source = _read_source(table)
    drive = table.table("drive_pipe")
    drive_pipe = None if drive is None else read_drive_pipe(drive)
    lift, lift_method = _read_lift(table, fall, surroundings)
    route = _read_route(table)
    wanted = table.quantity("wanted_flow", "daily_volume_flow")
    line = _read_line(table, lift.value)
    about = _read_survey(table, fall.value)
    if line is not None:
        about.setdefault("line_length", line.length)
    if route is not None:
        about.setdefault("line_length", route.length)
    if "line_length" not in about:
        raise table.missing("survey, line_length", "the length of the delivery line, or its route")
    survey: Survey = make(
        table, Survey, name=name, fall=fall, fall_method=fall_method, lift=lift, lift_method=lift_method, source=source,
        route=route, surroundings=surroundings, wanted_flow=wanted, needs=_read_needs(table.table("needs")), **about,
    )  # fmt: skip
    if route is not None:
        _check_route_end(table, route, survey.lift.value)
    site = _read_designed(table, survey, drive_pipe, line)
    chosen = {key: _read_standing(table.table(key)) for key in ("design", "as_built")}
    table.text("note")
    table.finish()
    return Place(survey, site, **chosen)


def _read_designed(
    table: Table, survey: Survey, drive_pipe: DrivePipe | None, line: DeliveryLine | None
) -> Site | None:
    """The place as designed; None while both pipes are open."""
    feed, standpipe = read_feed(table.table("supply_pipe"))
    submergence = table.quantity("submergence", "length")
    if drive_pipe is None and line is None:
        return None
    if drive_pipe is None or line is None:
        key = "drive_pipe" if drive_pipe is None else "delivery_line"
        raise table.missing(key, "series, size and length; leave both pipes out while nothing is designed")
    flow = source_flow.driest(survey)
    site: Site = make(
        table, Site, name=survey.name, fall=survey.fall.value, source_flow=flow.value, drive_pipe=drive_pipe, line=line,
        fall_spread=survey.fall.standard_uncertainty, source_flow_spread=flow.standard_uncertainty,
        lift_spread=survey.lift.standard_uncertainty, lift_with_fall=heights.fall_in_lift(survey.lift),
        surroundings=survey.surroundings, wanted_flow=survey.wanted_flow,
        feed=feed, standpipe_area=standpipe, submergence=submergence,
        told=told_readings(survey.fall, survey.lift, flow),
    )  # fmt: skip
    return site


def _read_line(table: Table, lift: float) -> DeliveryLine | None:
    """The delivery line as designed; None while it is not."""
    inner = table.table("delivery_line")
    if inner is None:
        return None
    pipe = read_pipe(inner)
    line: DeliveryLine = make(
        inner,
        DeliveryLine,
        table,
        pipe=pipe,
        length=inner.needed("length", "length", "the length of the delivery line"),
        fittings_loss=inner.number("fittings_loss", 0.0, 1000.0),
        leak_area=inner.quantity("leak_area", "area"),
        leak_place=inner.quantity("leak_place", "fraction"),
        lift=lift,
    )
    inner.finish()
    return line


def _typed(table: Table, key: str, kind: str, wanted: str, share: float) -> Estimate:
    """A figure as typed, with its limits, or with the share of it that is assumed where it has none."""
    value, spread = table.spread(key, kind, wanted)
    return told_estimate(value, None if spread is None else math.sqrt(3.0) * spread, key, share)


def _one_of(table: Table, keys: tuple[str, ...], wanted: str) -> str:
    """The one key of several that is there."""
    there = [key for key in keys if key in table]
    if not there:
        raise table.missing(keys[0], wanted)
    if len(there) > 1:
        raise table.error(" and ".join(there), "both", "give exactly one of them", "One is enough.")
    return there[0]


def _read_fall(table: Table, surroundings: Surroundings) -> tuple[Estimate, str]:
    """Fall and how it was read."""
    wanted = "the source surface above the pump"
    key = _one_of(table, ("fall", "fall_readings"), wanted)
    if key == "fall":
        fall, method = _typed(table, key, "head", wanted, FALL_SPREAD), "typed"
    else:
        fall, method = _read_height(table.needed_table(key, wanted), surroundings)
    with errors_of(table):
        require_range(key, fall.value, *FALLS, "m", "Fall is from the source down to the pump.")
    return fall, method


def _read_lift(table: Table, fall: Estimate, surroundings: Surroundings) -> tuple[Estimate, str]:
    """Lift above the pump and how it was read, from exactly one of the readings."""
    keys = tuple(f"{key}{end}" for key in _LIFTS for end in ("", "_readings"))
    there = [key for key in keys if key in table]
    if len(there) != 1:
        named = " and ".join(there) if there else " and ".join(_LIFTS)
        given = "both" if len(there) == 2 else "all" if there else "neither"
        raise table.error(named, given, "give exactly one of them", _LIFT_HELP)
    key = there[0]
    if key.endswith("_readings"):
        measured, method = _read_height(table.needed_table(key, _LIFT_HELP), surroundings)
    else:
        above = "the pump" if key == "lift_from_pump" else "the source"
        measured, method = _typed(table, key, "head", f"the outlet above {above}", LIFT_SPREAD), "typed"
    shown = table.typed_text(key) or f"{measured.value:.2f} m"
    if key.startswith("lift_from_source"):
        if measured.value <= 0.0:
            allowed = "the outlet must be above the source, else water runs there by itself"
            raise table.error(key, shown, allowed, "Give lift_from_pump if you measured from the pump.")
        return heights.lift_above_pump(from_source=measured, fall=fall), method
    if measured.value <= fall.value:
        fallen = table.typed_text("fall") or f"{fall.value:.2f} m"
        raise table.error(
            key,
            shown,
            f"it must be above the fall of {fallen}, else water runs there by itself",
            "Lift from pump is the height of the outlet above the pump; give lift_from_source if you measured "
            "from the spring.",
        )
    return heights.lift_above_pump(from_pump=measured, fall=fall), method


def _read_height(table: Table, surroundings: Surroundings) -> tuple[Estimate, str]:
    """A height by its readings, and the method."""
    method = table.choice("method", _HEIGHTS, "how the height was read")
    with errors_of(table):
        found = _HEIGHTS[method](table, surroundings)
    table.text("note")
    table.finish()
    return found, method


def _height_by_level(table: Table, surroundings: Surroundings) -> Estimate:
    back, fore = (
        tuple(make(one, heights.Setup, **_setup(one)) for one in table.listed_tables(key))
        for key in ("setups", "returned")
    )
    if not back:
        raise table.missing("setups", "the staff read behind and ahead at each set-up of the level")
    more = _given(staff_half_width=table.quantity("staff_half_width", "length"))
    return heights.height_by_level(back, returned=fore, **more)


def _setup(table: Table) -> dict[str, float | None]:
    found = {
        "back": table.needed("back", "length", "the staff at the lower place"),
        "fore": table.needed("fore", "length", "the staff at the higher place"),
        "sights_differ": table.quantity("sights_differ", "length"),
    }
    table.finish()
    return found


def _height_by_hose(table: Table, surroundings: Surroundings) -> Estimate:
    steps = table.quantities("steps", "length", "the rise of each step")
    return heights.height_by_hose(steps, **_given(step_half_width=table.quantity("step_half_width", "length")))


def _height_by_gauge(table: Table, surroundings: Surroundings) -> Estimate:
    pressures = table.quantities("pressures", "pressure_gauge", "what the gauge read, the water standing still")
    gauge = read_own_instrument(table.needed_table("gauge", "its full_scale and accuracy_class"), "gauge")
    return heights.height_by_gauge(
        pressures, gauge, temperature=surroundings.temperature, altitude=surroundings.altitude
    )


def _height_by_map(table: Table, surroundings: Surroundings) -> Estimate:
    lower, higher = (table.needed(key, "length", f"the height of the {key} place") for key in ("lower", "higher"))
    return heights.height_by_map(lower, higher, table.needed("contour_interval", "length", "in the map's margin"))


_HEIGHTS: Mapping[str, Callable[[Table, Surroundings], Estimate]] = MappingProxyType(
    {"level": _height_by_level, "hose": _height_by_hose, "gauge": _height_by_gauge, "map": _height_by_map}
)


def _given(**values: Any) -> dict[str, Any]:
    """Those values that are given."""
    return {key: value for key, value in values.items() if value is not None}


def _read_source(table: Table) -> tuple[SourceReading, ...]:
    """What the source gives: typed, or by one reading or more."""
    key = _one_of(table, ("source_flow", "source"), "what the spring or stream gives")
    if key == "source_flow":
        typed = _typed(table, key, "volume_flow", "what the spring or stream gives", FLOW_SPREAD)
        return (SourceReading(typed, "typed"),)
    readings = table.listed_tables(key)
    if not readings:
        raise table.missing(key, "one reading of the source at least")
    return tuple(_read_source_reading(one) for one in readings)


def _read_source_reading(table: Table) -> SourceReading:
    """One reading of the source, from [[site.NAME.source]]."""
    method = table.choice("method", _FLOWS, "how the source was read")
    with errors_of(table):
        flow = _FLOWS[method](table)
    date = table.date("date")
    table.text("note")
    table.finish()
    return SourceReading(flow, method, date)


def _flow_typed(table: Table) -> Estimate:
    flow = _typed(table, "flow", "volume_flow", "what the spring or stream gives", FLOW_SPREAD)
    require_range("flow", flow.value, *FLOWS, "m3/s", "Time how long it takes to fill a bucket.")
    return flow


def _flow_by_bucket(table: Table) -> Estimate:
    volume = table.needed("volume", "volume", "of the bucket, to its mark")
    times = table.quantities("times", "duration", "how long each filling took")
    bucket, watch = table.table("bucket"), table.table("stopwatch")
    return source_flow.flow_by_bucket(
        volume,
        times,
        bucket=None if bucket is None else read_own_instrument(bucket, "bucket"),
        stopwatch=None if watch is None else read_own_instrument(watch, "stopwatch"),
    )


def _flow_by_notch(table: Table) -> Estimate:
    level = table.quantities("heads", "length", "the water's surface above the point of the notch")
    more = _given(
        angle=table.quantity("angle", "angle"),
        head_half_width=table.quantity("head_half_width", "length"),
        angle_half_width=table.quantity("angle_half_width", "angle"),
    )
    return source_flow.flow_by_notch(level, **more)


def _flow_by_float(table: Table) -> Estimate:
    bed = table.choice("bed", source_flow.FLOAT_COEFFICIENTS, "what the bed is like") if "bed" in table else "rough"
    return source_flow.flow_by_float(
        table.needed("distance", "length", "that the floats went"),
        table.quantities("times", "duration", "how long each float took"),
        table.needed("width", "length", "of the water's surface"),
        table.quantities("depths", "length", "at equal steps across, the banks left out"),
        bed=bed,
    )


_FLOWS: Mapping[str, Callable[[Table], Estimate]] = MappingProxyType(
    {"bucket": _flow_by_bucket, "notch": _flow_by_notch, "float": _flow_by_float, "typed": _flow_typed}
)


def _read_route(table: Table) -> Route | None:
    """The way of the delivery line, from [[site.NAME.route]]; None when there is none."""
    points = tuple(_read_point(one) for one in table.listed_tables("route"))
    if not points:
        return None
    route: Route = make(table, Route, points=points)
    return route


def _check_route_end(table: Table, route: Route, lift: float) -> None:
    """Refuse a route that ends at another height than the outlet's."""
    if abs(route.lift - lift) > max(_ROUTE_APART[0], _ROUTE_APART[1] * lift):
        raise table.error(
            "route",
            f"{route.lift:.1f} m at its end",
            f"the outlet is {lift:.1f} m above the pump by the lift",
            "Heights of the route count from the pump.",
        )


def _read_point(table: Table) -> RoutePoint:
    point: RoutePoint = make(
        table,
        RoutePoint,
        distance=table.needed("distance", "length", "along the pipe from the pump"),
        height=table.needed("height", "length", "above the pump"),
        note=table.text("note"),
    )
    table.finish()
    return point


def _read_survey(table: Table, fall: float) -> dict[str, Any]:
    """What else is known of the place, from [site.NAME.survey]."""
    inner = table.table("survey")
    if inner is None:
        return {}
    shares = inner.numbers("monthly_share", 12, 0.0, 100.0)
    found = _given(
        line_length=_length(inner, "line_length", 0.1, 20000.0),
        ground_to_source=_length(inner, "ground_to_source", fall, 20000.0),
        frost_depth=_length(inner, "frost_depth", 0.0, 5.0),
        stream_keeps=_not_negative(inner, "stream_keeps", "volume_flow"),
        wall_temperature=inner.quantity("wall_temperature", "temperature"),
        drinkers=inner.choice("drinkers", DRINKERS, "who drinks the water") if "drinkers" in inner else None,
        monthly_share=shares,
    )
    found["carries"] = inner.words("carries", CARRIED)
    if shares is not None and not any(shares):
        raise inner.error("monthly_share", "0 in every month", "some month must have water")
    wall = found.get("wall_temperature")
    if wall is not None and not 273.15 <= wall <= _HIGHEST_WALL:
        raise inner.error("wall_temperature", inner.typed_text("wall_temperature"), "it must be 0 to 80 degC")
    inner.finish()
    return found


def _length(table: Table, key: str, low: float, high: float) -> float | None:
    """A length within its range, None when absent."""
    value = table.quantity(key, "length")
    if value is not None and not low <= value <= high:
        raise table.error(key, table.typed_text(key), f"it must be {low:g} to {high:g} m")
    return value


def _not_negative(table: Table, key: str, kind: str) -> float | None:
    value = table.quantity(key, kind)
    if value is not None and value < 0.0:
        raise table.error(key, table.typed_text(key), "it must be 0 or more")
    return value


def _read_needs(table: Table | None) -> Needs | None:
    """What is needed, from [site.NAME.needs]; None when it was not said."""
    if table is None:
        return None
    each = tuple(_read_need(one) for one in table.listed_tables("use"))
    needs: Needs = make(
        table,
        Needs,
        each=each,
        fire_reserve=table.quantity("fire_reserve", "volume"),
        days_of_cover=table.number("days_of_cover", 0.0, 365.0),
    )
    table.finish()
    return needs


def _read_need(table: Table) -> Need:
    """One user of water, from [[site.NAME.needs.use]]."""
    what = table.name("what", 'who needs water: "person", "lactating cow", or words of your own')
    number = table.number("number", 0.0, 1e6)
    if number is None:
        raise table.missing("number", "how many of them; of a garden its square metres")
    each = table.quantity("each", "daily_volume_flow")
    months = _read_months(table)
    with errors_of(table):
        need = (
            published_need(what, number, months) if each is None else Need(what, number, each * 86400.0, months=months)
        )
    table.finish()
    return need


def _read_months(table: Table) -> tuple[int, ...]:
    """Months from "4-9", "11-2" or "7"; all of them when absent."""
    text = table.text("months")
    if text is None:
        return ALL_YEAR
    first, _, last = (part.strip() for part in text.partition("-"))
    last = last or first
    if not (first.isdecimal() and last.isdecimal() and 1 <= int(first) <= 12 and 1 <= int(last) <= 12):
        raise table.error("months", text, 'it must be a month or two, 1 to 12, such as "4-9" for April to September')
    count = (int(last) - int(first)) % 12 + 1
    return tuple(sorted((int(first) - 1 + step) % 12 + 1 for step in range(count)))


def _read_standing(table: Table | None) -> Standing | None:
    """What was chosen or built, from [site.NAME.design] or [site.NAME.as_built]."""
    if table is None:
        return None
    drive = table.table("drive_pipe")
    zones = tuple(_read_zone(one) for one in table.listed_tables("zones"))
    standing: Standing = make(
        table,
        Standing,
        build=table.name("build", "the build that is to stand there") if "build" in table else None,
        pumps=table.whole("pumps", 1, 20),
        stroke=table.quantity("stroke", "small_length"),
        mass=table.quantity("mass", "mass"),
        drive_pipe=None if drive is None else read_drive_pipe(drive),
        zones=zones,
        vessel_volume=table.quantity("vessel_volume", "volume"),
        tank_volume=table.quantity("tank_volume", "volume"),
        date=table.date("date"),
        warranty_months=table.whole("warranty_months", 0, 600),
        serial=table.text("serial"),
        note=table.text("note"),
    )
    table.finish()
    return standing


def _read_zone(table: Table) -> LaidPipe:
    zone = LaidPipe(
        read_pipe(table),
        table.needed("start", "length", "where it begins, along the line from the pump"),
        table.needed("end", "length", "where it ends"),
    )
    table.finish()
    return zone


def place_figures(place: Place) -> dict[str, float]:
    """SI figures worked out of a place's readings, each key ending in its unit, as a book keeps them."""
    survey = place.survey
    flow = source_flow.driest(survey)
    return {
        "fall_m": survey.fall.value,
        "fall_spread_m": survey.fall.standard_uncertainty,
        "lift_m": survey.lift.value,
        "lift_spread_m": survey.lift.standard_uncertainty,
        "source_flow_m3_s": flow.value,
        "source_flow_spread_m3_s": flow.standard_uncertainty,
        "line_length_m": survey.line_length,
    }


def undesigned(name: str) -> InputError:
    """Said where a job needs a designed place and finds a surveyed one."""
    return InputError(
        "site",
        f'"{name}"',
        "it is surveyed and not designed yet: it has no drive_pipe and no delivery_line",
        "Let clackwork design choose them, or write them in.",
    )
