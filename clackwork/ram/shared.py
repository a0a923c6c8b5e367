"""Several pumps side by side, each on its own drive pipe, that share a source and a delivery line."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from clackwork.errors import InputError, ModelError, require_range
from clackwork.hammer import Anchoring, pipe_wave_speed
from clackwork.ram import kernel
from clackwork.ram.batch import run_packed
from clackwork.ram.engine import BeatResult, RamCase, pack, run_beats, run_trace, set_waits, unpack
from clackwork.ram.operating import held_case, line_head, settled_rows
from clackwork.ram.parts import STANDARD_GRAVITY, AirVessel, DeliveryLine
from clackwork.ram.source import require_constant_supply, require_submergence, settle_level
from clackwork.ram.steady_loss import steady_loss
from clackwork.water import Water

FloatArray = NDArray[np.float64]
Arrangement = Literal["in step", "out of step", "random"]

_HEAD_TOLERANCE = 5e-4  # as for the operating point of one pump
_MOST_PUMPS = 100
_BEATS_AVERAGED = 8
_BINS = 512
"""Parts of a beat; a delivery of a fiftieth of a beat still fills ten."""
_TRACE_ROWS = 400_000
_SAME_PERIOD = 1e-6
_LEVEL_TURNS = 6
_LEVEL_TOLERANCE = 2e-3
"""Share of the fall by which the level of a standpipe may be off."""
_LOWEST_LEVEL = 0.1
"""Share of the fall to which a supply pipe may let the level down before the pump counts as starved of head."""
_BEATS_FOLLOWED = 64
"""Of the slowest pump, where the pumps do not keep one time."""


@dataclass(frozen=True)
class SharedPoint:
    """Where pumps that share a source and a delivery line settle.

    Attributes
    ----------
    state : str
        "enough" when the source overflows, or gives without limit; "drawn down" when the level falls until all
        together draw what comes; "starved" when a drive pipe is uncovered first and draws air; "stalled" when no pump
        beats.
    drawdown : float
        Fall of the source's level [m].
    vessel_head : float
        Where the line begins [m above the datum of the first pump].
    delivered_flow, waste_flow, drawn_flow : float
        Of all pumps together [m3/s]; when starved, at the lowest level before air comes.
    results : tuple of BeatResult
        Of each pump, its heads above its own datum.
    cases : tuple of RamCase
        Each pump as it stands there: its fall, and the head held in its vessel.
    """

    state: str
    drawdown: float
    vessel_head: float
    delivered_flow: float
    waste_flow: float
    drawn_flow: float
    results: tuple[BeatResult, ...]
    cases: tuple[RamCase, ...]


def _held(cases: Sequence[RamCase], head: float, drawdown: float) -> tuple[RamCase, ...]:
    """The pumps with the line's head in their vessels and the source's level lower by ``drawdown`` [m].

    A pump with more fall stands lower, so that the same level is as much higher above its own datum.
    """
    return tuple(
        replace(
            case,
            line=None,
            vessel_head=head + case.supply.fall - cases[0].supply.fall,
            supply=replace(case.supply, fall=case.supply.fall - drawdown),
        )
        for case in cases
    )


def _run(held: Sequence[RamCase]) -> tuple[BeatResult, ...]:
    """Settled beats of each; equal pumps run once."""
    packed = np.array([pack(case) for case in held])
    rows, place_of = np.unique(packed, axis=0, return_inverse=True)
    out = run_packed(rows)
    return tuple(unpack(case, rows[place], out[place]) for case, place in zip(held, place_of.reshape(-1), strict=True))


def _meet(miss: Callable[[float], float], low: float, high: float) -> float:
    """Head between ``low`` and ``high`` at which a rising ``miss`` is nought, by false position."""
    miss_low, miss_high = miss(low), math.nan
    if -miss_low <= _HEAD_TOLERANCE * max(low, 1.0):
        return low
    head = high
    for turn in range(12):
        if turn:
            share = miss_low / (miss_low - miss_high) if math.isfinite(miss_high) else 1.0
            head = low + min(max(share, 0.05), 0.95) * (high - low)
        found = miss(head)
        if found > 0.0:
            high, miss_high = head, found
        else:
            low, miss_low = head, found
        if min(abs(found), high - low) <= _HEAD_TOLERANCE * max(head, 1.0):
            break
    return head


def _at_level(cases: Sequence[RamCase], line: DeliveryLine, drawdown: float) -> SharedPoint:
    """All pumps on the line at one level of the source, whatever they draw."""
    water = cases[0].water
    runs: dict[float, tuple[BeatResult, ...]] = {}

    def needed(head: float) -> float:
        runs[head] = _run(_held(cases, head, drawdown))
        return line_head(line, sum(result.delivered_flow for result in runs[head]), water)

    low = line_head(line, 0.0, water)
    head = _meet(lambda trial: trial - needed(trial), low, needed(low))
    results = runs[head]
    return SharedPoint(
        state="enough" if any(result.is_beating for result in results) else "stalled",
        drawdown=drawdown,
        vessel_head=head,
        delivered_flow=sum(result.delivered_flow for result in results),
        waste_flow=sum(result.waste_flow for result in results),
        drawn_flow=sum(result.drawn_flow for result in results),
        results=results,
        cases=_held(cases, head, drawdown),
    )


class _SharedLine(DeliveryLine):
    """A line of any length: the share that one of many pumps sees of a short line is shorter than pipe can be."""

    def __post_init__(self) -> None:
        """Its whole line was looked at."""


def line_share(line: DeliveryLine, pumps: int) -> DeliveryLine:
    """The line as one of several like pumps on it sees it: what one delivers meets the head that all ask for together.

    Parameters
    ----------
    line : DeliveryLine
        Without a leak.
    pumps : int

    Returns
    -------
    DeliveryLine
        Of the same lift. Darcy's head is the same at a share of the flow when bore and roughness are that share (then
        Reynolds number and relative roughness stay), the length its cube and the fittings its square.

    Raises
    ------
    InputError
        When there is no pump, or the line leaks.
    """
    require_range("pumps", float(pumps), 1.0, float(_MOST_PUMPS), "pumps")
    if pumps == 1:
        return line
    if line.leak_area > 0.0:
        raise InputError("delivery_line.leak_area", f"{line.leak_area:g} m2", "a shared line must not leak", "Mend it.")
    share = 1.0 / pumps
    pipe = replace(line.pipe, bore=line.pipe.bore * share, roughness=line.pipe.roughness * share)
    return _SharedLine(pipe, line.length * share**3, line.lift, line.fittings_loss * share**2)


def share_supply(packed: FloatArray, pumps: int) -> None:
    """Let rows of packed parameters see the supply pipe and standpipe as one of several like pumps on them does.

    Parameters
    ----------
    packed : float64[..., len(PARAMETERS)]
        Changed in place: a share of the flow loses the same head, and moves the same level by as much.
    pumps : int
    """
    for name, power in (("feed_inertance", 1), ("feed_loss", 2), ("supply_plan_area", -1)):
        packed[..., kernel.P[name]] *= float(pumps) ** power


def supply_loss(case: RamCase, pumps: int) -> Callable[[float], float]:
    """Head that the supply pipe of a case loses [m] when each of so many pumps on it draws a flow [m3/s]; 0 without one."""
    feed = case.supply.feed
    if feed is None:
        return lambda drawn: 0.0
    return lambda drawn: steady_loss(feed.pipe, feed.length, feed.fittings_loss, pumps * drawn, case.water)


def run_at_level(
    packed: FloatArray,
    losses: Sequence[Callable[[float], float]],
    run: Callable[[FloatArray, NDArray[np.intp]], FloatArray],
    drawn_flow: float = 0.0,
) -> FloatArray:
    """Results of rows at the level that the supply pipe keeps in the standpipe: the fall less what the pipe loses.

    A standpipe takes minutes to come to its level and a run settles within a few beats, so the level is found first, and
    held: beats move it little.

    Parameters
    ----------
    packed : float64[cases, len(PARAMETERS)]
        Rows without a supply pipe are run as they are. Of the others the supply pipe is taken away and the fall becomes
        that of the level, in place.
    losses : sequence of callable
        Of each row, from :func:`supply_loss`.
    run : callable
        Results of some rows, which it may change in place, and their places among all.
    drawn_flow : float, optional
        First guess of what a pump draws [m3/s].

    Returns
    -------
    float64[cases, len(RESULTS)]
    """
    place = kernel.P
    full = packed[:, place["fall"]].copy()
    fed = packed[:, place["feed_inertance"]] > 0.0
    if not fed.any():
        return run(packed, np.arange(len(packed)))
    for name, value in (("feed_inertance", 0.0), ("feed_loss", 0.0), ("supply_plan_area", math.inf)):
        packed[fed, place[name]] = value

    def levels(drawn: FloatArray) -> FloatArray:
        lost = [loss(flow) if is_fed else 0.0 for loss, flow, is_fed in zip(losses, drawn, fed, strict=True)]
        return np.maximum(full - np.array(lost), _LOWEST_LEVEL * full)

    out = np.zeros((len(packed), len(kernel.RESULTS)))
    reached, todo = levels(np.full(len(packed), drawn_flow)), np.arange(len(packed))
    for _ in range(_LEVEL_TURNS):
        packed[todo, place["fall"]] = reached[todo]
        rows = packed[todo]
        set_waits(rows)
        out[todo] = run(rows, todo)
        packed[todo] = rows
        reached = levels(out[:, kernel.R["drawn_flow"]])
        todo = np.flatnonzero(np.abs(reached - packed[:, place["fall"]]) > _LEVEL_TOLERANCE * full)
        if not len(todo):
            break
    return out


def settle_alike(cases: Sequence[RamCase], pumps: Sequence[int], *, workers: int | None = None) -> list[BeatResult]:
    """Settled beats of one of several like pumps on a whole line, for each case with its number of pumps.

    Where a supply pipe feeds a standpipe, they stand on the level that it keeps (:func:`run_at_level`).

    Raises
    ------
    ModelError
        When a case has no line, or nothing opens its waste valve.
    InputError
        When a line of several pumps leaks.
    """
    lines = []
    packed = np.zeros((len(cases), len(kernel.PARAMETERS)))
    held = [held_case(case) for case in cases]
    for at, (case, count) in enumerate(zip(cases, pumps, strict=True)):
        if case.line is None:
            raise ModelError("Pumps side by side need the line that they share: give its lift, pipe and length.")
        packed[at] = pack(held[at])
        share_supply(packed[at], count)
        lines.append((line_share(case.line, count), case.water))

    def run(rows: FloatArray, places: NDArray[np.intp]) -> FloatArray:
        return settled_rows(rows, [lines[at] for at in places], workers=workers)

    losses = [supply_loss(case, count) for case, count in zip(cases, pumps, strict=True)]
    results = run_at_level(packed, losses, run)
    return [unpack(case, row, result) for case, row, result in zip(held, packed, results, strict=True)]


def _check(cases: Sequence[RamCase], source_flow: float, submergence: float) -> None:
    require_range("cases", float(len(cases)), 1.0, float(_MOST_PUMPS), "pumps")
    if any(case.surroundings != cases[0].surroundings for case in cases):
        raise ModelError("Pumps that share a source share its water: give them the same temperature and altitude.")
    if not source_flow > 0.0:
        raise InputError("source_flow", f"{source_flow:g} m3/s", "it must be above 0 m3/s")
    require_submergence("submergence", submergence, min(case.supply.fall for case in cases))
    require_constant_supply(*(case.supply for case in cases))


def shared_operating_point(
    cases: Sequence[RamCase], line: DeliveryLine, *, source_flow: float = math.inf, submergence: float = 0.0
) -> SharedPoint:
    """Settle pumps side by side on one delivery line, at the level at which the source keeps up.

    Parameters
    ----------
    cases : sequence of RamCase
        One for each pump, its fall that of the full source; their own lines and heads are not used.
    line : DeliveryLine
        Takes what all deliver; its lift is above the datum of the first pump.
    source_flow : float, optional
        [m3/s]; without limit when not given.
    submergence : float, optional
        Depth of the highest drive pipe's mouth under the full level [m].

    Returns
    -------
    SharedPoint

    Raises
    ------
    InputError
        When a value is out of range.
    ModelError
        When the pumps stand in different water, or a supply is a vessel or a standpipe.

    Notes
    -----
    Each pump is run with the line's head held in its own vessel; what joins the vessels is taken as short and wide.
    """
    _check(cases, source_flow, submergence)
    state, _, found = settle_level(lambda drawdown: _at_level(cases, line, drawdown), source_flow, submergence)
    return replace(found, state=state) if found.state == "enough" else found


@dataclass(frozen=True, eq=False)
class BeatPulse:
    """One settled beat of a pump, the mean of its last ones, from the moment its waste valve is half shut.

    Attributes
    ----------
    period : float
        [s]
    delivered_flow, drawn_flow : float64[512]
        Means over equal parts of the beat [m3/s]; drawn at the pump's end of the drive pipe.
    """

    period: float
    delivered_flow: FloatArray
    drawn_flow: FloatArray


def beat_pulse(case: RamCase) -> BeatPulse:
    """What one beat of a pump gives and takes, with the head held in its vessel.

    Raises
    ------
    ModelError
        When the pump does not beat.
    """
    result = run_beats(case)
    if not result.is_beating:
        raise ModelError(f"Build {case.build.name!r} is {result.state} at this head: it has no beat.")
    rows = min(math.ceil(result.simulated_time / result.time_step), _TRACE_ROWS)
    _, trace = run_trace(case, duration=result.simulated_time, rows=rows)
    time, opening = trace["time"], trace["opening"]
    late = opening[len(opening) // 2 :]
    open_now = opening > 0.5 * (late.min() + late.max())
    shutting = time[1:][open_now[:-1] & ~open_now[1:]]
    kept = shutting[-min(len(shutting), _BEATS_AVERAGED + 1) :]
    edges = kept[:-1, np.newaxis] + np.diff(kept)[:, np.newaxis] * np.linspace(0.0, 1.0, _BINS + 1)
    step = time[1] - time[0]
    area = 0.25 * math.pi * case.drive_pipe.pipe.bore**2

    def mean_beat(flow: FloatArray) -> FloatArray:
        passed = np.interp(edges, time + step, np.cumsum(flow) * step)
        return np.diff(passed, axis=1).sum(axis=0) * _BINS / (kept[-1] - kept[0])

    return BeatPulse(
        float(np.diff(kept).mean()), mean_beat(trace["delivered_flow"]), mean_beat(trace["velocity"] * area)
    )


def beat_offsets(count: int, arrangement: Arrangement, *, seed: int = 0) -> tuple[float, ...]:
    """When each of ``count`` pumps begins its beat, as shares of a beat from 0 to 1.

    Parameters
    ----------
    count : int
    arrangement : {"in step", "out of step", "random"}
        All at once; evenly spread; as it comes.
    seed : int, optional
        Of the random offsets.

    Raises
    ------
    InputError
        When the arrangement is not known.
    """
    if arrangement == "in step":
        return (0.0,) * count
    if arrangement == "out of step":
        return tuple(i / count for i in range(count))
    if arrangement == "random":
        return tuple(float(offset) for offset in np.random.default_rng(seed).random(count))
    raise InputError("arrangement", arrangement, f"it must be one of {', '.join(get_args(Arrangement))}")


@dataclass(frozen=True, eq=False)
class SharedRipple:
    """How pumps side by side stir what they share.

    Attributes
    ----------
    head_ripple : float
        Swing of the head where the line begins, highest less lowest [m].
    worst_head_ripple : float
        If every pump's swing fell together [m]; pumps of unlike beat come near it sooner or later.
    flow_ripple : float
        Swing of the flow into the line [m3/s].
    drawn_ripple : float
        Swing of the flow drawn from the source [m3/s].
    level_dip : float
        Swing of the source's level [m].
    delivered_flow, drawn_flow : float
        Means [m3/s].
    time : float64[points]
        One beat where all keep one time, else 64 of the slowest [s].
    heads, line_flows, drawn_flows, levels : float64[points]
        About their means for head and level [m], whole for the flows [m3/s].
    """

    head_ripple: float
    worst_head_ripple: float
    flow_ripple: float
    drawn_ripple: float
    level_dip: float
    delivered_flow: float
    drawn_flow: float
    time: FloatArray
    heads: FloatArray
    line_flows: FloatArray
    drawn_flows: FloatArray
    levels: FloatArray


def _vessel_compliance(vessel: AirVessel, head: float, water: Water) -> float:
    """Water that a vessel takes in for each metre of head [m2]."""
    outside = water.atmospheric_pressure_abs / (water.density * STANDARD_GRAVITY)
    return vessel.air_at(head, water) / (vessel.polytropic_index * (head + outside))


def _line_admittance(
    line: DeliveryLine, water: Water, flow: float, wave_speed: float, frequency: FloatArray
) -> NDArray[np.complex128]:
    """Flow into the line for each metre that its head swings about the mean [m2/s], at angular frequencies [1/s].

    An elastic pipe with a held head at its outlet, its friction and fittings linear about the mean flow and spread
    evenly (impedance method; Wylie and Streeter, Fluid Transients; from memory).
    """
    area = 0.25 * math.pi * line.pipe.bore**2
    rise = line_head(line, 1.01 * flow, water) - line_head(line, 0.99 * flow, water)
    along = 1j * frequency / (STANDARD_GRAVITY * area) + rise / (0.02 * flow * line.length)
    across = 1j * frequency * STANDARD_GRAVITY * area / wave_speed**2
    admittance = np.sqrt(across / along) / np.tanh(np.sqrt(along * across) * line.length)
    return np.asarray(admittance, dtype=np.complex128)


def _swings(
    pulse: BeatPulse, line: DeliveryLine, water: Water, flow: float, wave_speed: float, compliance: float, area: float
) -> FloatArray:
    """Head, line flow, drawn flow and level about their means over one beat of one pump, float64[4, 512]."""
    frequency: FloatArray = 2.0 * math.pi / pulse.period * np.arange(1.0, _BINS // 2 + 1)
    delivered, drawn = np.fft.rfft(pulse.delivered_flow)[1:], np.fft.rfft(pulse.drawn_flow)[1:]
    admittance = _line_admittance(line, water, flow, wave_speed, frequency)
    head = delivered / (1j * frequency * compliance + admittance)
    level = drawn * (1j / frequency) * (1.0 / area)
    lines = np.array([head, head * admittance, drawn, level])
    return np.fft.irfft(np.concatenate((np.zeros((4, 1)), lines), axis=1), _BINS, axis=1)


def shared_ripple(
    point: SharedPoint,
    line: DeliveryLine,
    offsets: Sequence[float],
    *,
    vessel: AirVessel | None = None,
    basin_area: float = math.inf,
    anchoring: Anchoring = "joints",
) -> SharedRipple:
    """Lay the beats of pumps side by side over each other, and see what line and source make of them.

    Parameters
    ----------
    point : SharedPoint
        From :func:`shared_operating_point` with the same line.
    line : DeliveryLine
    offsets : sequence of float
        When each pump begins its beat, as a share of it; from :func:`beat_offsets`.
    vessel : AirVessel, optional
        A further one where the line begins.
    basin_area : float, optional
        Of the basin from which all draw [m2]; the level stands still when not given. It gains what comes evenly.
    anchoring : {"throughout", "one_end", "joints"}, optional
        Of the line, as in :func:`clackwork.hammer.restraint_factor`.

    Returns
    -------
    SharedRipple

    Raises
    ------
    InputError
        When there is not one offset for each pump, or the basin has no area.
    ModelError
        When a pump does not beat, or nothing is delivered.

    Notes
    -----
    Small swings: pulses are those of a held head, and vessels, line and friction are linear about the mean.
    """
    if len(offsets) != len(point.cases):
        raise InputError("offsets", len(offsets), f"there must be one for each of the {len(point.cases)} pumps")
    if not basin_area > 0.0:
        raise InputError("basin_area", f"{basin_area:g} m2", "it must be above 0 m2")
    if point.delivered_flow <= 0.0:
        raise ModelError("The pumps deliver nothing at this head: there is no ripple in the line.")
    water, flow = point.cases[0].water, point.delivered_flow
    heads = [(case.build.air_vessel, case.vessel_head or 0.0) for case in point.cases]
    heads += [(vessel, point.vessel_head)] if vessel is not None else []
    compliance = sum(_vessel_compliance(each, head, water) for each, head in heads)
    speed = pipe_wave_speed(line.pipe, water, anchoring)
    pulses = {case: beat_pulse(case) for case in set(point.cases)}
    swings = {case: _swings(pulse, line, water, flow, speed, compliance, basin_area) for case, pulse in pulses.items()}
    time = _time_followed([pulse.period for pulse in pulses.values()])
    total = np.zeros((4, len(time)))
    for case, offset in zip(point.cases, offsets, strict=True):
        share = np.mod(time / pulses[case].period - offset, 1.0) * _BINS
        total += [np.interp(share, np.arange(_BINS), row, period=_BINS) for row in swings[case]]
    delivered = sum(float(pulses[case].delivered_flow.mean()) for case in point.cases)
    drawn = sum(float(pulses[case].drawn_flow.mean()) for case in point.cases)
    head_ripple, flow_ripple, drawn_ripple, level_dip = (float(np.ptp(row)) for row in total)
    return SharedRipple(
        head_ripple=head_ripple,
        worst_head_ripple=sum(float(np.ptp(swings[case][0])) for case in point.cases),
        flow_ripple=flow_ripple,
        drawn_ripple=drawn_ripple,
        level_dip=level_dip,
        delivered_flow=delivered,
        drawn_flow=drawn,
        time=time,
        heads=total[0],
        line_flows=total[1] + delivered,
        drawn_flows=total[2] + drawn,
        levels=total[3],
    )


def _time_followed(periods: Sequence[float]) -> FloatArray:
    """One beat where all are alike, else many of the slowest, at the bins of the quickest [s]."""
    slowest, quickest = max(periods), min(periods)
    beats = 1 if slowest - quickest <= _SAME_PERIOD * slowest else _BEATS_FOLLOWED
    points = math.ceil(beats * _BINS * slowest / quickest)
    return np.linspace(0.0, beats * slowest, points, endpoint=False)
