"""Service of every part that runs on, and the spares a workshop keeps for all of them over the months to come."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass

from clackwork.life.part_dates import KindLife, PartAt, PartDates, dates_of_part, life_of_kind
from clackwork.life.part_record import DAY
from clackwork.life.renewals import PartInService
from clackwork.life.service import PartService, plan_service, spares_needed

YEARS = 1.0
"""Years for which spares are kept."""
USUAL_RISK = 0.05


@dataclass(frozen=True)
class StockOfKind:
    """One kind of part where it runs on at sites.

    Attributes
    ----------
    part, material : str
    each : tuple of (PartService, PartDates)
        By part: its life from new, the spares to carry with that one pump, and its dates.
    spares : int or None
        To keep for all of them for a year; None where no such part was ever looked at, as a prior alone is an order of
        magnitude and no ground to buy on.
    risk : float
        Chance of running out, of the stock as of what is carried.
    """

    part: str
    material: str
    each: tuple[tuple[PartService, PartDates], ...]
    spares: int | None
    risk: float


def stock_of_parts(
    records: Sequence[PartAt], today: datetime.date, *, risk: float = USUAL_RISK, seed: int = 1
) -> tuple[StockOfKind, ...]:
    """Service and spares of the parts that run on at sites, by kind.

    Parameters
    ----------
    records : sequence of PartAt
        All there are, as all of a kind say how long one lasts.
    today : datetime.date
    risk : float
        Chance of running out within the year.
    seed : int

    Raises
    ------
    InputError
        The risk is none.
    """
    running = [one for one in records if one.runs_on and not one.part.on_rig]
    found = []
    for kind in dict.fromkeys(one.kind for one in running):
        life = life_of_kind(records, *kind, today, seed=seed)
        here = [one for one in running if one.kind == kind]
        parts = [_in_service(one, life, today) for one in here]
        each = tuple(
            (plan_service(life.model, part, risk=risk, seed=seed), dates_of_part(life, one))
            for part, one in zip(parts, here, strict=True)
        )
        spares = spares_needed(life.model, parts, YEARS, risk=risk, seed=seed) if life.model.parts else None
        found.append(StockOfKind(*kind, each, spares, risk))
    return tuple(found)


def _in_service(one: PartAt, life: KindLife, today: datetime.date) -> PartInService:
    """A part with the beats it has run: those of its last look, and those since by its beat rate."""
    part, rate = one.part, one.beats.rate
    seen, since = (part.beats_at(part.looks[-1], rate), part.looks[-1].date) if part.looks else (0.0, part.fitted)
    age = seen + max((today - since).days, 0) * DAY * part.running_share * rate
    return PartInService(part.place, age, rate, life.stress_at(one.beats), part.running_share)
