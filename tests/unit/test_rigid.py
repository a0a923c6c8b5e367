"""The rigid column: values by hand and by definition, and what a wrong question is told."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest
from scipy.integrate import quad, solve_ivp

from clackwork import rigid
from clackwork.errors import InputError

GRAVITY = 9.80665


def test_loss_factor_by_hand() -> None:
    assert rigid.loss_factor(15.0, 0.1, 0.02, 2.0) == pytest.approx(1.0 + 0.5 + 3.0 + 2.0)
    assert rigid.loss_factor(15.0, 0.1, 0.0, 0.0, entry_loss=0.0) == 1.0


def test_terminal_velocity_and_time_constant_by_hand() -> None:
    assert rigid.terminal_velocity(2.0, 4.0, gravity=9.81) == pytest.approx(math.sqrt(9.81))
    assert rigid.terminal_velocity(2.0, 0.0) == math.inf
    assert rigid.time_constant(10.0, 2.0, 3.0, gravity=10.0) == pytest.approx(1.5)


def test_starting_up_against_a_numerical_solution() -> None:
    length, fall, loss = 12.0, 1.7, 6.3
    terminal = rigid.terminal_velocity(fall, loss)
    constant = rigid.time_constant(length, fall, terminal)

    def slope(_time: float, velocity: list[float]) -> list[float]:
        return [GRAVITY / length * (fall - loss * velocity[0] ** 2 / (2.0 * GRAVITY))]

    times = [0.2, 0.9, 2.5]
    solution = solve_ivp(slope, (0.0, 2.5), [0.0], t_eval=times, rtol=1e-10, atol=1e-12)
    for time, velocity in zip(times, solution.y[0], strict=True):
        assert rigid.velocity_at(time, terminal, constant) == pytest.approx(velocity, rel=1e-7)


def test_waste_volume_is_the_flow_summed_up_to_closing() -> None:
    bore, length, fall, loss, closing = 0.026, 12.0, 1.7, 6.3, 1.9
    terminal = rigid.terminal_velocity(fall, loss)
    constant = rigid.time_constant(length, fall, terminal)
    until = rigid.time_to_velocity(closing, terminal, constant)
    summed, _ = quad(lambda time: rigid.velocity_at(time, terminal, constant), 0.0, until)
    volume = rigid.waste_volume_per_beat(bore, length, fall, loss, closing)
    assert volume == pytest.approx(rigid.bore_area(bore) * summed, rel=1e-8)


def test_waste_volume_without_losses_is_reached_smoothly() -> None:
    bore, length, fall, closing = 0.05, 20.0, 3.0, 1.0
    lossless = rigid.bore_area(bore) * length * closing**2 / (2.0 * GRAVITY * fall)
    assert rigid.waste_volume_per_beat(bore, length, fall, 0.0, closing) == pytest.approx(lossless, rel=1e-14)
    for loss in (1e-300, 1e-16, 1e-9):
        volume = rigid.waste_volume_per_beat(bore, length, fall, loss, closing)
        assert volume == pytest.approx(lossless, rel=1e-9)


def test_closing_velocity_out_of_reach_never_closes() -> None:
    fall, loss = 2.0, 5.0
    terminal = rigid.terminal_velocity(fall, loss)
    assert rigid.waste_volume_per_beat(0.05, 20.0, fall, loss, terminal * 1.0001) == math.inf
    assert math.isfinite(rigid.waste_volume_per_beat(0.05, 20.0, fall, loss, terminal * 0.9999))
    assert rigid.time_to_velocity(terminal, terminal, 1.0) == math.inf


def test_ideal_limits_by_hand() -> None:
    # g 10, H 2, h 10, L 8, V 2: 10 x 2 x 8/(8 x 2 x 10) = 1 beat a second
    assert rigid.ideal_beat_rate(2.0, 10.0, 8.0, 2.0, gravity=10.0) == pytest.approx(1.0)
    area = math.pi / 4.0 * 0.1**2
    assert rigid.ideal_drawn_flow(0.1, 2.0) == pytest.approx(area)
    assert rigid.ideal_delivered_flow(0.1, 2.0, 2.0, 10.0) == pytest.approx(area / 5.0)


def test_lift_counts_the_fall() -> None:
    assert rigid.lift_from_rise(4.0, 20.0) == 24.0
    with pytest.raises(InputError, match="without a pump"):
        rigid.lift_from_rise(4.0, -1.0)


def test_a_misreading_above_one_is_shown_not_hidden() -> None:
    assert rigid.daubuisson_efficiency(1e-4, 20.0, 2e-4, 2.0) == pytest.approx(5.0)


@pytest.mark.parametrize(
    ("field", "call"),
    [
        ("bore", lambda: rigid.bore_area(0.0)),
        ("friction_factor", lambda: rigid.loss_factor(10.0, 0.1, -0.1, 1.0)),
        ("open_valve_loss", lambda: rigid.loss_factor(10.0, 0.1, 0.02, math.inf)),
        ("entry_loss", lambda: rigid.loss_factor(10.0, 0.1, 0.02, 1.0, math.nan)),
        ("fall", lambda: rigid.terminal_velocity(0.0, 1.0)),
        ("loss_factor", lambda: rigid.terminal_velocity(1.0, -1.0)),
        ("terminal_velocity", lambda: rigid.time_constant(1.0, 1.0, math.inf)),
        ("time", lambda: rigid.velocity_at(-1.0, 1.0, 1.0)),
        ("time_constant", lambda: rigid.velocity_at(1.0, 1.0, 0.0)),
        ("velocity", lambda: rigid.time_to_velocity(-1.0, 1.0, 1.0)),
        ("closing_velocity", lambda: rigid.waste_volume_per_beat(0.1, 1.0, 1.0, 1.0, -1.0)),
        ("lift", lambda: rigid.ideal_beat_rate(2.0, 2.0, 8.0, 2.0)),
        ("lift", lambda: rigid.rankine_efficiency(1.0, 2.0, 1.0, 2.0)),
        ("waste_flow", lambda: rigid.rankine_efficiency(1.0, 3.0, 0.0, 2.0)),
        ("drawn_flow", lambda: rigid.daubuisson_efficiency(1.0, 3.0, 0.0, 2.0)),
        ("daubuisson", lambda: rigid.delivered_flow_from_efficiency(50.0, 1.0, 1.0, 2.0)),
        ("daubuisson", lambda: rigid.rankine_from_daubuisson(-0.1, 3.0)),
        ("rankine", lambda: rigid.daubuisson_from_rankine(1.1, 3.0)),
        ("lift_ratio", lambda: rigid.rankine_from_daubuisson(0.5, 1.0)),
        ("stopping_head", lambda: rigid.stop_volume(0.1, 1.0, 1.0, 0.0)),
        ("length", lambda: rigid.stop_time(0.0, 1.0, 1.0)),
    ],
)
def test_wrong_questions_name_their_field(field: str, call: Callable[[], float]) -> None:
    with pytest.raises(InputError) as caught:
        call()
    assert caught.value.field == field
