"""How much water a place needs a day."""

from __future__ import annotations

from dataclasses import dataclass


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
    months: tuple[int, ...] = tuple(range(1, 13))

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
    days_of_cover: float = 2.0

    def daily_in(self, month: int) -> float:
        """Water a day [m3] in a month (1 to 12)."""
        return sum(need.daily for need in self.each if month in need.months)

    @property
    def highest_daily(self) -> float:
        """In the month that needs most [m3/day]."""
        return max(self.daily_in(month) for month in range(1, 13))
