"""The kinds of record: what each is linked to, and how what was typed in it is read.

What was typed is read by the readers of a workbook, so a field means in the book what it means in a file, and an error
names it in the same words.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

from clackwork.errors import InputError
from clackwork.quantities import KINDS as QUANTITY_KINDS
from clackwork.quantities import SYSTEMS, Quantity
from clackwork.twin.twin import Rig
from clackwork.workbook_instruments import ROLES as INSTRUMENT_ROLES
from clackwork.workbook_instruments import USED, read_instrument
from clackwork.workbook_life import read_part, read_switch
from clackwork.workbook_parts import read_build
from clackwork.workbook_prices import read_prices
from clackwork.workbook_reader import Table
from clackwork.workbook_runs import read_rig, read_run, read_trial
from clackwork.workbook_sites import Place, place_figures, read_place
from clackwork.workbook_stock import read_stock
from clackwork.workbook_visits import read_care, read_visit


@dataclass(frozen=True)
class Link:
    """What a role of a record points to, and whether it must be given."""

    kind: str
    needed: bool


LINKS: Mapping[str, Mapping[str, Link]] = MappingProxyType(
    {
        "workshop": {},
        "pump": {},
        "instrument": {},
        "rig": {role: Link("instrument", False) for role in INSTRUMENT_ROLES},
        "site": {},
        "build": {"pump": Link("pump", True), "revision_of": Link("build", False)},
        "trial": {
            "pump": Link("pump", True),
            "old_build": Link("build", True),
            "new_build": Link("build", True),
        },
        "run": {
            "pump": Link("pump", True),
            "build": Link("build", True),
            "rig": Link("rig", True),
            "trial": Link("trial", False),
        },
        "visit": {"pump": Link("pump", False), "build": Link("build", False), "site": Link("site", True)},
        "part": {
            "pump": Link("pump", True),
            "build": Link("build", True),
            "site": Link("site", False),
            "rig": Link("rig", False),
        },
        "switch": {
            "pump": Link("pump", True),
            "old_build": Link("build", True),
            "new_build": Link("build", True),
        },
        "twin": {"pump": Link("pump", True), "build": Link("build", True)},
        "file": {role: Link(role, False) for role in ("pump", "build", "trial", "run", "rig", "site")},
    }
)
"""Roles of each kind of record. The pump of what hangs on a build follows from that and need not be given."""

KINDS = tuple(LINKS)
SCOPED = ("build", "trial", "run", "twin")
"""Kinds whose names are alone within their pump; the others' within the book."""
IN_WORKBOOK = ("pump", "instrument", "rig", "build", "trial", "run", "site", "visit", "part", "switch")
"""Kinds that a workbook holds."""
LISTED = ("run", "visit", "part")
"""Kinds whose tables stand in a list, their name within; the others' stand by name."""
_LINKED_FIELDS = {
    "build": ("revision_of", "pump"),
    "trial": ("builds",),
    "run": ("name", "build", "rig", "trial"),
    "visit": ("name", "build", "site"),
    "part": ("name", "build", "site", "rig"),
    "pump": ("pump",),
}
"""Fields of a workbook's tables that are links or the name in the book."""

SI_UNITS: Mapping[str, str] = MappingProxyType(
    {
        "length": "m",
        "water_column": "m",
        "area": "m2",
        "volume": "m3",
        "mass": "kg",
        "duration": "s",
        "volume_flow": "m3_s",
        "pressure": "pa",
        "gauge_pressure": "pa",
        "temperature": "k",
        "temperature_difference": "k",
        "velocity": "m_s",
        "force": "n",
        "stiffness": "n_m",
        "rotational_stiffness": "n_m_rad",
        "density": "kg_m3",
        "angle": "rad",
        "beat_rate": "per_s",
        "fraction": "",
        "count": "",
        "inertia": "kg_m2",
    }
)
"""End of a key of `Record.si` by dimension of the quantity."""


