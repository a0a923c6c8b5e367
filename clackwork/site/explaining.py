"""Why a visit's readings are not as promised: the engine is asked which single change would bring them there."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

from clackwork.ram.batch import Progress
from clackwork.ram.engine import BeatResult, RamCase
from clackwork.ram.faults import FAULTS
from clackwork.ram.operating import line_leak, settled_beats
from clackwork.site.commissioning import Compared, site_on_day, twin_on_day
from clackwork.site.site import Reason, Site
from clackwork.site.standing import Standing
from clackwork.site.visit import SiteReadings
from clackwork.twin.twin import Twin

INDEPENDENT = ("delivered_flow", "waste_flow", "beat_rate", "vessel_head")
"""Figures a cause has to account for; what is drawn is the sum of two of them, and what the source gives is none of the
pump's."""
_SHARES = (-0.40, -0.25, -0.15, -0.08, -0.04, 0.04, 0.08, 0.15, 0.25, 0.40)
_MULTIPLES = (0.25, 0.5, 1.0, 2.0, 4.0, 8.0, 16.0)
_ROUNDS = 3
_LEAST_EXPLAINED = 0.25
_STALLED = 1e6
SHARP_HOLE = 0.6
"""Discharge coefficient of a small sharp hole, as a snifter's."""
_NOTHING = 1e-3
_ALIKE = 0.05
"""Misfits so far apart, in squares of a band's half width, are alike: a few hundredths of a width in each figure, about
what halving the engine's step moves (docs/validation.md)."""


@dataclass(frozen=True)
class Cause:
    """One thing that may be other than was taken for the promise.

    Attributes
    ----------
    id : str
    words : str
        A template of a :class:`clackwork.site.site.Reason`.
    usual : float
        Size one meets without looking for it: of the natural logarithm for a factor, SI for a fault. A larger one is the
        less likely.
    change : callable
        (case, size) -> case
    show : callable
        (case, size) -> values of ``words``
    is_factor : bool
        Whether the size is the logarithm of a factor, to both sides, and not that of a fault.
    most : float
        Largest size.
    at_tank : bool
        Whether it works on the line, and so only where water was caught at the tank.
    """

    id: str
    words: str
    usual: float
    change: Callable[[RamCase, float], RamCase]
    show: Callable[[RamCase, float], Mapping[str, tuple[float, str]]]
    is_factor: bool = True
    most: float = 0.5
    at_tank: bool = False


@dataclass(frozen=True)
class Explanation:
    """A single change and how well it explains what was read.

    Attributes
    ----------
    cause : str
        A key of :data:`CAUSES`.
    reason : Reason
        In words, its size as data.
    explains : float
        Share of the misfit that it takes away, 0 to 1.
    all_in : bool
        Whether every figure read then lies within its band.
    """

    cause: str
    reason: Reason
    explains: float
    all_in: bool


def _stroke(case: RamCase, size: float) -> RamCase:
    return replace(case, build=case.build.retuned(stroke=case.build.waste_valve.stroke * math.exp(size)))


def _mass(case: RamCase, size: float) -> RamCase:
    return replace(case, build=case.build.retuned(mass=case.build.waste_valve.mass * math.exp(size)))


def _fall(case: RamCase, size: float) -> RamCase:
    return replace(case, supply=replace(case.supply, fall=case.supply.fall * math.exp(size)))


def _lift(case: RamCase, size: float) -> RamCase:
    assert case.line is not None
    return replace(case, line=replace(case.line, lift=case.line.lift * math.exp(size)))


def _factor(name: str, kind: str, value: Callable[[RamCase], float]) -> Callable[..., Mapping[str, tuple[float, str]]]:
    """Values of a factor: what it was taken for, and what it would have to be."""
    return lambda case, size: {"taken": (value(case), kind), "found": (value(case) * math.exp(size), kind)}


def _lift_of(case: RamCase) -> float:
    assert case.line is not None
    return case.line.lift


