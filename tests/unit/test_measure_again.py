"""Which reading to measure again: shares that sum to one, and follow the reading that was spoilt."""

from __future__ import annotations

from dataclasses import replace

import pytest
from invented_twin import demo, twin_of

from clackwork.site.heights import lift_above_pump, typed_height
from clackwork.site.measure_again import PUMP, WORDS, advice, what_to_measure_again
from clackwork.site.site import Site
from clackwork.site.source_flow import typed_flow
from clackwork.site.survey import SourceReading, Survey
from clackwork.site.told import TOLD_WORDS


def spoilt(fall: float = 0.01, lift: float = 0.01, flow: float = 0.1, *, there: float = 32.0) -> tuple[Survey, Site]:
    """Upper Hazel with half widths of fall and lift over the source [m] and of the source's flow [L/min]."""
    book = demo()
    exact_fall, above = typed_height(3.0, fall), typed_height(19.0, lift)
    source = (SourceReading(typed_flow(there / 6e4, flow / 6e4), "typed"),)
    whole = lift_above_pump(from_source=above, fall=exact_fall)
    survey = replace(book.surveys["Upper Hazel"], fall=exact_fall, lift=whole, source=source, stream_keeps=0.0)
    site = replace(
        book.sites["Upper Hazel"], fall_spread=exact_fall.standard_uncertainty, source_flow=there / 6e4,
        lift_spread=whole.standard_uncertainty, source_flow_spread=source[0].flow.standard_uncertainty,
    )  # fmt: skip
    return survey, site


TWIN = twin_of(demo().builds["flap"])


@pytest.mark.parametrize(
    ("place", "reading"),
    [
        (spoilt(fall=0.6), "fall"),
        (spoilt(lift=4.0), "lift"),
        (spoilt(flow=2.0, there=14.0), "source flow"),
    ],
)
def test_the_reading_that_was_spoilt_is_named(place: tuple[Survey, Site], reading: str) -> None:
    shares = what_to_measure_again(TWIN, *place)
    assert sum(share for _, share in shares) == pytest.approx(1.0)
    assert {name for name, _ in shares} == {*WORDS, PUMP}
    assert shares[0][0] == reading
    said = advice(shares)
    assert said is not None and said.hardness == "note" and said.values["share"] == (shares[0][1], "fraction")


def test_the_advice_says_that_limits_were_assumed() -> None:
    shares = (("fall", 0.6), (PUMP, 0.3), ("lift", 0.1))
    said, plain = advice(shares, ("fall",)), advice(shares, ("lift",))
    assert said is not None and said.words.endswith(TOLD_WORDS)
    assert plain is not None and TOLD_WORDS not in plain.words


def test_good_readings_leave_the_pump() -> None:
    shares = what_to_measure_again(TWIN, *spoilt())
    assert shares[0][0] == PUMP and shares[0][1] > 0.9 and advice(shares) is None


def test_nothing_is_said_where_the_pump_stalls() -> None:
    book = demo()
    assert what_to_measure_again(TWIN, book.surveys["Reed Bottom"], book.sites["Reed Bottom"]) == ()
    assert advice(()) is None


def test_the_same_question_has_the_same_answer() -> None:
    assert what_to_measure_again(TWIN, *spoilt(fall=0.1)) == what_to_measure_again(TWIN, *spoilt(fall=0.1))
