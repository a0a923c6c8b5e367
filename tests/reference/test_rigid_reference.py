"""The rigid column and the efficiencies against published worked examples."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from clackwork import rigid

FOOT = 0.3048
GALLON = 3.785411784e-3
DAY = 86400.0


@pytest.mark.parametrize(("share", "published"), [(0.25, 0.5766), (0.50, 1.2401), (0.75, 2.1966)])
def test_starting_up(record_case: Callable[..., None], share: float, published: float) -> None:
    loss = rigid.loss_factor(15.0, 0.1, 0.02, 0.0, entry_loss=0.5)
    terminal = rigid.terminal_velocity(2.0, loss, gravity=9.81)
    constant = rigid.time_constant(15.0, 2.0, terminal, gravity=9.81)
    time = rigid.time_to_velocity(share * terminal, terminal, constant)
    source = "Daugherty & Franzini, Fluid Mechanics, example 13.3"
    record_case(f"starting up, time to {100 * share:g} % of steady flow", source, published, time, 3e-3, "s")
    assert rigid.velocity_at(published, terminal, constant) == pytest.approx(share * terminal, rel=3e-3)


def test_both_efficiencies(record_case: Callable[..., None]) -> None:
    source = "Das, Fluid Mechanics and Turbomachines, example 21.3: Q 30 L/s, H 4 m, q 3 L/s, h 18 m"
    daubuisson = rigid.daubuisson_efficiency(3e-3, 18.0, 30e-3, 4.0)
    rankine = rigid.rankine_efficiency(3e-3, 18.0, 27e-3, 4.0)
    record_case("efficiency by d'Aubuisson", source, 0.45, daubuisson, 1e-9)
    record_case("efficiency by Rankine", source, 0.38889, rankine, 2e-5)
    converted = rigid.rankine_from_daubuisson(0.45, 18.0 / 4.0)
    record_case("Rankine from d'Aubuisson", source, 0.38889, converted, 2e-5)
    record_case("d'Aubuisson from Rankine", source, 0.45, rigid.daubuisson_from_rankine(0.38889, 4.5), 2e-5)


def test_lift_is_read_from_the_pump(record_case: Callable[..., None]) -> None:
    # The rise above the spring is 100 ft; read as the lift it would give 1,440 gal/day, which is wrong.
    fall, drawn = 20.0 * FOOT, 10.0 * GALLON / 60.0
    lift = rigid.lift_from_rise(fall, 100.0 * FOOT)
    source = "Peace Corps 1981, exercise 5A (question read; the answer follows from d'Aubuisson)"
    record_case("lift above the pump", source, 120.0, lift / FOOT, 1e-9, "ft")
    delivered = rigid.delivered_flow_from_efficiency(0.5, drawn, fall, lift) * DAY / GALLON
    record_case("delivered in a day", source, 1200.0, delivered, 1e-9, "gal/day")
    slip = rigid.delivered_flow_from_efficiency(0.5, drawn, fall, 100.0 * FOOT) * DAY / GALLON
    assert slip == pytest.approx(1440.0)


def test_volume_and_time_of_a_stop(record_case: Callable[..., None]) -> None:
    gravity = 9.81  # the source's figures agree with this one, not with 9.80665
    source = "Cornell AguaClara ram pump report, Spring 2019: D 23.72 mm, 2.26 m/s, L 1.74 m, dh 4.10 m"
    volume = rigid.stop_volume(23.72e-3, 1.74, 2.26, 4.10, gravity)
    record_case("volume pushed on per stop", source, 48.82, volume * 1e6, 1e-4, "mL")
    time = rigid.stop_time(1.74, 2.26, 4.10, gravity)
    record_case("time of a stop", source, 0.09777, time, 1e-4, "s")
