"""Parts in service and switches from a workbook, and the commands that answer for them."""

from __future__ import annotations

import datetime
import json
import math
from collections.abc import Iterable
from pathlib import Path

import pytest
from click.testing import Result
from invented_switch import switch_found, twins
from invented_twin import demo
from typer.testing import CliRunner
from workshop_books import demo_text

from clackwork.cli import app
from clackwork.errors import InputError
from clackwork.life_rates import engine_rates
from clackwork.life_report import life_groups
from clackwork.workbook import Workbook, load_workbook
from clackwork.workbook_jobs import Done, Progress

AFTER = "# ---------------------------------------------------------------- whether to switch"
FIRST = 'name = "Upper Hazel, first rubber"\n'


def changed(old: str, new: str) -> str:
    text = demo_text()
    assert old in text
    return text.replace(old, new, 1)


@pytest.fixture
def book(tmp_path: Path) -> Path:
    path = tmp_path / "book.toml"
    path.write_text(demo_text(), encoding="utf-8")
    return path


def run(*words: str) -> Result:
    return CliRunner().invoke(app, list(words))


def test_parts_and_switch_of_the_demo() -> None:
    workbook = demo()
    assert [one.name for one in workbook.parts][:2] == ["Upper Hazel, first rubber", "Upper Hazel, second rubber"]
    first, *_, poppet = workbook.parts
    assert first.fitted == datetime.date(2021, 4, 10) and not first.on_rig and first.running_share == 1.0
    assert first.looks[0].wear == pytest.approx(8e-4)
    assert first.looks[0].wear_uncertainty == pytest.approx(2e-4 / 3**0.5)  # limits, rectangular: GUM 4.3.7
    assert first.looks[1].cause == "torn at the weight" and not first.looks[1].seen_failing
    assert poppet.on_rig and poppet.looks[0].wear == 0.0 and poppet.looks[0].wear_uncertainty == pytest.approx(1e-4)
    switch = workbook.switches["poppet"]
    assert switch.pairs == (("flap", "poppet"),) and (switch.old.material, switch.new.material) == ("rubber", "plastic")
    assert switch.water.value == 1.2 and switch.water.years == 10.0 and switch.reserve == 20.0


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (FIRST, FIRST + "wieght = 3\n", '"wieght"'),
        (FIRST, FIRST + 'rig = "yard"\n', "give exactly one"),
        ('site = "Dry Gill"\nfitted', 'site = "Dry Gil"\nfitted', 'Did you mean "Dry Gill"?'),
        ('build = "flap"\nrig = "yard"\nfitted', 'build = "flop"\nrig = "yard"\nfitted', 'Did you mean "flap"?'),
        (FIRST + 'part = "waste_rubber"', FIRST + 'part = "waste_ruber"', 'Did you mean "waste_rubber"?'),
        ('date = "2021-10-16"', 'date = "2021-03-16"', "must not be before it was fitted"),
        ("beats = 30800000", "beats = 3080000", "beats do not go backwards"),
        ('date = "2022-05-21"\noutcome', 'date = "2099-05-21"\noutcome', "lies in the future"),
        ('fitted = "2021-04-10"\n', "", "the day it was fitted"),
        ('outcome = "failed"\ncause', 'outcome = "broke"\ncause', "it must be one of failed"),
        ('just_seen = "0.1 mm"', "", "needs what it may be off by"),
        ("running_share = ", "runing_share = ", 'Did you mean "running_share"?'),
        ('name = "Upper Hazel, second rubber"', 'name = "Upper Hazel, first rubber"', "another part has that name"),
        ('value_of_a_cubic_metre = "1.20"', "", "value_of_a_cubic_metre = (nothing)"),
        ("first_cost = 50\n", "", "switch 'poppet', new, first_cost = (nothing)"),
        ('[[switch.poppet.pair]]\nold = "flap"\nnew = "poppet"\n', "", "switch 'poppet', pair = (nothing)"),
        ('old = "flap"\nnew = "poppet"', 'old = "flap"\nnew = "flap"', "another build than the old one"),
        (AFTER, AFTER + '\n[switch.poppet.likely]\nfall = ["3 m", "1 m"]\n', "the lower one first"),
    ],
)
def test_what_is_wrong_is_refused_with_its_place(old: str, new: str, said: str) -> None:
    with pytest.raises(InputError) as refused:
        load_workbook(changed(old, new))
    assert said in str(refused.value)


