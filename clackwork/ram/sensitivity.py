"""What a change does: every result against one input at a time, and how far the pump is from stalling.

Beats hold whole numbers of wave trips, and whole beats are averaged, so results step a little as an input moves. Measured
on six rams (25 mm on steel and PVC, half inch on PVC; mass, stroke, length, bore, fall, lift; beat rate, flows and
efficiency), each slope taken anew with the input moved by up to 3 %: slopes over a step of 1 % scattered by 0.24 in the
middle and by more than 0.44 in one of five, over 10 % by 0.04 and 0.14, over 20 % by 0.02 and 0.08. But over 20 % one
slope in five was off by 0.23 from the one over 10 %, as the curve bends, and more steps met a stall. Hence
:data:`WIDE_STEP` of 10 %. A line through more points brought nothing: what is rough is its ends.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from clackwork.errors import InputError, ModelError
from clackwork.ram.engine import BeatResult, RamCase
from clackwork.ram.operating import settled_beats
from clackwork.ram.parts import GuidedPoppet, HingedFlap

FloatArray = NDArray[np.float64]

INPUTS = (
    "mass",
    "stroke",
    "tilt",
    "spring_preload",
    "spring_rate",
    "hinge_stiffness",
    "pipe_length",
    "pipe_bore",
    "fall",
    "lift",
)
"""What may be moved; a flap has no spring_preload and spring_rate, a poppet no hinge_stiffness."""
STALL_INPUTS = ("mass", "stroke", "fall")
"""What a workshop or a season changes first."""
RESULTS = (
    "beat_rate",
    "waste_flow",
    "delivered_flow",
    "drawn_flow",
    "water_per_beat",
    "closing_velocity",
    "peak_head",
    "surge_head",
    "landing_speed_shut",
    "landing_speed_open",
    "open_time",
    "delivery_time",
    "steady_velocity",
    "velocity_ratio",
    "daubuisson_efficiency",
    "rankine_efficiency",
)
"""Results that are above zero while a pump beats and delivers, so that they have logarithms."""
WIDE_STEP = 0.10
"""Step of a slope, as a share of the input; chosen by the measurement above."""
DELIVERS_NOTHING = "delivers nothing"
_NOTHING = 1e-6
"""Share of the water drawn up to which a delivered flow is none: a valve that just cracks in some beats."""
"""Edge beyond which a pump still beats but nothing passes its delivery valve."""
_LADDER = 1.1
"""Factor between the points at which an edge is looked for: a stall that ends again within this may be missed."""
_CLOSE = 12
"""Parts into which the last two rungs of the ladder are cut: close to an edge beats come and go."""
_EDGE_TOLERANCE = 2e-3
_WHOLE = {"tilt", "spring_preload", "spring_rate", "hinge_stiffness"}
"""Inputs that may be zero: they move by a share of a scale of their own."""


def opening_load(case: RamCase) -> float:
    """Load that opens the waste valve at its full stroke [N]; at or below zero nothing opens it."""
    return case.build.waste_valve.reduced(case.water.density).opening_load_open


def inputs_of(case: RamCase) -> tuple[str, ...]:
    """Names of :data:`INPUTS` that this case has; no lift with the delivery shut."""
    poppet = isinstance(case.build.waste_valve, GuidedPoppet)
    absent = {"hinge_stiffness"} if poppet else {"spring_preload", "spring_rate"}
    if case.line is None and case.vessel_head is None:
        absent.add("lift")
    return tuple(name for name in INPUTS if name not in absent)


def _require_input(case: RamCase, name: str) -> None:
    if name not in inputs_of(case):
        raise InputError("name", repr(name), f"this case can be moved in {', '.join(inputs_of(case))}")


def input_value(case: RamCase, name: str) -> float:
    """Value of one of :data:`INPUTS` [SI]; the lift is the line's, or the head held.

    Raises
    ------
    InputError
        When the case has no such input.
    """
    _require_input(case, name)
    if name == "pipe_length":
        return case.drive_pipe.length
    if name == "pipe_bore":
        return case.drive_pipe.pipe.bore
    if name == "fall":
        return case.supply.fall
    if name == "lift":
        return case.line.lift if case.line else case.vessel_head or 0.0
    return float(getattr(case.build.waste_valve, name))


def with_input(case: RamCase, name: str, value: float) -> RamCase:
    """The same case with one of :data:`INPUTS` at another value [SI], all else kept.

    The wall of the drive pipe goes with its bore, so that its wave speed stays; the pump keeps its own bores. A moved
    fall leaves lift and length as they are.

    Raises
    ------
    InputError
        When the case has no such input, or a part cannot have that value.
    """
    _require_input(case, name)
    drive, pipe = case.drive_pipe, case.drive_pipe.pipe
    if name == "pipe_length":
        return replace(case, drive_pipe=replace(drive, length=value))
    if name == "pipe_bore":
        other = replace(pipe, bore=value, wall=pipe.wall * value / pipe.bore)
        return replace(case, drive_pipe=replace(drive, pipe=other))
    if name == "fall":
        return replace(case, supply=replace(case.supply, fall=value))
    if name == "lift":
        if case.line:
            return replace(case, line=replace(case.line, lift=value))
        return replace(case, vessel_head=value)
    change: dict[str, Any] = {name: value}
    valve = replace(case.build.waste_valve, **change)
    return replace(case, build=replace(case.build, waste_valve=valve))


@dataclass(frozen=True)
class Sweep:
    """Results along one input.

    Attributes
    ----------
    name : str
        Of :data:`INPUTS`.
    values : float64[n]
        [SI]
    results : tuple of BeatResult, length n
        Each with its state: a stalled pump has no beat rate.
    """

    name: str
    values: FloatArray
    results: tuple[BeatResult, ...]

    def column(self, result: str) -> FloatArray:
        """One result along the sweep, float64[n]; nan where the pump does not beat."""
        return np.array([getattr(each, result) if each.is_beating else math.nan for each in self.results])


def sweep(case: RamCase, name: str, values: Sequence[float] | FloatArray, *, workers: int | None = None) -> Sweep:
    """Every result at each of ``values`` [SI] of one input.

    Raises
    ------
    InputError
        When the case has no such input, or a part cannot have one of the values.
    ModelError
        When at one of the values nothing opens the waste valve.
    """
    moved = [with_input(case, name, float(value)) for value in values]
    return Sweep(name, np.asarray(values, dtype=np.float64), tuple(settled_beats(moved, workers=workers)))


@dataclass(frozen=True)
class Elasticity:
    """What one input does to every result: d ln(result) / d ln(input) over a wide step.

    Attributes
    ----------
    name : str
        Of :data:`INPUTS`.
    value, scale : float
        The input, and what of it counts as a change of one [SI]: the value itself; for inputs that may be zero 1 rad of
        tilt, the opening load at full stroke for a preload, and for a spring or hinge the stiffness that takes
        that load over the stroke.
    step : float
        Share of the scale moved to either side.
    one_sided : bool
        Whether the input, being zero or next to it, was moved upward alone.
    slopes : mapping of str to float
        Of each of :data:`RESULTS`; empty when the pump stalls within the step.
    spread : mapping of str to float
        How far the slope over half the step is from it: what of the slope is rough or bent.
    stalls : str
        State met within the step instead of beats, "" for none.
    """

    name: str
    value: float
    scale: float
    step: float
    one_sided: bool
    slopes: Mapping[str, float]
    spread: Mapping[str, float]
    stalls: str


def _scale(case: RamCase, name: str) -> float:
    """What of an input counts as a change of one [SI]."""
    valve = case.build.waste_valve
    load = opening_load(case)
    if name == "tilt":
        return 1.0
    if name == "spring_preload":
        return load
    if name == "spring_rate":
        return load / valve.stroke
    if name == "hinge_stiffness":
        assert isinstance(valve, HingedFlap)
        return load * valve.seat_distance**2 / valve.stroke
    return input_value(case, name)


def _moved_by(case: RamCase, name: str, change: float) -> RamCase | None:
    """The case with an input moved by a share of its scale; None when that leaves nothing to open the valve."""
    value, scale = input_value(case, name), _scale(case, name)
    moved = with_input(case, name, value + change * scale if name in _WHOLE else value * math.exp(change))
    return moved if opening_load(moved) > 0.0 else None


def elasticities(
    case: RamCase, names: Sequence[str] | None = None, *, step: float = WIDE_STEP, workers: int | None = None
) -> tuple[Elasticity, ...]:
    """Slopes of every result against every input, by wide central differences on engine runs.

    Parameters
    ----------
    case : RamCase
        With a head held, a line (then at its operating points) or the delivery shut.
    names : sequence of str, optional
        Of :data:`INPUTS`; all that the case has when not given.
    step : float
        Share of the input moved to either side; four runs for each input, at the step and at half of it.
    workers : int, optional

    Raises
    ------
    InputError
        When the case has no such input.
    ModelError
        When the case itself does not beat.
    """
    names = inputs_of(case) if names is None else names
    plans = [(name, change) for name in names for change in _changes(case, name, step)]
    moved = [_moved_by(case, name, change) for name, change in plans]
    runs = [each for each in moved if each is not None]
    base, *others = settled_beats([case, *runs], workers=workers)
    if not base.is_beating:
        raise ModelError(f"The pump is {base.state} as it stands: there are no beats to compare. Retune it first.")
    ran = iter(others)
    found = [next(ran) if each is not None else None for each in moved]
    answers = []
    for name in names:
        mine = {change: result for (other, change), result in zip(plans, found, strict=True) if other == name}
        answers.append(_elasticity(case, name, step, mine))
    return tuple(answers)


def _changes(case: RamCase, name: str, step: float) -> tuple[float, ...]:
    """Shares of the scale to move by: both ways, or upward alone where the way down is barred."""
    ends_at_zero = name in _WHOLE and name != "spring_preload"
    if ends_at_zero and input_value(case, name) < step * _scale(case, name):
        return (0.0, 0.5 * step, step)
    return (-step, -0.5 * step, 0.5 * step, step)


def _slope(values: Mapping[float, float], width: float, one_sided: bool) -> float:
    """Change of a result's logarithm per change of the input, between the points ``width`` to either side."""
    low, high = (0.0, width) if one_sided else (-width, width)
    return math.log(values[high] / values[low]) / (high - low)


