"""When a part at a place is to be looked at and renewed: from its life in beats and the beats there in a year."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from clackwork.errors import require_positive, require_range
from clackwork.life.exposures import Exposure
from clackwork.life.part_record import A_MONTH, DAY
from clackwork.life.renewals import YEAR
from clackwork.life.service import LOOKS_BEFORE_RENEWAL, RENEW_AT
from clackwork.life.stress import LifeModel, StressedExposure, fit_life, priors_for

_LONGEST = 1200.0
"""No date is told beyond a hundred years [months]."""


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
    """

    name: str
    part: str
    material: str
    fitted: datetime.date
    yearly_beats: float
    months: tuple[float, float, float]
    risk: float
    look_on: datetime.date
    renew_on: datetime.date
    renew_between: tuple[datetime.date, datetime.date]
    parts: int
    failures: int


def life_alike(lives: Sequence[Exposure], material: str, *, seed: int = 1) -> LifeModel:
    """Life of a kind of part whose landings are taken to be alike at all places, from lives in beats.

    One pump lands much alike at all its falls, as its waste valve closes at one velocity; where the engine is to say how
    alike, see :func:`clackwork.life.whole_study.run_study`.
    """
    lived = [StressedExposure(one, 1.0) for one in lives if one.failed or one.survived > 0.0]
    return fit_life(lived, priors_for(material), reference=1.0, seed=seed)


def part_dates(
    model: LifeModel,
    part: str,
    material: str,
    fitted: datetime.date,
    beat_rate: float,
    *,
    name: str = "",
    running_share: float = 1.0,
    last_look: datetime.date | None = None,
    risk: float = RENEW_AT,
) -> PartDates:
    """Dates of a part.

    Parameters
    ----------
    model : LifeModel
        At the stress 1 (:func:`life_alike`).
    part, material, name : str
    fitted : datetime.date
    beat_rate : float
        At its place [1/s].
    running_share : float
    last_look : datetime.date, optional
        The next look is counted from there, else from ``fitted``.
    risk : float
        Share of parts that may fail before they are renewed; a tenth is common practice, no published source.
    """
    require_positive("beat_rate", beat_rate, "1/s")
    require_range("risk", risk, 1e-3, 0.9, "", "0.1 renews before one in ten has failed.")
    beats = np.quantile(model.life_at(risk, 1.0), (0.05, 0.5, 0.95))
    low, middle, high = (float(one) * A_MONTH / (beat_rate * running_share) for one in beats)
    renew_on = _after(fitted, middle)
    look_on = min(_after(last_look or fitted, middle / LOOKS_BEFORE_RENEWAL), renew_on)
    return PartDates(
        name,
        part,
        material,
        fitted,
        beat_rate * running_share * YEAR,
        (low, middle, high),
        risk,
        look_on,
        renew_on,
        (_after(fitted, low), _after(fitted, high)),
        round(model.parts),
        round(model.failures),
    )


def _after(day: datetime.date, months: float) -> datetime.date:
    return day + datetime.timedelta(days=round(min(months, _LONGEST) / A_MONTH / DAY))
