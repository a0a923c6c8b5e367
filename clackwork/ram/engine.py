"""One run of the engine: parts and place in, settled beats out.

The resolution is the library's choice (:func:`choose_resolution`); the state is always said, so that a
stalled pump never looks like a pump that delivers nothing.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from clackwork.errors import ModelError, require_range
from clackwork.hammer import joukowsky_head, pipe_wave_speed
from clackwork.ram import kernel
from clackwork.ram.parts import STANDARD_GRAVITY, Build, DeliveryLine, DrivePipe, Supply, Surroundings
from clackwork.ram.steady_loss import steady_loss_factor
from clackwork.water import Water, water_at

FloatArray = NDArray[np.float64]

_LOSSES = 16
"""Lumped losses along a drive pipe, at least."""
_LONGEST_STEP, _STEPS_OF_SWING, _STEPS_OF_TRAVEL = 7e-4, 30.0, 16.0
"""Longest step [s]; steps in which the valve's mass takes its stroke, and in which a wave runs the pipe, at least."""
_BLOCK = 16
"""Steps in which a wave runs half the way from loss to loss, at most."""
_SPEED_MOVED = 0.02
"""Share by which the wave speed of a pipe above may be moved to fit the step."""

STATES = {
    kernel.BEATING: "beating",
    kernel.STALLED_OPEN: "stalled open",
    kernel.STALLED_SHUT: "stalled shut",
    kernel.IRREGULAR: "irregular",
    kernel.UNSETTLED: "irregular",
}

BEATING_STATES = ("beating", "irregular")
"""States of a pump that beats, evenly or not."""

_AIR_GAS_CONSTANT = 287.05
"""Specific gas constant of dry air [J/(kg K)] (Standard Atmosphere 1976)."""

BODY_COMPLIANCE_PER_BORE_CUBE = 4.5e-6 * 6.0
"""Storage of a water-filled metal body six bores long [m2 per m3 of bore cubed]: rho g / K times 6 (from rho c^2 of
water at 20 degC, IAPWS-95); small beside any trapped air."""


@dataclass(frozen=True)
class RamCase:
    """A build on its pipe at a place, with what stands against its delivery.

    Attributes
    ----------
    build : Build
    drive_pipe : DrivePipe
    supply : Supply
    surroundings : Surroundings
    vessel_head : float or None
        Head held in the vessel [m above datum]; None shuts the delivery at the valve (no flow into the vessel).
    line : DeliveryLine or None
        Full run with vessel and line, starting at ``vessel_head``; None holds ``vessel_head``.
    friction_scale : float
        Multiplies the Darcy friction factor of the drive pipe.
    wave_speed_scale : float
        Multiplies the wave speed of the drive pipe.
    unsteady_friction : float
        Share of Vardy and Brown's unsteady wall shear; 0 leaves quasi-steady friction alone.
    """

    build: Build
    drive_pipe: DrivePipe
    supply: Supply
    surroundings: Surroundings = Surroundings()
    vessel_head: float | None = None
    line: DeliveryLine | None = None
    friction_scale: float = 1.0
    wave_speed_scale: float = 1.0
    unsteady_friction: float = 1.0

    def __post_init__(self) -> None:
        if self.vessel_head is not None:
            require_range("vessel_head", self.vessel_head, -5.0, 600.0, "m", "Heads are metres above the spill level.")
        require_range("friction_scale", self.friction_scale, 0.1, 10.0, "")
        require_range("wave_speed_scale", self.wave_speed_scale, 0.2, 3.0, "")

    @property
    def water(self) -> Water:
        """Water at the place."""
        return water_at(self.surroundings.temperature, self.surroundings.altitude)

    @property
    def pipes_above(self) -> tuple[DrivePipe, ...]:
        """The pipes the drive pipe comes from, from the one next to it up to the supply."""
        found: list[DrivePipe] = []
        pipe = self.drive_pipe.upstream
        while pipe is not None:
            found.append(pipe)
            pipe = pipe.upstream
        return tuple(found)

    @property
    def wave_speed(self) -> float:
        """Wave speed of the drive pipe, at the pump [m/s]."""
        return self.wave_speed_of(self.drive_pipe)

    def wave_speed_of(self, pipe: DrivePipe) -> float:
        """Wave speed of one of its pipes [m/s]."""
        speed = pipe_wave_speed(pipe.pipe, self.water, anchoring=pipe.anchoring, gas_fraction=pipe.gas_fraction)
        return speed * self.wave_speed_scale


