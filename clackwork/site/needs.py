"""How much water a place needs a day."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from clackwork.errors import InputError, require_positive, require_range

ALL_YEAR = tuple(range(1, 13))
"""The months of a need that lasts."""
USUAL_COVER = 2.0
SELDOM_INSPECTED_COVER = 3.0
"""Days of cover; three where seldom inspected: Natural Resources Conservation Service, Technical Note SD2006-1."""


@dataclass(frozen=True)
class PublishedNeed:
    """What one user of water needs a day, as published.

    Attributes
    ----------
    low, high : float
        Ends of what is given [m3/day for one].
    source : str
    """

    low: float
    high: float
    source: str


_LIVESTOCK = "Agriculture and Agri-Food Canada; University of Maine"
_HOUSEHOLD = "United Nations Development Programme, Human Development Report 2006"
PUBLISHED_NEEDS: Mapping[str, PublishedNeed] = MappingProxyType(
    {
        "person": PublishedNeed(0.050, 0.100, _HOUSEHOLD),
        "person, least": PublishedNeed(0.020, 0.020, _HOUSEHOLD),
        "lactating cow": PublishedNeed(0.077, 0.095, _LIVESTOCK),
        "dry cow": PublishedNeed(0.036, 0.055, _LIVESTOCK),
        "horse": PublishedNeed(0.036, 0.055, _LIVESTOCK),
        "sheep": PublishedNeed(0.004, 0.014, _LIVESTOCK),
        "laying hen": PublishedNeed(0.00019, 0.00028, _LIVESTOCK),
        "garden, m2": PublishedNeed(0.002, 0.006, "common practice, no published source"),
    }
)
"""Water a day for one of each; of a garden for one square metre in its dry months."""


@dataclass(frozen=True)
class Need:
    """One user of water.

    Attributes
    ----------
    what : str
        A row of the table of needs ("person", "lactating cow"), or words of one's own.
    number : float
        How many; of a garden its area [m2].
    daily_each : float
        Water a day for one [m3].
    source : str
        Where that figure comes from; "typed" when the user gave it.
    months : tuple of int
        Months (1 to 12) in which it is needed; all twelve for the year round.
    """

    what: str
    number: float
    daily_each: float
    source: str = "typed"
    months: tuple[int, ...] = ALL_YEAR

    def __post_init__(self) -> None:
        require_range("needs.number", self.number, 0.0, 1e6, "", "How many of them; of a garden its square metres.")
        require_positive("needs.each", self.daily_each, "m3/day", "What one of them needs a day.")
        if not self.months or any(month not in ALL_YEAR for month in self.months):
            raise InputError("needs.months", self.months, "they must be numbers 1 to 12", "April to September is 4-9.")

    @property
    def daily(self) -> float:
        """Water a day [m3] in a month in which it is needed."""
        return self.number * self.daily_each


@dataclass(frozen=True)
class Needs:
    """All that is needed at a place.

    Attributes
    ----------
    each : tuple of Need
    fire_reserve : float
        Kept in the tank and never drawn [m3].
    days_of_cover : float
        Days that the tank must last with no water coming.
    """

    each: tuple[Need, ...]
    fire_reserve: float = 0.0
    days_of_cover: float = USUAL_COVER

    def __post_init__(self) -> None:
        require_range("needs.fire_reserve", self.fire_reserve, 0.0, 10000.0, "m3", "Was it litres?")
        require_range("needs.days_of_cover", self.days_of_cover, 0.0, 365.0, "days")

    def daily_in(self, month: int) -> float:
        """Water a day [m3] in a month (1 to 12)."""
        return sum(need.daily for need in self.each if month in need.months)

    @property
    def highest_daily(self) -> float:
        """In the month that needs most [m3/day]."""
        return max(self.daily_in(month) for month in range(1, 13))


def published_need(what: str, number: float, months: tuple[int, ...] = ALL_YEAR) -> Need:
    """A need by the table, at the high end of what is published.

    Raises
    ------
    InputError
        No such row; the nearest is named.
    """
    row = PUBLISHED_NEEDS.get(what)
    if row is None:
        near = difflib.get_close_matches(what, PUBLISHED_NEEDS, n=1, cutoff=0.5)
        known = ", ".join(PUBLISHED_NEEDS)
        raise InputError(
            "needs.what",
            f'"{what}"',
            f"without a figure of its own it must be one of {known}",
            f'Did you mean "{near[0]}"?' if near else "Say what one of them needs a day.",
        )
    return Need(what, number, row.high, row.source, months)
