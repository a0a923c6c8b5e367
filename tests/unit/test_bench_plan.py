"""Plans of trials."""

from __future__ import annotations

import math
from typing import Any

import pytest

from clackwork.bench.plan import (
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
    assert runs_for_difference(1.0, 1.0, shared=0.5) is None
    alone, floored = runs_for_difference(1.0, 1.0), runs_for_difference(1.0, 1.0, shared=0.2)
    assert alone is not None and floored is not None and floored > alone


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
