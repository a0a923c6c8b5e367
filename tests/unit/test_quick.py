"""The quick answer: what it chooses, what it assumes, what it says is missed; several pumps on one line."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import lru_cache
from string import Formatter

import numpy as np
import pytest
from invented_twin import demo, twin_of

from clackwork.answers_json import reason_words
from clackwork.errors import InputError, ModelError
from clackwork.pipes import find_pipe
from clackwork.quantities import KINDS
from clackwork.ram import kernel
from clackwork.ram.engine import RamCase, pack
from clackwork.ram.operating import line_head
from clackwork.ram.parts import DeliveryLine, DrivePipe, Supply, SupplyPipe
from clackwork.ram.shared import line_share, settle_alike, shared_operating_point
from clackwork.ram.steady_loss import steady_loss
from clackwork.site.laying import laid_length, size_line, tried_lengths
from clackwork.site.limits import CONDITIONS, LIMITS
from clackwork.site.promise import make_promise
from clackwork.site.quick import WHY, QuickAnswer, QuickAsk, QuickAssumptions, quick_answer
from clackwork.site.stock import Stock, fitting_bores, pipes_of, usual_bounds, usual_stock
from clackwork.twin.twin import Twin
from clackwork.water import water_at

LITRES_A_MINUTE = 1e-3 / 60.0
DAY = 86400.0
LINE = DeliveryLine(find_pipe("pe100-sdr11", "25 mm"), 120.0, 22.0, 6.0)
USUAL = QuickAsk(fall=3.0, source_flow=30.0 * LITRES_A_MINUTE, lift=22.0, line_length=90.0)
DRAWS = 40


@lru_cache
def twins() -> tuple[Twin, ...]:
    return tuple(twin_of(build, spread=0.02) for build in demo().builds.values())


@lru_cache
def asked(ask: QuickAsk = USUAL) -> QuickAnswer:
    return quick_answer(twins(), ask, draws=DRAWS)


def ram(length: float = 15.0) -> RamCase:
    return RamCase(twins()[0].build, DrivePipe(find_pipe("steel-sch40", "1 in"), length), Supply(3.0), line=LINE)


@pytest.mark.parametrize("pumps", [2, 3, 7])
def test_the_share_of_a_line_asks_for_the_head_of_all(pumps: int) -> None:
    water, flow = water_at(), 3e-5
    for line in (LINE, replace(LINE, length=2.0, lift=1.0)):
        share = line_share(line, pumps)
        assert line_head(share, flow, water) == pytest.approx(line_head(line, pumps * flow, water), rel=1e-9)


def test_a_shared_line_must_not_leak() -> None:
    with pytest.raises(InputError, match="leak"):
        line_share(replace(LINE, leak_area=1e-6), 2)
    with pytest.raises(ModelError, match="line"):
        settle_alike([replace(ram(), line=None, vessel_head=20.0)], [2])


def test_like_pumps_settle_where_the_pumps_one_by_one_do() -> None:
    """The other way is the general one for unlike pumps, by false position on held heads."""
    case = ram()
    found = settle_alike([case], [3])[0]
    other = shared_operating_point([case] * 3, LINE)
    assert 3 * found.delivered_flow == pytest.approx(other.delivered_flow, rel=5e-3)
    assert found.vessel_head == pytest.approx(other.vessel_head, rel=2e-3)


def test_a_standpipe_is_shared() -> None:
    """One of three pumps beats as one alone does on the level that their supply pipe keeps at the flow of all."""
    pipe = SupplyPipe(find_pipe("pe100-sdr11", "50 mm"), 60.0)
    case = replace(ram(), supply=Supply(3.0, 0.2, pipe))
    one, three = settle_alike([case, case], [1, 3])
    loss = steady_loss(pipe.pipe, pipe.length, pipe.fittings_loss, 3 * three.drawn_flow, case.water)
    assert loss > 0.3
    (lower,) = settle_alike([replace(case, supply=Supply(3.0 - loss))], [3])
    assert three.delivered_flow == pytest.approx(lower.delivered_flow, rel=0.01)
    assert three.beat_rate == pytest.approx(lower.beat_rate, rel=0.01)
    assert three.beat_rate < 0.95 * one.beat_rate


def test_the_level_of_a_standpipe_is_where_a_long_run_leaves_it() -> None:
    """The other way is a run of the engine that is not ended by settled beats, through the standpipe's minutes."""
    pipe = SupplyPipe(find_pipe("pe100-sdr11", "32 mm"), 20.0)
    case = replace(ram(), supply=Supply(3.0, 0.01, pipe), line=None, vessel_head=23.0)
    packed = pack(case, most_beats=400, most_time=400.0)
    packed[kernel.P["settle_tolerance"]] = 0.0
    out = np.zeros(len(kernel.RESULTS))
    kernel.simulate(packed, out, np.zeros((0, len(kernel.TRACE_COLUMNS))), 1)
    long = {name: float(out[at]) for name, at in kernel.R.items()}
    wide = DeliveryLine(find_pipe("pe100-sdr11", "63 mm"), 23.0, 23.0)
    (found,) = settle_alike([replace(case, line=wide, vessel_head=None)], [1])
    assert long["fall_at_end"] < 2.8
    assert 1.0 / long["beat_period"] == pytest.approx(found.beat_rate, rel=0.04)
    assert long["delivered_flow"] == pytest.approx(found.delivered_flow, rel=0.04)


