"""Trials of the book planned and judged."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from web_case import BUILD

from clackwork.book import Book, NotThere, open_book
from clackwork.charts.vega import to_svg
from clackwork.errors import ClackworkError, InputError
from clackwork.quantities import parse
from clackwork.shop.judging import judge_book_trial, trial_picture
from clackwork.shop.planning import (
    USUAL_SCATTER,
    next_in_order,
    plan_answer,
    plan_new_trial,
    plan_of_trial,
    seed_of,
)
from clackwork.shop.run_card import READINGS, Reading, RunSent, card_of, keep_run
from clackwork.web.field_lists import forms

RIG = {
    "fall": "2.10 m",
    "drive_pipe": {"series": "steel-sch40", "size": "1 in", "length": "12.0 m"},
    "instruments": {"bucket": {"name": "tub", "mark_uncertainty": "0.02 L"}},
}
QUESTION = {"figure": "waste_flow", "kind": "shut_beating", "margin": "5 %", "difference_that_matters": "10 %"}


class Yard:
    """A book with two builds, a rig and a question, and a hand that makes runs."""

    def __init__(self, book: Book) -> None:
        self.book = book
        self.pump = book.add("pump", "25 mm", {}).id
        self.old = book.add("build", "old", BUILD, links={"pump": self.pump}).id
        valve = {**BUILD["waste_valve"], "stroke": "8 mm"}
        self.new = book.add("build", "new", {**BUILD, "waste_valve": valve}, links={"pump": self.pump}).id
        self.rig = book.add("rig", "yard", RIG).id
        self.trial = book.add("trial", "stroke", QUESTION, links={"old_build": self.old, "new_build": self.new}).id

    def run(self, build: int, litres: float, **more: Any) -> Any:
        """A run of two minutes that spilled so much."""
        entered = {"kind": "shut_beating", "duration": "2:00", "waste_volume": f"{litres} L", **more}
        number = self.book.list("run").total + 1
        sent = RunSent(build, self.rig, entered, f"request-{number:04d}")
        return keep_run(self.book, self.trial, sent)

    def runs(self, *pairs: tuple[int, float]) -> None:
        for build, litres in pairs:
            self.run(build, litres)

    def judged(self, system: str = "metric") -> dict[str, Any]:
        return judge_book_trial(self.book, self.trial, system)


@pytest.fixture
def yard(tmp_path: Path) -> Iterator[Yard]:
    with open_book(tmp_path / "book") as book:
        yield Yard(book)


# --- planning


def test_without_runs_the_scatter_is_taken_and_said_to_be(yard: Yard) -> None:
    planned = plan_of_trial(yard.book, yard.trial)
    assert planned.scatter.share == USUAL_SCATTER and planned.scatter.runs is None
    assert "common practice" in plan_answer(planned)["scatter_words"]
    assert planned.changes == ("stroke 7 mm -> 8 mm",)
    assert planned.old_value is None


def test_earlier_runs_give_the_scatter(yard: Yard) -> None:
    # old: 10, 11, 12 L: mean 11, standard deviation 1; two runs of new agree: 0 over one more degree of freedom,
    # where the bucket's mark of 0.02 L stands in for the scatter
    yard.runs((yard.old, 10), (yard.old, 11), (yard.old, 12), (yard.new, 11), (yard.new, 11))
    planned = plan_of_trial(yard.book, yard.trial)
    assert planned.scatter.share == pytest.approx((2 / 3) ** 0.5 / 11, rel=0.01)
    assert planned.scatter.runs == 4
    assert planned.old_value == pytest.approx(11e-3 / 120)


def test_the_order_keeps_a_drift_from_siding_with_a_build(yard: Yard) -> None:
    planned = plan_of_trial(yard.book, yard.trial)
    assert Counter(planned.order) == {"old": planned.runs_advised, "new": planned.runs_advised}
    assert planned.runs_advised >= 4 and planned.runs_advised % 2 == 0
    for first in range(0, len(planned.order), 4):  # a steady drift cancels in each block of four
        block = planned.order[first : first + 4]
        assert len({sum(place for place, one in enumerate(block) if one == build) for build in ("old", "new")}) == 1


def test_the_same_question_gets_the_same_order_before_and_after_it_is_kept(yard: Yard) -> None:
    before = plan_new_trial(yard.book, yard.old, yard.new, QUESTION)
    assert before.order == plan_of_trial(yard.book, yard.trial).order
    leads = {plan_new_trial(yard.book, yard.old, yard.new, {**QUESTION, "figure": figure}).order[0]
             for figure in ("waste_flow", "drawn_flow", "beat_rate", "water_per_beat")}  # fmt: skip
    assert leads == {"old", "new"}
    assert seed_of(1, 2, "waste_flow", "dead_head") != seed_of(1, 2, "waste_flow", "delivering")


@pytest.mark.parametrize(
    ("made", "expected"),
    [([], "a"), (["a"], "b"), (["b"], "a"), (["a", "b", "b"], "a"), (["a", "a"], "b"), (["a", "b", "b", "a"], "b")],
)
def test_the_next_build_is_the_first_place_not_filled(made: list[str], expected: str) -> None:
    order = ("a", "b", "b", "a", "b", "a", "a", "b")
    assert next_in_order(order, made, ("a", "b")) == expected


def test_past_the_plan_the_order_goes_on() -> None:
    order = ("a", "b", "b", "a")
    assert next_in_order(order, ["a", "a", "b", "b", "b"], ("a", "b")) == "a"


def test_a_finer_difference_takes_more_runs(yard: Yard) -> None:
    def runs(difference: str) -> int:
        asked = {**QUESTION, "margin": "1 %", "difference_that_matters": difference}
        return plan_new_trial(yard.book, yard.old, yard.new, asked, scatter="3 %").plan.runs_per_build

    assert [a > b for a, b in pairwise(map(runs, ("2 %", "4 %", "8 %")))] == [True, True]
    # 2 (1.645 + 0.842)^2 (3 %/2 %)^2 = 27.8 by the normal distribution; Student's t asks for one more or so
    assert 28 <= runs("2 %") <= 30


def test_what_cannot_be_planned_is_refused_by_field(yard: Yard) -> None:
    with pytest.raises(InputError, match="new_build"):
        plan_new_trial(yard.book, yard.old, yard.old, QUESTION)
    with pytest.raises(InputError, match="scatter"):
        plan_new_trial(yard.book, yard.old, yard.new, QUESTION, scatter="0 %")
    with pytest.raises(InputError, match="figure"):
        plan_new_trial(yard.book, yard.old, yard.new, {**QUESTION, "figure": "colour"})
    other = yard.book.add("pump", "40 mm", {}).id
    stranger = yard.book.add("build", "stranger", BUILD, links={"pump": other}).id
    with pytest.raises(InputError, match="another pump"):
        plan_new_trial(yard.book, yard.old, stranger, QUESTION)


def test_two_things_changed_at_once_are_said_in_the_plan(yard: Yard) -> None:
    valve = {**BUILD["waste_valve"], "stroke": "8 mm", "mass": "300 g"}
    third = yard.book.add("build", "third", {**BUILD, "waste_valve": valve}, links={"pump": yard.pump}).id
    planned = plan_new_trial(yard.book, yard.old, third, QUESTION)
    assert any("2 things change at once" in one for one in planned.sentences)


# --- judging


def test_no_run_yet(yard: Yard) -> None:
    judged = yard.judged()
    assert judged["sentence"] == "Nothing is known yet of the waste flow of new against old: no run was made."
    assert judged["enough"] is False and judged["verdict"] is None and judged["budget"] == []
    with pytest.raises(ClackworkError, match="no run"):
        trial_picture(yard.book, yard.trial)


def test_one_side_only(yard: Yard) -> None:
    yard.runs((yard.old, 10))
    judged = yard.judged()
    assert "new has no run" in judged["sentence"] and judged["next_build"] == "new"
    assert "old" in to_svg(trial_picture(yard.book, yard.trial, narrow=True))


def test_one_run_each_cannot_be_judged(yard: Yard) -> None:
    yard.runs((yard.old, 10), (yard.new, 12))
    judged = yard.judged()
    assert judged["verdict"] == "not yet known"
    assert "not yet known" in judged["sentence"]
    assert judged["enough_sentence"] == "Not enough: make at least two runs of old and of new."


def test_different_and_enough(yard: Yard) -> None:
    a, b = yard.old, yard.new
    yard.runs((a, 10), (b, 12), (b, 12.1), (a, 10.1), (b, 11.9), (a, 9.9), (a, 10.05), (b, 11.95))
    judged = yard.judged()
    assert judged["verdict"] == "different" and judged["enough"] is True
    assert judged["sentence"].startswith("The waste flow of new is 19.")
    assert judged["sentence"].endswith("higher than that of old.")
    assert judged["judgement"]["difference_l_min"] == pytest.approx((11.9875 - 10.0125) / 2)
    assert sum(part["share"] for part in judged["budget"]) == pytest.approx(1.0)
    assert {part["name"] for part in judged["budget"]} >= {"scatter of old", "scatter of new"}
    assert judged["changes"] == ["stroke 7 mm -> 8 mm"]
    us = yard.judged("us")
    assert us["judgement"]["difference_gal_min"] == pytest.approx(judged["judgement"]["difference_l_min"] / 3.785411784)


def test_lower_is_said_as_lower(yard: Yard) -> None:
    a, b = yard.old, yard.new
    yard.runs((a, 10), (b, 8), (b, 8.1), (a, 10.1))
    assert yard.judged()["sentence"].endswith("lower than that of old.")
    assert "\N{MINUS SIGN}" not in yard.judged()["sentence"]


def test_a_first_look_that_seems_settled_is_not_enough(yard: Yard) -> None:
    a, b = yard.old, yard.new
    yard.runs((a, 10), (b, 12), (b, 12.1), (a, 10.1))
    judged = yard.judged()
    assert judged["verdict"] == "different" and judged["enough"] is False
    assert (
        judged["enough_sentence"] == "It looks settled, but finish what was planned: 2 more of old and 2 more of new."
    )


def test_all_of_one_before_all_of_the_other_is_not_enough(yard: Yard) -> None:
    a, b = yard.old, yard.new
    yard.runs(*((a, 10 + 0.1 * n) for n in range(4)), *((b, 12 + 0.1 * n) for n in range(4)))
    judged = yard.judged()
    assert judged["enough"] is False and "came before all runs" in judged["enough_sentence"]


def test_the_same_within_the_margin(yard: Yard) -> None:
    a, b = yard.old, yard.new
    yard.runs((a, 10), (b, 10.05), (b, 10.02), (a, 10.03), (b, 10), (a, 10.04), (a, 10.01), (b, 10.03))
    judged = yard.judged()
    assert judged["verdict"] == "the same within the margin" and judged["enough"] is True
    assert judged["sentence"].startswith("In waste flow, new and old are the same within 5.0 %")


def test_scatter_says_how_many_more(yard: Yard) -> None:
    a, b = yard.old, yard.new
    yard.runs((a, 10), (b, 11), (b, 9), (a, 11))
    judged = yard.judged()
    assert judged["verdict"] == "not yet known" and judged["enough"] is False
    assert "Not enough yet to see 10 %" in judged["enough_sentence"]


def test_a_run_of_another_kind_is_shown_and_not_compared(yard: Yard) -> None:
    yard.run(yard.old, 20, kind="held_open")
    (row,) = yard.judged()["runs"]
    assert row["compared"] is False and row["why_not"] == "a held open run"


def test_a_trial_taken_away_is_not_judged(yard: Yard) -> None:
    yard.book.remove("trial", yard.trial, version=1)
    with pytest.raises(ClackworkError, match="taken away"):
        yard.judged()


@pytest.mark.parametrize("narrow", [False, True])
def test_the_picture_is_a_chart(yard: Yard, narrow: bool) -> None:
    import altair

    yard.runs((yard.old, 10), (yard.new, 12), (yard.new, 12.1), (yard.old, 10.1))
    spec = trial_picture(yard.book, yard.trial, narrow=narrow)
    assert altair.Chart.from_dict(spec).to_dict()  # validates against the schema
    assert "4 runs" in spec["description"]


# --- the card


def test_a_run_sent_twice_is_kept_once(yard: Yard) -> None:
    entered = {"kind": "shut_beating", "duration": "2:00.4", "beats": 100, "waste_volume": "10,5 L"}
    sent = RunSent(yard.old, yard.rig, entered, "card-0001")
    first, second = (keep_run(yard.book, yard.trial, sent) for _ in range(2))
    assert first == second and first.name == "old 1" and first.entered == entered
    assert yard.book.list("run").total == 1
    assert first.si["waste_volume_m3"] == pytest.approx(0.0105) and first.si["duration_s"] == pytest.approx(120.4)


def test_a_run_gets_the_next_free_name(yard: Yard) -> None:
    yard.book.add(
        "run",
        "old 2",
        {"kind": "shut_beating", "duration": "2:00", "beats": 90},
        links={"build": yard.new, "rig": yard.rig},
    )
    assert [yard.run(yard.old, 10).name for _ in range(3)] == ["old 1", "old 3", "old 4"]


def test_a_card_of_another_book_is_told_apart(yard: Yard) -> None:
    made_at = card_of(yard.book, yard.trial)["trial"]["made_at"]
    entered = {"kind": "shut_beating", "duration": "2:00", "beats": 100}
    with pytest.raises(NotThere, match="another book"):
        keep_run(yard.book, yard.trial, RunSent(yard.old, yard.rig, entered, "card-0001", "2020-01-01T00:00:00+00:00"))
    assert keep_run(yard.book, yard.trial, RunSent(yard.old, yard.rig, entered, "card-0001", made_at)).id


def test_the_card_knows_rig_and_units(yard: Yard) -> None:
    card = card_of(yard.book, yard.trial, "us")
    assert card["usual_rig"] == yard.rig and card["system"] == "us"
    first = {reading["key"]: reading["units"][0] for reading in card["readings"]}
    assert (first["waste_volume"], first["gauge_pressure"], first["fall"]) == ("gal (US)", "psi", "ft")


@pytest.mark.parametrize("reading", READINGS, ids=lambda one: one.key)
def test_the_card_offers_units_the_book_reads(reading: Reading) -> None:
    field = forms()["run"].field(reading.key)
    assert field is not None
    for unit in {*reading.metric, *reading.us}:
        assert parse(f"1.5 {unit}", field.kind).value > 0.0
