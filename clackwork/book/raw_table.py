"""A table of readings as it stands in a file, before anything is made of it: cells as text, and what must be asked.

Nothing is guessed in silence: where a file can be read in two ways a `Question` says so, the table shows the first
way, and no run is taken from it until the question is answered.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import NamedTuple

from clackwork.errors import ClackworkError

MOST_BYTES = 5_000_000
"""Largest file read; two thousand runs with every field are a tenth of it."""
MOST_ROWS = 2_000
"""Taken in one action, during which no one else writes: a few seconds."""
MOST_COLUMNS = 60
LONGEST_CELL = 10_000
"""Characters; notes are the longest."""

_LETTER = re.compile(r"[^\W\d_]|#")
_ESCAPED = re.compile(r"'+[=+\-@\t\r]")
_FORMULA_LIKE = re.compile(r"'*[=+\-@\t\r]")
_PLAIN_SIGNED = re.compile(r"[+-][0-9.,]+\s?[A-Za-z°%/]{0,8}")


class TableError(ClackworkError):
    """A table of readings that cannot be read as a whole: too large, no columns, a format that is not read."""


class Cell(NamedTuple):
    """One cell.

    Attributes
    ----------
    text : str
        As it stands in the file; a number of a spreadsheet in at most 15 figures with a decimal point.
    is_number : bool
        The file holds it as a number, so its decimal mark is not in doubt.
    fault : str
        Why it cannot be used, empty when it can: a date, a formula without a value.
    """

    text: str
    is_number: bool = False
    fault: str = ""


EMPTY = Cell("")


@dataclass(frozen=True)
class Question:
    """Something that can be read in more than one way.

    Attributes
    ----------
    key : str
        Under which the answer is given: "delimiter", "encoding", "sheet", "decimal:Waste L", "clock:Time".
    words : str
        The question, a sentence.
    choices : tuple of (str, str)
        Answer, and what it would mean, in words.
    likely : str
        The answer other columns point to; empty when nothing does.
    """

    key: str
    words: str
    choices: tuple[tuple[str, str], ...]
    likely: str = ""


@dataclass(frozen=True)
class RawTable:
    """Rows and columns of a file.

    Attributes
    ----------
    filename : str
        As given, without folders.
    form : str
        "csv" or "xlsx".
    headers : tuple of str
        One per column, each different.
    units : tuple of str
        From a row of units under the headers; empty texts when there is none.
    rows : tuple of tuple of Cell
        As wide as ``headers``; rows without any text are left out.
    row_numbers : tuple of int
        Of each row in the file, the first being 1.
    questions : tuple of Question
        Still to be answered.
    notes : tuple of str
        What was seen and done while reading.
    answers : mapping of str to str
        The answers it was read with.
    """

    filename: str
    form: str
    headers: tuple[str, ...]
    units: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    row_numbers: tuple[int, ...]
    questions: tuple[Question, ...] = ()
    notes: tuple[str, ...] = ()
    answers: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))

    def column(self, place: int) -> list[Cell]:
        """The cells of one column, top to bottom."""
        return [row[place] for row in self.rows]


def read_table(raw: bytes, filename: str, answers: Mapping[str, str] | None = None) -> RawTable:
    """Read a CSV or XLSX file of runs.

    Parameters
    ----------
    raw : bytes
        The whole file, at most 5 MB.
    filename : str
        Shown in messages; the content alone decides how it is read.
    answers : mapping, optional
        Answers to the questions of an earlier reading, by `Question.key`.

    Returns
    -------
    RawTable
        With the questions that are left.

    Raises
    ------
    TableError
        Empty, too large, not a table, or in a format that is not read; the sentence says what to do.
    """
    name = shown_name(filename)
    if len(raw) > MOST_BYTES:
        raise TableError(f"{name} is larger than {MOST_BYTES // 1_000_000} MB; split it over several files.")
    if not raw.strip():
        raise TableError(f"{name} is empty; choose the file that holds the readings.")
    given = MappingProxyType(dict(answers or {}))
    if raw.startswith(b"PK"):
        from clackwork.book.raw_xlsx import read_xlsx

        return read_xlsx(raw, name, given)
    if raw.startswith(b"\xd0\xcf\x11\xe0"):
        raise TableError(
            f"{name} is an old or locked spreadsheet; open it in your spreadsheet and save it as XLSX or CSV "
            "without a password."
        )
    from clackwork.book.raw_csv import read_csv

    return read_csv(raw, name, given)


def shown_name(filename: str) -> str:
    """The last part of a file's name, printable, at most 80 characters."""
    last = re.split(r"[/\\]", filename)[-1]
    return "".join(character for character in last if character.isprintable())[:80].strip() or "The file"


