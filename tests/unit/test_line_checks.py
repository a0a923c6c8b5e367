"""Delivery line and drive pipe against what they bear."""

from __future__ import annotations

from dataclasses import replace
from string import Formatter

import numpy as np
import pytest
from invented_twin import demo, twin_of

from clackwork.answers_json import reason_words
from clackwork.errors import InputError
from clackwork.pipes import custom_pipe, find_pipe
from clackwork.quantities import KINDS
from clackwork.ram.engine import RamCase
from clackwork.ram.operating import line_head, operating_point
from clackwork.ram.parts import DeliveryLine, SupplyPipe
from clackwork.site.check_reasons import CHECK_REASONS
from clackwork.site.design import Zone
from clackwork.site.high_points import air_points, air_reasons, drain_points, frost_reasons
from clackwork.site.line_checks import check_drive_pipe, check_line, classes_of, rating_head, zone_line
from clackwork.site.line_heads import LineDuty, head_line, line_in_one, line_of_one_pump
from clackwork.site.route import Route, RoutePoint, straight_route
from clackwork.site.site import Reason
from clackwork.site.standpipe import beat_volume, check_supply_pipe, size_standpipe, standpipe_of
from clackwork.water import water_at

WATER = water_at()
POLYETHYLENE = classes_of(("pe100-sdr17", "pe100-sdr11"), "32 mm")
OVER_A_HILL = Route(
    tuple(RoutePoint(*point) for point in ((0, 0), (60, 10), (120, 30), (160, 22), (300, 80), (420, 95), (450, 90)))
)


def whole(pipe: object, route: Route) -> tuple[Zone, ...]:
    """A line of one pipe."""
    return (Zone(pipe, 0.0, route.length, 0.0, 0.0, 0.0),)  # type: ignore[arg-type]


def ids(reasons: tuple[Reason, ...]) -> list[str]:
    for reason in reasons:
        assert reason.words == CHECK_REASONS[reason.id]
        assert {name for _, name, _, _ in Formatter().parse(reason.words) if name} == set(reason.values)
        assert all(kind in KINDS for _, kind in reason.values.values())
        for system in ("metric", "us"):
            assert "{" not in reason_words(reason, system)
    return [reason.id for reason in reasons]


def test_classes_come_weakest_first_and_only_of_that_size() -> None:
    assert [pipe.series for pipe in POLYETHYLENE] == ["pe100-sdr17", "pe100-sdr11"]
    assert [pipe.series for pipe in classes_of(("pe100-sdr17", "pe100-sdr11"), "20 mm")] == ["pe100-sdr11"]
    with pytest.raises(InputError, match="none of pe100-sdr17 lists it"):
        classes_of(("pe100-sdr17",), "20 mm")
    with pytest.raises(InputError, match="series"):
        classes_of(("pe100-sdr12",), "32 mm")


def test_heads_of_a_plain_line_are_those_the_engine_works_with() -> None:
    line = DeliveryLine(POLYETHYLENE[1], 200.0, 40.0, fittings_loss=6.0)
    duty = LineDuty(2e-4, WATER, fittings_loss=6.0)
    heads = head_line(straight_route(200.0, 40.0), whole(POLYETHYLENE[1], straight_route(200.0, 40.0)), duty)
    assert heads.running_heads[0] == pytest.approx(line_head(line, 2e-4, WATER), rel=1e-9)
    assert heads.running_heads[-1] == 40.0
    assert np.all(np.diff(heads.running_heads) < 0.0)
    assert np.all(heads.standing_heads == 40.0)


def test_a_line_with_an_open_outlet_is_cheap_and_one_that_shuts_is_strong_near_the_pump() -> None:
    route = straight_route(300.0, 80.0)
    open_one = zone_line(route, POLYETHYLENE, LineDuty(5e-5, WATER))
    assert [zone.pipe.series for zone in open_one] == ["pe100-sdr17"]
    shut = zone_line(route, POLYETHYLENE, LineDuty(5e-5, WATER, outlet_shuts=True, shut_off_head=140.0))
    assert [zone.pipe.series for zone in shut] == ["pe100-sdr11", "pe100-sdr17"]
    assert shut[0].start == 0.0 and shut[0].end == shut[1].start and shut[1].end == 300.0
    # dead head less height reaches the weaker rating of 102 m where the line stands 38 m high
    assert shut[0].end == pytest.approx(300.0 * (140.0 - shut[1].rating_head) / 80.0, abs=8.0)
    assert all(zone.margin >= 1.0 for zone in shut)


