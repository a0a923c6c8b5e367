"""Plans of trials."""

from __future__ import annotations

import math
from typing import Any

import pytest

from clackwork.bench.gum import student_quantile
from clackwork.bench.plan import (
    _power_by_sum,
    _two_sided_power,
    balanced_order,
    detection_power,
    plan_trial,
    runs_for_difference,
    scatter_limit,
    smallest_difference,
)
from clackwork.errors import InputError


def test_plan_reaches_the_power_and_one_run_less_does_not() -> None:
    plan = plan_trial(1.0, 1.5)
    assert plan.power >= 0.8
    assert detection_power(1.5, 1.0, plan.runs_per_build - 1, plan.runs_per_build - 1) < 0.8
    assert plan.order.count("A") == plan.order.count("B") == plan.runs_per_build
    assert plan.runs_per_build_cautious is None
    assert plan.change_overs == sum(a != b for a, b in zip(plan.order, plan.order[1:], strict=False))


def test_scatter_from_few_runs_asks_for_more() -> None:
    plan = plan_trial(1.0, 1.5, scatter_runs=4)
    assert plan.runs_per_build_cautious is not None
    assert plan.runs_per_build_cautious > plan.runs_per_build
    assert any("rests on 4 runs" in sentence for sentence in plan.sentences)
    # 3 s2 / chi2 with P(chi2 > 1.005) = 0.80 at 3 degrees of freedom.
    assert scatter_limit(1.0, 3.0) == pytest.approx(math.sqrt(3.0 / 1.00517), rel=1e-4)


def test_full_blocks_leave_no_room_for_steady_drift() -> None:
    for seed in range(6):
        order = balanced_order(6, seed=seed)
        places = {build: [i for i, name in enumerate(order) if name == build] for build in "AB"}
        assert sum(places["A"]) == sum(places["B"])


def test_order_follows_its_seed() -> None:
    assert balanced_order(5, style="shuffled", seed=3) == balanced_order(5, style="shuffled", seed=3)
    assert len({balanced_order(8, style="shuffled", seed=seed) for seed in range(10)}) > 5
    assert {balanced_order(1, builds=("old", "new"), seed=seed)[0] for seed in range(20)} == {"old", "new"}


def test_instruments_put_a_floor_under_what_can_be_seen() -> None:
    assert smallest_difference(1.0, 500, 500, shared=0.5) > 1.2
    assert smallest_difference(1.0, 5, 5, power=0.05) == 0.0
    assert runs_for_difference(1.0, 1.0, shared=0.5) is None
    alone, floored = runs_for_difference(1.0, 1.0), runs_for_difference(1.0, 1.0, shared=0.2)
    assert alone is not None and floored is not None and floored > alone


@pytest.mark.parametrize("ratio", [0.0, 0.5, 2.0, 6.5, 9.0, 40.0, 500.0])
@pytest.mark.parametrize("freedom", [2.0, 5.3, 60.0, 1998.0, 5e4])
def test_power_is_a_number_everywhere(ratio: float, freedom: float) -> None:
    for level in (0.5, 0.9, 0.999):
        limit = student_quantile(0.5 * (1.0 + level), freedom)
        power = _two_sided_power(ratio, freedom, level)
        assert power == pytest.approx(_power_by_sum(ratio, freedom, limit), abs=2e-5)
        assert power >= 1.0 - level - 1e-9


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: plan_trial(0.0, 1.0), "scatter"),
        (lambda: plan_trial(1.0, 0.0), "difference"),
        (lambda: plan_trial(1.0, 1e-3), "1000 runs"),
        (lambda: plan_trial(1.0, 1.0, power=80.0), "0.90 for 90"),
        (lambda: plan_trial(1.0, 1.0, scatter_runs=1), "no scatter"),
        (lambda: detection_power(1.0, 1.0, 1, 5), "runs_a"),
        (lambda: balanced_order(0), "1 or more"),
        (lambda: balanced_order(2, builds=("A", "A")), "different names"),
    ],
)
def test_refusals(call: Any, words: str) -> None:
    with pytest.raises(InputError, match=words):
        call()
