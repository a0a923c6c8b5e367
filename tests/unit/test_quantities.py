"""Text to SI and back: values by definition, units against an outside table, refusals in words."""

from __future__ import annotations

import math
from fractions import Fraction
from typing import Any

import numpy as np
import pint
import pytest

from clackwork.errors import InputError
from clackwork.quantities import (
    KINDS,
    SYSTEMS,
    format_quantity,
    format_range,
    format_with_uncertainty,
    from_display,
    key_name,
    key_unit,
    parse,
    parse_plus_minus,
    to_display,
    unit_label,
)
from clackwork.unit_table import UNITS, Unit, unit_key

pytestmark = pytest.mark.unit

US_GALLON = 231 * 0.0254**3  # [m3] by definition
LBF = 0.45359237 * 9.80665  # [N] by definition

# ------------------------------------------------------------ what is read

READ = [
    ("40 ft", "length", 12.192),
    ("40ft", "length", 12.192),
    ("40 feet", "length", 12.192),
    ("6' 2\"", "length", 1.8796),
    ("6'2\"", "length", 1.8796),
    ("6’ 2”", "length", 1.8796),
    ("6'-2 1/2\"", "length", 1.8923),
    ("6 ft 2 in", "length", 1.8796),
    ("6 ft, 2 in", "length", 1.8796),
    ("-6' 2\"", "head", -1.8796),
    ("2 m 10 cm", "length", 2.10),
    ("1 1/4 in", "small_length", 0.03175),
    ("1-1/4 in", "small_length", 0.03175),
    ("1¼ in", "small_length", 0.03175),
    ("1 ¼ in", "small_length", 0.03175),
    ("½ in", "small_length", 0.0127),
    ("¾''", "small_length", 0.01905),
    ("5/8 in", "small_length", 0.015875),
    ("5⁄8 in.", "small_length", 0.015875),
    ("30 thou", "small_length", 0.000762),
    ("50 µm", "small_length", 5e-5),
    ("50 μm", "small_length", 5e-5),
    ("3 m of water", "head", 3.0),
    ("5 gal (US)", "volume", 5 * US_GALLON),
    ("5 US gal", "volume", 5 * US_GALLON),
    ("5 gal", "volume", 5 * US_GALLON),
    ("5 gal (imp)", "volume", 0.02273045),
    ("5 imperial gallons", "volume", 0.02273045),
    ("0.5 m³", "volume", 0.5),
    ("2 cu. ft", "volume", 2 * 0.3048**3),
    ("5 ML", "volume", 5000.0),
    ("5 ml", "volume", 5e-6),
    ("12 cm²", "area", 12e-4),
    ("3:30", "duration", 210.0),
    ("3:05.5", "duration", 185.5),
    ("3:05,5", "duration", 185.5),
    ("90:00", "duration", 5400.0),
    ("1:02:03", "duration", 3723.0),
    ("3 min 30 s", "duration", 210.0),
    ("3min30s", "duration", 210.0),
    ("1 h 2 min 3 s", "duration", 3723.0),
    ("1 h and 30 min", "duration", 5400.0),
    ("1.4 gpm", "volume_flow", 1.4 * US_GALLON / 60),
    ("1.4 imp gpm", "volume_flow", 1.4 * 0.00454609 / 60),
    ("7 gallons per minute", "volume_flow", 7 * US_GALLON / 60),
    ("500 gal/day", "daily_volume_flow", 500 * US_GALLON / 86400),
    ("2 000 L/day", "daily_volume_flow", 2.0 / 86400),
    ("12 psi", "pressure_gauge", 12 * LBF / 0.0254**2),
    ("12 psig", "pressure_gauge", 12 * LBF / 0.0254**2),
    ("0.8 bar", "pressure_gauge", 8e4),
    ("80 KPA", "pressure_gauge", 8e4),
    ("3 mH₂O", "pressure_gauge", 3 * 9806.65),
    ("12 degC", "temperature", 285.15),
    ("12 °C", "temperature", 285.15),
    ("12 ºc", "temperature", 285.15),
    ("12 ℃", "temperature", 285.15),
    ("−2 °C", "temperature", 271.15),
    ("54 F", "temperature", (54 + 459.67) * 5 / 9),
    ("54 °F", "temperature", (54 + 459.67) * 5 / 9),
    ("9 °F", "temperature_difference", 5.0),
    ("60/min", "beat_rate", 1.0),
    ("60 bpm", "beat_rate", 1.0),
    ("60 min⁻¹", "beat_rate", 1.0),
    ("60 beats per minute", "beat_rate", 1.0),
    ("45 %", "fraction", 0.45),
    ("45%", "fraction", 0.45),
    ("45 per cent", "fraction", 0.45),
    ("0.45", "fraction", 0.45),
    ("0,45", "fraction", 0.45),
    ("150 %", "fraction", 1.5),
    ("60", "count", 60.0),
    ("120 beats", "count", 120.0),
    ("3.2 lbf/in", "stiffness", 3.2 * LBF / 0.0254),
    ("0.56 N/mm", "stiffness", 560.0),
    ("0.02 N m/deg", "rotational_stiffness", 0.02 * 180 / math.pi),
    ("3 lbf", "force", 3 * LBF),
    ("2 lb 3 oz", "mass", 0.45359237 * (2 + 3 / 16)),
    ("1.14 g/cm³", "density", 1140.0),
    ("12°", "angle", math.radians(12)),
    ("12 kg cm²", "inertia", 12e-4),
    ("12 kg·cm²", "inertia", 12e-4),
    ("0.02 N·m/rad", "rotational_stiffness", 0.02),
    ("12 PSI", "pressure_gauge", 12 * LBF / 0.0254**2),
    ("0.8 bar (g)", "pressure_gauge", 8e4),
    ("3 m3/hr", "volume_flow", 3 / 3600),
    ("2 days 3 h", "duration", 183600.0),
    ("200 GPa", "modulus", 2e11),
    ("200e9 Pa", "modulus", 2e11),
]


