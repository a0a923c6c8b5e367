"""Likely sites: each with pipes that suit it, and each size of pump with its own."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from invented_switch import DRAWS, TODAY, switch_found, twins
from invented_twin import demo
from workshop_books import demo_text

from clackwork.life.likely import LikelySpread, likely_sites, line_pipe, spread_about
from clackwork.switch_job import study_of_workbook, with_spread
from clackwork.switch_report import likely_lines, switch_json
from clackwork.workbook import load_workbook


def test_the_drive_pipe_goes_with_the_fall_and_the_line_with_lift_and_distance() -> None:
    like = demo().sites["Upper Hazel"]
    found = likely_sites(like, LikelySpread(), 40)
    assert all(4.99 <= one.drive_pipe.length / one.fall <= 12.01 or one.drive_pipe.length == 3.0 for one in found)
    assert all(one.drive_pipe.pipe == like.drive_pipe.pipe for one in found)
    bores = {one.line.pipe.size for one in found}
    assert len(bores) > 1 and {one.line.pipe.series for one in found} == {like.line.pipe.series}
    for one in found:
        # a pipe must bear half as much again as its lift: 1000 kg/m3 of water
        assert (one.line.pipe.rating_gauge or 0.0) >= 1.5 * 1000.0 * 9.80665 * one.line.lift or one.line.lift > 65.0


def test_a_longer_line_and_more_water_want_a_wider_pipe() -> None:
    like = demo().sites["Upper Hazel"]
    pipes = [line_pipe(like, 20.0, length, flow, 0.05) for length, flow in ((50.0, 2e-5), (500.0, 2e-5), (500.0, 2e-4))]
    bores = [one.bore for one in pipes]
    assert bores == sorted(bores) and bores[0] < bores[2]
    # by hand, of the last: f L/D v^2 / 2g with f 0.032
    velocity = 2e-4 / (math.pi * pipes[2].bore ** 2 / 4.0)
    assert 0.032 * 500.0 / pipes[2].bore * velocity**2 / (2 * 9.80665) <= 0.05 * 20.0
    custom = replace(like, line=replace(like.line, pipe=replace(like.line.pipe, series="own")))
    assert line_pipe(custom, 20.0, 500.0, 2e-4, 0.05) == custom.line.pipe


def test_friction_allowed_is_read_and_told() -> None:
    more = "\n[switch.poppet.likely]\nline_loss_over_lift = [0.02, 0.04]\n"
    asked = load_workbook(demo_text() + more).switches["poppet"]
    assert asked.spread is not None and asked.spread.line_loss_over_lift == (0.02, 0.04)
    assert likely_lines(asked, "metric") == []  # none are asked for
    [first, second] = likely_lines(replace(asked, likely=5), "us")
    assert "5 likely sites besides those in the book: fall 2.62 ft" in first and "0.02 to 0.04 of the lift" in second


def test_without_a_spread_that_of_the_book_is_told() -> None:
    asked = replace(demo().switches["poppet"], likely=3)
    settled = with_spread(demo(), asked)
    assert settled.spread == spread_about(list(demo().sites.values()))
    assert with_spread(demo(), settled) is settled and with_spread(demo(), replace(asked, likely=0)).spread is None
    _, found = switch_found()
    assert len(switch_json(found, settled, "EUR", "metric")["likely"]) == 2


@pytest.mark.slow
def test_two_sizes_are_judged_each_by_itself() -> None:
    workbook = demo()
    big = {"flap": "big flap", "poppet": "big poppet"}
    builds = dict(workbook.builds)
    for old, name in big.items():
        valve = builds[old].waste_valve
        builds[name] = replace(builds[old], name=name, waste_valve=replace(valve, seat_bore=1.4 * valve.seat_bore))
    asked = replace(
        workbook.switches["poppet"],
        pairs=(("flap", "poppet"), ("big flap", "big poppet")),
        likely=4,
        spread=LikelySpread(),
    )
    known = twins()
    for old, name in big.items():
        known[name] = replace(known[old], build=builds[name])
    found = study_of_workbook(replace(workbook, builds=builds), asked, known, today=TODAY, draws=DRAWS)
    sizes = {one.place: one.size for one in found.study.places}
    likely = [sizes[f"likely {number}"] for number in (1, 2, 3, 4)]
    assert [one.rpartition(", ")[2] for one in likely] == ["flap", "big flap", "flap", "big flap"]
    assert likely[0] != likely[1] and {rule.size for rule in found.study.rules} == set(sizes.values())
    assert sum(rule.places for rule in found.study.rules) == len(found.study.places)
