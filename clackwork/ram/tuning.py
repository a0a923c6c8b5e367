"""The tuning, stroke and moving mass within given bounds, that serves a place best: by engine runs over a map.

Every candidate is a settled run of the engine, at the head held or at its own operating point: a coarse map first,
evenly spaced in the logarithms of stroke and mass, then ever finer ones about the best. Nothing is read between runs,
as results step a little from one candidate to the next (:mod:`clackwork.ram.sensitivity`).
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from clackwork.errors import InputError, ModelError, require_positive, require_range
from clackwork.ram.batch import Progress
from clackwork.ram.engine import BeatResult, RamCase
from clackwork.ram.operating import settled_beats
from clackwork.ram.parts import Build
from clackwork.ram.sensitivity import StallEdge, nearest_edge, opening_load, stall_edges

_COARSE = 9
"""Strokes and masses of the first map."""
_FINE = 5
_ROUNDS = 3
"""Finer maps, each of _FINE by _FINE candidates half as far apart as the last."""

REFUSALS = {
    "stand open": "too heavy or too long a stroke for this fall: allow less of either, or give more fall",
    "stay shut": "too little opens them again: allow more weight or spring, or work against a higher head",
    "have nothing to open them": "allow more weight or spring, or stand the valve more upright",
    "beat unevenly": "another length of drive pipe may even it out",
    "deliver nothing": "the head is above what they reach: allow more weight or stroke, or lower the lift",
    "beat too slowly": "allow less weight or stroke, or a slower band",
    "beat too fast": "allow more weight or stroke, or a faster band",
    "draw more than the source gives": "allow less weight or stroke, or find more water",
    "deliver less than is wanted": "allow more weight or stroke, or ask for less",
}
"""Why a candidate is refused -> what that means and what would help."""


@dataclass(frozen=True)
class TuningBounds:
    """Within what a tuning is looked for; equal ends keep a stroke or a mass.

    Attributes
    ----------
    least_stroke, most_stroke : float
        Of the waste valve [m].
    least_mass, most_mass : float
        Of its moving part, weighed dry [kg].
    lowest_beat_rate, highest_beat_rate : float
        Band of beats per second that is wanted [1/s].
    """

    least_stroke: float
    most_stroke: float
    least_mass: float
    most_mass: float
    lowest_beat_rate: float = 0.0
    highest_beat_rate: float = math.inf

    def __post_init__(self) -> None:
        require_range("least_stroke", self.least_stroke, 1e-4, 0.2, "m")
        require_range("most_stroke", self.most_stroke, self.least_stroke, 0.2, "m", "It is the upper end.")
        require_range("least_mass", self.least_mass, 1e-4, 50.0, "kg")
        require_range("most_mass", self.most_mass, self.least_mass, 50.0, "kg", "It is the upper end.")
        require_range("lowest_beat_rate", self.lowest_beat_rate, 0.0, 20.0, "1/s", "Were these beats a minute?")
        if not self.highest_beat_rate > self.lowest_beat_rate:
            raise InputError(
                "highest_beat_rate",
                f"{self.highest_beat_rate:g} 1/s",
                f"it must be above {self.lowest_beat_rate:g} 1/s",
            )


@dataclass(frozen=True)
class Candidate:
    """One tuning tried.

    Attributes
    ----------
    stroke, mass : float
        [m], [kg]
    result : BeatResult or None
        None when nothing opens the valve.
    refusal : str
        Why it does not serve, a key of :data:`REFUSALS`; "" when it does.
    """

    stroke: float
    mass: float
    result: BeatResult | None
    refusal: str


@dataclass(frozen=True)
class Tuning:
    """The best tuning found.

    Attributes
    ----------
    build : Build
        The build with this stroke and mass.
    stroke, mass : float
        [m], [kg]
    result : BeatResult
    edges : tuple of StallEdge
        How much mass, stroke and fall may change before the pump stalls or delivers nothing.
    nearest : StallEdge or None
        The nearest of them; None when none was met.
    tried : tuple of Candidate
        The map, in the order tried: the coarse one first.
    """

    build: Build
    stroke: float
    mass: float
    result: BeatResult
    edges: tuple[StallEdge, ...]
    nearest: StallEdge | None
    tried: tuple[Candidate, ...]


@dataclass(frozen=True)
class _Asked:
    """What a candidate is held against, and the figure that is to be as large as can be."""

    bounds: TuningBounds
    source_flow: float
    wanted_flow: float
    merit: Callable[[BeatResult], float]

    def refusal(self, result: BeatResult | None) -> str:
        """Why a result does not serve, a key of :data:`REFUSALS`; "" when it does."""
        if result is None:
            return "have nothing to open them"
        if result.state == "stalled open":
            return "stand open"
        if result.state == "stalled shut":
            return "stay shut"
        if result.state != "beating":
            return "beat unevenly"
        for refused, why in (
            (result.delivered_flow <= 0.0, "deliver nothing"),
            (result.beat_rate < self.bounds.lowest_beat_rate, "beat too slowly"),
            (result.beat_rate > self.bounds.highest_beat_rate, "beat too fast"),
            (result.drawn_flow > self.source_flow, "draw more than the source gives"),
            (result.delivered_flow < self.wanted_flow, "deliver less than is wanted"),
        ):
            if refused:
                return why
        return ""

    def best(self, tried: Sequence[Candidate]) -> Candidate | None:
        """The candidate of highest merit that serves."""
        served = [each for each in tried if not each.refusal]
        return max(served, key=self._merit_of, default=None)

    def _merit_of(self, candidate: Candidate) -> float:
        assert candidate.result is not None
        return self.merit(candidate.result)


def tune_for_delivery(
    case: RamCase,
    bounds: TuningBounds,
    source_flow: float,
    *,
    workers: int | None = None,
    progress: Progress | None = None,
) -> Tuning:
    """The stroke and mass that deliver most while drawing no more than the source gives.

    Parameters
    ----------
    case : RamCase
        With a head held, or a delivery line: then every candidate runs at its operating point.
    bounds : TuningBounds
    source_flow : float
        Water there [m3/s]; infinite where there is plenty.
    workers : int, optional
    progress : callable, optional
        Called with (candidates done, all planned); may raise to stop.

    Raises
    ------
    ModelError
        When no tuning within the bounds serves, saying why, or the case has nothing to deliver against.
    InputError
        When a bound is outside what a part can have.
    """
    asked = _Asked(bounds, _positive("source_flow", source_flow), 0.0, lambda result: result.delivered_flow)
    return _tune(case, asked, workers, progress)


def tune_for_least_water(
    case: RamCase,
    bounds: TuningBounds,
    wanted_flow: float,
    *,
    source_flow: float = math.inf,
    workers: int | None = None,
    progress: Progress | None = None,
) -> Tuning:
    """The stroke and mass that draw least while delivering ``wanted_flow`` [m3/s] or more; else as for delivery."""
    require_positive("wanted_flow", wanted_flow, "m3/s")
    asked = _Asked(bounds, _positive("source_flow", source_flow), wanted_flow, lambda result: -result.drawn_flow)
    return _tune(case, asked, workers, progress)


def tune_for_efficiency(
    case: RamCase,
    bounds: TuningBounds,
    *,
    source_flow: float = math.inf,
    wanted_flow: float = 0.0,
    workers: int | None = None,
    progress: Progress | None = None,
) -> Tuning:
    """The stroke and mass that deliver the largest share of the water drawn; else as for delivery.

    At a given fall and lift that share is d'Aubuisson's efficiency over lift / fall, so the two are largest together.
    """
    asked = _Asked(
        bounds,
        _positive("source_flow", source_flow),
        wanted_flow,
        lambda result: result.delivered_flow / result.drawn_flow,
    )
    return _tune(case, asked, workers, progress)


def _positive(field: str, flow: float) -> float:
    """A flow above zero; infinite is allowed."""
    return flow if flow == math.inf else require_positive(field, flow, "m3/s")


def _tune(case: RamCase, asked: _Asked, workers: int | None, progress: Progress | None) -> Tuning:
    """Coarse map, finer maps about the best, then the edges of what was found."""
    bounds = asked.bounds
    if case.line is None and case.vessel_head is None:
        raise ModelError("A tuning needs something to deliver against: give a delivery line, or a head held.")
    strokes = _spaced(bounds.least_stroke, bounds.most_stroke, _COARSE)
    masses = _spaced(bounds.least_mass, bounds.most_mass, _COARSE)
    planned = len(strokes) * len(masses) + _ROUNDS * _FINE * _FINE
    tried: list[Candidate] = []

    def add(some_strokes: Sequence[float], some_masses: Sequence[float]) -> Candidate | None:
        tried.extend(_try(case, asked, some_strokes, some_masses, tried, workers))
        if progress:
            progress(min(len(tried), planned), planned)
        return asked.best(tried)

    best = add(strokes, masses)
    if best is None:  # what serves may be a band narrower than the map: look between its points
        best = add(_spaced(strokes[0], strokes[-1], 2 * _COARSE - 1), _spaced(masses[0], masses[-1], 2 * _COARSE - 1))
    if best is None:
        raise ModelError(_why_none(case, bounds, tried))
    for turn in range(_ROUNDS):
        best = add(
            _about(best.stroke, bounds.least_stroke, bounds.most_stroke, turn),
            _about(best.mass, bounds.least_mass, bounds.most_mass, turn),
        )
        assert best is not None
    assert best.result is not None
    if progress:
        progress(planned, planned)
    build = case.build.retuned(stroke=best.stroke, mass=best.mass)
    edges = stall_edges(replace(case, build=build), workers=workers)
    return Tuning(build, best.stroke, best.mass, best.result, edges, nearest_edge(edges), tuple(tried))


def _spaced(low: float, high: float, count: int) -> list[float]:
    """Values evenly spaced in their logarithms, ends exact; one when the ends are equal."""
    if low == high:
        return [low]
    return [low, *(float(value) for value in np.geomspace(low, high, count)[1:-1]), high]


def _about(middle: float, low: float, high: float, turn: int) -> list[float]:
    """Values about the best one, at half the last spacing, within the bounds."""
    if low == high:
        return [low]
    spacing = math.log(high / low) / (_COARSE - 1) / 2.0 ** (turn + 1)
    offsets = [place - _FINE // 2 for place in range(_FINE)]
    return sorted({min(max(middle * math.exp(spacing * offset), low), high) for offset in offsets})


def _try(
    case: RamCase,
    asked: _Asked,
    strokes: Sequence[float],
    masses: Sequence[float],
    tried: Sequence[Candidate],
    workers: int | None,
) -> list[Candidate]:
    """Run every pair not tried before."""
    known = {(round(math.log(each.stroke), 6), round(math.log(each.mass), 6)) for each in tried}
    pairs = [(stroke, mass) for stroke in strokes for mass in masses]
    pairs = [pair for pair in pairs if (round(math.log(pair[0]), 6), round(math.log(pair[1]), 6)) not in known]
    cases = [replace(case, build=case.build.retuned(stroke=stroke, mass=mass)) for stroke, mass in pairs]
    opened = [opening_load(each) > 0.0 for each in cases]
    ran = iter(settled_beats([each for each, opens in zip(cases, opened, strict=True) if opens], workers=workers))
    results = [next(ran) if opens else None for opens in opened]
    return [
        Candidate(stroke, mass, result, asked.refusal(result))
        for (stroke, mass), result in zip(pairs, results, strict=True)
    ]


def _why_none(case: RamCase, bounds: TuningBounds, tried: Sequence[Candidate]) -> str:
    """One sentence on why no candidate serves, and one on what would help most."""
    counts = Counter(each.refusal for each in tried).most_common()
    if len(counts) == 1:
        found = f"all {len(tried)} tried {counts[0][0]}"
    else:
        found = f"of {len(tried)} tried, " + ", ".join(f"{count} {refusal}" for refusal, count in counts)
    band = ""
    if bounds.lowest_beat_rate > 0.0 or bounds.highest_beat_rate < math.inf:
        low, high = 60.0 * bounds.lowest_beat_rate, 60.0 * bounds.highest_beat_rate
        band = f" and beats of {low:g} to {high:g} a minute"
    nearest = max(counts, key=lambda pair: list(REFUSALS).index(pair[0]))[0]
    return (
        f"No tuning of build {case.build.name!r} serves within a stroke of {bounds.least_stroke:g} to "
        f"{bounds.most_stroke:g} m, a mass of {bounds.least_mass:g} to {bounds.most_mass:g} kg{band}: {found}. "
        f"Those that {nearest}: {REFUSALS[nearest]}."
    )