@pytest.mark.parametrize(("text", "kind", "si"), READ)
def test_reads(text: str, kind: str, si: float) -> None:
    quantity = parse(text, kind)
    assert quantity.value == pytest.approx(si, rel=1e-14)
    assert (quantity.text, quantity.kind) == (text, kind)


@pytest.mark.parametrize(
    ("text", "metres"),
    [
        ("1,5 m", 1.5),
        ("1.5 m", 1.5),
        (",5 m", 0.5),
        (".5 m", 0.5),
        ("5. m", 5.0),
        ("1.234 m", 1.234),
        ("1.234,5 m", 1234.5),
        ("1,234.5 m", 1234.5),
        ("1,234,567 m", 1234567.0),
        ("1.234.567 m", 1234567.0),
        ("1 234,5 m", 1234.5),
        ("1\u00a0234.5 m", 1234.5),
        ("1\u202f234 m", 1234.0),
        ("0,234 m", 0.234),
        ("1234,567 m", 1234.567),
        ("1,2345 m", 1.2345),
        ("1,50 m", 1.5),
        ("+1.5 m", 1.5),
        ("- 1.5 m", -1.5),
        ("1.5e-3 m", 0.0015),
        ("1,5E3 m", 1500.0),
    ],
)
def test_decimal_marks(text: str, metres: float) -> None:
    assert parse(text, "length").value == metres


@pytest.mark.parametrize("kind", KINDS)
def test_every_example_in_a_message_is_read(kind: str) -> None:
    for example in KINDS[kind].examples:
        assert parse(example, kind).text == example
    value, spread = parse_plus_minus(KINDS[kind].plus_minus_example, kind)
    assert 0.0 < spread.value < value.value


def test_exact_to_the_last_bit() -> None:
    assert parse("1 1/4 in", "length").value == 0.03175
    assert parse("32 °F", "temperature").value == 273.15
    assert parse("-40 °F", "temperature").value == parse("-40 °C", "temperature").value == 233.15


# ------------------------------------------------------------ units against an outside table

