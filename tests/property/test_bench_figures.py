"""What holds for every budget, every reading and every falling supply."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from clackwork.bench.falling import effective_fall
from clackwork.bench.gum import Component, coverage_factor, propagate, welch_satterthwaite
from clackwork.bench.instruments import Instruments
from clackwork.bench.runs import Run, RunKind, reduce_run
from clackwork.rigid import rankine_from_daubuisson

sizes = st.floats(0.01, 100.0)
freedoms = st.floats(1.0, 200.0)
falls = st.floats(0.1, 30.0)
exponents = st.floats(-3.0, 3.0)


@settings(deadline=None)
@given(st.lists(st.tuples(st.floats(-10.0, 10.0), st.floats(-5.0, 5.0), sizes, freedoms), min_size=1, max_size=6))
def test_linear_figures_are_exact(rows: list[tuple[float, float, float, float]]) -> None:
    parts = [Component(str(i), value, u, freedom) for i, (value, _, u, freedom) in enumerate(rows)]
    factors = {str(i): factor for i, (_, factor, _, _) in enumerate(rows)}
    found = propagate(lambda v: math.fsum(factors[name] * v[name] for name in v), parts)
    expected = math.sqrt(math.fsum((factor * u) ** 2 for _, factor, u, _ in rows))
    assert found.standard_uncertainty == pytest.approx(expected, rel=1e-6, abs=1e-9)
    if found.standard_uncertainty > 0.0:
        assert math.fsum(part.share for part in found.budget) == pytest.approx(1.0)


@settings(deadline=None)
@given(st.lists(st.tuples(sizes, freedoms), min_size=1, max_size=8))
def test_effective_freedom_lies_between_the_least_and_the_sum(parts: list[tuple[float, float]]) -> None:
    found = welch_satterthwaite(parts)
    assert min(freedom for _, freedom in parts) * (1 - 1e-9) <= found
    assert found <= math.fsum(freedom for _, freedom in parts) * (1 + 1e-9)


@settings(deadline=None)
@given(st.floats(0.05, 0.99), freedoms)
def test_few_degrees_of_freedom_widen(level: float, freedom: float) -> None:
    assert coverage_factor(level, freedom) > coverage_factor(level, 2.0 * freedom)
    assert coverage_factor(level, freedom) > coverage_factor(level, math.inf)


@settings(deadline=None)
@given(falls, falls, exponents)
def test_effective_fall_lies_between_and_knows_no_direction(start: float, end: float, exponent: float) -> None:
    found = effective_fall(start, end, exponent)
    assert min(start, end) * (1 - 1e-9) <= found <= max(start, end) * (1 + 1e-9)
    assert found == pytest.approx(effective_fall(end, start, exponent), rel=1e-9)
    assert effective_fall(3.0 * start, 3.0 * end, exponent) == pytest.approx(3.0 * found, rel=1e-9)


@settings(deadline=None)
@given(falls, st.floats(0.02, 0.98), exponents.filter(lambda n: abs(n) > 0.05))
def test_effective_fall_gives_the_volume_in_the_time(start: float, share: float, exponent: float) -> None:
    end = share * start
    # Of a vessel of unit plan area and Q = h^n: the time is the integral of dh / h^n.
    time = quad(lambda h: h**-exponent, end, start, epsrel=1e-11)[0]
    assert effective_fall(start, end, exponent) ** exponent * time == pytest.approx(start - end, rel=1e-7)


@settings(deadline=None)
@given(falls, st.floats(0.3, 1.0), st.sampled_from([0.0, 1.0, 1e-6, -1e-6, 1.0 + 1e-9]))
def test_effective_fall_is_smooth_where_its_formula_is_not(start: float, share: float, exponent: float) -> None:
    around = [effective_fall(start, share * start, exponent + step) for step in (-1e-4, 0.0, 1e-4)]
    assert around[1] == pytest.approx(0.5 * (around[0] + around[2]), rel=1e-7)


@settings(deadline=None)
@given(st.floats(0.5, 8.0), st.floats(1.5, 12.0), st.floats(0.002, 0.03), st.floats(0.02, 0.2), st.floats(20.0, 900.0))
def test_delivering_runs_keep_the_water_and_both_efficiencies_agree(
    fall: float, ratio: float, delivered: float, wasted: float, duration: float
) -> None:
    common = {
        "name": "r", "build": "A", "rig": "yard", "kind": RunKind.DELIVERING, "fall_start": fall,
        "duration": duration, "gauge_head": ratio * fall, "delivered_volume": delivered, "beats": 100,
    }  # fmt: skip
    by_waste = reduce_run(Run(**common, waste_volume=wasted), Instruments())
    by_drawn = reduce_run(Run(**common, drawn_volume=wasted + delivered), Instruments())
    for found in (by_waste, by_drawn):
        assert found.drawn_flow and found.waste_flow and found.delivered_flow
        assert found.daubuisson_efficiency and found.rankine_efficiency
        assert found.drawn_flow.value == pytest.approx(found.waste_flow.value + found.delivered_flow.value)
        if found.daubuisson_efficiency.value <= 1.0:
            expected = rankine_from_daubuisson(found.daubuisson_efficiency.value, ratio)
            assert found.rankine_efficiency.value == pytest.approx(expected, rel=1e-6)
    assert by_waste.drawn_flow and by_drawn.drawn_flow
    assert by_waste.drawn_flow.value == pytest.approx(by_drawn.drawn_flow.value)
