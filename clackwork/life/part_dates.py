"""When a part at a place is to be looked at and renewed: from its life in beats and the beats there in a year."""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np

from clackwork.errors import require_positive, require_range
from clackwork.life.exposures import Exposure
from clackwork.life.part_record import A_MONTH, DAY, PartRecord
from clackwork.life.renewals import YEAR
from clackwork.life.service import LOOKS_BEFORE_RENEWAL, RENEW_AT
from clackwork.life.stress import LifeModel, StressedExposure, fit_life, priors_for
from clackwork.site.site import Reason

_Place = TypeVar("_Place", bound=int | str)
_LONGEST = 1200.0
"""No date is told beyond a hundred years [months]."""
USUAL_RATE = 1.0
"""Beats [1/s] taken where a place's are not known: 60 a minute, the low end of what spares a valve (60 to 80 a minute:
Globo Rural, 2023)."""
STRESSED_PARTS = frozenset({"waste_rubber", "waste_seat"})
"""Parts that the landings of the waste valve wear; the engine says nothing of how hard others are used."""
ASSUMED = {
    "usual_rate": "its beats there are neither counted nor worked out yet: {rate} is taken",
    "alike_here": "how hard it lands there is not worked out yet: it is taken to land as in the records",
    "alike_unseen": "no record of such a part tells how hard it landed: landings are taken to be alike everywhere",
    "records_rate": "in {records} of the records of such parts {rate} is taken, as their beats are not known",
    "records_alike": "in {records} of the records of such parts landings are not known and taken as in the others",
    "beats_alone": "its wear is taken to go with its beats alone, as the engine does not tell how hard it is used",
}
"""Words of what is taken for granted, by id."""


@dataclass(frozen=True)
class BeatsAt:
    """How a pump beats at a place.

    Attributes
    ----------
    rate : float
        Beats [1/s]; :data:`USUAL_RATE` where they are not known.
    rate_from : str
        "counted", "promised", "engine" or "usual".
    landing : float or None
        Of its waste valve, energy over the area of its seat [J/m2]; None where it is not known.
    """

    rate: float
    rate_from: str
    landing: float | None = None


UNKNOWN = BeatsAt(USUAL_RATE, "usual")
"""Of a place of which nothing is known."""


@dataclass(frozen=True)
class PartAt:
    """A part in service and how its pump beats there."""

    part: PartRecord
    beats: BeatsAt

    @property
    def kind(self) -> tuple[str, str]:
        """Part and material."""
        return self.part.part, self.part.material

    @property
    def runs_on(self) -> bool:
        """Whether it is in service still."""
        return not self.part.looks or self.part.looks[-1].outcome == "runs on"


@dataclass(frozen=True)
class KindLife:
    """Life of one kind of part from its records.

    Attributes
    ----------
    part, material : str
    model : LifeModel
    with_landing : bool
        Whether a record tells how hard it landed; else all are taken alike and the model knows no other stress than 1.
    assumed : tuple of Reason
        Of the records.
    """

    part: str
    material: str
    model: LifeModel
    with_landing: bool
    assumed: tuple[Reason, ...]

    def stress_at(self, beats: BeatsAt) -> float:
        """Stress of a place [J/m2]; where it is not known, that in the middle of the records."""
        return beats.landing if self.with_landing and beats.landing is not None else self.model.reference


@dataclass(frozen=True)
class PartDates:
    """Service of one part at one place.

    Attributes
    ----------
    name : str
        Of its record; empty for a part that is still to be fitted.
    part, material : str
    fitted : datetime.date
        Day from which its life is counted.
    beats : BeatsAt
    yearly_beats : float
        There.
    months : (float, float, float)
        Until ``risk`` of such parts have failed: 5, 50 and 95 % points of what is known, in months of the calendar.
    risk : float
        Share of parts that may fail before they are renewed.
    look_on, renew_on : datetime.date
        By the middle of the months.
    renew_between : (datetime.date, datetime.date)
        By both ends.
    parts, failures : int
        In the records it rests on.
    assumed : tuple of Reason
        What is taken for granted, to be said beside the dates.
    """

    name: str
    part: str
    material: str
    fitted: datetime.date
    beats: BeatsAt
    yearly_beats: float
    months: tuple[float, float, float]
    risk: float
    look_on: datetime.date
    renew_on: datetime.date
    renew_between: tuple[datetime.date, datetime.date]
    parts: int
    failures: int
    assumed: tuple[Reason, ...] = ()


def life_of_kind(
    records: Sequence[PartAt], part: str, material: str, today: datetime.date, *, seed: int = 1
) -> KindLife:
    """Life of a kind of part in beats, by how hard each landed where the engine tells that.

    A record whose landings are not known counts as the others do in the middle.

    Parameters
    ----------
    records : sequence of PartAt
        Those of other kinds are left out, and looks after ``today``.
    part, material : str
    today : datetime.date
    seed : int
    """
    tomorrow = today + datetime.timedelta(days=1)  # a look may be entered a time zone ahead
    lived: list[tuple[PartAt, Exposure]] = []
    for one in records:
        if one.kind == (part, material):
            looks = tuple(look for look in one.part.looks if look.date <= tomorrow)
            exposure = replace(one.part, looks=looks).exposure(one.beats.rate, tomorrow)
            if exposure.failed or exposure.survived > 0.0:
                lived.append((one, exposure))
    landings = [one.beats.landing for one, _ in lived if one.beats.landing is not None and part in STRESSED_PARTS]
    middle = math.exp(math.fsum(map(math.log, landings)) / len(landings)) if landings else 1.0
    stressed = [
        StressedExposure(exposure, (one.beats.landing or middle) if landings else 1.0) for one, exposure in lived
    ]
    model = fit_life(stressed, priors_for(material), reference=middle, seed=seed)
    rated = sum(_stands_on_usual_rate(one) for one, _ in lived)
    assumed = []
    if rated:
        assumed.append(_assumed("records_rate", records=(float(rated), "count"), rate=(USUAL_RATE, "beat_rate")))
    if landings and len(landings) < len(lived):
        assumed.append(_assumed("records_alike", records=(float(len(lived) - len(landings)), "count")))
    return KindLife(part, material, model, bool(landings), tuple(assumed))


