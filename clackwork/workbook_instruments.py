"""Instruments out of a workbook's tables: described once by a name and used on several rigs, or in the rig itself."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any

from clackwork.bench.instruments import Bucket, Gauge, Instruments, LevelRule, Stopwatch, Thermometer
from clackwork.workbook_parts import errors_of, make
from clackwork.workbook_reader import Table

_NONE: Mapping[str, Any] = MappingProxyType({})
USED = "instrument"
"""Key by which a table of a rig's instruments names one that is described elsewhere."""


@dataclass(frozen=True)
class Sort:
    """A sort of instrument: what makes one, its fields with their kinds, and which of them its place on a rig decides."""

    make: type[Any]
    fields: Mapping[str, str]
    at_the_rig: tuple[str, ...] = ()
    named: bool = True


SORTS: Mapping[str, Sort] = MappingProxyType(
    {
        "gauge": Sort(
            Gauge,
            {
                "full_scale": "pressure_gauge",
                "accuracy_class": "fraction",
                "resolution": "pressure_gauge",
                "height_above_datum": "length",
                "height_half_width": "length",
            },
            ("height_above_datum", "height_half_width"),
        ),
        "bucket": Sort(Bucket, {"mark_uncertainty": "volume", "plan_area": "area", "capacity": "volume"}),
        "stopwatch": Sort(Stopwatch, {"start_stop_sd": "duration"}, named=False),
        "level_rule": Sort(LevelRule, {"half_width": "length", "datum_half_width": "length"}),
        "thermometer": Sort(Thermometer, {"half_width": "temperature_difference"}, named=False),
    }
)
ROLES: Mapping[str, str] = MappingProxyType(
    {
        "gauge": "gauge",
        "bucket": "bucket",
        "delivery_bucket": "bucket",
        "stopwatch": "stopwatch",
        "level_rule": "level_rule",
        "thermometer": "thermometer",
    }
)
"""What a rig is read with, and the sort of instrument it takes."""
_OTHER_KEYS = {("thermometer", "half_width"): "temperature_half_width"}
"""Fields whose key in [instrument.NAME] differs from that in a rig, so that a key means one kind of quantity there."""


def own_fields(sort: str) -> dict[str, str]:
    """Fields of an instrument described by itself: their keys, and the names of its class they are for."""
    return {
        _OTHER_KEYS.get((sort, name), name): name for name in SORTS[sort].fields if name not in SORTS[sort].at_the_rig
    }


def read_instrument(table: Table, name: str) -> Any:
    """An instrument, from [instrument.NAME]; what is not described keeps its usual uncertainty."""
    sort = table.choice("sort", SORTS, "which sort of instrument it is")
    of = SORTS[sort]
    values: dict[str, Any] = {inner: table.quantity(key, of.fields[inner]) for key, inner in own_fields(sort).items()}
    if of.named:
        values["name"] = name
    table.text("note")
    made = make(table, of.make, **values)
    table.finish()
    return made


def read_instruments(table: Table | None, described: Mapping[str, Any] = _NONE) -> Instruments:
    """Instruments of a rig or a visit; what is not described keeps its usual uncertainty.

    Parameters
    ----------
    table : Table or None
    described : mapping of str to instrument
        Those described by themselves.
    """
    if table is None:
        return Instruments()
    chosen = {}
    for role, sort in ROLES.items():
        inner = table.table(role)
        if inner is not None:
            chosen[role] = _used(inner, SORTS[sort], described) if USED in inner else read_own_instrument(inner, sort)
    table.finish()
    return Instruments(**chosen)


def read_own_instrument(table: Table, sort: str) -> Any:
    """An instrument of a sort described where it is used: in a rig, or beside the readings of a survey."""
    of = SORTS[sort]
    values: dict[str, Any] = {name: table.quantity(name, kind) for name, kind in of.fields.items()}
    if of.named:
        values["name"] = table.text("name")
    made = make(table, of.make, **values)
    table.finish()
    return made


def _used(table: Table, of: Sort, described: Mapping[str, Any]) -> Any:
    """An instrument described elsewhere, as it is placed on this rig."""
    name = table.choice(
        USED, [key for key, one in described.items() if isinstance(one, of.make)], "the instrument used"
    )
    for key in (*of.fields, "name"):
        if key not in of.at_the_rig and key in table:
            said = f"instrument '{name}' says it"
            raise table.error(key, "(typed)", said, f"Change it there, or leave {USED} out here.")
    placed = {key: table.quantity(key, of.fields[key]) for key in of.at_the_rig}
    table.finish()
    with errors_of(table):
        return replace(described[name], **{key: value for key, value in placed.items() if value is not None})
