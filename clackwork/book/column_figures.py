"""Figures of one column as text with their unit; what could be read in two ways is asked, by column.

A comma or a point before exactly three digits ("1,234") may part thousands or begin decimals. Another figure of the
same column that leaves no doubt ("20,3") settles it, and a note says so; nothing outside the column does.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from clackwork.book.raw_table import Cell, Question
from clackwork.book.run_columns import ColumnUse
from clackwork.number_text import Refusal, plain_text, split_number

_TOKEN = re.compile(r"(?P<before>\s*[+\-−]?\s*)(?P<number>[0-9.,]*[0-9])(?P<after>.*)", re.DOTALL)
_IN_DOUBT = re.compile(r"[1-9][0-9]{0,2}[.,][0-9]{3}")
_HOURS = re.compile(r"\s*(?P<first>[0-9]{1,3}):(?P<second>[0-9]{2}):(?P<third>[0-9]{2})\s*")


@dataclass(frozen=True)
class Marks:
    """The decimal marks seen in some figures.

    Attributes
    ----------
    comma, point : bool
        A figure shows without doubt that the comma, or the point, begins its decimals.
    doubtful_comma, doubtful_point : str
        The first figure that could be read in two ways; empty when there is none.
    """

    comma: bool = False
    point: bool = False
    doubtful_comma: str = ""
    doubtful_point: str = ""


def marks_in(cells: Iterable[Cell]) -> Marks:
    """The decimal marks in cells that are texts."""
    comma = point = False
    doubtful = {",": "", ".": ""}
    for cell in cells:
        match = _TOKEN.fullmatch(cell.text)
        if cell.is_number or match is None or ":" in cell.text:
            continue
        token = match["number"]
        seen = [character for character in token if character in ".,"]
        if not seen:
            continue
        if _IN_DOUBT.fullmatch(token):
            doubtful[seen[0]] = doubtful[seen[0]] or token
        elif len(seen) == 1:
            comma, point = comma or seen[0] == ",", point or seen[0] == "."
        elif len(set(seen)) == 2:  # thousands by one mark, decimals by the last
            comma, point = comma or seen[-1] == ",", point or seen[-1] == "."
        else:  # 1,234,567: that mark parts thousands
            comma, point = comma or seen[0] == ".", point or seen[0] == ","
    return Marks(comma, point, doubtful[","], doubtful["."])


@dataclass(frozen=True)
class ColumnReading:
    """How the figures of a column are read.

    Attributes
    ----------
    decimal : str
        "comma" or "point" where a figure is in doubt; empty when none is.
    clock : str
        "minutes" when 2:00:00 stands for two minutes; else "hours" or empty.
    questions : tuple of Question
    notes : tuple of str
    """

    decimal: str = ""
    clock: str = ""
    questions: tuple[Question, ...] = ()
    notes: tuple[str, ...] = ()


def read_column(
    column: ColumnUse,
    kind: str,
    cells: Sequence[Cell],
    answers: Mapping[str, str] | None = None,
    others: Marks | None = None,
) -> ColumnReading:
    """Decide how a column's figures are read, or ask.

    Parameters
    ----------
    column : ColumnUse
        Of a field that is a quantity.
    kind : str
        Of that quantity.
    cells : sequence of Cell
    answers : mapping, optional
        By `Question.key`.
    others : Marks, optional
        Seen in all columns of figures; they only name the likely answer.
    """
    given = answers or {}
    decimal, questions, notes = _decimal(column.header, marks_in(cells), given, others or Marks())
    clock = ""
    if kind == "duration":
        clock, asked = _clock(column.header, cells, given)
        questions += asked
    return ColumnReading(decimal, clock, tuple(questions), tuple(notes))


def _decimal(
    header: str, marks: Marks, answers: Mapping[str, str], others: Marks
) -> tuple[str, list[Question], list[str]]:
    """The decimal mark of a column's doubtful figures."""
    key = f"decimal:{header}"
    doubtful = marks.doubtful_comma or marks.doubtful_point
    file_has_commas_only = others.comma and not others.point
    point_doubted = marks.doubtful_point and (marks.comma or (file_has_commas_only and not marks.point))
    if not marks.doubtful_comma and not point_doubted:
        return "", [], []
    if answers.get(key) in ("comma", "point"):
        return answers[key], [], []
    if marks.doubtful_comma and not marks.doubtful_point and marks.comma != marks.point:
        decimal = "comma" if marks.comma else "point"
        note = (
            f'Column "{header}": {marks.doubtful_comma} is read as {resolved(marks.doubtful_comma, decimal)}, '
            f"since other figures of the column have a decimal {decimal}."
        )
        return decimal, [], [note]
    choices = tuple((mark, f"{resolved(doubtful, mark)} (the {mark} begins decimals)") for mark in ("comma", "point"))
    likely = "comma" if others.comma and not others.point else "point" if others.point and not others.comma else ""
    words = f'Column "{header}": {doubtful} can be read in two ways. Which is meant?'
    return "", [Question(key, words, choices, likely)], []


def _clock(header: str, cells: Sequence[Cell], answers: Mapping[str, str]) -> tuple[str, list[Question]]:
    """Whether 2:00:00 is two hours, or two minutes that a spreadsheet took for hours."""
    matches = [match for cell in cells if (match := _HOURS.fullmatch(cell.text))]
    hours = [match for match in matches if int(match["first"])]
    if not hours or any(match["third"] != "00" for match in matches):
        return "", []
    key = f"clock:{header}"
    if answers.get(key) in ("hours", "minutes"):
        return answers[key], []
    first = hours[0]
    text, minutes = first[0].strip(), f"{int(first['first'])} min {int(first['second'])} s"
    choices = (("hours", f"{int(first['first'])} h {int(first['second'])} min"), ("minutes", minutes))
    words = f'Column "{header}": {text} is hours as written, but a spreadsheet also writes {minutes} so. Which is it?'
    return "", [Question(key, words, choices)]


def resolved(token: str, decimal: str) -> str:
    """A doubtful number with a decimal point and no other mark: "1,234" is "1.234" or "1234"."""
    mark = "," if decimal == "comma" else "."
    return token.replace(mark, "!").translate({ord(","): None, ord("."): None}).replace("!", ".")


def figure_text(cell: Cell, column: ColumnUse, reading: ColumnReading) -> str:
    """The text of a cell as a run keeps it: as typed, the column's unit after it when it has none.

    Only a figure that was in doubt is written anew, with a decimal point.
    """
    text = cell.text.strip()
    match = _TOKEN.fullmatch(text)
    if reading.clock == "minutes" and (hours := _HOURS.fullmatch(text)):
        return f"{int(hours['first'])}:{hours['second']}"
    if not cell.is_number and reading.decimal and match is not None and _IN_DOUBT.fullmatch(match["number"]):
        text = f"{match['before']}{resolved(match['number'], reading.decimal)}{match['after']}"
    return f"{text} {column.unit}" if column.unit and not has_unit(text) else text


def has_unit(text: str) -> bool:
    """Whether a text brings its unit or needs none: "20.3 L", "3:30"; a text that is no figure counts as well."""
    if ":" in text:
        return True
    try:
        return bool(split_number(plain_text(text))[1])
    except Refusal:
        match = _TOKEN.fullmatch(text)
        return match is None or bool(match["after"].strip())
