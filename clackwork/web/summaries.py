"""Records in one line and as facts, in the units switched to."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from clackwork.quantities import format_quantity
from clackwork.site.visit import PARTS
from clackwork.web.field_lists import FIGURE_WORDS, RUN_KIND_SHORT, forms
from clackwork.web.fields import Field
from clackwork.web.figures import typed_in
from clackwork.web.forms import flat_texts
from clackwork.web.rows import table_at

if TYPE_CHECKING:
    from clackwork.book import Record

_LONGEST_NOTE = 160


@dataclass(frozen=True)
class Line:
    """One row of a list: where it leads, what it says."""

    path: str
    name: str
    words: str = ""
    end: str = ""
    note: str = ""


@dataclass(frozen=True)
class Fact:
    """One field of a record: its label, its value in the units shown, and the text typed where that differs."""

    label: str
    shown: str
    typed: str = ""


@dataclass(frozen=True)
class FactGroup:
    """Facts that belong together."""

    title: str
    facts: tuple[Fact, ...]


def path_of(record: Record) -> str:
    """The address of a record's page."""
    return f"/{forms()[record.kind].plural}/{record.id}"


def shown_value(one: Field, text: str, system: str) -> str:
    """A field's value for reading: a choice in its words, a quantity in the units switched to."""
    if one.kind == "choice":
        return next((choice.words for choice in one.choices if choice.value == text), text)
    return typed_in(text, one.kind, system)


def fact_groups(record: Record, system: str) -> tuple[FactGroup, ...]:
    """Everything entered in a record but its note, by the groups of its form; empty groups are left out."""
    texts = flat_texts(record.entered)
    groups = []
    for group in forms()[record.kind].groups:
        facts = []
        for one in group.fields:
            if one.kind == "lines":
                lines = table_at(record.entered, one.key)
                facts += [Fact(f"{one.label}: {name}", str(value), "") for name, value in lines.items()]
            text = texts.get(one.key, "")
            if text and one.kind != "note":
                shown = shown_value(one, text, system)
                differs = shown != text and one.kind != "choice"
                facts.append(Fact(one.label, shown, text if differs else ""))
        if facts:
            groups.append(FactGroup(group.title, tuple(facts)))
    return tuple(groups)


def note_of(record: Record) -> str:
    """The record's note, cut to a line."""
    note = str(record.entered.get("note", "")).replace("\n", " ")
    return note if len(note) <= _LONGEST_NOTE else f"{note[: _LONGEST_NOTE - 1]}…"


def summary(record: Record, system: str) -> str:
    """A record in one line."""
    made = _SUMMARIES.get(record.kind)
    if made is None:
        return str(record.entered.get("title", ""))
    return made(flat_texts(record.entered) | _worked_out(record, system), system)


_OF_READINGS = {
    "fall": ("fall_m", "head"),
    "lift_from_pump": ("lift_m", "head"),
    "source_flow": ("source_flow_m3_s", "volume_flow"),
}
"""Figures of a site that may be worked out of readings: key of the SI figure, and kind."""


def _worked_out(record: Record, system: str) -> dict[str, str]:
    """Figures of a site that were not typed but read."""
    found = {}
    for key, (figure, kind) in _OF_READINGS.items() if record.kind == "site" else ():
        value = record.si.get(figure)
        typed = key in record.entered or (key == "lift_from_pump" and "lift_from_source" in record.entered)
        if value is not None and not typed:
            found[key] = format_quantity(value, kind, system)
    return found


def _joined(*parts: str) -> str:
    return ", ".join(part for part in parts if part)


def _said(texts: Mapping[str, str], key: str, kind: str, system: str, before: str = "") -> str:
    """A value with words before it; empty when it was not given."""
    text = texts.get(key, "")
    return f"{before} {typed_in(text, kind, system)}".strip() if text else ""


def _build(texts: Mapping[str, str], system: str) -> str:
    return _joined(
        texts.get("waste_valve.kind", ""),
        _said(texts, "waste_valve.mass", "mass", system),
        _said(texts, "waste_valve.stroke", "small_length", system, "stroke"),
        _said(texts, "waste_valve.seat_bore", "small_length", system, "seat"),
    )