def test_likely_sites_are_read() -> None:
    more = '\n[switch.poppet.likely]\nfall = ["1 m", "3 m"]\nlift_over_fall = [4, 8]\n'
    switch = load_workbook(demo_text() + more).switches["poppet"]
    assert switch.spread is not None and switch.spread.fall == (1.0, 3.0) and switch.spread.lift_over_fall == (4.0, 8.0)


def test_wear_is_over_months_whatever_was_counted() -> None:
    """A part with counted beats used to have its wear read as over that many months."""
    _, rubber = life_groups(demo(), None, datetime.date(2024, 1, 1))
    readings = [one for part in rubber.records for one in part.wear_by_month()]
    assert {one.part for one in readings} > {"yard, rubber"}
    assert all(5.0 < one.life < 21.0 for one in readings)


def test_life_in_both_units(book: Path) -> None:
    metric, us = run("life", str(book)), run("life", str(book), "--units", "us", "--part", "waste_rubber")
    assert metric.exit_code == us.exit_code == 0
    said, said_us = (" ".join(one.stdout.split()) for one in (metric, us))  # lines break where the terminal ends
    assert "4 in the records, 2 failed, 1 renewed sound, 1 taken out" in said
    assert "torn at the weight (2)" in said and "no mark yet" in said
    assert "2.00 mm" in said and "0.0787 in" in said_us


def test_life_json_has_both_kinds(book: Path) -> None:
    found = json.loads(run("life", str(book), "--json").stdout)
    assert [one["material"] for one in found["parts"]] == ["plastic", "rubber"] and found["failures"] == []
    plastic, rubber = found["parts"]
    assert plastic["fit"] is None and len(plastic["bounds"]) == 3 and rubber["fit"]["shape"]["value"] > 0.0
    assert plastic["beats_counted_of"] == 1 and rubber["beats_counted_of"] == 1
    # 14.3 million beats without a failure: half last more than n^(1/b) beats shown at 90 %, of one part at shape 1
    shown = 14.3e6 * math.log(2.0) / math.log(10.0)
    assert plastic["bounds_in_beats"][0]["half_last_beats"] == pytest.approx(shown, rel=1e-6)
    assert rubber["fit_in_beats"]["half_last_beats"]["value"] > 1e6


def test_beats_of_parts_that_nobody_counted_are_the_engines() -> None:
    workbook = demo()
    rates = engine_rates(workbook, workbook.parts)
    assert set(rates) == {"Upper Hazel, first rubber", "Upper Hazel, second rubber", "Dry Gill, rubber"}
    assert all(0.3 < rate < 3.0 for rate in rates.values())
    day = datetime.date(2024, 1, 1)
    _, rubber = life_groups(workbook, None, day, rates)
    first = next(one for one in rubber.records if one.name == "Upper Hazel, first rubber")
    lived = first.exposure(rates[first.name], day)
    assert rubber.in_beats is not None and lived in rubber.in_beats.lives
    _, unknown = life_groups(workbook, None, day)
    assert unknown.in_beats is None