def test_a_promise_of_several_sums_the_flows() -> None:
    answer = asked()
    site = replace(answer.site, line=DeliveryLine(find_pipe("pe100-sdr11", "63 mm"), 25.0, 22.0))
    twin = replace(twins()[0], build=answer.build) if answer.twin_name == "flap" else twins()[1]
    one, two = (make_promise(twin, site, pumps=count, draws=DRAWS) for count in (1, 2))
    assert two.delivered_flow.middle == pytest.approx(2 * one.delivered_flow.middle, rel=0.01)
    assert two.water_needed.high == pytest.approx(2 * one.water_needed.high, rel=0.01)
    assert two.beat_rate.middle == pytest.approx(one.beat_rate.middle, rel=0.01)
    assert (one.pumps, two.pumps) == (1, 2)


def test_the_answer_says_all_that_was_asked() -> None:
    answer = asked()
    promise = answer.promise
    assert answer.answer in ("yes", "only if")
    assert 0.0 < promise.daily_delivery.low < promise.daily_delivery.middle < promise.daily_delivery.high
    assert promise.delivered_flow.high * USUAL.lift <= promise.water_needed.high * USUAL.fall * 1.2
    assert answer.pumps >= 1 and answer.limit is not None
    assert {name for name, _, _ in answer.others} | {answer.twin_name} == {"flap", "poppet"}
    assert len(answer.reasons) == len({reason.id for reason in answer.reasons})


def test_enough_water_is_left_for_what_is_not_known() -> None:
    """A flow told on the phone is good to 15 %: the pumps are tuned to draw less than it, so that the answer is yes."""
    answer = asked()
    assert answer.promise.share_enough_water >= 0.95
    assert answer.promise.water_needed.middle < 0.85 * USUAL.source_flow


def test_fewest_pumps_that_are_wanted() -> None:
    most = asked()
    few = asked(replace(USUAL, wanted_flow=0.4 * most.promise.delivered_flow.middle))
    assert (few.answer == "yes" and few.pumps < most.pumps) or most.pumps == 1
    assert few.promise.delivered_flow.low >= 0.4 * most.promise.delivered_flow.middle


def test_too_little_water_is_said_in_figures() -> None:
    answer = asked(replace(USUAL, source_flow=3.0 * LITRES_A_MINUTE))
    assert answer.answer == "no" and answer.limit is not None and answer.limit.id == "more_flow"
    (more,) = [reason for reason in answer.reasons if reason.id == "more_flow"]
    needed, missing = more.values["flow_needed"][0], more.values["missing"][0]
    assert needed == pytest.approx(answer.promise.water_needed.high)
    assert missing == pytest.approx(needed - answer.promise.water_there.low)
    assert "too_little_water" not in {reason.id for reason in answer.reasons}


def test_more_wanted_than_the_source_can_lift() -> None:
    """What Q H / h allows at 30 L/min is 5.9 m3 a day; 20 are wanted."""
    answer = asked(replace(USUAL, wanted_flow=20.0 / DAY))
    (more,) = [reason for reason in answer.reasons if reason.id == "flow_for_wanted"]
    assert answer.answer == "only if"
    assert more.values["flow_needed"][0] > 20.0 / DAY * USUAL.lift / USUAL.fall
    assert answer.limit == more


def test_a_hopeless_place_is_a_no() -> None:
    answer = asked(replace(USUAL, fall=0.2, lift=60.0, line_length=200.0))
    assert answer.answer == "no"
    assert answer.limit is not None and answer.limit.hardness == "no"
    assert "less_fall_than_usual" in {reason.id for reason in answer.reasons}


def test_the_rule_of_seven_is_said_where_it_is_broken() -> None:
    low = asked(replace(USUAL, lift=6.0, line_length=30.0))
    (rule,) = [reason for reason in low.reasons if reason.id == "seven_times"]
    assert rule.values["times"][0] < 7.0 and rule.hardness == "note"
    assert "seven_times" not in {reason.id for reason in asked().reasons}