def test_what_no_class_holds_is_said() -> None:
    route = straight_route(300.0, 80.0)
    duty = LineDuty(5e-5, WATER, outlet_shuts=True, shut_off_head=400.0)
    zones = zone_line(route, POLYETHYLENE, duty)
    assert [zone.pipe.series for zone in zones] == ["pe100-sdr11"] and zones[0].margin < 1.0
    checks = check_line(route, zones, duty)
    assert checks[0].reasons[0].hardness == "no" and "line_too_weak" in ids(checks[0].reasons)


def test_an_open_line_is_told_what_happens_when_somebody_shuts_it() -> None:
    route = straight_route(300.0, 80.0)
    duty = LineDuty(5e-5, WATER, shut_off_head=140.0)
    check = check_line(route, zone_line(route, POLYETHYLENE, duty), duty)[0]
    assert ids(check.reasons) == ["line_dead_head"] and check.reasons[0].hardness == "note"
    assert check.stretch == (0.0, 300.0)


def test_heat_weakens_plastic_until_nothing_is_left() -> None:
    pipe = POLYETHYLENE[0]
    cold, warm, hot = (rating_head(pipe, kelvin, WATER) for kelvin in (None, 308.15, 330.0))
    assert cold > warm > hot == 0.0
    assert rating_head(pipe, 273.0, WATER) == cold  # a wall colder than the water is as warm as the water
    route = straight_route(300.0, 80.0)
    duty = LineDuty(5e-5, WATER, wall_temperature=330.0)
    assert ids(check_line(route, whole(pipe, route), duty)[0].reasons) == ["line_too_hot"]


def test_a_pipe_without_a_rating_is_refused() -> None:
    with pytest.raises(InputError, match="rating"):
        zone_line(straight_route(90.0, 20.0), [custom_pipe(0.026, 0.003, "PE100")], LineDuty(5e-5, WATER))
    with pytest.raises(InputError, match="at least to choose from"):
        zone_line(straight_route(90.0, 20.0), [], LineDuty(5e-5, WATER))


def test_a_line_whose_outlet_shuts_needs_the_head_at_which_the_pump_stops() -> None:
    with pytest.raises(InputError, match="shut_off_head"):
        LineDuty(5e-5, WATER, outlet_shuts=True)


def test_short_stretches_of_weaker_pipe_are_not_laid() -> None:
    # a dip of a few metres between two places that need the strong class
    route = Route(tuple(RoutePoint(*point) for point in ((0, 0), (100, 5), (106, 9), (112, 5), (200, 5), (300, 80))))
    duty = LineDuty(5e-5, WATER, outlet_shuts=True, shut_off_head=108.0)
    zones = zone_line(route, POLYETHYLENE, duty, shortest=20.0)
    assert [zone.pipe.series for zone in zones] == ["pe100-sdr11", "pe100-sdr17"]
    bare = zone_line(route, POLYETHYLENE, duty, shortest=0.0)
    assert len(bare) >= 3


def test_a_summit_above_the_outlet_sucks_and_the_pump_lifts_over_it() -> None:
    duty = LineDuty(5e-5, WATER)
    zones = zone_line(OVER_A_HILL, POLYETHYLENE, duty)
    check = check_line(OVER_A_HILL, zones, duty)[0]
    assert ids(check.reasons) == ["line_sucks", "pump_lifts_over_summit"]
    values = check.reasons[0].values
    assert values["distance"][0] == 420.0 and values["suction"][0] == pytest.approx(5.0, abs=0.1)
    line, _ = line_in_one(OVER_A_HILL, zones, duty)
    assert line.lift == 95.0
    heads = head_line(OVER_A_HILL, zones, duty)
    assert np.all(heads.vented_heads >= heads.heights - 1e-9) and np.any(heads.running_heads < heads.heights)


