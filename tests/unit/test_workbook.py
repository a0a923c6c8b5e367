"""The workbook: what it reads, and the sentence for everything it cannot use."""

from __future__ import annotations

import math
from importlib.resources import files
from pathlib import Path

import pytest

from clackwork.bench.runs import reduce_run
from clackwork.errors import ClackworkError, InputError
from clackwork.ram.parts import GuidedPoppet, HingedFlap
from clackwork.workbook import load_workbook, pick
from clackwork.workbook_reader import MOST_BYTES, WorkbookError

BOOK = """
[workbook]
title = "A small one"
units = "us"

[rig.yard]
fall = "7 ft"
supply_diameter = "1 m"
drive_pipe = { series = "steel-sch40", size = "1 in", length = "40 ft", entry_loss = 0.6 }
instruments = { gauge = { full_scale = "10 bar", accuracy_class = "1.6 %", height_above_datum = "0.5 m" } }

[build.old]
delivery_valve = { bore = "20 mm" }
air_vessel = { volume = "3 L" }
waste_valve = { kind = "guided poppet", mass = "350 g", stroke = "8 mm", seat_bore = "1 1/4 in" }

[build.new]
delivery_valve = { bore = "20 mm" }
air_vessel = { volume = "3 L" }
[build.new.waste_valve]
kind = "hinged flap"
mass = "120 g"
stroke = "8 mm"
seat_bore = "30 mm"
mass_distance = "22 mm"
seat_distance = "22 mm"

[trial.swap]
builds = ["old", "new"]
figure = "waste_flow"
kind = "shut_beating"
margin = "5 %"
difference_that_matters = "10 %"

[[run]]
name = "first"
build = "old"
rig = "yard"
kind = "delivering"
duration = "2:00"
beats = 110
waste_volume = "5 gal"
delivered_volume = "2 L"
gauge_pressure = "1 bar"
water_temperature = "4 degC"

[[run]]
name = "second"
build = "new"
rig = "yard"
kind = "shut_beating"
duration = "180 s"
beats = "150"

[site.hill]
fall = "6.0 m +- 0.3 m"
source_flow = "20 L/min"
lift_from_source = "30 m ± 0.4 m"
wanted_flow = "1440 L/day"
drive_pipe = { bore = "30 mm", wall = "2 mm", material = "PVC", rating = "10 bar", length = "20 m" }
delivery_line = { series = "pe100-sdr11", size = "25 mm", length = "100 m" }
"""


def refusal(old: str, new: str) -> str:
    """The sentence for the workbook with one text put in the place of another."""
    assert old in BOOK
    with pytest.raises(ClackworkError) as caught:
        load_workbook(BOOK.replace(old, new, 1))
    return str(caught.value)


def test_everything_arrives_in_si() -> None:
    book = load_workbook(BOOK)
    assert (book.title, book.units) == ("A small one", "us")
    assert book.rigs["yard"].supply.fall == pytest.approx(2.1336)
    assert book.rigs["yard"].supply.plan_area == pytest.approx(math.pi / 4)
    assert book.rigs["yard"].instruments.bucket.plan_area == pytest.approx(math.pi / 4)
    assert isinstance(book.builds["old"].waste_valve, GuidedPoppet)
    assert isinstance(book.builds["new"].waste_valve, HingedFlap)
    assert book.builds["old"].waste_valve.seat_bore == pytest.approx(0.03175)
    assert [run.order for run in book.runs] == [1, 2]
    assert book.runs[0].beats == 110 and book.runs[1].beats == 150
    assert book.runs[1].fall_start == pytest.approx(2.1336)
    assert book.runs_of_trial(book.trials["swap"]) == (book.runs[1],)


def test_gauge_pressure_becomes_head_above_the_datum() -> None:
    book = load_workbook(BOOK)
    run = book.runs[0]
    assert run.pressure_gauge == pytest.approx(1e5)
    head = reduce_run(run, book.rigs["yard"].instruments).back_pressure_head
    assert head is not None
    # 1 bar over 999.97 kg/m3 (water at 4 degC) and 9.80665 m/s2 is 10.1975 m, read half a metre above the datum
    assert head.value == pytest.approx(10.1975 + 0.5, abs=2e-3)


def test_lift_from_source_adds_the_fall_and_its_uncertainty() -> None:
    site = load_workbook(BOOK).sites["hill"]
    assert site.line.lift == pytest.approx(36.0)
    assert site.fall_spread == pytest.approx(0.3 / math.sqrt(3.0))
    assert site.lift_spread == pytest.approx(0.5 / math.sqrt(3.0))
    assert site.wanted_flow == pytest.approx(1.0 / 60_000.0)
    assert site.drive_pipe.pipe.rating_gauge == pytest.approx(1e6)


