"""A choice of a design taken into its site: its pipes and tuning as they would be typed, one change that undo puts back."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from clackwork.book import Book, Record
from clackwork.errors import InputError
from clackwork.pipes import Pipe
from clackwork.quantities import format_quantity
from clackwork.site.design import Choice, Design, Zone

if TYPE_CHECKING:
    from clackwork.shop.designing import KeptDesign

_FIGURES = 5
"""Significant figures of what is written: far finer than any pipe is cut."""


def pipe_table(pipe: Pipe, system: str) -> dict[str, Any]:
    """A pipe as a workbook has it: series and size, or its measures."""
    if pipe.series != "custom":
        return {"series": pipe.series, "size": pipe.size}
    table = {
        "bore": _typed(pipe.bore, "small_length", system),
        "wall": _typed(pipe.wall, "small_length", system),
        "material": pipe.material,
    }
    if pipe.rating_gauge is not None:
        table["rating"] = _typed(pipe.rating_gauge, "pressure_gauge", system)
    return table


def _typed(value: float, kind: str, system: str) -> str:
    """A figure with its unit as a person would type it: no spaces in its thousands, no zeros at its end."""
    number, _, unit = format_quantity(value, kind, system, figures=_FIGURES).replace("\u00a0", " ").rpartition(" ")
    number = number.replace(" ", "")
    return f"{number.rstrip('0').rstrip('.') if '.' in number else number} {unit}"


def choice_tables(choice: Choice, system: str) -> dict[str, Any]:
    """The tables of a site that a choice fills: drive pipe, delivery line, supply pipe if any, design."""
    site, drive, valve = choice.site, choice.drive_pipe, choice.build.waste_valve
    tables: dict[str, Any] = {
        "drive_pipe": {
            **pipe_table(drive.pipe, system),
            "length": _typed(drive.length, "length", system),
            "entry_loss": round(drive.entry_loss, 4),
            "anchoring": drive.anchoring,
        },
        "delivery_line": {
            **pipe_table(site.line.pipe, system),
            "length": _typed(site.line.length, "length", system),
            "fittings_loss": round(site.line.fittings_loss, 4),
        },
        "design": {
            "build": choice.twin_name,
            "pumps": choice.pumps,
            "stroke": _typed(valve.stroke, "small_length", system),
            "mass": _typed(valve.mass, "mass", system),
            "zones": [_zone_table(zone, system) for zone in choice.zones],
            "vessel_volume": _typed(choice.vessel_volume, "volume", system),
        },
    }
    if choice.tank_volume is not None:
        tables["design"]["tank_volume"] = _typed(choice.tank_volume, "volume", system)
    if choice.feed is not None:
        tables["supply_pipe"] = {
            **pipe_table(choice.feed.pipe, system),
            "length": _typed(choice.feed.length, "length", system),
            "fittings_loss": round(choice.feed.fittings_loss, 4),
            "standpipe_diameter": _typed(choice.standpipe_diameter, "length", system),
        }
    return tables


def _zone_table(zone: Zone, system: str) -> dict[str, Any]:
    """A stretch of the delivery line as a workbook has it."""
    ends = {"start": _typed(zone.start, "length", system), "end": _typed(zone.end, "length", system)}
    return {**pipe_table(zone.pipe, system), **ends}


def chosen_entered(entered: Mapping[str, Any], choice: Choice, system: str) -> dict[str, Any]:
    """What is typed of a site with a choice taken into it; a supply pipe of a choice before goes."""
    kept = {key: value for key, value in entered.items() if key not in ("drive_pipe", "delivery_line", "supply_pipe")}
    return {**kept, **choice_tables(choice, system)}


def chosen_place(site: Record, design: Design) -> int | None:
    """Place of the choice that stands in a site's record; None when none does."""
    for system in ("metric", "us"):
        for place, choice in enumerate(design.choices):
            tables = choice_tables(choice, system)
            if all(site.entered.get(name) == table for name, table in tables.items()):
                return place
    return None


def choose(
    book: Book, kept: KeptDesign, place: int, *, site_id: int, version: int, system: str = "metric", by: str = ""
) -> Record:
    """Take a choice into its site.

    Parameters
    ----------
    book : Book
    kept : KeptDesign
    place : int
        Of the choice.
    site_id, version : int
        The site, and the version it was looked at.
    system : {"metric", "us"}
        Units in which it is written.
    by : str, optional

    Raises
    ------
    InputError
        No such choice.
    Conflict
        The site was changed in between.
    """
    if not 0 <= place < len(kept.design.choices):
        raise InputError("choice", place + 1, f"it must be 1 to {len(kept.design.choices)}")
    site = book.get("site", site_id)
    entered = chosen_entered(site.entered, kept.design.choices[place], system)
    return book.change("site", site_id, version=version, entered=entered, by=by)