def test_a_line_that_boils_is_a_no() -> None:
    route = Route(tuple(RoutePoint(*point) for point in ((0, 0), (200, 60), (300, 40))))
    duty = LineDuty(5e-5, WATER, outlet_shuts=True, shut_off_head=100.0)
    check = check_line(route, whole(POLYETHYLENE[1], route), duty)[0]
    assert "line_boils" in ids(check.reasons) and check.reasons[0].hardness == "no"


def test_a_quick_valve_surges_and_a_slow_one_hardly() -> None:
    route = straight_route(300.0, 40.0)
    steel = find_pipe("steel-sch40", "1 in")
    quick, slow = (
        head_line(
            route,
            whole(steel, route),
            LineDuty(3e-4, WATER, outlet_shuts=True, shut_off_head=60.0, closing_time=seconds),
        ).surge_rise
        for seconds in (0.0, 30.0)
    )
    assert quick > 40.0
    # what is left is the friction: the line comes to stand at the head it had at the pump
    assert slow < 10.0


def test_a_line_in_one_costs_the_same_at_its_flow_and_says_its_error() -> None:
    route = straight_route(300.0, 80.0)
    duty = LineDuty(2e-4, WATER, fittings_loss=4.0, outlet_shuts=True, shut_off_head=140.0)
    zones = zone_line(route, POLYETHYLENE, duty)
    assert len(zones) == 2
    line, error = line_in_one(route, zones, duty)
    heads = head_line(route, zones, duty)
    assert line_head(line, 2e-4, WATER) == pytest.approx(heads.running_heads[0], rel=1e-6)
    assert 0.0 < error < 0.01
    single = line_in_one(route, whole(POLYETHYLENE[0], route), duty)
    assert single == (DeliveryLine(POLYETHYLENE[0], 300.0, 80.0, fittings_loss=4.0), 0.0)


def test_one_of_several_pumps_feels_the_loss_of_all() -> None:
    line = DeliveryLine(POLYETHYLENE[1], 200.0, 40.0, fittings_loss=6.0)
    one = line_of_one_pump(line, 3, 1e-4, WATER)
    assert line_head(one, 1e-4, WATER) == pytest.approx(line_head(line, 3e-4, WATER), rel=1e-6)
    assert one.length == line.length and line_of_one_pump(line, 1, 1e-4, WATER) is line


def test_air_gathers_where_the_water_is_too_slow_to_take_it() -> None:
    zones = whole(POLYETHYLENE[1], OVER_A_HILL)
    slow, quick = air_points(OVER_A_HILL, zones, 5e-5), air_points(OVER_A_HILL, zones, 1e-3)
    assert [point.distance for point in slow] == [120.0, 420.0]
    assert not any(point.is_carried for point in slow) and all(point.is_carried for point in quick)
    assert ids(air_reasons(slow)) == ["air_gathers", "air_gathers"] and air_reasons(quick) == ()


def test_drains_stand_at_the_pump_and_in_every_hollow() -> None:
    assert [point.distance for point in drain_points(OVER_A_HILL)] == [0.0, 160.0]
    assert [point.distance for point in drain_points(straight_route(90.0, 20.0))] == [0.0]
    level = Route(tuple(RoutePoint(*point) for point in ((0, 0), (50, 9), (60, 5), (80, 5), (120, 30))))
    assert [point.distance for point in drain_points(level)] == [0.0, 60.0]
    assert [point.distance for point in air_points(level, whole(POLYETHYLENE[0], level), 5e-5)] == [50.0]


def test_frost_is_told_only_where_it_freezes() -> None:
    assert frost_reasons(OVER_A_HILL, 0.0) == ()
    bury, drain = frost_reasons(OVER_A_HILL, 0.6)
    assert ids((bury, drain)) == ["bury", "drain_one"]
    assert bury.values["bury_depth"][0] == pytest.approx(0.752) and drain.values == {}
    assert ids(frost_reasons(straight_route(90.0, 20.0), 0.6)) == ["bury", "drain_at_pump"]
    twice = Route(tuple(RoutePoint(*point) for point in ((0, 0), (50, 9), (60, 5), (80, 8), (90, 6), (120, 30))))
    assert frost_reasons(twice, 0.6)[1].values["drains"] == (2.0, "count")


