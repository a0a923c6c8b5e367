"""What is due at all sites of a book, on one list."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from clackwork.shop.visits import Comparison, build_at, kept_comparison, place_of, visit_of
from clackwork.site.due import SOON, CareItem, Due, Place, what_is_due
from clackwork.workbook_reader import Table
from clackwork.workbook_visits import read_care

if TYPE_CHECKING:
    from clackwork.book import Book, Record
    from clackwork.site.visit import Visit

_PAGE = 500


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

    The engine is not asked: readings are judged by the comparison worked out last.

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
    visits: dict[int, list[Record]] = {}
    for one in all_records(book, "visit", {} if site_id is None else {"site": site_id}):
        visits.setdefault(one.links["site"], []).append(one)
    stale: dict[int, str] = {}
    places, by_name = [], {}
    for number, site in sites.items():
        if number in visits or "as_built" in site.entered:
            places.append(_place(book, site, visits.get(number, []), stale))
            by_name[site.name] = site
    due = what_is_due(places, today, care=workshop_care(book), ahead=ahead)
    return tuple(SiteDue(by_name[one.site], one) for one in due)


def all_records(book: Book, kind: str, links: dict[str, int] | None = None) -> Iterator[Record]:
    """Every record of a kind."""
    offset = 0
    while True:
        found = book.list(kind, links=links, offset=offset, limit=_PAGE)
        yield from found.records
        offset += len(found.records)
        if not found.records or offset >= found.total:
            return


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
    return Place(
        site=site.name,
        as_built=standing,
        visits=tuple(visit for _, visit in read),
        beat_rate=_beat_rate([(visit, kept[one.id]) for one, visit in read]),
        out_of_band=tuple(visit.name for one, visit in read if _is_out(kept[one.id])),
        not_compared=tuple(visit.name for one, visit in read if not visit.readings.is_empty and kept[one.id] is None),
        stale="" if build is None else _stale(book, build, stale),
    )


def _build_name(book: Book, visit: Record) -> str | None:
    return book.get("build", visit.links["build"]).name if "build" in visit.links else None


def _is_out(kept: Comparison | None) -> bool:
    return kept is not None and not kept.is_in


def _beat_rate(read: list[tuple[Visit, Comparison | None]]) -> float | None:
    """Beats a second as counted last, else as promised last."""
    by_date = sorted(read, key=lambda pair: pair[0].date, reverse=True)
    for visit, _ in by_date:
        if visit.readings.beats and visit.readings.beats_duration:
            return visit.readings.beats / visit.readings.beats_duration
    return next((kept.beat_rate for _, kept in by_date if kept is not None and kept.beat_rate), None)


def _stale(book: Book, build_id: int, known: dict[int, str]) -> str:
    """Why what rests on a build's twin is out of date; asked once for each build."""
    if build_id not in known:
        twin = book.twin_of(build_id)
        known[build_id] = twin.reasons[0] if twin is not None and twin.stale else ""
    return known[build_id]
