"""Water hammer: values by hand or by definition, and what a wrong question is told."""

from __future__ import annotations

import math

import numpy as np
import pytest

from clackwork.errors import InputError
from clackwork.hammer import (
    allievi_highest_head,
    first_cavity,
    joukowsky_head,
    korteweg_speed,
    michaud_head,
    pipe_wave_speed,
    reflection_time,
    restraint_factor,
    wave_speed,
)
from clackwork.pipes import find_pipe
from clackwork.water import water_at


def test_restraint_by_hand() -> None:
    # 2 x 0.1 x 1.3 = 0.26; D/(D + e) = 1/1.1
    assert restraint_factor(0.1, 0.01, 0.3, "joints") == pytest.approx(0.26 + 1.0 / 1.1)
    assert restraint_factor(0.1, 0.01, 0.3, "one_end") == pytest.approx(0.26 + 0.85 / 1.1)
    assert restraint_factor(0.1, 0.01, 0.3, "throughout") == pytest.approx(0.26 + 0.91 / 1.1)


def test_rigid_wall_leaves_the_speed_of_sound() -> None:
    water = water_at(293.15)
    computed = wave_speed(0.05, 0.003, math.inf, 0.3, water.density, water.bulk_modulus)
    assert computed == pytest.approx(water.sound_speed, rel=1e-12)


def test_gas_by_hand() -> None:
    # 1 % of gas at 100 kPa: 1e-7 1/Pa of give against water's 4.5e-10: sqrt(1/(990 x 1.0045e-7)) = 100.28 m/s
    computed = korteweg_speed(0.05, 0.003, math.inf, 1000.0, 2.2e9, gas_fraction=0.01, pressure_abs=1e5)
    assert computed == pytest.approx(100.28, rel=1e-4)


def test_pipe_wave_speed_passes_everything_on() -> None:
    pipe, water = find_pipe("steel-sch40", "1 in"), water_at(290.0, 1500.0)
    computed = pipe_wave_speed(pipe, water, "throughout", 1e-4)
    by_parts = wave_speed(
        pipe.bore,
        pipe.wall,
        pipe.youngs_modulus,
        pipe.poisson,
        water.density,
        water.bulk_modulus,
        anchoring="throughout",
        gas_fraction=1e-4,
        pressure_abs=water.atmospheric_pressure_abs,
    )
    assert computed == by_parts


def test_plastic_is_far_slower_than_steel() -> None:
    water = water_at()
    assert 1300.0 < pipe_wave_speed(find_pipe("steel-sch40", "1 in"), water) < 1420.0
    assert 400.0 < pipe_wave_speed(find_pipe("pvc-sch40", "1 in"), water) < 600.0
    assert 200.0 < pipe_wave_speed(find_pipe("pe100-sdr11", "32 mm"), water) < 400.0


def test_joukowsky_keeps_its_sign_and_takes_gravity() -> None:
    assert joukowsky_head(981.0, 1.0, gravity=9.81) == pytest.approx(100.0)
    assert joukowsky_head(981.0, -1.0, gravity=9.81) == pytest.approx(-100.0)


def test_michaud_is_capped_by_joukowsky() -> None:
    sudden = joukowsky_head(1000.0, 1.0)
    assert reflection_time(10.0, 1000.0) == pytest.approx(0.02)
    assert michaud_head(10.0, 1.0, 0.0, 1000.0) == sudden
    assert michaud_head(10.0, 1.0, 0.02, 1000.0) == sudden
    assert michaud_head(10.0, 1.0, 0.04, 1000.0) == pytest.approx(sudden / 2.0)


