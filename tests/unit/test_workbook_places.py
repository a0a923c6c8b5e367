"""Optional keys of a workbook: snifter, leaks, pipes in series, supply pipes, sources; and that the jobs honour them."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from invented_results import twin
from typer.testing import CliRunner

from clackwork.beat_case import beat_case, source_of
from clackwork.bench.runs import reduce_run
from clackwork.cli import app
from clackwork.errors import InputError
from clackwork.ram import kernel
from clackwork.ram.engine import pack, run_beats, scale_wave_speeds
from clackwork.ram.source import run_limited
from clackwork.site.promise import make_promise
from clackwork.twin.forward import build_forward
from clackwork.twin.twin import Twin
from clackwork.workbook import Workbook, load_workbook

BOOK = """
[rig.yard]
fall = "2.1 m"
source_flow = "20 L/min"
submergence = "0.3 m"
[rig.yard.drive_pipe]
series = "steel-sch40"
size = "1 in"
length = "10 m"
[rig.yard.drive_pipe.upstream]
series = "steel-sch40"
size = "1 1/4 in"
length = "8 m"
entry_loss = 0.8
[rig.yard.supply_pipe]
series = "pe100-sdr11"
size = "50 mm"
length = "30 m"
fittings_loss = 2.0
standpipe_diameter = "200 mm"

[build.pump]
delivery_valve = { bore = "20 mm", leak_area = "0.2 mm2" }
air_vessel = { volume = "3 L" }
snifter = { bore = "1.2 mm" }
[build.pump.waste_valve]
kind = "guided poppet"
mass = "200 g"
stroke = "6 mm"
seat_bore = "28 mm"
seat_leak_area = "0.1 mm2"
held_open = "0.002 mm"

[[run]]
name = "one"
build = "pump"
rig = "yard"
kind = "delivering"
duration = "2:00"
beats = 110
waste_volume = "20 L"
delivered_volume = "2 L"
gauge_pressure = "1 bar"

