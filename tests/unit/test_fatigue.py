"""Laws of fatigue as data."""

from __future__ import annotations

import math

import pytest

from clackwork.errors import InputError
from clackwork.pipes import find_pipe
from clackwork.site.fatigue import POLYETHYLENE_CYCLES, bowman_cycles, fatigue_of, hoop_stress, vinson_cycles
from clackwork.water import water_at

WATER = water_at()


def test_a_thick_wall_is_stressed_more_at_its_bore_than_a_thin_one_in_the_middle() -> None:
    for size in ("1/2 in", "2 in"):
        pipe = find_pipe("pvc-sch80", size)
        thin, thick = hoop_stress(pipe, 1e6, "thin"), hoop_stress(pipe, 1e6, "thick")
        assert thin < thick < 1.15 * thin
    with pytest.raises(InputError, match="thin"):
        hoop_stress(pipe, 1e6, "middling")  # type: ignore[arg-type]


def test_pvc_gets_two_laws_far_apart_and_outside_their_tests() -> None:
    vinson, bowman = fatigue_of(find_pipe("pvc-sch40", "1 in"), 32.5, 55.0, 1.0, WATER)
    assert (vinson.law, bowman.law) == ("Vinson", "Bowman")
    assert max(vinson.cycles, bowman.cycles) > 10.0 * min(vinson.cycles, bowman.cycles)
    assert not vinson.inside and not bowman.inside  # 31.5 million beats a year lie beyond the tests
    assert vinson.years == pytest.approx(vinson.cycles / 31557600.0)


def test_a_law_is_inside_where_its_tests_were() -> None:
    # ten beats a day at a stress that was tested
    law = fatigue_of(find_pipe("pvc-sch40", "2 in"), 120.0, 200.0, 10.0 / 86400.0, WATER)[0]
    assert law.inside and 1e3 < law.cycles < 1e7


def test_polyethylene_has_only_a_test_that_ended_without_failure() -> None:
    (law,) = fatigue_of(find_pipe("pe100-sdr11", "32 mm"), 30.0, 40.0, 1.0, WATER)
    assert law.at_least and not law.inside and law.cycles == POLYETHYLENE_CYCLES and law.years < 0.2
    assert fatigue_of(find_pipe("pe100-sdr11", "32 mm"), 230.0, 40.0, 1.0, WATER) == ()  # over what was tested


def test_steel_and_still_pipes_get_none() -> None:
    assert fatigue_of(find_pipe("steel-sch40", "1 in"), 30.0, 40.0, 1.0, WATER) == ()
    assert fatigue_of(find_pipe("pvc-sch40", "1 in"), 30.0, 0.0, 1.0, WATER) == ()
    assert fatigue_of(find_pipe("pvc-sch40", "1 in"), 30.0, 40.0, 0.0, WATER) == ()
    with pytest.raises(InputError, match="swing_head"):
        fatigue_of(find_pipe("pvc-sch40", "1 in"), 30.0, -1.0, 1.0, WATER)


def test_no_stress_lasts_for_ever() -> None:
    assert vinson_cycles(0.0) == bowman_cycles(0.0) == math.inf
