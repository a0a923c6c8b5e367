"""Groups and the vessel's air beside one engine run."""

from __future__ import annotations

from dataclasses import replace

import pytest

from clackwork.beat_report import GROUPS, air_words, report_json, report_lines, run_air
from clackwork.pipes import find_pipe
from clackwork.ram.engine import RamCase, run_beats
from clackwork.ram.groups import groups_of
from clackwork.ram.parts import AirVessel, Build, DeliveryValve, DrivePipe, GuidedPoppet, Snifter, Supply

CASE = RamCase(
    Build("metal", GuidedPoppet(0.3, 0.006, 0.028), DeliveryValve(0.022), AirVessel(4e-3)),
    DrivePipe(find_pipe("steel-sch40", "1 in"), 30.0),
    Supply(6.0),
    vessel_head=36.0,
)


def test_groups_are_those_of_the_run() -> None:
    result = run_beats(CASE)
    shown = report_json(CASE, result, "metric")["groups"]
    assert shown == {name: getattr(groups_of(CASE, result), name) for name in GROUPS}
    lines = report_lines(CASE, result)
    assert sum(line.startswith("    ") for line in lines) == len(GROUPS)
    shut = replace(CASE, vessel_head=None)
    assert not any("lift over fall" in line for line in report_lines(shut, run_beats(shut)))


def test_a_pump_that_does_not_beat_has_neither() -> None:
    heavy = replace(CASE, build=CASE.build.retuned(mass=5.0))
    result = run_beats(heavy)
    assert report_json(heavy, result, "us") == {"groups": None, "vessel_air": None}
    assert report_lines(heavy, result) == []


def test_air_that_goes_and_air_that_comes() -> None:
    bare = run_beats(CASE)
    assert "its air is gone after about" in air_words(CASE, bare)
    assert "without a snifter" in air_words(CASE, bare) and "fit a snifter" in air_words(CASE, bare)
    shown = report_json(CASE, bare, "us")["vessel_air"]
    air = run_air(CASE, bare)
    assert air is not None
    assert shown["lasts_s"] == air.lasts and shown["fills_s"] is None
    assert shown["volume_at_work_gal"] == pytest.approx(air.volume_at_work / 3.785411784e-3)
    holed = replace(CASE, build=replace(CASE.build, snifter=Snifter(1.2e-3)))
    assert "goes down the line" in air_words(holed, run_beats(holed))
    balanced = replace(bare, snifted_air=air.dissolved / bare.beat_rate)
    assert "its air stays" in air_words(holed, balanced)
    short = replace(bare, snifted_air=0.5 * air.dissolved / bare.beat_rate)
    assert "a wider snifter keeps it" in air_words(holed, short)
