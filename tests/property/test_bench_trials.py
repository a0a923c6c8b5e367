"""What holds for every trial, and how often verdicts are right on invented ones."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from clackwork.bench.gum import Component, propagate
from clackwork.bench.instruments import Instruments
from clackwork.bench.judge import Judgement, judge, two_one_sided, welch_difference
from clackwork.bench.plan import balanced_order, detection_power, plan_trial, runs_for_same, smallest_difference
from clackwork.bench.pool import find_odd_runs, pool_figure, pool_runs
from clackwork.bench.runs import Run, RunFigures, RunKind, reduce_run

ORDERS = ([0, 3, 4, 7, 8, 11], [1, 2, 5, 6, 9, 10])
flows = st.lists(st.floats(5e-4, 6e-4), min_size=2, max_size=6)


def invented(build: str, values: Sequence[float], shared: float, noise: float, key: str = "meter") -> list[RunFigures]:
    """Runs that give these waste flows with a shared and a reading uncertainty of our choice."""
    orders = ORDERS[0 if build == "A" else 1]
    found = []
    for i, value in enumerate(values):
        run = Run(name=f"{build}{i}", build=build, rig="yard", kind=RunKind.HELD_OPEN, fall_start=1.5, order=orders[i])
        parts = [Component("offset", 0.0, shared, shared_as=key), Component("reading", value, noise)]
        found.append(RunFigures(run=run, waste_flow=propagate(lambda v: v["offset"] + v["reading"], parts)))
    return found


def trial(a: Sequence[float], b: Sequence[float], *, margin: float, shared: float = 0.0, keys: str = "mm") -> Judgement:
    return judge(
        invented("A", a, shared, 1e-9, keys[0]),
        invented("B", b, shared, 1e-9, keys[1]),
        "waste_flow",
        margin=margin,
        difference_that_matters=margin,
    )


@settings(deadline=None, max_examples=60)
@given(flows, flows, st.floats(1e-6, 1e-4))
def test_swapping_the_builds_turns_the_sign_and_nothing_else(a: list[float], b: list[float], margin: float) -> None:
    one, other = trial(a, b, margin=margin), trial(b, a, margin=margin)
    assert one.verdict == other.verdict
    assert one.difference.value == pytest.approx(-other.difference.value, abs=1e-15)
    assert one.interval is not None and other.interval is not None
    assert one.interval == pytest.approx((-other.interval[1], -other.interval[0]), rel=1e-9, abs=1e-15)


@settings(deadline=None, max_examples=60)
@given(flows, flows, st.floats(1e-6, 1e-4))
def test_verdict_follows_the_interval_and_the_chances(a: list[float], b: list[float], margin: float) -> None:
    found = trial(a, b, margin=margin)
    assert found.interval is not None and found.chance_if_none is not None and found.chance_if_outside is not None
    low, high = found.interval
    if found.verdict == "the same within the margin":
        assert -margin < low and high < margin
        assert found.chance_if_outside < 0.05 * (1 + 1e-6)
    elif found.verdict == "different":
        assert low > 0.0 or high < 0.0
        assert found.chance_if_none < 0.10 * (1 + 1e-6)
    else:
        assert low <= 0.0 <= high
        assert low <= -margin or high >= margin


@settings(deadline=None, max_examples=40)
@given(flows, flows, st.floats(1.001, 20.0))
def test_a_wider_margin_never_unsays_the_same(a: list[float], b: list[float], wider: float) -> None:
    if trial(a, b, margin=2e-5).verdict == "the same within the margin":
        assert trial(a, b, margin=2e-5 * wider).verdict == "the same within the margin"


@settings(deadline=None)
@given(st.floats(0.1, 5.0), st.floats(0.1, 5.0), st.integers(2, 40))
def test_power_grows_with_difference_and_runs(difference: float, scatter: float, runs: int) -> None:
    here = detection_power(difference, scatter, runs, runs)
    assert 0.10 <= here + 1e-9 <= 1.0 + 2e-9
    assert detection_power(1.5 * difference, scatter, runs, runs) >= here - 1e-12
    assert detection_power(difference, scatter, runs + 1, runs + 1) >= here - 1e-12
    assert smallest_difference(scatter, runs + 1, runs + 1) < smallest_difference(scatter, runs, runs)


@settings(deadline=None)
@given(st.integers(1, 60), st.integers(0, 1000), st.sampled_from(["balanced", "shuffled"]))
def test_every_block_of_four_is_balanced(runs: int, seed: int, style: str) -> None:
    assert style in ("balanced", "shuffled")
    order = balanced_order(runs, seed=seed, style="balanced" if style == "balanced" else "shuffled")
    assert len(order) == 2 * runs
    for start in range(0, len(order), 4):
        block = order[start : start + 4]
        assert block.count("A") == block.count("B")


@settings(deadline=None)
@given(st.floats(0.05, 2.0), st.floats(0.5, 3.0), st.integers(2, 20))
def test_plans_keep_their_word(scatter: float, difference: float, scatter_runs: int) -> None:
    plan = plan_trial(scatter, difference, scatter_runs=scatter_runs)
    assert plan.power >= 0.8 - 1e-9
    assert plan.runs_per_build_cautious is None or plan.runs_per_build_cautious >= plan.runs_per_build


@settings(deadline=None, max_examples=50)
@given(st.lists(st.tuples(st.sampled_from("AB"), st.floats(0.5, 3.0), st.floats(4.0, 9.0)), min_size=1, max_size=12))
def test_every_run_is_in_one_pool(rows: list[tuple[str, float, float]]) -> None:
    runs = [
        reduce_run(
            Run(
                name=str(i), build=build, rig="yard", kind=RunKind.DELIVERING, fall_start=fall, duration=60.0,
                waste_volume=0.02, delivered_volume=0.002, gauge_head=head, order=i,
            ),
            Instruments(),
        )
        for i, (build, fall, head) in enumerate(rows)
    ]  # fmt: skip
    pools = pool_runs(runs)
    names = sorted(run.run.name for pool in pools for run in pool.runs)
    assert names == sorted(run.run.name for run in runs)
    assert pools == pool_runs(runs[::-1])
    for pool in pools:
        heads = [run.back_pressure_head.value for run in pool.runs if run.back_pressure_head]
        assert max(heads) <= min(heads) * 1.05 * (1 + 1e-12)
        pooled = pool_figure(pool.runs, "delivered_flow")
        assert pooled is not None and len(pooled.values) == len(pool.runs)


@settings(deadline=None)
@given(st.lists(st.floats(1.0, 2.0), min_size=1, max_size=30))
def test_odd_runs_are_few_and_carry_their_reason(values: list[float]) -> None:
    odd, note = find_odd_runs([str(i) for i in range(len(values))], values)
    assert len(odd) <= max(1, len(values) // 4)
    assert note
    assert all(run.reason and math.isfinite(run.distance) for run in odd)


def simulated(
    count: int, difference: float, margin: float, *, shared: float, keys: str, seed: int, runs: tuple[int, int] = (4, 6)
) -> list[Judgement]:
    """Invented trials with a scatter of 1e-5 for A and 2e-5 for B, and meters that are off by ``shared``."""
    random = np.random.default_rng(seed)
    found = []
    for _ in range(count):
        off_a = shared * random.normal()
        off_b = off_a if keys[0] == keys[1] else shared * random.normal()
        a = 5e-4 + off_a + 1e-5 * random.normal(size=runs[0])
        b = 5e-4 + difference + off_b + 2e-5 * random.normal(size=runs[1])
        found.append(trial(a.tolist(), b.tolist(), margin=margin, shared=shared, keys=keys))
    return found


@pytest.mark.parametrize(("shared", "keys"), [(0.0, "mm"), (3e-5, "mm"), (1e-5, "mn")])
def test_intervals_hold_the_truth_as_often_as_they_say(shared: float, keys: str) -> None:
    trials = simulated(600, 2e-5, 1e-5, shared=shared, keys=keys, seed=7)
    held = sum(t.interval is not None and t.interval[0] <= 2e-5 <= t.interval[1] for t in trials) / len(trials)
    assert held == pytest.approx(0.90, abs=4.0 * math.sqrt(0.09 / len(trials)))


def test_verdicts_are_seldom_wrong() -> None:
    none = simulated(400, 0.0, 5e-6, shared=0.0, keys="mm", seed=11)
    assert sum(t.verdict == "different" for t in none) / len(none) < 0.10 + 4.0 * math.sqrt(0.09 / len(none))
    at_margin = simulated(400, 4e-5, 4e-5, shared=0.0, keys="mm", seed=13)
    same = sum(t.verdict == "the same within the margin" for t in at_margin) / len(at_margin)
    assert same < 0.05 + 4.0 * math.sqrt(0.0475 / len(at_margin))


def test_runs_for_same_show_it_as_often_as_they_say() -> None:
    runs = runs_for_same(2e-5, 1e-5)
    assert runs is not None
    count = math.ceil(runs)
    random = np.random.default_rng(17)
    values = 5e-4 + 1e-5 * random.normal(size=(500, 2, count))
    shown = [two_one_sided(*welch_difference(a.tolist(), b.tolist()), 2e-5) < 0.05 for a, b in values]
    assert 0.80 - 4.0 * math.sqrt(0.16 / 500) < sum(shown) / 500 < 0.93