def _drive_pipe(texts: Mapping[str, str], system: str) -> str:
    length = _said(texts, "drive_pipe.length", "length", system, "drive pipe")
    pipe = f"{texts.get('drive_pipe.series', '')} {texts.get('drive_pipe.size', '')}".strip()
    return f"{length} of {pipe}" if pipe else length


def _rig(texts: Mapping[str, str], system: str) -> str:
    gauge = _said(texts, "instruments.gauge.full_scale", "pressure_gauge", system, "gauge to")
    return _joined(_said(texts, "fall", "head", system, "fall"), _drive_pipe(texts, system), gauge)


def _run(texts: Mapping[str, str], system: str) -> str:
    return _joined(
        RUN_KIND_SHORT.get(texts.get("kind", ""), ""),
        _said(texts, "delivered_volume", "volume", system, "delivered"),
        _said(texts, "waste_volume", "volume", system, "spilled"),
        _said(texts, "duration", "duration", system, "in"),
        _said(texts, "gauge_pressure", "pressure_gauge", system, "at"),
        _said(texts, "back_pressure_head", "head", system, "at"),
        f"{texts['beats']} beats" if texts.get("beats") else "",
    )


def _trial(texts: Mapping[str, str], system: str) -> str:
    return _joined(
        FIGURE_WORDS.get(texts.get("figure", ""), ""),
        RUN_KIND_SHORT.get(texts.get("kind", ""), ""),
        _said(texts, "back_pressure_head", "head", system, "against"),
        _said(texts, "margin", "fraction", system, "the same within"),
    )


def _site(texts: Mapping[str, str], system: str) -> str:
    return _joined(
        _said(texts, "fall", "head", system, "fall"),
        _said(texts, "lift_from_pump", "head", system, "lift"),
        _said(texts, "lift_from_source", "head", system, "lift above the source"),
        _said(texts, "source_flow", "volume_flow", system, "source"),
        _said(texts, "wanted_flow", "daily_volume_flow", system, "wanted"),
    )


def _instrument(texts: Mapping[str, str], system: str) -> str:
    return _joined(
        texts.get("sort", "").replace("_", " "),
        _said(texts, "full_scale", "pressure_gauge", system, "to"),
        _said(texts, "accuracy_class", "fraction", system, "class"),
        _said(texts, "mark_uncertainty", "volume", system, "mark within"),
        _said(texts, "start_stop_sd", "duration", system, "scatters by"),
        _said(texts, "half_width", "length", system, "read within"),
        _said(texts, "temperature_half_width", "temperature_difference", system, "read within"),
    )


def _visit(texts: Mapping[str, str], system: str) -> str:
    pairs = (("delivered", "delivered_volume", "delivered_duration"), ("wasted", "waste_volume", "waste_duration"))
    buckets = [
        f"{word} {_said(texts, volume, 'volume', system)} in {texts.get(time, '')}"
        for word, volume, time in pairs
        if texts.get(volume)
    ]
    return _joined(
        texts.get("date", ""),
        texts.get("purpose", ""),
        *buckets,
        f"{texts['beats']} beats in {texts.get('beats_duration', '')}" if texts.get("beats") else "",
        _said(texts, "gauge_pressure", "pressure_gauge", system, "at"),
    )


def _part(texts: Mapping[str, str], system: str) -> str:
    worn = PARTS.get(texts.get("part", ""), "")
    return _joined(worn, texts.get("material", ""), f"fitted {texts['fitted']}" if texts.get("fitted") else "")


def _switch(texts: Mapping[str, str], system: str) -> str:
    return _joined(
        PARTS.get(texts.get("part", ""), ""), f"{texts.get('old.material', '')} to {texts.get('new.material', '')}"
    )


_SUMMARIES: dict[str, Callable[[Mapping[str, str], str], str]] = {
    "build": _build,
    "instrument": _instrument,
    "rig": _rig,
    "run": _run,
    "trial": _trial,
    "site": _site,
    "visit": _visit,
    "part": _part,
    "switch": _switch,
}


def line_of(record: Record, system: str, *, end: str = "", **more: Any) -> Line:
    """A record as a row of a list."""
    return Line(path_of(record), record.name, summary(record, system), end, more.get("note", note_of(record)))