[site.hill]
fall = "3 m"
source_flow = "30 L/min"
submergence = "40 cm"
lift_from_pump = "20 m"
drive_pipe = { series = "steel-sch40", size = "1 in", length = "12 m", upstream = { series = "pvc-sch40", size = "1 1/4 in", length = "9 m" } }
delivery_line = { series = "pe100-sdr11", size = "25 mm", length = "80 m", leak_area = "0.1 mm2", leak_place = "30 %" }
"""  # noqa: E501


def book(*changes: tuple[str, str]) -> Workbook:
    text = BOOK
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    return load_workbook(text)


def test_everything_arrives_in_si() -> None:
    read = book()
    pump, yard, hill = read.builds["pump"], read.rigs["yard"], read.sites["hill"]
    assert pump.snifter is not None and pump.snifter.bore == pytest.approx(1.2e-3)
    assert (pump.waste_valve.seat_leak_area, pump.waste_valve.held_open) == pytest.approx((1e-7, 2e-6))
    assert pump.delivery_valve.leak_area == pytest.approx(2e-7)
    assert yard.drive_pipe.upstream is not None and yard.drive_pipe.upstream.entry_loss == 0.8
    assert yard.supply.feed is not None and yard.supply.feed.length == 30.0
    assert yard.supply.plan_area == pytest.approx(math.pi * 0.01)
    assert (yard.source_flow, yard.submergence) == pytest.approx((20e-3 / 60.0, 0.3))
    assert (hill.submergence, hill.line.leak_area, hill.line.leak_place) == pytest.approx((0.4, 1e-7, 0.3))
    assert hill.drive_pipe.upstream is not None and hill.drive_pipe.upstream.length == 9.0
    assert yard.instruments.bucket.plan_area is None, "a standpipe is not the vessel that is drained"
    assert read.typed["build.pump.snifter.bore"].text == "1.2 mm"


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('snifter = { bore = "1.2 mm" }', 'snifter = { bor = "1.2 mm" }', "build 'pump', snifter, bore.*\"bor\""),
        ('snifter = { bore = "1.2 mm" }', 'snifer = { bore = "1.2 mm" }', 'Did you mean "snifter"'),
        ('bore = "1.2 mm"', 'bore = "120 mm"', "build 'pump', snifter, bore = \"120 mm\".*0.2 to 20 mm"),
        ("entry_loss = 0.8", "entry_los = 0.8", 'rig \'yard\', drive_pipe, upstream = "entry_los".*"entry_loss"'),
        ('length = "10 m"', 'length = "10 m"\nentry_loss = 0.5', "rig 'yard', drive_pipe, entry_loss = 0.5.*upstream"),
        ('standpipe_diameter = "200 mm"', "", "rig 'yard', supply_pipe, standpipe_diameter"),
        (
            'standpipe_diameter = "200 mm"',
            'standpipe_area = "0 m2"',
            "rig 'yard', supply_pipe, standpipe_area = \"0 m2\"",
        ),
        (
            'fall = "2.1 m"',
            'fall = "2.1 m"\nsupply_diameter = "1 m"',
            "rig 'yard', supply_diameter = \"1 m\".*standpipe",
        ),
        ('submergence = "0.3 m"', 'submergence = "3 m"', "rig 'yard', submergence = \"3 m\".*less than the fall"),
        ('submergence = "40 cm"', 'submergence = "4 m"', "site 'hill', submergence = \"4 m\".*less than the fall"),
        ('leak_place = "30 %"', 'leak_place = "130 %"', "site 'hill', delivery_line, leak_place = \"130 %\""),
        ('held_open = "0.002 mm"', 'held_open = "6 mm"', "build 'pump', waste_valve, held_open = \"6 mm\""),
        ('source_flow = "20 L/min"', 'source_flow = "0 L/min"', "rig 'yard', source_flow = \"0 L/min\""),
    ],
)
def test_errors_name_table_and_field(old: str, new: str, said: str) -> None:
    with pytest.raises(InputError, match=said):
        book((old, new))


def test_a_drive_pipe_has_three_pipes_at_most() -> None:
    deep = "[rig.yard.drive_pipe.upstream"
    more = "".join(
        f'{deep}{".upstream" * count}]\nseries = "steel-sch40"\nsize = "2 in"\nlength = "5 m"\n' for count in (1, 2)
    )
    with pytest.raises(InputError, match="rig 'yard', drive_pipe, upstream = four pipes"):
        book(("entry_loss = 0.8\n", more))


def test_a_beat_honours_the_place() -> None:
    read = book()
    case, _ = beat_case(read, None, "yard", None, "12 m")
    assert case.supply == read.rigs["yard"].supply and case.drive_pipe.upstream is not None
    bare = book((BOOK[BOOK.index("[rig.yard.supply_pipe]") : BOOK.index("[build.pump]")], ""))
    plain, _ = beat_case(bare, None, "yard", None, "12 m")
    assert run_beats(case).drawn_flow != run_beats(plain).drawn_flow
    assert source_of(read, None, "hill") == pytest.approx((30e-3 / 60.0, 0.4))
    sited, _ = beat_case(read, None, None, "hill", None)
    assert sited.pipes_above == (read.sites["hill"].drive_pipe.upstream,)


@pytest.mark.parametrize(("flow", "state"), [("30 L/min", "enough"), ("0.5 L/min", "starved")])
def test_the_terminal_says_what_the_source_does(tmp_path: object, flow: str, state: str) -> None:
    path = tmp_path / "book.toml"  # type: ignore[operator]
    path.write_text(BOOK.replace('source_flow = "30 L/min"', f'source_flow = "{flow}"'), encoding="utf-8")
    told = CliRunner().invoke(app, ["beat", str(path), "--site", "hill", "--json"])
    assert told.exit_code == 0 and f'"state": "{state}"' in told.stdout
    said = CliRunner().invoke(app, ["beat", str(path), "--site", "hill"]).stdout
    assert ("draws air" in said) is (state == "starved")


def test_a_standpipe_starves_where_more_is_drawn_than_comes() -> None:
    case, _ = beat_case(
        book(), None, "yard", None, "18 m"
    )  # against 12 m its leaks bring it to the edge of staying shut
    drawn = run_beats(case).drawn_flow
    assert [run_limited(case, share * drawn).state for share in (1.1, 0.9)] == ["enough", "starved"]
    assert run_limited(case, math.inf).state == "enough"


def test_a_fit_honours_supply_pipe_and_pipes_above() -> None:
    read = book()
    [run] = read.runs
    figures = reduce_run(run, read.rigs["yard"].instruments)
    [row] = build_forward(read.builds["pump"], read.rigs, [run], [figures]).packed
    place = kernel.P
    assert row[place["feed_loss"]] > 0.0 and row[place["supply_plan_area"]] == pytest.approx(math.pi * 0.01)
    assert row[place["upper_length"]] == 8.0


def test_waves_keep_whole_blocks_in_every_pipe() -> None:
    case, _ = beat_case(book(), None, "yard", None, "12 m")
    row = pack(case)
    faster = np.array([row, row])
    scale_wave_speeds(faster, np.array([1.0, 1.1]))
    place = kernel.P
    assert np.array_equal(faster[0], row)
    for name in ("wave_speed", "upper_wave_speed"):
        assert faster[1, place[name]] == pytest.approx(1.1 * row[place[name]])
    assert faster[1, place["top_wave_speed"]] == 0.0


def fitted(read: Workbook) -> Twin:
    values = {
        "discharge_coefficient": 0.62,
        "closing_coefficient": 1.0,
        "delivery_loss": 4.0,
        "slip_volume": 1e-6,
        "body_air": 2e-6,
    }
    draws = np.tile(list(values.values()), (4, 1))
    return replace(twin(), build=read.builds["pump"], parameter_names=tuple(values), best=values, draws=draws)


def test_a_promise_honours_pipes_in_series_source_and_air() -> None:
    read = book()
    hill = read.sites["hill"]
    found = make_promise(fitted(read), hill, draws=8)
    above = hill.drive_pipe.upstream
    assert above is not None
    water = beat_case(read, None, None, "hill", None)[0].water
    weakest = above.pipe.rating_at(hill.surroundings.temperature) / (water.density * 9.80665)
    assert found.rating_head == pytest.approx(weakest), "the weaker pipe is the plastic one above"
    assert "plastic_pipe" in found.cautions
    assert found.source_state == "enough"
    dry = make_promise(fitted(read), replace(hill, source_flow=0.2 * found.water_needed.middle), draws=8)
    assert dry.source_state == "starved" and "pipe_draws_air" in {reason.id for reason in dry.reasons}
    unrated = replace(above, pipe=replace(above.pipe, rating_gauge=None))
    with pytest.raises(InputError, match="drive_pipe, upstream, rating"):
        make_promise(fitted(read), replace(hill, drive_pipe=replace(hill.drive_pipe, upstream=unrated)), draws=8)


def test_a_promise_says_that_the_air_goes() -> None:
    holed, bare = book(), book(('snifter = { bore = "1.2 mm" }\n', ""))
    for read, goes in ((holed, False), (bare, True)):
        found = make_promise(fitted(read), read.sites["hill"], draws=8)
        assert ("air_goes" in {reason.id for reason in found.reasons}) is goes
        assert (found.vessel_air is not None) is goes
        assert found.vessel_air is None or found.vessel_air[0] < found.vessel_air[1]
