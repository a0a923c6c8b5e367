"""What every paper of a site is made from, and the fields they share. Formats only."""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import groupby

from clackwork.charts.site_drawing import site_drawing, site_drawing_words
from clackwork.charts.site_scene import site_scene
from clackwork.errors import InputError
from clackwork.life.part_dates import PartDates
from clackwork.pipes import Pipe
from clackwork.quantities import SYSTEMS
from clackwork.ram.parts import STANDARD_GRAVITY
from clackwork.sheets.promise_sheet import place_cautions
from clackwork.sheets.typeset import Fields, sentence
from clackwork.site.design import Choice, Design
from clackwork.site.line_marks import LineMarks, line_marks
from clackwork.site.season import MONTH_WORDS
from clackwork.site.site import Range
from clackwork.site.survey import Survey
from clackwork.water import water_at
from clackwork.words import Words, load_words

DAY = 86400.0


@dataclass(frozen=True)
class SiteCase:
    """A design on paper: what is printed, in which language and units.

    Attributes
    ----------
    survey : Survey
    design : Design
    choice : Choice
        The one printed.
    units : {"metric", "us"}
    words : Words
    date : datetime.date
    qr : str or None
        Address of the book's record.
    marks : LineMarks
        Of the delivery line.
    parts : tuple of PartDates
        That wear there, for the care card.
    """

    survey: Survey
    design: Design
    choice: Choice
    units: str
    words: Words
    date: datetime.date
    qr: str | None
    marks: LineMarks
    parts: tuple[PartDates, ...] = ()

    def quantity(self, value: float, kind: str, *, figures: int = 3) -> str:
        """An SI value with its unit, in language and units."""
        return self.words.quantity(value, kind, self.units, figures=figures)

    def length(self, value: float) -> str:
        """A length along pipe or ground; nothing at all without decimals."""
        return self.quantity(value, "length", figures=3 if value else 1)

    def range(self, shown: Range, kind: str) -> str:
        """A middle and its range."""
        return self.words.range(shown, kind, self.units)

    def daily(self, shown: Range) -> tuple[str, str]:
        """Water a day [m3/day]: middle and range."""
        flow = Range(shown.low / DAY, shown.middle / DAY, shown.high / DAY)
        return self.words.split_range(flow, "daily_volume_flow", self.units)

    def pipe_length(self, length: float, pipe: Pipe) -> str:
        """A length of a pipe: "18.0 m of 2 in steel"."""
        return self.words("part.length_of", length=self.length(length), pipe=self.words.pipe(pipe, self.units))

    def pressure(self, head: float) -> str:
        """A head of the site's water [m] as gauge pressure."""
        return self.quantity(self.unit_weight * head, "pressure_gauge")

    @property
    def unit_weight(self) -> float:
        """Of the site's water [N/m3]."""
        surroundings = self.choice.site.surroundings
        return water_at(surroundings.temperature, surroundings.altitude).density * STANDARD_GRAVITY

    @property
    def pump(self) -> str:
        """The pump, or the pumps, by name."""
        return self.words("site.pump", number=self.choice.pumps, build=self.choice.build.name)


def site_case(
    survey: Survey,
    design: Design,
    choice: Choice,
    *,
    units: str,
    language: str,
    date: datetime.date,
    qr: str | None,
    marks: LineMarks | None,
) -> SiteCase:
    """A case, its units and language checked.

    Raises
    ------
    InputError
        Unknown units or language.
    """
    if units not in SYSTEMS:
        raise InputError("units", units, f"it must be one of {', '.join(SYSTEMS)}")
    return SiteCase(survey, design, choice, units, load_words(language), date, qr, marks or line_marks(survey, choice))


