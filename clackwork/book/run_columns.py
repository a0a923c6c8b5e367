"""Which column of a table is which field, and in what unit: suggested by likeness, kept for the next time.

The fields are those of runs unless others are given.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Any

from clackwork.book.raw_table import Question, RawTable
from clackwork.errors import InputError
from clackwork.quantities import KINDS, key_unit, parse
from clackwork.quantity_kinds import find_kind
from clackwork.unit_table import UNITS

QUANTITIES: Mapping[str, str] = MappingProxyType(
    {
        "duration": "duration",
        "drawn_volume": "volume",
        "waste_volume": "volume",
        "delivered_volume": "volume",
        "beats": "count",
        "gauge_pressure": "pressure_gauge",
        "back_pressure_head": "head",
        "fall": "head",
        "fall_end": "head",
        "water_temperature": "temperature",
        "tilt": "angle",
    }
)
"""Fields of a run that are quantities, with the kind of each."""

WORDS = ("name", "build", "rig", "trial", "kind", "order", "note")
"""Fields of a run that are not."""

RUN_FIELDS = ("name", "build", "rig", "trial", "kind", "order", *QUANTITIES, "note")
"""Every field a column can be, in the order of an export."""

_ALSO_CALLED = {
    "name": ("run", "run name", "reading"),
    "build": ("pump build", "pump"),
    "rig": ("test rig", "bench"),
    "trial": ("test",),
    "kind": ("run kind", "kind of run", "mode"),
    "order": ("no", "nr", "number", "place", "#"),
    "duration": ("time", "run time", "length of run", "seconds"),
    "drawn_volume": ("drawn", "volume drawn", "drawn water", "volume"),
    "waste_volume": ("waste", "wasted", "spilled", "waste water", "volume"),
    "delivered_volume": ("delivered", "delivery", "delivery volume", "delivered water", "volume"),
    "beats": ("beat", "beat count", "count of beats", "strokes"),
    "gauge_pressure": ("gauge", "pressure", "delivery pressure", "gauge reading"),
    "back_pressure_head": ("back pressure", "standpipe", "delivery head", "lift", "head"),
    "fall": ("fall start", "fall at start", "supply head", "supply", "head"),
    "fall_end": ("fall at end", "supply head end", "end fall"),
    "water_temperature": ("temperature", "temp", "water temp", "t"),
    "tilt": ("tilt angle", "leaning"),
    "note": ("notes", "remark", "remarks", "comment"),
}


@dataclass(frozen=True)
class TableFields:
    """What the columns of one sort of table can be.

    Attributes
    ----------
    order : tuple of str
        Every field a column can be.
    quantities : mapping of str to str
        Those that are quantities, with the kind of each.
    also_called : mapping of str to tuple of str
        Other names of a field.
    """

    order: tuple[str, ...]
    quantities: Mapping[str, str]
    also_called: Mapping[str, tuple[str, ...]]


RUNS = TableFields(RUN_FIELDS, QUANTITIES, MappingProxyType(_ALSO_CALLED))
"""Those of a table of runs."""

_LEAST_LIKENESS = 0.8
_TIE = 0.05
_EXACT = 1.0
_BRACKETS = re.compile(r"(?P<words>.+?)\s*[\[(](?P<unit>[^\])]+)[\])]\s*")
_IN_UNIT = re.compile(r"(?P<words>.+?)\s+in\s+(?P<unit>\S.*)", re.IGNORECASE)
_MOST_KEPT = 200  # columns remembered


@dataclass(frozen=True)
class ColumnUse:
    """What one column is read as.

    Attributes
    ----------
    header : str
    field : str
        A name of a field, of a run of `RUN_FIELDS`; empty when the column is left out.
    unit : str
        Of its figures that have none of their own; empty when each has, or none is needed.
    """

    header: str
    field: str = ""
    unit: str = ""


@dataclass(frozen=True)
class TableMapping:
    """How a table is read as runs.

    Attributes
    ----------
    columns : tuple of ColumnUse
    fixed : mapping of str to str
        Fields that are the same for every row: "build", "rig", "trial", "kind"; under "name" the words the
        rows' names begin with.
    answers : mapping of str to str
        Answers to questions, by `Question.key`.
    notes : tuple of str
        Why a column was left out or could be two things.
    """

    columns: tuple[ColumnUse, ...]
    fixed: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    answers: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    notes: tuple[str, ...] = ()

    def header_of(self, field_name: str) -> str | None:
        """The column read as a field; None when there is none."""
        return next((one.header for one in self.columns if one.field == field_name), None)


def suggest_mapping(table: RawTable, kept: Mapping[str, Any] | None = None, fields: TableFields = RUNS) -> TableMapping:
    """Suggest what each column is, by what it was last time and by likeness of its name.

    Parameters
    ----------
    table : RawTable
    kept : mapping, optional
        What `remembered` gave for an earlier table.
    fields : TableFields, optional

    Returns
    -------
    TableMapping
        A name that could be two fields is left out and told in the notes; a unit not told is left empty.
    """
    known = _kept_columns(kept, fields)
    notes: list[str] = []
    chosen: dict[str, ColumnUse] = {}
    for header in table.headers:
        use = known.get(_folded(header))
        if use is not None and (not use.field or use.field not in {one.field for one in chosen.values()}):
            chosen[header] = replace(use, header=header)
    if chosen:
        notes.append("Columns called as last time are read as last time.")
    taken = {one.field for one in chosen.values() if one.field}
    readings = {
        header: _readings(header, unit, taken, fields)
        for header, unit in zip(table.headers, table.units, strict=True)
        if header not in chosen
    }
    chosen |= _assigned(readings, notes)
    columns = tuple(chosen.get(header, ColumnUse(header)) for header in table.headers)
    fixed = kept.get("fixed", {}) if isinstance(kept, Mapping) else {}
    given = {one.field for one in columns}
    same = {key: str(text) for key, text in fixed.items() if key in WORDS and key not in given} if fixed else {}
    return TableMapping(columns, MappingProxyType(same), table.answers, tuple(notes))


@dataclass(frozen=True)
class _Reading:
    """A field a header may name, how like its words are, and the unit in it."""

    field: str
    unit: str
    likeness: float


def _readings(header: str, unit_below: str, taken: Iterable[str], fields: TableFields) -> list[_Reading]:
    """What a header may be, the likest first."""
    best: dict[str, _Reading] = {}
    for words, unit in _parts(header, unit_below):
        for name in fields.order:
            likeness = _likeness(words, name, fields)
            spelled = _unit_of(unit, fields.quantities[name]) if unit and name in fields.quantities else ""
            unfit = unit and not spelled
            if name in taken or unfit or likeness < _LEAST_LIKENESS:
                continue
            if name not in best or likeness > best[name].likeness:
                best[name] = _Reading(name, spelled, likeness)
    return sorted(best.values(), key=lambda one: -one.likeness)


def _parts(header: str, unit_below: str) -> list[tuple[str, str]]:
    """Ways to part a header into words and a unit."""
    if unit_below:
        return [(header, unit_below)]
    for pattern in (_BRACKETS, _IN_UNIT):
        match = pattern.fullmatch(header)
        if match is not None:
            return [(match["words"], match["unit"].strip()), (header, "")]
    words = re.split(r"[\s_,/:]+", header.strip())
    tails = [(" ".join(words[:-count]), " ".join(words[-count:])) for count in (1, 2) if len(words) > count]
    joined = [(before, unit.replace(" ", "/")) for before, unit in tails if " " in unit]
    return [(header, ""), *tails, *joined]


def _unit_of(spelling: str, kind: str) -> str:
    """A unit as it can be read after a figure; empty when it is none of the kind."""
    for system in ("metric", "us"):
        if spelling.casefold() == key_unit(kind, system) and spelling:
            return (KINDS[kind].metric if system == "metric" else KINDS[kind].us).unit.label
    try:
        parse(f"1 {spelling}", kind)
    except InputError:
        return ""
    return spelling


def _likeness(words: str, name: str, fields: TableFields) -> float:
    """0 to 1; 1 when the words are the field's own or another name for it."""
    folded = _folded(words)
    best = 0.0
    for known in (_folded(name), *fields.also_called.get(name, ())):
        if folded == known or sorted(folded.split()) == sorted(known.split()):
            return _EXACT
        best = max(best, difflib.SequenceMatcher(None, folded, known).ratio())
    return min(best, _EXACT - 0.01)