def test_dates_of_a_workbook_stand_on_the_list_of_what_is_due(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    fitted_by_hand(monkeypatch)
    running = """
[[part]]
name = "Upper Hazel, third rubber"
part = "waste_rubber"
material = "rubber"
build = "flap"
site = "Upper Hazel"
fitted = "2023-03-11"

[[part]]
name = "Upper Hazel, spring"
part = "waste_spring"
material = "other"
build = "flap"
site = "Upper Hazel"
fitted = "2023-03-11"
"""
    file = tmp_path / "running.toml"
    file.write_text(demo_text() + running, encoding="utf-8")
    said = json.loads(run("due", str(file), "--ahead", "3650", "--on", "2024-01-01", "--json").stdout)["due"]
    found = {one["reason"]["words"].split(",")[1]: one for one in said if one["what"].startswith("part")}
    assert found[" third rubber"]["assumed"] == []  # beats counted on a visit, landings by the engine
    assert [one["id"] for one in found[" spring"]["assumed"]] == ["beats_alone"]
    stocked = json.loads(run("life", str(file), "--on", "2024-01-01", "--json").stdout)["service"]
    rubber, spring = stocked
    assert rubber["risk"] == 0.05 and rubber["spares"] >= 1 and spring["spares"] is None
    [there] = rubber["in_service"]
    assert (there["site"], there["spares"]) == ("Upper Hazel", rubber["spares"])  # one pump: carried as kept
    assert there["months"]["low"] < there["months"]["middle"] < there["months"]["high"]
    lines = " ".join(run("life", str(file), "--on", "2024-01-01", "--risk", "0.3").stdout.split())
    assert "30 chances in 100" in lines and "not told, as no such part has been looked at yet" in lines
    assert run("life", str(file), "--risk", "3").exit_code == 2
    told = " ".join(run("due", str(file), "--ahead", "3650", "--on", "2024-01-01").stdout.split())
    assert "Taken for granted: its wear is taken to go with its beats alone" in told


WEIGHED = """
[[part]]
name = "weighed"
part = "waste_seat"
material = "brass"
build = "flap"
site = "Upper Hazel"
fitted = "2022-01-01"
weight_loss_limit = "8 g"
leak_limit = "1 L/min"

[[part.look]]
date = "2022-07-01"
outcome = "runs on"
weight_loss = "2.0 g ± 0.1 g"
leak = "0 L/min ± 0.02 L/min"

[[part.look]]
date = "2023-01-01"
outcome = "runs on"
weight_loss = "4.0 g ± 0.1 g"
leak = "0 L/min ± 0.02 L/min"
"""


def test_weight_lost_and_leak_are_carried_on_to_their_limits(tmp_path: Path) -> None:
    file = tmp_path / "weighed.toml"
    file.write_text(demo_text() + WEIGHED, encoding="utf-8")
    words = ("life", str(file), "--part", "waste_seat")
    [found] = json.loads(run(*words, "--json").stdout)["parts"]
    months = found["weight_loss"]["months_to_limit"]
    # 4 g in 12 months: 8 g of steady wear in 24, the range taking in how parts differ
    assert months["low"] < 24.0 < months["high"] and months["middle"] == pytest.approx(24.0, rel=0.15)
    assert found["weight_loss"]["limit_kg"] == pytest.approx(8e-3) and found["wear"] is None
    assert found["leak"]["limit_l_min"] == pytest.approx(1.0)
    said = " ".join(run(*words).stdout.split())
    assert "a part loses 0.00800 kg in" in said and "no leak yet: a part leaks 1.00 L/min in more than" in said
    file.write_text(demo_text() + WEIGHED.replace("2.0 g ± 0.1 g", "2.0 g"), encoding="utf-8")
    refused = run(*words)
    assert refused.exit_code == 2 and "weight_loss" in refused.stderr and "what it may be off by" in refused.stderr


def test_a_failure_on_the_day_of_fitting_has_its_beats_or_is_refused(tmp_path: Path) -> None:
    first = WEIGHED.split("[[part.look]]")[0]
    look = '[[part.look]]\ndate = "2022-01-01"\noutcome = "failed"\n'
    file = tmp_path / "same_day.toml"
    file.write_text(demo_text() + first + look, encoding="utf-8")
    refused = run("life", str(file), "--part", "waste_seat")
    assert refused.exit_code == 2 and "fitted on that day" in " ".join(refused.stderr.split())
    file.write_text(demo_text() + first + look + "beats = 9000\n", encoding="utf-8")
    told = run("life", str(file), "--part", "waste_seat")
    assert told.exit_code == 0 and "1 failed" in told.stdout


def fitted_by_hand(monkeypatch: pytest.MonkeyPatch) -> None:
    def fit(workbook: Workbook, names: Iterable[str], done: Done, progress: Progress) -> None:
        done.twins |= {name: twins()[name] for name in names}

    monkeypatch.setattr("clackwork.workbook_jobs.fit_builds", fit)


def test_an_endurance_test_is_planned_in_both_units(book: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    fitted_by_hand(monkeypatch)
    words = ("endurance", str(book), "--build", "poppet", "--site", "Upper Hazel", "--fall", "2 m", "--fall", "40 m")
    said = " ".join(run(*words).stdout.split())
    assert "Run 8 parts side by side at 2.00 m of fall" in said and "90 of 100 parts last 12 months" in said
    assert "At 40.0 m of fall the pump does not beat" in said and "no published source" in said
    assert "1 ± 0.7" in said and "far above that of the lift" in said  # the band of the exponent, and the caution
    told = json.loads(run(*words, "--beats", "1e6", "--units", "us", "--json").stdout)
    assert told["life_beats"] == 1e6 and [round(one["fall_ft"], 2) for one in told["stands"]] == [6.56, 131.23]
    tests = told["stands"][0]["tests"]
    assert [one["parts"] for one in tests] == [*range(1, 9)] and told["stands"][1]["tests"] == []
    # by hand: the success run at shape 1 asks ln 0.1 / ln 0.9 lives of one part, on a rig that lands no harder
    assert tests[0]["beats"] >= 1e6 * math.log(0.1) / math.log(0.9)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (
            ("endurance", "--site", "Upper Hazel", "--build", "poppet", "--months", "6", "--beats", "10000"),
            "exactly one",
        ),
        (("endurance", "--site", "Upper Hazl", "--build", "poppet"), 'Did you mean "Upper Hazel"?'),
        (("endurance", "--site", "Upper Hazel"), "--build"),
        (("endurance", "--site", "Upper Hazel", "--build", "poppet", "--reliability", "1"), "reliability"),
        (("endurance", "--site", "Upper Hazel", "--build", "poppet", "--exponent", "2", "1"), "exponents"),
        (("life", "--part", "waste_ruber"), "--part"),
        (("life", "--on", "yesterday"), "year-month-day"),
        (("life", "--on", "2022-01-01"), "today is 2022-01-01"),
        (("switch", "--name", "popet"), 'Did you mean "poppet"?'),
    ],
)
def test_refusals_are_a_sentence(book: Path, words: tuple[str, ...], said: str) -> None:
    shown = run(words[0], str(book), *words[1:])
    assert shown.exit_code == 2 and shown.stdout == "" and said in shown.stderr and "Traceback" not in shown.stderr


