"""Readings out of a file into a pump's runs, and out again: look at the file as often as wanted, then take it."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Any, Literal

from clackwork.book import Book, Record
from clackwork.book.journal import fetch_together
from clackwork.book.raw_table import shown_name
from clackwork.book.readings_import import kept_mapping, known_to, run_rows, take_runs
from clackwork.book.readings_table import (
    CellError,
    ColumnUse,
    ImportRefused,
    Known,
    Preview,
    PreviewRow,
    Question,
    RawTable,
    TableMapping,
    preview,
    read_table,
    suggest_mapping,
    with_answers,
)
from clackwork.book.run_columns import RUN_FIELDS, RUNS, TableFields, units_for
from clackwork.book.runs_export import export_runs_csv, export_runs_xlsx
from clackwork.errors import InputError
from clackwork.workbook_runs import RUN_KINDS

SAME_FOR_ALL = ("build", "rig", "kind", "trial", "name")
"""Fields that may be given once for every row; of the name it is how the rows' names begin."""

_NEEDED = ("build", "rig", "kind")
_ROWS_SHOWN = 8
_ERRORS_SHOWN = 25
_FIRST_CELLS = 3
_MOST_FILES = 500
_UNIT_IN_HEADER = re.compile(r".*[\[(](?P<unit>[^\])]+)[\])]\s*")


@dataclass(frozen=True)
class Choices:
    """What was chosen for a file; what is left out is suggested.

    Attributes
    ----------
    columns : mapping of str to ColumnUse
        By header; columns the file does not have are passed over, so that choices outlive a mended file.
    fixed : mapping of str to str
        Fields of `SAME_FOR_ALL` that are the same for every row.
    answers : mapping of str to str
        Answers to questions, by their key.
    """

    columns: Mapping[str, ColumnUse] = field(default_factory=lambda: MappingProxyType({}))
    fixed: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    answers: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))


@dataclass(frozen=True)
class _Read:
    """A file read as far as it can be; ``refused`` says why no row could be."""

    table: RawTable
    mapping: TableMapping
    known: Known
    preview: Preview
    refused: str = ""


def look_at(
    book: Book, pump_id: int, raw: bytes, filename: str, choices: Choices | None = None, *, most_rows: int = _ROWS_SHOWN
) -> dict[str, Any]:
    """What would come of taking a file of readings; nothing is taken.

    Parameters
    ----------
    book : Book
    pump_id : int
        Whose builds the runs are of.
    raw : bytes
        The file, at most 5 MB.
    filename : str
    choices : Choices, optional
    most_rows : int, optional
        Rows told, from the first; as many again with errors come after them.

    Returns
    -------
    dict
        ``columns`` with field, unit and units to choose from, ``fixed`` and its ``options``, what is ``needed``,
        ``questions`` and what was ``answered``, ``notes``, ``rows`` with their ``errors``, how many rows are good,
        and ``taken_before`` when the book has the very same file.

    Raises
    ------
    TableError
        The file is no table that can be read.
    NotThere
        No such pump.
    """
    chosen = choices or Choices()
    found = _read(book, pump_id, raw, filename, chosen)
    seen, mapping = found.preview, found.mapping
    questions = [question_told(one) for one in seen.questions]
    good = len(seen.good)
    return {
        "file": found.table.filename,
        "form": found.table.form,
        "size_bytes": len(raw),
        "columns": [column_told(found.table, mapping, seen.questions, at) for at in range(len(found.table.headers))],
        "fixed": {key: mapping.fixed.get(key, "") for key in SAME_FOR_ALL},
        "options": _options(found.known),
        "needed": _needed(found),
        "questions": questions,
        "answered": [{"key": key, "answer": answer} for key, answer in sorted(mapping.answers.items())],
        "notes": list(seen.notes),
        "refused": found.refused,
        "taken_before": _taken_before(book, pump_id, raw),
        "rows_total": len(seen.rows),
        "rows_good": good,
        "rows_bad": len(seen.rows) - good,
        "ready": seen.is_ready,
        "may_take_good": not questions and 0 < good < len(seen.rows),
        "rows": [_row(one) for one in _rows_told(seen.rows, most_rows)],
    }


