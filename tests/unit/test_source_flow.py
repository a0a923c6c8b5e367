"""What a source gives: budgets of each method, the driest reading, months, what the stream keeps, bad readings."""

from __future__ import annotations

import datetime
import math

import pytest

from clackwork.bench.gum import Estimate
from clackwork.errors import InputError
from clackwork.site.heights import typed_height
from clackwork.site.source_flow import (
    FLOAT_COEFFICIENTS,
    driest,
    flow_by_bucket,
    flow_by_float,
    flow_by_month,
    flow_by_notch,
    months_known,
    typed_flow,
)
from clackwork.site.survey import SourceReading, Survey

LITRE_A_MINUTE = 1e-3 / 60.0


def survey(*readings: tuple[float, int | None], shares: tuple[float, ...] | None = None, keeps: float = 0.0) -> Survey:
    """A place whose source was read in months, in L/min."""
    source = tuple(
        SourceReading(
            typed_flow(flow * LITRE_A_MINUTE, LITRE_A_MINUTE), "typed", month and datetime.date(2031, month, 10)
        )
        for flow, month in readings
    )
    return Survey(
        "a",
        typed_height(3.0),
        typed_height(20.0),
        source,
        90.0,
        monthly_share=shares,
        stream_keeps=keeps * LITRE_A_MINUTE,
    )


def litres(flow: Estimate) -> float:
    return flow.value / LITRE_A_MINUTE


def test_several_fillings_narrow_the_time_and_not_the_mark() -> None:
    one, many = flow_by_bucket(0.01, [30.0]), flow_by_bucket(0.01, [29.95, 30.0, 30.05, 30.0])
    parts = {part.name: part.amount for part in many.budget}
    assert many.value == pytest.approx(one.value)
    alone = {part.name: part.amount for part in one.budget}
    assert parts["volume"] == pytest.approx(alone["volume"])
    assert parts["time"] == pytest.approx(0.5 * alone["time"], rel=1e-4)
    assert "scatter of time" not in parts  # they scatter no more than the watch


def test_what_scatters_beyond_the_watch_counts_with_its_few_degrees_of_freedom() -> None:
    found = flow_by_bucket(0.01, [28.0, 30.0, 32.0])
    assert found.budget[0].name == "scatter of time" and found.budget[0].kind == "A"
    assert found.budget[0].degrees_of_freedom == 2.0
    seconds = found.standard_uncertainty / found.value * 30.0
    mark = 5e-5 / math.sqrt(3.0) / 0.01 * 30.0
    assert math.sqrt(seconds**2 - mark**2) == pytest.approx(2.0 / math.sqrt(3.0), rel=3e-3)


def test_a_low_head_over_a_notch_is_less_sure() -> None:
    low, high = flow_by_notch([0.045]), flow_by_notch([0.055])
    share = {part.name: abs(part.amount) / found.value for found in (low,) for part in found.budget}["coefficient"]
    assert share == pytest.approx(0.03) and low.relative_uncertainty > high.relative_uncertainty


def test_a_wider_notch_gives_more() -> None:
    flows = [flow_by_notch([0.1], math.radians(angle)).value for angle in (30, 45, 60, 90)]
    assert flows == sorted(flows)


@pytest.mark.parametrize("bed", FLOAT_COEFFICIENTS)
def test_a_float_over_a_section(bed: str) -> None:
    found = flow_by_float(4.0, [8.0, 8.0], 0.6, [0.1, 0.2, 0.1], bed=bed)
    coefficient, reach = FLOAT_COEFFICIENTS[bed]
    assert found.value == pytest.approx(coefficient * 0.5 * 0.6 * 0.1)  # the triangle and two trapezia
    parts = {part.name: abs(part.amount) / found.value for part in found.budget}
    assert parts["coefficient"] == pytest.approx(reach / math.sqrt(3.0) / coefficient)


def test_the_lowest_reading_is_the_driest() -> None:
    place = survey((30, 4), (12, 9), (20, None))
    assert litres(driest(place)) == pytest.approx(12)
    assert litres(driest(place, 4)) == pytest.approx(30)
    assert litres(driest(place, 6)) == pytest.approx(12)  # never read: the lowest of all
    assert months_known(place) and not months_known(survey((30, 4), (28, 4)))


def test_a_reading_is_carried_to_the_driest_month() -> None:
    shares = (2.0,) * 7 + (1.0,) + (1.5,) * 4
    place = survey((30, 4), shares=shares)
    assert [round(litres(flow), 6) for flow in flow_by_month(place)] == [30.0] * 7 + [15.0] + [22.5] * 4
    read, carried = driest(place, 4), driest(place)
    assert read.standard_uncertainty == pytest.approx(LITRE_A_MINUTE / math.sqrt(3.0))
    assert carried.relative_uncertainty > 2.0 * read.relative_uncertainty
    assert carried.budget[0].name == "share of the month"


def test_the_stream_keeps_its_share() -> None:
    assert litres(driest(survey((30, 4), keeps=12))) == pytest.approx(18)
    assert driest(survey((30, 4), keeps=40)).value == 0.0
    assert driest(survey((30, 4), keeps=12)).standard_uncertainty == driest(survey((30, 4))).standard_uncertainty


@pytest.mark.parametrize(
    ("read", "said"),
    [
        (lambda: flow_by_bucket(10.5, [30.0]), "volume"),
        (lambda: flow_by_bucket(2e-4, [30.0]), "volume"),
        (lambda: flow_by_bucket(0.01, []), "times"),
        (lambda: flow_by_bucket(0.01, [30.0, math.nan]), "times"),
        (lambda: flow_by_bucket(0.01, [0.0]), "times"),
        (lambda: flow_by_notch([0.02]), "heads"),
        (lambda: flow_by_notch([0.5]), "heads"),
        (lambda: flow_by_notch([0.1], 90.0), "angle"),
        (lambda: flow_by_float(4.0, [9.0], 0.6, [0.1], bed="muddy"), "bed"),
        (lambda: flow_by_float(4.0, [9.0], 0.6, []), "depths"),
        (lambda: flow_by_float(4.0, [9.0] * 101, 0.6, [0.1]), "times"),
        (lambda: typed_flow(0.0), "flow"),
        (lambda: driest(survey((30, 4)), 13), "month"),
        (lambda: driest(survey((30, 8), shares=(1.0,) * 7 + (0.0,) + (1.0,) * 4)), "monthly_share"),
    ],
)
def test_bad_readings_name_their_field(read: object, said: str) -> None:
    with pytest.raises(InputError) as told:
        read()  # type: ignore[operator]
    assert told.value.field == said
