"""Lives, bounds, wear and stress: by hand, at their ends, and refused."""

from __future__ import annotations

import math

import numpy as np
import pytest

from clackwork.errors import InputError, ModelError
from clackwork.life.bounds import lengths_needed, life_shown, lowest_scale, parts_needed, reliability_shown
from clackwork.life.endurance import EnduranceStand, plan_endurance
from clackwork.life.exposures import Exposure, gather
from clackwork.life.posterior import draw_posterior
from clackwork.life.stress import MATERIALS, StressedExposure, fit_life, landing_stress, priors_for
from clackwork.life.wear import WearReading, fit_wear
from clackwork.life.weibull import fit_weibull


def test_a_failure_before_its_start_is_refused_by_name() -> None:
    with pytest.raises(InputError, match=r"part 'flap 3', failed_by = 5 .*must not be before 8"):
        Exposure(8.0, 5.0, part="flap 3")


@pytest.mark.parametrize("survived", [-1.0, math.nan, math.inf])
def test_lives_that_cannot_be(survived: float) -> None:
    with pytest.raises(InputError, match="survived"):
        Exposure(survived)


def test_nothing_has_run() -> None:
    with pytest.raises(InputError, match="one part that has run"):
        gather([Exposure(0.0)])


def test_one_failure_gives_no_shape() -> None:
    with pytest.raises(ModelError, match="take two at least"):
        fit_weibull([Exposure(3.0, 3.0), Exposure(9.0, number=20)])


def test_equal_lives_give_no_shape() -> None:
    with pytest.raises(ModelError, match="all but equal"):
        fit_weibull([Exposure(3.0, 3.0), Exposure(3.0, 3.0)])


def test_lives_do_not_hang_on_the_unit() -> None:
    lives = [(3.0, 3.0), (5.0, 6.0), (7.0, math.inf), (4.0, 4.0)]
    fits = [fit_weibull([Exposure(k * a, k * b) for a, b in lives]) for k in (1.0, 2.6e6)]
    assert fits[1].shape == pytest.approx(fits[0].shape, rel=1e-6)
    assert fits[1].scale == pytest.approx(2.6e6 * fits[0].scale, rel=1e-6)
    ends = [fit.life_interval(0.1) for fit in fits]
    assert ends[1].low == pytest.approx(2.6e6 * ends[0].low, rel=1e-4)


def test_a_number_is_as_many_parts() -> None:
    once = fit_weibull([Exposure(3.0, 3.0), Exposure(4.0, 4.0), *[Exposure(6.0)] * 7])
    many = fit_weibull([Exposure(3.0, 3.0), Exposure(4.0, 4.0), Exposure(6.0, number=7)])
    assert many.shape == pytest.approx(once.shape, rel=1e-7)


def test_reliability_interval_meets_the_life_interval() -> None:
    """Where the low end of a life for 10 % failed lies, the low end of reliability is 90 %."""
    fit = fit_weibull([Exposure(life, life) for life in (2.0, 3.0, 4.5, 5.0, 7.0)])
    low = fit.life_interval(0.1).low
    assert fit.reliability_interval(low).low == pytest.approx(0.9, abs=1e-4)


def test_bounds_agree_with_each_other() -> None:
    lives = [Exposure(400.0, number=5), Exposure(300.0, 300.0)]
    scale = lowest_scale(lives, 2.0)
    assert life_shown(lives, 2.0, math.exp(-1.0)) == pytest.approx(scale)
    assert reliability_shown(lives, 2.0, scale) == pytest.approx(math.exp(-1.0))
    assert lowest_scale([Exposure(400.0, number=6)], 2.0) > scale
    count = parts_needed(0.9, 0.9, lengths=1.7, shape=2.0)
    assert lengths_needed(0.9, count, 0.9, 2.0) == pytest.approx(1.7)


def test_draws_have_the_density_asked_for() -> None:
    def density(rows: np.ndarray) -> np.ndarray:
        return np.asarray(-0.5 * ((rows[:, 0] - 3.0) / 0.5) ** 2 - 0.5 * ((rows[:, 1] - rows[:, 0]) / 0.1) ** 2)

    drawn = draw_posterior(density, np.array([0.0, 0.0]), draws=4000, seed=4)
    assert drawn.top == pytest.approx([3.0, 3.0], abs=1e-3)
    assert drawn.draws.mean(axis=0) == pytest.approx([3.0, 3.0], abs=0.05)
    assert drawn.draws.std(axis=0) == pytest.approx([0.5, math.hypot(0.5, 0.1)], rel=0.06)
    again = draw_posterior(density, np.array([0.0, 0.0]), draws=4000, seed=4)
    assert np.array_equal(drawn.draws, again.draws)