def take(
    book: Book,
    pump_id: int,
    raw: bytes,
    filename: str,
    choices: Choices | None = None,
    *,
    only_good: bool = False,
    by: str = "",
) -> dict[str, Any]:
    """Take the runs of a file and keep the file with them, in one action.

    Parameters
    ----------
    book, pump_id, raw, filename, choices
        As for `look_at`.
    only_good : bool, optional
        Leave out rows with an error.
    by : str, optional
        Who takes them.

    Returns
    -------
    dict
        As of `taken_from`.

    Raises
    ------
    ImportRefused
        A question is open, a row has an error, or no row can be taken.
    InputError
        Two columns are read as one field.
    TableError, NotThere
        As for `look_at`.
    """
    found = _read(book, pump_id, raw, filename, choices or Choices())
    if found.refused:
        raise ImportRefused(found.refused, found.preview)
    done = take_runs(book, pump_id, found.table, found.mapping, raw, only_good=only_good, by=by)
    return taken_from(book, done.file.id)


def taken_from(book: Book, file_id: int) -> dict[str, Any]:
    """What was taken from a file that is kept in the book.

    Returns
    -------
    dict
        The file's record and name, its pump, the runs by number, name and build, the journal's change that undoes
        all of it, and whether that was done.

    Raises
    ------
    NotThere
        No such file.
    """
    file = book.get("file", file_id)
    added = book.changes(kind="file", id=file_id, limit=_MOST_FILES)[-1]
    with book.reading() as connection:
        together = fetch_together(connection, added.together)
    numbers = [one.record_id for one in reversed(together) if one.kind == "run" and one.action == "add"]
    runs = [_run_told(book.get("run", number)) for number in numbers]
    return {
        "file_id": file.id,
        "file": file.name,
        "size_bytes": file.entered.get("size_bytes", 0),
        "pump_id": file.links.get("pump"),
        "made_at": file.made_at.isoformat(),
        "made_by": file.made_by,
        "runs": runs,
        "change_id": added.id,
        "undone": file.removed,
    }


def files_of(book: Book, pump_id: int) -> tuple[Record, ...]:
    """The files kept for a pump that are tables of readings, the last taken first.

    Raises
    ------
    NotThere
        No such pump.
    """
    book.get("pump", pump_id)
    found = book.list("file", links={"pump": pump_id}, limit=_MOST_FILES, order="changed")
    return tuple(one for one in found.records if _is_table(one))


def give_out(
    book: Book, pump_id: int, form: Literal["csv", "xlsx"], units: str, *, decimal_comma: bool = False
) -> bytes:
    """A pump's runs as a file.

    Parameters
    ----------
    book, pump_id
    form : {"csv", "xlsx"}
    units : {"typed", "metric", "us"}
        "typed" gives what was typed; the others add columns of plain figures.
    decimal_comma : bool, optional
        CSV only: figures with a decimal comma, columns parted by semicolons.

    Raises
    ------
    NotThere
        No such pump.
    TableError
        A text holds a character a spreadsheet cannot hold.
    """
    rows = run_rows(book, pump_id)
    if form == "xlsx":
        return export_runs_xlsx(rows, units)
    # the mark at the beginning makes spreadsheets read the text as UTF-8
    return export_runs_csv(rows, units, decimal_comma=decimal_comma).encode("utf-8-sig")


def _read(book: Book, pump_id: int, raw: bytes, filename: str, choices: Choices) -> _Read:
    """Read a file by the choices made so far."""
    known = known_to(book, pump_id)
    table = read_table(raw, shown_name(filename), choices.answers)
    suggested = suggest_mapping(table, kept_mapping(book))
    mapping, refused = replace(suggested, fixed=_fixed(suggested, known, choices)), ""
    if choices.columns:
        mapping = replace(mapping, notes=())  # they told what to choose
    try:
        mapping = with_units_told(table, with_answers(mapping, column_answers(table, choices)))
        seen = preview(table, mapping, known)
    except InputError as error:
        refused = str(error)
        mapping = replace(mapping, columns=as_chosen(mapping, choices))
        seen = Preview((), table.questions, table.notes)
    return _Read(table, mapping, known, seen, refused)


def column_answers(table: RawTable, choices: Choices) -> dict[str, str]:
    """Fields and units chosen, as `with_answers` takes them."""
    chosen = [use for header, use in choices.columns.items() if header in table.headers]
    fields = {f"field:{use.header}": use.field for use in chosen}
    return fields | {f"unit:{use.header}": use.unit for use in chosen if use.unit}


