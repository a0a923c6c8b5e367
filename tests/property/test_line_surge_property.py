"""Relations that hold for the surge of any delivery line."""

from __future__ import annotations

from hypothesis import assume, given, settings
from hypothesis import strategies as st

from clackwork.pipes import find_pipe
from clackwork.ram.line_surge import LineSurge, line_surge
from clackwork.ram.parts import AirVessel, DeliveryLine
from clackwork.water import water_at

WATER = water_at()
PIPES = st.sampled_from([find_pipe("pe100-sdr11", "32 mm"), find_pipe("steel-sch40", "1 in")])
LENGTHS, LIFTS, FLOWS = st.floats(10.0, 1000.0), st.floats(0.0, 100.0), st.floats(2e-5, 4e-4)
SHARES = st.floats(0.0, 10.0)  # of a reflection
DROPS = st.floats(0.1, 20.0)
few = settings(max_examples=40, deadline=None)


@few
@given(PIPES, LENGTHS, LIFTS, FLOWS, DROPS, SHARES, st.floats(1.2, 4.0))
def test_closing_slower_never_raises_the_peak(
    pipe: object, length: float, lift: float, flow: float, drop: float, share: float, slower: float
) -> None:
    line = DeliveryLine(pipe, length, lift)  # type: ignore[arg-type]
    returns = line_surge(line, WATER, flow=flow, closing_time=0.0, duration=None).reflection_time

    def shut_in(time: float) -> LineSurge:
        return line_surge(line, WATER, flow=flow, closing_time=time, valve_drop=drop)

    quick, slow = shut_in(share * returns), shut_in(slower * share * returns)
    assume(not quick.boils)
    assert not slow.boils
    assert slow.peak_head <= quick.peak_head + 0.005 * quick.joukowsky_rise


@few
@given(PIPES, LENGTHS, LIFTS, FLOWS, DROPS, SHARES)
def test_no_peak_over_joukowskys_without_unsteady_friction(
    pipe: object, length: float, lift: float, flow: float, drop: float, share: float
) -> None:
    def shut_in(time: float) -> LineSurge:
        line = DeliveryLine(pipe, length, lift)  # type: ignore[arg-type]
        return line_surge(
            line, WATER, flow=flow, closing_time=time, valve_drop=drop, unsteady_friction=0.0, cavity_gas=0.0
        )

    sudden = shut_in(0.0)
    assume(not sudden.boils)
    cap = sudden.start_head + sudden.joukowsky_rise
    for surge in (sudden, shut_in(share * sudden.reflection_time)):
        assert surge.steady_heads[-1] - 1e-6 <= surge.highest_heads[-1] <= cap + 1e-3 * surge.joukowsky_rise


@few
@given(PIPES, LENGTHS, LIFTS, FLOWS, SHARES, st.floats(1e-3, 0.05), st.floats(1.0, 50.0))
def test_heads_stay_where_they_can_be(
    pipe: object, length: float, lift: float, flow: float, share: float, volume: float, spare: float
) -> None:
    """Nothing lower than vapour head; a vessel never pumped above its shut-off head but by the water's own swing."""
    line = DeliveryLine(pipe, length, lift)  # type: ignore[arg-type]
    held = line_surge(line, WATER, flow=flow, closing_time=0.0)
    surge = line_surge(
        line,
        WATER,
        flow=flow,
        closing_time=share * held.reflection_time,
        vessel=AirVessel(volume),
        shut_off_head=held.start_head + spare,
    )
    for each in (held, surge):
        assert (each.lowest_heads - each.heights >= WATER.vapour_head_gauge - 1e-6).all()
        assert (each.lowest_heads <= each.steady_heads).all() and (each.steady_heads <= each.highest_heads).all()
    assert surge.highest_heads[0] <= held.start_head + spare + surge.joukowsky_rise
