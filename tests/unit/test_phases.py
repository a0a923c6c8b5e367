"""Phases of a beat read from a trace, and the charts that show them and where the energy went."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from xml.etree import ElementTree

import altair
import numpy as np
import pytest
from numpy.typing import NDArray

from clackwork.charts.phase_chart import energy_chart, energy_shares, phase_chart
from clackwork.charts.vega import Spec, to_svg
from clackwork.errors import ModelError
from clackwork.pipes import find_pipe
from clackwork.ram.engine import BeatEnergy, RamCase, run_trace
from clackwork.ram.parts import AirVessel, Build, DeliveryValve, DrivePipe, GuidedPoppet, Supply
from clackwork.ram.phases import last_phases

ENERGY = BeatEnergy(20.0, entry=0.5, pipe=5.0, waste=1.0, delivery_valve=0.5, lifted=12.8, body=0.01, waste_valve=0.1)
CASE = RamCase(
    Build("metal", GuidedPoppet(0.2, 0.006, 0.028), DeliveryValve(0.022, slip_volume=2e-6), AirVessel(4e-3)),
    DrivePipe(find_pipe("steel-sch40", "1 in"), 30.0),
    Supply(6.0),
    vessel_head=24.0,
)
Trace = dict[str, NDArray[np.float64]]


def made_up(beats: int = 3) -> Trace:
    """Beats of 1 s: 0.6 s open with a rebound, 0.1 s to the seat, 0.2 s shut of which 0.15 s deliver, 0.1 s to open."""
    time = np.arange(0.0, float(beats), 1e-3)
    at = np.mod(time, 1.0)
    opening = np.interp(at, [0.0, 0.6, 0.7, 0.9, 1.0], [6e-3, 6e-3, 0.0, 0.0, 6e-3])
    opening[np.abs(at - 0.02) < 0.005] *= 0.995
    delivered = np.where((at >= 0.7) & (at < 0.85), 1e-4, 0.0)
    delivered[(at >= 0.85) & (at < 0.87)] = -1e-5
    return {
        "time": time,
        "opening": opening,
        "delivered_flow": delivered,
        "body_head": np.where(at < 0.7, 0.3, 24.0),
        "velocity": np.interp(at, [0.0, 0.65, 0.85, 1.0], [0.0, 1.3, 0.0, -0.1]),
        "vessel_head": 24.0 + 0.1 * at,
    }


def test_phases_of_the_last_whole_beat() -> None:
    phases = last_phases(made_up())
    assert phases.accelerate == pytest.approx(2.0, abs=0.003)  # begins 2 % short of the stop, ends alike
    assert phases.close == pytest.approx(2.602, abs=0.003)
    assert phases.deliver == pytest.approx(2.698, abs=0.003)
    assert phases.recoil == pytest.approx(2.85, abs=0.003)
    assert phases.end == pytest.approx(3.0, abs=0.003)
    assert list(phases.spans) == ["accelerate", "close", "deliver", "recoil"]
    ends = [end for _, end in phases.spans.values()]
    assert ends[:-1] == [begin for begin, _ in list(phases.spans.values())[1:]]


def test_delivery_shut_goes_straight_into_recoil() -> None:
    trace = made_up() | {"delivered_flow": np.zeros(3000)}
    phases = last_phases(trace)
    assert phases.recoil == phases.deliver


@pytest.mark.parametrize("rows", [0, 500, 1500])
def test_no_whole_beat(rows: int) -> None:
    with pytest.raises(ModelError, match="no whole beat"):
        last_phases({name: column[:rows] for name, column in made_up().items()})


def test_a_stalled_pump_has_no_phases() -> None:
    heavy = replace(CASE, build=CASE.build.retuned(mass=2.0))
    with pytest.raises(ModelError, match="no whole beat"):
        last_phases(run_trace(heavy)[1])


def test_phases_of_the_engine_fill_a_beat() -> None:
    result, trace = run_trace(CASE, duration=20.0, rows=40000)
    phases = last_phases(trace)
    assert phases.end - phases.accelerate == pytest.approx(1.0 / result.beat_rate, rel=0.02)
    assert phases.recoil - phases.deliver == pytest.approx(result.delivery_time, rel=0.05)
    assert phases.close - phases.accelerate == pytest.approx(result.open_time, rel=0.1)


def drawn(system: str = "metric") -> dict[str, Spec]:
    trace = made_up()
    phases = last_phases(trace)
    words = {"heading": "One beat", "caption": "Dashed: another line."}
    dashed = {"velocity": np.where(trace["time"] < 2.5, 1.0, np.nan)}
    return {
        "whole": phase_chart(trace, phases, **words, dashed=dashed, system=system),
        "part": phase_chart(trace, phases, **words, window=(2.59, 2.99), marks=[2.7, 2.8, 3.5], system=system),
        "energy": energy_chart(ENERGY),
    }


@pytest.mark.parametrize(("name", "system"), [("whole", "us"), ("part", "metric"), ("energy", "metric")])
def test_charts_fit_the_schema_and_read_in_grey(name: str, system: str) -> None:
    spec = drawn(system)[name]
    json.dumps(spec, allow_nan=False)
    altair.Chart.from_dict(spec)
    svg = to_svg(spec)
    assert "NaN" not in svg
    assert not re.search(r"(href|src)=", svg)
    for colour in re.findall(r"#([0-9a-fA-F]{6})\b", svg):
        assert colour[:2] == colour[2:4] == colour[4:], colour


def words_in(spec: Spec) -> list[str]:
    return ["".join(element.itertext()) for element in ElementTree.fromstring(to_svg(spec)).iter() if _is_text(element)]


def _is_text(element: ElementTree.Element) -> bool:
    return element.tag.endswith("}text")


def test_phases_are_named_and_units_said() -> None:
    words = " ".join(words_in(drawn()["whole"]))
    for expected in ("accelerate", "close", "deliver", "recoil", "(m)", "(m/s)", "(mm)", "(s)"):
        assert expected in words
    assert "(in)" in " ".join(words_in(drawn("us")["whole"]))


def test_a_slice_too_narrow_has_no_name_and_marks_outside_are_left_out() -> None:
    part = drawn()["part"]
    assert "accelerate" not in words_in(part)
    rules = [each for each in part["vconcat"][1]["layer"] if each["mark"]["type"] == "rule"]
    assert [len(each["data"]["values"]) for each in rules] == [2]


def test_no_peak_is_lost_in_drawing() -> None:
    trace = made_up()
    trace["body_head"] = trace["body_head"].copy()
    trace["body_head"][2777] = 99.0
    lines = phase_chart(trace, last_phases(trace), heading="", caption="")["vconcat"][1]["layer"]
    assert max(row["body_head_m"] for row in lines[-1]["data"]["values"]) == 99.0
    assert len(lines[-1]["data"]["values"]) < 1000


def test_shares_add_up_and_go_from_large_to_small() -> None:
    shares = energy_shares(ENERGY)
    assert sum(shares.values()) == pytest.approx(1.0)
    assert list(shares)[-1] == "not accounted for"
    assert list(shares.values())[:-1] == sorted(list(shares.values())[:-1], reverse=True)
    assert shares["lifted into the vessel"] == pytest.approx(0.64)
    words = words_in(energy_chart(ENERGY))
    assert "64 %" in words and "2.5 %" in words and "The water drawn for one beat gives 20 J by falling." in words
