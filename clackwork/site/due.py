"""What is due at places where a pump stands: care by months and by beats, commissioning, readings to follow up."""

from __future__ import annotations

import csv
import datetime
import functools
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from clackwork.errors import InputError, require_range
from clackwork.site.site import Reason
from clackwork.site.standing import Standing, months_after
from clackwork.site.visit import Visit

SECONDS_A_DAY = 86400.0
DAYS_A_MONTH = 365.25 / 12.0
SOON = 30
"""Days ahead for which something is listed as coming."""
COMMISSION_WITHIN = 14
"""Days after it was put in by which a pump should have been measured: common practice, no published source."""
FOLLOW_UP_WITHIN = 14
"""Days within which a reading out of its band should be looked into: common practice, no published source."""
WHO = ("owner", "workshop")
"""Who does a piece of care."""
WORDS = {
    "care": "{said}: {days_run} days since it was done last",
    "care_beats": "{said}: about {beats} beats since it was done last",
    "commissioning": "put in {days_run} days ago and not commissioned yet",
    "promise_stale": "the promise is out of date: {said}",
    "out_of_band": "readings of {days_run} days ago are out of their band and nobody has been there since",
    "not_compared": "readings of {days_run} days ago have not been held against the promise yet",
    "part_look": "{said}: look at it",
    "part_renew": "{said}: renew it, as one in ten would have failed",
    "warranty": "the warranty ends in {days_left} days",
    "warranty_over": "the warranty ended {days_over} days ago",
}
"""Words of what is due, by id."""
_URGENCY = {
    "out_of_band": 0,
    "commissioning": 1,
    "care": 2,
    "care_beats": 2,
    "part_renew": 2,
    "part_look": 2,
    "warranty": 3,
    "promise_stale": 4,
}
_WARRANTY_TOLD = 60


@dataclass(frozen=True)
class CareItem:
    """A piece of care and how often it is done.

    Attributes
    ----------
    id : str
    words : str
        What is done.
    months : float or None
        Between one time and the next.
    beats : float or None
        Between one time and the next, whichever comes first.
    who : str
        Of :data:`WHO`; what the owner does is on the care card and not on the workshop's list.
    source : str
    """

    id: str
    words: str
    months: float | None
    beats: float | None
    who: str
    source: str


@functools.cache
def care_items() -> tuple[CareItem, ...]:
    """The usual care, from the table beside this module."""
    path = Path(__file__).with_name("care.csv")
    with path.open(encoding="utf-8", newline="") as stream:
        return tuple(
            CareItem(
                row["id"],
                row["words"],
                float(row["months"]) if row["months"] else None,
                float(row["beats"]) if row["beats"] else None,
                row["who"],
                row["source"],
            )
            for row in csv.DictReader(stream)
        )


CARE: tuple[str, ...] = tuple(item.id for item in care_items())
"""Ids of the usual care."""


def care_with(changes: Mapping[str, Mapping[str, float]]) -> tuple[CareItem, ...]:
    """The usual care with a workshop's own intervals.

    Parameters
    ----------
    changes : mapping of str to mapping
        By id "months" and "beats"; 0 does without that interval.

    Raises
    ------
    InputError
        No such care, or an interval that is none.
    """
    for name, intervals in changes.items():
        if name not in CARE:
            raise InputError(f"care, {name}", "(intervals)", f"it must be one of {', '.join(CARE)}")
        for key, most in (("months", 600.0), ("beats", 1e11)):
            require_range(f"care, {name}, {key}", float(intervals.get(key, 0.0)), 0.0, most, "")
    found = []
    for item in care_items():
        own = changes.get(item.id, {})
        months, beats = own.get("months", item.months), own.get("beats", item.beats)
        found.append(replace(item, months=months or None, beats=beats or None))
    return tuple(found)


@dataclass(frozen=True)
class PartDue:
    """A part in service that wears.

    Attributes
    ----------
    name : str
    look_on, renew_on : datetime.date
        Next.
    assumed : tuple of Reason
        What the dates take for granted.
    """

    name: str
    look_on: datetime.date
    renew_on: datetime.date
    assumed: tuple[Reason, ...] = ()


