"""docs/json.md against what the commands print: every key stands on the page, and every name on it is printed."""

from __future__ import annotations

import datetime
import json
import math
import re
from collections.abc import Iterator
from dataclasses import replace
from importlib.resources import files
from pathlib import Path
from string import Formatter
from typing import Any

import invented_design
import pytest
from invented_results import judgement, promise, twin, workbook
from invented_switch import switch_found
from invented_twin import twin_of
from typer.testing import CliRunner

from clackwork.answers_json import BEAT_KINDS, beat_json, cautions_json, promise_json, twin_json
from clackwork.beat_report import report_json, source_json
from clackwork.bench.gum import Estimate
from clackwork.bench.pool import OddRun
from clackwork.cli import app
from clackwork.design_report import design_json
from clackwork.life.part_dates import ASSUMED, UNKNOWN, BeatsAt, PartAt
from clackwork.life.retuning import Retuned
from clackwork.life.stocking import stock_of_parts
from clackwork.life_rates import engine_rates
from clackwork.life_report import life_groups, life_json
from clackwork.pipes import find_pipe
from clackwork.quick_report import quick_json
from clackwork.ram.engine import RamCase, run_beats
from clackwork.ram.parts import AirVessel, Build, DeliveryValve, DrivePipe, GuidedPoppet, Supply
from clackwork.ram.source import LimitedRun
from clackwork.ram.tuning import TuningBounds, tune_for_delivery
from clackwork.shop.quick import read_typed
from clackwork.shop.visits import Comparison
from clackwork.site.commissioning import DOUBTS, Compared
from clackwork.site.design import Assumed
from clackwork.site.due import Due, PartDue, Place, what_is_due
from clackwork.site.explaining import Explanation
from clackwork.site.limits import LIMITS
from clackwork.site.promise import REASONS
from clackwork.site.quick import QuickAnswer
from clackwork.site.site import Range, Reason
from clackwork.site.standing import Standing
from clackwork.site.visit import Visit
from clackwork.stock_report import stock_json
from clackwork.switch_report import switch_json
from clackwork.tune_report import tuning_json
from clackwork.visits_report import due_json, visit_json
from clackwork.workbook import load_workbook
from clackwork.workbook_jobs import Done
from clackwork.workbook_results import write_results
from clackwork.workbook_trials import judgement_json

DEMO = (files("clackwork") / "demo" / "workshop.toml").read_text(encoding="utf-8")
PAGE = (Path(__file__).resolve().parents[2] / "docs" / "json.md").read_text(encoding="utf-8")
SECTIONS = dict(re.findall(r"^## (.+?)\n(.*?)(?=^## |\Z)", PAGE, flags=re.MULTILINE | re.DOTALL))
SUFFIX_ROWS = re.findall(r"^\| `(_\w+)` \|[^|]*\| (?:`(_\w+)`|the same)", PAGE, flags=re.MULTILINE)
SUFFIXES = {
    "metric": {metric for metric, _ in SUFFIX_ROWS},
    "us": {us or metric for metric, us in SUFFIX_ROWS},
}
NOT_KEYS = {"null", "yes", "no"}
KINDS_OF_REASONS = {
    "cases": "count",
    "needed": "volume_flow",
    "needed_high": "volume_flow",
    "source_flow": "volume_flow",
    "highest_head": "head",
    "rating_head": "head",
    "surge_head": "head",
    "counted_on": "daily_volume_flow",
    "wanted": "daily_volume_flow",
    "drawdown": "length",
    "gently_moved": "duration",
    "stirred": "duration",
    "spread": "head",
    "flow_spread": "volume_flow",
}


def named(section: str) -> set[str]:
    """Names in backticks of a section."""
    return set(re.findall(r"`([a-z][a-z_]*)`", SECTIONS[section]))


def figures_of(words: str) -> set[str]:
    """Names in braces of a reason's words."""
    return {name for _, name, _, _ in Formatter().parse(words) if name}


def every_reason() -> tuple[Reason, ...]:
    """All reasons there are, with figures of the kinds they have."""
    return tuple(
        Reason(name, "note", words, {figure: (1.0, KINDS_OF_REASONS[figure]) for figure in figures_of(words)})
        for name, words in REASONS.items()
    )


def invented_case() -> RamCase:
    build = Build("pump", GuidedPoppet(0.1, 0.007, 0.03), DeliveryValve(0.02), AirVessel(3e-3))
    return RamCase(build, DrivePipe(find_pipe("steel-sch40", "1 in"), 12.0), Supply(2.0), vessel_head=15.0)