def _elasticity(case: RamCase, name: str, step: float, found: Mapping[float, BeatResult | None]) -> Elasticity:
    """One input's slopes from the results found at each change."""
    one_sided = -step not in found
    stopped = [result for result in found.values() if result is None or not result.is_beating]
    stalls = "" if not stopped else stopped[0].state if stopped[0] else "stalled shut"
    slopes: dict[str, float] = {}
    spread: dict[str, float] = {}
    if not stalls:
        points = {change: result for change, result in found.items() if result is not None}
        for result in RESULTS:
            values = {change: float(getattr(each, result)) for change, each in points.items()}
            if min(values.values()) > 0.0:
                slopes[result] = _slope(values, step, one_sided)
                spread[result] = abs(_slope(values, 0.5 * step, one_sided) - slopes[result])
    return Elasticity(name, input_value(case, name), _scale(case, name), step, one_sided, slopes, spread, stalls)


@dataclass(frozen=True)
class StallEdge:
    """How far one input may move one way before the pump stops.

    Attributes
    ----------
    name : str
        Of :data:`INPUTS`.
    state : str
        What it does beyond: "stalled open", "stalled shut" or "delivers nothing"; "" when it still beats as far as
        was looked.
    value : float
        Of the input where it stops, or how far was looked [SI].
    share : float
        Change to there as a share of the value now: 0.2 is a fifth more, -0.2 a fifth less.
    """

    name: str
    state: str
    value: float
    share: float