@dataclass(frozen=True)
class BeatEnergy:
    """Where the energy of the falling water goes in one beat [J], means over the beats averaged.

    Attributes
    ----------
    supplied : float
        Given by the water drawn, falling from the supply to the datum.
    entry : float
        Lost at the mouth of the drive pipe, velocity head included.
    pipe : float
        Lost to the pipe's wall, steady and unsteady.
    waste : float
        Carried off by the waste jet, leaks and snifter.
    delivery_valve : float
        Lost in the delivery valve.
    lifted : float
        Given to the water in the vessel.
    body : float
        Lost to trapped air and vapour in the body.
    waste_valve : float
        Spent on moving the waste valve, and lost where it lands.
    """

    supplied: float
    entry: float
    pipe: float
    waste: float
    delivery_valve: float
    lifted: float
    body: float
    waste_valve: float

    @property
    def unaccounted(self) -> float:
        """Share of the energy supplied that the parts do not add up to."""
        spent = self.entry + self.pipe + self.waste + self.delivery_valve + self.lifted + self.body + self.waste_valve
        return (self.supplied - spent) / self.supplied if self.supplied > 0.0 else 0.0


@dataclass(frozen=True)
class BeatResult:
    """What settled beats do.

    Attributes
    ----------
    state : str
        "beating", "stalled open", "stalled shut" or "irregular".
    settled : bool
        Whether the means of successive windows of beats agree.
    beats : int
        Beats averaged.
    beat_rate : float
        Beats per second [1/s]; 0 when stalled.
    beat_spread : float
        Standard deviation of the beat period [s].
    waste_flow, delivered_flow, drawn_flow : float
        Means [m3/s].
    water_per_beat : float
        Wasted per beat [m3].
    closing_velocity : float
        Highest drive-pipe velocity at the pump before closure [m/s].
    peak_head, lowest_head : float
        In the body [m above datum].
    surge_head : float
        Head if the delivery valve came late: supply head plus the full water-hammer rise of the closing
        velocity [m above datum]; rate pipe and gauge on the higher of this and the peak.
    landing_speed_shut, landing_speed_open : float
        Of the waste valve, at the seat [m/s].
    open_time, delivery_time : float
        Phases of a beat: valve at its open stop; water passing into the vessel [s].
    vessel_head, vessel_ripple : float
        [m]; ripple of a full run only.
    line_flow : float
        Mean flow in the delivery line of a full run [m3/s].
    steady_velocity : float
        Velocity the column would reach with the valve open for ever, V8 [m/s].
    velocity_ratio : float
        Closing velocity over V8.
    surge_ratio : float
        Closing velocity over g (h - H) / a; 0 without a head held.
    daubuisson_efficiency, rankine_efficiency : float
        q h / (Q H) and q (h - H) / (Qw H), of the pump with h the vessel's head; 0 without delivery.
    cavity_volume : float
        Largest vapour cavity at the pump [m3].
    simulated_time, time_step : float
        [s]
    fall_at_end : float
        Supply surface above datum at the end [m].
    snifted_air : float
        Air that goes into the vessel each beat, as a volume at outside pressure [m3].
    energy : BeatEnergy
    """

    state: str
    settled: bool
    beats: int
    beat_rate: float
    beat_spread: float
    waste_flow: float
    delivered_flow: float
    drawn_flow: float
    water_per_beat: float
    closing_velocity: float
    peak_head: float
    lowest_head: float
    surge_head: float
    landing_speed_shut: float
    landing_speed_open: float
    open_time: float
    delivery_time: float
    vessel_head: float
    vessel_ripple: float
    line_flow: float
    steady_velocity: float
    velocity_ratio: float
    surge_ratio: float
    daubuisson_efficiency: float
    rankine_efficiency: float
    cavity_volume: float
    simulated_time: float
    time_step: float
    fall_at_end: float
    snifted_air: float
    energy: BeatEnergy

    @property
    def is_beating(self) -> bool:
        """Whether it beats, evenly or not."""
        return self.state in BEATING_STATES


@dataclass(frozen=True)
class Resolution:
    """Losses along the pipe and time steps per half stretch between them."""

    losses: int
    steps_per_half: int


