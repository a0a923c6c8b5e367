"""An endurance test planned for a part of a book's build."""

from __future__ import annotations

import datetime
import threading
from collections.abc import Iterable
from dataclasses import dataclass

from clackwork._cache import kernel_key
from clackwork.book import Book, Record
from clackwork.endurance_job import (
    EnduranceAsked,
    EndurancePlan,
    PlacesSeen,
    kinds_seen,
    plan_from,
    records_for,
    see_places,
)
from clackwork.shop.fitted import fitted_twins
from clackwork.twin.twin import Twin

_MOST_KEPT = 8
_KEPT: dict[tuple[object, ...], PlacesSeen] = {}
_KEPT_LOCK = threading.Lock()


@dataclass(frozen=True)
class EnduranceChoices:
    """What of a book can be put on endurance.

    Attributes
    ----------
    builds : tuple of Record
        With a twin.
    names : mapping of int to str
        What each is called, the pump behind it where two share a name.
    sites, rigs : tuple of Record
        Designed sites, and rigs.
    """

    builds: tuple[Record, ...]
    names: dict[int, str]
    sites: tuple[Record, ...]
    rigs: tuple[Record, ...]


def endurance_choices(book: Book, *, most: int = 500) -> EnduranceChoices:
    """What of a book can be put on endurance."""
    fitted = fitted_twins(book)
    sites = tuple(one for one in book.list("site", limit=most).records if "drive_pipe" in one.entered)
    return EnduranceChoices(
        tuple(one.build for one in fitted),
        {one.build.id: one.twin.build.name for one in fitted},
        sites,
        book.list("rig", limit=most).records,
    )


def kinds_of_book(book: Book, build_id: int) -> list[tuple[str, str]]:
    """Part and material of the parts in service on a build, each once."""
    build = book.get("build", build_id)
    return kinds_seen(book.workbook(build.links["pump"]), build.name)


def plan_of_book(book: Book, asked: EnduranceAsked, build_id: int) -> EndurancePlan:
    """Plan an endurance test.

    Parameters
    ----------
    book : Book
    asked : EnduranceAsked
        With the names of build, site and rig.
    build_id : int

    Raises
    ------
    InputError
        Something named is not there, or the build has no twin.
    ModelError
        The build does not beat at the site.
    NotThere
        No such build.
    """
    tomorrow = datetime.date.today() + datetime.timedelta(days=1)  # a look may be entered a time zone ahead
    return plan_from(_seen(book, asked, build_id), asked, tomorrow)


def _seen(book: Book, asked: EnduranceAsked, build_id: int) -> PlacesSeen:
    """What the engine says of the places; kept for the next ask with another life to be shown, until the book is changed."""
    last = tuple((change.id, change.at) for change in book.changes(limit=1))
    places = (asked.part, asked.material, asked.site, asked.rig, asked.falls)
    key = (book.place, last, kernel_key(), build_id, *places)
    with _KEPT_LOCK:
        kept = _KEPT.get(key)
    if kept is not None:
        return kept
    build = book.get("build", build_id)
    workbook = book.workbook(build.links["pump"])
    wanted = [build.name, *(one.build for one in records_for(workbook, asked.part, asked.material))]
    found = see_places(workbook, asked, _twins(book, build.links["pump"], wanted))
    with _KEPT_LOCK:
        while len(_KEPT) >= _MOST_KEPT:
            del _KEPT[next(iter(_KEPT))]
        _KEPT[key] = found
    return found


def _twins(book: Book, pump_id: int, names: Iterable[str]) -> dict[str, Twin]:
    """The last twins of a pump's builds, by name; those not fitted are left out."""
    found = {}
    for one in book.list("build", links={"pump": pump_id}, limit=500).records:
        if one.name in names and (kept := book.twin_of(one.id)) is not None:
            found[one.name] = kept.twin
    return found
