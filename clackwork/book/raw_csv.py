"""A CSV file read into cells: its encoding and delimiter found where they are plain, asked where they are not."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence

from clackwork.book.raw_table import Cell, Question, RawTable, TableError, is_header, table_from, unescaped

DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "upright bar"}
ENCODINGS = {
    "cp1252": "Western, as most computers wrote it before UTF-8",
    "cp1250": "Central European",
    "mac_roman": "Western, from an older Macintosh",
    "cp850": "Western, from a console",
}
"""Tried in this order when a file is not UTF-8; none of them can be told from another for certain."""
_MARKS = ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"))


def read_csv(raw: bytes, name: str, answers: Mapping[str, str]) -> RawTable:
    """Read a CSV file; called by `clackwork.book.raw_table.read_table`.

    Raises
    ------
    TableError
        Not text, or no delimiter gives a table.
    """
    questions: list[Question] = []
    notes: list[str] = []
    text = _decoded(raw, name, answers, questions, notes)
    text, told = _told_delimiter(text)
    delimiter = told or _delimiter(text, name, answers, questions)
    rows = [[Cell(unescaped(one)) for one in row] for row in _rows(text, delimiter, name)]
    if told:
        rows.insert(0, [])  # so that rows keep the numbers they have in the file
    notes.append(f"Columns are parted by a {DELIMITERS.get(delimiter, repr(delimiter))}.")
    return table_from(rows, name, "csv", answers, questions, notes)


def _decoded(raw: bytes, name: str, answers: Mapping[str, str], questions: list[Question], notes: list[str]) -> str:
    """The text of the file; asks when it is not Unicode and the candidates differ."""
    for mark, encoding in _MARKS:
        if raw.startswith(mark):
            try:
                return raw.decode(encoding)
            except UnicodeDecodeError as error:
                raise TableError(f"{name} is damaged: it says it is {encoding} and is not. Save it again.") from error
    if b"\0" in raw:
        raise TableError(f"{name} is not a text or XLSX file; save the table as CSV (UTF-8) or XLSX.")
    try:
        return raw.decode("utf-8")
    except UnicodeDecodeError as error:
        first = error.start
    readings = {one: text for one in ENCODINGS if (text := _try(raw, one)) is not None}
    if not readings:
        raise TableError(f"{name} is not text that can be read; save it as CSV (UTF-8).")
    answer = answers.get("encoding", "")
    if answer in readings:
        return readings[answer]
    line = raw[:first].count(b"\n")
    choices = tuple((one, f'{ENCODINGS[one]}: "{_around(raw, first, one)}"') for one in readings)
    words = f"{name} is not written in UTF-8. How does line {line + 1} read rightly?"
    questions.append(Question("encoding", words, choices))
    notes.append(f"{name} is not UTF-8; it is shown as {ENCODINGS[choices[0][0]]} until you choose.")
    return readings[choices[0][0]]


def _try(raw: bytes, encoding: str) -> str | None:
    try:
        return raw.decode(encoding)
    except UnicodeDecodeError:
        return None


def _around(raw: bytes, place: int, encoding: str) -> str:
    """What stands around one byte on its line; every encoding tried has one byte to a character."""
    start = max(raw.rfind(b"\n", 0, place) + 1, place - 30)
    text = raw[start : place + 30].split(b"\n")[0].decode(encoding)
    return "".join(character if character.isprintable() else " " for character in text).strip()


def _told_delimiter(text: str) -> tuple[str, str]:
    """Text without a first line "sep=;", and the delimiter that line names."""
    first, _, rest = text.partition("\n")
    first = first.rstrip("\r")
    if first.lower().startswith("sep=") and len(first) == 5:
        return rest, first[4]
    return text, ""


def _delimiter(text: str, name: str, answers: Mapping[str, str], questions: list[Question]) -> str:
    """The delimiter that gives a table; a question when more than one does."""
    answer = answers.get("delimiter", "")
    if answer in DELIMITERS:
        return answer
    tried = {one: header for one in DELIMITERS if (header := _header_with(text, one)) is not None}
    # a later row cut in fewer columns is a row of the table that an earlier, wider row of names begins
    found = {
        one: header
        for one, (place, header) in tried.items()
        if not any(place > at and len(header) < len(other) for at, other in tried.values())
    }
    if not found:
        raise TableError(
            f"{name} is not a table with a first row of column names parted by comma, semicolon, tab or upright bar; "
            "save it as CSV or XLSX with such a row."
        )
    if len(found) > 1:
        choices = tuple(
            (one, f"{DELIMITERS[one]}: {len(header)} columns, {', '.join(header)[:80]}")
            for one, header in found.items()
        )
        words = f"{name} can be cut into columns in more than one way. What parts its columns?"
        questions.append(Question("delimiter", words, choices))
    return max(found, key=lambda one: len(found[one]))


def _header_with(text: str, delimiter: str) -> tuple[int, list[str]] | None:
    """The row of column names a delimiter gives, and the names; None when the rows do not fit under them."""
    try:
        rows = [row for row in _rows(text, delimiter, "") if any(one.strip() for one in row)]
    except TableError:
        return None
    place = next((i for i, row in enumerate(rows) if sum(bool(one.strip()) for one in row) >= 2), None)
    if place is None or not is_header(rows[place]):
        return None
    width = len(rows[place])
    fits = all(len(row) <= width or not any(one.strip() for one in row[width:]) for row in rows[place + 1 :])
    wide = sum(len(row) >= 2 for row in rows[place + 1 :])
    return (place, rows[place]) if fits and 2 * wide >= len(rows) - place - 1 else None


def _rows(text: str, delimiter: str, name: str) -> Sequence[list[str]]:
    """Records of the file; a quoted cell may hold line breaks."""
    try:
        return list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True))
    except csv.Error as error:
        raise TableError(f"{name} is not proper CSV ({error}); a quotation mark may be missing.") from error
