"""The decision to switch, on draws made by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from clackwork.errors import InputError
from clackwork.life.knowing import worth_knowing
from clackwork.life.renewals import YEAR
from clackwork.life.site_draws import PlaceDraws
from clackwork.life.stress import MATERIALS, LifeModel
from clackwork.life.switching import SwitchPlace, study_switch
from clackwork.life.worth import PartTerms, WaterTerms, yearly_renewals, yearly_worth
from clackwork.pipes import find_pipe
from clackwork.ram.parts import DeliveryLine, DrivePipe
from clackwork.site.site import Site

DRAWS = 40
WATER = WaterTerms(value=1.0, trouble_cost=500.0)
LITRE_A_MINUTE = 1e-3 / 60.0


def life(years: float, shape: float = 2.0) -> LifeModel:
    """A life known exactly, at one beat a second."""
    one = np.ones(DRAWS)
    return LifeModel(100.0, years * YEAR * one, shape * one, one, 0.0, 0.0, 40.0, 0.0, MATERIALS["other"])


def drawn(
    build: str, delivered: float = 2.0, needs: float = 15.0, stalls: float = 0.0, head: float = 50.0
) -> PlaceDraws:
    """Draws all alike, but for a share that stall; flows in L/min."""
    one = np.ones(DRAWS)
    beating = np.arange(DRAWS) >= stalls * DRAWS
    return PlaceDraws(
        "place",
        build,
        beating,
        np.where(beating, delivered * LITRE_A_MINUTE, 0.0),
        needs * LITRE_A_MINUTE * one,
        20.0 * LITRE_A_MINUTE * one,
        np.where(beating, 1.0, 0.0),
        np.where(beating, 100.0, 0.0),
        head * one,
        100.0,
        0.8 * one,
    )


def place(name: str, fall: float, new: PlaceDraws, size: str = "25 mm", old: PlaceDraws | None = None) -> SwitchPlace:
    pipe, line = find_pipe("steel-sch40", "1 in"), find_pipe("pe100-sdr11", "25 mm")
    site = Site(name, fall, 3e-4, DrivePipe(pipe, 12.0), DeliveryLine(line, 100.0, 10.0 * fall))
    return SwitchPlace(site, size, 1.0, old or drawn("old"), new)


OLD, NEW = PartTerms(life(1.25), 20.0, 30.0), PartTerms(life(10.0), 60.0, 45.0)


def test_renewals_are_beats_over_the_mean_life() -> None:
    """Mean of a Weibull of shape 2: scale times gamma(1.5) = 0.8862 (any table of the gamma function)."""
    assert yearly_renewals(drawn("old"), life(2.0), 1) == pytest.approx(
        np.full(DRAWS, 1.0 / (2.0 * 0.886227)), rel=1e-6
    )


def test_worth_of_a_year_by_hand() -> None:
    terms = PartTerms(life(2.0), 50.0, 40.0)
    water = WaterTerms(value=0.8, trouble_cost=300.0, years=5.0)
    by_hand = 0.8 * 2.0 * LITRE_A_MINUTE * YEAR - 40.0 / (2.0 * 0.886227) - 50.0 / 5.0
    assert yearly_worth(drawn("old"), terms, water, None, 1) == pytest.approx(np.full(DRAWS, by_hand), rel=1e-5)
    dry = drawn("old", needs=25.0)
    assert yearly_worth(dry, terms, water, None, 1)[0] == pytest.approx(
        -300.0 - 40.0 / (2.0 * 0.886227) - 10.0, rel=1e-5
    )
    half = yearly_worth(drawn("old"), terms, water, 1.0 * LITRE_A_MINUTE, 1)
    assert np.all(half < by_hand)


def test_a_part_that_lasts_is_switched_to_everywhere() -> None:
    study = study_switch([place(f"p{i}", 1.0 + i, drawn("new")) for i in range(5)], OLD, NEW, WATER)
    assert study.rules[0].switch == "all" and study.rules[0].switched == 5.0
    assert {one.outcome for one in study.places} == {"gains"}
    assert study.told == 0.0
    assert study.worth.middle == pytest.approx(study.always)


def test_a_small_fall_where_it_stalls_keeps_the_old_one() -> None:
    places = [
        place(f"p{fall:g}", fall, drawn("new", stalls=0.6 if fall < 1.2 else 0.0)) for fall in (0.8, 1.0, 1.5, 2.0, 4.0)
    ]
    study = study_switch(places, OLD, NEW, WATER)
    rule = study.rules[0]
    assert (rule.switch, rule.switched) == ("above", 3.0)
    assert rule.fall == pytest.approx(1.25)
    assert [one.outcome for one in study.places] == ["stalls", "stalls", "gains", "gains", "gains"]
    assert [one.switch for one in study.places] == [False, False, True, True, True]
    assert rule.worth > study.always


@pytest.mark.parametrize(
    ("change", "outcome"),
    [
        ({"needs": 25.0}, "needs more water"),
        ({"head": 120.0}, "too much pressure"),
        ({"stalls": 0.2}, "stalls"),
        ({"delivered": 1.0}, "loses"),
    ],
)
def test_who_must_be_told(change: dict[str, float], outcome: str) -> None:
    """One bad place among many good ones at the same fall: the rule switches all, and that customer is told."""
    places = [place(f"p{i}", 2.0, drawn("new", delivered=4.0)) for i in range(9)] + [
        place("odd", 2.0, drawn("new", **change))
    ]
    study = study_switch(places, OLD, NEW, replace(WATER, trouble_cost=50.0))
    odd = study.places[-1]
    assert odd.outcome == outcome
    assert odd.switch and odd.told and study.told == 1.0


def test_sizes_have_rules_of_their_own_in_order_of_size() -> None:
    places = [
        place("a", 2.0, drawn("new"), "50 mm"),
        place("b", 2.0, drawn("new", stalls=0.9), "15 mm"),
        place("c", 3.0, drawn("new"), "25 mm"),
    ]
    study = study_switch(places, OLD, NEW, WATER)
    assert [(one.size, one.switch) for one in study.rules] == [("15 mm", "none"), ("25 mm", "all"), ("50 mm", "all")]
    assert study.gains.shape == (DRAWS, 3)
    assert study.gains[:, 0].mean() < 0.0, "what switching all of a kept size would do, for what is worth knowing"


def test_no_sites() -> None:
    with pytest.raises(InputError, match="sites"):
        study_switch([], OLD, NEW, WATER)


def test_knowing_is_worth_what_turning_back_would_save() -> None:
    """Gain is the figure itself, standard normal plus 0.2: knowing it is worth E max(0, x) - 0.2 = 0.5069 - 0.2."""
    values = np.random.default_rng(2).standard_normal(4000)
    found = worth_knowing((values + 0.2)[:, np.newaxis], {"it": values, "other": np.random.default_rng(3).random(4000)})
    by_hand = (
        0.2 * 0.57926 + 0.39104 - 0.2
    )  # mean of max(0, N(0.2, 1)) by the normal table, less the gain without knowing
    assert found[0].figure == "it"
    assert found[0].worth == pytest.approx(by_hand, abs=0.04)
    assert found[1].worth < 0.02


def test_nothing_is_worth_knowing_where_the_answer_would_stay() -> None:
    values = np.random.default_rng(2).standard_normal(400)
    assert worth_knowing((values + 9.0)[:, np.newaxis], {"it": values})[0].worth == pytest.approx(0.0, abs=1e-9)
