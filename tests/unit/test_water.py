"""Water and standard air: ranges, definitions, what a caller is told."""

from __future__ import annotations

import dataclasses

import pytest

from clackwork.errors import InputError
from clackwork.water import STANDARD_GRAVITY, atmospheric_pressure_abs, water_at


def test_default_is_ten_degrees_at_sea_level() -> None:
    assert water_at() == water_at(283.15, 0.0)


def test_same_question_gives_the_same_object() -> None:
    assert water_at(288.0, 120.0) is water_at(288.0, 120.0)


def test_parts_agree_with_their_definitions() -> None:
    water = water_at(293.15, 800.0)
    assert water.bulk_modulus == pytest.approx(water.density * water.sound_speed**2, rel=1e-12)
    assert water.kinematic_viscosity == pytest.approx(water.dynamic_viscosity / water.density, rel=1e-12)
    head = (water.vapour_pressure_abs - water.atmospheric_pressure_abs) / water.density / STANDARD_GRAVITY
    assert water.vapour_head_gauge == pytest.approx(head, rel=1e-12)


def test_water_cannot_be_changed() -> None:
    with pytest.raises(dataclasses.FrozenInstanceError):
        water_at().density = 1.0  # type: ignore[misc]


@pytest.mark.parametrize("temperature", [273.0, 313.3, 10.0, float("nan"), float("inf")])
def test_temperature_outside_is_refused(temperature: float) -> None:
    with pytest.raises(InputError, match=r"temperature = .* it must be 273\.15 to 313\.15 K.*degC"):
        water_at(temperature)


@pytest.mark.parametrize("altitude", [-401.0, 5001.0, float("nan")])
def test_altitude_outside_is_refused(altitude: float) -> None:
    with pytest.raises(InputError, match=r"altitude = .* it must be -400 to 5000 m"):
        water_at(283.15, altitude)
    with pytest.raises(InputError, match="altitude"):
        atmospheric_pressure_abs(altitude)


@pytest.mark.parametrize(("temperature", "altitude"), [(273.15, -400.0), (313.15, 5000.0)])
def test_ends_of_the_range_are_allowed(temperature: float, altitude: float) -> None:
    water = water_at(temperature, altitude)
    assert water.vapour_pressure_abs < water.atmospheric_pressure_abs