def beat(system: str) -> dict[str, Any]:
    """What ``beat`` prints of an invented pump."""
    case = invented_case()
    result = run_beats(case)
    beside = report_json(case, result, system) | source_json(LimitedRun("starved", 0.1, result), 1e-4, system)
    return {"build": "", "place": "", "beat": beat_json(result, system), **beside}


def tuning(system: str) -> dict[str, Any]:
    """What ``tune`` prints of an invented pump."""
    case = invented_case()
    valve = case.build.waste_valve
    bounds = TuningBounds(valve.stroke, valve.stroke, valve.mass, valve.mass)
    found = tuning_json("most delivered", tune_for_delivery(case, bounds, 1.0), system)
    assert set(found.pop("beat")) == set(beat(system)["beat"])
    return {"build": "", "place": "", "tunings": [found | {"beat": None}]}


def quick(system: str) -> dict[str, Any]:
    """What ``quick`` prints of an invented answer."""
    limit = Reason(
        "source_flow",
        "note",
        LIMITS["source_flow"],
        {"needed": (1e-4, "volume_flow"), "there": (2e-4, "volume_flow"), "gain": (1e-6, "daily_volume_flow")},
    )
    assumed = (Assumed("drive_pipe", "steel-sch40, 1 in", "pipe", "why"), Assumed("fall_spread", 0.1, "head", "why"))
    others = (("flap", 1, 2.0),)
    build = invented_design.build()
    found = QuickAnswer(
        "yes", build.name, build, 1, promise(), invented_design.place(), limit, (limit,), assumed, others, 99
    )
    return quick_json(read_typed({}, "pump", ()), found, system)


def design(system: str) -> dict[str, Any]:
    """What ``design`` prints of an invented one."""
    choices = (invented_design.choice(by_length=((9.0, 1.2, 1.1),)), invented_design.standpipe_choice())
    assumed = (Assumed("submergence", 0.3, "length", "why"), Assumed("route", "", "words", "why"))
    return design_json(invented_design.design(choices=choices, assumed=assumed), system)


def printed(section: str, system: str) -> dict[str, Any]:
    """What the commands print of a section."""
    if section == "`tunings`":
        return tuning(system)
    if section == "`parts`":
        demo = load_workbook(DEMO)
        groups = life_groups(demo, None, datetime.date(2024, 1, 1), engine_rates(demo, demo.parts))
        return {"parts": [life_json(one, system) for one in groups]}
    if section == "`service`":
        demo = load_workbook(DEMO)
        named = next(one for one in demo.parts if one.name == "Upper Hazel, second rubber")
        running = PartAt(replace(named, name="third", looks=()), BeatsAt(1.0, "usual"))
        records = [*(PartAt(one, UNKNOWN) for one in demo.parts), running]
        return {"service": stock_json(stock_of_parts(records, datetime.date(2024, 1, 1)), system)}
    if section == "`switches`":
        asked, found = switch_found()
        workbook_read = load_workbook(DEMO)
        tuned = Retuned(workbook_read.sites["Dry Gill"], twin_of(workbook_read.builds["poppet"]), 0.008, 0.03)
        found = replace(found, retuned={"A": tuned, "B": None}, after_retuning=found.study)
        return {"switches": [switch_json(found, asked, "EUR", system)]}
    if section == "`quick`":
        return {"quick": quick(system)}
    if section == "`design`":
        return {"design": design(system)}
    if section == "`judgements`":
        judged = judgement()
        judged = replace(
            judged, pooled_a=replace(judged.pooled_a, odd_runs=(OddRun("flap 3", 1e-4, 9.0, 3.0, "It stands apart."),))
        )
        return {"judgements": [judgement_json(workbook().trials["flap"], judged, system)]}
    if section == "`twins`":
        return {"twins": [twin_json(twin(), system)]}
    if section == "`promises`":
        states = {"beating": 0.4, "irregular": 0.3, "stalled open": 0.2, "stalled shut": 0.1}
        full = replace(promise(), reasons=every_reason(), state_shares=states)
        return {"promises": [promise_json(full, system) | {"cautions": cautions_json(["frost"])}]}
    if section == "`visits`":
        return {"visits": [visit_json(*invented_visit(), system)]}
    if section == "`due`":
        return {"due": [due_json(one, system) for one in invented_due()]}
    return beat(system)


def invented_visit() -> tuple[Visit, Comparison]:
    """A visit out of its band, with an explanation and every contradiction there is."""
    visit = Visit(name="first", site="A", date=datetime.date(2024, 5, 3), purpose="fault")
    compared = Compared("waste_flow", Estimate(2e-4, 1e-6, math.inf), Range(1e-4, 1.1e-4, 1.2e-4), 9.0)
    stroke = Reason(
        "stroke", "note", "{found}, {taken}", {name: (0.007, "small_length") for name in ("found", "taken")}
    )
    kinds = {"lift": "head", "fall": "head", "head": "head"}
    doubts = tuple(
        Reason(name, "note", words, {one: (1.0, kinds.get(one, "volume_flow")) for one in figures_of(words)})
        for name, words in DOUBTS.items()
    )
    return visit, Comparison((compared,), (Explanation("stroke", stroke, 0.9, True),), doubts)