def choose_resolution(case: RamCase, refine: int = 1) -> Resolution:
    """Losses and steps fine enough that halving the step moves mean flows and beat rate under 0.5 %.

    The step is tied to the valve: a thirtieth of the time its moving mass takes over the stroke under its own
    opening load; and to the pipe, at least sixteen steps for a wave to run its length. With pipes above, the losses
    are as many as let each pipe have a whole number of them with its wave speed moved little.
    """
    reduced = case.build.waste_valve.reduced(case.water.density)
    load = max(abs(reduced.opening_load_open), abs(reduced.opening_load_shut), 1e-3)
    swing = math.sqrt(2.0 * reduced.effective_mass * case.build.waste_valve.stroke / load)
    travel = case.drive_pipe.length / case.wave_speed
    target = min(swing / _STEPS_OF_SWING, _LONGEST_STEP, travel / _STEPS_OF_TRAVEL)
    if case.vessel_head is None and case.line is None:
        # with the delivery shut all hangs on the recoil, whose sharp fronts a coarse step blunts
        target *= 0.5
    losses = _LOSSES * max(1, math.ceil(travel / (2 * _LOSSES * _BLOCK * target)))
    above = [pipe.length / case.wave_speed_of(pipe) / travel for pipe in case.pipes_above]
    if above:
        candidates = range(losses, 8 * losses + 1)
        misfits = [max(abs(max(round(n * share), 1) / (n * share) - 1.0) for share in above) for n in candidates]
        good = [n for n, misfit in zip(candidates, misfits, strict=True) if misfit < _SPEED_MOVED]
        losses = good[0] if good else candidates[misfits.index(min(misfits))]
    # a little over the target is let pass: one step more in so short a block is a finer step by a third
    half = max(1, math.ceil(travel / (2 * losses * target) - 0.15))
    return Resolution(losses * refine, half)


def _pack_above(case: RamCase, resolution: Resolution) -> dict[str, float]:
    """Parameters of the pipes above, their wave speeds moved so that waves take whole blocks through them."""
    values: dict[str, float] = {}
    travel = case.drive_pipe.length / case.wave_speed / resolution.losses
    for place, name in enumerate(("upper", "top")):
        pipe = case.pipes_above[place] if place < len(case.pipes_above) else None
        losses = max(round(pipe.length / case.wave_speed_of(pipe) / travel), 1) if pipe else 0
        values[f"{name}_length"] = pipe.length if pipe else 0.0
        values[f"{name}_bore"] = pipe.pipe.bore if pipe else 0.0
        values[f"{name}_roughness"] = pipe.pipe.roughness if pipe else 0.0
        values[f"{name}_wave_speed"] = pipe.length / (losses * travel) if pipe else 0.0
        values[f"{name}_losses"] = float(losses)
    return values


def pack(
    case: RamCase, *, resolution: Resolution | None = None, most_beats: int = 200, most_time: float = 0.0
) -> FloatArray:
    """The kernel's parameter array of one case, float64[len(PARAMETERS)]."""
    water, build, pipe = case.water, case.build, case.drive_pipe
    valve, delivery, vessel = build.waste_valve, build.delivery_valve, build.air_vessel
    reduced = valve.reduced(water.density)
    if reduced.opening_load_open <= 0.0:
        raise ModelError(
            f"The waste valve of build {build.name!r} has no load to open it ({reduced.opening_load_open:.2f} N at full "
            "stroke): add weight or spring, or stand it more upright."
        )
    resolution = resolution or choose_resolution(case)
    travel = pipe.length / case.wave_speed
    head = _starting_head(case)
    atmospheric_head = water.atmospheric_pressure_abs / (water.density * STANDARD_GRAVITY)
    line, feed = case.line, case.supply.feed
    values = {
        "gravity": STANDARD_GRAVITY,
        "density": water.density,
        "kinematic_viscosity": water.kinematic_viscosity,
        "vapour_head": water.vapour_head_gauge,
        "atmospheric_head": atmospheric_head,
        "fall": case.supply.fall,
        "supply_plan_area": case.supply.plan_area,
        "pipe_length": pipe.length,
        "pipe_bore": pipe.pipe.bore,
        "pipe_roughness": pipe.pipe.roughness,
        "entry_loss": (case.pipes_above[-1] if case.pipes_above else pipe).entry_loss,
        "wave_speed": case.wave_speed,
        "friction_factor_scale": case.friction_scale,
        "effective_mass": reduced.effective_mass,
        "load_shut": reduced.opening_load_shut,
        "load_open": reduced.opening_load_open,
        "damping": valve.damping,
        "restitution": valve.restitution,
        "stroke": valve.stroke,
        "seat_bore": valve.seat_bore,
        "discharge_coefficient": valve.discharge_coefficient,
        "closing_coefficient": valve.closing_coefficient,
        "delivery_bore": delivery.bore,
        "delivery_loss": delivery.loss_coefficient,
        "cracking_head": delivery.cracking_head,
        "slip_volume": delivery.slip_volume,
        "body_air": build.body_air,
        "body_compliance": BODY_COMPLIANCE_PER_BORE_CUBE * pipe.pipe.bore**3,
        "vessel_head": head,
        "vessel_held": 0.0 if line else 1.0,
        "vessel_air": vessel.air_at(head, water),
        "polytropic_index": vessel.polytropic_index,
        "line_lift": line.lift if line else 0.0,
        "line_fittings": line.fittings_loss if line else 0.0,
        "line_length": line.length if line else 1.0,
        "line_bore": line.pipe.bore if line else 0.01,
        "line_roughness": line.pipe.roughness if line else 0.0,
        "delivery_shut": 1.0 if case.vessel_head is None and line is None else 0.0,
        "losses": float(resolution.losses),
        "steps_per_half": float(resolution.steps_per_half),
        "least_beats": 9.0,
        "most_beats": float(most_beats),
        "settle_tolerance": 1e-3,
        "most_time": most_time,
        "wait_open": 0.0,
        "wait_shut": max(200.0 * travel, 2.0),
        "unsteady_friction": case.unsteady_friction,
        **_pack_above(case, resolution),
        "start_velocity": 0.0,
        "start_opening": 1.0,
        "waste_leak_area": valve.seat_leak_area,
        "rest_opening": valve.held_open,
        "delivery_leak_area": delivery.leak_area,
        "snifter_area": build.snifter.effective_area if build.snifter else 0.0,
        "snifter_room": build.snifter_room,
        "air_density": water.atmospheric_pressure_abs / (_AIR_GAS_CONSTANT * case.surroundings.temperature),
        "feed_inertance": feed.length / (STANDARD_GRAVITY * 0.25 * math.pi * feed.pipe.bore**2) if feed else 0.0,
        "feed_loss": _feed_loss(case) if feed else 0.0,
    }
    packed = np.array([values[name] for name in kernel.PARAMETERS])
    set_waits(packed[np.newaxis, :], most_time)
    return packed


