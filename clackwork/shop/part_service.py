"""Service dates of the parts at the sites of a book, for the care card and for the list of what is due."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from clackwork.book import Book
from clackwork.life.exposures import Exposure
from clackwork.life.part_dates import PartDates, life_alike, part_dates
from clackwork.life.part_record import PartRecord
from clackwork.life.stress import LifeModel
from clackwork.shop.all_records import all_records
from clackwork.workbook_life import read_part
from clackwork.workbook_reader import Table

USUAL_RATE = 1.0
"""Beats [1/s] taken where a place's were neither counted nor promised: 60 a minute, the low end of what spares a valve
(60 to 80 a minute: Globo Rural, 2023)."""


@dataclass(frozen=True)
class PartRead:
    """A part of the book as its reader gives it, and the number of its site, None on a rig."""

    part: PartRecord
    site: int | None

    @property
    def runs_on(self) -> bool:
        """Whether it is in service still."""
        return not self.part.looks or self.part.looks[-1].outcome == "runs on"


def read_parts(book: Book) -> list[PartRead]:
    """Every part in service of a book, with those whose life has ended."""
    names: dict[int, str] = {}
    found = []
    for record in all_records(book, "part"):
        for role in ("build", "site", "rig"):
            number = record.links.get(role)
            if number is not None and number not in names:
                names[number] = book.get(role, number).name
        linked = {role: names[record.links[role]] for role in ("build", "site", "rig") if role in record.links}
        table = Table(
            {"name": record.name, **linked, **record.entered}, f"part '{record.name}'", f"part.{record.name}", {}
        )
        sites, rigs = ([linked[role]] if role in linked else [] for role in ("site", "rig"))
        found.append(PartRead(read_part(table, [linked["build"]], sites, rigs), record.links.get("site")))
    return found


def dates_of_parts(
    read: Sequence[PartRead], rates: Mapping[int, float], today: datetime.date
) -> dict[int, tuple[PartDates, ...]]:
    """Service dates of every part that runs on at a site, by number of the site.

    Parameters
    ----------
    read : sequence of PartRead
        All of the book, as all of a kind say how long one lasts.
    rates : mapping of int to float
        Beats a second by number of the site; 60 a minute where it has none.
    today : datetime.date
    """
    at_sites = [one for one in read if one.site is not None and one.runs_on]
    if not at_sites:
        return {}
    models = _models(read, rates, today, {(one.part.part, one.part.material) for one in at_sites})
    found: dict[int, list[PartDates]] = {}
    for one in at_sites:
        assert one.site is not None
        found.setdefault(one.site, []).append(_dates(one, models, rates.get(one.site, USUAL_RATE)))
    return {site: tuple(each) for site, each in found.items()}


def card_dates(
    read: Sequence[PartRead],
    rates: Mapping[int, float],
    site_id: int,
    build: str,
    beat_rate: float,
    today: datetime.date,
) -> tuple[PartDates, ...]:
    """What the care card of a site tells of parts that wear.

    Those that run there; where none is entered, each kind that was in service on the build anywhere, as if fitted today.

    Parameters
    ----------
    read, rates, today
        As of :func:`dates_of_parts`.
    site_id : int
    build : str
        Of the pump printed on the card.
    beat_rate : float
        Promised there [1/s].
    """
    here = [one for one in read if one.site == site_id and one.runs_on]
    new = dict.fromkeys((one.part.part, one.part.material) for one in read if one.part.build == build)
    if not beat_rate > 0.0 or not (here or new):
        return ()
    if here:
        models = _models(read, rates, today, {(one.part.part, one.part.material) for one in here})
        return tuple(_dates(one, models, beat_rate) for one in here)
    models = _models(read, rates, today, set(new))
    return tuple(part_dates(models[kind], *kind, today, beat_rate) for kind in new)


def _dates(one: PartRead, models: Mapping[tuple[str, str], LifeModel], rate: float) -> PartDates:
    part = one.part
    return part_dates(
        models[part.part, part.material],
        part.part,
        part.material,
        part.fitted,
        rate,
        name=part.name,
        running_share=part.running_share,
        last_look=part.looks[-1].date if part.looks else None,
    )


def _models(
    read: Sequence[PartRead], rates: Mapping[int, float], today: datetime.date, kinds: set[tuple[str, str]]
) -> dict[tuple[str, str], LifeModel]:
    """The life of each kind of part, from all of that kind."""
    tomorrow = today + datetime.timedelta(days=1)  # a look may be entered a time zone ahead
    lives: dict[tuple[str, str], list[Exposure]] = {kind: [] for kind in kinds}
    for one in read:
        kind = (one.part.part, one.part.material)
        if kind in lives:
            known = [look for look in one.part.looks if look.date <= tomorrow]  # as on that day
            part = replace(one.part, looks=tuple(known))
            lives[kind].append(part.exposure(rates.get(one.site or 0, USUAL_RATE), tomorrow))
    return {kind: life_alike(each, kind[1]) for kind, each in lives.items()}