PINT_NAMES = {
    "in": "inch",
    "mi": "mile",
    "mH2O": "meter_H2O",
    "gal": "gallon",
    "imp gal": "imperial_gallon",
    "qt": "quart",
    "pt": "pint",
    "fl oz": "fluid_ounce",
    "ML": "megaliter",
    "t": "tonne",
    "thou": "thou",
    "°C": "degC",
    "°F": "degF",
    "kgf/cm²": "kgf/cm**2",
    "psf": "lbf/ft**2",
    "mph": "mile/hour",
    "%": "percent",
    "°": "degree",
    "ozf": "ozf",
    "year": "year",
    "psig": "psi",
    "barg": "bar",
    "kPag": "kPa",
    "psia": "psi",
    "bara": "bar",
    "kPaa": "kPa",
    "µm": "micrometer",
    "lb/gal": "lb/gallon",
    "beats/min": "1/min",
    "beats/s": "1/s",
    "beats/h": "1/hour",
    "beats": "dimensionless",
    "N m/rad": "N*m/rad",
    "N m/deg": "N*m/degree",
    "N mm/rad": "N*mm/rad",
    "lbf in/rad": "lbf*inch/rad",
    "lbf in/deg": "lbf*inch/degree",
    "lbf ft/rad": "lbf*ft/rad",
    "kg m²": "kg*m**2",
    "kg cm²": "kg*cm**2",
    "kg mm²": "kg*mm**2",
    "g cm²": "g*cm**2",
    "lb ft²": "lb*ft**2",
    "lb in²": "lb*inch**2",
    "lbf/in": "lbf/inch",
    "in/s": "inch/s",
    "in²": "inch**2",
    "in³": "inch**3",
    "lb/in³": "lb/inch**3",
    "km/h": "km/hour",
}
SI_NAMES = {
    "length": "m",
    "water_column": "m",
    "area": "m**2",
    "volume": "m**3",
    "mass": "kg",
    "duration": "s",
    "volume_flow": "m**3/s",
    "pressure": "Pa",
    "gauge_pressure": "Pa",
    "absolute_pressure": "Pa",
    "temperature": "K",
    "temperature_difference": "K",
    "velocity": "m/s",
    "force": "N",
    "stiffness": "N/m",
    "rotational_stiffness": "N*m/rad",
    "density": "kg/m**3",
    "angle": "rad",
    "beat_rate": "1/s",
    "fraction": "dimensionless",
    "count": "dimensionless",
    "inertia": "kg*m**2",
}
WATER_PER_METRE = {"mH2O": 1.0, "cmH2O": 0.01, "mmH2O": 0.001, "ftH2O": 0.3048, "inH2O": 0.0254}
MERCURY = {"mmHg": 0.001, "inHg": 0.0254}


@pytest.fixture(scope="module")
def registry() -> pint.UnitRegistry[Any]:
    return pint.UnitRegistry()


def pint_name(label: str) -> str:
    """Name of a unit of ours in the outside table; a flow is the name of a volume over that of a duration."""
    if label in PINT_NAMES:
        return PINT_NAMES[label]
    if "/" in label:
        top, bottom = label.split("/")
        hour = {"h": "hour"}
        return f"{pint_name(top)}/{hour.get(bottom) or pint_name(bottom)}"
    return {"h": "hour"}.get(label, label.replace("²", "**2").replace("³", "**3"))


@pytest.mark.parametrize(
    "unit",
    [unit for unit in UNITS if not (unit.label in WATER_PER_METRE or unit.label in MERCURY)],
    ids=lambda unit: f"{unit.dimension}-{unit.label}",
)
def test_factor_agrees_with_outside_table(unit: Unit, registry: pint.UnitRegistry[Any]) -> None:
    name, si = pint_name(unit.label), SI_NAMES[unit.dimension]
    if unit.dimension == "temperature":
        for typed in (0.0, 37.0):
            ours = float(Fraction(typed) * unit.factor + unit.offset)
            assert ours == pytest.approx(registry.Quantity(typed, name).to(si).magnitude, rel=1e-12)
        return
    name = {"°C": "delta_degC", "°F": "delta_degF"}.get(unit.label, name)
    assert float(unit.factor) == pytest.approx(registry.Quantity(1.0, name).to(si).magnitude, rel=1e-12)
    assert unit.offset == 0