def head_fields(case: SiteCase, sheet: str) -> Fields:
    """Title, what stands under it, the foot of every page, the code to the record."""
    words, place = case.words, case.survey.name
    title = words(f"{sheet}.title", place=place)
    return {
        "title": title,
        "lang": words.language,
        "caution_title": words("site.caution"),
        "subtitle": words("site.subtitle", pump=case.pump, date=case.date.isoformat()),
        "footer": words("site.footer", title=title, date=case.date.isoformat()),
        "qr": _code(case),
    }


def _code(case: SiteCase) -> Fields | None:
    """The address as a square code, black on white."""
    if not case.qr:
        return None
    import segno

    svg = str(segno.make(case.qr, error="m").svg_inline(scale=6, border=2, dark="#000", light="#fff", omitsize=True))
    return {"svg": svg, "alt": case.words("site.code_alt", address=case.qr), "words": case.words("site.code")}


def drawing_fields(case: SiteCase) -> Fields:
    """The site from the side, with its words."""
    marks = case.marks
    scene = site_scene(
        case.survey, case.choice, grade_line=marks.grade, air_points=marks.air, drain_points=marks.drains
    )
    svg = site_drawing(
        case.survey,
        case.choice,
        units=case.units,
        words=case.words,
        grade_line=marks.grade,
        air_points=marks.air,
        drain_points=marks.drains,
    )
    return {"svg": svg, "alt": site_drawing_words(scene, case.words, case.units)}


def caution_fields(
    case: SiteCase,
    sections: Mapping[str, tuple[str, ...]],
    more: Iterable[str] = (),
    others: tuple[str, ...] | None = None,
) -> Fields:
    """Cautions of the promise, and more of them, each beside its figures, once.

    Of those with no figure on the sheet ``others`` are kept, or all.
    """
    placed = place_cautions([*case.choice.promise.cautions, *more], sections, case.words.caution)
    if others is not None:
        kept = [case.words.caution(id) for id in others]
        placed["other_cautions"] = [words for words in placed["other_cautions"] if words in kept]
    return placed


def reason_fields(case: SiteCase) -> Fields:
    """Conditions or refusals, and what is only to be known."""
    reasons = [(one.hardness, sentence(case.words.reason(one, case.units))) for one in case.choice.reasons]
    return {
        "reasons": [words for hardness, words in reasons if hardness != "note"],
        "notes": [words for hardness, words in reasons if hardness == "note"],
    }


def month_rows(case: SiteCase) -> list[list[str]]:
    """What to do in every month, months alike that follow one another in one row."""
    words = case.words
    rows = [
        [
            capital(words.known("month_plan", plan.words, MONTH_WORDS.get(plan.words))),
            str(plan.pumps),
            case.quantity(plan.stroke, "small_length"),
            case.quantity(plan.mass, "mass"),
            case.quantity(plan.delivered_daily / DAY, "daily_volume_flow"),
            case.quantity(plan.needed_daily / DAY, "daily_volume_flow"),
            case.quantity(plan.source_flow, "volume_flow"),
        ]
        for plan in case.choice.months
    ]
    found = []
    for row, alike in groupby(zip(rows, case.choice.months, strict=True), key=lambda pair: pair[0]):
        months = [words(f"month.{plan.month}") for _, plan in alike]
        span = months[0] if len(months) == 1 else words("number.from_to", low=months[0], high=months[-1])
        found.append([span, *row])
    return found


def capital(text: str) -> str:
    """Words with a capital first."""
    return text[:1].upper() + text[1:]


MONTH_HEAD = ("month", "do", "pumps", "stroke", "mass", "delivered", "needed", "source")
"""Columns of :func:`month_rows`, as keys of the months' table."""


def head_words(case: SiteCase, table: str, columns: Iterable[str]) -> list[str]:
    """Heads of a table's columns."""
    return [case.words(f"{table}.{column}") for column in columns]


def times(case: SiteCase, ratio: float) -> str:
    """A ratio in words: "2.2 times"."""
    if not math.isfinite(ratio):
        return case.words("number.not_known")
    return case.words("site.times", ratio=case.words.number(ratio, 2))
