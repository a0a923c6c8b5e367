"""Builds, pipes and supplies out of a workbook's tables."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any, get_args

from clackwork.errors import InputError, require_positive
from clackwork.hammer import Anchoring
from clackwork.pipes import Pipe, custom_pipe, find_pipe, material_names, series_names
from clackwork.ram.parts import (
    AirVessel,
    Build,
    DeliveryValve,
    DrivePipe,
    GuidedPoppet,
    HingedFlap,
    Snifter,
    Supply,
    SupplyPipe,
    Surroundings,
    WasteValve,
)
from clackwork.water import water_at
from clackwork.workbook_errors import keys_behind, restated
from clackwork.workbook_reader import Table, nearest

VALVE_KINDS = ("guided poppet", "hinged flap")

_COMMON_VALVE = {
    "mass": "mass",
    "stroke": "small_length",
    "seat_bore": "small_length",
    "material_density": "density",
    "tilt": "angle",
    "seat_leak_area": "area",
    "held_open": "small_length",
}
_POPPET = {**_COMMON_VALVE, "spring_rate": "stiffness", "spring_preload": "force"}
_FLAP = {
    **_COMMON_VALVE,
    "mass_distance": "small_length",
    "seat_distance": "small_length",
    "inertia": "inertia",
    "hinge_stiffness": "rotational_stiffness",
}
_NEEDED = {"mass", "stroke", "seat_bore", "mass_distance", "seat_distance"}
_COEFFICIENTS = ("discharge_coefficient", "closing_coefficient", "damping", "restitution")


def pipe_named(table: Table, key: str, shown: object, name: str) -> Pipe:
    """A pipe of the catalogue from its series and size, "steel-sch40 1 in", refused at a field with what stands there.

    Raises
    ------
    InputError
        No such series or size; the nearest series is named.
    """
    series, _, size = name.strip().partition(" ")
    try:
        return find_pipe(series, size)
    except InputError as error:
        hint = nearest(series, series_names()) if error.field == "series" else ""
        raise table.error(key, shown, f"there is no such pipe: {error.allowed}", hint) from error


@contextmanager
def errors_of(*tables: Table) -> Iterator[None]:
    """Restate errors raised while an object is made: the first table's name, the field and text typed there.

    A field that was not typed in the first table is looked for in the next.
    """
    try:
        yield
    except InputError as error:
        if error.field.startswith(tables[0].label):
            raise
        keys = keys_behind(error.field)
        typed_in = [(table, key) for table in tables for key in keys if table.typed(key) is not None]
        table, key = (*typed_in, (tables[0], keys[0]))[0]
        raise restated(error, table.field(key), table.typed(key)) from error


def make(table: Table, kind: Callable[..., Any], outer: Table | None = None, /, **values: Any) -> Any:
    """Make an object of the values given, leaving absent ones to their defaults; errors name table, field and text.

    ``outer`` is the table that holds fields which ``table`` does not.
    """
    with errors_of(table) if outer is None else errors_of(table, outer):
        return kind(**{name: value for name, value in values.items() if value is not None})


def read_waste_valve(table: Table) -> WasteValve:
    """A waste valve of either kind, from [build.NAME.waste_valve]."""
    kind = table.choice("kind", VALVE_KINDS, "which sort of waste valve it is")
    fields = _POPPET if kind == "guided poppet" else _FLAP
    values: dict[str, float | None] = {}
    for name, quantity_kind in fields.items():
        values[name] = (
            table.needed(name, quantity_kind, "measure it on the moving part or the seat")
            if name in _NEEDED
            else table.quantity(name, quantity_kind)
        )
    for name in _COEFFICIENTS:
        values[name] = table.number(name, 0.0, 100.0)
    table.finish()
    made: WasteValve = make(table, GuidedPoppet if kind == "guided poppet" else HingedFlap, **values)
    return made


def read_build(table: Table, name: str) -> Build:
    """A build, from [build.NAME]."""
    valve = read_waste_valve(table.needed_table("waste_valve", "describe the waste valve"))
    inner = table.needed_table("delivery_valve", "describe the delivery valve")
    delivery = make(
        inner,
        DeliveryValve,
        bore=inner.needed("bore", "small_length", "the bore of its seat"),
        loss_coefficient=inner.number("loss_coefficient", 0.1, 500.0),
        cracking_head=inner.quantity("cracking_head", "head"),
        slip_volume=inner.quantity("slip_volume", "volume"),
        leak_area=inner.quantity("leak_area", "area"),
    )
    inner.finish()
    inner = table.needed_table("air_vessel", "describe the air vessel")
    vessel = make(
        inner,
        AirVessel,
        volume=inner.needed("volume", "volume", "the whole volume inside"),
        precharge_gauge=inner.quantity("precharge", "pressure_gauge"),
        polytropic_index=inner.number("polytropic_index", 1.0, 1.4),
    )
    inner.finish()
    body_air, snifter = table.quantity("body_air", "volume"), read_snifter(table.table("snifter"))
    table.text("note")
    table.finish()
    build: Build = make(
        table, Build, name=name, waste_valve=valve, delivery_valve=delivery, air_vessel=vessel, body_air=body_air,
        snifter=snifter,
    )  # fmt: skip
    return build


def read_snifter(table: Table | None) -> Snifter | None:
    """A snifter, from [build.NAME.snifter]; None where the build has none."""
    if table is None:
        return None
    snifter: Snifter = make(
        table,
        Snifter,
        bore=table.needed("bore", "small_length", "the bore of the hole"),
        discharge_coefficient=table.number("discharge_coefficient", 0.1, 1.0),
    )
    table.finish()
    return snifter


def read_pipe(table: Table) -> Pipe:
    """A pipe by series and size, or by bore, wall and material."""
    if "series" in table or "size" in table:
        series, size = table.text("series"), table.text("size")
        if series is None or size is None:
            raise table.missing(
                "size" if series else "series", f'series and size go together, such as "{series_names()[0]}", "1 in"'
            )
        with errors_of(table):
            return find_pipe(series, size)
    bore = table.needed("bore", "small_length", "give series and size, or bore, wall and material")
    pipe: Pipe = make(
        table,
        custom_pipe,
        bore=bore,
        wall=table.needed("wall", "small_length", "the thickness of the pipe's wall"),
        material=table.choice("material", material_names(), "what the pipe is made of"),
        rating_gauge=table.quantity("rating", "pressure_gauge"),
        youngs_modulus=table.quantity("modulus", "modulus"),
        roughness=table.quantity("roughness", "small_length"),
    )
    return pipe


def read_drive_pipe(table: Table) -> DrivePipe:
    """A drive pipe, from [rig.NAME.drive_pipe] or [site.NAME.drive_pipe], and what it comes from, from its ``upstream``."""
    pipe = read_pipe(table)
    inner = table.table("upstream")
    upstream = None if inner is None else read_drive_pipe(inner)
    if upstream is not None and "entry_loss" in table:
        lost = table.number("entry_loss", 0.0, 100.0)
        raise table.error("entry_loss", lost, "the mouth is that of the pipe upstream", "Write it in its table.")
    anchoring = None
    if "anchoring" in table:
        anchoring = table.choice("anchoring", get_args(Anchoring), "how the pipe is held")
    drive: DrivePipe = make(
        table,
        DrivePipe,
        pipe=pipe,
        length=table.needed("length", "length", "the length of the drive pipe"),
        entry_loss=table.number("entry_loss", 0.0, 100.0),
        anchoring=anchoring,
        gas_fraction=table.quantity("gas_fraction", "fraction"),
        upstream=upstream,
    )
    table.finish()
    return drive


def read_feed(table: Table | None) -> tuple[SupplyPipe | None, float | None]:
    """A supply pipe into a standpipe and that standpipe's plan area [m2], from [rig.NAME.supply_pipe] or a site's."""
    if table is None:
        return None, None
    pipe = read_pipe(table)
    feed: SupplyPipe = make(
        table,
        SupplyPipe,
        pipe=pipe,
        length=table.needed("length", "length", "the length of the supply pipe"),
        fittings_loss=table.number("fittings_loss", 0.0, 1000.0),
    )
    area = _plan_area(table, "standpipe")
    if area is None:
        raise table.missing("standpipe_diameter", "the inside diameter of the standpipe, or standpipe_area")
    table.finish()
    return feed, area


def _plan_area(table: Table, what: str) -> float | None:
    """Plan area [m2] from ``what``_area or ``what``_diameter."""
    keys = (f"{what}_area", f"{what}_diameter")
    area, diameter = table.quantity(keys[0], "area"), table.quantity(keys[1], "length")
    if area is not None and diameter is not None:
        raise table.error(keys[1], f"{diameter:g} m", f"give {keys[0]} or {keys[1]}, not both")
    with errors_of(table):
        for key, value, unit in ((keys[0], area, "m2"), (keys[1], diameter, "m")):
            if value is not None:
                require_positive(key, value, unit, "Leave it out when the supply is held.")
    return area if diameter is None else 0.25 * math.pi * diameter**2


def read_surroundings(table: Table) -> Surroundings:
    """Water temperature and altitude of a rig or site."""
    surroundings: Surroundings = make(
        table,
        Surroundings,
        temperature=table.quantity("water_temperature", "temperature"),
        altitude=table.quantity("altitude", "length"),
    )
    with errors_of(table):
        water_at(surroundings.temperature, surroundings.altitude)
    return surroundings


def read_supply(table: Table) -> Supply:
    """The supply of a rig: its fall, and the vessel that empties if there is one."""
    fall = table.needed("fall", "head", "the supply surface above the level at which the waste valve spills")
    area = _plan_area(table, "supply")
    feed, standpipe = read_feed(table.table("supply_pipe"))
    if feed is not None and area is not None:
        key = "supply_area" if table.typed("supply_area") else "supply_diameter"
        raise table.error(
            key, table.typed_text(key), "a supply pipe fills a standpipe", "Write its size in supply_pipe."
        )
    supply: Supply = make(table, Supply, fall=fall, plan_area=standpipe if feed else area, feed=feed)
    return supply