def _stands_on_usual_rate(one: PartAt) -> bool:
    return one.beats.rate_from == "usual" and any(look.beats is None for look in one.part.looks)


def _assumed(name: str, **values: tuple[float, str]) -> Reason:
    return Reason(name, "note", ASSUMED[name], values)


def part_dates(
    life: KindLife,
    fitted: datetime.date,
    beats: BeatsAt,
    *,
    name: str = "",
    running_share: float = 1.0,
    last_look: datetime.date | None = None,
    risk: float = RENEW_AT,
) -> PartDates:
    """Dates of a part.

    Parameters
    ----------
    life : KindLife
    fitted : datetime.date
    beats : BeatsAt
        At its place.
    name : str
    running_share : float
    last_look : datetime.date, optional
        The next look is counted from there, else from ``fitted``.
    risk : float
        Share of parts that may fail before they are renewed; a tenth is common practice, no published source.
    """
    require_positive("beat_rate", beats.rate, "1/s")
    require_range("risk", risk, 1e-3, 0.9, "", "0.1 renews before one in ten has failed.")
    lasts = np.quantile(life.model.life_at(risk, life.stress_at(beats)), (0.05, 0.5, 0.95))
    low, middle, high = (float(one) * A_MONTH / (beats.rate * running_share) for one in lasts)
    renew_on = _after(fitted, middle)
    look_on = min(_after(last_look or fitted, middle / LOOKS_BEFORE_RENEWAL), renew_on)
    return PartDates(
        name,
        life.part,
        life.material,
        fitted,
        beats,
        beats.rate * running_share * YEAR,
        (low, middle, high),
        risk,
        look_on,
        renew_on,
        (_after(fitted, low), _after(fitted, high)),
        round(life.model.parts),
        round(life.model.failures),
        (*_assumed_here(life, beats), *life.assumed),
    )


def _assumed_here(life: KindLife, beats: BeatsAt) -> list[Reason]:
    """What is taken for granted of the place."""
    found = [_assumed("usual_rate", rate=(beats.rate, "beat_rate"))] if beats.rate_from == "usual" else []
    if life.part not in STRESSED_PARTS:
        found.append(_assumed("beats_alone"))
    elif not life.with_landing:
        found.append(_assumed("alike_unseen"))
    elif beats.landing is None:
        found.append(_assumed("alike_here"))
    return found


def _after(day: datetime.date, months: float) -> datetime.date:
    return day + datetime.timedelta(days=round(min(months, _LONGEST) / A_MONTH / DAY))


def dates_in_service(
    wanted: Sequence[PartAt], records: Sequence[PartAt], today: datetime.date
) -> tuple[PartDates, ...]:
    """Dates of parts that run on.

    Parameters
    ----------
    wanted : sequence of PartAt
        One that runs no more has none.
    records : sequence of PartAt
        All there are, as all of a kind say how long one lasts.
    today : datetime.date
    """
    running = [one for one in wanted if one.runs_on]
    lives = {kind: life_of_kind(records, *kind, today) for kind in {one.kind for one in running}}
    return tuple(dates_of_part(lives[one.kind], one) for one in running)


def dates_by_place(
    here: Iterable[tuple[_Place, PartAt]], records: Sequence[PartAt], today: datetime.date
) -> dict[_Place, tuple[PartDates, ...]]:
    """The same by place.

    Parameters
    ----------
    here : iterable of (name or number of the place, PartAt)
        One that runs no more has no dates.
    records, today
        As of :func:`dates_in_service`.
    """
    running = [(place, one) for place, one in here if one.runs_on]
    dates = dates_in_service([one for _, one in running], records, today)
    found: dict[_Place, tuple[PartDates, ...]] = {}
    for (place, _), one in zip(running, dates, strict=True):
        found[place] = (*found.get(place, ()), one)
    return found


def dates_of_part(life: KindLife, one: PartAt) -> PartDates:
    """Dates of a part in service, counted from its last look."""
    part = one.part
    last_look = part.looks[-1].date if part.looks else None
    return part_dates(
        life, part.fitted, one.beats, name=part.name, running_share=part.running_share, last_look=last_look
    )


def card_dates(
    here: Sequence[PartAt], records: Sequence[PartAt], build: str, beats: BeatsAt, today: datetime.date
) -> tuple[PartDates, ...]:
    """What the care card of a place tells of parts that wear.

    Those that run there; where none is entered, each kind that was in service on the build anywhere, as if fitted today.

    Parameters
    ----------
    here : sequence of PartAt
        The parts at the place.
    records : sequence of PartAt
        All there are.
    build : str
        Of the pump printed on the card.
    beats : BeatsAt
        Of that pump there, as printed on the card.
    today : datetime.date
    """
    if not beats.rate > 0.0:
        return ()
    if found := dates_in_service([replace(one, beats=beats) for one in here], records, today):
        return found
    kinds = dict.fromkeys(one.kind for one in records if one.part.build == build)
    return tuple(part_dates(life_of_kind(records, *kind, today), today, beats) for kind in kinds)
