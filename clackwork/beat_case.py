"""One engine run out of a workbook's names, and its trace as CSV."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from clackwork.errors import InputError
from clackwork.quantities import key_name, parse, to_display
from clackwork.ram.engine import RamCase
from clackwork.workbook import Workbook, pick, pick_sites

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

TRACE_KINDS = {
    "time": "duration",
    "body_head": "head",
    "velocity": "velocity",
    "opening": "small_length",
    "vessel_head": "head",
    "waste_flow": "volume_flow",
    "delivered_flow": "volume_flow",
}
"""Columns of a trace with their kinds."""


def beat_case(
    workbook: Workbook, build: str | None, rig: str | None, site: str | None, head: str | None
) -> tuple[RamCase, str]:
    """The engine case asked for, and its name in words.

    Without ``head`` a rig's delivery is shut, and a site runs with its own line.

    Raises
    ------
    InputError
        A name is unknown, or rig and site are both given.
    """
    if rig is not None and site is not None:
        raise InputError("--site", f'"{site}"', "give --rig or --site, not both")
    pump: Any = _one(workbook.builds, build, "build")
    held = None if head is None else parse(head, "head", field="--head").value
    if site is not None:
        place = pick_sites(workbook, site)[site]
        case = RamCase(
            pump,
            place.drive_pipe,
            place.supply,
            place.surroundings,
            vessel_head=place.line.lift if held is None else held,
            line=place.line if held is None else None,
        )
        return case, f"Build {pump.name} at {site}" + (f", {head} held" if head else "")
    bench: Any = _one(workbook.rigs, rig, "rig")
    supply = bench.supply.at_level(bench.supply.fall)
    case = RamCase(pump, bench.drive_pipe, supply, bench.surroundings, vessel_head=held)
    return case, f"Build {pump.name} on {bench.name}, " + (f"{head} held" if head else "delivery shut")


def source_of(workbook: Workbook, rig: str | None, site: str | None) -> tuple[float, float]:
    """What the source of a place gives [m3/s], infinite when it was not said, and the submergence there [m]."""
    place: Any = _one(workbook.rigs, rig, "rig") if site is None else pick_sites(workbook, site)[site]
    return place.source_flow, place.submergence


def _one(things: Mapping[str, object], name: str | None, what: str) -> object:
    """The thing called ``name``, or the first one."""
    chosen = pick(things, name, what)
    if not chosen:
        raise InputError(what, "(nothing)", f"the workbook describes no {what}")
    return next(iter(chosen.values()))


def trace_csv(columns: Mapping[str, NDArray[np.float64]], system: str) -> str:
    """A trace as CSV, the unit in every column's name."""
    head = ",".join(key_name(name, TRACE_KINDS[name], system) for name in columns)
    rows = zip(*(column.tolist() for column in columns.values()), strict=True)
    kinds = [TRACE_KINDS[name] for name in columns]
    lines = [
        ",".join(f"{to_display(value, kind, system):.7g}" for value, kind in zip(row, kinds, strict=True))
        for row in rows
    ]
    return "\n".join([head, *lines]) + "\n"
