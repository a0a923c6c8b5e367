"""A site of the book as its page shows it: its survey, its design, the choice looked at, what stands in its way."""

from __future__ import annotations

from dataclasses import dataclass

from clackwork.book import Book, Record
from clackwork.book.errors import NotThere
from clackwork.charts.site_charts import LengthPoint
from clackwork.errors import ModelError
from clackwork.ram.engine import RamCase
from clackwork.ram.operating import operating_point
from clackwork.shop.choosing import chosen_place
from clackwork.shop.designing import KeptDesign, SiteDesign, site_design
from clackwork.shop.fitted import builds_to_fit
from clackwork.site.design import Choice

_LENGTHS = 13
"""Lengths of drive pipe tried for a chart: each is an operating point, some tens of milliseconds."""


@dataclass(frozen=True)
class SiteView:
    """A site with its design and one choice of it.

    Attributes
    ----------
    found : SiteDesign
    place : int
        Of the choice looked at; 0 where there is no design.
    chosen : int or None
        Place of the choice that was taken into the site; None when none was, or it is none of these.
    has_twin : bool
        Whether any build of the book has a twin.
    to_fit : tuple of Record
        Builds with runs and no twin, when there is no twin at all.
    """

    found: SiteDesign
    place: int
    chosen: int | None
    has_twin: bool
    to_fit: tuple[Record, ...]

    @property
    def choice(self) -> Choice | None:
        """The choice looked at."""
        kept = self.found.kept
        return None if kept is None else kept.design.choices[self.place]


def site_view(book: Book, site_id: int, place: int | None = None) -> SiteView:
    """A site with its design, at the choice of a place: else at the one taken, else at the first.

    Raises
    ------
    NotThere
        No such site, or no choice at that place.
    """
    found = site_design(book, site_id)
    has_twin = bool(book.counts("twin", "build"))
    to_fit = () if has_twin else builds_to_fit(book)
    if found.kept is None:
        return SiteView(found, 0, None, has_twin, to_fit)
    chosen = chosen_place(found.site, found.kept.design)
    place = (chosen or 0) if place is None else place
    if not 0 <= place < len(found.kept.design.choices):
        raise NotThere(f"There is no choice number {place + 1} for site '{found.site.name}'.")
    return SiteView(found, place, chosen, has_twin, to_fit)


def kept_choice(book: Book, site_id: int, place: int | None = None) -> tuple[SiteView, KeptDesign, Choice]:
    """A site that must have a design, that design, and the choice looked at.

    Raises
    ------
    NotThere
        No such site, no design yet, or no such choice.
    """
    view = site_view(book, site_id, place)
    kept, choice = view.found.kept, view.choice
    if kept is None or choice is None:
        raise NotThere(f"Site '{view.found.site.name}' has no design yet: ask for it first.")
    return view, kept, choice


def lengths_of(choice: Choice) -> tuple[LengthPoint, ...]:
    """What one pump of a choice does on drive pipes of other lengths, all else as chosen; the engine's best values."""
    from dataclasses import replace

    site, drive = choice.site, choice.drive_pipe
    longest = max([3.0 * drive.length, *(rule.high for rule in choice.rules if rule.kind == "length")])
    first, last = 1.05 * site.fall, min(longest, 6.0 * drive.length)
    points = []
    for step in range(_LENGTHS):
        length = first * (last / first) ** (step / (_LENGTHS - 1)) if last > first else first
        case = RamCase(choice.build, replace(drive, length=length), site.supply, site.surroundings, line=site.line)
        try:
            run = operating_point(case)
        except ModelError:
            continue
        beats = run.is_beating
        points.append(LengthPoint(length, run.delivered_flow if beats else 0.0, run.drawn_flow, beats))
    return tuple(points)
