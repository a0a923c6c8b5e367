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
from clackwork.ram.pipe_losses import darcy_friction
from clackwork.water import Water, water_at

FloatArray = NDArray[np.float64]

STATES = {
    kernel.BEATING: "beating",
    kernel.STALLED_OPEN: "stalled open",
    kernel.STALLED_SHUT: "stalled shut",
    kernel.IRREGULAR: "irregular",
    kernel.UNSETTLED: "irregular",
}

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
    def wave_speed(self) -> float:
        """Wave speed of the drive pipe [m/s]."""
        pipe = self.drive_pipe
        speed = pipe_wave_speed(pipe.pipe, self.water, anchoring=pipe.anchoring, gas_fraction=pipe.gas_fraction)
        return speed * self.wave_speed_scale


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


@dataclass(frozen=True)
class Resolution:
    """Losses along the pipe and time steps per half stretch between them."""

    losses: int
    steps_per_half: int


def choose_resolution(case: RamCase, refine: int = 1) -> Resolution:
    """Losses and steps fine enough that halving the step moves mean flows and beat rate under 0.5 %.

    The step is tied to the valve: a fortieth of the time its moving mass takes over the stroke under its own
    opening load; and to the pipe, at least sixteen steps for a wave to run its length.
    """
    reduced = case.build.waste_valve.reduced(case.water.density)
    load = max(abs(reduced.opening_load_open), abs(reduced.opening_load_shut), 1e-3)
    swing = math.sqrt(2.0 * reduced.effective_mass * case.build.waste_valve.stroke / load)
    travel = case.drive_pipe.length / case.wave_speed
    target = min(swing / 40.0, 5e-4, travel / 16.0)
    losses = 8 * max(1, math.ceil(travel / (2 * 8 * 16 * target)))
    half = max(1, math.ceil(travel / (2 * losses * target)))
    return Resolution(losses * refine, half)


def pack(
    case: RamCase, *, resolution: Resolution | None = None, most_beats: int = 90, most_time: float = 0.0
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
    head = case.vessel_head if case.vessel_head is not None else case.supply.fall
    atmospheric_head = water.atmospheric_pressure_abs / (water.density * STANDARD_GRAVITY)
    precharge = vessel.precharge_gauge + water.atmospheric_pressure_abs
    held_abs = (head + atmospheric_head) * water.density * STANDARD_GRAVITY
    line_area = 0.25 * math.pi * case.line.pipe.bore**2 if case.line else 1.0
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
        "entry_loss": pipe.entry_loss,
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
        "vessel_held": 0.0 if case.line else 1.0,
        "vessel_air": vessel.volume * (precharge / held_abs) ** (1.0 / vessel.polytropic_index),
        "polytropic_index": vessel.polytropic_index,
        "line_lift": case.line.lift if case.line else 0.0,
        "line_loss": _line_loss(case) if case.line else 0.0,
        "line_inertance": case.line.length / (STANDARD_GRAVITY * line_area) if case.line else 1.0,
        "delivery_shut": 1.0 if case.vessel_head is None else 0.0,
        "losses": float(resolution.losses),
        "steps_per_half": float(resolution.steps_per_half),
        "least_beats": 9.0,
        "most_beats": float(most_beats),
        "settle_tolerance": 3e-3,
        "most_time": most_time,
        "wait_open": 0.0,
        "wait_shut": max(200.0 * travel, 2.0),
        "unsteady_friction": case.unsteady_friction,
        "start_velocity": 0.0,
        "start_opening": 1.0,
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
        rise_time = row[place["pipe_length"]] * velocity / (row[place["gravity"]] * row[place["fall"]])
        row[place["wait_open"]] = 8.0 * rise_time + 1.0
        allowed = row[place["most_beats"]] * (2.0 * rise_time + 1.0) + row[place["wait_open"]]
        row[place["most_time"]] = most_time or allowed


def _line_loss(case: RamCase) -> float:
    """Loss of the delivery line as head per flow squared [s2/m5], friction taken at 1 m/s."""
    assert case.line is not None
    pipe = case.line.pipe
    area = 0.25 * math.pi * pipe.bore**2
    friction = darcy_friction(pipe.bore / case.water.kinematic_viscosity, pipe.roughness / pipe.bore)
    return (friction * case.line.length / pipe.bore + case.line.fittings_loss) / (2.0 * STANDARD_GRAVITY * area**2)


def unpack(case: RamCase, packed: FloatArray, out: FloatArray) -> BeatResult:
    """A kernel result row as a :class:`BeatResult`."""
    at = {name: float(out[place]) for name, place in kernel.R.items()}
    state = STATES[at["state"]]
    moving = state in ("beating", "irregular") and at["beat_period"] > 0.0
    terminal = float(kernel.terminal_velocity(packed))
    fall, vessel = case.supply.fall, at["vessel_head"]
    delivering = moving and case.vessel_head is not None and at["delivered_flow"] > 0.0
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
    )


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
    if result.state not in ("beating", "irregular"):
        return 0.0
    return result.peak_head - case.build.delivery_valve.cracking_head


def run_batch(cases: Sequence[RamCase]) -> list[BeatResult]:
    """Run many cases on all cores, in order; same numbers as one by one."""
    from clackwork.ram.batch import run_packed

    packed = np.array([pack(case) for case in cases])
    return [unpack(case, row, out) for case, row, out in zip(cases, packed, run_packed(packed), strict=True)]
