"""Runs taken together."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from invented_runs import held_open

from clackwork.bench.instruments import Instruments
from clackwork.bench.pool import find_odd_runs, pool_figure, pool_runs
from clackwork.bench.runs import Run, RunKind, reduce_run

FLOWS = [6.60e-4, 6.70e-4, 6.65e-4, 6.69e-4]


def test_groups_by_build_rig_kind_and_set_point() -> None:
    runs = [
        *held_open("A", FLOWS, falls=[1.50, 1.52, 2.00, 1.51]),
        *held_open("B", FLOWS),
        *held_open("A", FLOWS[:2], rig="brook"),
    ]
    pools = pool_runs(runs)
    assert [(pool.build, pool.rig, len(pool.runs)) for pool in pools] == [
        ("A", "brook", 2),
        ("A", "yard", 3),
        ("A", "yard", 1),
        ("B", "yard", 4),
    ]
    assert pools[1].fall == pytest.approx(1.51)
    assert pools[1].back_pressure_head is None


def test_delivering_runs_group_by_back_pressure() -> None:
    runs = [
        reduce_run(
            Run(
                name=f"r{i}",
                build="A",
                rig="yard",
                kind=RunKind.DELIVERING,
                fall_start=1.5,
                duration=60.0,
                waste_volume=0.018,
                delivered_volume=0.002,
                beats=60,
                gauge_head=head,
            ),
            Instruments(),
        )
        for i, head in enumerate([9.0, 12.0, 9.2, 12.3])
    ]
    pools = pool_runs(runs)
    assert [pool.back_pressure_head for pool in pools] == pytest.approx([9.1, 12.15])
    assert [[run.run.name for run in pool.runs] for pool in pools] == [["r0", "r2"], ["r1", "r3"]]


def test_scatter_averages_out_and_shared_errors_do_not() -> None:
    found = pool_figure(held_open("A", FLOWS), "waste_flow")
    assert found is not None and found.scatter is not None
    assert found.mean.value == pytest.approx(math.fsum(FLOWS) / 4.0)
    shared = 5e-5 / math.sqrt(3.0) / 600.0
    assert found.mean.standard_uncertainty == pytest.approx(math.hypot(found.scatter / 2.0, shared), rel=1e-6)
    assert {part.name: part.kind for part in found.mean.budget} == {"scatter": "A", "waste_volume": "B"}
    many = pool_figure(held_open("A", FLOWS * 50), "waste_flow")
    assert many is not None
    assert many.mean.standard_uncertainty > shared


def test_runs_that_agree_too_well_keep_their_reading_noise() -> None:
    found = pool_figure(held_open("A", [6.6e-4] * 4), "waste_flow")
    assert found is not None
    assert found.scatter == 0.0
    assert found.mean.standard_uncertainty >= found.reading_noise / 2.0 > 0.0
    assert found.odd_runs == ()


def test_one_run_and_no_run() -> None:
    runs = held_open("A", FLOWS[:1])
    found = pool_figure(runs, "waste_flow")
    assert found is not None and found.scatter is None
    assert found.mean == runs[0].waste_flow
    assert "no scatter" in found.odd_note
    assert pool_figure(runs, "beat_rate") is None


def test_odd_run_is_flagged_and_kept() -> None:
    flows = [*FLOWS, 6.66e-4, 7.4e-4]
    found = pool_figure(held_open("A", flows), "waste_flow")
    assert found is not None
    assert [odd.run for odd in found.odd_runs] == ["A6"]
    assert "11.1 % above the mean of the other 5 runs" in found.odd_runs[0].reason
    assert found.mean.value == pytest.approx(math.fsum(flows) / 6.0)


def test_two_odd_runs_do_not_hide_each_other() -> None:
    values = [10.0, 10.1, 9.9, 10.05, 9.95, 10.02, 9.98, 10.03, 9.97, 14.0, 14.2, 10.0]
    odd, _ = find_odd_runs([str(i) for i in range(12)], values)
    assert {run.run for run in odd} == {"9", "10"}


def test_three_runs_cannot_tell() -> None:
    odd, note = find_odd_runs(["a", "b", "c"], [1.0, 1.0, 9.0])
    assert odd == ()
    assert "cannot be told" in note


def test_within_reading_noise_nothing_is_odd() -> None:
    names, values = list("abcde"), [60.0, 60.0, 60.0, 60.0, 61.0]
    assert find_odd_runs(names, values, 0.0)[0]
    assert find_odd_runs(names, values, 0.6)[0] == ()


def test_order_within_a_pool() -> None:
    runs = held_open("A", FLOWS, orders=[4, 2, 3, 1])
    assert [run.run.order for run in pool_runs(runs)[0].runs] == [1, 2, 3, 4]
    renamed = replace(runs[0].run, name="other")
    assert renamed.order == 4