@dataclass(frozen=True)
class Around:
    """What the readers need to know of the records a record is linked to.

    Attributes
    ----------
    names : mapping of str to str
        Name of the record in each role.
    rig : Rig or None
        The rig a run stood on.
    instruments : mapping of str to mapping
        What was typed of the instruments of a rig, by role.
    """

    names: Mapping[str, str]
    rig: Rig | None = None
    instruments: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)


def check_kind(kind: str) -> None:
    """Refuse a kind of record that does not exist.

    Raises
    ------
    InputError
    """
    if kind not in LINKS:
        raise InputError("kind", kind, f"it must be one of {', '.join(KINDS)}")


def table_of(kind: str, name: str, entered: Mapping[str, Any], around: Around) -> dict[str, Any]:
    """What was typed together with its links: the table a workbook has for it."""
    for key in _LINKED_FIELDS.get(kind, ()):
        if key in entered:
            raise InputError(
                f"{kind} '{name}', {key}", entered[key], "it is given as a link or as the name, not typed here"
            )
    names = around.names
    if kind in LISTED:
        links = {role: names[role] for role in ("build", "rig", "trial", "site") if role in names}
        return {"name": name, **links, **entered}
    if kind == "switch":
        first = {"old": names["old_build"], "new": names["new_build"]}
        return {**entered, "pair": [first, *entered.get("pair", [])]}
    if kind == "trial":
        return {"builds": [names["old_build"], names["new_build"]], **entered}
    if kind == "build" and "revision_of" in names:
        return {"revision_of": names["revision_of"], **entered}
    if kind == "rig":
        return _with_instruments(name, entered, names)
    return dict(entered)


def _with_instruments(name: str, entered: Mapping[str, Any], names: Mapping[str, str]) -> dict[str, Any]:
    """What was typed of a rig, and in its instruments the names of those that are linked."""
    typed = entered.get("instruments")
    tables = typed if isinstance(typed, Mapping) else {}
    for role, table in tables.items():
        if isinstance(table, Mapping) and USED in table:
            where = f"rig '{name}', instruments, {role}, {USED}"
            raise InputError(where, table[USED], "it is given as a link, not typed here")
    used = {role: {USED: names[role]} for role in INSTRUMENT_ROLES if role in names}
    if not used or (typed is not None and typed is not tables):
        return dict(entered)
    placed = {role: tables.get(role, {}) for role in used}
    told = {role: {**table, **placed[role]} for role, table in used.items() if isinstance(placed[role], Mapping)}
    return {**entered, "instruments": {**tables, **told}}


def instruments_apart(table: Mapping[str, Any]) -> tuple[dict[str, Any], dict[str, str]]:
    """A rig's table without the names of instruments described elsewhere, and those names by role."""
    tables = table.get("instruments", {})
    used = {role: inner[USED] for role, inner in tables.items() if USED in inner}
    left = {role: {key: one for key, one in inner.items() if key != USED} for role, inner in tables.items()}
    kept = {role: inner for role, inner in left.items() if inner or role not in used}
    rest = {key: value for key, value in table.items() if key != "instruments"}
    return (rest | {"instruments": kept} if kept or (tables and not used) else rest), used


def read_entered(kind: str, name: str, entered: Mapping[str, Any], around: Around) -> dict[str, float | None]:
    """Check what was typed and return the SI figures in it, flat, each key ending in its unit.

    Raises
    ------
    InputError
        A field is missing, unknown or not usable; the message names it.
    """
    typed: dict[str, Quantity] = {}
    path = f"{kind}.{name}"
    table = Table(table_of(kind, name, entered, around), f"{kind} '{name}'", path, typed)
    thing = _READERS[kind](table, name, around)
    found: dict[str, float | None] = {}
    for place, quantity in typed.items():
        key = place[len(path) + 1 :].replace(".", "_")
        unit = SI_UNITS[QUANTITY_KINDS[quantity.kind].dimensions[0]]
        found[f"{key}_{unit}" if unit else key] = quantity.value
    _add_plain_numbers(entered, "", found)
    if isinstance(thing, Place):
        found |= place_figures(thing)
    return found


