"""Errors of parts and runs as the writer of a workbook sees them: text typed, limits in the unit typed."""

from __future__ import annotations

from importlib.resources import files

import pytest

from clackwork.errors import InputError, Limits
from clackwork.quantities import Quantity, parse
from clackwork.workbook import load_workbook
from clackwork.workbook_errors import CHECK_THE_UNIT, in_unit_typed, restated, unit_typed

WORKSHOP = (files("clackwork") / "demo" / "workshop.toml").read_text(encoding="utf-8")


def said(old: str, new: str) -> str:
    """The sentence for the workshop with one text changed."""
    assert old in WORKSHOP
    with pytest.raises(InputError) as caught:
        load_workbook(WORKSHOP.replace(old, new, 1))
    return str(caught.value)


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        # limits of the parts: 0.1-200 mm; 50 kg / 0.45359237 kg = 110.2 lb; 1 m3 / 3.785411784 L = 264.2 gal
        (
            'stroke = "7 mm"',
            'stroke = "0.07 mm"',
            "build 'flap', waste_valve, stroke = \"0.07 mm\" is not usable: it must be 0.1 to 200 mm. Measure the opening",
        ),
        ('mass = "140 g"', 'mass = "140 lb"', 'mass = "140 lb" is not usable: it must be 0.0002205 to 110.2 lb. Weigh'),
        ('mass = "140 g"', 'mass = "140 lb 3 oz"', 'mass = "140 lb 3 oz" is not usable: it must be 0.0001 to 50 kg.'),
        (
            'volume = "3 L"',
            'volume = "3000 gal"',
            'air_vessel, volume = "3000 gal" is not usable: it must be 0.002642 to 264.2',
        ),
        (
            'volume = "3 L"',
            'volume = "3 L", precharge = "900 psi"',
            'precharge = "900 psi" is not usable: it must be 0 to 580.2',
        ),
        (
            'bore = "28.4 mm"',
            'bore = "28.4 in"',
            "site 'Sunny Bank', drive_pipe, bore = \"28.4 in\" is not usable: it must be 0.1969 to 19.69 in.",
        ),
        (
            'rating = "6 bar"',
            'rating = "0 psi"',
            'drive_pipe, rating = "0 psi" is not usable: it must be 0.145 to 145000',
        ),
        ('altitude = "240 m"', 'altitude = "31000 ft"', "rig 'yard', altitude = \"31000 ft\" is not usable"),
        (
            'water_temperature = "11 °C"',
            'water_temperature = "120 °F"',
            "rig 'yard', water_temperature = \"120 °F\" is not usable: it must be 32 to 104 °F. Check the figure",
        ),
        (
            'water_temperature = "10 °C"',
            'water_temperature = "80 °C"',
            "site 'Upper Hazel', water_temperature = \"80 °C\"",
        ),
        (
            'water_temperature = "11.0 °C"',
            'water_temperature = "99 °F"\ntilt = "2 rad"',
            "run 'flap 1', tilt = \"2 rad\"",
        ),
        (
            'water_temperature = "11.0 °C"',
            'water_temperature = "199 °F"',
            "run 'flap 1', water_temperature = \"199 °F\"",
        ),
        (
            'fall = "3.00 m ± 0.03 m"',
            'fall = "300 ft ± 1 ft"',
            'fall = "300 ft ± 1 ft" is not usable: it must be 0.3281 to 196.9 ft.',
        ),
        (
            'source_flow = "32 L/min ± 2 L/min"',
            'source_flow = "0 ± 1 gpm"',
            "it must be 0.01585 to 15850 gpm. Time how long",
        ),
        (
            'lift_from_source = "19 m ± 0.2 m"',
            'lift_from_source = "3000 ft"',
            '"3000 ft" (which makes lift 917.4 m) is not',
        ),
        (
            'lift_from_source = "19 m ± 0.2 m"',
            'lift_from_source = "-1 m"',
            'lift_from_source = "-1 m" is not usable: the outlet',
        ),
        (
            'lift_from_pump = "18 m ± 0.3 m"',
            'lift_from_pump = "3000 ft"',
            "site 'Dry Gill', lift_from_pump = \"3000 ft\" is",
        ),
        ('lift_from_pump = "18 m ± 0.3 m"', 'lift_from_pump = "4 ft"', "it must be above the fall of 2.4 m ± 0.05 m"),
        ('wanted_flow = "1200 L/day"', 'wanted_flow = "-1200 L/day"', "it must be 0.0864 to 86400000 L/day"),
        (
            'supply_diameter = "1.00 m"',
            'supply_diameter = "-3 ft"',
            "rig 'yard', supply_diameter = \"-3 ft\" is not usable",
        ),
        (
            'supply_diameter = "1.00 m"',
            'supply_area = "0 m2"',
            "rig 'yard', supply_area = \"0 m2\" is not usable: it must be above",
        ),
        ('full_scale = "4 bar"', 'full_scale = "0 psi"', 'instruments, gauge, full_scale = "0 psi" is not usable'),
        ('fall = "2.100 m"', 'fall = "2.100 mm"', "run 'flap 1', fall = \"2.100 mm\" is not usable"),
        ("entry_loss = 0.6", 'gas_fraction = "20 %"', 'gas_fraction = "20 %" is not usable: it must be 0 to 5 %.'),
        (
            'back_pressure_head = "15 m"',
            'back_pressure_head = "-15 m"',
            "trial 'efficiency', back_pressure_head = \"-15 m\"",
        ),
    ],
)
def test_the_text_typed_is_told_with_its_limits(old: str, new: str, sentence: str) -> None:
    found = said(old, new)
    assert sentence in found
    assert "inside the package" not in found and "Was it" not in found


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        (
            "beats = 124",
            "beats = 0",
            "run 'flap 3', beats = \"0\" is not usable: a delivering run has some. Leave it out",
        ),
        ('waste_volume = "15.6 L"', 'waste_volume = "0 gal"', "run 'poppet 2', waste_volume = \"0 gal\" is not usable"),
        (
            'waste_volume = "19.5 L"',
            'drawn_volume = "0 L"',
            "run 'flap 1', drawn_volume = \"0 L\" is not usable: a held open",
        ),
    ],
)
def test_a_nought_that_was_not_read_is_refused(old: str, new: str, sentence: str) -> None:
    assert sentence in said(old, new)