def test_the_text_typed_is_kept() -> None:
    typed = load_workbook(BOOK).typed
    assert typed["build.old.waste_valve.seat_bore"].text == "1 1/4 in"
    assert typed["run.first.duration"].text == "2:00"
    assert typed["site.hill.fall"].text == "6.0 m +- 0.3 m"


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("beats = 110", 'beats = "many"', ["run 'first', beats"]),
        ("beats = 110", "beats = true", ["run 'first', beats"]),
        ('duration = "2:00"', "duration = 120", ["run 'first', duration", "in quotes"]),
        ('duration = "2:00"', 'duration = "2 m"', ["run 'first', duration"]),
        ('name = "second"', 'name = "first"', ["run 'first', name", "another run"]),
        ('build = "old"\n', 'build = "odl"\n', ["run 'first', build", 'Did you mean "old"?']),
        ('rig = "yard"', 'rig = "bench"', ["run 'first', rig", "yard"]),
        ('kind = "delivering"', 'kind = "deliver"', ["run 'first', kind", '"delivering"']),
        ("waste_volume", "waste_volum", ["run 'first'", '"waste_volum"', 'Did you mean "waste_volume"?']),
        ("[site.hill]", "[sites.hill]", ['"sites"', 'Did you mean "site"?']),
        ('stroke = "8 mm", seat', 'stroke = "8 m", seat', ["build 'old', waste_valve, stroke"]),
        ('mass = "350 g", ', "", ["build 'old', waste_valve, mass", "needed"]),
        ('size = "1 in"', 'size = "9 in"', ["rig 'yard', drive_pipe", "9 in"]),
        ('gauge_pressure = "1 bar"', 'gauge_pressure = "1 bar"\nback_pressure_head = "9 m"', ["not both"]),
        ('lift_from_source = "30 m ± 0.4 m"', "", ["site 'hill'", "neither", "exactly one"]),
        ('wanted_flow = "1440 L/day"', 'lift_from_pump = "36 m"', ["site 'hill'", "both", "exactly one"]),
        ('lift_from_source = "30 m ± 0.4 m"', 'lift_from_pump = "5 m"', ["site 'hill'", "above the fall"]),
        ('margin = "5 %"', 'margin = "0 %"', ["trial 'swap', margin"]),
        ('["old", "new"]', '["old", "old"]', ["trial 'swap', builds", "differ"]),
        ('["old", "new"]', '["old"]', ["trial 'swap', builds"]),
        ('units = "us"', 'units = "imperial"', ["workbook, units", "metric"]),
        ('fall = "7 ft"', 'fall = "7 mm"', ["rig 'yard', fall"]),
        ("beats = 110", 'beats = 110\ntilt = "120 deg"', ["run 'first', tilt = \"120 deg\"", "Check the figure"]),
        ('gauge_pressure = "1 bar"', 'gauge_pressure = "11 bar"', ["run 'first', gauge_pressure", "10"]),
        ("full_scale", "fullscale", ['"fullscale"', 'Did you mean "full_scale"?']),
    ],
)  # fmt: skip
def test_errors_name_table_and_field(old: str, new: str, said: list[str]) -> None:
    sentence = refusal(old, new)
    for part in said:
        assert part in sentence, sentence


def test_one_bracket_in_place_of_two_is_explained() -> None:
    book = BOOK[: BOOK.index("[[run]]")] + '[run]\nname = "first"\n'
    with pytest.raises(InputError, match="two brackets"):
        load_workbook(book)


def test_bad_toml_names_the_line() -> None:
    assert "line 3" in refusal('title = "A small one"', 'title = "A small one')


@pytest.mark.parametrize("content", [b"", b"  \n \n"])
def test_an_empty_file_is_said_to_be_empty(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "book.toml"
    path.write_bytes(content)
    with pytest.raises(WorkbookError, match="empty"):
        load_workbook(path)


def test_text_that_is_not_utf8_names_the_line(tmp_path: Path) -> None:
    path = tmp_path / "book.toml"
    path.write_bytes(b'[workbook]\ntitle = "caf\xe9"\n')
    with pytest.raises(WorkbookError, match=r"not UTF-8 text \(line 2\)"):
        load_workbook(path)


def test_a_huge_file_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "book.toml"
    path.write_bytes(b"#" * (MOST_BYTES + 1))
    with pytest.raises(WorkbookError, match="2 MB"):
        load_workbook(path)


def test_a_missing_file_and_a_folder(tmp_path: Path) -> None:
    with pytest.raises(WorkbookError, match="no workbook"):
        load_workbook(tmp_path / "absent.toml")
    with pytest.raises(WorkbookError, match="cannot be read"):
        load_workbook(tmp_path)


def test_deep_nesting_is_a_sentence() -> None:
    with pytest.raises(WorkbookError):
        load_workbook("a = " + "[" * 50_000 + "\n")


def test_a_byte_order_mark_and_windows_lines_are_read() -> None:
    assert load_workbook("\ufeff" + BOOK.replace("\n", "\r\n")).title == "A small one"


def test_pick_names_the_nearest() -> None:
    with pytest.raises(InputError, match='Did you mean "old"'):
        pick({"old": 1, "new": 2}, "olt", "build")
    assert pick({"old": 1, "new": 2}, None, "build") == {"old": 1, "new": 2}


def test_the_demo_is_complete_and_says_it_is_invented() -> None:
    text = (files("clackwork") / "demo" / "workshop.toml").read_text(encoding="utf-8")
    book = load_workbook(text)
    assert "invented" in book.title and "invented" in text.splitlines()[0]
    assert len(book.sites) == 4 and set(book.builds) == {"flap", "poppet"}
    for build in book.builds:
        kinds = [run.kind.value for run in book.runs_of(build)]
        assert kinds.count("held_open") == 2 and kinds.count("shut_beating") == 3
        assert 1 <= kinds.count("dead_head") <= 2 and kinds.count("delivering") >= 4