def _folded(text: str) -> str:
    return " ".join(re.sub(r"[^\w#]+|_", " ", text.casefold()).split())


def _assigned(readings: Mapping[str, list[_Reading]], notes: list[str]) -> dict[str, ColumnUse]:
    """One column to a field and one field to a column; what stays in doubt is left out and told."""
    found: dict[str, ColumnUse] = {}
    asked: dict[str, list[tuple[float, bool, str, str]]] = {}
    for header, ways in readings.items():
        near = [one for one in ways if one.likeness > ways[0].likeness - _TIE]
        if len(near) > 1 and header.replace(" ", "_") != near[0].field:
            notes.append(f'Column "{header}" could be {" or ".join(one.field for one in near)}: choose.')
        elif near:
            typed = header == near[0].field
            asked.setdefault(near[0].field, []).append((near[0].likeness, typed, header, near[0].unit))
    for name, columns in asked.items():
        columns.sort(reverse=True)
        first = columns[0]
        if len(columns) > 1 and columns[1][0] > first[0] - _TIE and not first[1]:
            headers = " and ".join(f'"{one[2]}"' for one in columns)
            notes.append(f"Columns {headers} could each be {name}: choose one.")
            continue
        found[first[2]] = ColumnUse(first[2], name, first[3])
        notes.extend(f'Column "{one[2]}" is left out; "{first[2]}" is read as {name}.' for one in columns[1:])
    return found


