"""The surge of a delivery line: its steady start, vessel, route, cavities and errors."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from clackwork.errors import InputError, ModelError
from clackwork.pipes import find_pipe
from clackwork.ram.engine import Resolution
from clackwork.ram.line_surge import line_surge
from clackwork.ram.operating import line_head
from clackwork.ram.parts import AirVessel, DeliveryLine
from clackwork.water import water_at

WATER = water_at()
LINE = DeliveryLine(find_pipe("pe100-sdr11", "32 mm"), 300.0, 40.0, fittings_loss=8.0)
FLOW = 2e-4


def test_it_starts_from_the_steady_line() -> None:
    surge = line_surge(LINE, WATER, flow=FLOW, closing_time=5.0, valve_drop=2.0)
    assert surge.start_head - 2.0 == pytest.approx(line_head(LINE, FLOW, WATER), rel=1e-4)
    assert surge.steady_heads[-1] == pytest.approx(42.0, rel=1e-12)
    assert np.all(np.diff(surge.steady_heads) < 0.0)


def test_nothing_moves_before_the_valve_has_bitten() -> None:
    """A valve that takes a thousand reflections keeps the line all but steady through the first ones."""
    short = DeliveryLine(LINE.pipe, 30.0, 4.0)
    returns = line_surge(short, WATER, flow=FLOW, closing_time=0.0).reflection_time
    surge = line_surge(short, WATER, flow=FLOW, closing_time=1000.0 * returns, valve_drop=5.0, duration=5.0 * returns)
    assert surge.peak_head - surge.start_head < 1e-6
    assert surge.trace.valve_flow[-1] == pytest.approx(FLOW, rel=0.01)


def test_an_outlet_that_shuts_late_surges_more() -> None:
    def peak(drop: float, exponent: float) -> float:
        surge = line_surge(LINE, WATER, flow=FLOW, closing_time=10.0, valve_drop=drop, closing_exponent=exponent)
        return surge.peak_head - surge.start_head

    assert peak(0.1, 1.0) > peak(1.0, 1.0) > peak(10.0, 1.0)
    assert peak(1.0, 0.5) > peak(1.0, 1.0)


def test_more_air_softens_the_surge() -> None:
    """A pump that gives no more above the steady head leaves the surge to the air alone."""
    start = line_surge(LINE, WATER, flow=FLOW, closing_time=0.0).start_head
    surges = [
        line_surge(LINE, WATER, flow=FLOW, closing_time=4.0, vessel=AirVessel(volume), shut_off_head=start + 0.01)
        for volume in (1e-5, 1e-4, 1e-3, 1e-2, 0.1)
    ]
    at_the_pump = [surge.highest_heads[0] - start for surge in surges]
    # the two least are hardly any air, and swing alike
    assert at_the_pump[1] == pytest.approx(at_the_pump[0], rel=0.005)
    assert at_the_pump[1:] == sorted(at_the_pump[1:], reverse=True)
    assert at_the_pump[-1] < 0.1 * at_the_pump[0]
    assert surges[-1].peak_head < surges[0].peak_head
    held = line_surge(LINE, WATER, flow=FLOW, closing_time=4.0)
    assert surges[-1].peak_head == pytest.approx(held.peak_head, abs=0.3)


def test_a_pump_that_goes_on_fills_the_vessel_to_its_shut_off_head() -> None:
    surge = line_surge(
        LINE, WATER, flow=FLOW, closing_time=5.0, vessel=AirVessel(1e-3), shut_off_head=70.0, duration=60.0
    )
    assert surge.trace.vessel_head[-1] == pytest.approx(70.0, abs=0.01)


def test_the_route_shows_its_high_point() -> None:
    route = ((0.0, 0.0), (200.0, 45.0), (300.0, 40.0))
    surge = line_surge(LINE, WATER, flow=FLOW, closing_time=1.0, valve_drop=6.0, route=route)
    even = line_surge(LINE, WATER, flow=FLOW, closing_time=1.0, valve_drop=6.0)
    assert np.interp(200.0, surge.distances, surge.heights) == pytest.approx(45.0, abs=1e-9)
    assert surge.lowest_place == 200.0
    assert surge.lowest_pressure_head < even.lowest_pressure_head
    assert surge.peak_head == pytest.approx(even.peak_head, rel=1e-6)
    assert surge.highest_place == 0.0
    assert surge.highest_pressure_head == surge.highest_heads[0]


def test_a_line_that_boils_is_flagged_at_its_high_point() -> None:
    steel = replace(LINE, pipe=find_pipe("steel-sch40", "1 in"))
    route = ((0.0, 0.0), (200.0, 45.0), (300.0, 40.0))
    surge = line_surge(steel, WATER, flow=3e-4, closing_time=0.0, valve_drop=6.0, route=route)
    assert surge.boils
    assert surge.cavity_place > 190.0
    assert surge.lowest_pressure_head == pytest.approx(WATER.vapour_head_gauge, abs=0.1)
    finer = line_surge(
        steel, WATER, flow=3e-4, closing_time=0.0, valve_drop=6.0, route=route, resolution=Resolution(63, 8)
    )
    assert surge.cavity_volume == pytest.approx(finer.cavity_volume, rel=0.05)
    assert surge.cavity_volume > 1e-5
    gentle = line_surge(steel, WATER, flow=3e-4, closing_time=20.0, valve_drop=6.0, route=route)
    assert not gentle.boils
    assert gentle.cavity_volume == 0.0


def test_what_goes_in_and_not_out_is_stored_under_the_risen_head() -> None:
    """By the give of wall and water, g A L / a^2 for each metre of mean head."""
    surge = line_surge(LINE, WATER, flow=FLOW, closing_time=3.0, valve_drop=20.0, duration=400.0)
    trace = surge.trace
    stored = (trace.vessel_flow - trace.valve_flow).sum() * (trace.time[1] - trace.time[0])
    give = 9.80665 * 0.25 * np.pi * LINE.pipe.bore**2 * LINE.length / surge.wave_speed**2
    steady = np.interp(np.linspace(0.0, LINE.length, 1001), surge.distances, surge.steady_heads)
    assert stored == pytest.approx(give * (surge.start_head - steady.mean()), rel=0.03)


def test_errors_name_what_is_wrong() -> None:
    def surge(**changed: object) -> object:
        return line_surge(LINE, WATER, **({"flow": FLOW, "closing_time": 1.0} | changed))  # type: ignore[arg-type]

    for changed, words in (
        ({"flow": 2.0}, "flow = 2 m3/s"),
        ({"closing_time": 1e5}, "closing_time"),
        ({"valve_drop": 0.0}, "valve_drop"),
        ({"closing_exponent": 9.0}, "closing_exponent"),
        ({"wave_speed": 3000.0}, "wave_speed"),
        ({"vessel": AirVessel(0.01)}, "shut_off_head = none"),
        ({"vessel": AirVessel(0.01), "shut_off_head": 30.0}, "shut_off_head = 30 m"),
        ({"route": ((0.0, 0.0), (200.0, 40.0))}, "route"),
        ({"route": ((0.0, 0.0), (200.0, 30.0), (100.0, 30.0), (300.0, 40.0))}, "route"),
        ({"resolution": Resolution(8, 8)}, "resolution.losses = 8"),
        ({"duration": 1e-4}, "duration"),
    ):
        with pytest.raises(InputError, match=words.replace(".", r"\.")):
            surge(**changed)
    with pytest.raises(ModelError, match="boils at its high point"):
        surge(route=((0.0, 0.0), (150.0, 60.0), (300.0, 40.0)))
    with pytest.raises(ModelError, match="leak"):
        line_surge(replace(LINE, leak_area=1e-6), WATER, flow=FLOW, closing_time=1.0)
