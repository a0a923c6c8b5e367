"""A site of the book as its page shows it: its survey, its design, the choice looked at, what stands in its way."""

from __future__ import annotations

from dataclasses import dataclass

from clackwork.book import Book, Record
from clackwork.book.errors import NotThere
from clackwork.charts.site_drawing import site_drawing
from clackwork.shop.choosing import chosen_place
from clackwork.shop.designing import KeptDesign, SiteDesign, site_design
from clackwork.shop.fitted import builds_to_fit, fits_at_work
from clackwork.shop.visits import place_of
from clackwork.site.design import Choice
from clackwork.site.line_marks import line_marks
from clackwork.site.storage import TankYear, simulate_tank
from clackwork.site.survey import Survey


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
        Builds with runs and no twin, when there is no twin at all and none is being made.
    is_fitting : bool
        Whether the first twin of the book is being made.
    """

    found: SiteDesign
    place: int
    chosen: int | None
    has_twin: bool
    to_fit: tuple[Record, ...]
    is_fitting: bool = False

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
    is_fitting = not has_twin and bool(fits_at_work(book))
    to_fit = () if has_twin or is_fitting else builds_to_fit(book)
    if found.kept is None:
        return SiteView(found, 0, None, has_twin, to_fit, is_fitting)
    chosen = chosen_place(found.site, found.kept.design)
    place = (chosen or 0) if place is None else place
    if not 0 <= place < len(found.kept.design.choices):
        raise NotThere(f"There is no choice number {place + 1} for site '{found.site.name}'.")
    return SiteView(found, place, chosen, has_twin, to_fit, is_fitting)


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


def tank_year(choice: Choice, survey: Survey) -> TankYear | None:
    """The advised tank stepped through the year; None where no tank is advised, or months or needs are not known."""
    if survey.needs is None or choice.tank_volume is None or len(choice.months) != 12:
        return None
    need = [survey.needs.daily_in(month) for month in range(1, 13)]
    supply = [plan.delivered_daily for plan in choice.months]
    return simulate_tank(choice.tank_volume - survey.needs.fire_reserve, supply, need)


def drawing_of(view: SiteView, units: str, *, narrow: bool = False) -> str:
    """The place in elevation as SVG: as the choice looked at has it, else as designed before, else as surveyed.

    Raises
    ------
    InputError
        The site's record cannot be read.
    """
    place = place_of(view.found.site)
    prefix = f"site-{view.found.site.id}-{'narrow' if narrow else 'wide'}"
    if view.choice is None:
        return site_drawing(place.survey, place.site, units=units, narrow=narrow, prefix=prefix)
    marks = line_marks(place.survey, view.choice)
    return site_drawing(
        place.survey,
        view.choice,
        units=units,
        grade_line=marks.grade,
        air_points=marks.air,
        drain_points=marks.drains,
        narrow=narrow,
        prefix=prefix,
    )