def _kept_columns(kept: Mapping[str, Any] | None, fields: TableFields) -> dict[str, ColumnUse]:
    """Columns out of a remembered mapping; whatever is not understood there is passed over."""
    columns = kept.get("columns") if isinstance(kept, Mapping) else None
    found = {}
    for header, use in columns.items() if isinstance(columns, Mapping) else ():
        name, unit = (use.get("field", ""), use.get("unit", "")) if isinstance(use, Mapping) else ("", "")
        if name in fields.order and isinstance(unit, str):
            spelled = _unit_of(unit, fields.quantities[name]) if unit and name in fields.quantities else ""
            found[_folded(str(header))] = ColumnUse(str(header), name, spelled)
    return found


def remembered(mapping: TableMapping, kept: Mapping[str, Any] | None = None) -> dict[str, Any]:
    """A mapping as plain data to keep with the workshop's settings.

    Parameters
    ----------
    mapping : TableMapping
        Answers to questions are not kept: they belong to one file.
    kept : mapping, optional
        What was kept before; columns of other names stay in it.
    """
    before = kept.get("columns", {}) if isinstance(kept, Mapping) else {}
    columns = {
        header: dict(use)
        for header, use in (before.items() if isinstance(before, Mapping) else ())
        if isinstance(use, Mapping) and _folded(header) not in {_folded(one.header) for one in mapping.columns}
    }
    columns |= {one.header: {"field": one.field, "unit": one.unit} for one in mapping.columns if one.field}
    newest = dict(list(columns.items())[-_MOST_KEPT:])
    return {"columns": newest, "fixed": {key: text for key, text in mapping.fixed.items() if key != "name"}}


def with_answers(mapping: TableMapping, answers: Mapping[str, str], fields: TableFields = RUNS) -> TableMapping:
    """A mapping with questions answered; "unit:Waste" sets the unit of the column "Waste", "field:Waste" its field.

    Raises
    ------
    InputError
        No such column or field, or a unit of another kind.
    """
    columns = {one.header: one for one in mapping.columns}
    others = dict(mapping.answers)
    for key, answer in sorted(answers.items()):  # fields before their units
        what, _, header = key.partition(":")
        if what not in ("unit", "field"):
            others[key] = answer
            continue
        if header not in columns:
            raise InputError(what, f'"{header}"', "the table has no such column")
        if what == "field":
            columns[header] = ColumnUse(header, _checked_field(answer, header, fields), "")
        else:
            columns[header] = replace(columns[header], unit=_checked_unit(answer, columns[header], fields))
    return replace(mapping, columns=tuple(columns.values()), answers=MappingProxyType(others))


def _checked_field(name: str, header: str, fields: TableFields) -> str:
    if name and name not in fields.order:
        raise InputError(f'column "{header}"', f'"{name}"', f"it must be one of {', '.join(fields.order)}, or nothing")
    return name


def _checked_unit(unit: str, column: ColumnUse, fields: TableFields) -> str:
    kind = fields.quantities.get(column.field)
    if not unit or kind is None:
        return ""
    spelled = _unit_of(unit, kind)
    if not spelled:
        allowed = f"it must be a unit of {find_kind(kind).words.split(' ', 1)[1]}"
        raise InputError(
            f'column "{column.header}", unit', f'"{unit}"', allowed, f"Write {', '.join(units_for(kind))}."
        )
    return spelled


def units_for(kind: str) -> tuple[str, ...]:
    """Units offered for a column of a kind, the metric one first; those of flows and rare ones are left out."""
    wanted = find_kind(kind)
    first = [wanted.metric.unit.label, wanted.us.unit.label]
    rest = [unit.label for dimension in wanted.dimensions for unit in UNITS if unit.dimension == dimension]
    return tuple(dict.fromkeys(one for one in (*first, *rest) if one))


def unit_question(column: ColumnUse, fields: TableFields = RUNS) -> Question:
    """Asks for the unit of a column whose figures have none."""
    units = units_for(fields.quantities[column.field])
    words = f'Column "{column.header}" ({column.field}) has figures without a unit. Which unit are they in?'
    return Question(f"unit:{column.header}", words, tuple((one, one) for one in units))