@dataclass(frozen=True)
class Place:
    """What is known of a place where a pump stands.

    Attributes
    ----------
    site : str
    as_built : Standing or None
    visits : tuple of Visit
        In any order.
    beat_rate : float or None
        As measured last, else as promised [1/s].
    rate_counted : bool
        Whether it was measured.
    out_of_band : tuple of str
        Names of the visits whose readings lie out of their band.
    not_compared : tuple of str
        Names of the visits whose readings nobody has held against the promise.
    stale : str
        Why the promise is out of date; empty when it is not.
    parts : tuple of PartDue
        That wear there, each with its dates.
    """

    site: str
    as_built: Standing | None = None
    visits: tuple[Visit, ...] = ()
    beat_rate: float | None = None
    out_of_band: tuple[str, ...] = ()
    not_compared: tuple[str, ...] = ()
    stale: str = ""
    parts: tuple[PartDue, ...] = ()
    rate_counted: bool = False

    @property
    def stands(self) -> bool:
        """Whether a pump stands there."""
        return self.as_built is not None or bool(self.visits) or bool(self.parts)

    @property
    def since(self) -> datetime.date | None:
        """Since when it stands there: as written down, else the first visit."""
        dates = [visit.date for visit in self.visits]
        built = self.as_built.date if self.as_built else None
        return built or min(dates, default=None)


@dataclass(frozen=True)
class Due:
    """One thing due at one place.

    Attributes
    ----------
    site : str
    what : str
        "care", "commissioning", "out_of_band", "not_compared", "promise_stale", "part_look", "part_renew" or
        "warranty".
    reason : Reason
        In words, figures as data.
    date : datetime.date
        Day it is due.
    days_over : int
        Days since then; negative for days still to come.
    care : str
        Id of the care; empty for the rest.
    said : str
        What its words name: the care, or why the promise is out of date; empty for the rest.
    assumed : tuple of Reason
        What the date takes for granted.
    """

    site: str
    what: str
    reason: Reason
    date: datetime.date
    days_over: int
    care: str = ""
    said: str = ""
    assumed: tuple[Reason, ...] = ()


def what_is_due(
    places: Iterable[Place], today: datetime.date, *, care: Sequence[CareItem] | None = None, ahead: int = SOON
) -> tuple[Due, ...]:
    """Everything due at places where a pump stands, or due within ``ahead`` days; the most urgent first.

    What is overdue comes first, readings out of their band before all else, then commissioning, then by days overdue.

    Parameters
    ----------
    places : iterable of Place
    today : datetime.date
    care : sequence of CareItem, optional
        Else the usual.
    ahead : int, optional
        Days.
    """
    items = care_items() if care is None else tuple(care)
    found: list[Due] = []
    for place in places:
        if place.stands:
            found += [*_to_follow_up(place, today), *_commissioning(place, today), *_warranty(place, today)]
            found += _care(place, today, items)
            found += _parts(place, today)
    return tuple(sorted((one for one in found if one.days_over >= -_told_ahead(one, ahead)), key=_rank))


def _told_ahead(due: Due, ahead: int) -> int:
    return max(ahead, _WARRANTY_TOLD) if due.what == "warranty" else ahead


def _rank(due: Due) -> tuple[bool, int, int, str, str]:
    return due.days_over < 0, _URGENCY.get(due.what, 4), -due.days_over, due.site, due.reason.id


def _due(
    place: Place,
    what: str,
    words: str,
    dates: tuple[datetime.date, datetime.date],
    figures: Mapping[str, tuple[float, str]],
    said: str = "",
    care: str = "",
) -> Due:
    """A thing due on the first of two dates, as on the second; ``said`` stands in the words for {said}."""
    text = WORDS[words].replace("{said}", said.replace("{", "(").replace("}", ")"))
    date, today = dates
    return Due(place.site, what, Reason(words, "note", text, figures), date, (today - date).days, care, said)


def _days(number: float) -> tuple[float, str]:
    return float(number), "count"