def test_water_delivered_counts_when_a_supply_would_run_dry() -> None:
    found = said('delivered_volume = "8.04 L"', 'delivered_volume = "800 gal"')
    assert 'waste_volume = "24.0 L" and "800 gal" delivered is not usable' in found and "holds 1649 L" in found


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        ("7 ft", "ft"),
        ("7 ft ± 1 in", "ft"),
        ("7 ± 1 ft", "ft"),
        ("1 1/8 in", "in"),
        ("12°", "°"),
        ("1.5e2 L/min", "L/min"),
        ("3:30", ""),
        ("2 lb 3 oz", ""),
        ("6' 2\"", ""),
        ("0.45", ""),
        ("45 %", "%"),
        ("5 m3", "m3"),
        ("", ""),
        ("2 m3/h", "m3/h"),
        ("3min30s", ""),
    ],
)
def test_the_unit_typed(text: str, unit: str) -> None:
    assert unit_typed(text) == unit


@pytest.mark.parametrize(
    ("si", "kind", "text", "shown"),
    [
        (313.15, "temperature", "90 °F", "104 °F"),
        (0.001, "volume", "5 gal", "0.2642 gal"),
        (0.02, "small_length", "1 in", "0.7874 in"),
        (1.0, "mass", "2 lb 3 oz", None),
        (90.0, "duration", "1:30", None),
    ],
)
def test_an_si_value_in_the_unit_typed(si: float, kind: str, text: str, shown: str | None) -> None:
    assert in_unit_typed(si, parse(text, kind)) == shown


def test_a_guess_at_the_unit_gives_way_to_the_text_typed() -> None:
    error = InputError(
        "part.bore", "20 m", "it must be 0.002 to 0.5 m", "Was it millimetres?", limits=Limits(20, 0.002, 0.5, "m")
    )
    found = restated(error, "build 'x', bore", Quantity(20.0, "20 m", "small_length"))
    assert (found.field, found.value, found.next_step) == ("build 'x', bore", '"20 m"', CHECK_THE_UNIT)
    assert restated(error, "bore", None).next_step == "Was it millimetres?"


def test_a_question_that_is_no_guess_at_the_unit_stays() -> None:
    error = InputError(
        "run a: fall_end", "3 m", "a vessel that drains cannot end above its start", "Were the levels swapped?"
    )
    found = restated(error, "run 'a', fall_end", parse("3 m", "head"))
    assert found.next_step == "Were the levels swapped?" and found.allowed == error.allowed
