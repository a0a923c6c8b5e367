"""Places out of a CSV or XLSX file, one a row: map its columns, look at every row, then take all of them or the good ones.

The readers of a workbook read each row, so a cell means here what it means there.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from clackwork.book.raw_table import Cell, RawTable
from clackwork.book.readings_table import CellError, TablePreview, refuse_unless_fit
from clackwork.book.run_columns import TableFields, TableMapping
from clackwork.book.table_columns import ColumnsRead, columns_read
from clackwork.errors import InputError
from clackwork.site.survey import CARRIED, DRINKERS
from clackwork.workbook_errors import keys_behind
from clackwork.workbook_reader import Table, checked_name, nearest
from clackwork.workbook_sites import Place, read_place

_QUANTITIES = {
    "fall": "head",
    "source_flow": "volume_flow",
    "lift_from_pump": "head",
    "lift_from_source": "head",
    "wanted_flow": "daily_volume_flow",
    "water_temperature": "temperature",
    "altitude": "length",
    "submergence": "length",
    "survey.line_length": "length",
    "survey.ground_to_source": "length",
    "survey.frost_depth": "length",
    "survey.stream_keeps": "volume_flow",
    "survey.wall_temperature": "temperature",
    "drive_pipe.length": "length",
}
_WORDS = ("name", "survey.drinkers", "survey.carries", "drive_pipe.series", "drive_pipe.size")
_LINE = ("delivery_line.series", "delivery_line.size")
_MARKS = ("±", "+-", "+/-")

SITES = TableFields(
    order=(_WORDS[0], *_QUANTITIES, *_WORDS[1:], *_LINE, "note"),
    quantities=MappingProxyType(_QUANTITIES),
    also_called=MappingProxyType(
        {
            "name": ("site", "place", "customer", "farm"),
            "fall": ("head", "supply head", "drop"),
            "source_flow": ("source", "flow", "spring", "spring flow", "stream flow", "supply flow"),
            "lift_from_pump": ("lift above pump", "lift over pump", "delivery head"),
            "lift_from_source": ("lift above source", "lift above spring", "lift over source"),
            "wanted_flow": ("wanted", "water wanted", "need", "demand", "daily need"),
            "water_temperature": ("temperature", "water temp"),
            "altitude": ("elevation", "height above sea"),
            "survey.line_length": ("line length", "delivery length", "delivery line", "pipe length", "distance"),
            "survey.ground_to_source": ("ground to source", "pump to source", "drive distance"),
            "survey.frost_depth": ("frost depth", "frost"),
            "survey.stream_keeps": ("stream keeps", "stays in the stream", "least flow"),
            "survey.wall_temperature": ("wall temperature", "pipe temperature"),
            "survey.drinkers": ("drinkers", "who drinks"),
            "survey.carries": ("carries", "water carries"),
            "drive_pipe.length": ("drive pipe length",),
            "drive_pipe.series": ("drive pipe series", "drive pipe"),
            "drive_pipe.size": ("drive pipe size",),
            "delivery_line.series": ("delivery line series", "delivery pipe series"),
            "delivery_line.size": ("delivery line size", "delivery pipe size"),
            "note": ("notes", "remark", "remarks", "comment"),
        }
    ),
)
"""What a column of a table of places can be, by its place in a workbook."""


@dataclass(frozen=True)
class SiteRow:
    """One place of a table.

    Attributes
    ----------
    row : int
        In the file.
    name : str
    entered : mapping
        What a book keeps.
    place : Place or None
        As the jobs see it; None while there are errors.
    is_there : bool
        Whether the book has it already, word for word: it is not taken again.
    errors : tuple of CellError
    """

    row: int
    name: str
    entered: Mapping[str, Any]
    place: Place | None
    is_there: bool
    errors: tuple[CellError, ...]


@dataclass(frozen=True)
class SitesPreview(TablePreview[SiteRow]):
    """All rows of a table of sites as they would be taken."""

    @property
    def new(self) -> tuple[SiteRow, ...]:
        """The rows without an error that the book has not yet."""
        return tuple(row for row in self.rows if not row.errors and not row.is_there)


@dataclass
class _Reader:
    """What is the same for every row while a table is read."""

    table: RawTable
    found: ColumnsRead
    known: Mapping[str, Mapping[str, Any]]
    seen: dict[str, int]

    def error(self, row: int, name: str, value: str, allowed: str, next_step: str = "") -> CellError:
        """An error at a cell."""
        column = self.found.columns[name].header if name in self.found.columns else name
        return CellError(row, column, f'"{value[:60]}"', allowed, next_step)


def preview_sites(table: RawTable, mapping: TableMapping, known: Mapping[str, Mapping[str, Any]]) -> SitesPreview:
    """Read every row of a table as a place and collect all that stands against it.

    Parameters
    ----------
    table : RawTable
    mapping : TableMapping
        Suggested with ``SITES``.
    known : mapping of str to mapping
        What the book keeps of each place, by name.

    Raises
    ------
    InputError
        Two columns are read as one field.
    """
    found = columns_read(table, mapping, SITES)
    reader = _Reader(table, found, known, {})
    rows, notes = [], list(found.notes)
    if "name" not in found.places:
        raise InputError(
            "columns", ", ".join(table.headers[:8]), "one of them must be the name of the place", 'Call it "name".'
        )
    for number, row in zip(table.row_numbers, table.rows, strict=True):
        if any(found.cell(row, name) for name in found.places):
            rows.append(_read_row(reader, number, row))
        else:
            notes.append(f"Left out, with nothing in the chosen columns: row {number}.")
    there = sum(row.is_there for row in rows)
    if there:
        notes.append(f"{there} of the places are in the book already, word for word; they are not taken again.")
    return SitesPreview(tuple(rows), found.questions, tuple(notes))


def sites_from(
    table: RawTable, mapping: TableMapping, known: Mapping[str, Mapping[str, Any]], *, only_good: bool = False
) -> SitesPreview:
    """The places of a table, once nothing stands against them.

    Parameters
    ----------
    table, mapping, known
        As for `preview_sites`.
    only_good : bool, optional
        Let rows with an error be left out; else one error refuses all.

    Raises
    ------
    ImportRefused
        A question is open, a row has an error, or no row can be taken.
    """
    found = preview_sites(table, mapping, known)
    refuse_unless_fit(table, found, "a place", only_good=only_good)
    return found


def _read_row(reader: _Reader, number: int, row: tuple[Cell, ...]) -> SiteRow:
    """One row: its cells one by one, then the place as a whole."""
    errors: list[CellError] = []
    entered: dict[str, Any] = {}
    for name in SITES.order[1:]:
        cell = reader.found.cell(row, name)
        if cell is None:
            continue
        if cell.fault:
            errors.append(reader.error(number, name, cell.text, cell.fault))
            continue
        value = _value(reader, name, cell)
        *tables, key = name.split(".")
        inner = entered
        for one in tables:
            inner = inner.setdefault(one, {})
        inner[key] = value
    _give_line_its_length(entered)
    named = reader.found.cell(row, "name")
    name = "" if named is None else " ".join(named.text.split())
    errors += _name_errors(reader, number, name, entered)
    is_there = reader.known.get(name) == entered
    place = None
    if not errors and not (reader.found.in_doubt and _doubted(reader.found.in_doubt, entered)):
        place = _whole_place(reader, number, name, entered, errors)
    return SiteRow(number, name, MappingProxyType(entered), place, is_there, tuple(errors))


def _value(reader: _Reader, name: str, cell: Cell) -> Any:
    """What a book keeps of a cell: a text, with its unit; words as a list."""
    text = cell.text.strip()
    if name in SITES.quantities:
        unit = reader.found.columns[name].unit
        with_limits = any(mark in text for mark in _MARKS) and not any(one.isalpha() or one in "°'\"" for one in text)
        return f"{text} {unit}".strip() if with_limits else reader.found.figure(name, cell)
    if name == "survey.carries":
        return [word.strip().casefold() for word in text.replace(";", ",").split(",") if word.strip()]
    return text.casefold() if name == "survey.drinkers" else text


def _give_line_its_length(entered: dict[str, Any]) -> None:
    """A delivery line that was chosen takes the length of the way."""
    line, length = entered.get("delivery_line"), entered.get("survey", {}).get("line_length")
    if line and length is not None:
        line["length"] = length


def _doubted(doubts: frozenset[str], entered: Mapping[str, Any]) -> bool:
    """Whether a field with an open question is in a row."""
    return any(name.split(".")[-1] in {**entered, **entered.get("survey", {})} for name in doubts)


def _name_errors(reader: _Reader, number: int, name: str, entered: Mapping[str, Any]) -> list[CellError]:
    """A name that is missing, comes twice, or is that of another place."""
    try:
        checked_name(name, "name")
    except InputError as error:
        return [reader.error(number, "name", name, error.allowed)]
    first = reader.seen.setdefault(name.casefold(), number)
    if first != number:
        return [reader.error(number, "name", name, f"row {first} has that name already")]
    if name in reader.known and reader.known[name] != entered:
        allowed = "the book has a place of that name that says something else"
        return [reader.error(number, "name", name, allowed, "Change that one in the book, or give this another name.")]
    words = entered.get("survey", {})
    if words.get("drinkers", DRINKERS[0]) not in DRINKERS:
        drinkers = words["drinkers"]
        allowed = f"it must be one of {', '.join(DRINKERS)}"
        return [reader.error(number, "survey.drinkers", drinkers, allowed, nearest(drinkers, DRINKERS))]
    for word in words.get("carries", ()):
        if word not in CARRIED:
            allowed = f"it must be out of {', '.join(CARRIED)}"
            return [reader.error(number, "survey.carries", word, allowed, nearest(word, CARRIED))]
    return []


def _whole_place(
    reader: _Reader, number: int, name: str, entered: Mapping[str, Any], errors: list[CellError]
) -> Place | None:
    """The place as the workbook's own reader takes it."""
    label = f"row {number}"
    try:
        return read_place(Table(dict(entered), label, label, {}), name)
    except InputError as error:
        said = error.field.removeprefix(label).removeprefix(", ").replace(", ", ".")
        fields = (said, *(key for part in said.split(" and ") for key in keys_behind(part)))
        key = next((field for field in fields if field in reader.found.columns), said or "name")
        column = reader.found.columns[key].header if key in reader.found.columns else key
        errors.append(CellError(number, column, str(error.value), error.allowed, error.next_step))
        return None