def rig_of(name: str, entered: Mapping[str, Any], around: Around) -> Rig:
    """A rig from what was typed of it and of its instruments."""
    table = table_of("rig", name, entered, around)
    return _read_rig(Table(table, f"rig '{name}'", f"rig.{name}", {}), name, around)


def _add_plain_numbers(entered: Mapping[str, Any], path: str, found: dict[str, float | None]) -> None:
    """Add numbers typed without a unit: coefficients and counts."""
    for key, value in entered.items():
        if isinstance(value, Mapping):
            _add_plain_numbers(value, f"{path}{key}_", found)
        elif isinstance(value, int | float) and not isinstance(value, bool):
            found.setdefault(f"{path}{key}", float(value))


def _read_workshop(table: Table, name: str, around: Around) -> None:
    """The workshop: as a pump, its price list, as in [prices], its stock and intervals of care, as in [stock] and [care]."""
    prices = table.table("prices")
    if prices is not None:
        read_prices(prices)
    read_stock(table.table("stock"))
    read_care(table.table("care"))
    _read_head(table, name, around)


def _read_head(table: Table, name: str, around: Around) -> None:
    """Title, units and note of the workshop or of a pump, as in [workbook]."""
    table.text("title")
    if "units" in table:
        table.choice("units", SYSTEMS, "how answers are shown")
    table.text("note")
    table.finish()


def _read_note(table: Table, name: str, around: Around) -> None:
    """Nothing but a note may be typed of what the program itself keeps."""
    table.text("note")
    table.finish()


def _read_build(table: Table, name: str, around: Around) -> object:
    if "revision_of" in table:
        table.name("revision_of", "the build it was made from")
    return read_build(table, name)


def _read_run(table: Table, name: str, around: Around) -> object:
    if "trial" in table:
        table.name("trial", "the trial it was made for")
    assert around.rig is not None  # whoever reads a run gives its rig
    return read_run(table, 1, [around.names["build"]], {around.rig.name: around.rig})


def _read_rig(table: Table, name: str, around: Around) -> Rig:
    described = {
        around.names[role]: read_instrument(
            Table(dict(entered), f"instrument '{around.names[role]}'", f"instrument.{around.names[role]}", {}),
            around.names[role],
        )
        for role, entered in around.instruments.items()
    }
    return read_rig(table, name, described)


def _read_trial(table: Table, name: str, around: Around) -> object:
    return read_trial(table, name, [around.names["old_build"], around.names["new_build"]])


def _read_visit(table: Table, name: str, around: Around) -> object:
    builds = [around.names["build"]] if "build" in around.names else []
    return read_visit(table, builds, [around.names["site"]])


def _read_part(table: Table, name: str, around: Around) -> object:
    sites, rigs = ([around.names[role]] if role in around.names else [] for role in ("site", "rig"))
    return read_part(table, [around.names["build"]], sites, rigs)


def _read_switch(table: Table, name: str, around: Around) -> object:
    """A switch; whether the builds of its further sizes are there is seen when the whole book is read."""
    named = {one.text(which) for one in table.listed_tables("pair") for which in ("old", "new")}
    return read_switch(table, name, {one for one in named if one})


_READERS: Mapping[str, Callable[[Table, str, Around], object]] = MappingProxyType(
    {
        "workshop": _read_workshop,
        "pump": _read_head,
        "instrument": lambda table, name, around: read_instrument(table, name),
        "rig": _read_rig,
        "build": _read_build,
        "trial": _read_trial,
        "run": _read_run,
        "site": lambda table, name, around: read_place(table, name),
        "visit": _read_visit,
        "part": _read_part,
        "switch": _read_switch,
        "twin": _read_note,
        "file": _read_note,
    }
)
