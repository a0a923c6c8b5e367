"""Relations that hold for the rigid column at any site."""

from __future__ import annotations

import math

from hypothesis import given
from hypothesis import strategies as st

from clackwork import rigid
from clackwork.water import STANDARD_GRAVITY

BORES = st.floats(0.01, 0.3)
LENGTHS = st.floats(1.0, 200.0)
FALLS = st.floats(0.3, 30.0)
RATIOS = st.floats(1.01, 40.0)
LOSSES = st.floats(0.0, 60.0)
SHARES = st.floats(0.01, 0.99)


def close(one: float, other: float, within: float = 1e-9) -> bool:
    return math.isclose(one, other, rel_tol=within)


@given(LENGTHS, FALLS, st.floats(0.5, 60.0), SHARES)
def test_velocity_and_time_undo_each_other(length: float, fall: float, loss: float, share: float) -> None:
    terminal = rigid.terminal_velocity(fall, loss)
    constant = rigid.time_constant(length, fall, terminal)
    time = rigid.time_to_velocity(share * terminal, terminal, constant)
    assert close(rigid.velocity_at(time, terminal, constant), share * terminal)
    # Never quicker than free of losses.
    assert time >= share * terminal * length / (STANDARD_GRAVITY * fall) * (1.0 - 1e-12)


@given(BORES, LENGTHS, FALLS, st.floats(0.5, 60.0), SHARES)
def test_waste_volume_is_the_textbook_logarithm(
    bore: float, length: float, fall: float, loss: float, share: float
) -> None:
    closing = share * rigid.terminal_velocity(fall, loss)
    expected = -rigid.bore_area(bore) * length / loss * math.log(1.0 - share**2)
    assert close(rigid.waste_volume_per_beat(bore, length, fall, loss, closing), expected)


@given(BORES, LENGTHS, FALLS, LOSSES, st.floats(0.0, 5.0), st.floats(1.01, 2.0))
def test_waste_volume_grows_with_loss_and_closing_velocity(
    bore: float, length: float, fall: float, loss: float, closing: float, more: float
) -> None:
    volume = rigid.waste_volume_per_beat(bore, length, fall, loss, closing)
    assert volume >= rigid.waste_volume_per_beat(bore, length, fall, 0.0, closing)
    assert rigid.waste_volume_per_beat(bore, length, fall, loss, closing * more) >= volume
    assert rigid.waste_volume_per_beat(bore, length, fall, loss * more, closing) >= volume * (1.0 - 1e-12)


@given(BORES, LENGTHS, FALLS, RATIOS, st.floats(0.1, 5.0))
def test_without_losses_a_beat_adds_up(bore: float, length: float, fall: float, ratio: float, closing: float) -> None:
    lift = fall * ratio
    beats = rigid.ideal_beat_rate(fall, lift, length, closing)
    wasted = rigid.waste_volume_per_beat(bore, length, fall, 0.0, closing) * beats
    delivered = rigid.stop_volume(bore, length, closing, lift - fall) * beats
    drawn = rigid.ideal_drawn_flow(bore, closing)
    assert close(delivered + wasted, drawn)
    assert close(delivered, rigid.ideal_delivered_flow(bore, closing, fall, lift))
    assert close(rigid.daubuisson_efficiency(delivered, lift, drawn, fall), 1.0)
    assert close(rigid.rankine_efficiency(delivered, lift, wasted, fall), 1.0)
    # The beat is the time to gather speed and the time to stop; twice the length, half the beats.
    gather = length * closing / (STANDARD_GRAVITY * fall)
    assert close(1.0 / beats, gather + rigid.stop_time(length, closing, lift - fall))
    assert close(rigid.ideal_beat_rate(fall, lift, 2.0 * length, closing), beats / 2.0)


@given(st.floats(0.0, 1.0), RATIOS)
def test_efficiencies_convert_both_ways_and_keep_their_order(daubuisson: float, ratio: float) -> None:
    rankine = rigid.rankine_from_daubuisson(daubuisson, ratio)
    assert 0.0 <= rankine <= daubuisson * (1.0 + 1e-12)
    back = rigid.daubuisson_from_rankine(min(rankine, 1.0), ratio)
    assert math.isclose(back, daubuisson, rel_tol=1e-9, abs_tol=1e-12)


@given(st.floats(0.01, 0.99), RATIOS, FALLS, st.floats(1e-5, 0.1))
def test_conversion_agrees_with_the_flows(efficiency: float, ratio: float, fall: float, drawn: float) -> None:
    lift = fall * ratio
    delivered = rigid.delivered_flow_from_efficiency(efficiency, drawn, fall, lift)
    assert delivered <= drawn * fall / lift
    assert close(rigid.daubuisson_efficiency(delivered, lift, drawn, fall), efficiency)
    by_flows = rigid.rankine_efficiency(delivered, lift, drawn - delivered, fall)
    assert close(by_flows, rigid.rankine_from_daubuisson(efficiency, lift / fall), 1e-6)


@given(FALLS, st.floats(0.1, 300.0), st.floats(0.01, 1.0), st.floats(1e-5, 0.1))
def test_taking_the_rise_for_the_lift_promises_too_much(
    fall: float, rise: float, efficiency: float, drawn: float
) -> None:
    lift = rigid.lift_from_rise(fall, rise)
    assert lift > rise
    right = rigid.delivered_flow_from_efficiency(efficiency, drawn, fall, lift)
    assert right < efficiency * drawn * fall / rise
