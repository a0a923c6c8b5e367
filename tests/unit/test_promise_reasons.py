"""Reasons of a promise as data, written in either system of units; its cautions, progress and trace."""

from __future__ import annotations

import re
from dataclasses import replace
from string import Formatter
from typing import Any

import numpy as np
import pytest
from invented_results import BUILD, site, twin, workbook
from invented_results import promise as invented_promise

from clackwork.answers_json import promise_json, reason_words
from clackwork.answers_text import promise_lines
from clackwork.pipes import find_pipe
from clackwork.quantities import KINDS
from clackwork.ram.parts import DeliveryLine, DrivePipe
from clackwork.site.promise import REASONS, _judge, make_promise
from clackwork.site.site import Promise, Range, Site
from clackwork.twin.twin import Twin
from clackwork.workbook_jobs import Done, beat_traces

NOTHING = Range(0.0, 0.0, 0.0)
BASE = replace(invented_promise(), reasons=(), state_shares={"beating": 1.0})
STEEL = find_pipe("steel-sch40", "1 in")

CASES: dict[str, tuple[dict[str, Any], str]] = {
    "stands_open": ({"state_shares": {"beating": 0.7, "stalled open": 0.3}}, "only if"),
    "stays_shut": ({"state_shares": {"beating": 0.4, "stalled shut": 0.6}}, "no"),
    "delivers_nothing": ({"delivered_flow": NOTHING}, "no"),
    "may_deliver_nothing": ({"delivered_flow": Range(0.0, 1e-5, 2e-5)}, "only if"),
    "too_little_water": ({"share_enough_water": 0.01}, "no"),
    "pipe_too_weak": ({"pressure_margin": 0.8}, "no"),
    "less_than_wanted": ({"delivered_flow": Range(1e-5, 3e-5, 4e-5)}, "only if"),
}
"""What brings each reason about, and how hard it then is; the invented site wants 2.5e-5 m3/s."""


def judged(**changes: Any) -> Promise:
    before = replace(BASE, **changes)
    answer, reasons = _judge(before, site())
    return replace(before, answer=answer, reasons=reasons)


def fitted() -> Twin:
    """A twin whose draws are one usual pump over and over."""
    values = {
        "discharge_coefficient": 0.62,
        "closing_coefficient": 1.0,
        "delivery_loss": 4.0,
        "slip_volume": 1e-6,
        "body_air": 2e-6,
    }
    return replace(
        twin(),
        parameter_names=tuple(values),
        best=values,
        draws=np.tile(list(values.values()), (4, 1)),
    )


def place(drive: str, line: str) -> Site:
    sizes = {"steel-sch40": "1 in", "pvc-sch40": "1 in", "pe100-sdr11": "25 mm", "copper-type-l": "1 in"}
    return replace(
        site(),
        fall=3.0,
        drive_pipe=DrivePipe(find_pipe(drive, sizes[drive]), 15.0),
        line=DeliveryLine(find_pipe(line, sizes[line]), 60.0, 15.0, 4.0),
    )


def test_every_reason_is_tried() -> None:
    assert CASES.keys() == REASONS.keys()


@pytest.mark.parametrize("name", CASES)
def test_reason_follows_from_its_cause(name: str) -> None:
    changes, hardness = CASES[name]
    found = judged(**changes)
    reason = next(one for one in found.reasons if one.id == name)
    assert reason.hardness == hardness and reason.words == REASONS[name]
    assert found.answer == ("no" if any(one.hardness == "no" for one in found.reasons) else "only if")
    assert {field for _, field, _, _ in Formatter().parse(reason.words) if field} == reason.values.keys()
    assert all(kind in KINDS for _, kind in reason.values.values())


def test_no_cause_no_reason() -> None:
    found = judged(delivered_flow=Range(2.6e-5, 3e-5, 4e-5))
    assert (found.answer, found.reasons) == ("yes", ())


def test_hardest_reasons_come_first() -> None:
    found = judged(pressure_margin=0.8, delivered_flow=Range(0.0, 1e-5, 2e-5))
    assert [one.hardness for one in found.reasons] == ["no", "only if", "only if"]