def _to_follow_up(place: Place, today: datetime.date) -> list[Due]:
    """Readings out of their band after which nobody came, readings not compared, a promise out of date."""
    found = []
    last = max((visit.date for visit in place.visits), default=today)
    for visit in place.visits:
        run = _days((today - visit.date).days)
        if visit.name in place.out_of_band and not _followed_up(visit, place.visits):
            date = visit.date + datetime.timedelta(days=FOLLOW_UP_WITHIN)
            found.append(_due(place, "out_of_band", "out_of_band", (date, today), {"days_run": run}))
        elif visit.name in place.not_compared and visit.date == last:
            found.append(_due(place, "not_compared", "not_compared", (today, today), {"days_run": run}))
    if place.stale:
        found.append(_due(place, "promise_stale", "promise_stale", (today, today), {}, place.stale.rstrip(".")))
    return found


def _followed_up(visit: Visit, visits: Sequence[Visit]) -> bool:
    """Whether somebody came after a visit, or a later one of the same day put it right."""
    later = visits[visits.index(visit) + 1 :]
    return any(one.date > visit.date or (one.date == visit.date and one in later) for one in visits)


def _commissioning(place: Place, today: datetime.date) -> list[Due]:
    """A pump that stands and was never measured."""
    since = place.since
    if since is None or any(visit.purpose == "commissioning" for visit in place.visits):
        return []
    date = since + datetime.timedelta(days=COMMISSION_WITHIN)
    return [_due(place, "commissioning", "commissioning", (date, today), {"days_run": _days((today - since).days)})]


def _warranty(place: Place, today: datetime.date) -> list[Due]:
    """A warranty about to end, or that ended lately: look at the pump while it stands."""
    ends = place.as_built.warranty_ends if place.as_built else None
    if ends is None or (today - ends).days > SOON:
        return []
    left = (ends - today).days
    if left >= 0:
        return [_due(place, "warranty", "warranty", (ends, today), {"days_left": _days(left)})]
    return [_due(place, "warranty", "warranty_over", (ends, today), {"days_over": _days(-left)})]


def _parts(place: Place, today: datetime.date) -> list[Due]:
    """Parts to be renewed, and those to be looked at before that."""
    found = []
    for part in place.parts:
        renew = part.renew_on <= max(today, part.look_on)
        what, date = ("part_renew", part.renew_on) if renew else ("part_look", part.look_on)
        found.append(replace(_due(place, what, what, (date, today), {}, part.name), assumed=part.assumed))
    return found


def _care(place: Place, today: datetime.date, items: Sequence[CareItem]) -> list[Due]:
    """The workshop's care, by months or by beats, whichever comes first."""
    found = []
    for item in items:
        since = last_done(place, item.id)
        if item.who != "workshop" or since is None:
            continue
        days = (today - since).days
        by_months = None if item.months is None else _after_months(since, item.months)
        by_beats = None
        if item.beats is not None and place.beat_rate:
            days_of_beats = item.beats / (place.beat_rate * SECONDS_A_DAY)
            by_beats = since + datetime.timedelta(days=min(math.floor(days_of_beats), 36500))
        if by_beats is not None and (by_months is None or by_beats < by_months):
            assert place.beat_rate is not None
            run = (1e6 * round(place.beat_rate * SECONDS_A_DAY * max(days, 0) / 1e6), "count")
            found.append(_due(place, "care", "care_beats", (by_beats, today), {"beats": run}, item.words, item.id))
        elif by_months is not None:
            found.append(
                _due(place, "care", "care", (by_months, today), {"days_run": _days(days)}, item.words, item.id)
            )
    return found


def _after_months(since: datetime.date, months: float) -> datetime.date:
    if months == int(months):
        return months_after(since, int(months))
    return since + datetime.timedelta(days=round(months * DAYS_A_MONTH))


def last_done(place: Place, care: str) -> datetime.date | None:
    """When a piece of care was done last: the commissioning, or since when the pump stands, counts as new.

    A service that names no care counts for all of it.
    """
    done = [
        visit.date
        for visit in place.visits
        if care in visit.care or visit.purpose == "commissioning" or (visit.purpose == "service" and not visit.care)
    ]
    return max(done, default=None) or place.since


__all__ = ["CARE", "CareItem", "Due", "Place", "care_items", "care_with", "last_done", "what_is_due"]
