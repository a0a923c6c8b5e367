"""Reasons of a promise as data, written in either system of units; its cautions, progress and trace."""

from __future__ import annotations

import datetime
import re
from dataclasses import replace
from string import Formatter
from typing import Any

import numpy as np
import pytest
from invented_results import BUILD, site, twin, workbook
from invented_results import promise as invented_promise
from numpy.typing import NDArray

from clackwork.answers_json import promise_json, reason_words
from clackwork.answers_text import promise_lines
from clackwork.errors import InputError
from clackwork.pipes import find_pipe
from clackwork.quantities import KINDS
from clackwork.ram import kernel
from clackwork.ram.engine import RamCase, steady_velocity
from clackwork.ram.parts import DeliveryLine, DrivePipe, Supply
from clackwork.sheets.promise_sheet import promise_fields
from clackwork.site.promise import REASONS, _judge, make_promise
from clackwork.site.site import Promise, Range, Site
from clackwork.twin.twin import Twin
from clackwork.workbook_jobs import Done, beat_traces

FloatArray = NDArray[np.float64]

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
    "beats_unevenly": ({"state_shares": {"beating": 0.7, "irregular": 0.3}}, "note"),
    "surge_if_shut_by_hand": ({"state_shares": {"beating": 0.2, "stalled open": 0.8}}, "note"),
    "source_drawn_down": ({"source_state": "drawn down", "drawdown": 0.2}, "note"),
    "pipe_draws_air": ({"source_state": "starved"}, "note"),
    "air_goes": ({"vessel_air": (4e4, 2e5)}, "note"),
    "told_fall": ({"told": ("fall",)}, "note"),
    "told_lift": ({"told": ("fall", "lift")}, "note"),
    "told_source_flow": ({"told": ("source flow",)}, "note"),
}
"""What brings each reason about, and how hard it then is; the invented site wants 2.5e-5 m3/s."""


def judged(told: tuple[str, ...] = (), **changes: Any) -> Promise:
    before = replace(BASE, **changes)
    answer, reasons = _judge(before, replace(site(), told=told))
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
    hard = {one.hardness for one in found.reasons}
    assert found.answer == ("no" if "no" in hard else "only if" if "only if" in hard else "yes")
    assert {field for _, field, _, _ in Formatter().parse(reason.words) if field} == reason.values.keys()
    assert all(kind in KINDS for _, kind in reason.values.values())


def test_no_cause_no_reason() -> None:
    found = judged(delivered_flow=Range(2.6e-5, 3e-5, 4e-5))
    assert (found.answer, found.reasons) == ("yes", ())


def test_hardest_reasons_come_first() -> None:
    found = judged(pressure_margin=0.8, delivered_flow=Range(0.0, 1e-5, 2e-5))
    assert [one.hardness for one in found.reasons] == ["no", "only if", "only if"]


ENOUGH = Range(2.6e-5, 3e-5, 4e-5)


@pytest.mark.parametrize(("share", "said"), [(0.24, False), (0.25, False), (0.26, True), (1.0, True)])
def test_uneven_beats_are_noted_and_change_no_answer(share: float, said: bool) -> None:
    found = judged(delivered_flow=ENOUGH, state_shares={"beating": 1.0 - share, "irregular": share})
    assert found.answer == "yes" and found.is_beating
    assert [one.id for one in found.reasons] == (["beats_unevenly"] if said else [])
    lines = promise_lines(found, "metric")
    assert lines[0].endswith("Yes.")
    assert any(f"Note: in {100 * share:.0f} of 100 cases it beats unevenly" in line for line in lines) is said
    assert any("average" in line and "another weight, stroke or length" in line for line in lines) is said


@pytest.mark.parametrize("stalled", ["stalled open", "stalled shut"])
def test_a_pump_that_does_not_beat_has_no_running_peak(stalled: str) -> None:
    found = judged(state_shares={"beating": 0.1, stalled: 0.9}, peak_head=Range(37.0, 38.0, 39.0))
    assert found.answer == "no" and [one.hardness for one in found.reasons] == ["no", "note"]
    text = "\n".join(promise_lines(found, "us"))
    # the invented surge is at most 82 m x 1.08 = 88.56 m, and 88.56 / 0.3048 = 290.6 ft
    assert (
        "if the waste valve is shut by hand, or by grit, with the pipe in full flow, the surge reaches 291 ft" in text
    )
    assert "Surge if shut by hand" in text and "Rating of the drive pipe" in text
    for words in ("Peak in the body", "delivery valve late", "Beats", "Water needed"):
        assert words not in text
    fields = promise_fields(found, site(), None, units="metric", date=datetime.date(2031, 5, 4))
    assert [figure[0] for figure in fields["pressure_figures"]] == [
        "If the waste valve is shut by hand",
        "The drive pipe is rated for",
    ]
    assert len(fields["reasons"]) == len(fields["notes"]) == 1 and "shut by hand" in fields["notes"][0]
    assert fields["water_figures"][0][0] == "Runs to waste"
    assert [row[0] for row in fields["running"]] == ["State, over all draws"]


