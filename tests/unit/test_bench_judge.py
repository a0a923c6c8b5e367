"""Verdicts, and what may mislead."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import pytest
from invented_runs import held_open

from clackwork.bench.instruments import Bucket, Instruments, Stopwatch
from clackwork.bench.judge import Judgement, judge, welch_difference
from clackwork.bench.runs import Run, RunKind, reduce_run
from clackwork.errors import InputError

STEPS = (-1.0, 0.4, 1.0, -0.4)
SPREAD = 4e-6  # [m3/s]
MIXED = ([0, 3, 4, 7], [1, 2, 5, 6])


def flows(mean: float, spread: float = SPREAD, steps: Sequence[float] = STEPS) -> list[float]:
    return [mean + spread * step for step in steps]


def trial(
    flows_a: Sequence[float],
    flows_b: Sequence[float],
    *,
    margin: float = 1e-5,
    matters: float = 2e-5,
    orders: tuple[Sequence[int], Sequence[int]] = MIXED,
    changes: Sequence[str] = ("valve weight",),
    **more: Any,
) -> Judgement:
    a = held_open("A", flows_a, orders=orders[0][: len(flows_a)], **more.get("a", {}))
    b = held_open("B", flows_b, orders=orders[1][: len(flows_b)], **more.get("b", {}))
    return judge(a, b, "waste_flow", margin=margin, difference_that_matters=matters, changes=changes)


def ids(found: Judgement) -> set[str]:
    return {warning.id for warning in found.warnings}


def test_different() -> None:
    found = trial(flows(6.6e-4), flows(6.9e-4))
    assert found.verdict == "different"
    assert found.difference.value == pytest.approx(3e-5)
    assert found.interval is not None and found.interval[0] > found.margin
    assert ids(found) == set()
    assert found.chance_if_none is not None and found.chance_if_none < 0.01


def test_the_same_within_the_margin() -> None:
    found = trial(flows(6.6e-4, 1e-6), flows(6.601e-4, 1e-6))
    assert found.verdict == "the same within the margin"
    assert found.chance_if_outside is not None and found.chance_if_outside < 0.05
    assert len(found.reasons) == 2


def test_real_but_small_is_the_same_and_said_so() -> None:
    found = trial(flows(6.6e-4, 1e-6), flows(6.64e-4, 1e-6))
    assert found.verdict == "the same within the margin"
    assert any("real difference is seen" in reason for reason in found.reasons)


def test_different_but_perhaps_within_the_margin_is_said() -> None:
    found = trial(flows(6.6e-4), flows(6.7e-4))
    assert found.verdict == "different"
    assert any("not shown to be larger than the margin" in reason for reason in found.reasons)


def test_not_yet_known_and_runs_still_needed() -> None:
    found = trial(flows(6.6e-4, 2e-5), flows(6.62e-4, 2e-5))
    assert found.verdict == "not yet known"
    assert found.runs_needed is not None and found.runs_still_needed is not None
    assert found.runs_still_needed == (found.runs_needed - 4, found.runs_needed - 4)
    assert found.smallest_difference is not None and found.smallest_difference > found.difference_that_matters


def test_welch_by_hand_when_instruments_are_shared() -> None:
    found = trial(flows(6.6e-4), flows(6.9e-4))
    variance = SPREAD**2 * (2.0 * 1.16) / 3.0
    assert found.difference.standard_uncertainty == pytest.approx(math.sqrt(variance / 2.0), rel=1e-6)
    assert found.difference.degrees_of_freedom == pytest.approx(6.0, rel=1e-6)
    assert all(part.share < 1e-9 for part in found.difference.budget if part.shared_as)


def test_other_instruments_do_not_cancel() -> None:
    poor = Instruments(bucket=Bucket(mark_uncertainty=5e-3))
    same = trial(flows(6.6e-4), flows(6.9e-4), a={"instruments": poor}, b={"instruments": poor})
    other = trial(flows(6.6e-4), flows(6.9e-4), a={"instruments": poor}, b={"instruments": poor, "rig": "brook"})
    mark = 5e-3 / math.sqrt(3.0) / 600.0
    assert other.difference.standard_uncertainty == pytest.approx(
        math.hypot(same.difference.standard_uncertainty, math.sqrt(2.0) * mark), rel=1e-6
    )
    assert "rigs_differ" in ids(other)


@pytest.mark.parametrize("count_b", [1, 4])
def test_a_single_run_proves_nothing(count_b: int) -> None:
    found = trial([6.6e-4], flows(7.6e-4)[:count_b])
    assert found.verdict == "not yet known"
    assert found.interval is None and found.chance_if_none is None and found.smallest_difference is None
    low, high = found.instrument_interval
    assert low < found.difference.value < high
    assert "single_run" in ids(found)
    assert (found.runs_needed is None) == (count_b == 1)


@pytest.mark.parametrize(
    ("orders", "expected"),
    [
        (([0, 1, 2, 3], [4, 5, 6, 7]), "order_confounded"),
        (([4, 5, 6, 7], [0, 1, 2, 3]), "order_confounded"),
        (([0, 1, 2, 4], [3, 5, 6, 7]), "order_leans"),
        (([0, 0, 0, 0], [0, 0, 0, 0]), "order_unknown"),
    ],
)
def test_order(orders: tuple[list[int], list[int]], expected: str) -> None:
    assert expected in ids(trial(flows(6.6e-4), flows(6.9e-4), orders=orders))


def test_several_changes() -> None:
    found = trial(flows(6.6e-4), flows(6.9e-4), changes=("stroke", "weight"))
    assert ids(found) == {"several_changes"}
    assert "stroke, weight" in found.warnings[0].sentence


def test_fall_that_moved_with_the_build() -> None:
    more = {"a": {"falls": [1.50, 1.501, 1.499, 1.5]}, "b": {"falls": [1.54, 1.541, 1.539, 1.54]}}
    found = trial(flows(6.6e-4), flows(6.9e-4), **more)
    assert ids(found) == {"fall_drifted"}
    assert "2.7 % higher for B" in found.warnings[0].sentence


def test_water_that_warmed_with_the_build() -> None:
    more = {"a": {"temperatures": [283.0, 283.5, 283.0, 283.2]}, "b": {"temperatures": [290.0, 290.5, 290.0, 291.0]}}
    assert ids(trial(flows(6.6e-4), flows(6.9e-4), **more)) == {"temperature_drifted"}


def test_figure_that_drifts_with_the_order() -> None:
    drift = 2e-6
    a = [6.6e-4 + drift * place for place in MIXED[0]]
    b = [6.9e-4 + drift * place + 1e-7 for place in MIXED[1]]
    b[0] += 2e-7
    found = trial(a, b)
    assert "figure_drifted" in ids(found)


def test_odd_run_that_turns_the_verdict() -> None:
    steps = [-1.0, 1.0, 0.5, -0.5, 0.2, 60.0]
    orders = ([0, 3, 4, 7, 8, 11], [1, 2, 5, 6, 9, 10])
    found = trial(flows(6.6e-4, 1e-6, steps[:5]), flows(6.7e-4, 1e-6, steps), orders=orders, margin=2e-6, matters=1e-5)
    assert found.verdict == "not yet known"
    assert {"odd_run", "verdict_hangs_on_odd_run"} <= ids(found)
    assert "runs_contradict" in ids(found)


def test_runs_at_several_set_points_are_said() -> None:
    found = trial(flows(6.6e-4), flows(6.9e-4), a={"falls": [1.5, 1.5, 2.0, 2.0]})
    assert "set_points_mixed" in ids(found)


def test_runs_that_are_all_alike_down_to_the_reading() -> None:
    exact = Instruments(bucket=Bucket(mark_uncertainty=0.0), stopwatch=Stopwatch(start_stop_sd=0.0))
    more = {"a": {"instruments": exact}, "b": {"instruments": exact}}
    found = trial([6.6e-4] * 4, [6.6e-4] * 4, **more)
    assert found.runs_needed is None and found.chance_if_none is None
    assert any("No scatter is seen" in reason for reason in found.reasons)


def test_instruments_too_poor_for_what_matters() -> None:
    poor = Instruments(bucket=Bucket(mark_uncertainty=0.05))
    found = trial(flows(6.6e-4), flows(6.61e-4), a={"instruments": poor}, b={"instruments": poor, "rig": "brook"})
    assert found.verdict == "not yet known"
    assert found.runs_needed is None and found.runs_still_needed is None and found.runs_for_same is None
    assert any("No number of runs" in reason for reason in found.reasons)
    assert any("more runs than these instruments" in reason for reason in found.reasons)


def test_odd_run_that_turns_nothing() -> None:
    steps = [-1.0, 1.0, 0.5, -0.5, 0.2, 9.0]
    orders = ([0, 3, 4, 7, 8, 11], [1, 2, 5, 6, 9, 10])
    found = trial(flows(6.6e-4, 1e-6, steps[:5]), flows(7.6e-4, 1e-6, steps), orders=orders)
    assert found.verdict == "different"
    assert ids(found) == {"odd_run"}


def test_an_odd_run_turns_nothing_where_the_other_build_has_one_run() -> None:
    steps = [-1.0, 1.0, 0.5, -0.5, 0.2, 60.0]
    found = trial([7.6e-4], flows(6.6e-4, 1e-6, steps), orders=([0], [1, 2, 3, 4, 5, 6]))
    assert "odd_run" in ids(found)
    assert "verdict_hangs_on_odd_run" not in ids(found)


def test_water_of_one_temperature_is_no_doubt() -> None:
    more = {"a": {"temperatures": [283.0] * 4}, "b": {"temperatures": [284.0] * 4}}
    assert ids(trial(flows(6.6e-4), flows(6.9e-4), **more)) == set()


def test_one_value_has_no_scatter() -> None:
    with pytest.raises(InputError, match="no scatter"):
        welch_difference([1.0, 2.0], [1.0])


def test_few_runs_are_said() -> None:
    assert "few_runs" in ids(trial(flows(6.6e-4)[:3], flows(6.9e-4)[:3]))


def test_back_pressure_that_moved() -> None:
    def giving(build: str, head: float, first: int) -> list[Any]:
        return [
            reduce_run(
                Run(
                    name=f"{build}{i}",
                    build=build,
                    rig="yard",
                    kind=RunKind.DELIVERING,
                    fall_start=1.5,
                    duration=60.0,
                    waste_volume=0.018,
                    delivered_volume=0.002 + 2e-5 * i,
                    beats=60,
                    gauge_head=head,
                    order=first + 2 * i,
                ),
                Instruments(),
            )
            for i in range(4)
        ]

    found = judge(
        giving("A", 12.0, 0), giving("B", 12.8, 1), "delivered_flow", margin=1e-6, difference_that_matters=1e-6
    )
    assert "back_pressure_drifted" in ids(found)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"margin": 0.0}, "margin"),
        ({"difference_that_matters": -1.0}, "difference_that_matters"),
        ({"level": 90.0}, "level"),
        ({"figure": "beat_rate"}, "none of them gives beat_rate"),
        ({"figure": "thrust"}, "one of"),
        ({"runs_b": held_open("A", flows(6.6e-4))}, "another build"),
        ({"runs_b": [*held_open("B", flows(6.6e-4)), *held_open("C", flows(6.6e-4))]}, "one build"),
        ({"runs_b": []}, "runs_b"),
    ],
)
def test_refusals(change: dict[str, Any], words: str) -> None:
    asked: dict[str, Any] = {
        "runs_a": held_open("A", flows(6.6e-4)),
        "runs_b": held_open("B", flows(6.9e-4)),
        "figure": "waste_flow",
        "margin": 1e-5,
        "difference_that_matters": 1e-5,
        **change,
    }
    with pytest.raises(InputError, match=words):
        judge(**asked)


def test_kinds_are_not_mixed() -> None:
    run = Run(
        name="b", build="B", rig="yard", kind=RunKind.SHUT_BEATING, fall_start=1.5, duration=60.0, waste_volume=0.02
    )
    with pytest.raises(InputError, match="one kind"):
        judge(
            held_open("A", flows(6.6e-4)),
            [reduce_run(run, Instruments())],
            "waste_flow",
            margin=1e-5,
            difference_that_matters=1e-5,
        )
