"""A pump on the screen: what it does now, moment by moment, and how far each setting is from stalling it.

:func:`live_beat` is quick enough to be asked while a slider moves; :func:`live_edges` runs the pump some fifty times and
is asked when it rests.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from clackwork.errors import InputError, ModelError
from clackwork.quantities import format_quantity
from clackwork.ram.batch import run_packed
from clackwork.ram.engine import BeatResult, RamCase, choose_resolution, pack, run_trace, unpack
from clackwork.ram.operating import operating_point, settled_beats
from clackwork.ram.parts import STANDARD_GRAVITY, GuidedPoppet, HingedFlap
from clackwork.ram.phases import BeatPhases, last_phases
from clackwork.ram.sensitivity import DELIVERS_NOTHING, input_value, opening_load, with_input

FloatArray = NDArray[np.float64]

SLIDERS: Mapping[str, str] = {
    "stroke": "small_length",
    "mass": "mass",
    "tilt": "angle",
    "fall": "head",
    "lift": "head",
    "pipe_length": "length",
}
"""What may be moved, with its kind of quantity."""
BEATING_STATES = ("beating", "irregular")

_ROWS = 400_000
"""Rows of a trace kept while it runs; a run that is longer keeps its beginning."""
_BUCKETS = 170
"""Of each the extremes of head, velocity and opening are kept, so that no peak is lost."""
_STALLED_SHOWN = 4.0
"""What is shown of a pump that does not beat [s]."""
_SCAN = 25
"""Values of a slider at which the pump is tried; a stall narrower than the way between two may be missed."""
_HALVINGS = 5
_SCAN_BEATS = 40


@dataclass(frozen=True)
class LiveBeat:
    """What a pump does as it is set.

    Attributes
    ----------
    state : str
        As in :class:`BeatResult`, or "delivers nothing" for a pump that beats and lifts no water.
    words : str
        The same in a sentence or two, with what to do about it.
    result : BeatResult or None
        Settled figures; None when nothing opens the waste valve at all.
    trace : mapping of str to float64[rows]
        Whole beats at the end of the run, thinned without loss of a peak: ``time`` [s] from 0, ``body_head`` [m],
        ``velocity`` [m/s], ``opening`` [m], ``vessel_head`` [m], ``waste_flow``, ``delivered_flow`` [m3/s],
        ``vessel_water`` [m3], ``travel`` [m] (how far the water in the drive pipe has come).
    phases : tuple of BeatPhases
        Of each whole beat, in the trace's time; empty when the pump does not beat.
    """

    state: str
    words: str
    result: BeatResult | None
    trace: Mapping[str, FloatArray]
    phases: tuple[BeatPhases, ...]

    @property
    def beats(self) -> bool:
        """Whether its valve goes up and down."""
        return bool(self.phases)


@dataclass(frozen=True)
class SliderRange:
    """How far one input can be moved [SI]."""

    name: str
    low: float
    high: float
    step: float


@dataclass(frozen=True)
class LiveBand:
    """A stretch of a slider [SI] over which the pump is in one state, "" where it beats and delivers."""

    low: float
    high: float
    state: str


@dataclass(frozen=True)
class LiveEdges:
    """Where along one input the pump stalls.

    Attributes
    ----------
    name : str
        Of :data:`SLIDERS`.
    value : float
        As it is set [SI].
    bands : tuple of LiveBand
        From one end of the slider to the other, without gaps.
    """

    name: str
    value: float
    bands: tuple[LiveBand, ...]

    @property
    def here(self) -> LiveBand | None:
        """The band it is set in; None when it is set beyond the slider."""
        return next((band for band in self.bands if band.low <= self.value <= band.high), None)


def live_beat(case: RamCase, *, system: str = "metric", beats: int = 3, source_flow: float | None = None) -> LiveBeat:
    """Settled figures of a case and the trace of its last beats.

    Parameters
    ----------
    case : RamCase
        With a head held, the delivery shut, or a line; with a line it runs at the head where ram and line agree.
    system : {"metric", "us"}
        Units of the words.
    beats : int
        Whole beats in the trace, at most.
    source_flow : float, optional
        What the source gives [m3/s].
    """
    if opening_load(case) <= 0.0:
        words = (
            "Stalls shut: as it stands nothing opens the waste valve. Add weight or spring, or stand it more upright."
        )
        return LiveBeat("stalled shut", words, None, {}, ())
    if case.line is not None:
        case = replace(case, line=None, vessel_head=operating_point(case).vessel_head)
    resolution = choose_resolution(case)
    step = case.drive_pipe.length / case.wave_speed / (2.0 * resolution.losses * resolution.steps_per_half)
    result, trace = run_trace(case, duration=0.999 * _ROWS * step, rows=_ROWS)
    state = _state_of(result, case)
    phases = _last_beats(trace, beats) if result.state in BEATING_STATES else ()
    shown, phases = _shown(case, result, trace, phases)
    return LiveBeat(state, live_words(case, state, result, system, source_flow), result, shown, phases)


def _state_of(result: BeatResult, case: RamCase) -> str:
    """The state, told apart from beating for nothing."""
    delivers = case.vessel_head is not None
    return (
        DELIVERS_NOTHING
        if result.state in BEATING_STATES and delivers and result.delivered_flow <= 0.0
        else result.state
    )


def _last_beats(trace: Mapping[str, FloatArray], beats: int) -> tuple[BeatPhases, ...]:
    """Phases of the last whole beats of a trace, the earliest first; empty when it holds none."""
    found: list[BeatPhases] = []
    left: Mapping[str, FloatArray] = trace
    for _ in range(beats):
        try:
            phases = last_phases(left)
        except ModelError:
            break
        found.insert(0, phases)
        end = int(np.searchsorted(trace["time"], phases.accelerate, side="right"))
        left = {name: column[:end] for name, column in trace.items()}
    return tuple(found)


def _shown(
    case: RamCase, result: BeatResult, trace: Mapping[str, FloatArray], phases: tuple[BeatPhases, ...]
) -> tuple[dict[str, FloatArray], tuple[BeatPhases, ...]]:
    """The end of a trace, thinned, its time counted from 0; and the phases in that time."""
    time = trace["time"]
    first = phases[0].accelerate if phases else max(float(time[-1]) - _STALLED_SHOWN, 0.0)
    last = phases[-1].end if phases else float(time[-1])
    begin, end = np.searchsorted(time, first), np.searchsorted(time, last, side="right")
    part = {name: column[begin:end] for name, column in trace.items()}
    step = float(time[1] - time[0]) if time.size > 1 else result.time_step
    part["time"] = part["time"] - first
    part["vessel_water"] = _vessel_water(case, result, part["delivered_flow"], step)
    part["travel"] = np.cumsum(part["velocity"]) * step
    rows = _kept_rows([part[name] for name in ("body_head", "velocity", "opening")])
    moved = tuple(
        BeatPhases(*(mark - first for mark in (each.accelerate, each.close, each.deliver, each.recoil, each.end)))
        for each in phases
    )
    return {name: column[rows] for name, column in part.items()}, moved


def _kept_rows(columns: Sequence[FloatArray]) -> NDArray[np.int64]:
    """Rows that hold the lowest and highest value of each column in each of so many stretches, and the ends."""
    count = len(columns[0])
    if count <= 4 * _BUCKETS:
        return np.arange(count)
    edges = np.linspace(0, count, _BUCKETS + 1).astype(np.int64)
    kept = {0, count - 1}
    for begin, end in itertools.pairwise(edges):
        for column in columns:
            kept |= {int(begin + np.argmin(column[begin:end])), int(begin + np.argmax(column[begin:end]))}
    return np.array(sorted(kept), dtype=np.int64)


def vessel_water(case: RamCase, head: float) -> float:
    """Water in the air vessel with its air at the pressure of ``head`` [m above datum], its fill kept [m3]."""
    vessel, water = case.build.air_vessel, case.water
    filled = vessel.precharge_gauge + water.atmospheric_pressure_abs
    now = water.atmospheric_pressure_abs + head * water.density * STANDARD_GRAVITY
    return vessel.volume * (1.0 - (filled / max(now, filled)) ** (1.0 / vessel.polytropic_index))


def _vessel_water(case: RamCase, result: BeatResult, delivered: FloatArray, step: float) -> FloatArray:
    """Water in the vessel along a trace [m3]: what comes in by beats less what the line takes steadily."""
    moving = result.state in BEATING_STATES
    held = case.vessel_head
    if held is None:
        held = result.peak_head - case.build.delivery_valve.cracking_head if moving else case.supply.fall
    swing = np.cumsum(delivered - delivered.mean()) * step
    return vessel_water(case, held) + swing - swing.mean()


_CURES = {
    "stalled open": "Stalls open: water runs through the waste valve and never gets fast enough to shut it. "
    "Take off weight, shorten the stroke, or find more fall.",
    "stalled shut": "Stalls shut: once shut, the waste valve does not drop open again. "
    "Add weight, lengthen the stroke, or raise the lift it works against.",
}
_RUNS_BY_ITSELF = "The lift is not above the fall: water runs there by itself, and the pump has nothing to do."


def live_words(
    case: RamCase, state: str, result: BeatResult, system: str = "metric", source_flow: float | None = None
) -> str:
    """What a pump does, in a sentence or two."""
    if state in _CURES:
        runs_by_itself = case.vessel_head is not None and case.vessel_head <= case.supply.fall
        return _RUNS_BY_ITSELF if runs_by_itself else _CURES[state]
    rate = f"{60.0 * result.beat_rate:.0f} times a minute"
    drawn = format_quantity(result.drawn_flow, "volume_flow", system)
    if case.vessel_head is None:
        head = format_quantity(result.peak_head - case.build.delivery_valve.cracking_head, "head", system)
        words = f"Beats {rate} with the delivery shut; the vessel would stop rising at a head of {head}."
    elif state == DELIVERS_NOTHING:
        words = f"Beats {rate} but lifts nothing: the lift is more than it can reach. It draws {drawn}."
    else:
        given = format_quantity(result.delivered_flow, "volume_flow", system)
        words = f"Beats {rate} and lifts {given} of the {drawn} it draws."
    if state == "irregular":
        words += " Its beats differ from one another: these are means."
    if case.vessel_head is not None and case.vessel_head <= case.supply.fall:
        words = f"{words} {_RUNS_BY_ITSELF}"
    if source_flow is not None and result.drawn_flow > source_flow:
        gives = format_quantity(source_flow, "volume_flow", system)
        words += f" That is more than the source gives ({gives}): the drive pipe would take air."
    return words


def _round_to(value: float, figures: int, way: str) -> float:
    """A value rounded down or up to so many figures."""
    place = 10.0 ** (math.floor(math.log10(value)) - figures + 1)
    return (math.floor(value / place + 1e-9) if way == "down" else math.ceil(value / place - 1e-9)) * place


def slider_ranges(case: RamCase) -> tuple[SliderRange, ...]:
    """How far each of :data:`SLIDERS` can be moved around where it stands; no lift with the delivery shut."""
    valve = case.build.waste_valve
    limits = {
        "stroke": (max(1e-3, 1.2 * valve.held_open), 0.19),
        "mass": (1e-3, 50.0),
        "fall": (0.1, 100.0),
        "lift": (0.5, 400.0),
        "pipe_length": (1.0, 500.0),
    }
    if isinstance(valve, HingedFlap):
        limits["stroke"] = (limits["stroke"][0], min(0.19, 1.19 * valve.seat_distance))
    found = []
    for name in SLIDERS:
        if name == "lift" and case.vessel_head is None and case.line is None:
            continue
        if name == "tilt":
            found.append(SliderRange(name, 0.0, _steepest(case), math.radians(0.5)))
            continue
        value = input_value(case, name)
        low, high = limits[name]
        least = min(max(_round_to(0.25 * value, 2, "down"), low), value)
        most = max(min(_round_to(3.5 * value, 2, "up"), high), value)
        found.append(SliderRange(name, least, most, _round_to((most - least) / 400.0, 1, "up")))
    return tuple(found)


def _steepest(case: RamCase) -> float:
    """Largest tilt of the slider [rad]: a spring holds a poppet open at any; without one it lies level at most."""
    valve = case.build.waste_valve
    sprung = isinstance(valve, GuidedPoppet) and valve.spring_preload > 0.0
    return max(math.radians(180.0 if sprung else 80.0), valve.tilt)


def live_edges(case: RamCase, name: str, low: float, high: float, *, workers: int | None = None) -> LiveEdges:
    """Where between ``low`` and ``high`` [SI] of one input the pump stalls, by a scan and halvings on the engine.

    Parameters
    ----------
    case : RamCase
    name : str
        Of :data:`SLIDERS`.
    low, high : float
        As from :func:`slider_ranges`.
    workers : int, optional

    Raises
    ------
    InputError
        When there is no such slider or the way between its ends is empty.
    """
    if name not in SLIDERS:
        raise InputError("move", repr(name), f"it must be one of {', '.join(SLIDERS)}")
    if not low < high:
        raise InputError("low", f"{low:g}", f"it must be below the high end, {high:g}")
    values = [float(value) for value in np.linspace(low, high, _SCAN)]
    states = _states(case, name, values, workers)
    gaps = [
        (values[i], values[i + 1], states[i], states[i + 1]) for i in range(_SCAN - 1) if states[i] != states[i + 1]
    ]
    for _ in range(_HALVINGS):
        if not gaps:
            break
        middles = [0.5 * (below + above) for below, above, _, _ in gaps]
        met = _states(case, name, middles, workers)
        gaps = [
            (middle, above, lower, upper) if state == lower else (below, middle, lower, upper)
            for (below, above, lower, upper), middle, state in zip(gaps, middles, met, strict=True)
        ]
    ends = [low, *(0.5 * (below + above) for below, above, _, _ in gaps), high]
    kinds = [states[0], *(upper for _, _, _, upper in gaps)]
    bands = tuple(LiveBand(ends[i], ends[i + 1], kind) for i, kind in enumerate(kinds))
    return LiveEdges(name, input_value(case, name), bands)


def _scanned(cases: Sequence[RamCase], workers: int | None) -> list[BeatResult]:
    """Runs that tell whether pumps stall or deliver: at a held head a few beats do, where means would want hundreds."""
    if not cases or any(case.line is not None for case in cases):
        return settled_beats(cases, workers=workers)
    packed = np.array([pack(case, most_beats=_SCAN_BEATS) for case in cases])
    results = run_packed(packed, workers=workers)
    return [unpack(case, row, result) for case, row, result in zip(cases, packed, results, strict=True)]


def _states(case: RamCase, name: str, values: Sequence[float], workers: int | None) -> list[str]:
    """State at each value of one input, "" where the pump beats and delivers."""
    moved = [with_input(case, name, value) for value in values]
    opened = [each for each in moved if opening_load(each) > 0.0]
    ran = iter(_scanned(opened, workers))
    states = []
    for each in moved:
        if opening_load(each) <= 0.0:
            states.append("stalled shut")
            continue
        result = next(ran)
        moving = result.state in BEATING_STATES
        lifts = (each.vessel_head is None and each.line is None) or result.delivered_flow > 0.0
        states.append(("" if lifts else DELIVERS_NOTHING) if moving else result.state)
    return states
