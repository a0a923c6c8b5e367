"""Relations that hold for what is promised and chosen at any place.

Small steps of the engine from one tuning to the next, and the few tunings a quick answer tries, make its best delivery
rough: by a few parts in a hundred at most, which the first two tests let pass.
"""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

from hypothesis import assume, given, settings
from hypothesis import strategies as st
from invented_twin import demo, twin_of

from clackwork.answers_json import reason_words
from clackwork.pipes import find_pipe
from clackwork.quantities import format_quantity
from clackwork.site.quick import QuickAnswer, QuickAsk, QuickAssumptions, quick_answer
from clackwork.site.stock import usual_stock
from clackwork.twin.twin import Twin

ROUGH = 0.03
"""Relative roughness of the best delivery."""
LITRES_A_MINUTE = 1e-3 / 60.0
FALLS, RATIOS, FLOWS = st.floats(0.8, 6.0), st.floats(3.5, 10.0), st.floats(15.0, 150.0)
few = settings(max_examples=8, deadline=None)
ONE_PUMP = QuickAssumptions(
    delivery_pipe=find_pipe("pe100-sdr11", "25 mm"), drive_length=18.0, stock=replace(usual_stock(), most_pumps=1)
)


@lru_cache
def twin() -> Twin:
    return twin_of(demo().builds["flap"], spread=0.02)


def best(fall: float, litres: float, lift: float, length: float) -> QuickAnswer:
    """One pump at its best tuning, the figures of the place known exactly."""
    ask = QuickAsk(
        fall, litres * LITRES_A_MINUTE, lift, length, fall_spread=0.0, lift_spread=0.0, source_flow_spread=0.0
    )
    return quick_answer((twin(),), ask, ONE_PUMP, draws=8)


@few
@given(FALLS, RATIOS, FLOWS, st.floats(1.05, 1.5))
def test_more_fall_never_delivers_less(fall: float, ratio: float, litres: float, more: float) -> None:
    lift = ratio * fall * more
    low, high = (best(each, litres, lift, 2.0 * lift).promise for each in (fall, more * fall))
    assert high.delivered_flow.middle >= (1.0 - ROUGH) * low.delivered_flow.middle


@few
@given(FALLS, RATIOS, FLOWS, st.floats(1.2, 20.0))
def test_a_longer_line_never_delivers_more(fall: float, ratio: float, litres: float, longer: float) -> None:
    lift = ratio * fall
    near, far = (best(fall, litres, lift, each * lift).promise for each in (1.5, 1.5 * longer))
    assert far.delivered_flow.middle <= (1.0 + ROUGH) * near.delivered_flow.middle


@few
@given(FALLS, st.floats(1.2, 25.0), FLOWS, st.integers(0, 2**31 - 1))
def test_no_promise_beyond_energy(fall: float, ratio: float, litres: float, seed: int) -> None:
    """q h <= Q H, in the middle and at both ends, with every reading as rough as on the phone."""
    lift = ratio * fall
    ask = QuickAsk(fall, litres * LITRES_A_MINUTE, lift, 3.0 * lift)
    promise = quick_answer((twin(),), ask, draws=16, seed=seed).promise
    assert promise.daubuisson_efficiency.high <= 1.0
    assert promise.rankine_efficiency.high <= promise.daubuisson_efficiency.high
    assert promise.delivered_flow.middle <= promise.water_needed.middle * fall / lift * 1.1
    assert 0.0 <= promise.delivered_flow.low <= promise.delivered_flow.middle <= promise.delivered_flow.high


@few
@given(FALLS, RATIOS, FLOWS)
def test_more_water_at_the_source_never_delivers_less(fall: float, ratio: float, litres: float) -> None:
    lift = ratio * fall
    less, more = (best(fall, each, lift, 2.0 * lift) for each in (litres, 1.3 * litres))
    assume(less.promise.answer != "no")
    assert more.promise.delivered_flow.middle >= (1.0 - ROUGH) * less.promise.delivered_flow.middle


@few
@given(FALLS, RATIOS, FLOWS)
def test_units_change_no_number(fall: float, ratio: float, litres: float) -> None:
    """What is said in feet and gallons is what is said in metres and litres: the SI values stay as they are."""
    lift = ratio * fall
    before = best(fall, litres, lift, 2.0 * lift)
    said = [[reason_words(reason, system) for reason in before.reasons] for system in ("metric", "us")]
    for assumed in before.assumed:
        if isinstance(assumed.value, float):
            assert {format_quantity(assumed.value, assumed.kind, system) for system in ("metric", "us")}
    assert len(said[0]) == len(said[1])
    assert best(fall, litres, lift, 2.0 * lift) == before
