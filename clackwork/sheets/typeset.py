"""From prepared words to PDF bytes: one template, one JSON text, one vendored face, no network."""

from __future__ import annotations

import datetime
import json
import re
from pathlib import Path
from typing import Any, Final, Literal

from clackwork.charts.vega import FONT_FOLDER, Spec, to_svg
from clackwork.errors import InputError

TEMPLATES = Path(__file__).resolve().parent / "templates"
PAPERS = ("a4", "us-letter")
PDF_STANDARD: Final[Literal["ua-1"]] = "ua-1"
"""PDF/UA-1 (ISO 14289-1): tagged, titled, with words for every picture."""

Fields = dict[str, Any]
"""What a template prints: words ready to set, and charts."""


def sentence(words: str) -> str:
    """Words with a capital first and a full stop last."""
    return f"{words[:1].upper()}{words[1:]}" + ("" if words.endswith((".", "?", "!")) else ".")


def drawing(spec: Spec) -> Fields:
    """A chart as a template takes it: SVG and the words for who cannot see it."""
    return {"svg": to_svg(spec), "alt": str(spec["description"])}


def date_fields(date: datetime.date) -> Fields:
    """A date as a template takes it."""
    return {"year": date.year, "month": date.month, "day": date.day}


def compile_pdf(template: str, fields: Fields, *, paper: str, date: datetime.date) -> bytes:
    """PDF of ``template`` filled with ``fields``; the same bytes for the same input.

    Parameters
    ----------
    template : str
        Name of a file in the templates' folder.
    fields : dict
        JSON values only; texts are set as they stand, never read as markup.
    paper : {"a4", "us-letter"}
    date : datetime.date
        Printed and kept as the file's date.

    Raises
    ------
    InputError
        Another paper.
    """
    import typst

    if paper not in PAPERS:
        raise InputError("paper", paper, f"it must be one of {', '.join(PAPERS)}")
    noon = datetime.datetime(date.year, date.month, date.day, 12, tzinfo=datetime.UTC)
    data = {**fields, "paper": paper, "date": date_fields(date)}
    made = typst.compile(
        TEMPLATES / template,
        root=TEMPLATES,
        font_paths=[FONT_FOLDER],
        ignore_system_fonts=True,
        format="pdf",
        pdf_standards=PDF_STANDARD,
        sys_inputs={"data": json.dumps(data, ensure_ascii=False, allow_nan=False)},
        timestamp=int(noon.timestamp()),
    )
    return bytes(made)


def file_stem(name: str) -> str:
    """A name safe in any folder: lower case letters, digits and hyphens, 1 to 60 of them."""
    stem = re.sub(r"[^\w]+", "-", name.casefold(), flags=re.UNICODE).strip("-_")[:60]
    return stem.strip("-_") or "unnamed"