def test_figures_are_in_the_units_asked_for() -> None:
    found = judged(share_enough_water=0.5, pressure_margin=0.8, delivered_flow=Range(1e-5, 3e-5, 4e-5))
    said = {system: {one.id: reason_words(one, system) for one in found.reasons} for system in ("metric", "us")}
    # 3e-4 m3/s is 18 L/min, and 18 / 3.785411784 = 4.755 US gallons a minute
    assert said["metric"]["too_little_water"].startswith("needs 18.0 L/min (19.6 L/min at most)")
    assert said["us"]["too_little_water"].startswith("needs 4.76 gpm (5.18 gpm at most)")
    # 1e-5 m3/s is 864 L a day, and 864 / 3.785411784 = 228.2
    assert said["metric"]["less_than_wanted"].startswith("864 L/day can be counted on")
    assert said["us"]["less_than_wanted"].startswith("228 gal/day can be counted on")
    # 196 m / 0.3048 = 643.0 ft
    assert "rated for 196 m" in said["metric"]["pipe_too_weak"]
    assert "rated for 643 ft" in said["us"]["pipe_too_weak"]
    assert not re.search(r"\d (L/min|L/day|m)\b", " ".join(promise_lines(found, "us")))


def test_a_figure_that_is_not_known_is_told() -> None:
    found = judged(share_enough_water=0.5, water_needed=Range(float("nan"), float("nan"), float("nan")))
    assert reason_words(found.reasons[0], "metric").startswith("needs not known")
    assert promise_json(found, "metric")["reasons"][0]["needed_l_min"] is None


def test_json_holds_the_reason_as_data() -> None:
    (reason,) = promise_json(judged(pressure_margin=0.8, delivered_flow=Range(3e-5, 3e-5, 3e-5)), "us")["reasons"]
    assert (reason["id"], reason["hardness"]) == ("pipe_too_weak", "no")
    assert reason["rating_head_ft"] == pytest.approx(196.0 / 0.3048)
    assert "643 ft" in reason["words"]


@pytest.mark.parametrize(
    ("drive", "line", "plastic"),
    [
        ("steel-sch40", "pe100-sdr11", True),
        ("pvc-sch40", "steel-sch40", True),
        ("steel-sch40", "copper-type-l", False),
    ],
)
def test_plastic_pipe_is_cautioned_and_progress_only_rises(drive: str, line: str, plastic: bool) -> None:
    seen: list[tuple[int, int]] = []
    found = make_promise(fitted(), place(drive, line), draws=40, progress=lambda done, of: seen.append((done, of)))
    assert ("plastic_pipe" in found.cautions) is plastic
    assert [done for done, _ in seen] == sorted({done for done, _ in seen})
    assert len(seen) > 2 and seen[-1] == (40, 40) and {of for _, of in seen} == {40}


def test_progress_may_stop_the_work() -> None:
    def stop(done: int, _: int) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        make_promise(fitted(), place("steel-sch40", "steel-sch40"), draws=40, progress=stop)


def test_every_promise_that_beats_has_its_trace() -> None:
    name = site().name
    book = replace(workbook(), sites={name: place("steel-sch40", "steel-sch40")})
    key = f"{name}, {BUILD.name}"
    light = replace(BUILD, waste_valve=replace(BUILD.waste_valve, mass=0.1, stroke=0.006, seat_bore=0.03))
    for build, shown in ((light, [key]), (replace(BUILD, waste_valve=replace(BUILD.waste_valve, mass=20.0)), [])):
        done = Done(twins={BUILD.name: replace(fitted(), build=build)}, promises={key: BASE})
        seen: list[tuple[int, int]] = []
        traces = beat_traces(book, done, lambda so_far, of, seen=seen: seen.append((so_far, of)))
        assert list(traces) == shown and seen == [(1, 1)]
        for trace in traces.values():
            assert trace["time"].size > 100 and trace["opening"].max() > trace["opening"].min()
