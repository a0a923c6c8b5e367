"""The papers of a designed site as PDF: proposal, bill of materials, installation, care card, as-built record."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from dataclasses import replace
from typing import Protocol

from clackwork.life.part_dates import PartDates
from clackwork.sheets.as_built_sheet import as_built_fields
from clackwork.sheets.care_sheet import care_fields
from clackwork.sheets.installation_sheet import installation_fields
from clackwork.sheets.materials_sheet import materials_fields
from clackwork.sheets.proposal_sheet import proposal_fields
from clackwork.sheets.site_case import SiteCase, site_case
from clackwork.sheets.typeset import Fields, compile_pdf
from clackwork.site.design import Choice, Design
from clackwork.site.line_marks import LineMarks
from clackwork.site.survey import Survey


class SiteSheet(Protocol):
    """A paper of a site: from what was found there to PDF bytes."""

    def __call__(
        self,
        survey: Survey,
        design: Design,
        choice: Choice,
        *,
        date: datetime.date,
        units: str = "metric",
        paper: str = "a4",
        language: str = "en",
        qr: str | None = None,
        marks: LineMarks | None = None,
        parts: tuple[PartDates, ...] = (),
    ) -> bytes:
        """Make it.

        Parameters
        ----------
        survey : Survey
        design : Design
        choice : Choice
            The one of the design's choices that is printed.
        date : datetime.date
            Printed; the same date gives the same bytes.
        units : {"metric", "us"}
        paper : {"a4", "us-letter"}
        language : str
            One of :func:`clackwork.words.languages`.
        qr : str, optional
            Address of the book's record, printed as a square code.
        marks : LineMarks, optional
            Of the delivery line, when they were worked out before (:func:`clackwork.site.line_marks.line_marks`).
        parts : tuple of PartDates, optional
            That wear there; the care card has their dates.

        Raises
        ------
        InputError
            Unknown units, paper or language.
        """


def _sheet(name: str, template: str, fields: Callable[[SiteCase], Fields], what: str) -> SiteSheet:
    """A paper from its fields and template."""

    def made(
        survey: Survey,
        design: Design,
        choice: Choice,
        *,
        date: datetime.date,
        units: str = "metric",
        paper: str = "a4",
        language: str = "en",
        qr: str | None = None,
        marks: LineMarks | None = None,
        parts: tuple[PartDates, ...] = (),
    ) -> bytes:
        case = site_case(survey, design, choice, units=units, language=language, date=date, qr=qr, marks=marks)
        return compile_pdf(template, fields(replace(case, parts=parts)), paper=paper, date=date)

    made.__name__ = made.__qualname__ = name
    made.__doc__ = f"{what} as PDF; parameters as in :class:`SiteSheet`."
    return made


proposal_pdf = _sheet("proposal_pdf", "proposal.typ", proposal_fields, "The proposal")
materials_pdf = _sheet("materials_pdf", "materials.typ", materials_fields, "The bill of materials")
installation_pdf = _sheet("installation_pdf", "installation.typ", installation_fields, "Installation and first start")
care_pdf = _sheet("care_pdf", "care.typ", care_fields, "The care card")
as_built_pdf = _sheet("as_built_pdf", "as_built.typ", as_built_fields, "The as-built record")

SITE_SHEETS: dict[str, SiteSheet] = {
    "proposal": proposal_pdf,
    "materials": materials_pdf,
    "installation": installation_pdf,
    "care": care_pdf,
    "as-built": as_built_pdf,
}
"""Every paper of a site by the name it is asked for."""
