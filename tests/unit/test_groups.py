"""Dimensionless groups of a run, on invented rams."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from clackwork import rigid
from clackwork.errors import ModelError
from clackwork.pipes import find_pipe
from clackwork.ram.engine import RamCase, run_beats
from clackwork.ram.groups import groups_of
from clackwork.ram.operating import operating_point
from clackwork.ram.parts import AirVessel, Build, DeliveryLine, DeliveryValve, DrivePipe, GuidedPoppet, Supply

CASE = RamCase(
    Build("metal", GuidedPoppet(0.2, 0.006, 0.028), DeliveryValve(0.022, slip_volume=2e-6), AirVessel(4e-3)),
    DrivePipe(find_pipe("steel-sch40", "1 in"), 30.0),
    Supply(6.0),
    vessel_head=40.0,
)


def test_each_group_by_its_definition() -> None:
    result = run_beats(CASE)
    groups = groups_of(CASE, result)
    assert groups.velocity_ratio == pytest.approx(result.closing_velocity / result.steady_velocity)
    assert groups.surge_ratio == pytest.approx(result.surge_ratio)
    assert groups.lift_ratio == pytest.approx(40.0 / 6.0)
    period = 1.0 / result.beat_rate
    assert groups.time_ratio == pytest.approx(period / (30.0 * result.steady_velocity / (9.80665 * 6.0)))
    assert groups.return_ratio == pytest.approx(2.0 * 30.0 / CASE.wave_speed / period)
    area = math.pi / 4.0 * CASE.drive_pipe.pipe.bore**2
    assert groups.specific_draw == pytest.approx(result.drawn_flow / (area * result.closing_velocity / 2.0))
    # the two specific flows and d'Aubuisson's efficiency are one statement
    assert groups.specific_delivery == pytest.approx(groups.daubuisson_efficiency * groups.specific_draw)
    assert groups.rankine_efficiency == result.rankine_efficiency


def test_loss_factor_is_that_of_the_rigid_column() -> None:
    result = run_beats(CASE)
    groups = groups_of(CASE, result)
    assert rigid.terminal_velocity(6.0, groups.loss_factor) == pytest.approx(result.steady_velocity)
    more = replace(CASE, drive_pipe=replace(CASE.drive_pipe, entry_loss=CASE.drive_pipe.entry_loss + 5.0))
    added = groups_of(more, run_beats(more)).loss_factor - groups.loss_factor
    # the friction factor grows a little with the lower velocity
    assert 5.0 < added < 5.5


def test_delivery_shut_has_no_lift() -> None:
    shut = replace(CASE, vessel_head=None)
    groups = groups_of(shut, run_beats(shut))
    assert groups.lift_ratio is None and groups.surge_ratio is None
    assert groups.specific_delivery == 0.0 == groups.daubuisson_efficiency
    assert 0.0 < groups.velocity_ratio < 1.0


def test_vessel_below_the_fall_has_no_surge_ratio() -> None:
    low = replace(CASE, vessel_head=5.0)
    result = replace(run_beats(CASE), vessel_head=5.0)
    assert groups_of(low, result).surge_ratio is None
    assert groups_of(low, result).lift_ratio == pytest.approx(5.0 / 6.0)


def test_below_a_surge_ratio_of_one_nothing_is_delivered() -> None:
    """Joukowsky: a sudden stop raises the head by a V / g."""
    high = replace(CASE, vessel_head=600.0)
    result = run_beats(high)
    surge_ratio = groups_of(high, result).surge_ratio
    assert surge_ratio is not None and surge_ratio < 1.0
    assert result.delivered_flow == 0.0


def test_operating_point_counts_the_head_it_found() -> None:
    line = DeliveryLine(find_pipe("pe100-sdr11", "25 mm"), 120.0, 36.0)
    case = replace(CASE, vessel_head=None, line=line)
    result = operating_point(case)
    assert groups_of(case, result).lift_ratio == pytest.approx(result.vessel_head / 6.0)
    assert result.vessel_head > 36.0


def test_a_stalled_pump_has_none() -> None:
    heavy = replace(CASE, build=CASE.build.retuned(mass=2.0))
    with pytest.raises(ModelError, match="stalled open"):
        groups_of(heavy, run_beats(heavy))
