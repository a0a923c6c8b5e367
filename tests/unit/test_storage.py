"""Needs and tanks: months, the table's high end, a year day by day, the tank that just does."""

from __future__ import annotations

import math

import numpy as np
import pytest

from clackwork.errors import InputError
from clackwork.site.needs import Need, Needs, published_need
from clackwork.site.storage import simulate_tank, size_tank, smallest_never_empty

EVEN = [1.0] * 12


def test_needs_by_month() -> None:
    needs = Needs((published_need("sheep", 10), Need("beds", 20.0, 0.005, months=(5, 6, 7))))
    assert needs.daily_in(1) == pytest.approx(0.14) and needs.daily_in(6) == pytest.approx(0.24)
    assert needs.highest_daily == pytest.approx(0.24)


def test_an_unknown_need_names_the_nearest() -> None:
    with pytest.raises(InputError, match='Did you mean "lactating cow"'):
        published_need("lactating cows", 3)


@pytest.mark.parametrize(
    "bad", [{"number": -1.0}, {"daily_each": 0.0}, {"daily_each": math.nan}, {"months": ()}, {"months": (13,)}]
)
def test_impossible_needs_are_refused(bad: dict[str, object]) -> None:
    with pytest.raises(InputError):
        Need(**{"what": "cow", "number": 2.0, "daily_each": 0.1, **bad})  # type: ignore[arg-type]


def test_a_supply_that_covers_each_day_needs_no_tank() -> None:
    year = simulate_tank(0.0, EVEN, EVEN)
    assert year.empty_days == 0 and year.spilled_volume == 0.0 and year.longest_dry == 0
    assert smallest_never_empty(EVEN, EVEN) == 0.0


def test_a_dry_spell_is_counted_through_the_turn_of_the_year() -> None:
    supply = [0.0, *[1.0] * 10, 0.0]
    year = simulate_tank(0.0, supply, EVEN)
    assert year.empty_days == 62 and year.longest_dry == 62 and year.missing_volume == pytest.approx(62.0)
    assert simulate_tank(0.0, [0.0] * 12, EVEN).longest_dry == 365


def test_the_smallest_tank_just_does() -> None:
    supply = [2.0] * 6 + [0.5] * 3 + [2.0] * 3
    smallest = smallest_never_empty(supply, EVEN)
    assert smallest == pytest.approx(0.5 * (31 + 31 + 30))
    assert simulate_tank(smallest, supply, EVEN).empty_days == 0
    assert simulate_tank(0.99 * smallest, supply, EVEN).empty_days > 0


def test_no_tank_mends_a_year_that_brings_too_little() -> None:
    assert smallest_never_empty([0.9] * 12, EVEN) == math.inf
    assert size_tank([0.0] * 12, Needs((published_need("person", 4),))) == math.inf


def test_cover_and_fire_reserve_come_on_top() -> None:
    needs = Needs((Need("people", 10.0, 0.1),), fire_reserve=3.0, days_of_cover=2.0)
    assert size_tank(EVEN, needs) == pytest.approx(5.0)


def test_an_empty_start_fills_first() -> None:
    year = simulate_tank(10.0, EVEN, [0.5] * 12, start=0.0)
    assert year.level[0] == pytest.approx(0.5) and year.level[-1] == 10.0 and year.empty_days == 0
    assert simulate_tank(10.0, EVEN, EVEN, start=50.0).start == 10.0


def test_days_may_be_given_one_by_one() -> None:
    days = np.full(365, 1.0)
    assert np.array_equal(simulate_tank(3.0, days, EVEN).level, simulate_tank(3.0, EVEN, EVEN).level)


@pytest.mark.parametrize(
    ("volume", "supply", "need", "field"),
    [
        (-1.0, EVEN, EVEN, "volume"),
        (math.inf, EVEN, EVEN, "volume"),
        (1.0, [1.0] * 11, EVEN, "supply"),
        (1.0, EVEN, [-1.0] * 12, "need"),
        (1.0, [math.nan] * 12, EVEN, "supply"),
    ],
)
def test_impossible_tanks_are_refused(volume: float, supply: list[float], need: list[float], field: str) -> None:
    with pytest.raises(InputError) as told:
        simulate_tank(volume, supply, need)
    assert told.value.field == field