def set_waits(packed: FloatArray, most_time: float = 0.0) -> None:
    """Set how long rows of packed parameters wait before they are called stalled, from their own start-up time.

    Parameters
    ----------
    packed : float64[cases, len(PARAMETERS)]
        Changed in place.
    most_time : float
        Longest time simulated [s]; 0 gives each of the beats allowed twice the start-up time and a second.
    """
    place = kernel.P
    for row in packed:
        velocity = kernel.terminal_velocity(row)
        length = row[place["pipe_length"]]
        for name in ("upper", "top"):
            if row[place[f"{name}_length"]] > 0.0:
                length += row[place[f"{name}_length"]] * (row[place["pipe_bore"]] / row[place[f"{name}_bore"]]) ** 2
        rise_time = length * velocity / (row[place["gravity"]] * row[place["fall"]])
        row[place["wait_open"]] = 8.0 * rise_time + 1.0
        allowed = row[place["most_beats"]] * (2.0 * rise_time + 1.0) + row[place["wait_open"]]
        row[place["most_time"]] = most_time or allowed


def scale_wave_speeds(packed: FloatArray, factor: FloatArray | float) -> None:
    """Multiply the wave speeds of all pipes in series, so that waves still take whole blocks through each.

    Parameters
    ----------
    packed : float64[..., len(PARAMETERS)]
        Changed in place.
    factor : float or float64[...]
    """
    for name in ("wave_speed", "upper_wave_speed", "top_wave_speed"):
        packed[..., kernel.P[name]] *= factor


def _starting_head(case: RamCase) -> float:
    """Head in the vessel at the start [m]: as given, else the lift of the line, else the fall."""
    if case.vessel_head is not None:
        return case.vessel_head
    return case.line.lift if case.line else case.supply.fall


def _feed_loss(case: RamCase) -> float:
    """Loss of the supply pipe as head per flow squared [s2/m5], its friction taken at 1 m/s."""
    feed = case.supply.feed
    assert feed is not None
    area = 0.25 * math.pi * feed.pipe.bore**2
    factor = steady_loss_factor(feed.pipe, feed.length, feed.fittings_loss, 1.0, case.water)
    return factor / (2.0 * STANDARD_GRAVITY * area**2)


