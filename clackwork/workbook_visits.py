"""Visits, and what stands at a place, out of a workbook's tables."""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from dataclasses import replace

from clackwork.bench.instruments import GAUGE_FULL_SCALE, Gauge, Instruments
from clackwork.site.due import CARE, CareItem, care_items, care_with
from clackwork.site.visit import CAUGHT_AT, CONDITIONS, PARTS, PURPOSES, ReplacedPart, SiteReadings, Visit
from clackwork.workbook_instruments import read_instruments
from clackwork.workbook_parts import errors_of, make
from clackwork.workbook_reader import Table

YES_NO = ("yes", "no")
_USUAL_SCALES = (GAUGE_FULL_SCALE, 1.6e6, 2.5e6, 4.0e6, 6.0e6)
"""Ranges of dial gauges [Pa], of those EN 837-1 lists (from memory): what a reading is taken to be of when no gauge is
described."""


def said_yes(table: Table, key: str, wanted: str) -> bool:
    """Whether a field says "yes"; one left out says no."""
    return key in table and table.choice(key, YES_NO, wanted) == "yes"


def past_day(table: Table, key: str, wanted: str) -> datetime.date:
    """A day that must be there and does not lie in the future."""
    date = table.date(key)
    if date is None:
        raise table.missing(key, f"{wanted}, such as 2026-05-03")
    if date > datetime.date.today() + datetime.timedelta(days=1):  # a phone may be a time zone ahead
        raise table.error(key, date, "it lies in the future", "Write the day on which it was done.")
    return date


def _tuning(table: Table, key: str, kind: str) -> float | None:
    """A stroke or mass above 0."""
    value = table.quantity(key, kind)
    if value is not None and value <= 0.0:
        raise table.error(key, table.typed_text(key), "it must be above 0", "Leave it out when it was not measured.")
    return value


def read_visit(table: Table, builds: Iterable[str], sites: Iterable[str]) -> Visit:
    """A visit, from [[visit]]."""
    name = table.name("name", "call the visit something, such as 'Upper Hazel, first start'")
    site = table.choice("site", sites, "the place that was visited")
    build = table.choice("build", builds, "the build that stands there") if "build" in table else None
    date = past_day(table, "date", "the day")
    visit = Visit(
        name=name,
        site=site,
        date=date,
        purpose=table.choice("purpose", PURPOSES, "why somebody went there"),
        build=build,
        who=table.text("who") or "",
        readings=read_site_readings(table),
        stroke_before=_tuning(table, "stroke_before", "small_length"),
        mass_before=_tuning(table, "mass_before", "mass"),
        parts=_read_parts(table.table("parts")),
        care=_read_done(table.table("care")),
        for_twin=said_yes(table, "for_twin", "whether its readings shall feed the twin"),
        found=table.text("found") or "",
        note=table.text("note") or "",
    )
    table.finish()
    return visit


def _spread(table: Table, key: str, kind: str) -> tuple[float | None, float | None]:
    """A quantity and its standard uncertainty, both None when absent, the latter where no limits were given."""
    if key not in table:
        return None, None
    return table.spread(key, kind, "")


def read_site_readings(table: Table) -> SiteReadings:
    """What was read, out of the fields of a visit."""
    pressure = table.quantity("gauge_pressure", "pressure_gauge")
    instruments = _instruments(table, pressure)
    fall, fall_spread = _spread(table, "fall", "head")
    lift, lift_spread = _spread(table, "lift_from_pump", "head")
    source, source_spread = _spread(table, "source_flow", "volume_flow")
    beats = table.quantity("beats", "count")
    readings: SiteReadings = make(
        table,
        SiteReadings,
        waste_volume=table.quantity("waste_volume", "volume"),
        waste_duration=table.quantity("waste_duration", "duration"),
        delivered_volume=table.quantity("delivered_volume", "volume"),
        delivered_duration=table.quantity("delivered_duration", "duration"),
        caught_at=table.choice("caught_at", CAUGHT_AT, "where it was caught") if "caught_at" in table else None,
        beats=None if beats is None else round(beats),
        beats_duration=table.quantity("beats_duration", "duration"),
        pressure_gauge=pressure,
        fall=fall,
        fall_spread=fall_spread,
        lift=lift,
        lift_spread=lift_spread,
        source_flow=source,
        source_flow_spread=source_spread,
        water_temperature=table.quantity("water_temperature", "temperature"),
        stroke=_tuning(table, "stroke", "small_length"),
        mass=_tuning(table, "mass", "mass"),
        instruments=instruments,
    )
    return readings


def _instruments(table: Table, pressure: float | None) -> Instruments:
    """Instruments as described; an undescribed gauge is the smallest usual one that reads so high."""
    inner = table.table("instruments")
    described = inner is not None and "gauge" in inner
    with errors_of(table):
        instruments = read_instruments(inner)
    if described or pressure is None:
        return instruments
    scale = next((one for one in _USUAL_SCALES if pressure <= one), max(pressure, _USUAL_SCALES[-1]))
    return replace(instruments, gauge=Gauge(full_scale=scale))


def read_care(table: Table | None) -> tuple[CareItem, ...]:
    """The workshop's care, from [care]: the usual, with the intervals written there."""
    if table is None:
        return care_items()
    changes = {}
    for item in CARE:
        inner = table.table(item)
        if inner is not None:
            given = {"months": inner.number("months", 0.0, 600.0), "beats": inner.quantity("beats", "count")}
            changes[item] = {key: value for key, value in given.items() if value is not None}
            inner.finish()
    table.finish()
    return care_with(changes)


def _read_parts(table: Table | None) -> tuple[ReplacedPart, ...]:
    """Parts replaced, each in a table of its own."""
    if table is None:
        return ()
    found = []
    for part in PARTS:
        inner = table.table(part)
        if inner is not None:
            condition = inner.choice("condition", CONDITIONS, "how the old one was")
            beats, time = inner.quantity("beats", "count"), inner.quantity("run_time", "duration")
            found.append(ReplacedPart(part, condition, beats, time))
            inner.finish()
    table.finish()
    return tuple(found)


def _read_done(table: Table | None) -> tuple[str, ...]:
    """Ids of the care done."""
    if table is None:
        return ()
    done = tuple(item for item in CARE if said_yes(table, item, "whether it was done"))
    table.finish()
    return done
