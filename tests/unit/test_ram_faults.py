"""Faults, snifter, vessel air, limited source and standpipe do to a sound pump what they do in the yard."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import pytest

from clackwork.errors import InputError, ModelError
from clackwork.pipes import find_pipe
from clackwork.ram.engine import RamCase, run_beats, shut_off_head
from clackwork.ram.faults import FAULTS
from clackwork.ram.operating import line_head, line_leak, operating_point
from clackwork.ram.parts import (
    STANDARD_GRAVITY,
    AirVessel,
    Build,
    DeliveryLine,
    DeliveryValve,
    DrivePipe,
    GuidedPoppet,
    Snifter,
    Supply,
    SupplyPipe,
)
from clackwork.ram.source import run_on_source, settle_level
from clackwork.ram.vessel_air import air_budget

LINE = DeliveryLine(find_pipe("pe100-sdr11", "25 mm"), 120.0, 36.0)
SOUND = RamCase(
    Build(
        "sound",
        GuidedPoppet(mass=0.30, stroke=0.006, seat_bore=0.028),
        DeliveryValve(0.022),
        AirVessel(4e-3),
    ),
    DrivePipe(find_pipe("steel-sch40", "1 in"), 30.0),
    Supply(6.0),
    line=LINE,
)
SIZES = {
    "delivery_leak": 5e-7,
    "air_in_drive_pipe": 0.002,
    "air_in_body": 1e-5,
    "blocked_strainer": 10.0,
    "throttled_line": 400.0,
    "worn_seat": 2e-6,
    "wide_snifter": 0.002,
    "grit": 1e-4,
}


@pytest.fixture(scope="module")
def sound_flow() -> float:
    return operating_point(SOUND).delivered_flow


@pytest.mark.parametrize("name", sorted(SIZES))
def test_a_fault_costs_delivery(name: str, sound_flow: float) -> None:
    faulty = operating_point(FAULTS[name].apply(SOUND, SIZES[name]))
    assert faulty.delivered_flow < 0.995 * sound_flow


@pytest.mark.parametrize("name", sorted(set(FAULTS) - {"wide_snifter", "loose_pipe"}))
def test_a_fault_of_no_size_is_none(name: str, sound_flow: float) -> None:
    assert operating_point(FAULTS[name].apply(SOUND, 0.0)).delivered_flow == pytest.approx(sound_flow, rel=1e-9)


def test_a_larger_fault_of_the_pipe_costs_more(sound_flow: float) -> None:
    blocked = [operating_point(FAULTS["blocked_strainer"].apply(SOUND, size)).delivered_flow for size in (5.0, 20.0)]
    assert blocked[1] < blocked[0] < sound_flow


def test_grit_keeps_the_valve_from_dropping() -> None:
    """Water that passes under the shut valve keeps the body under pressure: it stays shut and runs to waste."""
    stuck = run_beats(replace(FAULTS["grit"].apply(SOUND, 1e-3), line=None, vessel_head=36.0))
    assert stuck.state == "stalled shut"
    assert stuck.waste_flow > 1e-5


def test_a_loose_pipe_lowers_the_blow() -> None:
    loose = FAULTS["loose_pipe"].apply(SOUND, 0.4)
    assert operating_point(loose).surge_head < 0.5 * operating_point(SOUND).surge_head


def test_a_waterlogged_vessel_beats_harder() -> None:
    full = replace(SOUND, vessel_head=36.2)
    logged = FAULTS["waterlogged"].apply(full, 0.95)
    assert run_beats(logged).vessel_ripple > 5.0 * run_beats(full).vessel_ripple
    assert run_beats(logged).peak_head > 1.3 * run_beats(full).peak_head


def test_a_vessel_holds_no_more_air_than_its_volume() -> None:
    """Charged above the head at work it lets the rest go down the line; charged to it, it holds the same."""
    weight = SOUND.water.density * STANDARD_GRAVITY
    charged = [AirVessel(4e-3, precharge_gauge=head * weight) for head in (20.0, 36.2, 80.0)]
    air = [vessel.air_at(36.2, SOUND.water) for vessel in charged]
    assert air[0] < 0.9 * 4e-3
    assert air[1:] == pytest.approx([4e-3, 4e-3])
    ripples = [
        run_beats(replace(SOUND, vessel_head=36.2, build=replace(SOUND.build, air_vessel=vessel))).vessel_ripple
        for vessel in charged
    ]
    assert ripples[0] > 1.1 * ripples[1]
    assert ripples[1] == pytest.approx(ripples[2], rel=1e-6)


def test_an_overfilled_vessel_beats_softer_down_to_its_outlet() -> None:
    full = replace(SOUND, vessel_head=36.2)
    sound, half, brim = (FAULTS["overfilled"].apply(full, size) for size in (0.0, 0.5, 1.0))
    assert sound == full
    air = [case.build.air_vessel.air_at(36.2, SOUND.water) for case in (sound, half, brim)]
    assert air[2] == pytest.approx(4e-3)
    assert air[1] == pytest.approx(0.5 * (air[0] + air[2]))
    ripples = [run_beats(case).vessel_ripple for case in (sound, half, brim)]
    assert ripples[2] < ripples[1] < ripples[0]
    flows = [run_beats(case).delivered_flow for case in (sound, brim)]
    assert flows[1] == pytest.approx(flows[0], rel=0.03)
    over = replace(brim.build.air_vessel, precharge_gauge=brim.build.air_vessel.precharge_gauge + 1e5)
    assert over.air_at(36.2, SOUND.water) == pytest.approx(4e-3)


def test_an_overfilled_vessel_is_so_at_its_lift_and_not_with_the_delivery_shut() -> None:
    charged = FAULTS["overfilled"].apply(SOUND, 1.0).build.air_vessel
    assert charged.air_at(36.0, SOUND.water) == pytest.approx(4e-3)
    with pytest.raises(InputError, match=r"fault\.overfilled = delivery shut"):
        FAULTS["overfilled"].apply(replace(SOUND, line=None), 0.5)


def test_a_leaking_line_keeps_its_leak() -> None:
    leaking = FAULTS["leaking_line"].apply(SOUND, 1e-6)
    assert leaking.line is not None
    point = operating_point(leaking)
    leak = line_leak(leaking.line, point.delivered_flow, SOUND.water)
    downstream = 0.5 * (
        leaking.line.lift + line_head(replace(LINE, lift=0.0), point.delivered_flow - leak, SOUND.water)
    )
    assert leak == pytest.approx(1e-6 * math.sqrt(2.0 * 9.80665 * downstream), rel=1e-6)
    assert 0.0 < leak < point.delivered_flow


def test_a_fault_out_of_range_is_refused() -> None:
    with pytest.raises(InputError, match="grit"):
        FAULTS["grit"].apply(SOUND, 0.5)
    with pytest.raises(InputError, match="delivery line"):
        FAULTS["throttled_line"].apply(replace(SOUND, line=None, vessel_head=36.0), 3.0)


def test_the_snifter_feeds_the_vessel() -> None:
    """Without one the vessel loses its air within days; a hole of a millimetre or so keeps it (common practice)."""
    bare = air_budget(SOUND, operating_point(SOUND))
    assert bare.gained == 0.0
    assert 3600.0 < bare.lasts < 90 * 86400.0
    holed = replace(SOUND, build=replace(SOUND.build, snifter=Snifter(1e-3)))
    fed = air_budget(holed, operating_point(holed))
    assert fed.gained > fed.dissolved
    assert math.isinf(fed.lasts) and math.isinf(bare.fills)
    assert 0.0 < fed.fills < bare.lasts
    brimming = replace(holed, build=replace(holed.build, air_vessel=AirVessel(4e-3, precharge_gauge=2e6)))
    full = air_budget(brimming, operating_point(brimming))
    assert (full.volume_at_work, full.fills) == (pytest.approx(4e-3), 0.0)


def test_a_wider_snifter_spits_more_and_delivers_less() -> None:
    flows = [
        operating_point(replace(SOUND, build=replace(SOUND.build, snifter=Snifter(bore)))).delivered_flow
        for bore in (0.8e-3, 1.5e-3, 2.0e-3)
    ]
    assert flows[0] > flows[1] > flows[2]


def test_no_air_budget_without_delivery() -> None:
    with pytest.raises(ModelError, match="delivers nothing"):
        air_budget(SOUND, run_beats(replace(SOUND, line=None, vessel_head=None)))


def test_a_source_is_enough_drawn_down_or_starved() -> None:
    drawn = operating_point(SOUND).drawn_flow
    assert run_on_source(SOUND, 1.1 * drawn, 0.3).state == "enough"
    starved = run_on_source(SOUND, 0.5 * drawn, 0.3)
    assert starved.state == "starved"
    assert starved.drawdown == 0.3


def test_a_level_falls_until_the_ram_draws_what_comes() -> None:
    """A light valve draws less at a lower fall, so the level finds its place."""
    light = replace(SOUND, build=SOUND.build.retuned(mass=0.10), line=None, vessel_head=24.0)
    lower = run_beats(replace(light, supply=Supply(5.0))).drawn_flow
    source_flow = 0.5 * (run_beats(light).drawn_flow + lower)
    settled = run_on_source(light, source_flow, 1.0)
    assert settled.state == "drawn down"
    assert 0.0 < settled.drawdown < 1.0
    assert settled.result.drawn_flow == pytest.approx(source_flow, rel=0.01)
    there = replace(light, supply=Supply(6.0 - settled.drawdown))
    assert run_beats(there) == settled.result, "the level reported is not that of the beats reported"


@dataclass(frozen=True)
class Tap:
    """Draws less the lower the level."""

    drawdown: float

    @property
    def drawn_flow(self) -> float:
        return 1e-3 * (1.0 - 0.4 * self.drawdown)


@pytest.mark.parametrize(
    ("source_flow", "state", "drawdown"),
    [(1e-3, "enough", 0.0), (0.9e-3, "drawn down", 0.25), (0.7e-3, "drawn down", 0.75), (0.5e-3, "starved", 1.0)],
)
def test_the_level_is_that_of_what_is_drawn(source_flow: float, state: str, drawdown: float) -> None:
    found, level, tap = settle_level(Tap, source_flow, 1.0)
    assert (found, level) == (state, tap.drawdown)
    assert level == pytest.approx(drawdown, abs=4e-3)


def test_a_source_needs_a_constant_supply() -> None:
    with pytest.raises(ModelError, match="constant"):
        run_on_source(replace(SOUND, supply=Supply(6.0, plan_area=1.0)), 1e-4, 0.3)


def test_a_narrow_supply_pipe_costs_delivery() -> None:
    """A wide supply pipe into a standpipe is nearly the source itself; a narrow one is not."""
    held = replace(SOUND, line=None, vessel_head=36.0)
    flows = [
        run_beats(
            replace(held, supply=Supply(6.0, plan_area=0.05, feed=SupplyPipe(find_pipe("pe100-sdr11", size), 40.0)))
        ).delivered_flow
        for size in ("63 mm", "40 mm")
    ]
    assert flows[1] < flows[0] < run_beats(held).delivered_flow
    assert flows[0] > 0.9 * run_beats(held).delivered_flow


def test_a_standpipe_has_a_plan_area() -> None:
    with pytest.raises(InputError, match="plan_area"):
        Supply(3.0, feed=SupplyPipe(find_pipe("pe100-sdr11", "63 mm"), 40.0))


def test_a_snifter_leaves_the_dead_head_of_a_shut_pump() -> None:
    """With the delivery shut at the valve its air could go nowhere: only its leak lowers the dead head, by little."""
    shut = replace(SOUND, line=None, vessel_head=None)
    holed = replace(shut, build=replace(shut.build, snifter=Snifter(1e-3)))
    assert shut_off_head(holed) == pytest.approx(shut_off_head(shut), rel=0.1)
