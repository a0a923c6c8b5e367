"""Heights by level, hose, gauge and map, closing errors, and lift that cannot be taken for the other lift."""

from __future__ import annotations

import math

import pytest

from clackwork.bench.instruments import Gauge
from clackwork.errors import InputError
from clackwork.site.heights import (
    Setup,
    closing_error,
    height_by_gauge,
    height_by_hose,
    height_by_level,
    height_by_map,
    lift_above_pump,
    typed_height,
)

UP = (Setup(1.842, 0.315), Setup(1.786, 0.309))
STAFF = 0.003 / math.sqrt(3.0)


def test_rises_add_up() -> None:
    found = height_by_level(UP)
    assert found.value == pytest.approx(3.004)
    assert found.standard_uncertainty == pytest.approx(2.0 * STAFF)  # four readings


def test_levelled_back_within_the_staff_narrows_it() -> None:
    back = (Setup(0.309, 1.786), Setup(0.315, 1.842))
    found = height_by_level(UP, returned=back)
    assert closing_error(UP, back) == pytest.approx(0.0, abs=1e-12)
    assert found.value == pytest.approx(3.004) and found.standard_uncertainty == pytest.approx(math.sqrt(2.0) * STAFF)


def test_a_closing_error_beyond_the_staff_is_carried() -> None:
    back = (Setup(0.309, 1.786), Setup(0.315, 1.802))
    found = height_by_level(UP, returned=back)
    assert closing_error(UP, back) == pytest.approx(0.040) and found.value == pytest.approx(2.984)
    assert found.budget[0].name == "closing error" and found.budget[0].degrees_of_freedom == 1.0
    assert found.standard_uncertainty == pytest.approx(0.020, rel=0.02)  # half of what it fails to close by


def test_sights_of_unlike_length_cost() -> None:
    found = height_by_level([Setup(1.9, 0.1, 20.0)])
    assert found.budget[0].name == "slope of the sight"
    assert found.budget[0].amount == pytest.approx(0.001 * 20.0 / math.sqrt(3.0))


def test_steps_of_a_hose() -> None:
    found = height_by_hose([1.2, 0.9, -0.1, 1.3], step_half_width=0.01)
    assert found.value == pytest.approx(3.3) and found.standard_uncertainty == pytest.approx(0.02 / math.sqrt(3.0))


def test_the_class_of_a_gauge_does_not_average_out() -> None:
    gauge = Gauge(full_scale=6e5, accuracy_class=0.016, height_above_datum=0.4)
    one, many = (height_by_gauge([2e5] * count, gauge) for count in (1, 25))
    assert one.value == pytest.approx(2e5 / (999.70 * 9.80665) + 0.4, rel=1e-5)
    shares = [{part.name: part.amount for part in found.budget} for found in (one, many)]
    assert shares[0]["gauge"] == pytest.approx(shares[1]["gauge"])
    assert shares[0]["dial"] == pytest.approx(5.0 * shares[1]["dial"])


def test_warm_water_stands_higher() -> None:
    gauge = Gauge()
    cold, warm = (height_by_gauge([3e5], gauge, temperature=t).value for t in (277.15, 308.15))
    assert warm > cold


def test_contours_are_poor() -> None:
    found = height_by_map(312.0, 359.0, 5.0)
    assert found.value == 47.0
    # nine heights in ten within half an interval, two of them
    assert found.standard_uncertainty == pytest.approx(math.sqrt(2.0) * 2.5 / 1.645)


def test_lift_from_the_source_takes_the_fall_along() -> None:
    fall, above = typed_height(3.0, 0.05), typed_height(19.0, 0.2)
    found = lift_above_pump(from_source=above, fall=fall)
    assert found.value == 22.0
    assert found.standard_uncertainty == pytest.approx(math.hypot(0.05, 0.2) / math.sqrt(3.0))
    assert [part.name for part in found.budget] == ["above the source: height", "fall: height"]
    assert lift_above_pump(from_pump=above, fall=fall) is above


def test_which_lift_it_is_must_be_said() -> None:
    fall, height = typed_height(3.0), typed_height(19.0)
    with pytest.raises(TypeError):
        lift_above_pump(height, fall=fall)  # type: ignore[misc]
    for both in ({}, {"from_pump": height, "from_source": height}):
        with pytest.raises(InputError, match="exactly one"):
            lift_above_pump(fall=fall, **both)
    with pytest.raises(InputError, match="above the fall"):
        lift_above_pump(from_pump=typed_height(2.0), fall=fall)


@pytest.mark.parametrize(
    ("read", "said"),
    [
        (lambda: height_by_level([]), "setups"),
        (lambda: height_by_level([Setup(0.3, 1.8)]), "setups"),  # downhill
        (lambda: Setup(-0.1, 0.2), "setup.back"),
        (lambda: Setup(0.1, 12.0), "setup.fore"),
        (lambda: Setup(0.1, 0.2, math.nan), "setup.sights_differ"),
        (lambda: height_by_hose([]), "steps"),
        (lambda: height_by_hose([30.0]), "steps"),
        (lambda: height_by_gauge([], Gauge()), "pressures"),
        (lambda: height_by_gauge([2e6], Gauge()), "pressures"),
        (lambda: height_by_map(359.0, 312.0, 5.0), "higher"),
        (lambda: height_by_map(312.0, 359.0, 0.0), "contour_interval"),
        (lambda: typed_height(0.0), "height"),
        (lambda: typed_height(math.inf), "height"),
    ],
)
def test_bad_readings_name_their_field(read: object, said: str) -> None:
    with pytest.raises(InputError) as told:
        read()  # type: ignore[operator]
    assert told.value.field == said