def table_from(
    rows: Sequence[Sequence[Cell]],
    name: str,
    form: str,
    answers: Mapping[str, str],
    questions: Sequence[Question],
    notes: Sequence[str],
) -> RawTable:
    """Find the headers of read rows and cut the table out of them.

    Raises
    ------
    TableError
        No row of headers, no rows under it, too many rows or columns, or a cell too long.
    """
    found = list(notes)
    filled = [
        (number, list(row)) for number, row in enumerate(rows, start=1) if any(cell.text or cell.fault for cell in row)
    ]
    place = next((i for i, (_, row) in enumerate(filled) if sum(bool(cell.text) for cell in row) >= 2), None)
    if place is None:
        raise TableError(f"{name} has no row with two or more columns; a first row of column names is needed.")
    header_number, header = filled[place]
    if not is_header(cell.text for cell in header):
        raise TableError(
            f"{name}, row {header_number}, has figures where column names are needed; put a row of names above it, "
            'such as "name", "duration (s)", "waste volume (L)".'
        )
    if place:
        above = "row 1 was" if header_number == 2 else f"rows 1 to {header_number - 1} were"
        found.append(f"The column names were taken from row {header_number}; {above} left out.")
    body = filled[place + 1 :]
    width = _width(header, body)
    _check_size(name, width, len(body), filled)
    body = [(number, (row + [EMPTY] * width)[:width]) for number, row in body]
    headers = _headers((header + [EMPTY] * width)[:width], found)
    units, body = _units_row(headers, body, found)
    if not body:
        raise TableError(f"{name} has column names but no row of readings under them.")
    return RawTable(
        filename=name,
        form=form,
        headers=headers,
        units=units,
        rows=tuple(tuple(row) for _, row in body),
        row_numbers=tuple(number for number, _ in body),
        questions=tuple(questions),
        notes=tuple(found),
        answers=answers,
    )


def is_header(texts: Iterable[str]) -> bool:
    """Whether each text that is not empty holds a letter, as names of columns do and figures do not."""
    filled = [text for text in texts if text.strip()]
    return bool(filled) and all(_LETTER.search(text) and not re.match(r"\s*[-+]?[0-9]", text) for text in filled)


def _width(header: Sequence[Cell], body: Iterable[tuple[int, Sequence[Cell]]]) -> int:
    """Columns up to the last that holds anything."""
    return max(
        (place for row in (header, *(row for _, row in body)) for place, cell in enumerate(row, 1) if cell != EMPTY),
        default=0,
    )


def _check_size(name: str, width: int, count: int, rows: Sequence[tuple[int, Sequence[Cell]]]) -> None:
    if width > MOST_COLUMNS:
        raise TableError(f"{name} has more than {MOST_COLUMNS} columns; keep the columns of the runs only.")
    if count > MOST_ROWS:
        raise TableError(f"{name} has more than {MOST_ROWS} rows; split it over several files.")
    for number, row in rows:
        if any(len(cell.text) > LONGEST_CELL for cell in row):
            raise TableError(f"{name}, row {number}: a cell has more than {LONGEST_CELL} characters; shorten it.")


def _headers(cells: Sequence[Cell], notes: list[str]) -> tuple[str, ...]:
    """Column names made different from each other, said when one had to be changed."""
    names: list[str] = []
    for place, cell in enumerate(cells):
        name = " ".join(cell.text.split())
        if not name or name in names:
            other = f"{name or 'no name'} (column {column_letters(place)})"
            if name:
                notes.append(f'Two columns are called "{name}"; the later one is shown as "{other}".')
            name = other
        names.append(name)
    return tuple(names)


def column_letters(place: int) -> str:
    """A column's letters as spreadsheets show them: 0 is A, 26 is AA."""
    letters = ""
    place += 1
    while place:
        place, rest = divmod(place - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters


def _units_row(
    headers: Sequence[str], body: list[tuple[int, list[Cell]]], notes: list[str]
) -> tuple[tuple[str, ...], list[tuple[int, list[Cell]]]]:
    """A row of units straight under the headers, taken off the rows."""
    from clackwork.unit_table import UNITS_BY_FOLDED_KEY, unit_key

    none = ("",) * len(headers)
    if not body:
        return none, body
    texts = [cell.text.strip().strip("[]()") for cell in body[0][1]]
    filled = [text for text in texts if text]
    if len(filled) < 2 or not all(unit_key(text).casefold() in UNITS_BY_FOLDED_KEY for text in filled):
        return none, body
    notes.append(f"Row {body[0][0]} was read as the units of the columns.")
    return tuple(texts), body[1:]


def escaped(text: str) -> str:
    """A text as written to CSV: one that a spreadsheet would run as a formula gets an apostrophe in front."""
    if _FORMULA_LIKE.match(text) and not _PLAIN_SIGNED.fullmatch(text):
        return f"'{text}"
    return text


def unescaped(text: str) -> str:
    """The inverse of `escaped`."""
    return text[1:] if _ESCAPED.match(text) else text
