"""Relations that hold for every quantity: what is written is read back, whatever is typed ends well."""

from __future__ import annotations

import math
from decimal import Decimal

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from clackwork.errors import InputError
from clackwork.quantities import (
    KINDS,
    SYSTEMS,
    format_quantity,
    format_range,
    format_with_uncertainty,
    from_display,
    parse,
    parse_plus_minus,
    to_display,
)
from clackwork.quantity_kinds import Kind
from clackwork.unit_table import UNITS, Unit

pytestmark = pytest.mark.property

KIND_NAMES = st.sampled_from(sorted(KINDS))
SYSTEM_NAMES = st.sampled_from(SYSTEMS)
SHOWN = st.floats(1e-7, 1e12) | st.floats(1e-3, 1e5)  # the figure in the unit displayed


@given(KIND_NAMES, SYSTEM_NAMES, SHOWN, st.integers(2, 8))
def test_written_is_read_back_within_rounding(kind: str, system: str, shown: float, figures: int) -> None:
    value = float(round(shown)) if kind == "count" else from_display(shown, kind, system)
    read = parse(format_quantity(value, kind, system, figures=figures), kind)
    assert read.kind == kind
    if kind.startswith("temperature"):
        least = abs(from_display(0.51 * 10.0 ** (2 - figures), kind, system) - from_display(0.0, kind, system))
        assert abs(read.value - value) <= least + 1e-12 * abs(value)
    else:
        coarsest = max(0.51 * 10.0 ** (1 - figures), 0.0043 if kind == "duration" else 0.0)
        assert abs(read.value - value) <= coarsest * abs(value)


@given(KIND_NAMES.filter(lambda kind: kind != "count"), SYSTEM_NAMES, SHOWN, st.floats(1e-6, 3.0))
def test_value_and_uncertainty_are_read_back(kind: str, system: str, shown: float, relative: float) -> None:
    zero = from_display(0.0, kind, system)
    value = from_display(shown, kind, system)
    spread = (value - zero) * relative
    text = format_with_uncertainty(value, spread, kind, system)
    read, read_spread = parse_plus_minus(text, kind)
    assert read_spread.value == pytest.approx(spread, rel=0.051)
    assert abs(read.value - value) <= 0.051 * spread + 1e-12 * abs(value)


@given(KIND_NAMES, SYSTEM_NAMES, st.lists(SHOWN, min_size=3, max_size=3).map(sorted))
def test_range_keeps_order_and_holds_its_ends(kind: str, system: str, shown: list[float]) -> None:
    low, mid, high = (from_display(figure, kind, system) for figure in shown)
    inside = format_range(low, mid, high, kind, system).split("(")[1].rstrip(")")
    ends = [float(part.replace("\u00a0", "")) for part in inside.split(" to ")]
    assert ends[0] <= ends[1]
    if kind != "duration":  # shown in the unit of its size, not in the display unit
        width = shown[2] - shown[0]
        rounding = 0.051 * width if width > 1e-3 * shown[2] else 0.006 * shown[2]
        assert abs(ends[0] - shown[0]) <= rounding + 1e-9 * shown[2]
        assert abs(ends[1] - shown[2]) <= rounding + 1e-9 * shown[2]


@given(KIND_NAMES, SYSTEM_NAMES, st.floats(-1e12, 1e12))
def test_display_and_back(kind: str, system: str, shown: float) -> None:
    back = to_display(from_display(shown, kind, system), kind, system)
    assert back == pytest.approx(shown, rel=1e-12, abs=1e-9)


KIND_AND_UNIT = [
    (kind, unit)
    for kind in KINDS.values()
    for unit in UNITS
    if unit.dimension in kind.dimensions and kind.name != "count"
]


@given(st.sampled_from(KIND_AND_UNIT), st.decimals(0, 9999, places=3), st.booleans())
def test_comma_and_point_read_alike_and_agree_with_the_factor(
    pair: tuple[Kind, Unit], number: Decimal, comma: bool
) -> None:
    wanted, unit = pair
    typed = f"{number}0"  # four decimals: no grouping by threes is possible
    text = f"{typed.replace('.', ',') if comma else typed} {unit.label}"
    expected = float(number) * float(unit.factor) + float(unit.offset)
    assert parse(text, wanted.name).value == pytest.approx(expected, rel=1e-12, abs=1e-300)


@given(st.integers(0, 400), st.integers(0, 11), st.integers(0, 15))
def test_feet_inches_and_sixteenths(feet: int, inches: int, sixteenths: int) -> None:
    part = f"{inches} {sixteenths}/16" if sixteenths else f"{inches}"
    read = parse(f"{feet}' {part}\"", "length").value
    assert read == pytest.approx(0.0254 * (12 * feet + inches + sixteenths / 16), rel=1e-14)


@given(st.integers(0, 99), st.integers(0, 59), st.integers(0, 59))
def test_clock_and_words_agree(hours: int, minutes: int, seconds: int) -> None:
    clock = parse(f"{hours}:{minutes:02d}:{seconds:02d}", "duration").value
    assert clock == parse(f"{hours} h {minutes} min {seconds} s", "duration").value
    assert clock == hours * 3600 + minutes * 60 + seconds


@settings(max_examples=300)
@given(st.text(max_size=30) | st.text("0123456789.,/-+± '\"½³eEmftinsLgal%°:()", max_size=20), KIND_NAMES)
@example("⅟", "length")
@example("1/", "length")
@example("--1 m", "length")
@example("1 ft 1", "length")
@example("+" * 200, "count")
@example("1" * 200, "count")
def test_whatever_is_typed_is_a_finite_value_or_a_refusal(text: str, kind: str) -> None:
    try:
        assert math.isfinite(parse(text, kind).value)
    except InputError as error:
        assert str(error).startswith("value = ")
    try:
        value, spread = parse_plus_minus(text, kind)
        assert math.isfinite(value.value) and spread.value >= 0.0
    except InputError as error:
        assert str(error).startswith("value = ")
