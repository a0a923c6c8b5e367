"""The columns of a table as they are read: which field each is, how its figures are, and what must be asked first."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from clackwork.book.column_figures import ColumnReading, figure_text, has_unit, marks_in, read_column
from clackwork.book.raw_table import Cell, Question, RawTable
from clackwork.book.run_columns import ColumnUse, TableFields, TableMapping, unit_question
from clackwork.errors import InputError

_NO_UNIT = ("beats",)
"""Quantities that are plain counts."""


@dataclass(frozen=True)
class ColumnsRead:
    """The columns of a table that are read.

    Attributes
    ----------
    columns : mapping of str to ColumnUse
        By field.
    places : mapping of str to int
        Place of each field's column in a row.
    readings : mapping of str to ColumnReading
        Of columns of figures.
    in_doubt : frozenset of str
        Fields with a question open.
    questions : tuple of Question
    notes : tuple of str
    """

    columns: Mapping[str, ColumnUse]
    places: Mapping[str, int]
    readings: Mapping[str, ColumnReading]
    in_doubt: frozenset[str]
    questions: tuple[Question, ...]
    notes: tuple[str, ...]

    def cell(self, row: tuple[Cell, ...], name: str) -> Cell | None:
        """The cell of a field; None when no column gives it or it is blank."""
        if name not in self.places:
            return None
        found = row[self.places[name]]
        return found if found.text.strip() or found.fault else None

    def figure(self, name: str, cell: Cell) -> str:
        """The text of a cell of figures, with its unit."""
        return figure_text(cell, self.columns[name], self.readings[name])


def columns_read(table: RawTable, mapping: TableMapping, fields: TableFields) -> ColumnsRead:
    """Decide how each column of a table is read, or ask.

    Raises
    ------
    InputError
        Two columns are read as one field.
    """
    notes, questions = [*table.notes, *mapping.notes], list(table.questions)
    used = _used_columns(table, mapping, notes)
    places = {one.field: table.headers.index(one.header) for one in used}
    figures = [one for one in used if one.field in fields.quantities]
    others = marks_in(cell for one in figures for cell in table.column(places[one.field]))
    readings = {}
    for one in figures:
        kind = fields.quantities[one.field]
        reading = read_column(one, kind, table.column(places[one.field]), mapping.answers, others)
        questions.extend(reading.questions)
        notes.extend(reading.notes)
        readings[one.field] = reading
    doubts = {name for name, reading in readings.items() if reading.questions}
    for one in figures:
        if _lacks_unit(one, table.column(places[one.field])):
            questions.append(unit_question(one, fields))
            doubts.add(one.field)
    columns = {one.field: one for one in used}
    return ColumnsRead(columns, places, readings, frozenset(doubts), tuple(questions), tuple(notes))


def _used_columns(table: RawTable, mapping: TableMapping, notes: list[str]) -> list[ColumnUse]:
    """Columns that are read as a field; the first of two for one field."""
    used: dict[str, ColumnUse] = {}
    for one in mapping.columns:
        if not one.field or one.header not in table.headers:
            continue
        if one.field in used:
            raise InputError(
                f'column "{one.header}"',
                one.field,
                f'column "{used[one.field].header}" is read as {one.field} already',
                "Leave one of the two out.",
            )
        used[one.field] = one
    left = [f'"{header}"' for header in table.headers if header not in {one.header for one in used.values()}]
    if left:
        notes.append(f"Not read: column {', '.join(left)}.")
    return list(used.values())


def _lacks_unit(column: ColumnUse, cells: Iterable[Cell]) -> bool:
    """Whether a column without a unit has figures without one."""
    if column.unit or column.field in _NO_UNIT:
        return False
    return any(cell.text.strip() and not cell.fault and not has_unit(cell.text) for cell in cells)
