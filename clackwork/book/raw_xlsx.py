"""An XLSX file read into cells: values only, formulas by the value last worked out, dates refused."""

from __future__ import annotations

import datetime
import io
import zipfile
from collections.abc import Iterator, Mapping
from typing import Any

from clackwork.book.raw_table import (
    EMPTY,
    MOST_COLUMNS,
    MOST_ROWS,
    Cell,
    Question,
    RawTable,
    TableError,
    table_from,
)

MOST_UNPACKED = 40_000_000
"""Bytes of all members together; a sheet of 2,000 rows and 60 columns is a fifth of it."""
MOST_MEMBERS = 500
MOST_SHEETS = 30
_ROWS_ABOVE = 50  # rows a title may take above the table

_DATE = (
    'it is a date or a time of day, which a run does not have; write a duration as text, such as "2:00" or "120 s", '
    "in a cell formatted as text"
)
_NO_VALUE = "it is a formula without a value; open the file in your spreadsheet, save it, and give it again"


def read_xlsx(raw: bytes, name: str, answers: Mapping[str, str]) -> RawTable:
    """Read an XLSX file; called by `clackwork.book.raw_table.read_table`.

    Raises
    ------
    TableError
        Damaged, unpacks to too much, no sheet with cells, or another kind of file.
    """
    _check_archive(raw, name)
    sheets = _sheets(raw, name)
    filled = [title for title, rows in sheets.items() if any(cell != EMPTY for row in rows for cell in row)]
    if not filled:
        raise TableError(f"{name} has no cell with anything in it; choose the file that holds the readings.")
    questions, notes = [], []
    chosen = answers.get("sheet", "")
    if chosen not in filled:
        chosen = filled[0]
        if len(filled) > 1:
            choices = tuple((title, f'sheet "{title}", {len(sheets[title])} rows') for title in filled)
            questions.append(Question("sheet", f"{name} has several sheets. Which one holds the runs?", choices))
    notes.append(f'Read from sheet "{chosen}".')
    return table_from(sheets[chosen], name, "xlsx", answers, questions, notes)


def _check_archive(raw: bytes, name: str) -> None:
    """Refuse what is not a spreadsheet, or would unpack to more than is read."""
    try:
        with zipfile.ZipFile(io.BytesIO(raw)) as archive:
            members = archive.infolist()
    except zipfile.BadZipFile as error:
        raise TableError(f"{name} is damaged; save it again from your spreadsheet.") from error
    if len(members) > MOST_MEMBERS or sum(member.file_size for member in members) > MOST_UNPACKED:
        raise TableError(f"{name} unpacks to more than is read here; copy the runs into a new spreadsheet and save it.")
    if "xl/workbook.xml" not in {member.filename for member in members}:
        raise TableError(f"{name} is not an XLSX spreadsheet; save the table as XLSX or CSV.")


def _sheets(raw: bytes, name: str) -> dict[str, list[list[Cell]]]:
    """The cells of every sheet; the file is read twice, for values and for formulas without one."""
    import warnings

    from openpyxl import load_workbook

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # styles and extensions that are not read
        try:
            values = load_workbook(io.BytesIO(raw), read_only=True, data_only=True, keep_links=False)
            formulas = load_workbook(io.BytesIO(raw), read_only=True, data_only=False, keep_links=False)
            titles = [sheet.title for sheet in values.worksheets][:MOST_SHEETS]
            found = {title: list(_cells(values[title], formulas[title], name)) for title in titles}
        except TableError:
            raise
        except Exception as error:  # the reader raises whatever a damaged part leads it to
            raise TableError(f"{name} is damaged or not an XLSX spreadsheet ({type(error).__name__}).") from error
        finally:
            for book in (locals().get("values"), locals().get("formulas")):
                if book is not None:
                    book.close()
    return found


def _cells(values: Any, formulas: Any, name: str) -> Iterator[list[Cell]]:
    """Rows of one sheet, at most one more than is allowed."""
    most = MOST_ROWS + _ROWS_ABOVE
    for sheet in (values, formulas):
        sheet.reset_dimensions()  # what the file says of its own size may be wrong
    limits = {"max_row": most + 1, "max_col": MOST_COLUMNS + 1}
    pairs = zip(values.iter_rows(**limits), formulas.iter_rows(**limits, values_only=True), strict=False)
    for number, (row, typed) in enumerate(pairs, start=1):
        if number > most:
            raise TableError(f"{name} has more than {MOST_ROWS} rows; split it over several files.")
        yield [_cell(cell.value, cell.data_type, formula) for cell, formula in zip(row, typed, strict=False)]


def _cell(value: object, data_type: str, formula: object) -> Cell:
    """One cell as text; a formula that gives an empty text is an empty cell."""
    if value is None:
        return EMPTY if formula is None or data_type in ("s", "str") else Cell(str(formula)[:60], fault=_NO_VALUE)
    if isinstance(value, bool):
        return Cell("TRUE" if value else "FALSE")
    if isinstance(value, int):
        return Cell(str(value), is_number=True)
    if isinstance(value, float):
        return Cell(f"{value:.15g}", is_number=True)  # the figures a spreadsheet keeps
    if isinstance(value, datetime.datetime | datetime.date | datetime.time | datetime.timedelta):
        return Cell(str(value), fault=_DATE)
    text = str(value)
    if text.startswith("#") and text.endswith(("!", "?", "#N/A")):
        return Cell(text, fault="the formula in it failed; mend it in your spreadsheet")
    return Cell(text)
