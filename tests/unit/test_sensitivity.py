"""Sweeps, slopes and edges of stalling, on invented rams."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from clackwork.errors import InputError, ModelError
from clackwork.pipes import find_pipe
from clackwork.ram.engine import RamCase, run_beats
from clackwork.ram.operating import operating_point, settled_beats
from clackwork.ram.parts import (
    AirVessel,
    Build,
    DeliveryLine,
    DeliveryValve,
    DrivePipe,
    GuidedPoppet,
    HingedFlap,
    Supply,
)
from clackwork.ram.sensitivity import (
    DELIVERS_NOTHING,
    WIDE_STEP,
    StallEdge,
    elasticities,
    input_value,
    inputs_of,
    nearest_edge,
    stall_edges,
    sweep,
    with_input,
)

STEEL = find_pipe("steel-sch40", "1 in")
LINE = DeliveryLine(find_pipe("pe100-sdr11", "25 mm"), 120.0, 36.0)
POPPET = RamCase(
    Build("poppet", GuidedPoppet(0.15, 0.006, 0.028), DeliveryValve(0.022, slip_volume=2e-6), AirVessel(4e-3)),
    DrivePipe(STEEL, 30.0),
    Supply(6.0),
    vessel_head=40.0,
)
FLAP = replace(
    POPPET, build=replace(POPPET.build, name="flap", waste_valve=HingedFlap(0.15, 0.006, 0.028, 0.035, 0.035))
)
SHUT = replace(POPPET, vessel_head=None)
LINED = replace(POPPET, vessel_head=None, line=LINE)


def test_which_inputs_a_case_has() -> None:
    assert set(inputs_of(FLAP)) - set(inputs_of(POPPET)) == {"hinge_stiffness"}
    assert set(inputs_of(POPPET)) - set(inputs_of(FLAP)) == {"spring_preload", "spring_rate"}
    assert set(inputs_of(POPPET)) - set(inputs_of(SHUT)) == {"lift"}
    assert inputs_of(LINED) == inputs_of(POPPET)


@pytest.mark.parametrize("case", [POPPET, FLAP, LINED], ids=["poppet", "flap", "lined"])
def test_an_input_is_set_and_read_back_and_nothing_else_moves(case: RamCase) -> None:
    for name in inputs_of(case):
        value = 1.1 * input_value(case, name) + 0.01
        moved = with_input(case, name, value)
        assert input_value(moved, name) == pytest.approx(value)
        assert all(input_value(moved, other) == input_value(case, other) for other in inputs_of(case) if other != name)


def test_lift_is_the_lines_or_the_head_held() -> None:
    assert input_value(LINED, "lift") == 36.0
    assert input_value(POPPET, "lift") == 40.0


def test_a_wider_pipe_keeps_its_wave_speed() -> None:
    assert with_input(POPPET, "pipe_bore", 0.05).wave_speed == pytest.approx(POPPET.wave_speed)


def test_an_input_the_case_lacks_is_named() -> None:
    for bad in (lambda: input_value(FLAP, "spring_rate"), lambda: with_input(SHUT, "lift", 30.0)):
        with pytest.raises(InputError, match="this case can be moved in mass, stroke"):
            bad()


def test_settled_beats_are_single_runs_in_order() -> None:
    found = settled_beats([POPPET, LINED, FLAP])
    assert found == [run_beats(POPPET), operating_point(LINED), run_beats(FLAP)]
    assert settled_beats([POPPET, LINED, FLAP], workers=1) == found
    assert settled_beats([]) == []


def test_a_sweep_says_where_the_pump_stalls() -> None:
    found = sweep(POPPET, "mass", [0.1, 0.2, 2.0])
    assert [each.is_beating for each in found.results] == [True, True, False]
    assert found.results[2].state == "stalled open"
    rates = found.column("beat_rate")
    assert rates[0] > rates[1] > 0.0 and math.isnan(rates[2])
    assert found.values.tolist() == [0.1, 0.2, 2.0]


def test_slopes_known_by_hand() -> None:
    """Steady speed goes as the root of the fall (rather more, as friction falls off) and down with length; the water of
    a beat goes with the length, its rate against it (rigid column)."""
    fall, length = elasticities(POPPET, ("fall", "pipe_length"))
    assert 0.5 < fall.slopes["steady_velocity"] < 0.57
    assert -0.5 < length.slopes["steady_velocity"] < 0.0
    assert length.slopes["beat_rate"] == pytest.approx(-1.0, abs=0.15)
    assert length.slopes["water_per_beat"] == pytest.approx(1.0, abs=0.2)
    assert not fall.one_sided and fall.step == WIDE_STEP and fall.scale == fall.value == 6.0


def test_slopes_add_up() -> None:
    """Flows are of one balance, and d'Aubuisson's efficiency is made of them."""
    for each in elasticities(POPPET, ("mass", "stroke")):
        share = each.slopes["delivered_flow"] - each.slopes["drawn_flow"]
        assert each.slopes["daubuisson_efficiency"] == pytest.approx(share, abs=1e-9)
        beat = each.slopes["waste_flow"] - each.slopes["beat_rate"]
        assert each.slopes["water_per_beat"] == pytest.approx(beat, abs=1e-9)


def test_every_input_has_a_slope() -> None:
    for case in (POPPET, FLAP, SHUT):
        found = elasticities(case)
        assert [each.name for each in found] == list(inputs_of(case))
        assert all(each.slopes.keys() == each.spread.keys() for each in found)
        assert all(("delivered_flow" in each.slopes) == (case is not SHUT) for each in found)


def test_inputs_at_zero_move_upward_alone() -> None:
    tilt, rate = elasticities(POPPET, ("tilt", "spring_rate"))
    assert tilt.one_sided and rate.one_sided
    assert elasticities(with_input(POPPET, "tilt", 0.3), ("tilt",))[0].one_sided is False
    preload = elasticities(POPPET, ("spring_preload",))[0]
    assert not preload.one_sided
    # The preload is opening load and no mass: it acts as the same share of the weight does, but for inertia.
    mass = elasticities(POPPET, ("mass",))[0]
    assert preload.slopes["beat_rate"] == pytest.approx(mass.slopes["beat_rate"], abs=0.15)


def test_the_wide_step_is_the_smoother_one() -> None:
    """The measurement behind the step, on one ram: the slope taken anew from points close by scatters less."""

    def scatter(step: float) -> float:
        slopes = [
            [each.slopes["drawn_flow"] for each in elasticities(moved, ("mass", "stroke", "lift"), step=step)]
            for moved in (with_input(POPPET, "mass", 0.15 * share) for share in (0.97, 0.985, 1.0, 1.015, 1.03))
        ]
        return float(np.std(slopes, axis=0).mean())

    assert scatter(WIDE_STEP) < 0.8 * scatter(0.01)


def test_slopes_at_the_edge_of_stalling_say_so() -> None:
    edge = next(edge for edge in stall_edges(POPPET, ("mass",)) if edge.state == "stalled open")
    found = elasticities(with_input(POPPET, "mass", 0.97 * edge.value), ("mass", "lift"))
    assert found[0].stalls == "stalled open" and found[0].slopes == {} and found[0].spread == {}
    assert found[1].stalls == "" and found[1].slopes


def test_a_pump_that_stalls_has_no_slopes_and_no_margin() -> None:
    stalled = with_input(POPPET, "mass", 2.0)
    with pytest.raises(ModelError, match="stalled open as it stands"):
        elasticities(stalled)
    with pytest.raises(ModelError, match="stalled open as it stands"):
        stall_edges(stalled)


@pytest.mark.parametrize("case", [POPPET, FLAP, LINED], ids=["poppet", "flap", "lined"])
def test_beyond_an_edge_it_stops_and_within_it_beats(case: RamCase) -> None:
    """At a low lift, where too much fall leaves too little recoil: there is an edge to standing open and to staying shut.

    The edge to staying shut is frayed: a valve that just drops does so or not by a wave of the beat before.
    """
    low = with_input(case, "lift", 14.0)
    edges = stall_edges(low)
    assert [edge.name for edge in edges] == ["mass", "mass", "stroke", "stroke", "fall", "fall"]
    assert all(below.share < 0.0 < above.share for below, above in zip(edges[::2], edges[1::2], strict=True))
    states = {(edge.name, edge.share > 0.0): edge.state for edge in edges}
    assert states["mass", True] == states["fall", False] == "stalled open"
    assert states["fall", True] == "stalled shut"
    for edge in edges:
        if not edge.state:
            continue
        now = input_value(low, edge.name)
        assert edge.value == pytest.approx(now * (1.0 + edge.share))
        shares = (1.0, 0.9, 0.8, 0.6, 0.3)
        way = [with_input(low, edge.name, now * (edge.value / now) ** share) for share in shares]
        beyond, *within = settled_beats(way)
        assert beyond.state == edge.state
        assert {each.state for each in within} <= {"beating", "irregular"}


def test_an_edge_where_nothing_is_delivered_any_more() -> None:
    high = with_input(POPPET, "lift", 110.0)
    edge = stall_edges(high, ("mass",))[0]
    assert edge.state == DELIVERS_NOTHING and edge.share < 0.0
    assert run_beats(with_input(high, "mass", edge.value)).delivered_flow < 1e-9
    assert run_beats(with_input(high, "mass", 1.2 * edge.value)).delivered_flow > 1e-8
    shut = replace(high, vessel_head=None)
    assert all(each.state != DELIVERS_NOTHING for each in stall_edges(shut, ("mass",)))


def test_an_edge_out_of_sight_says_how_far_was_looked() -> None:
    edges = stall_edges(POPPET, ("mass",), farthest=1.3)
    assert [edge.state for edge in edges] == ["", ""]
    assert edges[1].value == pytest.approx(1.3 * 0.15) and edges[0].value == pytest.approx(0.15 / 1.3)
    far = stall_edges(with_input(FLAP, "stroke", 0.02), ("stroke",))[1]
    assert far.state == "stalled open" or far.value <= 1.2 * 0.035, "no farther than the flap can swing"


def test_an_input_at_zero_has_no_edge() -> None:
    with pytest.raises(InputError, match="tilt = 0 is not usable"):
        stall_edges(POPPET, ("tilt",))


def test_the_nearest_edge_is_counted_in_factors() -> None:
    half, double = StallEdge("mass", "stalled shut", 0.4, -0.6), StallEdge("mass", "stalled open", 1.9, 0.9)
    unseen = StallEdge("fall", "", 1.0, 0.1)
    assert nearest_edge([half, double, unseen]) is double
    assert nearest_edge([unseen]) is None
