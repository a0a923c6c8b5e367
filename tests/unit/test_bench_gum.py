"""Budgets worked by hand."""

from __future__ import annotations

import math

import pytest

from clackwork.bench.gum import (
    Component,
    coverage_factor,
    half_width,
    propagate,
    student_probability,
    welch_satterthwaite,
)
from clackwork.errors import InputError


def test_sum_and_quotient_by_hand() -> None:
    parts = [Component("a", 3.0, 0.3), Component("b", 4.0, 0.4)]
    total = propagate(lambda v: v["a"] + v["b"], parts)
    assert total.value == 7.0
    assert total.standard_uncertainty == pytest.approx(0.5)
    assert [part.name for part in total.budget] == ["b", "a"]
    assert [part.share for part in total.budget] == pytest.approx([0.64, 0.36])
    ratio = propagate(lambda v: v["a"] / v["b"], [Component("a", 3.0, 0.003), Component("b", 4.0, 0.004)])
    assert ratio.relative_uncertainty == pytest.approx(1e-3 * math.sqrt(2.0), rel=1e-5)


def test_a_component_that_does_not_matter_is_left_out() -> None:
    found = propagate(lambda v: 2.0 * v["a"], [Component("a", 1.0, 0.1), Component("b", 1.0, 0.1)])
    assert [part.name for part in found.budget] == ["a"]
    assert found.budget[0].sensitivity == pytest.approx(2.0)


def test_exact_component_keeps_its_sensitivity_and_adds_nothing() -> None:
    found = propagate(lambda v: v["a"] * v["b"], [Component("a", 3.0, 0.1), Component("b", 5.0, 0.0)])
    assert found.standard_uncertainty == pytest.approx(0.5)
    assert {part.name: part.sensitivity for part in found.budget} == pytest.approx({"a": 5.0, "b": 3.0})


def test_shared_amounts_keep_their_sign_and_noise_leaves_them_out() -> None:
    parts = [
        Component("v", 2.0, 0.1, shared_as="bucket"),
        Component("t", 4.0, 0.2),
        Component("w", 1.0, 0.1, shared_as="bucket"),
    ]
    found = propagate(lambda v: v["v"] - 3.0 * v["w"] + v["t"], parts)
    assert found.shared == pytest.approx({"bucket": -0.2})
    assert found.reading_noise == pytest.approx(0.2)


def test_interval_by_student() -> None:
    found = propagate(lambda v: v["a"], [Component("a", 10.0, 1.0, 4.0, "A")])
    assert found.interval(0.95) == pytest.approx((10.0 - 2.776445, 10.0 + 2.776445), rel=1e-6)
    assert coverage_factor(0.95, math.inf) == pytest.approx(1.959964, rel=1e-6)
    assert student_probability(1.959964, math.inf) == pytest.approx(0.975, rel=1e-6)
    assert half_width(0.3) == pytest.approx(0.3 / math.sqrt(3.0))


def test_welch_satterthwaite_ends() -> None:
    assert welch_satterthwaite([(1.0, 5.0), (0.0, 2.0)]) == pytest.approx(5.0)
    assert welch_satterthwaite([(1.0, 5.0), (1.0, 5.0)]) == pytest.approx(10.0)
    assert math.isinf(welch_satterthwaite([(1.0, math.inf)]))
    assert welch_satterthwaite([(1e-90, 5.0), (1e-90, 5.0)]) == pytest.approx(10.0)


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: Component("a", math.nan, 0.1), "finite"),
        (lambda: Component("a", 1.0, -0.1), "0 or more"),
        (lambda: Component("a", 1.0, 0.1, 0.0), "above 0"),
        (lambda: propagate(lambda v: 1.0, [Component("a", 1.0, 0.1)] * 2), "only once"),
        (lambda: propagate(lambda v: math.inf, [Component("a", 1.0, 0.1)]), "finite"),
        (lambda: coverage_factor(95.0, 3.0), "0.90"),
    ],
)
def test_what_cannot_be_used_is_refused(make: object, words: str) -> None:
    assert callable(make)
    with pytest.raises(InputError, match=words):
        make()