def _stop_of(result: BeatResult | None, delivers: bool) -> str:
    """The state that ends a way, or "" while the pump beats."""
    if result is None:
        return "stalled shut"
    if not result.is_beating:
        return result.state
    return DELIVERS_NOTHING if delivers and result.delivered_flow <= _NOTHING * result.drawn_flow else ""


def _stops(cases: Sequence[RamCase], delivers: bool, workers: int | None) -> list[str]:
    """State that stops each case, "" where it beats on."""
    opened = [case for case in cases if opening_load(case) > 0.0]
    ran = iter(settled_beats(opened, workers=workers))
    return [_stop_of(next(ran) if opening_load(case) > 0.0 else None, delivers) for case in cases]


def stall_edges(
    case: RamCase,
    names: Sequence[str] = STALL_INPUTS,
    *,
    farthest: float = 4.0,
    workers: int | None = None,
) -> tuple[StallEdge, ...]:
    """How much less and how much more of each input stalls the pump, by bisection on the engine.

    Parameters
    ----------
    case : RamCase
        It must beat as it stands.
    names : sequence of str
        Inputs above zero.
    farthest : float
        Factor by which an input is moved at most, either way; less where a part allows less.
    workers : int, optional

    Returns
    -------
    tuple of StallEdge
        For each name first the way down, then the way up. An edge where the beats end at once is found within 0.2 %,
        one where they come and go within some 2 %.

    Raises
    ------
    InputError
        When the case has no such input, or it is zero.
    ModelError
        When the case does not beat as it stands.
    """
    now = _stops([case], False, workers)[0]
    if now:
        raise ModelError(f"The pump is {now} as it stands: it has no margin to stalling. Retune it first.")
    starts = [(name, sign) for name in names for sign in (-1.0, 1.0)]
    ways = [_Way(name, "", [input_value(case, name), *_ladder(case, name, sign, farthest)]) for name, sign in starts]
    ways = _walked(case, ways, workers)
    ways = _walked(case, [way.closer(3, _CLOSE) for way in ways], workers)
    while any(way.is_wide for way in ways):
        ways = _walked(case, [way.closer(2, 2) if way.is_wide else way for way in ways], workers)
    return tuple(
        StallEdge(way.name, way.state, way.values[-1], way.values[-1] / input_value(case, way.name) - 1.0)
        for way in ways
    )