def test_a_few_stalls_leave_the_running_peak() -> None:
    found = judged(delivered_flow=ENOUGH, state_shares={"beating": 0.7, "stalled open": 0.3})
    text = "\n".join(promise_lines(found, "metric"))
    assert "surge_if_shut_by_hand" not in {one.id for one in found.reasons}
    assert text.splitlines()[0].endswith("Yes, but only if what is said below is done.")
    assert "Peak in the body" in text and "Surge, delivery valve late" in text


def solved_as(monkeypatch: pytest.MonkeyPatch, *states: float, velocity: float = 1.0, peak: float = 40.0) -> None:
    """Let the draws come out in these states, in turn, whatever the engine would say."""

    def solved(rows: FloatArray, *_: object) -> FloatArray:
        out = np.zeros((len(rows), len(kernel.RESULTS)))
        out[:, kernel.R["state"]] = np.resize(states, len(rows))
        moving = np.isin(out[:, kernel.R["state"]], (kernel.BEATING, kernel.IRREGULAR, kernel.UNSETTLED))
        figures = {
            "beat_period": 1.0,
            "delivered_flow": 5e-5,
            "waste_flow": 3e-4,
            "drawn_flow": 3.5e-4,
            "peak_head": peak,
        }
        for name, value in figures.items():
            out[moving, kernel.R[name]] = value
        out[:, kernel.R["closing_velocity"]] = np.where(out[:, kernel.R["state"]] == kernel.STALLED_SHUT, 0.0, velocity)
        return out

    monkeypatch.setattr("clackwork.site.promise._solve", solved)


def test_uneven_draws_are_counted(monkeypatch: pytest.MonkeyPatch) -> None:
    solved_as(monkeypatch, kernel.IRREGULAR, kernel.BEATING, kernel.UNSETTLED, kernel.BEATING, kernel.BEATING)
    found = make_promise(fitted(), place("steel-sch40", "steel-sch40"), draws=40)
    assert found.state_shares == {"irregular": pytest.approx(0.4), "beating": pytest.approx(0.6)}
    (note,) = [one for one in found.reasons if one.id == "beats_unevenly"]
    assert note.values["cases"] == (40.0, "count")


def test_peaks_are_of_draws_that_beat(monkeypatch: pytest.MonkeyPatch) -> None:
    there = place("steel-sch40", "steel-sch40")
    solved_as(monkeypatch, kernel.BEATING, kernel.STALLED_OPEN)
    assert make_promise(fitted(), there, draws=40).peak_head == Range(40.0, 40.0, 40.0)
    solved_as(monkeypatch, kernel.STALLED_OPEN)
    found = make_promise(fitted(), there, draws=40)
    assert found.peak_head == Range(0.0, 0.0, 0.0) and not found.is_beating
    # 3 m of fall and a V / g at 1 m/s: wave speeds of 1 in steel lie within 900 and 1600 m/s, 92 to 163 m
    assert 95.0 < found.surge_head.low < found.surge_head.high < 170.0
    assert found.pressure_margin == pytest.approx(found.rating_head / found.surge_head.high)


def test_a_valve_that_stays_shut_is_given_the_surge_of_the_full_flow(monkeypatch: pytest.MonkeyPatch) -> None:
    there = place("steel-sch40", "steel-sch40")
    solved_as(monkeypatch, kernel.STALLED_SHUT)
    found = make_promise(fitted(), there, draws=40)
    case = RamCase(fitted().build, there.drive_pipe, Supply(there.fall), there.surroundings, vessel_head=15.0)
    full = steady_velocity(case)
    solved_as(monkeypatch, kernel.STALLED_OPEN, velocity=full)
    standing = make_promise(fitted(), there, draws=40)
    assert found.surge_head.middle == pytest.approx(standing.surge_head.middle, rel=0.1)
    assert found.surge_head.middle > 50.0


def test_a_drive_pipe_without_a_rating_is_refused_before_the_work() -> None:
    there = place("steel-sch40", "steel-sch40")
    unrated = replace(there.drive_pipe, pipe=replace(there.drive_pipe.pipe, rating_gauge=None))

    def never(done: int, _: int) -> None:
        raise AssertionError

    with pytest.raises(InputError, match=r"drive_pipe, rating = \(nothing\)"):
        make_promise(fitted(), replace(there, drive_pipe=unrated), draws=40, progress=never)


@pytest.mark.parametrize("wanted", [-1e-5, 0.0, 2.0])
def test_a_flow_wanted_that_cannot_be_is_refused(wanted: float) -> None:
    with pytest.raises(InputError, match="wanted_flow"):
        replace(site(), wanted_flow=wanted)


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
