"""Readings to figures, worked by hand, and readings that make no sense."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest

from clackwork.bench.falling import effective_fall
from clackwork.bench.instruments import Bucket, Gauge, Instruments, LevelRule, Stopwatch
from clackwork.bench.runs import FIGURES, Run, RunFigures, RunKind, reduce_run
from clackwork.errors import InputError
from clackwork.water import STANDARD_GRAVITY, water_at

BENCH = Instruments(gauge=Gauge(full_scale=4e5, height_above_datum=0.3))
OPEN: dict[str, Any] = {"kind": RunKind.HELD_OPEN, "duration": 30.0, "drawn_volume": 0.02}
BEATING: dict[str, Any] = {"kind": RunKind.SHUT_BEATING, "duration": 60.0, "waste_volume": 0.018, "beats": 60}
DEAD: dict[str, Any] = {"kind": RunKind.DEAD_HEAD, "pressure_gauge": 2e5}
GIVING: dict[str, Any] = {
    "kind": RunKind.DELIVERING,
    "duration": 60.0,
    "waste_volume": 0.018,
    "delivered_volume": 0.002,
    "beats": 66,
    "pressure_gauge": 9e4,
    "water_temperature": 283.15,
}


def run(base: dict[str, Any], **changed: Any) -> Run:
    return Run(**{"name": "r1", "build": "A", "rig": "yard", "fall_start": 1.5, **base, **changed})


def value(figures: RunFigures, name: str) -> float:
    found = figures.figure(name)
    assert found is not None
    return found.value


def given(figures: RunFigures) -> set[str]:
    return {name for name in FIGURES if figures.figure(name) is not None}


def test_held_open() -> None:
    found = reduce_run(run(OPEN), BENCH)
    assert given(found) == {"waste_flow", "drawn_flow", "effective_fall"}
    assert value(found, "waste_flow") == pytest.approx(0.02 / 30.0)
    assert found.waste_flow is not None
    expected = math.hypot(5e-5 / math.sqrt(3.0) / 0.02, 0.1 / 30.0)
    assert found.waste_flow.relative_uncertainty == pytest.approx(expected, rel=1e-4)
    assert found.waste_flow.relative_uncertainty == pytest.approx(0.00363, abs=1e-5)
    assert {part.source for part in found.waste_flow.budget} == {"bucket's mark", "start and stop by hand"}


def test_beating_with_the_delivery_shut() -> None:
    found = reduce_run(run(BEATING), BENCH)
    assert value(found, "beat_rate") == pytest.approx(1.0)
    assert value(found, "water_per_beat") == pytest.approx(0.018 / 60)
    assert found.beat_rate is not None
    assert found.beat_rate.standard_uncertainty == pytest.approx(
        math.hypot(1.0 / math.sqrt(3.0) / 60.0, 0.1 / 60.0), rel=1e-3
    )


def test_dead_head_counts_from_the_datum() -> None:
    found = reduce_run(run(DEAD, water_temperature=293.15), BENCH)
    head = 2e5 / (water_at(293.15).density * STANDARD_GRAVITY) + 0.3
    assert value(found, "shut_off_head") == pytest.approx(head)
    assert value(found, "back_pressure_head") == pytest.approx(head)
    as_head = reduce_run(run(DEAD, pressure_gauge=None, gauge_head=head, water_temperature=293.15), BENCH)
    assert value(as_head, "shut_off_head") == pytest.approx(head)
    assert value(reduce_run(run(DEAD), BENCH, density=1000.0), "shut_off_head") == pytest.approx(
        2e5 / (1000.0 * STANDARD_GRAVITY) + 0.3
    )


def test_delivering_and_its_efficiencies() -> None:
    found = reduce_run(run(GIVING), BENCH)
    assert given(found) == set(FIGURES) - {"shut_off_head"}
    head, fall = value(found, "back_pressure_head"), 1.5
    assert value(found, "drawn_flow") == pytest.approx(0.02 / 60.0)
    assert value(found, "daubuisson_efficiency") == pytest.approx(0.002 * head / (0.02 * fall))
    assert value(found, "rankine_efficiency") == pytest.approx(0.002 * (head - fall) / (0.018 * fall))
    by_balance = reduce_run(run(GIVING, waste_volume=None, drawn_volume=0.02), BENCH)
    assert value(by_balance, "waste_flow") == pytest.approx(0.018 / 60.0)


@pytest.mark.parametrize("waste", [{"waste_volume": 0.0}, {"waste_volume": None, "drawn_volume": 0.002}])
def test_without_waste_there_is_no_efficiency(waste: dict[str, Any]) -> None:
    found = reduce_run(run(GIVING, **waste), BENCH)
    assert value(found, "waste_flow") == 0.0 and not given(found) & {"daubuisson_efficiency", "rankine_efficiency"}
    nothing = reduce_run(run(GIVING, delivered_volume=0.0), BENCH)
    assert value(nothing, "daubuisson_efficiency") == value(nothing, "rankine_efficiency") == 0.0


def test_timing_cancels_in_the_efficiencies() -> None:
    found = reduce_run(run(GIVING), BENCH)
    assert found.daubuisson_efficiency is not None
    assert "duration" not in {part.name for part in found.daubuisson_efficiency.budget}


def test_falls_of_a_draining_vessel() -> None:
    assert effective_fall(1.0, 0.25) == pytest.approx(0.75**2)
    assert effective_fall(1.0, 0.25, 1.0) == pytest.approx(0.75 / math.log(4.0))
    assert effective_fall(2.0, 2.0) == 2.0
    # Exponent 0 is the identric mean, (1/e) (h1^h1 / h2^h2)^(1/(h1 - h2)); exponent 2 the geometric one.
    assert effective_fall(2.0, 1.0, 0.0) == pytest.approx(4.0 / math.e)
    assert effective_fall(2.0, 1.0, 2.0) == pytest.approx(math.sqrt(2.0))
    assert effective_fall(1.001, 1.0, 0.0) == pytest.approx(1.001**1001 / math.e, rel=1e-9)
    assert effective_fall(1e20, 1.0) == pytest.approx(0.25e20)
    read = reduce_run(run(OPEN, fall_start=1.0, fall_end=0.25), BENCH)
    assert value(read, "effective_fall") == pytest.approx(0.5625)
    vessel = replace(BENCH, bucket=Bucket(plan_area=0.04))
    worked_out = reduce_run(run(OPEN, fall_start=1.0, drawn_volume=0.03), vessel)
    assert value(worked_out, "effective_fall") == pytest.approx(0.5625)
    assert value(reduce_run(run(OPEN, fall_start=1.0), BENCH), "effective_fall") == 1.0


@pytest.mark.parametrize(("fall", "exponent"), [(0.0, 0.5), (math.nan, 0.5), (1.0, 4.0), (1.0, math.nan)])
def test_effective_fall_refuses(fall: float, exponent: float) -> None:
    with pytest.raises(InputError):
        effective_fall(1.0, fall, exponent)


@pytest.mark.parametrize(
    ("base", "changed", "words"),
    [
        (OPEN, {"duration": 0.0}, "duration"),
        (OPEN, {"duration": -3.0}, "duration"),
        (OPEN, {"duration": None}, "duration"),
        (OPEN, {"drawn_volume": None}, "volume"),
        (OPEN, {"drawn_volume": math.nan}, "drawn_volume"),
        (OPEN, {"beats": 3}, "shut_beating"),
        (OPEN, {"delivered_volume": 0.001}, "delivering"),
        (OPEN, {"kind": "singing"}, "held_open"),
        (BEATING, {"beats": -1}, "beats"),
        (BEATING, {"beats": None, "waste_volume": None}, "beats or volume"),
        (DEAD, {"pressure_gauge": None}, "gauge"),
        (DEAD, {"pressure_gauge": 5e5}, "full scale"),
        (DEAD, {"gauge_head": 20.0}, "only the one"),
        (DEAD, {"pressure_gauge": None, "gauge_head": 0.1}, "below the gauge"),
        (DEAD, {"water_temperature": 12.0}, "degC"),
        (GIVING, {"delivered_volume": None}, "delivered_volume"),
        (GIVING, {"pressure_gauge": None}, "gauge"),
        (GIVING, {"waste_volume": None, "drawn_volume": 0.001}, "drawn"),
        (GIVING, {"fall_start": 0.0}, "fall_start"),
    ],
)
def test_readings_without_sense_are_refused(base: dict[str, Any], changed: dict[str, Any], words: str) -> None:
    with pytest.raises(InputError, match=words):
        reduce_run(run(base, **changed), BENCH)


def test_a_vessel_that_ran_dry_is_refused() -> None:
    vessel = replace(BENCH, bucket=Bucket(plan_area=0.01))
    reduce_run(run(OPEN, drawn_volume=0.0149), vessel)
    with pytest.raises(InputError, match=r"empty after 0\.015"):
        reduce_run(run(OPEN, drawn_volume=0.016), vessel)
    small = replace(BENCH, bucket=Bucket(plan_area=0.05, capacity=0.018))
    with pytest.raises(InputError, match=r"empty after 0\.018"):
        reduce_run(run(OPEN), small)
    with pytest.raises(InputError, match="swapped"):
        reduce_run(run(OPEN, drawn_volume=0.01, fall_end=1.8), vessel)


def test_notes_say_what_does_not_fit() -> None:
    vessel = replace(BENCH, bucket=Bucket(plan_area=0.05))
    assert reduce_run(run(OPEN, fall_end=1.1), vessel).notes == ()
    assert "levels give" in reduce_run(run(OPEN, fall_end=1.3), vessel).notes[0]
    lost = reduce_run(run(GIVING, drawn_volume=0.022), BENCH)
    assert "+9.1 % of the water drawn" in lost.notes[0]
    assert "low on its dial" in reduce_run(run(GIVING, pressure_gauge=3e4), BENCH).notes[0]
    low = reduce_run(run(GIVING, pressure_gauge=1e4), BENCH)
    assert any("not above the fall" in note for note in low.notes)


def test_delivered_water_has_its_own_bucket() -> None:
    fine = replace(BENCH, delivery_bucket=Bucket(mark_uncertainty=5e-6))
    coarse, found = reduce_run(run(GIVING), BENCH), reduce_run(run(GIVING), fine)
    assert coarse.delivered_flow and found.delivered_flow and coarse.waste_flow and found.waste_flow
    assert found.delivered_flow.standard_uncertainty < 0.3 * coarse.delivered_flow.standard_uncertainty
    assert found.waste_flow == coarse.waste_flow


def test_several_fillings_carry_the_mark_several_times() -> None:
    once, thrice = Bucket(capacity=0.02).standard_uncertainty(0.02), Bucket(capacity=0.02).standard_uncertainty(0.06)
    assert thrice == pytest.approx(3.0 * once)


def test_instruments_of_one_name_are_one_instrument() -> None:
    named = replace(BENCH, bucket=Bucket(name="blue bucket"))
    at = [reduce_run(run(OPEN, rig=rig), named).waste_flow for rig in ("yard", "brook")]
    own = [reduce_run(run(OPEN, rig=rig), BENCH).waste_flow for rig in ("yard", "brook")]
    assert at[0] is not None and at[1] is not None and own[0] is not None and own[1] is not None
    assert set(at[0].shared) == set(at[1].shared)
    assert not set(own[0].shared) & set(own[1].shared)


@pytest.mark.parametrize(
    "make",
    [
        lambda: Bucket(mark_uncertainty=-1.0),
        lambda: Bucket(plan_area=0.0),
        lambda: Stopwatch(start_stop_sd=math.inf),
        lambda: Gauge(full_scale=0.0),
        lambda: Gauge(accuracy_class=1.6),
        lambda: Gauge(height_above_datum=math.nan),
        lambda: LevelRule(half_width=-0.1),
    ],
)
def test_instruments_refuse(make: Any) -> None:
    with pytest.raises(InputError):
        make()


def test_unknown_figure_and_density() -> None:
    found = reduce_run(run(OPEN), BENCH)
    with pytest.raises(InputError, match="one of waste_flow"):
        found.figure("thrust")
    with pytest.raises(InputError, match="900 to 1100"):
        reduce_run(run(OPEN), BENCH, density=1.0)
