"""What is due at all sites of a book, on one list."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING

from clackwork.life.part_dates import BeatsAt, PartAt
from clackwork.shop.all_records import all_records
from clackwork.shop.part_service import PartRead, dates_for_card, dates_of_parts, parts_at, read_parts
from clackwork.shop.visits import Comparison, build_at, kept_comparison, place_of, visit_of
from clackwork.site.due import SOON, CareItem, Due, PartDue, Place, what_is_due
from clackwork.site.visit import PARTS
from clackwork.workbook_reader import Table
from clackwork.workbook_visits import read_care

if TYPE_CHECKING:
    from clackwork.book import Book, Record
    from clackwork.life.part_dates import PartDates
    from clackwork.site.visit import Visit


@dataclass(frozen=True)
class SiteDue:
    """One thing due, with the record of its site."""

    site: Record
    due: Due


def workshop_care(book: Book) -> tuple[CareItem, ...]:
    """The care a workshop does, with its own intervals where it has written them down."""
    entered = book.workshop().entered.get("care")
    return read_care(None if entered is None else Table(entered, "workshop, care", "care", {}))


def sites_due(
    book: Book, today: datetime.date | None = None, *, site_id: int | None = None, ahead: int = SOON
) -> tuple[SiteDue, ...]:
    """Everything due at the sites of a book where a pump stands, or within ``ahead`` days; the most urgent first.

    The engine is not asked: readings are judged by the comparison worked out last, and parts wear at the beats counted
    last at their site, else those promised last, else those the engine found there, else 60 a minute; what is taken for
    granted is said with each.

    Parameters
    ----------
    book : Book
    today : datetime.date, optional
    site_id : int, optional
        Only at this site.
    ahead : int, optional
        Days.
    """
    today = today or datetime.date.today()
    sites = {one.id: one for one in ([book.get("site", site_id)] if site_id else all_records(book, "site"))}
    visits = _visits_by_site(book, site_id)
    stale: dict[int, str] = {}
    places, by_name = [], {}
    for number, site in sites.items():
        if number in visits or "as_built" in site.entered:
            places.append(_place(book, site, visits.get(number, []), stale))
            by_name[site.name] = site
    parts = read_parts(book)
    dates = dates_of_parts(parts, parts_at(book, parts, _rates(book, _sites_of(parts), places)), today)
    for number, found in dates.items():
        if number in sites:
            site = sites[number]
            by_name[site.name] = site
            places = [one for one in places if one.site != site.name] + [
                replace(_known(places, site.name), parts=tuple(part_due(one) for one in found))
            ]
    due = what_is_due(places, today, care=workshop_care(book), ahead=ahead)
    return tuple(SiteDue(by_name[one.site], one) for one in due)


def _known(places: Sequence[Place], site: str) -> Place:
    """What is known of a site; its name alone where nothing but a part says that a pump stands there."""
    return next((one for one in places if one.site == site), Place(site))


def part_due(dates: PartDates) -> PartDue:
    """A part with its dates, for the list of what is due."""
    return PartDue(f"{dates.name}, {PARTS[dates.part]}", dates.look_on, dates.renew_on, dates.assumed)


def _sites_of(parts: Sequence[PartRead]) -> set[int]:
    return {one.site for one in parts if one.site is not None}


def _rates(book: Book, sites: Collection[int], places: Sequence[Place] = ()) -> dict[int, BeatsAt]:
    """Beats counted or promised at sites by their numbers, as far as they are known."""
    known = {one.site: (one.beat_rate, one.rate_counted) for one in places}
    there = [one for one in all_records(book, "site") if one.id in sites] if sites else []
    found = {one.id: known.get(one.name, (None, False)) for one in there}
    unknown = [one for one in there if not found[one.id][0]]
    visits = _visits_by_site(book) if unknown else {}
    found |= {one.id: _rate_by(book, one, visits.get(one.id, [])) for one in unknown}
    return {
        number: BeatsAt(rate, "counted" if counted else "promised") for number, (rate, counted) in found.items() if rate
    }


def _visits_by_site(book: Book, site_id: int | None = None) -> dict[int, list[Record]]:
    """Visits by the number of their site, of all sites in one listing."""
    found: dict[int, list[Record]] = {}
    for one in all_records(book, "visit", {} if site_id is None else {"site": site_id}):
        found.setdefault(one.links["site"], []).append(one)
    return found


def part_rates(book: Book) -> dict[str, float]:
    """Beats a second by name of part, where they are known of its site or by the engine."""
    return {one.part.name: one.beats.rate for one in parts_in_service(book) if one.beats.rate_from != "usual"}


def parts_in_service(book: Book) -> list[PartAt]:
    """Every part of a book with how its pump beats."""
    read = read_parts(book)
    return parts_at(book, read, _rates(book, _sites_of(read)))


def care_card_parts(
    book: Book, site_id: int, build: str, beats: BeatsAt, today: datetime.date
) -> tuple[PartDates, ...]:
    """Parts that wear at a site, with their dates, for its care card.

    Parameters
    ----------
    book : Book
    site_id : int
    build : str
        Of the pump on the card.
    beats : BeatsAt
        As printed there.
    today : datetime.date
    """
    read = read_parts(book)
    return dates_for_card(read, parts_at(book, read, _rates(book, _sites_of(read))), site_id, build, beats, today)


def _rate_by(book: Book, site: Record, records: Sequence[Record]) -> tuple[float | None, bool]:
    """As :func:`_beat_rate`; a comparison is looked up only where no visit counted beats."""
    read = [(visit_of(one, site.name), one.id) for one in sorted(records, key=lambda one: one.id)]
    return _beat_rate([(visit, partial(kept_comparison, book, number)) for visit, number in read])


def _place(book: Book, site: Record, records: list[Record], stale: dict[int, str]) -> Place:
    """What is known of a site, its visits in the order made."""
    standing = place_of(site).as_built
    records = sorted(records, key=lambda one: one.id)
    read = [(one, visit_of(one, site.name, _build_name(book, one))) for one in records]
    kept = {one.id: kept_comparison(book, one.id) for one in records}
    build = next((one.links["build"] for one in reversed(records) if "build" in one.links), None)
    if build is None:
        found = build_at(book, standing)
        build = found.id if found else None
    rate, counted = _beat_rate([(visit, partial(kept.get, one.id)) for one, visit in read])
    return Place(
        site=site.name,
        as_built=standing,
        visits=tuple(visit for _, visit in read),
        beat_rate=rate,
        rate_counted=counted,
        out_of_band=tuple(visit.name for one, visit in read if _is_out(kept[one.id])),
        not_compared=tuple(visit.name for one, visit in read if not visit.readings.is_empty and kept[one.id] is None),
        stale="" if build is None else _stale(book, build, stale),
    )


def _build_name(book: Book, visit: Record) -> str | None:
    return book.get("build", visit.links["build"]).name if "build" in visit.links else None


def _is_out(kept: Comparison | None) -> bool:
    return kept is not None and not kept.is_in


def _beat_rate(read: Sequence[tuple[Visit, Callable[[], Comparison | None]]]) -> tuple[float | None, bool]:
    """Beats a second as counted last, else as promised last; and whether they were counted."""
    by_date = sorted(read, key=lambda pair: pair[0].date, reverse=True)
    for visit, _ in by_date:
        if visit.readings.beats and visit.readings.beats_duration:
            return visit.readings.beats / visit.readings.beats_duration, True
    compared = (compare() for _, compare in by_date)
    return next((kept.beat_rate for kept in compared if kept is not None and kept.beat_rate), None), False


def _stale(book: Book, build_id: int, known: dict[int, str]) -> str:
    """Why what rests on a build's twin is out of date; asked once for each build."""
    if build_id not in known:
        twin = book.twin_of(build_id)
        known[build_id] = twin.reasons[0] if twin is not None and twin.stale else ""
    return known[build_id]
