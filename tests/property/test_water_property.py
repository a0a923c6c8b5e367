"""Relations that hold for water at any temperature and altitude."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from clackwork.water import atmospheric_pressure_abs, water_at

TEMPERATURES = st.floats(273.15, 313.15)
ALTITUDES = st.floats(-400.0, 5000.0)


@settings(deadline=None)  # the first call loads the formulation
@given(TEMPERATURES, ALTITUDES)
def test_vapour_head_lies_below_the_open_air(temperature: float, altitude: float) -> None:
    water = water_at(temperature, altitude)
    assert -11.0 < water.vapour_head_gauge < 0.0
    assert 990.0 < water.density < 1001.0
    assert 1400.0 < water.sound_speed < 1535.0


@settings(deadline=None)  # the first call loads the formulation
@given(TEMPERATURES, TEMPERATURES)
def test_warmer_water_is_thinner_and_boils_sooner(one: float, other: float) -> None:
    cool, warm = sorted((one, other))
    if warm - cool < 1e-6:
        return
    assert water_at(warm).dynamic_viscosity < water_at(cool).dynamic_viscosity
    assert water_at(warm).vapour_pressure_abs > water_at(cool).vapour_pressure_abs
    assert water_at(warm).vapour_head_gauge > water_at(cool).vapour_head_gauge
    assert water_at(warm).sound_speed > water_at(cool).sound_speed


@settings(deadline=None)  # the first call loads the formulation
@given(ALTITUDES, ALTITUDES)
def test_air_thins_with_altitude(one: float, other: float) -> None:
    low, high = sorted((one, other))
    if high - low < 1e-6:
        return
    assert atmospheric_pressure_abs(high) < atmospheric_pressure_abs(low)
    assert water_at(283.15, high).vapour_head_gauge > water_at(283.15, low).vapour_head_gauge
