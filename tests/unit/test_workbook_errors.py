"""Errors of parts and runs as the writer of a workbook sees them: text typed, limits in the unit typed."""

from __future__ import annotations

import re

import pytest
from workshop_readings import WORKSHOP, reading, retyped

from clackwork.bench.runs import reduce_run
from clackwork.errors import InputError, Limits
from clackwork.quantities import Quantity, parse
from clackwork.workbook import load_workbook
from clackwork.workbook_errors import CHECK_THE_UNIT, errors_of_runs, in_unit_typed, restated, unit_typed


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
            *retyped("flap 1", "water_temperature", 'water_temperature = "99 °F"\ntilt = "2 rad"'),
            "run 'flap 1', tilt = \"2 rad\"",
        ),
        (
            *retyped("flap 1", "water_temperature", 'water_temperature = "199 °F"'),
            "run 'flap 1', water_temperature = \"199 °F\"",
        ),
        (
            'fall = "3.8 m ± 0.1 m"',
            'fall = "300 ft ± 1 ft"',
            'fall = "300 ft ± 1 ft" is not usable: it must be 0.3281 to 196.9 ft.',
        ),
        (
            'flow = "15.8 L/min ± 1 L/min"',
            'flow = "0 ± 1 gpm"',
            "it must be 0.01585 to 15850 gpm. Time how long",
        ),
        (
            'lift_from_source = "26 m ± 0.5 m"',
            'lift_from_source = "3000 ft"',
            '"3000 ft" (which makes lift 918.2 m) is not',
        ),
        (
            'lift_from_source = "26 m ± 0.5 m"',
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
        (
            'full_scale = "4 bar"',
            'full_scale = "0 psi"',
            "instrument 'fine gauge', full_scale = \"0 psi\" is not usable",
        ),
        (*retyped("flap 1", "fall", 'fall = "2.100 mm"'), "run 'flap 1', fall = \"2.100 mm\" is not usable"),
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
            *retyped("flap 3", "beats", "beats = 0"),
            "run 'flap 3', beats = \"0\" is not usable: a delivering run has some. Leave it out",
        ),
        (
            *retyped("poppet 2", "waste_volume", 'waste_volume = "0 gal"'),
            "run 'poppet 2', waste_volume = \"0 gal\" is not usable",
        ),
        (
            *retyped("flap 1", "waste_volume", 'drawn_volume = "0 L"'),
            "run 'flap 1', drawn_volume = \"0 L\" is not usable: a held open",
        ),
    ],
)
def test_a_nought_that_was_not_read_is_refused(old: str, new: str, sentence: str) -> None:
    assert sentence in said(old, new)


def test_water_delivered_counts_when_a_supply_would_run_dry() -> None:
    found = said(*retyped("flap 3", "delivered_volume", 'delivered_volume = "800 gal"'))
    # 0.25 pi (1 m)^2 times the fall, some 2.1 m
    assert f'"{reading("flap 3", "waste_volume")}" and "800 gal" delivered is not usable' in found
    assert re.search(r"holds 16[345]\d L", found)


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


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        # limits of a run: 0.05 m / 0.3048 = 0.164 ft; 0.5 s / 3600 = 0.0001389 h; 1e8 Pa / 6894.757 = 14500 psi
        (
            *retyped("flap 1", "fall", 'fall = "7000 ft"'),
            'fall = "7000 ft" is not usable: it must be 0.164 to 196.9',
        ),
        (
            *retyped("flap 1", "duration", 'duration = "2000 h"'),
            'duration = "2000 h" is not usable: it must be 0.0001389 to 277',
        ),
        (
            *retyped("flap 3", "gauge_pressure", 'gauge_pressure = "-1 psi"'),
            '"-1 psi" is not usable: it must be 0 to 14500 psi',
        ),
        (
            *retyped("flap 1", "water_temperature", 'tilt = "120 deg"'),
            'tilt = "120 deg" is not usable: it must be -90 to 90 deg',
        ),
    ],
)
def test_limits_of_a_run_are_in_the_unit_typed(old: str, new: str, sentence: str) -> None:
    assert sentence in said(old, new)


def reduce_all(text: str) -> None:
    """Reduce every run of a workbook, errors restated."""
    workbook = load_workbook(text)
    with errors_of_runs(workbook):
        for run in workbook.runs:
            reduce_run(run, workbook.rigs[run.rig].instruments)


def reduced(old: str, new: str) -> str:
    """The sentence when the runs of the workshop, one text in it changed, are reduced."""
    assert old in WORKSHOP
    with pytest.raises(InputError) as caught:
        reduce_all(WORKSHOP.replace(old, new, 1))
    return str(caught.value)


def test_a_head_past_the_end_of_the_gauge_is_told_in_the_unit_of_the_gauge() -> None:
    # 200 ft less 0.15 m at 11 or 11.5 degC: 60.81 m x 999.6 kg/m3 x 9.80665 m/s2 = 5.961 bar
    old, new = retyped("flap 3", "gauge_pressure", 'back_pressure_head = "200 ft"')
    found = reduced(old, new)
    assert '"200 ft" (which makes gauge 5.961 bar) is not usable: it must be 0 to 4 bar. No gauge reads past' in found
    psi = WORKSHOP.replace('full_scale = "4 bar"', 'full_scale = "60 psi"', 1)
    with pytest.raises(InputError, match=r"gauge 86\.4\d psi\) is not usable: it must be 0 to 60 psi"):
        reduce_all(psi.replace(old, new, 1))


def test_a_head_below_the_gauge_is_told_in_the_unit_typed() -> None:
    # from the gauge's 0.15 m to its 4 bar: 0.492 ft to 134.4 ft
    found = reduced(*retyped("flap 3", "gauge_pressure", 'back_pressure_head = "0.1 ft"'))
    assert 'back_pressure_head = "0.1 ft" is not usable: it must be 0.4921 to 134.4 ft.' in found


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
