"""Renewals, spares and warranty against closed forms."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from clackwork.errors import InputError
from clackwork.life.renewals import YEAR, PartInService, draw_failures
from clackwork.life.selling import sell
from clackwork.life.service import plan_service, spares_needed
from clackwork.life.stress import MATERIALS, LifeModel
from clackwork.life.warranty import margin_at, price_for, study_warranty


def known(scale: float, shape: float, exponent: float = 1.0) -> LifeModel:
    """A life known exactly."""
    one = np.ones(50)
    return LifeModel(1.0, scale * one, shape * one, exponent * one, 0.0, 0.0, 50.0, 0.0, MATERIALS["other"])


def part(age: float = 0.0, stress: float = 1.0, running_share: float = 1.0) -> PartInService:
    """One that beats once a second."""
    return PartInService("creek", age, 1.0, stress, running_share)


def test_chance_failures_come_as_poisson_says() -> None:
    """Shape 1: failures in t years of a part of mean life L are Poisson with mean t / L, whatever its age."""
    found = draw_failures(known(2.0 * YEAR, 1.0), [part(), part(age=5.0 * YEAR)], 6.0, draws=4000)
    counts = found.counts(6.0)
    assert counts.mean(axis=0) == pytest.approx([3.0, 3.0], rel=0.04)
    assert counts.var(axis=0) == pytest.approx([3.0, 3.0], rel=0.1)


def test_an_old_part_fails_sooner_by_the_hazard_it_has_lived() -> None:
    """Weibull, conditional on its age: 1 - exp((age / L)^b - ((age + t) / L)^b)."""
    scale, shape, age, years = 2.0, 3.0, 1.5, 0.4
    found = draw_failures(known(scale * YEAR, shape), [part(age=age * YEAR)], years, draws=6000)
    by_hand = 1.0 - math.exp((age / scale) ** shape - ((age + years) / scale) ** shape)
    assert np.mean(found.counts(years) > 0) == pytest.approx(by_hand, abs=0.02)


def test_stress_and_idle_time_count() -> None:
    model = known(2.0 * YEAR, 2.0, exponent=1.5)
    hard = plan_service(model, part(stress=4.0))
    easy = plan_service(model, part())
    half = plan_service(model, part(running_share=0.5))
    assert hard.renew_after == pytest.approx(easy.renew_after / 8.0)
    assert half.renew_after_years == pytest.approx(2.0 * easy.renew_after_years)
    assert easy.years[0] < easy.years[1] < easy.years[2]
    # a tenth of new parts have failed by L (-ln 0.9)^(1/b)
    assert easy.renew_after_years == pytest.approx(2.0 * math.sqrt(-math.log(0.9)))


def test_spares_cover_what_poisson_says() -> None:
    from scipy.stats import poisson

    parts = [part() for _ in range(30)]
    needed = spares_needed(known(3.0 * YEAR, 1.0), parts, 1.0, risk=0.05, draws=4000)
    assert abs(needed - int(poisson.ppf(0.95, 10.0))) <= 1
    assert spares_needed(known(3.0 * YEAR, 1.0), [], 1.0) == 0


def test_what_is_not_known_of_the_kind_is_shared_by_all() -> None:
    """So a reserve for a hundred pumps is far above that of a hundred kinds known exactly."""
    parts = [part() for _ in range(100)]
    open_model = LifeModel(
        1.0,
        3.0 * YEAR * np.exp(np.random.default_rng(1).normal(0.0, 0.8, 400)),
        np.full(400, 2.0),
        np.ones(400),
        0.0,
        0.0,
        400.0,
        0.0,
        MATERIALS["other"],
    )
    sharp = study_warranty(known(3.0 * YEAR, 2.0), parts, 80.0).cost(24.0)
    open_ = study_warranty(open_model, parts, 80.0).cost(24.0)
    assert open_.claims[2] - open_.claims[0] > 3.0 * (sharp.claims[2] - sharp.claims[0])
    assert open_.reserve > 1.5 * sharp.reserve


def test_longest_warranty_is_the_last_its_reserve_pays() -> None:
    study = study_warranty(known(4.0 * YEAR, 2.5), [part() for _ in range(40)], 100.0)
    months = study.longest(20.0)
    assert 0.0 < months < 180.0
    assert study.cost(months).reserve <= 20.0 < study.cost(months + 1.0).reserve
    assert study.longest(1e9) == 180.0
    assert study.cost(0.0).claims_mean == 0.0


def test_price_and_margin_are_each_other_turned_round() -> None:
    price = price_for(0.3, 200.0, 14.0)
    assert margin_at(price, 200.0, 14.0) == pytest.approx(0.3)


def test_the_new_build_asks_more_for_the_margin_of_the_old() -> None:
    """By hand: at 400, old (400 - 200 - r1) / 400 is held; the new one asks (260 + r2) / (1 - that)."""
    both = tuple(study_warranty(known(years * YEAR, 2.0), [part() for _ in range(20)], 50.0) for years in (2.0, 6.0))
    old, new = sell((200.0, 260.0), (both[0], both[1]), 400.0, 24.0)
    left = (400.0 - 200.0 - both[0].cost(24.0).reserve) / 400.0
    assert old.margin == pytest.approx(left) and old.price == pytest.approx(400.0)
    assert new.price == pytest.approx((260.0 + both[1].cost(24.0).reserve) / (1.0 - left))
    assert new.reserve < old.reserve
    asked, _ = sell((200.0, 260.0), (both[0], both[1]), 400.0, 24.0, margin=0.5)
    assert asked.price == pytest.approx(2.0 * (200.0 + both[0].cost(24.0).reserve))


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"beat_rate": 0.0}, "beat_rate"),
        ({"age": -1.0}, "age"),
        ({"stress": 0.0}, "stress"),
        ({"running_share": 0.0}, "share"),
    ],
)
def test_parts_that_cannot_be(change: dict[str, float], word: str) -> None:
    figures = {"age": 0.0, "beat_rate": 1.0, "stress": 1.0} | change
    with pytest.raises(InputError, match=word):
        PartInService("creek", **figures)


def test_nobody_sold_to() -> None:
    with pytest.raises(InputError, match="pumps sold"):
        study_warranty(known(1e7, 2.0), [], 10.0)


def test_a_life_that_may_be_very_short_does_not_stop_the_count() -> None:
    """A part known to two orders of magnitude only, of which one draw in a hundred fails every day."""
    scale = np.full(100, 3.0 * YEAR)
    scale[0] = YEAR / 365.0
    model = replace(known(3.0 * YEAR, 1.0), scale=scale, shape=np.ones(100), exponent=np.ones(100))
    counts = draw_failures(model, [part()], 15.0, draws=100).counts(15.0)
    assert counts.max() == 100 and np.median(counts) == pytest.approx(5.0, abs=1.0)
