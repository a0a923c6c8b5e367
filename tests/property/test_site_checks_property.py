"""Relations that hold for the pipes and costs of any design."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from clackwork.pipes import find_pipe
from clackwork.site.costing import capital_recovery
from clackwork.site.fatigue import fatigue_of
from clackwork.site.high_points import clearing_velocity
from clackwork.site.line_checks import check_line, classes_of, zone_line
from clackwork.site.line_heads import LineDuty, head_line, line_in_one
from clackwork.site.route import Route, RoutePoint, straight_route
from clackwork.water import water_at

WATER = water_at()
CLASSES = classes_of(("pe100-sdr11", "pe100-sdr13.6", "pe100-sdr17"), "32 mm")
FLOWS = st.floats(1e-5, 3e-4)
few = settings(max_examples=40, deadline=None)


@st.composite
def routes(draw: st.DrawFn) -> Route:
    """Up and down over some points, never steeper than the pipe is long."""
    points, along, up = [RoutePoint(0.0, 0.0)], 0.0, 0.0
    for _ in range(draw(st.integers(1, 6))):
        step = draw(st.floats(5.0, 150.0))
        along, up = along + step, max(up + step * draw(st.floats(-0.3, 0.5)), 0.0)
        points.append(RoutePoint(along, up))
    return Route(tuple(points))


@few
@given(routes(), FLOWS, st.floats(60.0, 400.0), st.booleans())
def test_zones_hold_their_head_or_are_the_strongest(route: Route, flow: float, dead: float, shuts: bool) -> None:
    duty = LineDuty(flow, WATER, fittings_loss=4.0, outlet_shuts=shuts, shut_off_head=dead + route.summit)
    zones = zone_line(route, CLASSES, duty)
    assert zones[0].start == 0.0 and zones[-1].end == route.length
    assert all(before.end == after.start for before, after in pairwise(zones))
    assert all(before.pipe != after.pipe for before, after in pairwise(zones))
    for zone, check in zip(zones, check_line(route, zones, duty), strict=True):
        assert zone.margin >= 1.0 or zone.pipe == CLASSES[-1]
        told = {reason.id for reason in check.reasons}
        assert ("line_too_weak" in told) is (zone.margin < 1.0)
        assert check.highest_head == zone.highest_head and zone.highest_head >= zone.lowest_head


@few
@given(st.floats(5.0, 1000.0), st.floats(1.01, 5.0), st.floats(1.0, 4.0), FLOWS)
def test_a_longer_line_never_needs_less_head(length: float, longer: float, lift: float, flow: float) -> None:
    duty = LineDuty(flow, WATER, fittings_loss=4.0)

    def head(metres: float) -> float:
        route = straight_route(metres, lift)
        return float(head_line(route, zone_line(route, CLASSES[:1], duty), duty).running_heads[0])

    assert head(longer * length) >= head(length) >= lift


@few
@given(routes(), FLOWS, st.floats(1.01, 3.0))
def test_more_flow_never_needs_less_head_anywhere(route: Route, flow: float, more: float) -> None:
    zones = zone_line(route, CLASSES[:1], LineDuty(flow, WATER))
    low, high = (head_line(route, zones, LineDuty(each, WATER)) for each in (flow, more * flow))
    assert (high.running_heads >= low.running_heads - 1e-9).all()
    assert (high.vented_heads >= low.vented_heads - 1e-9).all()
    assert (low.vented_heads >= low.running_heads - 1e-9).all()


@few
@given(routes(), FLOWS, st.floats(20.0, 200.0))
def test_a_line_in_one_never_misses_by_much(route: Route, flow: float, dead: float) -> None:
    duty = LineDuty(flow, WATER, outlet_shuts=True, shut_off_head=route.summit + dead)
    _, error = line_in_one(route, zone_line(route, CLASSES, duty), duty)
    assert 0.0 <= error < 0.1  # where one class still flows in layers and the other does not


@given(st.floats(0.0, 1.0), st.floats(0.5, 100.0))
def test_a_capital_is_never_paid_back_with_less_than_itself(interest: float, life: float) -> None:
    factor = capital_recovery(interest, life)
    assert factor >= max(1.0 / life, interest) * (1.0 - 1e-9)


@given(st.floats(0.5, 100.0))
def test_no_interest_is_price_over_life(life: float) -> None:
    assert capital_recovery(0.0, life) == pytest.approx(1.0 / life, rel=1e-12)


@given(st.floats(5.0, 100.0), st.floats(1.0, 100.0), st.floats(1.01, 3.0), st.floats(0.2, 3.0))
def test_a_larger_swing_or_a_quicker_beat_never_lasts_longer(
    mean: float, swing: float, more: float, rate: float
) -> None:
    pipe = find_pipe("pvc-sch40", "1 in")
    base = fatigue_of(pipe, mean, swing, rate, WATER)
    for worse in (fatigue_of(pipe, mean, more * swing, rate, WATER), fatigue_of(pipe, mean, swing, more * rate, WATER)):
        assert all(now.years <= then.years for now, then in zip(worse, base, strict=True))


@given(st.floats(0.01, 0.2), st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_air_needs_more_to_go_down_a_steeper_or_wider_pipe(bore: float, slope: float, steeper: float) -> None:
    steep = max(slope, steeper)
    assert clearing_velocity(bore, steep) >= clearing_velocity(bore, slope)
    assert clearing_velocity(1.1 * bore, slope) > clearing_velocity(bore, slope)