@pytest.fixture(scope="module")
def case() -> RamCase:
    site, twin = demo().sites["Upper Hazel"], twin_of(demo().builds["flap"])
    return RamCase(twin.build, site.drive_pipe, site.supply, site.surroundings, line=site.line)


def test_a_steel_drive_pipe_holds_and_is_given_no_life(case: RamCase) -> None:
    result = operating_point(case)
    check = check_drive_pipe(case, result)
    assert check.highest_head == max(result.peak_head, result.surge_head) < check.rating_head
    assert check.swing_head == pytest.approx(result.peak_head - result.lowest_head)
    assert check.fatigue == () and ids(check.reasons) == ["steel_not_judged"]


def test_a_plastic_drive_pipe_is_advised_against_by_a_range(case: RamCase) -> None:
    pipe = replace(case.drive_pipe, pipe=find_pipe("pvc-sch40", "1 in"))
    plastic = replace(case, drive_pipe=pipe)
    check = check_drive_pipe(plastic, operating_point(plastic), wall_temperature=330.0)
    assert [law.law for law in check.fatigue] == ["Vinson", "Bowman"]
    assert not any(law.inside for law in check.fatigue)
    said = next(reason for reason in check.reasons if reason.id == "plastic_tires")
    assert said.values["shortest"][0] < said.values["longest"][0] and "use steel" in said.words
    ids(check.reasons)


def test_a_polyethylene_drive_pipe_is_beyond_every_test(case: RamCase) -> None:
    soft = replace(case, drive_pipe=replace(case.drive_pipe, pipe=find_pipe("pe100-sdr11", "32 mm")))
    check = check_drive_pipe(soft, operating_point(soft))
    assert [law.at_least for law in check.fatigue] == [True]
    assert "plastic_untested" in ids(check.reasons)
    assert "drive_pipe_too_hot" in ids(check_drive_pipe(soft, operating_point(soft), wall_temperature=330.0).reasons)


def test_the_weakest_of_pipes_in_series_is_held_against_the_peak(case: RamCase) -> None:
    thin = custom_pipe(0.05, 0.0015, "PVC", rating_gauge=4e5)
    long = replace(case, drive_pipe=replace(case.drive_pipe, upstream=replace(case.drive_pipe, pipe=thin, length=6.0)))
    check = check_drive_pipe(long, operating_point(long))
    assert check.pipe is thin and "drive_pipe_too_weak" in ids(check.reasons)
    assert check.fatigue  # of the plastic one


def test_a_standpipe_wide_enough_keeps_the_mouth_covered(case: RamCase) -> None:
    result, lent = operating_point(case), beat_volume(case)
    assert 0.0 < lent < result.drawn_flow / result.beat_rate
    feed = SupplyPipe(find_pipe("pe100-sdr11", "63 mm"), 40.0)
    found = size_standpipe(feed, result.drawn_flow, lent, 0.15, WATER)
    assert found is not None and found.lowest <= 0.15
    assert standpipe_of(feed, result.drawn_flow, lent, found.diameter - 0.01, WATER).lowest > 0.15
    good = check_supply_pipe(feed, result.drawn_flow, lent, 0.15, found.diameter, WATER)
    assert good.lowest_head >= 0.0 and good.reasons == ()
    narrow = check_supply_pipe(feed, result.drawn_flow, lent, 0.15, 0.5 * found.diameter, WATER)
    assert narrow.lowest_head < 0.0 and ids(narrow.reasons) == ["standpipe_too_narrow"]
    thin = SupplyPipe(find_pipe("pe100-sdr11", "25 mm"), 200.0)
    assert size_standpipe(thin, result.drawn_flow, lent, 0.15, WATER) is None
    assert ids(check_supply_pipe(thin, result.drawn_flow, lent, 0.15, 0.3, WATER).reasons) == ["supply_pipe_too_narrow"]