def _fault(name: str, words: str, usual: float, kind: str, at_tank: bool = False) -> Cause:
    """A fault of :mod:`clackwork.ram.faults` as a cause; a leak is shown as the round hole that would leak so."""
    fault = FAULTS[name]

    def show(case: RamCase, size: float) -> Mapping[str, tuple[float, str]]:
        hole = math.sqrt(4.0 * size / (math.pi * SHARP_HOLE))
        return {"found": (hole if kind == "small_length" else size, kind)}

    return Cause(name, words, usual, fault.apply, show, False, fault.largest, at_tank)


_OTHER = "would be explained by a {what} of {{found}} in place of {{taken}}"
CAUSES: Mapping[str, Cause] = MappingProxyType(
    {
        cause.id: cause
        for cause in (
            Cause(
                "stroke",
                _OTHER.format(what="stroke"),
                0.10,
                _stroke,
                _factor("stroke", "small_length", lambda case: case.build.waste_valve.stroke),
            ),
            Cause(
                "mass",
                _OTHER.format(what="moving mass"),
                0.05,
                _mass,
                _factor("mass", "mass", lambda case: case.build.waste_valve.mass),
            ),
            Cause("fall", _OTHER.format(what="fall"), 0.03, _fall, _factor("fall", "head", lambda c: c.supply.fall)),
            Cause("lift", _OTHER.format(what="lift"), 0.03, _lift, _factor("lift", "head", _lift_of), at_tank=True),
            _fault(
                "throttled_line",
                "would be explained by a delivery line partly shut, blocked or full of air: {found} velocity heads of loss",
                30.0,
                "count",
                True,
            ),
            _fault(
                "leaking_line",
                "would be explained by a delivery line that leaks on its way, through a hole {found} wide",
                2e-6,
                "small_length",
                True,
            ),
            _fault(
                "delivery_leak",
                "would be explained by a delivery valve that leaks back, as through a hole {found} wide",
                2e-6,
                "small_length",
            ),
            _fault(
                "worn_seat",
                "would be explained by a waste valve that leaks when shut, as through a hole {found} wide",
                2e-6,
                "small_length",
            ),
            _fault(
                "air_in_drive_pipe",
                "would be explained by air in the drive pipe: {found} of its water by volume",
                0.002,
                "fraction",
            ),
            _fault(
                "blocked_strainer",
                "would be explained by a blocked strainer or pipe mouth: {found} velocity heads of loss",
                3.0,
                "count",
            ),
        )
    }
)
"""Causes asked about. Their usual sizes: common practice, no published source."""


@dataclass(frozen=True)
class _Question:
    """What has to be explained: figures read, their bands, and what the engine gives with nothing changed."""

    case: RamCase
    compared: tuple[Compared, ...]
    base: Mapping[str, float]

    def widths(self, result: BeatResult) -> list[float]:
        """How far each figure read lies from a promise moved as the engine's own figures move."""
        found = []
        modelled = _figures(result)
        for one in self.compared:
            moved = _ratio(modelled[one.figure], self.base[one.figure])
            half = abs(one.measured.value - one.promised.middle) / abs(one.widths) if one.widths else 0.0
            if half == 0.0:  # read on the very middle: its band by the side it would leave it on
                half = max(one.promised.high - one.promised.middle, _NOTHING * abs(one.promised.middle))
            found.append((one.measured.value - one.promised.middle * moved) / half)
        return found

    def misfit(self, result: BeatResult) -> float:
        """Sum of squares of the widths; large where the pump stalls."""
        if not result.is_beating:
            return _STALLED
        return math.fsum(one**2 for one in self.widths(result))


def _ratio(new: float, old: float) -> float:
    return new / old if old > 0.0 else 1.0


def _figures(result: BeatResult) -> dict[str, float]:
    """Figures of settled beats as a visit reads them: a pump that takes water back delivers none."""
    return {
        "delivered_flow": max(result.delivered_flow, 0.0),
        "waste_flow": result.waste_flow,
        "beat_rate": result.beat_rate,
        "vessel_head": result.vessel_head,
    }


def _solved(cases: Sequence[RamCase]) -> list[BeatResult]:
    """Settled beats, with what a leaking line loses on its way taken off what is delivered."""
    found = []
    for case, result in zip(cases, settled_beats(cases), strict=True):
        line = case.line
        lost = line_leak(line, result.delivered_flow, case.water) if line is not None and line.leak_area else 0.0
        found.append(replace(result, delivered_flow=result.delivered_flow - lost) if lost else result)
    return found


