"""The finder of stroke and mass, on invented rams."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from clackwork.errors import InputError, ModelError
from clackwork.pipes import find_pipe
from clackwork.ram.engine import RamCase, run_batch, run_beats
from clackwork.ram.operating import line_head
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
from clackwork.ram.sensitivity import with_input
from clackwork.ram.tuning import TuningBounds, tune_for_delivery, tune_for_efficiency, tune_for_least_water

CASE = RamCase(
    Build("metal", GuidedPoppet(0.2, 0.006, 0.028), DeliveryValve(0.022, slip_volume=2e-6), AirVessel(4e-3)),
    DrivePipe(find_pipe("steel-sch40", "1 in"), 30.0),
    Supply(6.0),
    vessel_head=40.0,
)
BOUNDS = TuningBounds(0.002, 0.012, 0.04, 0.8)
LITRE_A_MINUTE = 1e-3 / 60.0
INFINITE = math.inf


def test_nothing_within_the_bounds_delivers_much_more() -> None:
    """Against candidates strewn over the bounds."""
    found = tune_for_delivery(CASE, BOUNDS, 15.0 * LITRE_A_MINUTE)
    rng = np.random.default_rng(3)
    strokes, masses = np.exp(rng.uniform(np.log([0.002, 0.04]), np.log([0.012, 0.8]), (150, 2))).T
    others = run_batch(
        [
            replace(CASE, build=CASE.build.retuned(stroke=float(stroke), mass=float(mass)))
            for stroke, mass in zip(strokes, masses, strict=True)
        ]
    )
    served = [each for each in others if each.state == "beating" and each.drawn_flow <= 15.0 * LITRE_A_MINUTE]
    assert len(served) > 30
    assert found.result.delivered_flow > 0.99 * max(each.delivered_flow for each in served)
    assert found.result.drawn_flow <= 15.0 * LITRE_A_MINUTE
    assert max(each.delivered_flow for each in others) > 1.1 * found.result.delivered_flow, "the limit binds"


def test_the_tuning_is_a_run_of_the_engine() -> None:
    found = tune_for_delivery(CASE, BOUNDS, INFINITE)
    assert run_beats(replace(CASE, build=found.build)) == found.result
    assert (found.build.waste_valve.stroke, found.build.waste_valve.mass) == (found.stroke, found.mass)
    best = max((each for each in found.tried if not each.refusal), key=lambda each: each.result.delivered_flow)
    assert (best.stroke, best.mass) == (found.stroke, found.mass)


def test_the_map_has_each_candidate_once_and_its_ends_exactly() -> None:
    found = tune_for_efficiency(CASE, BOUNDS)
    pairs = [(each.stroke, each.mass) for each in found.tried]
    assert len(set(pairs)) == len(pairs) >= 81
    assert (min(pairs)[0], max(pairs)[0]) == (0.002, 0.012)
    assert (min(mass for _, mass in pairs), max(mass for _, mass in pairs)) == (0.04, 0.8)
    assert {"stand open", ""} <= {each.refusal for each in found.tried}


def test_each_aim_is_best_at_its_own() -> None:
    most = tune_for_delivery(CASE, BOUNDS, INFINITE).result
    thrifty = tune_for_efficiency(CASE, BOUNDS).result
    wanted = 0.7 * most.delivered_flow
    least = tune_for_least_water(CASE, BOUNDS, wanted).result
    assert most.delivered_flow >= least.delivered_flow >= wanted
    assert least.drawn_flow < most.drawn_flow
    assert thrifty.daubuisson_efficiency > max(most.daubuisson_efficiency, least.daubuisson_efficiency)
    enough = tune_for_efficiency(CASE, BOUNDS, wanted_flow=wanted).result
    assert enough.delivered_flow >= wanted
    assert enough.daubuisson_efficiency <= thrifty.daubuisson_efficiency


def test_the_band_of_beats_is_kept() -> None:
    band = replace(BOUNDS, lowest_beat_rate=0.9, highest_beat_rate=0.93)
    assert 0.9 <= tune_for_efficiency(CASE, band).result.beat_rate <= 0.93


def test_a_narrow_band_is_found_between_the_points_of_the_map() -> None:
    """One candidate of the coarse map in eighty-one would be luck: the band is that of a ram well between two."""
    wide = TuningBounds(0.001, 0.02, 0.005, 5.0)
    there = run_beats(replace(CASE, build=CASE.build.retuned(stroke=0.0054, mass=0.17))).beat_rate
    band = replace(wide, lowest_beat_rate=0.99 * there, highest_beat_rate=1.01 * there)
    assert band.lowest_beat_rate <= tune_for_delivery(CASE, band, INFINITE).result.beat_rate <= band.highest_beat_rate


def test_equal_ends_keep_the_stroke() -> None:
    found = tune_for_delivery(CASE, replace(BOUNDS, least_stroke=0.005, most_stroke=0.005), INFINITE)
    assert {each.stroke for each in found.tried} == {0.005}
    assert found.stroke == 0.005 and 0.04 < found.mass < 0.8


def test_the_margin_to_stalling_goes_with_the_tuning() -> None:
    found = tune_for_delivery(CASE, BOUNDS, INFINITE)
    assert [edge.name for edge in found.edges] == ["mass", "mass", "stroke", "stroke", "fall", "fall"]
    assert found.nearest in found.edges and found.nearest is not None
    tuned = replace(CASE, build=found.build)
    assert run_beats(with_input(tuned, found.nearest.name, found.nearest.value)).state == found.nearest.state


def test_with_a_line_every_candidate_runs_at_its_operating_point() -> None:
    line = DeliveryLine(find_pipe("pe100-sdr11", "25 mm"), 200.0, 36.0)
    bounds = replace(BOUNDS, least_stroke=0.006, most_stroke=0.006)
    found = tune_for_delivery(replace(CASE, vessel_head=None, line=line), bounds, INFINITE)
    flow = found.result.delivered_flow
    assert found.result.vessel_head == pytest.approx(line_head(line, flow, CASE.water), rel=2e-3)
    assert found.result.vessel_head > 36.2


def test_any_number_of_workers_finds_the_same() -> None:
    assert tune_for_delivery(CASE, BOUNDS, INFINITE, workers=1) == tune_for_delivery(CASE, BOUNDS, INFINITE, workers=2)


def test_progress_counts_and_may_stop() -> None:
    seen: list[tuple[int, int]] = []
    tune_for_efficiency(CASE, BOUNDS, progress=lambda done, planned: seen.append((done, planned)))
    assert [done for done, _ in seen] == sorted(done for done, _ in seen)
    assert seen[-1][0] == seen[-1][1]

    def stop(done: int, planned: int) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        tune_for_efficiency(CASE, BOUNDS, progress=stop)


def test_when_all_stand_open() -> None:
    with pytest.raises(ModelError, match=r"all 289 tried stand open\..*less of either, or give more fall"):
        tune_for_delivery(CASE, TuningBounds(0.01, 0.012, 0.6, 0.8), INFINITE)


def test_when_all_stay_shut() -> None:
    """A vessel held below the supply: water runs through, and nothing ever opens the valve."""
    with pytest.raises(ModelError, match=r"stay shut.*allow more weight or spring"):
        tune_for_delivery(replace(CASE, vessel_head=5.0), TuningBounds(0.004, 0.006, 0.1, 0.2), INFINITE)


def test_when_the_band_is_out_of_reach() -> None:
    fast = TuningBounds(0.006, 0.012, 0.2, 0.8, 5.0, 6.0)
    with pytest.raises(ModelError, match=r"beats of 300 to 360 a minute: of 289 tried, .* beat too slowly"):
        tune_for_delivery(CASE, fast, INFINITE)
    slow = TuningBounds(0.002, 0.003, 0.04, 0.1, 0.1, 0.2)
    with pytest.raises(ModelError, match=r"beat too fast.*allow more weight or stroke, or a faster band"):
        tune_for_delivery(CASE, slow, INFINITE)


def test_when_the_source_is_too_small_or_too_much_is_wanted() -> None:
    with pytest.raises(ModelError, match=r"draw more than the source gives: allow less weight"):
        tune_for_delivery(CASE, TuningBounds(0.006, 0.012, 0.1, 0.8), 5.0 * LITRE_A_MINUTE)
    with pytest.raises(ModelError, match=r"deliver less than is wanted: allow more weight"):
        tune_for_least_water(CASE, TuningBounds(0.004, 0.006, 0.1, 0.2), 5.0 * LITRE_A_MINUTE)


def test_when_the_lift_is_out_of_reach() -> None:
    with pytest.raises(ModelError, match=r"all 289 tried deliver nothing.*lower the lift"):
        tune_for_delivery(replace(CASE, vessel_head=400.0), TuningBounds(0.004, 0.006, 0.1, 0.2), INFINITE)


def test_when_nothing_opens_the_valve() -> None:
    flap = HingedFlap(0.1, 0.006, 0.028, 0.035, 0.035, hinge_stiffness=20.0)
    case = replace(CASE, build=replace(CASE.build, waste_valve=flap))
    with pytest.raises(ModelError, match=r"have nothing to open them.*more weight or spring"):
        tune_for_delivery(case, TuningBounds(0.004, 0.006, 0.05, 0.1), INFINITE)


def test_a_case_with_its_delivery_shut_has_nothing_to_deliver_against() -> None:
    with pytest.raises(ModelError, match="give a delivery line, or a head held"):
        tune_for_delivery(replace(CASE, vessel_head=None), BOUNDS, INFINITE)


@pytest.mark.parametrize(
    ("bounds", "field"),
    [
        ((0.012, 0.002, 0.04, 0.8), "most_stroke"),
        ((0.002, 0.012, 0.8, 0.04), "most_mass"),
        ((2.0, 12.0, 0.04, 0.8), "least_stroke"),
        ((0.002, 0.012, 40.0, 800.0), "most_mass"),
        ((0.002, 0.012, 0.04, 0.8, 50.0, 70.0), "lowest_beat_rate"),
        ((0.002, 0.012, 0.04, 0.8, 1.0, 0.5), "highest_beat_rate"),
    ],
)
def test_bounds_name_the_field_at_fault(bounds: tuple[float, ...], field: str) -> None:
    with pytest.raises(InputError, match=f"^{field} ="):
        TuningBounds(*bounds)


def test_flows_asked_for_are_above_zero() -> None:
    with pytest.raises(InputError, match="source_flow"):
        tune_for_delivery(CASE, BOUNDS, 0.0)
    with pytest.raises(InputError, match="wanted_flow"):
        tune_for_least_water(CASE, BOUNDS, -1.0)


def test_a_stroke_the_flap_cannot_swing_is_named() -> None:
    case = replace(CASE, build=replace(CASE.build, waste_valve=HingedFlap(0.1, 0.006, 0.028, 0.009, 0.009)))
    with pytest.raises(InputError, match=r"waste_valve\.stroke"):
        tune_for_delivery(case, BOUNDS, INFINITE)
