"""The answer at every site at a glance: worked out for all of them as one piece of work, kept, and marked when stale."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from clackwork.book import Book, Record
from clackwork.book.records import as_json
from clackwork.errors import ClackworkError
from clackwork.shop.fitted import FittedTwin, fitted_twins, require_twin
from clackwork.shop.job_rows import Job, ask_for
from clackwork.shop.part_service import keep_landings
from clackwork.shop.visits import place_of
from clackwork.site.heights import fall_in_lift
from clackwork.site.promise import make_promise
from clackwork.site.quick import QuickAsk, QuickAssumptions, quick_answer
from clackwork.site.site import Promise, Site
from clackwork.site.source_flow import driest
from clackwork.site.standing import Standing
from clackwork.site.tried import retuned_twin
from clackwork.workbook_sites import Place

if TYPE_CHECKING:
    from clackwork.shop.jobs import Task
    from clackwork.site.design import Design

_DRAWS = 40
"""Draws of each promise of a list: its range is told to two figures."""
_PAGE = 500
_RANKS = ("no", "only if", "yes")


@dataclass(frozen=True)
class Glance:
    """The answer at one site in a line.

    Attributes
    ----------
    answer : str
        "yes", "only if" or "no"; "" where there is none.
    low, middle, high : float
        Delivered a day [m3/day].
    pumps : int
    build : str
    designed : bool
        Whether it is of the pipes that stand in the record, and not of pipes assumed.
    stale : bool
        Whether the site or the twins were changed since.
    problem : str
        Why there is no answer.
    """

    answer: str
    low: float
    middle: float
    high: float
    pumps: int
    build: str
    designed: bool
    stale: bool = False
    problem: str = ""


def ask_glances(book: Book, *, by: str = "", request_id: str | None = None) -> Job:
    """Queue the answers at all sites.

    Raises
    ------
    InputError
        No build has a twin.
    """
    require_twin(book)
    return ask_for(book, "glances", {"all": "sites"}, title="Answers at all sites", by=by, request_id=request_id)


def glances_work(book: Book, task: Task) -> Mapping[str, Any]:
    """Answer every site whose answer is not there or stale; the work behind `ask_glances`."""
    fitted = fitted_twins(book)
    if not fitted:
        raise ClackworkError("No build has a twin: fit a build to its runs first.")
    sites = list(_all_sites(book))
    fresh = twins_mark(book)
    done = 0
    for place, site in enumerate(sites):
        task.progress(place, max(len(sites), 1))
        kept = book.setting(_key(site.id))
        if not isinstance(kept, dict) or kept.get("mark") != _mark(site, fresh):
            book.remember(_key(site.id), {**_found(site, fitted), "mark": _mark(site, fresh)})
            done += 1
    keep_landings(book)
    task.progress(len(sites), max(len(sites), 1))
    return {"sites": len(sites), "answered": done}


def _all_sites(book: Book) -> Iterable[Record]:
    """Every site of the book."""
    offset = 0
    while True:
        found = book.list("site", offset=offset, limit=_PAGE)
        yield from found.records
        offset += _PAGE
        if offset >= found.total:
            return


def _found(site: Record, fitted: tuple[FittedTwin, ...]) -> dict[str, Any]:
    """The answer at one site: of what is designed there, else of pipes assumed."""
    try:
        place = place_of(site)
        if place.site is not None:
            return _as_designed(place, place.site, fitted)
        answer = quick_answer([one.twin for one in fitted], _ask_of(place), _assumed_of(place), draws=_DRAWS)
    except ClackworkError as error:
        return {"answer": "", "problem": str(error)[:400]}
    return _plain(answer.promise, answer.pumps, answer.twin_name, False)


def _as_designed(place: Place, site: Site, fitted: tuple[FittedTwin, ...]) -> dict[str, Any]:
    """The promise on the pipes that stand in the record: of the build chosen, else of that which does best there."""
    design = place.design or Standing()
    named = [one for one in fitted if design.build in (one.name, one.build.name)]
    if design.build and not named:
        return {"answer": "", "problem": f"Build '{design.build}', chosen for it, has no twin."}
    found = []
    for one in named or fitted:
        valve = one.twin.build.waste_valve
        twin = retuned_twin(one.twin, design.stroke or valve.stroke, design.mass or valve.mass)
        found.append((make_promise(twin, site, draws=_DRAWS, pumps=design.pumps), one.name))
    promise, name = max(found, key=lambda each: (_RANKS.index(each[0].answer), each[0].daily_delivery.middle))
    return _plain(promise, design.pumps, name, True)


def _ask_of(place: Place) -> QuickAsk:
    """What a surveyed place asks, as one would on the phone."""
    survey, flow = place.survey, driest(place.survey)
    return QuickAsk(
        fall=survey.fall.value,
        source_flow=flow.value,
        lift=survey.lift.value,
        line_length=max(survey.line_length, survey.lift.value),
        ground_to_source=survey.ground_to_source,
        wanted_flow=survey.wanted_flow,
        fall_spread=survey.fall.standard_uncertainty,
        source_flow_spread=flow.standard_uncertainty,
        lift_spread=survey.lift.standard_uncertainty,
        lift_from_source=fall_in_lift(survey.lift) > 0.0,
    )


def _assumed_of(place: Place) -> QuickAssumptions:
    """Water and altitude of a place; the rest is assumed."""
    around = place.survey.surroundings
    return QuickAssumptions(temperature=around.temperature, altitude=around.altitude)


def _plain(promise: Promise, pumps: int, build: str, designed: bool) -> dict[str, Any]:
    """A promise as it is kept for a list."""
    daily = promise.daily_delivery
    return {
        "answer": promise.answer,
        "low": daily.low,
        "middle": daily.middle,
        "high": daily.high,
        "pumps": pumps,
        "build": build,
        "designed": designed,
    }


def keep_glance(book: Book, site: Record, design: Design) -> None:
    """Keep the answer of a new design for the list."""
    best = design.choices[0]
    plain = _plain(best.promise, best.pumps, best.twin_name, True)
    book.remember(_key(site.id), {**plain, "mark": _mark(site, twins_mark(book))})


def glances(book: Book, sites: Iterable[Record]) -> dict[int, Glance]:
    """The kept answers of sites, by number; those never worked out are left out."""
    now, found = twins_mark(book), {}
    for site in sites:
        kept = book.setting(_key(site.id))
        if not isinstance(kept, dict):
            continue
        stale = kept.get("mark") != _mark(site, now)
        if not kept.get("answer"):
            found[site.id] = Glance("", 0.0, 0.0, 0.0, 0, "", False, stale, str(kept.get("problem", "")))
            continue
        names = ("answer", "low", "middle", "high", "pumps", "build", "designed")
        found[site.id] = Glance(**{name: kept[name] for name in names}, stale=stale)
    return found


def twins_mark(book: Book) -> str:
    """A mark of which twins there are."""
    twins = book.list("twin", limit=_PAGE, order="changed").records
    return _hash(sorted([one.id, one.links["build"]] for one in twins))


def _mark(site: Record, twins: str) -> str:
    """A mark of what an answer rests on."""
    return _hash([site.version, twins])


def _hash(data: object) -> str:
    return hashlib.sha256(as_json(data).encode()).hexdigest()[:16]


def _key(site_id: int) -> str:
    return f"glance.{site_id}"