@pytest.mark.parametrize("label", WATER_PER_METRE)
def test_columns_of_water_by_definition(label: str) -> None:
    # SP 811 B.8, "conventional": 9.80665 Pa per millimetre, 2989.067 Pa per foot
    found = {unit.dimension: unit.factor for unit in UNITS if unit.label == label}
    assert float(found["pressure"]) == pytest.approx(9806.65 * WATER_PER_METRE[label], rel=1e-14)
    assert float(found["water_column"]) == WATER_PER_METRE[label]


@pytest.mark.parametrize(("label", "pascal"), [("mmHg", 133.3224), ("inHg", 3386.389)])
def test_columns_of_mercury_to_the_printed_digits(label: str, pascal: float) -> None:
    # SP 811 B.8, "conventional", seven printed digits, from memory
    unit = next(unit for unit in UNITS if unit.label == label)
    assert float(unit.factor) == pytest.approx(pascal, rel=2e-7)


def test_no_spelling_means_two_units_of_one_dimension() -> None:
    seen: dict[tuple[str, str], Unit] = {}
    for unit in UNITS:
        for name in unit.names:
            first = seen.setdefault((unit.dimension, unit_key(name)), unit)
            assert first is unit, f"{name} is both {first.label} and {unit.label}"


def test_every_spelling_of_every_accepted_unit_is_read() -> None:
    for kind in KINDS.values():
        for unit in UNITS:
            if unit.dimension in kind.dimensions:
                for name in unit.names:
                    expected = float(300 * unit.factor + unit.offset)
                    assert parse(f"300 {name}", kind.name).value == expected, (kind.name, name)


# ------------------------------------------------------------ what is refused

REFUSED = [
    ("1,234 m", "length", ['"1234 m"', '"1.234 m"']),
    ("12,345", "count", ['"12345"', '"12.345"']),
    ("40", "length", ["unit is missing", '"40 ft"']),
    ("12", "temperature", ["unit is missing", "°C"]),
    ("12 fot", "length", ['"fot"', 'Did you mean "ft"']),
    ("1.4 gal/mn", "volume_flow", ['Did you mean "gal/min"']),
    ("5 zorkmids", "length", ["not a unit known", "Write for example"]),
    ("12 psi", "length", ["unit of pressure", "a length is wanted"]),
    ("12 psi", "head", ["0.7031 m", "2.307 ft", "1000 kg/m3"]),
    ("12 psia", "pressure_gauge", ["absolute pressure", "take away"]),
    ("3 m", "pressure_gauge", ["mH2O"]),
    ("3 ft", "volume", ["unit of length", "a volume is wanted"]),
    ("3 lb", "force", ["unit of mass", "lbf"]),
    ("3 oz", "volume", ["fl oz"]),
    ("3 m 30 s", "duration", ['"min"']),
    ("12 °", "temperature", ["°C"]),
    ("1.2 s", "beat_rate", ["60/min"]),
    ("5 Ml", "volume", ["capitals", "mL", "ML"]),
    ("5 mpa", "modulus", ["capitals", "MPa", "mPa"]),
    ("6 ft 12 in", "length", ["less than one ft"]),
    ("6' 14\"", "length", ["less than one ft"]),
    ("6.5' 2\"", "length", ["only the last part"]),
    ("6'2", "length", ["last number has no unit"]),
    ("2 in 6 ft", "length", ["largest unit to the smallest"]),
    ("6 ft 2 cm", "length", ["do not go together"]),
    ("2 ft 3", "volume", ["unit of length"]),
    ("1 in 100", "length", ["last number has no unit"]),
    ("1 -1/4 in", "length", ["not a range"]),
    ("2-3 m", "length", ["not a range"]),
    ("2 to 3 m", "length", ["not a range"]),
    ("2 m ± 1 mm", "length", ["without an uncertainty"]),
    ("inf m", "length", ["finite"]),
    ("nan m", "length", ["finite"]),
    ("-∞ m", "length", ["finite"]),
    ("1e99 m", "length", ["power of ten"]),
    ("1e999999999 m", "length", ["power of ten"]),
    ("10³ m", "length", ["raised digit"]),
    ("1,23,456 m", "length", ["not a number that can be read"]),
    ("1.2.3 m", "length", ["not a number that can be read"]),
    ("40, m", "length", ["not a number that can be read"]),
    ("1 5/4 in", "length", ["less than one"]),
    ("5/0 in", "length", ["zero"]),
    ("about 5 m", "length", ["does not begin with a number"]),
    ("m", "length", ["does not begin with a number"]),
    ("", "length", ["empty"]),
    (" \t ", "length", ["empty"]),
    ("9" * 201, "count", ["201 characters"]),
    ("-300 °C", "temperature", ["absolute zero"]),
    ("-1 L", "volume", ["cannot be negative"]),
    ("12.5", "count", ["whole number"]),
    ("45", "fraction", ["45 %"]),
    ("3:60", "duration", ["00 to 59"]),
    ("3:75", "duration", ["00 to 59"]),
    ("1:75:00", "duration", ["00 to 59"]),
    ("3:5", "duration", ["minutes:seconds"]),
    ("3:30 min", "duration", ["minutes:seconds"]),
    ("3:30", "length", ["colon is a duration"]),
]


