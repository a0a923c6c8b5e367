"""Relations that hold for water hammer in any pipe."""

from __future__ import annotations

from hypothesis import assume, given, settings
from hypothesis import strategies as st

from clackwork.hammer import (
    allievi_highest_head,
    first_cavity,
    joukowsky_head,
    michaud_head,
    restraint_factor,
    wave_speed,
)
from clackwork.water import STANDARD_GRAVITY, water_at

BORES = st.floats(0.005, 0.5)
WALLS = st.floats(0.0005, 0.02)
MODULI = st.floats(0.5e9, 210e9)
RATIOS = st.floats(0.0, 0.5)
WATER = water_at()


@given(BORES, WALLS, RATIOS)
def test_free_joints_give_most(bore: float, wall: float, poisson: float) -> None:
    throughout = restraint_factor(bore, wall, poisson, "throughout")
    one_end = restraint_factor(bore, wall, poisson, "one_end")
    joints = restraint_factor(bore, wall, poisson, "joints")
    # Below a ratio of 1/2 the end hold draws the pipe in along its length most.
    assert one_end * (1.0 - 1e-12) <= throughout <= joints


@given(BORES, WALLS, MODULI, RATIOS, st.floats(0.0, 0.1), st.floats(1.01, 3.0))
def test_wave_speed_is_bounded_and_ordered(
    bore: float, wall: float, modulus: float, poisson: float, gas: float, more: float
) -> None:
    def speed(modulus: float = modulus, gas: float = gas, pressure: float = 1e5) -> float:
        return wave_speed(
            bore,
            wall,
            modulus,
            poisson,
            WATER.density,
            WATER.bulk_modulus,
            gas_fraction=gas,
            pressure_abs=pressure,
        )

    assert 0.0 < speed(gas=0.0) < WATER.sound_speed
    assert speed(modulus=modulus * more) > speed()
    if gas > 1e-9:
        assert speed(pressure=1e5 * more) > speed()
    assert speed(gas=1e-4 + gas) < speed(gas=gas)


@settings(deadline=None)
@given(st.floats(0.0, 20.0), st.floats(0.0, 50.0), st.floats(1.01, 2.0))
def test_closing_slower_never_raises_the_highest_head(rho: float, theta: float, slower: float) -> None:
    quick, slow = allievi_highest_head(rho, theta), allievi_highest_head(rho, theta * slower)
    assert 1.0 <= slow <= quick * (1.0 + 1e-5) <= (1.0 + 2.0 * rho) * (1.0 + 2e-5)


@given(st.floats(1.0, 500.0), st.floats(0.0, 5.0), st.floats(0.0, 10.0), st.floats(100.0, 1450.0))
def test_michaud_never_passes_joukowsky(length: float, velocity: float, time: float, speed: float) -> None:
    assert 0.0 <= michaud_head(length, velocity, time, speed) <= joukowsky_head(speed, velocity)


@given(
    st.floats(1.0, 100.0),
    st.floats(-10.3, -6.0),
    st.floats(200.0, 1450.0),
    st.floats(1.0, 200.0),
    st.floats(1.001, 1.999),
)
def test_first_cavity_keeps_its_order(still: float, vapour: float, speed: float, length: float, share: float) -> None:
    velocity = share * STANDARD_GRAVITY * (still - vapour) / speed
    assume(velocity > 0.0)
    cavity = first_cavity(velocity, still, vapour, speed, length)
    period = 2.0 * length / speed
    assert 2.0 * period <= cavity.collapse_time <= 3.0 * period * (1.0 + 1e-12)
    assert cavity.pulse_start <= cavity.pulse_end <= 4.0 * period * (1.0 + 1e-12)
    assert cavity.head_after_collapse < cavity.pulse_head
    # The pulse passes the first rise by 4 (H0 - Hv) - 2 a V0/g, which is never negative here.
    assert cavity.pulse_head >= cavity.first_head * (1.0 - 1e-12)
