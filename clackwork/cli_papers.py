"""The papers of designed sites, written into a folder: by ``clackwork design`` of one, by ``clackwork sheet`` of all."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from clackwork.cli_frame import Paper, progress_bar
from clackwork.errors import ClackworkError, InputError

if TYPE_CHECKING:
    from clackwork.life.part_dates import PartDates
    from clackwork.site.design import Choice, Design
    from clackwork.site.survey import Survey
    from clackwork.twin.twin import Twin
    from clackwork.workbook import Workbook
    from clackwork.workbook_jobs import Done

ALL = "all"
"""Asks for every paper, and the drawing."""
DRAWING = "drawing"
"""The site from the side, the one of them that is no PDF."""


def kinds_asked(asked: Sequence[str]) -> tuple[str, ...]:
    """Names of the papers asked for, each once.

    Raises
    ------
    InputError
        No such paper; the message lists them.
    """
    from clackwork.sheets.site_sheets import SITE_SHEETS
    from clackwork.workbook_reader import nearest

    there = (*SITE_SHEETS, DRAWING)
    for name in asked:
        if name != ALL and name not in there:
            raise InputError(
                "--papers", name, f"it must be one of {', '.join((ALL, *there))}", nearest(name, (ALL, *there))
            )
    return there if ALL in asked else tuple(name for name in there if name in asked)


def design_papers(
    workbook: Workbook, done: Done, kinds: Sequence[str], out: Path, system: str, paper: Paper, language: str
) -> list[Path]:
    """Design every surveyed site of a workbook with the twins fitted, and write the papers of its first choice.

    What cannot be designed is added to the failures.
    """
    from clackwork.site.search import search_designs

    written: list[Path] = []
    if not done.twins:
        done.failures.append("No site was designed for its papers: no build could be fitted.")
        return written
    for name, survey in workbook.surveys.items():
        try:
            with progress_bar(f"Designing {name}") as progress:
                found = search_designs(
                    survey, list(done.twins.values()), workbook.stock, prices=workbook.prices, progress=progress
                )
            twins = list(done.twins.values())
            written += write_papers(workbook, twins, survey, found, 1, out, system, paper, language, kinds)
        except InputError as error:
            done.failures.append(f"{name} was not designed for its papers: {error}")
    return written


def write_papers(
    workbook: Workbook,
    twins: Sequence[Twin],
    survey: Survey,
    found: Design,
    number: int,
    out: Path,
    system: str,
    paper: Paper,
    language: str,
    kinds: Sequence[str] = (),
) -> list[Path]:
    """The papers and the drawing of one choice, or only those of the kinds named; parts in service are the workbook's.

    Raises
    ------
    InputError
        The design has no choice of that number.
    ClackworkError
        The folder cannot be written to.
    """
    from clackwork.life_rates import card_of_workbook
    from clackwork.sheets.typeset import file_stem

    if number > len(found.choices):
        raise InputError("--choice", number, f"it must be 1 to {len(found.choices)}")
    choice, kinds = found.choices[number - 1], kinds or kinds_asked([ALL])
    parts = card_of_workbook(workbook, twins, choice, datetime.date.today()) if "care" in kinds else ()
    made = _papers(survey, found, choice, system, paper, language, kinds, parts)
    written = []
    for name, content in made.items():
        path = out / f"{file_stem(survey.name)}-{name}"
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(content)
        except OSError as error:
            raise ClackworkError(f"{path} cannot be written: {error.strerror or error}.") from error
        written.append(path)
    return written


def _papers(
    survey: Survey,
    found: Design,
    choice: Choice,
    system: str,
    paper: Paper,
    language: str,
    kinds: Sequence[str],
    parts: tuple[PartDates, ...],
) -> Mapping[str, bytes]:
    """Content of each paper asked for, and of the drawing, by the end of its file's name."""
    from clackwork.charts.site_drawing import site_drawing
    from clackwork.sheets.site_sheets import SITE_SHEETS
    from clackwork.site.line_marks import line_marks
    from clackwork.words import load_words

    marks, today = line_marks(survey, choice), datetime.date.today()
    size = "us-letter" if paper is Paper.letter else paper.value
    made: dict[str, bytes] = {}
    with progress_bar("Printing") as progress:
        for place, kind in enumerate(kinds, start=1):
            if kind == DRAWING:
                words = load_words(language)
                grade, air, drains = marks.grade, marks.air, marks.drains
                drawn = site_drawing(
                    survey, choice, units=system, words=words, grade_line=grade, air_points=air, drain_points=drains
                )
                made[f"{kind}.svg"] = drawn.encode()
            else:
                sheet = SITE_SHEETS[kind]
                made[f"{kind}.pdf"] = sheet(
                    survey,
                    found,
                    choice,
                    date=today,
                    units=system,
                    paper=size,
                    language=language,
                    marks=marks,
                    parts=parts,
                )
            progress(place, len(kinds))
    return made