def unpack(case: RamCase, packed: FloatArray, out: FloatArray) -> BeatResult:
    """A kernel result row as a :class:`BeatResult`."""
    at = {name: float(out[place]) for name, place in kernel.R.items()}
    state = STATES[at["state"]]
    moving = state in BEATING_STATES and at["beat_period"] > 0.0
    terminal = float(kernel.terminal_velocity(packed))
    fall, vessel = case.supply.fall, at["vessel_head"]
    delivering = moving and (case.vessel_head is not None or case.line is not None) and at["delivered_flow"] > 0.0
    excess = STANDARD_GRAVITY * (vessel - fall) / case.wave_speed
    return BeatResult(
        state=state,
        settled=at["settled"] > 0.5,
        beats=int(at["beats"]),
        beat_rate=1.0 / at["beat_period"] if moving else 0.0,
        beat_spread=at["beat_spread"],
        waste_flow=at["waste_flow"],
        delivered_flow=at["delivered_flow"],
        drawn_flow=at["drawn_flow"],
        water_per_beat=at["waste_flow"] * at["beat_period"],
        closing_velocity=at["closing_velocity"],
        peak_head=at["peak_head"],
        lowest_head=at["lowest_head"],
        surge_head=fall + joukowsky_head(case.wave_speed, at["closing_velocity"]),
        landing_speed_shut=at["landing_speed_shut"],
        landing_speed_open=at["landing_speed_open"],
        open_time=at["open_time"],
        delivery_time=at["delivery_time"],
        vessel_head=vessel,
        vessel_ripple=at["vessel_ripple"],
        line_flow=at["line_flow"],
        steady_velocity=terminal,
        velocity_ratio=at["closing_velocity"] / terminal,
        surge_ratio=at["closing_velocity"] / excess if delivering and excess > 0.0 else 0.0,
        daubuisson_efficiency=at["delivered_flow"] * vessel / (at["drawn_flow"] * fall) if delivering else 0.0,
        rankine_efficiency=at["delivered_flow"] * (vessel - fall) / (at["waste_flow"] * fall) if delivering else 0.0,
        cavity_volume=at["cavity_volume"],
        simulated_time=at["simulated_time"],
        time_step=at["time_step"],
        fall_at_end=at["fall_at_end"],
        snifted_air=at["snifted_air"],
        energy=BeatEnergy(*(at[f"energy_{part}"] for part in _ENERGIES)),
    )


_ENERGIES = ("supplied", "entry", "pipe", "waste", "delivery_valve", "lifted", "body", "waste_valve")
_NO_TRACE = np.zeros((0, len(kernel.TRACE_COLUMNS)))


def steady_velocity(case: RamCase) -> float:
    """Velocity with the waste valve open for ever, V8 [m/s], friction at its own Reynolds number."""
    return float(kernel.terminal_velocity(pack(case)))


def run_beats(case: RamCase, *, resolution: Resolution | None = None) -> BeatResult:
    """Run one case until its beats settle.

    Raises
    ------
    ModelError
        When the waste valve has nothing to open it.
    """
    out = np.zeros(len(kernel.RESULTS))
    packed = pack(case, resolution=resolution)
    kernel.simulate(packed, out, _NO_TRACE, 1)
    return unpack(case, packed, out)


def run_trace(case: RamCase, *, duration: float = 6.0, rows: int = 4000) -> tuple[BeatResult, dict[str, FloatArray]]:
    """Run one case and keep the first ``duration`` seconds [s] as a trace.

    Returns
    -------
    result : BeatResult
    trace : dict of arrays, each of shape (rows kept,)
        ``time`` [s], ``body_head`` [m], ``velocity`` [m/s], ``opening`` [m], ``vessel_head`` [m],
        ``waste_flow`` [m3/s], ``delivered_flow`` [m3/s].
    """
    packed = pack(case)
    travel = case.drive_pipe.length / case.wave_speed
    step = travel / (2.0 * packed[kernel.P["losses"]] * packed[kernel.P["steps_per_half"]])
    stride = max(1, math.ceil(duration / step / rows))
    trace = np.zeros((min(rows, math.ceil(duration / step / stride)), len(kernel.TRACE_COLUMNS)))
    out = np.zeros(len(kernel.RESULTS))
    kept = kernel.simulate(packed, out, trace, stride)
    columns = {name: trace[:kept, i].copy() for i, name in enumerate(kernel.TRACE_COLUMNS)}
    return unpack(case, packed, out), columns


def shut_off_head(case: RamCase) -> float:
    """Head at which a vessel with its line shut stops rising [m above datum]; 0 when the pump stalls.

    With nothing passing the delivery valve a settled beat repeats its highest body head: the vessel rises until it
    meets that head less what opens the valve.
    """
    result = run_beats(replace(case, vessel_head=None, line=None))
    if not result.is_beating:
        return 0.0
    return result.peak_head - case.build.delivery_valve.cracking_head


def run_batch(cases: Sequence[RamCase]) -> list[BeatResult]:
    """Run many cases on all cores, in order; same numbers as one by one."""
    from clackwork.ram.batch import run_packed

    packed = np.array([pack(case) for case in cases])
    return [unpack(case, row, out) for case, row, out in zip(cases, packed, run_packed(packed), strict=True)]