@pytest.mark.parametrize(("text", "kind", "words"), REFUSED)
def test_refusals_name_field_value_and_next_step(text: str, kind: str, words: list[str]) -> None:
    with pytest.raises(InputError) as caught:
        parse(text, kind, field="fall")
    message = str(caught.value)
    assert message.startswith('fall = "')
    assert len(message) < 400
    for word in words:
        assert word in message


def test_a_bare_number_from_a_file_is_refused_in_words() -> None:
    with pytest.raises(InputError, match="in quotes"):
        parse(2.1, "length", field="fall")  # type: ignore[arg-type]


def test_control_characters_do_not_reach_the_message() -> None:
    with pytest.raises(InputError) as caught:
        parse("5 \x1b[31mred\n", "length")
    assert "\x1b" not in str(caught.value)
    assert "\n" not in str(caught.value)


def test_unknown_kind_and_system_are_refused() -> None:
    with pytest.raises(InputError, match="small_length"):
        parse("5 m", "lenght")
    with pytest.raises(InputError, match="metric, us"):
        format_quantity(1.0, "length", "imperial")


# ------------------------------------------------------------ value and uncertainty


@pytest.mark.parametrize(
    ("text", "kind", "value", "spread"),
    [
        ("2.10 m +- 5 mm", "length", 2.10, 0.005),
        ("2.10 m ± 0.005 m", "length", 2.10, 0.005),
        ("2.10 m +/- 0.005 m", "length", 2.10, 0.005),
        ("2.10 ± 0.005 m", "head", 2.10, 0.005),
        ("2,10 ± 0,005 m", "head", 2.10, 0.005),
        ("40 ft ± 1 %", "length", 12.192, 0.12192),
        ("12 °C ± 0.5 °C", "temperature", 285.15, 0.5),
        ("54 ± 0.9 °F", "temperature", 285.37222222222, 0.5),
        ("45 % ± 2 %", "fraction", 0.45, 0.02),
        ("45 ± 2 %", "fraction", 0.45, 0.02),
        ("0.45 ± 0.02", "fraction", 0.45, 0.02),
        ("60 ± 1", "count", 60.0, 1.0),
        ("60 ± 0.5", "count", 60.0, 0.5),
        ("60 ± 5 %", "count", 60.0, 3.0),
        ("3:30 ± 0.2 s", "duration", 210.0, 0.2),
        ("6' 2\" ± 1/2 in", "length", 1.8796, 0.0127),
    ],
)
def test_value_and_uncertainty(text: str, kind: str, value: float, spread: float) -> None:
    read, uncertainty = parse_plus_minus(text, kind)
    assert read.value == pytest.approx(value, rel=1e-12)
    assert uncertainty.value == pytest.approx(spread, rel=1e-12)
    assert read.text == text


