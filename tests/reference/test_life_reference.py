"""Life of parts against published worked examples, a second library, and made-up records."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest

from clackwork.life.bounds import life_shown, lowest_scale, parts_needed
from clackwork.life.exposures import Exposure
from clackwork.life.stress import MATERIALS
from clackwork.life.wear import WearReading, fit_wear
from clackwork.life.weibull import fit_weibull

PART = "Life"
NIST = "NIST/SEMATECH e-Handbook 8.4.1.3"
CAGE = "bearing cage fractures, Abernethy 1983 (data read; figures by a reference library)"
RUN = "success run, n = ln(1 - C) / (m^b ln R)"
TRADE = "common practice, no published source"

NIST_LIVES = [
    *(Exposure(life, life) for life in (54, 187, 216, 240, 244, 335, 361, 373, 375, 386)),
    Exposure(500.0, number=10),
]
_CAGE_RUNNING = (
    "50x288 150x148 250x124 350x111 450x106 550x99 650x110 750x114 850x119 950x127 1050x123 1150x93 1250x47 1350x41 "
    "1450x27 1550x11 1650x6 1850x1 2050x2"
)
CAGE_LIVES = [
    *(Exposure(life, life) for life in (230, 334, 423, 990, 1009, 1510)),
    *(Exposure(float(life), number=float(count)) for life, count in (one.split("x") for one in _CAGE_RUNNING.split())),
]


def test_nist_lives(record_case: Callable[..., None]) -> None:
    fit = fit_weibull(NIST_LIVES)
    record_case("ten failures, ten running at 500 h: scale", NIST, 606.528, fit.scale, 1e-5, "h")
    record_case("ten failures, ten running at 500 h: shape", NIST, 1.7208, fit.shape, 5e-5)


def test_bearing_cage(record_case: Callable[..., None]) -> None:
    fit = fit_weibull(CAGE_LIVES)
    record_case("six failures among 1703 bearing cages: scale", CAGE, 11792.2, fit.scale, 1e-5, "h", "COMP")
    record_case("six failures among 1703 bearing cages: shape", CAGE, 2.0353, fit.shape, 5e-5, "", "COMP")
    record_case("six failures among 1703 bearing cages: B10", CAGE, 3903.1, fit.life_at(0.1), 1e-4, "h", "COMP")


def test_no_failures(record_case: Callable[..., None]) -> None:
    record_case("parts for R 0.90 at C 0.90, one life", RUN, 22.0, math.ceil(parts_needed(0.90, 0.90)), 1e-9)
    record_case("parts for R 0.999 at C 0.95, one life", RUN, 2995.0, math.ceil(parts_needed(0.999, 0.95)), 1e-9)
    three = math.ceil(parts_needed(0.999, 0.95, lengths=3.0))
    record_case("parts for R 0.999 at C 0.95, three lives", RUN, 999.0, three, 1e-9)
    scale = lowest_scale([Exposure(500.0, number=6)], 2.0, 0.9)
    record_case(
        "six parts for 500 h, shape 2: scale at 90 %", "(sum t^b / -ln(1 - C))^(1/b)", 807.12, scale, 1e-5, "h", "COMP"
    )


def _columns(lives: list[Exposure]) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    lower = np.array([one.survived for one in lives])
    upper = np.array([one.failed_by for one in lives])
    return lower, upper, np.array([one.failed for one in lives]), np.array([one.number for one in lives])


@pytest.mark.parametrize("lives", [NIST_LIVES, CAGE_LIVES], ids=["nist", "cage"])
def test_a_second_library_finds_the_same(lives: list[Exposure], record_case: Callable[..., None]) -> None:
    from lifelines import WeibullFitter

    lower, _, failed, number = _columns(lives)
    other = WeibullFitter().fit(lower, failed, weights=number)
    fit = fit_weibull(lives)
    source = "lifelines, WeibullFitter"
    name = f"{len(lives)} rows of right-censored lives"
    record_case(f"{name}: scale", source, float(other.lambda_), fit.scale, 1e-4, "", "COMP")
    record_case(f"{name}: shape", source, float(other.rho_), fit.shape, 1e-4, "", "COMP")


def test_a_second_library_finds_the_same_of_failures_found_at_inspections(record_case: Callable[..., None]) -> None:
    from lifelines import WeibullFitter

    rng = np.random.default_rng(17)
    lives = []
    for life in 10.0 * rng.weibull(2.2, 60):
        seen = math.ceil(life / 3.0) * 3.0
        lives.append(Exposure(seen - 3.0, seen) if seen <= 15.0 else Exposure(15.0))
    lower, upper, _, _ = _columns(lives)
    other = WeibullFitter().fit_interval_censoring(lower, upper)
    fit = fit_weibull(lives)
    record_case(
        "inspected lives: scale", "lifelines, interval censoring", float(other.lambda_), fit.scale, 2e-3, "", "COMP"
    )
    record_case(
        "inspected lives: shape", "lifelines, interval censoring", float(other.rho_), fit.shape, 2e-3, "", "COMP"
    )


def test_likelihood_interval_is_where_the_likelihood_says(record_case: Callable[..., None]) -> None:
    """The ends of the shape's interval by brute force over a grid, with the reach of a normal mean."""
    from scipy.stats import t

    fit = fit_weibull(NIST_LIVES)
    shapes = np.linspace(0.8, 3.2, 4001)
    total = np.array([54, 187, 216, 240, 244, 335, 361, 373, 375, 386])
    all_lives = np.append(total, np.full(10, 500))

    def best(shape: float) -> float:
        scale_power = np.sum(all_lives**shape) / 10.0
        return float(10.0 * math.log(shape / scale_power) + (shape - 1.0) * np.sum(np.log(total)) - 10.0)

    profile = np.array([best(shape) for shape in shapes])
    inside = shapes[profile > profile.max() - 0.5 * 10.0 * math.log1p(t.ppf(0.95, 9) ** 2 / 9.0)]
    found = fit.shape_interval(0.90)
    source = "profile of the likelihood on a grid, reach n ln(1 + t^2 / (n - 1))"
    record_case("ten failures: low end of the shape", source, float(inside[0]), found.low, 2e-3, "", "FORM")
    record_case("ten failures: high end of the shape", source, float(inside[-1]), found.high, 2e-3, "", "FORM")


