"""Runs written as CSV or XLSX: each field as typed, so that reading the file again loses nothing, and figures beside."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence

from clackwork.book.raw_table import TableError, escaped
from clackwork.book.readings_table import RunRow
from clackwork.book.run_columns import QUANTITIES, RUN_FIELDS
from clackwork.errors import InputError
from clackwork.quantities import SYSTEMS, key_name, parse, to_display

AS_TYPED = "typed"
"""Units of an export that has no columns of figures, only the texts typed."""

_LINKS = ("name", "build", "rig", "trial")


def export_runs_csv(runs: Iterable[RunRow], units: str = AS_TYPED, *, decimal_comma: bool = False) -> str:
    """Runs as CSV text.

    Parameters
    ----------
    runs : iterable of RunRow
    units : {"typed", "metric", "us"}
        "typed" writes one column per field, as typed; the others add beside it a column of plain figures with the
        unit in its name, "duration_s", which `suggest_mapping` leaves out again.
    decimal_comma : bool, optional
        Figures with a decimal comma, columns parted by semicolons.

    Returns
    -------
    str
        Lines end in CR LF; a text a spreadsheet would run as a formula has an apostrophe in front.
    """
    rows = _rows(runs, units)
    stream = io.StringIO(newline="")
    writer = csv.writer(stream, delimiter=";" if decimal_comma else ",", lineterminator="\r\n")
    for row in rows:
        writer.writerow([_csv_text(one, decimal_comma) for one in row])
    return stream.getvalue()


def export_runs_xlsx(runs: Iterable[RunRow], units: str = AS_TYPED) -> bytes:
    """Runs as an XLSX file; texts are text cells, so that no spreadsheet reads them anew.

    Parameters
    ----------
    runs, units
        As for `export_runs_csv`.

    Raises
    ------
    TableError
        A text holds a character a spreadsheet cannot hold.
    """
    from openpyxl import Workbook
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE

    rows = _rows(runs, units)
    for text in (value for row in rows for value in row if isinstance(value, str)):
        if ILLEGAL_CHARACTERS_RE.search(text):
            raise TableError(f"The text {text[:60]!r} has a character a spreadsheet cannot hold; export CSV.")
    book = Workbook(write_only=True)
    sheet = book.create_sheet("runs")
    for row in rows:
        cells = [WriteOnlyCell(sheet, value=value) for value in row]
        for cell, value in zip(cells, row, strict=True):
            if isinstance(value, str):
                cell.data_type = "s"  # a text that begins with = stays a text
                cell.number_format = "@"
        sheet.append(cells)
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def _rows(runs: Iterable[RunRow], units: str) -> list[list[str | int | float | None]]:
    """Headers, then one row per run; columns no run uses are left out."""
    if units not in (AS_TYPED, *SYSTEMS):
        raise InputError("units", units, f"it must be one of {', '.join((AS_TYPED, *SYSTEMS))}")
    chosen = list(runs)
    fields = [name for name in RUN_FIELDS if name in ("name", "build", "rig", "kind") or _used(chosen, name)]
    headers: list[str | int | float | None] = []
    for name in fields:
        headers += [name, key_name(name, QUANTITIES[name], units)] if _has_figures(name, units) else [name]
    return [headers, *(_row(run, fields, units) for run in chosen)]


def _used(runs: Sequence[RunRow], name: str) -> bool:
    return any(_value(run, name) not in (None, "") for run in runs)


def _has_figures(name: str, units: str) -> bool:
    """Whether a field has a column of figures beside it; a count is its own figure."""
    return units != AS_TYPED and name in QUANTITIES and name != "beats"


def _value(run: RunRow, name: str) -> str | int | None:
    value = getattr(run, name) if name in _LINKS else run.entered.get(name)
    return value if value is None or isinstance(value, int) else str(value)


def _row(run: RunRow, fields: Iterable[str], units: str) -> list[str | int | float | None]:
    row: list[str | int | float | None] = []
    for name in fields:
        value = _value(run, name)
        row.append(value)
        if _has_figures(name, units):
            kind = QUANTITIES[name]
            row.append(None if value is None else to_display(parse(str(value), kind, field=name).value, kind, units))
    return row


def _csv_text(value: str | int | float | None, decimal_comma: bool) -> str:
    """A value as CSV holds it."""
    if isinstance(value, float):
        text = f"{value:.12g}"  # the text typed beside it is what counts; this drops the noise of conversion
        return text.replace(".", ",") if decimal_comma else text
    return "" if value is None else escaped(str(value))
