"""A tank day by day through a year: what comes, what is needed, when it is empty, what spills; and how large it must be."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from clackwork.errors import InputError, require_not_negative
from clackwork.site.needs import Needs

FloatArray = NDArray[np.float64]

DAYS_IN_MONTH = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
"""Of a common year."""
DAYS = sum(DAYS_IN_MONTH)
MONTH_OF_DAY = np.repeat(np.arange(12), DAYS_IN_MONTH)
"""Month, 0 to 11, of each day of a common year."""
SHORT = 1e-9
"""Share of a day's need that counts as none missing."""


@dataclass(frozen=True)
class TankYear:
    """A tank through one year.

    Attributes
    ----------
    volume : float
        Of the tank, what is never drawn left out [m3].
    level : ndarray, shape (365,)
        Water in it at the end of each day [m3].
    used : ndarray, shape (365,)
        Drawn each day [m3].
    spilled : ndarray, shape (365,)
        Came and found no room [m3].
    missing : ndarray, shape (365,)
        Needed and not there [m3].
    start : float
        Water in it when the year begins [m3].
    """

    volume: float
    level: FloatArray
    used: FloatArray
    spilled: FloatArray
    missing: FloatArray
    start: float

    @property
    def empty_days(self) -> int:
        """Days on which some of the need was not there."""
        return int(np.count_nonzero(self.missing > 0.0))

    @property
    def spilled_volume(self) -> float:
        """In the whole year [m3]."""
        return float(self.spilled.sum())

    @property
    def missing_volume(self) -> float:
        """In the whole year [m3]."""
        return float(self.missing.sum())

    @property
    def longest_dry(self) -> int:
        """Most days in a row on which some of the need was not there, the turn of the year counted through."""
        dry = self.missing > 0.0
        if dry.all():
            return DAYS
        longest = current = 0
        for day in np.concatenate([dry, dry]):
            current = current + 1 if day else 0
            longest = max(longest, current)
        return longest


def days_of(figures: Sequence[float] | FloatArray, field: str) -> FloatArray:
    """A year's days [m3/day] from twelve months, or from all of its days.

    Raises
    ------
    InputError
        Neither 12 nor 365 figures, or one that is negative or not finite.
    """
    given = np.asarray(figures, dtype=np.float64)
    if given.shape not in ((12,), (DAYS,)):
        raise InputError(field, f"{given.size} figures", f"it takes one for each of 12 months or {DAYS} days")
    if not np.all(np.isfinite(given) & (given >= 0.0)):
        raise InputError(field, "a figure under 0", "each must be 0 or more")
    return given[MONTH_OF_DAY] if given.size == 12 else given


def simulate_tank(
    volume: float,
    supply: Sequence[float] | FloatArray,
    need: Sequence[float] | FloatArray,
    start: float | None = None,
) -> TankYear:
    """Step a tank through a year.

    Parameters
    ----------
    volume : float
        That can be drawn [m3].
    supply, need : sequence of 12 or 365 floats
        Delivered and needed a day [m3/day], from 1 January.
    start : float, optional
        Water in it on 1 January [m3]; full when left out.

    Returns
    -------
    TankYear

    Raises
    ------
    InputError

    Notes
    -----
    Within a day supply and need run side by side, each at its even rate: a need that the day's supply covers is always met,
    and what is over goes to the tank until it is full.
    """
    require_not_negative("volume", volume, "m3")
    coming, wanted = days_of(supply, "supply"), days_of(need, "need")
    begin = volume if start is None else min(require_not_negative("start", start, "m3"), volume)
    level, used, spilled, missing = (np.empty(DAYS) for _ in range(4))
    held = begin
    for day in range(DAYS):
        water = held + coming[day]
        used[day] = min(water, wanted[day])
        short = wanted[day] - used[day]
        missing[day] = short if short > SHORT * wanted[day] else 0.0
        left = water - used[day]
        spilled[day] = max(0.0, left - volume)
        held = left - spilled[day]
        level[day] = held
    return TankYear(volume, level, used, spilled, missing, begin)


def smallest_never_empty(supply: Sequence[float] | FloatArray, need: Sequence[float] | FloatArray) -> float:
    """Smallest tank [m3], full at the start, that never runs empty in a year like every other.

    Infinite where a year needs more than comes.

    Notes
    -----
    The largest deficit heaped up over two years alike: the sequent peak of Thomas and Burden 1963 (from memory), exact for
    steps of a day.
    """
    coming, wanted = days_of(supply, "supply"), days_of(need, "need")
    if wanted.sum() > coming.sum() * (1.0 + 1e-12):
        return math.inf
    deficit = largest = 0.0
    for lacking in np.concatenate([wanted - coming] * 2):
        deficit = max(0.0, deficit + float(lacking))
        largest = max(largest, deficit)
    return largest


def size_tank(supply: Sequence[float] | FloatArray, needs: Needs) -> float:
    """Tank advised [m3]: never empty through the year, with the days of cover and the fire reserve on top.

    Parameters
    ----------
    supply : sequence of 12 or 365 floats
        Delivered a day [m3/day].
    needs : Needs

    Returns
    -------
    float
        Infinite where the year's supply is under its need: no tank mends that.

    Raises
    ------
    InputError
    """
    need = [needs.daily_in(month) for month in range(1, 13)]
    cover = needs.days_of_cover * needs.highest_daily
    return smallest_never_empty(supply, need) + cover + needs.fire_reserve