@dataclass(frozen=True)
class _Way:
    """Values of an input, leading away from one at which the pump beats.

    With a ``state`` the last is known to stop the pump in it; without one none but the first has been run.
    """

    name: str
    state: str
    values: list[float]

    @property
    def is_wide(self) -> bool:
        """Whether the edge lies farther than the tolerance from the last value at which the pump beats."""
        return bool(self.state) and abs(math.log(self.values[-1] / self.values[-2])) > _EDGE_TOLERANCE

    @property
    def unknown(self) -> list[float]:
        return self.values[1:-1] if self.state else self.values[1:]

    def closer(self, last: int, parts: int) -> _Way:
        """The last values' span cut into parts, even in its logarithm; a way without an edge is at its end."""
        if not self.state:
            return replace(self, values=self.values[-1:])
        span = self.values[-last:]
        inner = [span[0] * (span[-1] / span[0]) ** (part / parts) for part in range(1, parts)]
        return replace(self, values=[span[0], *inner, span[-1]])

    def cut(self, states: list[str]) -> _Way:
        """The way up to the first unknown value that stops the pump."""
        first = next((place for place, state in enumerate(states) if state), None)
        return self if first is None else replace(self, state=states[first], values=self.values[: first + 2])


def _walked(case: RamCase, ways: Sequence[_Way], workers: int | None) -> list[_Way]:
    """Run what is unknown of all ways at once, and cut each at the first value that stops the pump."""
    delivers = case.line is not None or case.vessel_head is not None
    moved = [with_input(case, way.name, value) for way in ways for value in way.unknown]
    met = iter(_stops(moved, delivers, workers))
    return [way.cut([next(met) for _ in way.unknown]) for way in ways]


def _ladder(case: RamCase, name: str, sign: float, farthest: float) -> list[float]:
    """Values ever farther from the one now, as far as the parts allow."""
    value = input_value(case, name)
    if not value > 0.0:
        raise InputError(name, f"{value:g}", "an edge is looked for by factors, so it must be above zero")
    steps = math.ceil(math.log(farthest) / math.log(_LADDER))
    values = []
    for step in range(1, steps + 1):
        moved = value * min(_LADDER**step, farthest) ** sign
        try:
            with_input(case, name, moved)
        except InputError:
            break
        values.append(moved)
    return values


def nearest_edge(edges: Sequence[StallEdge]) -> StallEdge | None:
    """The edge met after the smallest change, counted in factors; None when none was met."""
    met = [edge for edge in edges if edge.state]
    return min(met, key=lambda edge: abs(math.log1p(edge.share)), default=None)
