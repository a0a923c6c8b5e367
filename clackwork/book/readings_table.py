"""Runs out of a CSV or XLSX file: read, map its columns, look at every row, then take all of them or the good ones.

`read_table` -> `suggest_mapping` -> `preview` -> `runs_from`; each is a pure function, so a page may call them again
at every choice. Nothing is taken while a question is open or a row that is wanted has an error.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import PurePath
from types import MappingProxyType
from typing import Any, Generic, Protocol, TypeVar

from clackwork.bench.runs import Run
from clackwork.book.raw_table import Cell, Question, RawTable, TableError, read_table
from clackwork.book.run_columns import (
    QUANTITIES,
    RUN_FIELDS,
    RUNS,
    ColumnUse,
    TableMapping,
    remembered,
    suggest_mapping,
    with_answers,
)
from clackwork.book.table_columns import ColumnsRead, columns_read
from clackwork.errors import ClackworkError, InputError
from clackwork.quantities import Quantity, parse
from clackwork.twin.twin import Rig
from clackwork.workbook_errors import keys_behind
from clackwork.workbook_reader import Table, nearest
from clackwork.workbook_runs import RUN_KINDS, read_run

__all__ = [
    "CellError",
    "ColumnUse",
    "ImportRefused",
    "Known",
    "Preview",
    "PreviewRow",
    "Question",
    "RUN_FIELDS",
    "RawTable",
    "RunRow",
    "TableError",
    "TableMapping",
    "preview",
    "read_table",
    "remembered",
    "runs_from",
    "suggest_mapping",
    "with_answers",
]


@dataclass(frozen=True)
class Known:
    """What the book has already, against which rows are checked.

    Attributes
    ----------
    rigs : mapping of str to Rig
    builds : tuple of str
        Names a row may give.
    trials : mapping of str to tuple of str
        The names of the two builds by that of the trial.
    run_names : frozenset of str
        Names that are taken.
    """

    rigs: Mapping[str, Rig]
    builds: tuple[str, ...]
    trials: Mapping[str, tuple[str, ...]] = field(default_factory=lambda: MappingProxyType({}))
    run_names: frozenset[str] = frozenset()


@dataclass(frozen=True)
class RunRow:
    """One run of a table.

    Attributes
    ----------
    row : int
        In the file; 0 when it does not come from one.
    name, build, rig, trial : str
        ``trial`` may be empty.
    entered : mapping
        What a book keeps as the run's entered table.
    """

    row: int
    name: str
    build: str
    rig: str
    trial: str
    entered: Mapping[str, Any]


@dataclass(frozen=True)
class CellError:
    """Why a cell cannot be used.

    Attributes
    ----------
    row : int
    column : str
        Header of the column, or the field when no column gives it.
    value, allowed, next_step : str
        What stands there, what would be accepted, what to do.
    """

    row: int
    column: str
    value: str
    allowed: str
    next_step: str = ""

    @property
    def sentence(self) -> str:
        """The error in words."""
        what = f'Row {self.row}, column "{self.column}": {self.value} is not usable: {self.allowed}.'
        return f"{what} {self.next_step}".strip()


@dataclass(frozen=True)
class PreviewRow:
    """A row as it would be taken.

    Attributes
    ----------
    run : RunRow
    read : mapping of str to Quantity
        SI value and text of each figure, by field.
    reading : Run or None
        As the bench sees it; None while there are errors.
    errors : tuple of CellError
    """

    run: RunRow
    read: Mapping[str, Quantity]
    reading: Run | None
    errors: tuple[CellError, ...]


class _RowRead(Protocol):
    """A row of any table, read."""

    @property
    def errors(self) -> tuple[CellError, ...]: ...


_Row = TypeVar("_Row", bound=_RowRead)


@dataclass(frozen=True)
class TablePreview(Generic[_Row]):
    """All rows of a table as they would be taken.

    Attributes
    ----------
    rows : tuple of rows with their errors
    questions : tuple of Question
        To be answered first.
    notes : tuple of str
    """

    rows: tuple[_Row, ...]
    questions: tuple[Question, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def errors(self) -> tuple[CellError, ...]:
        """The errors of all rows, top to bottom."""
        return tuple(error for row in self.rows for error in row.errors)

    @property
    def is_ready(self) -> bool:
        """Whether every row can be taken as it is."""
        return bool(self.rows) and not self.questions and not self.errors


@dataclass(frozen=True)
class Preview(TablePreview[PreviewRow]):
    """All rows of a table of readings as they would be taken."""

    @property
    def good(self) -> tuple[RunRow, ...]:
        """The rows without an error."""
        return tuple(row.run for row in self.rows if not row.errors)


class ImportRefused(ClackworkError):
    """A table from which nothing is taken yet; ``preview`` tells why."""

    def __init__(self, sentence: str, found: object) -> None:
        self.preview = found
        super().__init__(sentence)


def refuse_unless_fit(table: RawTable, found: TablePreview[Any], what: str, *, only_good: bool) -> None:
    """Refuse a table with a question, with an error when not ``only_good``, or without a good row.

    Parameters
    ----------
    table : RawTable
    found : TablePreview
    what : str
        What a row is taken as, with its article.

    Raises
    ------
    ImportRefused
    """
    if found.questions:
        raise ImportRefused(f"Nothing was taken from {table.filename} yet. {found.questions[0].words}", found)
    bad = sum(bool(row.errors) for row in found.rows)
    if bad and not only_good:
        rows = "one row has" if bad == 1 else f"{bad} of {len(found.rows)} rows have"
        raise ImportRefused(
            f"Nothing was taken from {table.filename}: {rows} an error. {found.errors[0].sentence} "
            "Mend the file, or take the good rows only.",
            found,
        )
    if bad == len(found.rows):
        raise ImportRefused(f"No row of {table.filename} can be taken as {what}.", found)


@dataclass
class _Reader:
    """What is the same for every row while a table is read."""

    table: RawTable
    mapping: TableMapping
    known: Known
    found: ColumnsRead
    seen: dict[str, int] = field(default_factory=dict)


def preview(table: RawTable, mapping: TableMapping, known: Known) -> Preview:
    """Read every row of a table as a run and collect all that stands against it.

    Parameters
    ----------
    table : RawTable
    mapping : TableMapping
    known : Known
        Rigs, builds, trials and run names of the book.

    Returns
    -------
    Preview
        Errors name row, column, value and what is allowed; questions what could be read in two ways.
    """
    found = columns_read(table, mapping, RUNS)
    notes = list(found.notes)
    reader = _Reader(table, mapping, known, found)
    rows: list[PreviewRow] = []
    blank: list[str] = []
    for number, row in zip(table.row_numbers, table.rows, strict=True):
        if any(found.cell(row, name) for name in found.places):
            rows.append(_read_row(reader, number, row, len(rows) + 1))
        else:
            blank.append(str(number))
    if blank:
        notes.append(f"Left out, with nothing in the chosen columns: row {', '.join(blank[:20])}.")
    return Preview(tuple(rows), found.questions, tuple(notes))


def runs_from(table: RawTable, mapping: TableMapping, known: Known, *, only_good: bool = False) -> tuple[RunRow, ...]:
    """The runs of a table.

    Parameters
    ----------
    table, mapping, known
        As for `preview`.
    only_good : bool, optional
        Take the rows without an error and leave the others; else one error refuses all.

    Raises
    ------
    ImportRefused
        A question is open, a row has an error, or no row can be taken.
    """
    found = preview(table, mapping, known)
    refuse_unless_fit(table, found, "a run", only_good=only_good)
    return found.good


def _read_row(reader: _Reader, number: int, row: tuple[Cell, ...], place: int) -> PreviewRow:
    """One row: its cells one by one, then the run as a whole."""
    errors: list[CellError] = []
    read: dict[str, Quantity] = {}
    entered: dict[str, Any] = {}
    for name in RUN_FIELDS:
        cell = reader.found.cell(row, name)
        if cell is None:
            continue
        if cell.fault:
            errors.append(_error(reader, number, name, cell.text, cell.fault))
        elif name in QUANTITIES:
            _take_figure(reader, number, name, cell, entered, read, errors)
        elif name not in ("name", "build", "rig", "trial"):
            _take_word(reader, number, name, cell, entered, errors)
    run = _run_row(reader, number, row, place, entered)
    if "kind" not in run.entered and "kind" in reader.mapping.fixed:
        entered = {"kind": _kind_word(reader.mapping.fixed["kind"]), **entered}
        run = _run_row(reader, number, row, place, entered)
    errors += _name_errors(reader, run)
    reading = None
    if not errors and not reader.found.in_doubt.intersection(entered):
        reading = _whole_run(reader, run, place, errors)
    return PreviewRow(run, MappingProxyType(read), reading, tuple(errors))


def _run_row(reader: _Reader, number: int, row: tuple[Cell, ...], place: int, entered: Mapping[str, Any]) -> RunRow:
    """The names and links of a row, and its readings."""

    def word(name: str) -> str:
        cell = reader.found.cell(row, name)
        return cell.text.strip() if cell else str(reader.mapping.fixed.get(name, ""))

    named = reader.found.cell(row, "name")
    stem = reader.mapping.fixed.get("name") or PurePath(reader.table.filename).stem
    name = named.text.strip() if named else f"{stem} {place}"
    return RunRow(number, name, word("build"), word("rig"), word("trial"), MappingProxyType(dict(entered)))


def _take_figure(
    reader: _Reader,
    number: int,
    name: str,
    cell: Cell,
    entered: dict[str, Any],
    read: dict[str, Quantity],
    errors: list[CellError],
) -> None:
    """Read one figure; the text typed is kept."""
    text = reader.found.figure(name, cell)
    try:
        read[name] = parse(text, QUANTITIES[name])
    except InputError as error:
        if name not in reader.found.in_doubt:
            next_step = error.next_step or "Leave the cell empty when it was not read."
            errors.append(_error(reader, number, name, cell.text, error.allowed, next_step))
        return
    entered[name] = int(text) if name == "beats" and text.isdecimal() and text.isascii() else text


def _take_word(
    reader: _Reader, number: int, name: str, cell: Cell, entered: dict[str, Any], errors: list[CellError]
) -> None:
    """Read a kind, an order or a note."""
    text = cell.text.strip()
    if name == "note":
        entered["note"] = cell.text
    elif name == "kind":
        entered["kind"] = _kind_word(text)
        if entered["kind"] not in RUN_KINDS:
            allowed = f"it must be one of {', '.join(RUN_KINDS)}"
            errors.append(_error(reader, number, name, text, allowed, nearest(entered["kind"], RUN_KINDS)))
    elif text.isdecimal() and text.isascii() and 1 <= int(text) <= 100_000:
        entered["order"] = int(text)
    else:
        errors.append(_error(reader, number, name, text, "it must be a whole number, 1 to 100000"))


def _kind_word(text: str) -> str:
    """A kind of run as the workbook writes it: "Held open" is "held_open"."""
    return "_".join(text.casefold().replace("-", " ").replace("_", " ").split())


def _name_errors(reader: _Reader, run: RunRow) -> list[CellError]:
    """A name that is taken, and a trial that is not there."""
    errors = []
    first = reader.seen.setdefault(run.name, run.row)
    if first != run.row:
        errors.append(_error(reader, run.row, "name", run.name, f"row {first} has that name already"))
    elif run.name in reader.known.run_names:
        errors.append(_error(reader, run.row, "name", run.name, "the book has a run of that name already"))
    if run.trial and run.trial not in reader.known.trials:
        names = ", ".join(reader.known.trials) or "(none described)"
        allowed = f"it must be one of {names}"
        errors.append(_error(reader, run.row, "trial", run.trial, allowed, nearest(run.trial, reader.known.trials)))
    elif run.trial and run.build not in reader.known.trials[run.trial]:
        allowed = f"that trial compares {' and '.join(reader.known.trials[run.trial])}, not {run.build}"
        errors.append(_error(reader, run.row, "trial", run.trial, allowed))
    return errors


def _whole_run(reader: _Reader, run: RunRow, place: int, errors: list[CellError]) -> Run | None:
    """The run as the workbook's own reader takes it."""
    links = {key: text for key, text in (("build", run.build), ("rig", run.rig)) if text}
    values = {"name": run.name, **links, **run.entered}
    label = f"row {run.row}"
    try:
        return read_run(Table(values, label, label, {}), place, reader.known.builds, reader.known.rigs)
    except InputError as error:
        key = _field_of(error.field.removeprefix(f"{label}, "), reader.found.places)
        column = reader.found.columns[key].header if key in reader.found.columns else key
        errors.append(CellError(run.row, column, str(error.value), error.allowed, error.next_step))
        return None


def _field_of(said: str, places: Mapping[str, int]) -> str:
    """The field of a run behind the field an error names."""
    keys = keys_behind(said)
    return next((key for key in keys if key in places), keys[0])


def _error(reader: _Reader, row: int, name: str, value: str, allowed: str, next_step: str = "") -> CellError:
    column = reader.found.columns[name].header if name in reader.found.columns else name
    return CellError(row, column, f'"{value[:60]}"', allowed, next_step)
