"""Friction of a delivery pipe against a general library and the formula the trade uses."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import pytest

from clackwork.pipes import find_pipe
from clackwork.ram.operating import line_head
from clackwork.ram.parts import DeliveryLine
from clackwork.ram.pipe_losses import darcy_friction
from clackwork.water import water_at

PART = "Delivery pipe"
PIPE = replace(find_pipe("pe100-sdr11", "32 mm"), bore=0.0262, roughness=7e-6)
LINE = DeliveryLine(PIPE, 100.0, 0.0)
WATER = water_at(293.15)


def test_friction_of_a_delivery_pipe(record_case: Callable[..., None]) -> None:
    flow = 2e-4
    source = "Colebrook 1939, fluids: 0.2 L/s, 26.2 mm, 100 m, 7 um, 20 degC"
    reynolds = 4.0 * flow / (math.pi * PIPE.bore * WATER.kinematic_viscosity)
    record_case("Reynolds number", source, 9687.0, reynolds, 1e-4, "", "COMP")
    friction = darcy_friction(reynolds, PIPE.roughness / PIPE.bore)
    record_case("Darcy factor", source, 0.03155, friction, 5e-4, "", "COMP")
    record_case("head lost", source, 0.845, line_head(LINE, flow, WATER), 1e-3, "m", "COMP")


@pytest.mark.parametrize("litres_a_second", [0.1, 0.2, 0.4])
def test_hazen_williams_reads_low(record_case: Callable[..., None], litres_a_second: float) -> None:
    # Hazen-Williams in SI, from memory: h = 10.67 L Q^1.852/(C^1.852 D^4.8704).
    flow = 1e-3 * litres_a_second
    trade = 10.67 * LINE.length * flow**1.852 / (150.0**1.852 * PIPE.bore**4.8704)
    low = 100.0 * (1.0 - trade / line_head(LINE, flow, WATER))
    miss: dict[str, object] = {}
    if litres_a_second == 0.4:
        said = "the range is given for ram delivery flows without saying which; the gap shrinks as the flow grows"
        miss = {"known_miss": said, "missed_by": -0.315}
    source = "Hazen-Williams, C 150, against Colebrook, said of ram delivery flows; 26.2 mm, 7 um, 20 degC"
    case = f"Hazen-Williams too low at {litres_a_second:g} L/s by"
    record_case(case, source, (15.0, 23.0), low, 0.0, "%", "COMP", **miss)