@pytest.mark.slow
@pytest.mark.parametrize(("parts", "failures"), [(5, 5), (12, 5), (20, 10), (30, 20), (50, 50)])
def test_likelihood_intervals_cover(parts: int, failures: int, record_section: Callable[[str, str], None]) -> None:
    """Nine in ten intervals hold the truth; 86 to 94 of a hundred are let pass, and what so few trials scatter by."""
    trials, shape = 300, 2.0
    rng = np.random.default_rng([23, parts, failures])
    truth = (1.0, shape, (-math.log(0.9)) ** (1.0 / shape))
    held = np.zeros(3)
    for _ in range(trials):
        lives = np.sort(rng.weibull(shape, parts))
        records = [Exposure(life, life) for life in lives[:failures]]
        if parts > failures:
            records.append(Exposure(lives[failures - 1], number=parts - failures))
        fit = fit_weibull(records)
        found = (fit.scale_interval(), fit.shape_interval(), fit.life_interval(0.1))
        held += [one.low <= value <= one.high for one, value in zip(found, truth, strict=True)]
    shares = held / trials
    record_section(
        f"Intervals of life, {failures} failures among {parts} parts",
        f"Of {trials} made-up sets of records with shape 2, 90 % likelihood intervals hold the true scale in "
        f"{shares[0]:.0%}, the shape in {shares[1]:.0%}, the life of the first tenth in {shares[2]:.0%}.",
    )
    scatter = 2.0 * math.sqrt(0.9 * 0.1 / trials)
    assert np.all(shares > 0.86 - scatter) and np.all(shares < 0.94 + scatter), shares


BRASS_LIFE = (12.0, 18.0)
"""Months that a brass flap lasts under about 2.1 m of fall."""


@pytest.mark.parametrize("shape", [1.0, 2.0, 3.0])
def test_five_months_of_one_stainless_flap_prove_little(shape: float, record_case: Callable[..., None]) -> None:
    """Common practice, no published source: brass lasts 12-18 months, one stainless flap showed no mark after five."""
    shown = life_shown([Exposure(5.0, number=1)], shape, 0.5, 0.90)
    # by hand: R(5 months) is at least 0.1 with a confidence of 90 %, and half of all parts reach the life shown
    by_hand = 5.0 * (math.log(2.0) / math.log(10.0)) ** (1.0 / shape)
    case = f"one part five months without failure, shape {shape:g}: life that half of all reach, at 90 %"
    record_case(case, "success run by hand, 5 (ln 2 / ln 10)^(1/b)", by_hand, shown, 1e-9, "months", "FORM")
    assert shown < BRASS_LIFE[0], "so it does not show at 90 % that stainless outlives brass"
    # a brass flap of middle life would have got so far with a chance of 74 to 99 in a hundred
    scale = 15.0 / math.log(2.0) ** (1.0 / shape)
    assert math.exp(-((5.0 / scale) ** shape)) > 0.7


def test_no_mark_shows_more_than_no_failure() -> None:
    """Had it worn as steadily as brass it would show 28 to 42 % of its wear: a mark of 5 % would have been seen."""
    limit, seen = 1.0, 0.05
    model = fit_wear([WearReading("flap", 5.0, 0.0, seen)], steady=True)
    worst = float(np.quantile(model.life_to(limit, new_part=False), 0.10))
    assert worst > BRASS_LIFE[1], "that part, if it wears steadily, outlives brass"
    assert 5.0 / BRASS_LIFE[1] * limit > 5.0 * seen
    another = float(np.quantile(model.life_to(limit), 0.10))
    assert another < worst, "other parts of the kind are less sure"


def test_a_year_of_beats(record_case: Callable[..., None]) -> None:
    year = 365.25 * 86400.0
    record_case("beats in a year at one a second", TRADE, 31.0, 1e-6 * year, 0.02, "million", "MEM")
    scale = MATERIALS["brass"].scale
    low, high = math.exp(scale.middle - 1.645 * scale.spread), math.exp(scale.middle + 1.645 * scale.spread)
    assert low < BRASS_LIFE[0] / 12.0 * year and BRASS_LIFE[1] / 12.0 * year < high
