"""Places out of a file into the book: look at the file as often as wanted, then take it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from clackwork.book import Book
from clackwork.book.raw_table import RawTable, read_table, shown_name
from clackwork.book.readings_table import ImportRefused, TableMapping, suggest_mapping, with_answers
from clackwork.book.sites_import import TakenSites, kept_sites_mapping, known_sites, take_sites
from clackwork.book.sites_table import SITES, SiteRow, SitesPreview, preview_sites
from clackwork.errors import InputError
from clackwork.shop.readings import (
    Choices,
    as_chosen,
    column_answers,
    column_told,
    error_told,
    question_told,
    with_units_told,
)

_ROWS_SHOWN = 8
_ERRORS_SHOWN = 25


@dataclass(frozen=True)
class _Read:
    """A file read as far as it can be; ``refused`` says why no row could be."""

    table: RawTable
    mapping: TableMapping
    preview: SitesPreview
    refused: str = ""


def look_at_sites(
    book: Book, raw: bytes, filename: str, choices: Choices | None = None, *, most_rows: int = _ROWS_SHOWN
) -> dict[str, Any]:
    """What would come of taking a file of places; nothing is taken.

    Parameters
    ----------
    book : Book
    raw : bytes
        The file, CSV or XLSX, at most 5 MB.
    filename : str
    choices : Choices, optional
    most_rows : int, optional
        Rows told, from the first; as many again with errors come after them.

    Returns
    -------
    dict
        ``columns`` with field, unit and units to choose from, ``fields`` a column can be, ``questions`` and what was
        ``answered``, ``notes``, ``rows`` with their ``errors``, how many are new, there already, or bad.

    Raises
    ------
    TableError
        The file is no table that can be read.
    """
    found = _read(book, raw, filename, choices or Choices())
    seen = found.preview
    bad = sum(bool(row.errors) for row in seen.rows)
    told = [
        *seen.rows[:most_rows],
        *[row for row in seen.rows[most_rows:] if row.errors][: max(_ERRORS_SHOWN, most_rows)],
    ]
    places = range(len(found.table.headers))
    return {
        "file": found.table.filename,
        "form": found.table.form,
        "size_bytes": len(raw),
        "fields": list(SITES.order),
        "columns": [column_told(found.table, found.mapping, seen.questions, at, SITES) for at in places],
        "questions": [question_told(one) for one in seen.questions],
        "answered": [{"key": key, "answer": answer} for key, answer in sorted(found.mapping.answers.items())],
        "notes": list(seen.notes),
        "refused": found.refused,
        "rows_total": len(seen.rows),
        "rows_new": len(seen.new),
        "rows_there": sum(row.is_there for row in seen.rows),
        "rows_bad": bad,
        "ready": seen.is_ready,
        "may_take_good": not seen.questions and 0 < bad < len(seen.rows),
        "rows": [_row(one) for one in told],
    }


def take_site_table(
    book: Book,
    raw: bytes,
    filename: str,
    choices: Choices | None = None,
    *,
    only_good: bool = False,
    by: str = "",
) -> TakenSites:
    """Take the places of a file and keep the file with them, in one action.

    Parameters
    ----------
    book, raw, filename, choices
        As for `look_at_sites`.
    only_good : bool, optional
        Leave out rows with an error.
    by : str, optional
        Who takes them.

    Raises
    ------
    ImportRefused
        A question is open, a row has an error, or no row can be taken.
    TableError
        As for `look_at_sites`.
    """
    found = _read(book, raw, filename, choices or Choices())
    if found.refused:
        raise ImportRefused(found.refused, found.preview)
    return take_sites(book, found.table, found.mapping, raw, only_good=only_good, by=by)


def _read(book: Book, raw: bytes, filename: str, choices: Choices) -> _Read:
    """Read a file by the choices made so far."""
    table = read_table(raw, shown_name(filename), choices.answers)
    mapping = suggest_mapping(table, kept_sites_mapping(book), SITES)
    refused = ""
    try:
        mapping = with_units_told(table, with_answers(mapping, column_answers(table, choices), SITES), SITES)
        seen = preview_sites(table, mapping, known_sites(book))
    except InputError as error:
        refused = str(error)
        mapping = replace(mapping, columns=as_chosen(mapping, choices))
        seen = SitesPreview((), table.questions, table.notes)
    return _Read(table, mapping, seen, refused)


def _row(one: SiteRow) -> dict[str, Any]:
    """A row as it would be taken."""
    errors = [error_told(error) for error in one.errors]
    return {"row": one.row, "name": one.name, "entered": dict(one.entered), "there": one.is_there, "errors": errors}
