"""Homologous scaling: the same pump in another size, in the same rhythm for its size.

Two rams of like shape beat alike when the ratios of :mod:`clackwork.ram.groups` agree. With all lengths times
``factor`` and all heads times ``head_factor`` the velocities go as the root of the head factor, times as the factor
over that root, flows as factor squared times that root.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal, get_args

from clackwork.errors import InputError, require_range
from clackwork.pipes import Pipe, catalogue
from clackwork.ram.engine import RamCase
from clackwork.ram.parts import (
    AirVessel,
    Build,
    DeliveryLine,
    DeliveryValve,
    DrivePipe,
    GuidedPoppet,
    HingedFlap,
    Snifter,
    Supply,
    SupplyPipe,
    WasteValve,
)

PipeChoice = Literal["exact", "catalogue"]
SMALLEST_FACTOR, LARGEST_FACTOR = 0.1, 10.0
_BORE_MISS = 1.25
"""A listed pipe may be this many times wider or narrower than the bore looked for; neighbours lie closer."""


@dataclass(frozen=True)
class ScaleFactors:
    """What a homologous pump's figures are multiplied by.

    Attributes
    ----------
    length, head, velocity, time, flow, beat_rate, volume, energy : float
        Of lengths and bores, heads, velocities, times, flows, beats per second, water per beat, energy per beat.
    """

    length: float
    head: float
    velocity: float
    time: float
    flow: float
    beat_rate: float
    volume: float
    energy: float


def scale_factors(factor: float, head_factor: float = 1.0) -> ScaleFactors:
    """What sizes and heads do to everything else, from the ratios that are kept.

    Parameters
    ----------
    factor : float
        Of lengths, 0.1 to 10.
    head_factor : float, optional
        Of heads, 0.1 to 10.

    Raises
    ------
    InputError
        When a factor is out of range.
    """
    require_range("factor", factor, SMALLEST_FACTOR, LARGEST_FACTOR, "", "It is new size over old.")
    require_range("head_factor", head_factor, SMALLEST_FACTOR, LARGEST_FACTOR, "", "It is new heads over old.")
    velocity = math.sqrt(head_factor)
    return ScaleFactors(
        length=factor,
        head=head_factor,
        velocity=velocity,
        time=factor / velocity,
        flow=factor**2 * velocity,
        beat_rate=velocity / factor,
        volume=factor**3,
        energy=factor**3 * head_factor,
    )


def scaled(
    case: RamCase,
    factor: float,
    *,
    head_factor: float = 1.0,
    pipes: PipeChoice = "exact",
    keep_surge_ratio: bool = True,
) -> RamCase:
    """A pump and its place in another size, so that V_close/V8, the surge ratio and h/H stay.

    Lengths, bores, stroke and seat go by the factor, the heads by the head factor, volumes of air, vessel and slip by
    the factor cubed, areas of leaks by the factor squared, the plan area of a supply by volume over head. A poppet's
    mass goes by the factor cubed, and its spring makes up what its opening load then lacks or has too much of
    load / (rho g H A). A flap has no such spring: its mass goes by factor squared times head factor, so that its load
    is right and its swing a little slow or quick unless both factors are alike.

    What cannot be kept, as water, air and pipe are what they are:

    * friction: the Reynolds number goes as factor times the root of the head factor and the wall's roughness stays
      that of its material, so a larger pump loses a smaller share; unsteady wall shear likewise;
    * wave speed: it follows from the wall's stiffness. With all heads as they were it stays, and so does the surge
      ratio. With other heads the ratio asks for a wave speed times the root of the head factor, which
      ``keep_surge_ratio`` feigns by `RamCase.wave_speed_scale`: a wall thicker, thinner or of other material, or free
      gas, would have to give it;
    * the pressure of the air outside and of vapour: with other heads snifter, trapped air and cavities do not follow;
    * landings: speeds go as velocities, but stresses in a wall or seat do not follow the size.

    Parameters
    ----------
    case : RamCase
    factor : float
        New size over old, 0.1 to 10.
    head_factor : float, optional
        New heads over old, 0.1 to 10; also of lift and fall along supply pipe and delivery line, whose lengths go by
        ``factor``.
    pipes : {"exact", "catalogue"}, optional
        A pipe scaled in bore and wall, which nobody lists and which has no pressure rating, or the size of its own
        series nearest to the bore wanted; then the ratios hold about as well as the bore was met.
    keep_surge_ratio : bool, optional
        False leaves every pipe its own wave speed.

    Returns
    -------
    RamCase

    Raises
    ------
    InputError
        When a factor or a part of the new size is out of range, or no listed pipe is near.
    """
    by = scale_factors(factor, head_factor)
    if pipes not in get_args(PipeChoice):
        raise InputError("pipes", pipes, f"it must be one of {', '.join(get_args(PipeChoice))}")
    made = replace(
        case,
        build=_scaled_build(case.build, by, case.water.density),
        drive_pipe=_scaled_drive_pipe(case.drive_pipe, by, pipes),
        supply=_scaled_supply(case.supply, by, pipes),
        vessel_head=None if case.vessel_head is None else case.vessel_head * by.head,
        line=None if case.line is None else _scaled_line(case.line, by, pipes),
    )
    if not keep_surge_ratio:
        return made
    wanted = case.wave_speed * by.velocity
    scale = made.wave_speed_scale * wanted / made.wave_speed
    if not 0.2 <= scale <= 3.0:
        raise InputError(
            "head_factor",
            f"{head_factor:g}",
            f"to keep the surge ratio waves would have to run at {wanted:.0f} m/s",
            "Let the ratio change (keep_surge_ratio=False).",
        )
    return replace(made, wave_speed_scale=scale)


def _scaled_pipe(pipe: Pipe, factor: float, choice: PipeChoice) -> Pipe:
    """The pipe with bore and wall times the factor, of the same material; or the nearest size of its series."""
    if choice == "exact":
        bore, wall = pipe.bore * factor, pipe.wall * factor
        require_range("bore", bore * 1e3, 5.0, 500.0, "mm", "Choose a factor nearer to 1.")
        return replace(
            pipe,
            series="custom",
            size=f"{bore * 1e3:.4g} mm bore",
            standard="none",
            bore=bore,
            wall=wall,
            outside_diameter=pipe.outside_diameter * factor,
            rating_gauge=None,
            source=f"scaled from {pipe.series} {pipe.size}",
        )
    wanted = pipe.bore * factor
    sizes = [each for series in catalogue() if series.name == pipe.series for each in series.pipes]
    if not sizes:
        raise InputError("pipes", choice, f"{pipe.series} pipe is in no catalogue", "Scale it exactly.")
    nearest = min(sizes, key=lambda each: abs(math.log(each.bore / wanted)))
    if not 1.0 / _BORE_MISS < nearest.bore / wanted < _BORE_MISS:
        raise InputError(
            "factor",
            f"{factor:g}",
            f"{pipe.series} is not listed near a bore of {wanted * 1e3:.3g} mm (nearest {nearest.bore * 1e3:.3g} mm)",
            "Scale the pipe exactly, or choose a factor nearer to 1.",
        )
    return nearest


def _scaled_drive_pipe(drive_pipe: DrivePipe, by: ScaleFactors, choice: PipeChoice) -> DrivePipe:
    return replace(
        drive_pipe,
        pipe=_scaled_pipe(drive_pipe.pipe, by.length, choice),
        length=drive_pipe.length * by.length,
    )


def _scaled_supply(supply: Supply, by: ScaleFactors, choice: PipeChoice) -> Supply:
    feed: SupplyPipe | None = None
    if supply.feed is not None:
        pipe = _scaled_pipe(supply.feed.pipe, by.length, choice)
        feed = replace(supply.feed, pipe=pipe, length=supply.feed.length * by.length)
    return replace(
        supply,
        fall=supply.fall * by.head,
        plan_area=supply.plan_area * by.volume / by.head,  # volume per head
        feed=feed,
    )


def _scaled_line(line: DeliveryLine, by: ScaleFactors, choice: PipeChoice) -> DeliveryLine:
    return replace(
        line,
        pipe=_scaled_pipe(line.pipe, by.length, choice),
        length=line.length * by.length,
        lift=line.lift * by.head,
        leak_area=line.leak_area * by.length**2,
    )


def _scaled_build(build: Build, by: ScaleFactors, density: float) -> Build:
    snifter: Snifter | None = None
    if build.snifter is not None:
        room = None if build.snifter.room is None else build.snifter.room * by.length**3
        snifter = replace(build.snifter, bore=build.snifter.bore * by.length, room=room)
    return replace(
        build,
        waste_valve=_scaled_waste_valve(build.waste_valve, by, density),
        delivery_valve=_scaled_delivery_valve(build.delivery_valve, by),
        air_vessel=_scaled_vessel(build.air_vessel, by),
        body_air=build.body_air * by.volume,
        snifter=snifter,
    )


def _scaled_delivery_valve(valve: DeliveryValve, by: ScaleFactors) -> DeliveryValve:
    return replace(
        valve,
        bore=valve.bore * by.length,
        cracking_head=valve.cracking_head * by.head,
        slip_volume=valve.slip_volume * by.volume,
        leak_area=valve.leak_area * by.length**2,
    )


def _scaled_vessel(vessel: AirVessel, by: ScaleFactors) -> AirVessel:
    return replace(vessel, volume=vessel.volume * by.volume, precharge_gauge=vessel.precharge_gauge * by.head)


def _scaled_waste_valve(valve: WasteValve, by: ScaleFactors, density: float) -> WasteValve:
    """Sizes by the factor, loads by head times area, damping by load over velocity."""
    load = by.head * by.length**2
    alike = {
        "stroke": valve.stroke * by.length,
        "seat_bore": valve.seat_bore * by.length,
        "damping": valve.damping * load / by.velocity,
        "seat_leak_area": valve.seat_leak_area * by.length**2,
        "held_open": valve.held_open * by.length,
    }
    if isinstance(valve, HingedFlap):
        return replace(
            valve,
            mass=valve.mass * load,
            mass_distance=valve.mass_distance * by.length,
            seat_distance=valve.seat_distance * by.length,
            inertia=None if valve.inertia is None else valve.inertia * load * by.length**2,
            hinge_stiffness=valve.hinge_stiffness * load * by.length,
            **alike,
        )
    return _scaled_poppet(valve, by, density, alike)


def _scaled_poppet(valve: GuidedPoppet, by: ScaleFactors, density: float, alike: dict[str, float]) -> GuidedPoppet:
    """A poppet whose spring makes its opening load follow head times area while its mass follows its size."""
    load = by.head * by.length**2
    mass = valve.mass * by.volume
    wanted = valve.reduced(density).opening_load_open * load
    unsprung = replace(valve, mass=mass, spring_rate=0.0, spring_preload=0.0, **alike)
    return replace(
        unsprung,
        spring_rate=valve.spring_rate * load / by.length,
        spring_preload=wanted - unsprung.reduced(density).opening_load_open,
    )