def test_an_uncertain_temperature_is_a_difference() -> None:
    assert parse_plus_minus("12 °C ± 0.5 °C", "temperature")[1].kind == "temperature_difference"


@pytest.mark.parametrize(
    ("text", "kind", "words"),
    [
        ("2.10 m", "length", "one ±"),
        ("2.10 m ± 1 mm ± 2 mm", "length", "one ±"),
        ("± 1 mm", "length", "each side"),
        ("2.10 m ±", "length", "each side"),
        ("2.10 m ± 1", "length", "unit is missing"),
        ("2.10 ± 1 %", "length", "unit is missing"),
        ("2.10 m ± -1 mm", "length", "cannot be negative"),
        ("2.10 m ± -1 %", "length", "cannot be negative"),
        ("12 °C ± 1 %", "temperature", "no meaning"),
        ("0.45 ± 2 %", "fraction", "on both or neither"),
        ("45 % ± 0.5", "fraction", "on both or neither"),
        ("6 ± 5' 2\"", "length", "unit is missing"),
        ("6 ± 1 ft 2 in", "length", "unit is missing"),
        ("2.10 m ± 1 psi", "length", "unit of pressure"),
    ],
)
def test_uncertainty_refusals(text: str, kind: str, words: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_plus_minus(text, kind, field="fall")
    assert words in str(caught.value)


# ------------------------------------------------------------ what is written


@pytest.mark.parametrize(
    ("value", "kind", "system", "text"),
    [
        (12.192, "length", "metric", "12.2 m"),
        (12.192, "length", "us", "40.0 ft"),
        (0.03175, "small_length", "metric", "31.8 mm"),
        (0.03175, "small_length", "us", "1.25 in"),
        (1e-3 / 60, "volume_flow", "metric", "1.00 L/min"),
        (1.4 * US_GALLON / 60, "volume_flow", "us", "1.40 gpm"),
        (2.0 / 86400, "daily_volume_flow", "metric", "2000 L/day"),
        (20.0 / 86400, "daily_volume_flow", "metric", "20\u00a0000 L/day"),
        (500 * US_GALLON / 86400, "daily_volume_flow", "us", "500 gal/day"),
        (80000.0, "pressure_gauge", "metric", "0.800 bar"),
        (285.15, "temperature", "metric", "12.0 °C"),
        (273.15, "temperature", "us", "32.0 °F"),
        (1.0, "beat_rate", "us", "60.0 beats/min"),
        (0.451, "fraction", "metric", "45.1 %"),
        (12345.0, "count", "metric", "12\u00a0345"),
        (0.0, "length", "metric", "0.00 m"),
        (-0.0, "length", "metric", "0.00 m"),
        (-0.5, "head", "metric", "-0.500 m"),
        (9.996, "length", "metric", "10.0 m"),
        (45.0, "duration", "metric", "45.0 s"),
        (210.0, "duration", "us", "3 min 30 s"),
        (240.0, "duration", "us", "4 min"),
        (7199.7, "duration", "metric", "2 h"),
        (18720.0, "duration", "metric", "5 h 12 min"),
        (300000.0, "duration", "metric", "3.47 days"),
        (1e8, "duration", "metric", "3.17 years"),
        (2e11, "modulus", "metric", "200\u00a0000 MPa"),
        (0.00123, "inertia", "metric", "0.00123 kg m²"),
        (1.5e-12, "inertia", "metric", "1.50e-12 kg m²"),
    ],
)
def test_writes(value: float, kind: str, system: str, text: str) -> None:
    assert format_quantity(value, kind, system) == text


def test_writes_as_many_figures_as_asked() -> None:
    assert format_quantity(12.192, "length", figures=5) == "12.192 m"
    assert format_quantity(285.16, "temperature", figures=4) == "12.01 °C"
    with pytest.raises(InputError, match="1 to 15"):
        format_quantity(1.0, "length", figures=0)


def test_range_has_two_figures_of_its_width() -> None:
    flow = 1e-3 / 60
    assert format_range(12.14 * flow, 14.2 * flow, 16.81 * flow, "volume_flow") == "14.2 L/min (12.1 to 16.8)"
    assert format_range(1.0, 1.0, 1.0, "length") == "1.00 m (1.00 to 1.00)"
    assert format_range(3600, 9000, 14400, "duration") == "2.5 h (1.0 to 4.0)"
    assert format_range(1, 3, 21, "count") == "3 (1 to 21)"
    assert format_range(1.0, 1.0, 1.0 + 1e-15, "length") == "1.00000 m (1.00000 to 1.00000)"


def test_array_scalars_are_written_like_floats() -> None:
    low, mid, high = np.array([1.0, 2.0, 3.0])
    assert format_quantity(mid, "length") == "2.00 m"
    assert format_range(low, mid, high, "length") == "2.0 m (1.0 to 3.0)"
    assert format_with_uncertainty(mid, low / 10, "length") == "2.00 ± 0.10 m"
    assert repr(parse("2 m", "length").value) == "2.0"


@pytest.mark.parametrize(
    ("value", "spread", "kind", "system", "text"),
    [
        (2.1, 0.005, "length", "metric", "2.1000 ± 0.0050 m"),
        (12.192, 0.03048, "length", "us", "40.00 ± 0.10 ft"),
        (285.15, 0.5, "temperature", "us", "53.60 ± 0.90 °F"),
        (285.3, 0.0996, "temperature", "metric", "12.15 ± 0.10 °C"),
        (1234.0, 567.0, "length", "metric", "1230 ± 570 m"),
        (0.003, 12.0, "length", "metric", "0 ± 12 m"),
        (2.1, 0.0, "length", "metric", "2.10 ± 0.00 m"),
        (0.45, 0.021, "fraction", "metric", "45.0 % ± 2.1 %"),
        (60.0, 0.5, "count", "metric", "60.00 ± 0.50"),
    ],
)
def test_value_is_rounded_to_its_uncertainty(value: float, spread: float, kind: str, system: str, text: str) -> None:
    assert format_with_uncertainty(value, spread, kind, system) == text


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
def test_what_is_not_finite_is_not_written(bad: float) -> None:
    with pytest.raises(InputError, match="finite"):
        format_quantity(bad, "length")
    with pytest.raises(InputError, match="finite"):
        format_range(0.0, 1.0, bad, "length")
    with pytest.raises(InputError, match="finite"):
        format_with_uncertainty(1.0, bad, "length")


def test_disorder_is_not_written() -> None:
    with pytest.raises(InputError, match="low through mid to high"):
        format_range(2.0, 1.0, 3.0, "length")
    with pytest.raises(InputError, match="zero or more"):
        format_with_uncertainty(1.0, -0.1, "length")


def test_keys_and_labels() -> None:
    assert (key_unit("volume_flow"), key_unit("volume_flow", "us")) == ("l_min", "gal_min")
    assert (key_unit("daily_volume_flow"), key_unit("daily_volume_flow", "us")) == ("l_day", "gal_day")
    assert (key_unit("head"), key_unit("head", "us")) == ("m", "ft")
    assert (key_unit("small_length"), key_unit("small_length", "us")) == ("mm", "in")
    assert (key_unit("pressure_gauge"), key_unit("pressure_gauge", "us")) == ("bar", "psi")
    assert unit_label("volume_flow", "us") == "gpm"
    assert key_name("delivered_flow", "volume_flow") == "delivered_flow_l_min"
    assert key_name("beats", "count", "us") == "beats"


@pytest.mark.parametrize("system", SYSTEMS)
def test_display_numbers(system: str) -> None:
    for kind in KINDS:
        assert from_display(to_display(287.0, kind, system), kind, system) == pytest.approx(287.0, rel=1e-14)
    assert math.isnan(to_display(math.nan, "length", system))
    assert to_display(285.15, "temperature", "us") == pytest.approx(53.6, abs=1e-9)
