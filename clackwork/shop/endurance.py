"""An endurance test planned for a part of a book's build."""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from dataclasses import dataclass

from clackwork.book import Book, Record
from clackwork.endurance_job import EnduranceAsked, EndurancePlan, kinds_seen, plan_of_workbook, records_for
from clackwork.shop.fitted import fitted_twins
from clackwork.twin.twin import Twin


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
    build = book.get("build", build_id)
    workbook = book.workbook(build.links["pump"])
    wanted = [build.name, *(one.build for one in records_for(workbook, asked.part, asked.material))]
    return plan_of_workbook(
        workbook,
        asked,
        _twins(book, build.links["pump"], wanted),
        today=datetime.date.today() + datetime.timedelta(days=1),
    )  # a look may be entered a time zone ahead


def _twins(book: Book, pump_id: int, names: Iterable[str]) -> dict[str, Twin]:
    """The last twins of a pump's builds, by name; those not fitted are left out."""
    found = {}
    for one in book.list("build", links={"pump": pump_id}, limit=500).records:
        if one.name in names and (kept := book.twin_of(one.id)) is not None:
            found[one.name] = kept.twin
    return found