def explain(
    twin: Twin,
    site: Site,
    readings: SiteReadings,
    compared: Sequence[Compared],
    standing: Standing | None = None,
    *,
    progress: Progress | None = None,
) -> tuple[Explanation, ...]:
    """Single changes that would bring the figures read into their bands, the best explanation first.

    Each cause's size is searched on the engine, at the twin's best values, for the least sum of squared widths. The causes
    are ranked by the least of that sum plus the square of the size over its usual one, so that of two that explain the
    readings alike the smaller change comes first. Causes that take away less than a quarter of the misfit are left out.

    Parameters
    ----------
    twin : Twin
    site : Site
        As designed.
    readings : SiteReadings
    compared : sequence of Compared
        As :func:`clackwork.site.commissioning.compare_with_promise` gives them.
    standing : Standing, optional
        What stands there.
    progress : callable, optional
        Called with (rounds done, all); may raise to stop.

    Returns
    -------
    tuple of Explanation
        Empty when every figure lies within its band, or the pump does not beat with nothing changed.
    """
    asked = tuple(one for one in compared if one.figure in INDEPENDENT and math.isfinite(one.widths))
    if all(one.is_in for one in asked):
        return ()
    day = site_on_day(site, readings, standing)
    build = twin_on_day(twin, readings, standing).build
    case = RamCase(build, day.drive_pipe, day.supply, day.surroundings, line=day.line)
    (base,) = _solved([case])
    if not base.is_beating:
        return ()
    question = _Question(case, asked, _figures(base))
    causes = [cause for cause in CAUSES.values() if not cause.at_tank or readings.caught_at == "tank"]
    tried = _search(question, causes, progress)
    before, found = question.misfit(base), []
    for cause in causes:
        size, result, left = _middle_of_the_best(tried[cause.id])
        cost = min(misfit + (tried_size / cause.usual) ** 2 for tried_size, _, misfit in tried[cause.id])
        share = 1.0 - left / before
        if share >= _LEAST_EXPLAINED:
            reason = Reason(f"explained_by_{cause.id}", "note", cause.words, dict(cause.show(case, size)))
            all_in = all(abs(one) <= 1.0 for one in question.widths(result))
            found.append((cost, Explanation(cause.id, reason, share, all_in)))
    return tuple(one for _, one in sorted(found, key=lambda pair: pair[0]))


def _middle_of_the_best(tried: Sequence[_Tried]) -> _Tried:
    """Of the sizes that explain as well as the best, which the engine's own steps order by chance, the middle one."""
    least = min(misfit for _, _, misfit in tried)
    alike = [one for one in tried if one[2] <= least + _ALIKE]
    middle = sum(size for size, _, _ in alike) / len(alike)
    return min(alike, key=lambda one: abs(one[0] - middle))


_Tried = tuple[float, BeatResult, float]


def _search(question: _Question, causes: Sequence[Cause], progress: Progress | None) -> dict[str, list[_Tried]]:
    """Every size tried of every cause with its result and misfit: a coarse net, then closer about the best."""
    tried: dict[str, list[_Tried]] = {cause.id: [] for cause in causes}
    for turn in range(_ROUNDS):
        sizes = [(cause, size) for cause in causes for size in _next_sizes(cause, tried[cause.id])]
        results = _solved([cause.change(question.case, size) for cause, size in sizes])
        for (cause, size), result in zip(sizes, results, strict=True):
            tried[cause.id].append((size, result, question.misfit(result)))
        if progress:
            progress(turn + 1, _ROUNDS)
    return tried


def _next_sizes(cause: Cause, tried: Sequence[_Tried]) -> list[float]:
    """Sizes to try: the net at first, then those half-way from the best to its neighbours."""
    if not tried:
        net = _SHARES if cause.is_factor else [cause.usual * one for one in _MULTIPLES]
        return [size for size in net if abs(size) <= cause.most]
    best = min(tried, key=lambda one: one[2])[0]
    sizes = sorted({0.0, *(size for size, _, _ in tried)})
    place = sizes.index(best)
    around = [sizes[at] for at in (place - 1, place + 1) if 0 <= at < len(sizes)]
    return [0.5 * (best + other) for other in around]