def test_nothing_to_answer_is_said(tmp_path: Path) -> None:
    path = tmp_path / "bare.toml"
    text = demo_text()
    start, end = (
        text.index("[[part]]"),
        text.index("[site."),
    )
    path.write_text(text[:start] + text[end:], encoding="utf-8")
    life, switch = run("life", str(path)), run("switch", str(path))
    assert life.exit_code == switch.exit_code == 2
    assert "no part in service" in life.stderr and "no switch to study" in switch.stderr


@pytest.fixture
def invented(monkeypatch: pytest.MonkeyPatch) -> None:
    """Twins that need no fit."""

    def fit(workbook: Workbook, names: Iterable[str], done: Done, progress: Progress) -> None:
        done.twins.update(twins())

    monkeypatch.setattr("clackwork.workbook_jobs.fit_builds", fit)


@pytest.mark.usefixtures("invented")
def test_switch_in_both_forms(book: Path) -> None:
    shown = run("switch", str(book), "--draws", "20")
    assert shown.exit_code == 0, shown.output
    first, verdict, *_ = shown.stdout.splitlines()
    assert first == "poppet:" and verdict.endswith(".")
    for words in ("Upper Hazel", "Reed Bottom", "warranty of 24 months", "spares for a year", "EUR"):
        assert words in shown.stdout


def test_margin_price_and_what_the_part_costs_the_customer(book: Path, invented: None) -> None:
    said = " ".join(run("switch", str(book), "--draws", "20").stdout.split())
    assert "one pump, new build, 24 months' warranty: costs 318.00 EUR to make" in said  # 185 and 3.8 hours at 35
    assert "the margin of the old build now asks 420.00" in said
    assert "the part costs the customer" in said and "a cubic metre lifted" in said


def test_a_price_wants_what_a_pump_costs_to_make() -> None:
    with pytest.raises(InputError, match="parts_cost"):
        load_workbook(demo_text().replace("parts_cost = 185\n", ""))


def test_switch_json_in_us_units(book: Path, invented: None, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("clackwork.switch_job.study_of_workbook", lambda *given, **more: switch_found()[1])
    found = json.loads(run("switch", str(book), "--units", "us", "--json").stdout)
    (one,) = found["switches"]
    assert one["verdict"] and found["units"] == "us" and {each["place"] for each in one["places"]} == set(demo().sites)
    assert "delivery_change_gal_day" in one["places"][0]


@pytest.mark.usefixtures("invented")
def test_a_part_at_a_place_not_designed_stops_its_switch_with_a_sentence(book: Path) -> None:
    text = changed('site = "Dry Gill"\nfitted', 'site = "Fern Clough"\nfitted')
    book.write_text(text, encoding="utf-8")
    shown = run("switch", str(book), "--draws", "20")
    assert shown.exit_code == 2 and "Fern Clough" in shown.stderr and "Traceback" not in shown.stderr