def test_without_records_the_priors_stand() -> None:
    model = fit_life([], MATERIALS["brass"])
    prior = MATERIALS["brass"]
    assert np.log(model.scale).mean() == pytest.approx(prior.scale.middle, abs=0.1)
    assert np.log(model.scale).std() == pytest.approx(prior.scale.spread, rel=0.08)
    assert model.exponent_learnt < 0.1


def test_records_at_two_stresses_teach_the_exponent() -> None:
    rng = np.random.default_rng(3)
    records = []
    for stress in (1.0, 4.0):
        for life in 4e7 * stress**-1.5 * rng.weibull(2.5, 12):
            records.append(StressedExposure(Exposure(life, life), stress))
    model = fit_life(records, MATERIALS["other"])
    assert np.quantile(model.exponent, 0.05) < 1.5 < np.quantile(model.exponent, 0.95)
    assert model.exponent_learnt > 0.6
    harder, easier = np.median(model.life_at(0.5, 4.0)), np.median(model.life_at(0.5, 1.0))
    assert harder < 0.3 * easier
    share = model.failed_by(float(np.median(model.scale_at(1.0))), 1.0)
    assert 0.5 < float(np.median(share)) < 0.75


def test_parts_that_run_on_lengthen_the_life() -> None:
    few = fit_life([StressedExposure(Exposure(1e7), 1.0)], MATERIALS["rubber"])
    more = fit_life([StressedExposure(Exposure(2e8, number=20), 1.0)], MATERIALS["rubber"])
    assert np.median(more.scale) > 2.0 * np.median(few.scale)


def test_an_unknown_material_is_refused() -> None:
    with pytest.raises(InputError, match="brass, stainless"):
        priors_for("cheese")


def test_landing_energy_by_area() -> None:
    # half of 0.1 kg at 1 m/s on the 5 cm2 of a bore of 25.23 mm: by hand
    assert landing_stress(1.0, 0.1, 0.0252313) == pytest.approx(100.0, rel=1e-4)


def test_steady_wear_reaches_its_limit_in_proportion() -> None:
    model = fit_wear([WearReading("a", 10.0, 0.2, 0.001), WearReading("a", 20.0, 0.4, 0.001)], steady=True)
    assert np.median(model.life_to(1.0, new_part=False)) == pytest.approx(50.0, rel=0.25)
    assert np.quantile(model.life_to(1.0), 0.05) < np.quantile(model.life_to(1.0, new_part=False), 0.05)


def test_wear_that_beds_in_is_learnt() -> None:
    readings = [
        WearReading(p, t, r * t**0.7, 0.002) for p, r in (("a", 0.05), ("b", 0.06)) for t in (1.0, 4.0, 9.0, 16.0)
    ]
    model = fit_wear(readings)
    assert np.median(model.power) == pytest.approx(0.7, abs=0.03)


def test_wear_does_not_heal() -> None:
    with pytest.raises(InputError, match="wear does not heal"):
        fit_wear([WearReading("a", 5.0, 0.5, 0.01), WearReading("a", 8.0, 0.2, 0.01)])


def test_an_endurance_test_is_shorter_with_more_parts_and_a_harder_stand() -> None:
    stands = [EnduranceStand("yard", 50.0, 1.0), EnduranceStand("tower", 100.0, 1.2)]
    tests = plan_endurance(3e7, 0.9, stands, 50.0, shape=2.0, exponents=(1.0, 2.0), most_parts=4)
    by = {(one.stand.name, one.parts): one for one in tests}
    # by hand: 3e7 beats x (ln 0.1 / ln 0.9)^(1/2) for one part
    assert by["yard", 1].beats == pytest.approx(3e7 * math.sqrt(math.log(0.1) / math.log(0.9)), rel=1e-6)
    assert by["yard", 4].beats == pytest.approx(0.5 * by["yard", 1].beats, rel=1e-6)
    assert by["tower", 1].beats == pytest.approx(0.5 * by["yard", 1].beats, rel=1e-6)
    assert tests[0].stand.name == "tower" and tests[0].parts == 4
    assert [one.duration for one in tests] == sorted(one.duration for one in tests)


def test_a_gentler_stand_counts_by_the_high_end_of_the_exponents() -> None:
    """It used to count by the low end, which made too much of a beat there."""
    [one] = plan_endurance(1e7, 0.9, [EnduranceStand("yard", 25.0, 1.0)], 50.0, exponents=(0.0, 2.0), most_parts=1)
    assert one.hastened == pytest.approx(0.25)  # (25 / 50)^2


def test_no_part_of_an_endurance_test_runs_for_less_than_the_life() -> None:
    stand = EnduranceStand("yard", 50.0, 1.0)
    tests = {one.parts: one for one in plan_endurance(1e7, 0.9, [stand], 50.0, most_parts=40)}
    assert tests[20].beats == pytest.approx(1e7 * math.log(0.1) / math.log(0.9) / 20, rel=1e-6)
    assert tests[22].beats == tests[40].beats == 1e7  # 22 parts over one life: the success run, as published
