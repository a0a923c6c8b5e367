"""Visits of a book held against the promise of their day, and kept so that a list need not ask the engine again."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING, Any

from clackwork._cache import kernel_key
from clackwork.bench.gum import Estimate
from clackwork.errors import ClackworkError
from clackwork.site.commissioning import Compared
from clackwork.site.explaining import Explanation
from clackwork.site.site import Range, Reason, Site
from clackwork.site.standing import Standing
from clackwork.site.visit import Visit
from clackwork.workbook_reader import Table
from clackwork.workbook_sites import Place, read_place, undesigned
from clackwork.workbook_visits import read_visit

if TYPE_CHECKING:
    from clackwork.book import Book, KeptTwin, Record
    from clackwork.twin.twin import Twin

DRAWS = 200
SEED = 1
_LARGEST_PAGE = 500


@dataclass(frozen=True)
class Comparison:
    """A visit against the promise of its day.

    Attributes
    ----------
    compared : tuple of Compared
        Empty when it could not be made or nothing was read.
    explanations : tuple of Explanation
    doubts : tuple of Reason
        Readings that contradict each other.
    beat_rate : float or None
        As promised, the middle [1/s].
    why_not : str
        Why there is no comparison; empty when there is one.
    mark : str
        Of what it rests on: visit, site, build, twin, engine.
    """

    compared: tuple[Compared, ...] = ()
    explanations: tuple[Explanation, ...] = ()
    doubts: tuple[Reason, ...] = ()
    beat_rate: float | None = None
    why_not: str = ""
    mark: str = ""

    @property
    def is_in(self) -> bool:
        """Whether every figure lies within its band."""
        return all(one.is_in for one in self.compared)


@dataclass(frozen=True)
class VisitAtSite:
    """A visit as it was read, with what it belongs to.

    Attributes
    ----------
    record, site : Record
    visit : Visit
    place : Place
    build : Record or None
        The build that stands there: of the visit, else of what stands there.
    """

    record: Record
    site: Record
    visit: Visit
    place: Place
    build: Record | None


def place_of(site: Record) -> Place:
    """A site of the book as its reader gives it."""
    return read_place(Table(dict(site.entered), f"site '{site.name}'", f"site.{site.name}", {}), site.name)


def visit_of(record: Record, site: str, build: str | None = None) -> Visit:
    """A visit of the book as its reader gives it."""
    links = {"site": site} | ({"build": build} if build else {})
    table = {"name": record.name, **links, **record.entered}
    label = f"visit '{record.name}'"
    return read_visit(Table(table, label, f"visit.{record.name}", {}), [build] if build else [], [site])


def build_at(book: Book, standing: Standing | None) -> Record | None:
    """The build that is said to stand at a place; None when it was not said, or several pumps have one of that name."""
    if standing is None or not standing.build:
        return None
    found = [one for one in book.list("build", search=standing.build, limit=50).records if one.name == standing.build]
    return found[0] if len(found) == 1 else None


def find_visit(book: Book, visit_id: int) -> VisitAtSite:
    """A visit with its site and build.

    Raises
    ------
    NotThere
        No such visit.
    """
    record = book.get("visit", visit_id)
    site = book.get("site", record.links["site"])
    place = place_of(site)
    build = book.get("build", record.links["build"]) if "build" in record.links else build_at(book, place.as_built)
    visit = visit_of(record, site.name, build.name if "build" in record.links and build else None)
    return VisitAtSite(record, site, visit, place, build)


def visits_of(book: Book, site_id: int) -> tuple[tuple[Record, Visit], ...]:
    """The visits to a site, the last first."""
    site = book.get("site", site_id)
    found = []
    for record in book.list("visit", links={"site": site.id}, limit=_LARGEST_PAGE).records:
        build = book.get("build", record.links["build"]).name if "build" in record.links else None
        found.append((record, visit_of(record, site.name, build)))
    return tuple(sorted(found, key=lambda pair: (pair[1].date, pair[0].id), reverse=True))


def comparison_of(book: Book, visit_id: int) -> Comparison:
    """A visit against the promise of its day; what was worked out before is taken where nothing has changed since.

    Raises
    ------
    NotThere
        No such visit.
    """
    found = find_visit(book, visit_id)
    kept = book.twin_of(found.build.id) if found.build else None
    mark = _mark(found, kept)
    before = kept_comparison(book, visit_id)
    if before is not None and before.mark == mark:
        return before
    plain = _plain(_compare(found, kept, mark))
    book.remember(_key(visit_id), plain)
    return _from_plain(plain)


def kept_comparison(book: Book, visit_id: int) -> Comparison | None:
    """The comparison worked out last, whatever has changed since; None when there is none."""
    plain = book.setting(_key(visit_id))
    return None if plain is None else _from_plain(plain)


def _key(visit_id: int) -> str:
    return f"visit.{visit_id}.compared"


def _mark(found: VisitAtSite, kept: KeptTwin | None) -> str:
    build = found.build
    numbers = (
        found.record.version,
        found.site.id,
        found.site.version,
        *((build.id, build.version) if build else ()),
        kept.record.id if kept else 0,
    )
    return ".".join([*map(str, numbers), kernel_key()])


def _compare(found: VisitAtSite, kept: KeptTwin | None, mark: str) -> Comparison:
    """The comparison, or why there is none."""
    build, twin = found.build.name if found.build else "", kept.twin if kept else None
    made = compare_visit(found.visit, found.place.site, found.place.as_built, build, twin)
    return replace(made, mark=mark)


def compare_visit(
    visit: Visit, site: Site | None, standing: Standing | None, build: str, twin: Twin | None
) -> Comparison:
    """A visit against the promise of its day, or why it cannot be.

    Parameters
    ----------
    visit : Visit
    site : Site or None
        As designed; None while it is only surveyed.
    standing : Standing or None
        What stands there.
    build : str
        Empty when nobody said which stands there.
    twin : Twin or None
        Of that build; None while it is not fitted.
    """
    from clackwork.site.commissioning import compare_with_promise, contradictions, promise_on_day
    from clackwork.site.explaining import explain

    readings = visit.readings
    if readings.is_empty:
        return Comparison(why_not="Nothing was read that a promise says.")
    doubts: tuple[Reason, ...] = ()
    try:
        if site is None:
            raise undesigned(visit.site)
        doubts = contradictions(site, readings, standing)
        if not build:
            return Comparison(doubts=doubts, why_not="Say in the visit which build stands there.")
        if twin is None:
            return Comparison(
                doubts=doubts, why_not=f"Build {build} has no twin yet: fit it to its bench runs, then look again."
            )
        promise = promise_on_day(twin, site, readings, standing, draws=DRAWS, seed=SEED)
        compared = compare_with_promise(promise, readings)
        why = explain(twin, site, readings, compared, standing)
        return Comparison(compared, why, doubts, promise.beat_rate.middle)
    except ClackworkError as error:
        return Comparison(doubts=doubts, why_not=str(error))


def _plain(made: Comparison) -> dict[str, Any]:
    """A comparison as plain data; of estimates their values alone, their budgets are worked out again when wanted."""
    return {
        "compared": [
            {
                "figure": one.figure,
                "value": one.measured.value,
                "uncertainty": one.measured.standard_uncertainty,
                "freedom": one.measured.degrees_of_freedom if math.isfinite(one.measured.degrees_of_freedom) else None,
                "promised": asdict(one.promised),
                "widths": one.widths if math.isfinite(one.widths) else None,
            }
            for one in made.compared
        ],
        "explanations": [
            {"cause": one.cause, "explains": one.explains, "all_in": one.all_in, "reason": _plain_reason(one.reason)}
            for one in made.explanations
        ],
        "doubts": [_plain_reason(one) for one in made.doubts],
        "beat_rate": made.beat_rate,
        "why_not": made.why_not,
        "mark": made.mark,
    }


def _plain_reason(reason: Reason) -> dict[str, Any]:
    return {**asdict(reason), "values": {key: list(pair) for key, pair in reason.values.items()}}


def _reason_from(plain: Mapping[str, Any]) -> Reason:
    values = {key: (pair[0], pair[1]) for key, pair in plain["values"].items()}
    return Reason(plain["id"], plain["hardness"], plain["words"], values)


def _from_plain(plain: Mapping[str, Any]) -> Comparison:
    compared = tuple(
        Compared(
            one["figure"],
            Estimate(one["value"], one["uncertainty"], math.inf if one["freedom"] is None else one["freedom"]),
            Range(**one["promised"]),
            math.inf if one["widths"] is None else one["widths"],
        )
        for one in plain["compared"]
    )
    explanations = tuple(
        Explanation(one["cause"], _reason_from(one["reason"]), one["explains"], one["all_in"])
        for one in plain["explanations"]
    )
    doubts = tuple(_reason_from(one) for one in plain["doubts"])
    return Comparison(compared, explanations, doubts, plain["beat_rate"], plain["why_not"], plain["mark"])
