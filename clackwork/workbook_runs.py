"""Rigs, runs and trials out of a workbook's tables."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any

from clackwork.bench.runs import Run, RunKind
from clackwork.errors import InputError
from clackwork.twin.twin import Rig
from clackwork.water import water_at
from clackwork.workbook_errors import in_unit_typed
from clackwork.workbook_instruments import read_instruments
from clackwork.workbook_parts import errors_of, make, read_drive_pipe, read_supply, read_surroundings
from clackwork.workbook_reader import Table

_NONE: Mapping[str, Any] = MappingProxyType({})
RUN_KINDS = tuple(kind.value for kind in RunKind)

TRIAL_FIGURES = {
    "waste_flow": "volume_flow",
    "delivered_flow": "volume_flow",
    "drawn_flow": "volume_flow",
    "beat_rate": "beat_rate",
    "water_per_beat": "volume",
    "daubuisson_efficiency": "fraction",
    "rankine_efficiency": "fraction",
    "shut_off_head": "head",
}
"""Figures a trial may compare, with the kind of quantity each is."""


@dataclass(frozen=True)
class Trial:
    """A question put to the bench: does the new build differ from the old in one figure?

    Attributes
    ----------
    name : str
    builds : tuple of two str
        Old and new.
    figure : str
        A key of `TRIAL_FIGURES`.
    kind : RunKind
        Which runs are compared.
    margin : float
        Differences within it count as the same; a share of the old build's figure.
    difference_that_matters : float
        The difference the trial should be able to find; a share of the old build's figure.
    back_pressure_head : float or None
        Only delivering runs within a tenth of it are compared [m above datum]; None takes all.
    note : str
    """

    name: str
    builds: tuple[str, str]
    figure: str
    kind: RunKind
    margin: float
    difference_that_matters: float
    back_pressure_head: float | None = None
    note: str = ""


def read_rig(table: Table, name: str, described: Mapping[str, Any] = _NONE) -> Rig:
    """A rig, from [rig.NAME]; ``described`` are the instruments of [instrument.NAME] by name."""
    supply = read_supply(table)
    drive = read_drive_pipe(table.needed_table("drive_pipe", "series, size and length"))
    surroundings = read_surroundings(table)
    instruments = read_instruments(table.table("instruments"), described)
    source_flow, submergence = table.quantity("source_flow", "volume_flow"), table.quantity("submergence", "length")
    if instruments.bucket.plan_area is None and math.isfinite(supply.plan_area) and supply.feed is None:
        instruments = replace(instruments, bucket=replace(instruments.bucket, plan_area=supply.plan_area))
    table.text("note")
    table.finish()
    rig: Rig = make(
        table, Rig, name=name, drive_pipe=drive, supply=supply, surroundings=surroundings, instruments=instruments,
        source_flow=source_flow, submergence=submergence,
    )  # fmt: skip
    return rig


def read_run(table: Table, place: int, builds: Iterable[str], rigs: Mapping[str, Rig]) -> Run:
    """A run, from the ``place``-th [[run]]; its order is its place unless given."""
    name = table.name("name", "call the run something, such as 'flap 3'")
    build = table.choice("build", builds, "the build on the rig")
    rig = table.choice("rig", rigs, "the rig it stood on")
    kind = RunKind(table.choice("kind", RUN_KINDS, "how the pump was run"))
    temperature = table.quantity("water_temperature", "temperature")
    if temperature is not None:
        with errors_of(table):
            water_at(temperature)
    order = table.whole("order", 1, 100_000)
    pressure, head = _read_gauge(table, rigs[rig])
    fall = table.quantity("fall", "head")
    run: Run = make(
        table,
        Run,
        name=name,
        build=build,
        rig=rig,
        kind=kind,
        order=place if order is None else order,
        duration=table.quantity("duration", "duration"),
        drawn_volume=table.quantity("drawn_volume", "volume"),
        waste_volume=table.quantity("waste_volume", "volume"),
        delivered_volume=table.quantity("delivered_volume", "volume"),
        beats=_whole(table.quantity("beats", "count")),
        pressure_gauge=pressure,
        gauge_head=head,
        fall_start=rigs[rig].supply.fall if fall is None else fall,
        fall_end=table.quantity("fall_end", "head"),
        water_temperature=temperature,
        tilt=table.quantity("tilt", "angle"),
        note=table.text("note"),
    )
    table.finish()
    _check_supply(table, run, rigs[rig])
    _check_counted(table, run)
    return run


def _check_counted(table: Table, run: Run) -> None:
    """Refuse a nought that was not read: a pump that beats has beats, and it spills."""
    beating = run.kind in (RunKind.SHUT_BEATING, RunKind.DELIVERING)
    for key, value, never in (
        ("beats", run.beats, beating),
        ("waste_volume", run.waste_volume, beating or run.kind is RunKind.HELD_OPEN),
        ("drawn_volume", run.drawn_volume, beating or run.kind is RunKind.HELD_OPEN),
    ):
        if never and value == 0:
            what = f"a {run.kind.value.replace('_', ' ')} run has some"
            raise table.error(key, table.typed_text(key), what, "Leave it out when it was not read.")


def _check_supply(table: Table, run: Run, rig: Rig) -> None:
    """Refuse a run that took more water than its supply vessel holds above the pump."""
    key = "waste_volume" if run.drawn_volume is None else "drawn_volume"
    out = (run.waste_volume or 0.0) + (run.delivered_volume or 0.0) if run.drawn_volume is None else run.drawn_volume
    held = math.inf if rig.supply.feed else rig.supply.plan_area * run.fall_start
    if out > held + 2.0 * rig.instruments.bucket.mark_uncertainty:
        keys = [key] if run.drawn_volume is not None else ["waste_volume", "delivered_volume"]
        read = [quantity for quantity in map(table.typed, keys) if quantity is not None]
        amount = in_unit_typed(held, read[0]) or f"{1e3 * held:.4g} L"
        raise InputError(
            table.field(key),
            " and ".join(f'"{quantity.text}"' for quantity in read) + (" delivered" if len(read) > 1 else ""),
            f"the supply vessel of rig '{rig.name}' holds {amount} above the pump and would be empty before the time given",
            "Stop the watch before it runs dry, or leave supply_area and supply_diameter out if it was refilled.",
        )


def _whole(value: float | None) -> int | None:
    return None if value is None else round(value)


def _read_gauge(table: Table, rig: Rig) -> tuple[float | None, float | None]:
    """Pressure read at the gauge [Pa], or head of a standpipe above the datum [m]; at most one of the two."""
    pressure = table.quantity("gauge_pressure", "pressure_gauge")
    head = table.quantity("back_pressure_head", "head")
    if pressure is not None and head is not None:
        text = table.typed_text("back_pressure_head")
        raise table.error("back_pressure_head", text, "give gauge_pressure or back_pressure_head, not both")
    full_scale = rig.instruments.gauge.full_scale
    read = table.typed("gauge_pressure")
    if read is not None and read.value > full_scale:
        end = in_unit_typed(full_scale, read) or f"{full_scale / 1e5:g} bar"
        allowed = f"the gauge of rig '{rig.name}' ends at {end}"
        raise table.error("gauge_pressure", read.text, allowed, "Describe the gauge that was used.")
    return pressure, head


def read_trial(table: Table, name: str, builds: Iterable[str]) -> Trial:
    """A trial, from [trial.NAME]."""
    old, new = table.names("builds", builds, 2, "the old build, then the new")
    figure = table.choice("figure", TRIAL_FIGURES, "what is compared")
    kind = RunKind(table.choice("kind", RUN_KINDS, "which runs are compared"))
    margin = table.needed("margin", "fraction", 'the difference that counts as none, such as "5 %"')
    matters = table.needed("difference_that_matters", "fraction", 'the difference worth finding, such as "10 %"')
    head = table.quantity("back_pressure_head", "head")
    note = table.text("note") or ""
    table.finish()
    for key, share in (("margin", margin), ("difference_that_matters", matters)):
        if not 0.0 < share <= 1.0:
            raise table.error(key, table.typed_text(key), "it must be above 0 % and at most 100 %")
    if head is not None and head <= 0.0:
        text = table.typed_text("back_pressure_head")
        raise table.error("back_pressure_head", text, "it must be above 0", "Leave it out to compare all runs.")
    return Trial(name, (old, new), figure, kind, margin, matters, head, note)