def with_units_told(table: RawTable, mapping: TableMapping, fields: TableFields = RUNS) -> TableMapping:
    """Columns without a unit take the one in their header or under it, where it is a unit of what they are."""
    for use, below in zip(mapping.columns, table.units, strict=True):
        match = _UNIT_IN_HEADER.fullmatch(use.header)
        told = below or (match["unit"].strip() if match else "")
        if told and use.field in fields.quantities and not use.unit:
            with suppress(InputError):  # no unit of that kind: it is asked for
                mapping = with_answers(mapping, {f"unit:{use.header}": told}, fields)
    return mapping


def as_chosen(mapping: TableMapping, choices: Choices) -> tuple[ColumnUse, ...]:
    """The columns as chosen, though they cannot be used so."""
    return tuple(choices.columns.get(one.header, one) for one in mapping.columns)


def _fixed(suggested: TableMapping, known: Known, choices: Choices) -> Mapping[str, str]:
    """What is the same for every row: as chosen, else as last time where it is still there, else the only one."""
    if choices.fixed:
        return MappingProxyType({key: text for key, text in choices.fixed.items() if key in SAME_FOR_ALL and text})
    there = {"build": known.builds, "rig": tuple(known.rigs), "kind": RUN_KINDS, "trial": tuple(known.trials)}
    found = {key: text for key, text in suggested.fixed.items() if text in there.get(key, ())}
    for key in ("build", "rig"):
        if len(there[key]) == 1 and suggested.header_of(key) is None:
            found.setdefault(key, there[key][0])
    return MappingProxyType(found)


def _options(known: Known) -> dict[str, list[str]]:
    """What may be the same for every row."""
    return {"build": [*known.builds], "rig": [*known.rigs], "kind": [*RUN_KINDS], "trial": [*known.trials]}


def _needed(found: _Read) -> list[str]:
    """Fields that every run has and neither a column nor a choice gives."""
    mapping = found.mapping
    return [key for key in _NEEDED if mapping.header_of(key) is None and not mapping.fixed.get(key)]


def column_told(
    table: RawTable, mapping: TableMapping, questions: Sequence[Question], place: int, fields: TableFields = RUNS
) -> dict[str, Any]:
    """A column with what it is read as."""
    header = table.headers[place]
    use = next(one for one in mapping.columns if one.header == header)
    kind = fields.quantities.get(use.field)
    asked = next((one.words for one in questions if one.key == f"unit:{header}"), "")
    first = [cell.text for cell in table.column(place) if cell.text.strip()][:_FIRST_CELLS]
    units = list(units_for(kind)) if kind and use.field != "beats" else []
    if use.unit and units and use.unit not in units:
        units.append(use.unit)
    return {
        "header": header,
        "field": use.field,
        "unit": use.unit,
        "units": units,
        "first": [text[:60] for text in first],
        "asked": asked,
    }


def question_told(one: Question) -> dict[str, Any]:
    choices = [{"answer": answer, "words": words} for answer, words in one.choices]
    return {"key": one.key, "words": one.words, "choices": choices, "likely": one.likely}


def _rows_told(rows: Sequence[PreviewRow], most: int) -> list[PreviewRow]:
    """The first rows, and rows with errors after them."""
    bad = [row for row in rows[most:] if row.errors][: max(_ERRORS_SHOWN, most)]
    return [*rows[:most], *bad]


def _row(one: PreviewRow) -> dict[str, Any]:
    """A row as it would be taken."""
    run = one.run
    errors = [error_told(error) for error in one.errors]
    entered = {key: run.entered[key] for key in RUN_FIELDS if key in run.entered}
    told = {"row": run.row, "name": run.name, "build": run.build, "rig": run.rig, "trial": run.trial}
    return told | {"entered": entered, "errors": errors}


def error_told(error: CellError) -> dict[str, str]:
    """An error at a cell."""
    return {
        "column": error.column,
        "value": error.value,
        "allowed": error.allowed,
        "next_step": error.next_step,
        "sentence": error.sentence,
    }


def _taken_before(book: Book, pump_id: int, raw: bytes) -> dict[str, Any] | None:
    """The same file kept before; None when there is none."""
    sha256 = hashlib.sha256(raw).hexdigest()
    same = [one for one in files_of(book, pump_id) if one.entered.get("sha256") == sha256]
    if not same:
        return None
    return {"file_id": same[0].id, "file": same[0].name, "made_at": same[0].made_at.isoformat()}


def _is_table(file: Record) -> bool:
    kind = str(file.entered.get("media_type", ""))
    return kind == "text/csv" or "spreadsheet" in kind


def _run_told(run: Record) -> dict[str, Any]:
    return {"id": run.id, "name": run.name, "build_id": run.links["build"], "removed": run.removed}
