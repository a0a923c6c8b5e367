"""Comparisons of readings with a promise: the same in whatever unit, and in its band on the promise's very middle."""

from __future__ import annotations

import math
from dataclasses import replace

from hypothesis import assume, given
from hypothesis import strategies as st

from clackwork.bench.gum import Estimate
from clackwork.quantities import format_quantity, parse, to_display
from clackwork.site.commissioning import KINDS, compare_with_promise, reduce_readings
from clackwork.site.site import Promise, Range
from clackwork.site.visit import SiteReadings

FLOWS = st.floats(1e-6, 1e-2)
SHARES = st.floats(0.01, 0.5)


def promised(middle: float, below: float, above: float) -> Promise:
    """A promise of one range for every flow."""
    flow = Range(middle * (1.0 - below), middle, middle * (1.0 + above))
    one = Range(0.9, 1.0, 1.1)
    return Promise(
        "A", "flap", "yes", (), {}, flow, flow, flow, flow, one, one, one, one, one, one,
        100.0, 2.0, 0.5, flow, 1.0, 1, 1, (),
    )  # fmt: skip


@given(FLOWS, SHARES, SHARES, st.floats(30.0, 3000.0))
def test_a_reading_on_the_middle_is_in_its_band(middle: float, below: float, above: float, seconds: float) -> None:
    read = SiteReadings(waste_volume=middle * seconds, waste_duration=seconds)
    measured = reduce_readings(read).waste_flow
    assert measured is not None
    (compared,) = compare_with_promise(promised(measured.value, below, above), read)
    assert compared.is_in and compared.widths == 0.0


@given(FLOWS, SHARES, SHARES, st.floats(0.2, 5.0), st.sampled_from(("metric", "us")))
def test_a_comparison_does_not_depend_on_the_unit_typed(
    middle: float, below: float, above: float, share: float, system: str
) -> None:
    volume = 60.0 * middle * share
    assume(1e-6 < volume < 10.0)
    text = format_quantity(volume, "volume", system, figures=15)
    typed = SiteReadings(delivered_volume=parse(text, "volume").value, delivered_duration=60.0)
    exact = SiteReadings(delivered_volume=volume, delivered_duration=60.0)
    promise = promised(middle, below, above)
    (one,), (other,) = compare_with_promise(promise, typed), compare_with_promise(promise, exact)
    assert math.isclose(one.widths, other.widths, rel_tol=1e-6, abs_tol=1e-9)
    shown = [to_display(value, KINDS[one.figure], system) for value in (promise.delivered_flow.low, middle)]
    assert shown[0] < shown[1]


@given(FLOWS, SHARES, SHARES, st.floats(-1.0, 1.0), st.floats(0.0, 0.2))
def test_inside_the_promise_is_in_whatever_the_reading_is_worth(
    middle: float, below: float, above: float, place: float, doubt: float
) -> None:
    from clackwork.site.commissioning import Compared, _widths

    flow = promised(middle, below, above).waste_flow
    edge = flow.high if place > 0.0 else flow.low
    measured = Estimate(middle + 0.999 * abs(place) * (edge - middle), doubt * middle, math.inf)
    compared = Compared("waste_flow", measured, flow, _widths(measured, flow))
    assert compared.is_in
    further = replace(measured, value=middle + 1.001 * (edge - middle) * (1.0 + 10.0 * doubt))
    sharp = replace(further, standard_uncertainty=0.0)
    assert not Compared("waste_flow", sharp, flow, _widths(sharp, flow)).is_in
