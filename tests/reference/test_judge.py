"""Comparing two samples: equivalence, power, odd values, against published numbers and statsmodels."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from clackwork.bench.judge import two_one_sided, welch_difference
from clackwork.bench.plan import detection_power, runs_for_difference, smallest_difference
from clackwork.bench.pool import find_odd_runs, grubbs_limit

PART = "Measuring"
FIRST, SECOND = [4.0, 7.0, 8.0, 6.0, 3.0, 2.0], [6.0, 8.0, 7.0, 10.0, 11.0, 9.0]


def test_two_one_sided_published(record_case: Callable[..., None]) -> None:
    source = "published worked example of two one-sided t tests with pooled scatter, bound 1"
    difference = welch_difference(FIRST, SECOND, equal_scatter=True)
    record_case("two one-sided t", source, 0.965097, two_one_sided(*difference, 1.0), 1e-6)


@pytest.mark.parametrize("equal_scatter", [True, False])
@pytest.mark.parametrize("margin", [1.0, 3.0, 6.0])
def test_two_one_sided_against_statsmodels(
    record_case: Callable[..., None], equal_scatter: bool, margin: float
) -> None:
    from statsmodels.stats.weightstats import ttost_ind

    first, second = FIRST, [*SECOND, 4.5]
    theirs = ttost_ind(second, first, -margin, margin, usevar="pooled" if equal_scatter else "unequal")[0]
    ours = two_one_sided(*welch_difference(first, second, equal_scatter=equal_scatter), margin)
    case = f"two one-sided t, {'pooled' if equal_scatter else 'Welch'}, margin {margin:g}"
    record_case(case, "statsmodels, ttost_ind", theirs, ours, 1e-9, "", "COMP")


def test_runs_for_an_effect_of_a_half(record_case: Callable[..., None]) -> None:
    runs = runs_for_difference(0.5, 1.0, power=0.8, level=0.95)
    assert runs is not None
    source = "statsmodels, TTestIndPower, alpha 0.05"
    record_case("runs per build, effect 0.5, power 0.8", source, 63.77, runs, 1e-4, "", "COMP")


@pytest.mark.parametrize("effect", [0.2, 1.0, 3.0, 8.0])
@pytest.mark.parametrize("counts", [(2, 2), (3, 7), (20, 20)])
def test_power_against_statsmodels(record_case: Callable[..., None], effect: float, counts: tuple[int, int]) -> None:
    from statsmodels.stats.power import TTestIndPower

    theirs = TTestIndPower().power(effect, counts[0], 0.10, ratio=counts[1] / counts[0])
    ours = detection_power(effect, 1.0, *counts, level=0.90)
    case = f"power, effect {effect:g}, {counts[0]} and {counts[1]} runs"
    record_case(case, "statsmodels, TTestIndPower", theirs, ours, 1e-7, "", "COMP")
    back = smallest_difference(1.0, *counts, power=ours, level=0.90) if ours < 1.0 - 1e-9 else effect
    assert back == pytest.approx(effect, rel=1e-5)


def test_odd_value_of_the_nist_example(record_case: Callable[..., None]) -> None:
    values = [199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57]
    odd, _ = find_odd_runs([str(i) for i in range(8)], values)
    source = "NIST e-Handbook 1.3.5.17.1, Grubbs' test of uranium masses (Tietjen & Moore 1972)"
    record_case("Grubbs' statistic", source, 2.4688, odd[0].distance, 1e-4, "", "MEM")
    # The handbook's limit is that of the upper side alone at 5 %, which is both sides at 10 %.
    record_case("Grubbs' limit, 8 values, upper 5 %", source, 2.032, grubbs_limit(8, 0.10), 1e-3, "", "MEM")