def invented_due() -> tuple[Due, ...]:
    """Things due that have every figure between them."""
    day = datetime.date(2024, 5, 3)
    visit = Visit(name="first", site="A", date=day, purpose="commissioning")
    standing = Standing(date=day, warranty_months=24)
    values = {"rate": (1.0, "beat_rate"), "records": (2.0, "count")}
    assumed = Reason("records_rate", "note", ASSUMED["records_rate"], values)
    part = PartDue("first rubber, rubber of the waste valve", day, datetime.date(2027, 5, 3), (assumed,))
    place = Place("A", standing, (visit,), beat_rate=1.0, parts=(part,))
    days = (datetime.date(2026, 4, 20), datetime.date(2026, 5, 10))
    return tuple(one for today in days for one in what_is_due([place], today))


def keys_of(value: object) -> Iterator[str]:
    """Every key at any depth; those of ``state_shares``, ``outcomes`` and ``causes`` are words."""
    if isinstance(value, dict):
        for key, inner in value.items():
            yield key
            yield from () if key in ("state_shares", "outcomes", "causes") else keys_of(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from keys_of(inner)


def stem(key: str, names: set[str], system: str) -> str | None:
    """The name on the page that a key is, with or without a unit of the page; None when there is none."""
    stems = [key, *(key.removesuffix(suffix) for suffix in SUFFIXES[system] if key.endswith(suffix))]
    return next((one for one in stems if one in names), None)


PRINTED = (
    *("`judgements`", "`twins`", "`promises`", "`beat`", "`tunings`", "`visits`", "`due`"),
    *("`quick`", "`design`", "`parts`", "`service`", "`switches`"),
)


@pytest.mark.parametrize("system", ["metric", "us"])
@pytest.mark.parametrize("section", PRINTED)
def test_every_key_stands_on_the_page_and_every_name_is_printed(section: str, system: str) -> None:
    names = named(section) | {section.strip("`")}
    keys = set(keys_of(printed(section, system)))
    found = {key: stem(key, names, system) for key in keys}
    assert [key for key, one in found.items() if one is None] == []
    assert names - set(found.values()) - set(REASONS) - NOT_KEYS == set()


def test_what_is_always_there(tmp_path: Path) -> None:
    book = tmp_path / "book.toml"
    book.write_text(DEMO, encoding="utf-8")
    shown = CliRunner().invoke(app, ["judge", str(book), "--trial", "waste", "--json"])
    assert set(json.loads(shown.stdout)) - {"judgements"} == {"format", "units", "failures"}
    done = Done(judgements={"flap": judgement()})
    (written,) = write_results(workbook(), done, tmp_path, "metric")
    assert written.name == "judgements.json"
    assert set(json.loads(written.read_text(encoding="utf-8"))) == {"format", "units", "title", "judgements"}
    assert named("Always there") >= {"format", "units", "failures", "title", "judgements", "twins", "promises"}


def test_units_of_the_page_are_those_of_the_other_system() -> None:
    assert len(SUFFIX_ROWS) == 10 and SUFFIXES["us"] - SUFFIXES["metric"] == {
        "_gal_min",
        "_gal_day",
        "_gal",
        "_ft",
        "_ft_s",
        "_in",
        "_lb",
    }


def test_every_reason_is_on_the_page_with_its_figures() -> None:
    rows = re.findall(r"^\| (`[^|]*?) \|([^|]*)\|$", SECTIONS["`promises`"], flags=re.MULTILINE)
    listed = {
        name: set(re.findall(r"`(\w+)`", figures)) for names, figures in rows for name in re.findall(r"`(\w+)`", names)
    }
    listed.pop("id")
    assert listed == {name: figures_of(words) for name, words in REASONS.items()}


def test_hardness_and_states_are_on_the_page() -> None:
    page = SECTIONS["`promises`"]
    for word in ("no", "only if", "note", "beating", "irregular", "stalled open", "stalled shut"):
        assert f'"{word}"' in page


def test_a_key_that_is_not_on_the_page_is_found() -> None:
    names = named("`beat`")
    assert stem("peak_head_m", names, "metric") == "peak_head" and stem("peak_head_ft", names, "us") == "peak_head"
    assert stem("peak_head_ft", names, "metric") is None and stem("snark_m", names, "metric") is None
    assert set(BEAT_KINDS) <= names