def _coarse_gate(rho: float, theta: float, reaches: int = 400) -> float:
    """Highest H/H0 by plain characteristics on a grid, gate last: another road to Allievi's answer."""
    head, flow = np.ones(reaches + 1), np.ones(reaches + 1)  # H/H0, V/V0
    impedance, highest = 2.0 * rho, 1.0  # a V0/(g H0)
    for step in range(1, int(2 * reaches * (math.ceil(theta) + 1))):
        down, up = head[:-1] + impedance * flow[:-1], head[1:] - impedance * flow[1:]
        head[1:-1], flow[1:-1] = (down[:-1] + up[1:]) / 2, (down[:-1] - up[1:]) / 2 / impedance
        head[0], flow[0] = 1.0, (1.0 - up[0]) / impedance
        gate = max(0.0, 1.0 - step / (2 * reaches) / theta)
        root = -impedance * gate / 2 + math.sqrt((impedance * gate / 2) ** 2 + max(down[-1], 0.0))
        head[-1] = root**2 if gate > 0.0 else down[-1]
        flow[-1] = gate * root
        highest = max(highest, float(head[-1]))
    return highest


@pytest.mark.parametrize(("rho", "theta"), [(0.3, 1.7), (1.0, 2.6), (3.0, 4.3)])
def test_allievi_against_a_grid_of_characteristics(rho: float, theta: float) -> None:
    assert allievi_highest_head(rho, theta) == pytest.approx(_coarse_gate(rho, theta), rel=2e-4)


def test_allievi_limits() -> None:
    assert allievi_highest_head(0.0, 5.0) == 1.0
    assert allievi_highest_head(0.7, 0.0) == allievi_highest_head(0.7, 1.0) == 2.4
    # Very slow: z rises by s = 1/2 (c + sqrt(c^2 + 4)) with c = rho/theta (Allievi's limit).
    slow = 1.0 / 40.0
    limit = (slow / 2.0 + math.sqrt(1.0 + slow**2 / 4.0)) ** 2
    assert allievi_highest_head(1.0, 40.0) == pytest.approx(limit, rel=1e-3)


def test_first_cavity_takes_in_only_what_it_covers() -> None:
    with pytest.raises(InputError, match="no cavity opens"):
        first_cavity(0.1, 22.0, -10.25, 1319.0, 37.23)
    with pytest.raises(InputError, match="outlasts this closed form"):
        first_cavity(0.6, 22.0, -10.25, 1319.0, 37.23)
    with pytest.raises(InputError, match="still_head less vapour_head"):
        first_cavity(0.3, -11.0, -10.25, 1319.0, 37.23)


@pytest.mark.parametrize(
    ("field", "changed"),
    [
        ("bore", {"bore": 0.0}),
        ("bore", {"bore": float("nan")}),
        ("wall", {"wall": -0.001}),
        ("youngs_modulus", {"youngs_modulus": 0.0}),
        ("poisson", {"poisson": 0.51}),
        ("density", {"density": 0.0}),
        ("bulk_modulus", {"bulk_modulus": math.inf}),
        ("anchoring", {"anchoring": "loose"}),
        ("gas_fraction", {"gas_fraction": 1.0}),
        ("gas_fraction", {"gas_fraction": -0.1}),
        ("pressure_abs", {"pressure_abs": 0.0}),
    ],
)
def test_wave_speed_names_the_wrong_field(field: str, changed: dict[str, object]) -> None:
    arguments: dict[str, object] = {
        "bore": 0.05,
        "wall": 0.003,
        "youngs_modulus": 207e9,
        "poisson": 0.3,
        "density": 1000.0,
        "bulk_modulus": 2.2e9,
        **changed,
    }
    with pytest.raises(InputError) as caught:
        wave_speed(**arguments)  # type: ignore[arg-type]
    assert caught.value.field == field


def test_other_wrong_questions() -> None:
    with pytest.raises(InputError, match="rho"):
        allievi_highest_head(-1.0, 2.0)
    with pytest.raises(InputError, match="theta"):
        allievi_highest_head(1.0, math.nan)
    with pytest.raises(InputError, match="wave_speed"):
        joukowsky_head(0.0, 1.0)
    with pytest.raises(InputError, match="closing_time"):
        michaud_head(10.0, 1.0, -1.0, 1000.0)
    with pytest.raises(InputError, match="length"):
        reflection_time(0.0, 1000.0)