def test_everything_assumed_is_said_and_can_be_set() -> None:
    answer = asked(replace(USUAL, ground_to_source=120.0))
    whats = [each.what for each in answer.assumed]
    assert len(whats) == len(set(whats)) and set(whats) == set(WHY)
    assert all(each.why == WHY[each.what] for each in answer.assumed)
    assert all(each.kind in KINDS or each.kind == "pipe" for each in answer.assumed)
    steel = find_pipe("steel-sch40", "1 in")
    usual = usual_stock()
    ask = replace(USUAL, ground_to_source=120.0, fall_spread=0.02, lift_spread=0.1, source_flow_spread=1e-5)
    assume = QuickAssumptions(
        drive_pipes={"flap": steel, "poppet": steel},
        drive_length=18.0,
        supply_length=100.0,
        supply_pipe=find_pipe("pvc-sch40", "2 in"),
        delivery_pipe=find_pipe("pe100-sdr11", "32 mm"),
        standpipe_diameter=0.25,
        fittings_loss=9.0,
        temperature=288.15,
        altitude=900.0,
        stock=replace(usual, bounds={twin.build.name: usual_bounds(twin.build) for twin in twins()}),
    )
    settled = quick_answer(twins(), ask, assume, draws=DRAWS)
    assert settled.assumed == ()
    site = settled.site
    assert (site.drive_pipe.pipe, site.drive_pipe.length) == (steel, 18.0)
    assert site.feed is not None and (site.feed.pipe.size, site.feed.length) == ("2 in", 100.0)
    assert (site.line.pipe.size, site.line.fittings_loss) == ("32 mm", 9.0)
    assert site.standpipe_area == pytest.approx(0.25 * math.pi * 0.25**2)
    assert (site.surroundings.temperature, site.surroundings.altitude) == (288.15, 900.0)
    assert (site.fall_spread, site.lift_spread, site.source_flow_spread) == (0.02, 0.1, 1e-5)


def test_words_have_their_values() -> None:
    answers = [asked(), asked(replace(USUAL, ground_to_source=120.0)), asked(replace(USUAL, wanted_flow=20.0 / DAY))]
    for reason in [reason for answer in answers for reason in (*answer.reasons, answer.limit) if reason is not None]:
        assert {name for _, name, _, _ in Formatter().parse(reason.words) if name} == reason.values.keys()
        assert reason_words(reason, "us") != ""
    assert not LIMITS.keys() & CONDITIONS.keys()


def test_same_seed_same_answer_for_any_number_of_workers() -> None:
    one, two = (quick_answer(twins(), USUAL, draws=DRAWS, workers=count) for count in (1, 2))
    assert one == two == asked()
    assert quick_answer(twins(), USUAL, draws=DRAWS, seed=2).promise.delivered_flow != one.promise.delivered_flow


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"lift": 2.0}, "lift"),
        ({"line_length": 15.0}, "line_length"),
        ({"ground_to_source": 1.0}, "ground_to_source"),
        ({"source_flow": 0.0}, "source_flow"),
        ({"fall": -1.0}, "fall"),
        ({"wanted_flow": 0.0}, "wanted_flow"),
        ({"fall": math.nan}, "fall"),
    ],
)
def test_what_cannot_be_is_refused(changes: dict[str, float], field: str) -> None:
    with pytest.raises(InputError) as caught:
        replace(USUAL, **changes)
    assert caught.value.field == field


def test_no_pump_no_answer() -> None:
    with pytest.raises(InputError, match="fitted pump"):
        quick_answer((), USUAL)


@pytest.mark.parametrize(
    ("ground", "laid"),
    [(None, (15.0, 0.0)), (4.0, (15.0, 0.0)), (20.0, (20.0, 0.0)), (80.0, (15.0, 65.0))],
)
def test_pipes_follow_the_ground(ground: float | None, laid: tuple[float, float]) -> None:
    assert laid_length(3.0, ground) == laid


def test_a_search_tries_a_standpipe_where_the_source_is_far() -> None:
    near, far = tried_lengths(3.0, 5.0), tried_lengths(3.0, 150.0)
    assert all(supply == 0.0 for _, supply in near) and min(length for length, _ in near) >= 5.0
    assert (150.0, 0.0) in far and all(drive + supply == pytest.approx(150.0) for drive, supply in far)
    assert len(tried_lengths(3.0, None)) == 5


def test_a_line_is_sized_by_friction_and_strength() -> None:
    water = water_at()
    line = size_line(pipes_of("pe100-sdr17", "pe100-sdr11"), 200.0, 30.0, 1e-4, water, 283.15)
    assert 0.0 < line_head(line, 1e-4, water) - 30.0 <= 3.0
    narrower = [pipe for pipe in pipes_of("pe100-sdr11") if pipe.bore < line.pipe.bore]
    assert all(line_head(replace(line, pipe=pipe), 1e-4, water) > 33.0 for pipe in narrower)
    high = size_line(pipes_of("pe100-sdr17", "pe100-sdr11", "steel-sch40"), 900.0, 140.0, 1e-4, water, 283.15)
    assert high.pipe.material == "steel"


def test_stock_needs_pipes_with_a_rating() -> None:
    usual = usual_stock()
    with pytest.raises(InputError, match="drive_pipes"):
        replace(usual, drive_pipes=())
    unrated = replace(usual.drive_pipes[0], rating_gauge=None)
    with pytest.raises(InputError, match="rating"):
        Stock((unrated,), usual.supply_pipes, usual.delivery_pipes)
    with pytest.raises(InputError, match="most_pumps"):
        replace(usual, most_pumps=0)
    assert [pipe.size for pipe in fitting_bores(twins()[0].build, usual.drive_pipes)] == ["1 in", "1 in"]
