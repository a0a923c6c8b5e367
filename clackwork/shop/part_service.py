"""The parts in service of a book, each with how its pump beats and lands there, for their dates.

Landings are worked out on the engine beside long work and kept until build, twin or place is changed, so that a list does
not ask the engine.
"""

from __future__ import annotations

import datetime
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from clackwork._cache import kernel_key
from clackwork.book import Book, Record
from clackwork.life.part_dates import UNKNOWN, BeatsAt, PartAt, PartDates, card_dates, dates_by_place
from clackwork.life.part_record import PartRecord
from clackwork.shop.all_records import all_records
from clackwork.shop.job_rows import Job, ask_for
from clackwork.workbook_life import read_part
from clackwork.workbook_reader import Table

if TYPE_CHECKING:
    from clackwork.shop.jobs import Task


@dataclass(frozen=True)
class PartRead:
    """A part of the book as its reader gives it.

    Attributes
    ----------
    record : Record
    part : PartRecord
    site : int or None
        Number of its site; None on a rig.
    """

    record: Record
    part: PartRecord
    site: int | None


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
        found.append(PartRead(record, read_part(table, [linked["build"]], sites, rigs), record.links.get("site")))
    return found


def parts_at(book: Book, read: Sequence[PartRead], rates: Mapping[int, BeatsAt]) -> list[PartAt]:
    """Parts with how their pumps beat: as known of the site, else as kept of the engine, else as usual.

    Parameters
    ----------
    book : Book
    read : sequence of PartRead
    rates : mapping of int to BeatsAt
        Counted or promised, by number of the site.
    """
    marks = _Marks(book)
    return [PartAt(one.part, _beats(book, one, rates, marks)) for one in read]


def _beats(book: Book, one: PartRead, rates: Mapping[int, BeatsAt], marks: _Marks) -> BeatsAt:
    known = None if one.site is None else rates.get(one.site)
    kept = book.setting(_key(one.record.id))
    if not isinstance(kept, dict) or kept.get("mark") != marks.of(one.record) or not kept.get("rate"):
        return known or UNKNOWN
    if known is None:
        return BeatsAt(kept["rate"], "engine", kept["landing"])
    return replace(known, landing=kept["landing"])


def dates_of_parts(
    read: Sequence[PartRead], records: Sequence[PartAt], today: datetime.date
) -> dict[int, tuple[PartDates, ...]]:
    """Service dates of every part that runs on at a site, by number of the site.

    Parameters
    ----------
    read : sequence of PartRead
        All of the book, as all of a kind say how long one lasts.
    records : sequence of PartAt
        The same (:func:`parts_at`).
    today : datetime.date
    """
    at_sites = [(one.site, at) for one, at in zip(read, records, strict=True) if one.site is not None]
    return dates_by_place(at_sites, records, today)


def dates_for_card(
    read: Sequence[PartRead],
    records: Sequence[PartAt],
    site_id: int,
    build: str,
    beats: BeatsAt,
    today: datetime.date,
) -> tuple[PartDates, ...]:
    """What the care card of a site tells of parts that wear; see :func:`clackwork.life.part_dates.card_dates`.

    Parameters
    ----------
    read, records, today
        As of :func:`dates_of_parts`.
    site_id : int
    build : str
        Of the pump printed on the card.
    beats : BeatsAt
        As printed on the card.
    """
    here = [at for one, at in zip(read, records, strict=True) if one.site == site_id]
    return card_dates(here, records, build, beats, today)


class _Marks:
    """Marks of what the landings of parts rest on, each record looked up once."""

    def __init__(self, book: Book) -> None:
        self._book = book
        self._versions: dict[int, str] = {}
        self._builds: dict[int, tuple[int, int]] = {}

    def of(self, part: Record) -> str:
        """Build with its twin, and the place: of a rig also how many runs the build has, as they give its back-pressure."""
        build, rig = part.links["build"], part.links.get("rig")
        place = part.links["site"] if rig is None else rig
        if build not in self._builds:
            twins = self._book.list("twin", links={"build": build}, limit=500).records
            runs = self._book.list("run", links={"build": build}, limit=1).total
            self._builds[build] = (max((one.id for one in twins), default=0), runs)
        twin, runs = self._builds[build]
        versions = (self._version("build", build), self._version("site" if rig is None else "rig", place))
        return ".".join([*versions, f"{twin}", "" if rig is None else f"{runs}", kernel_key()])

    def _version(self, kind: str, number: int) -> str:
        if number not in self._versions:
            self._versions[number] = f"{number}.{self._book.get(kind, number).version}"
        return self._versions[number]


def _key(part_id: int) -> str:
    return f"part.{part_id}.beats"


def _waiting(book: Book, read: Sequence[PartRead]) -> list[tuple[PartRead, str]]:
    """Parts whose landings were not worked out since something was changed, with the mark of now."""
    marks, found = _Marks(book), []
    for one in read:
        kept, mark = book.setting(_key(one.record.id)), marks.of(one.record)
        if not isinstance(kept, dict) or kept.get("mark") != mark:
            found.append((one, mark))
    return found


def ask_landings(book: Book, *, by: str = "") -> Job | None:
    """Queue the landings of parts in service that are not worked out; None where nothing waits."""
    if not _waiting(book, read_parts(book)):
        return None
    return ask_for(book, "landings", {"all": "parts"}, title="Landings of parts in service", by=by)


def landings_work(book: Book, task: Task) -> Mapping[str, Any]:
    """Work the landings out; the work behind `ask_landings`."""
    task.progress(0, 1)
    return {"parts": keep_landings(book)}


def keep_landings(book: Book) -> int:
    """Work out on the engine, and keep, how pumps beat and land where parts are in service; how many parts."""
    waiting = _waiting(book, read_parts(book))
    for pump in {one.record.links["pump"] for one, _ in waiting}:
        _keep_of_pump(book, pump, [pair for pair in waiting if pair[0].record.links["pump"] == pump])
    return len(waiting)


def _keep_of_pump(book: Book, pump: int, waiting: Collection[tuple[PartRead, str]]) -> None:
    from clackwork.life_rates import engine_beats

    builds = {one.part.build: one.record.links["build"] for one, _ in waiting}
    kept = {name: book.twin_of(number) for name, number in builds.items()}
    twins = {name: one.twin for name, one in kept.items() if one is not None}
    found = engine_beats(book.workbook(pump), [one.part for one, _ in waiting], twins)
    for one, mark in waiting:
        beats = found.get(one.part.name)
        plain = {} if beats is None else {"rate": beats.rate, "landing": beats.landing}
        book.remember(_key(one.record.id), {**plain, "mark": mark})
