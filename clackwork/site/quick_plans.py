"""Pumps along their lines of tunings: how many, and which tuning, for the water there."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from clackwork.ram.batch import Progress
from clackwork.ram.tuning import TuningBounds
from clackwork.site.site import Promise
from clackwork.site.tried import Layout, Tried, along, try_tunings

DRAWN_SPREAD = 0.05
"""Relative spread of what a pump draws that a tuning leaves room for; the promise then says how it is."""
ONE_MORE_PUMP = 0.15
"""Share of more delivery for which a further pump is worth its while: common practice, no published source."""
WANTED_SPARE = 1.15
"""Best delivery over what is wanted at which its 5 % point is likely to meet it."""
_ONE_SIDED = 1.645
"""Standard deviations from the middle to the 5 % point of a normal spread."""
_FEW_DRAWS = 0.97
"""Taken off what draws show, as they are few."""
_POINTS = 9
"""Tunings tried on the line of each pump at first."""
_BETWEEN = (-0.5, -0.25, 0.0, 0.25, 0.5)
"""Tunings tried about the chosen one, in steps of the first."""


@dataclass(frozen=True)
class Path:
    """A pump along its line of tunings, from the least stroke and mass (share 0) to the most (1).

    Attributes
    ----------
    layout : Layout
    bounds : TuningBounds
    shares : tuple of float
    tried : tuple of Tried
        At those shares.
    """

    layout: Layout
    bounds: TuningBounds
    shares: tuple[float, ...]
    tried: tuple[Tried, ...]

    def asked(self, share: float) -> tuple[Layout, float, float]:
        """What to try at a share."""
        bounds = self.bounds
        stroke = along(bounds.least_stroke, bounds.most_stroke, share)
        return self.layout, stroke, along(bounds.least_mass, bounds.most_mass, share)


@dataclass(frozen=True)
class Plan:
    """Like pumps at one tuning.

    Attributes
    ----------
    path : Path
    pumps : int
    share : float
        Where on the path.
    delivered_flow, drawn_flow : float
        Of one pump [m3/s].
    beat_rate : float
        [1/s]
    serves : bool
        Whether it delivers on even beats within its bounds and the water there.
    is_least : bool
        Whether no tuning of its path draws less.
    """

    path: Path
    pumps: int
    share: float
    delivered_flow: float
    drawn_flow: float
    beat_rate: float
    serves: bool
    is_least: bool = False

    @property
    def all_delivered(self) -> float:
        """Of all pumps [m3/s]."""
        return self.pumps * self.delivered_flow

    @property
    def stroke(self) -> float:
        """[m]"""
        return self.path.asked(self.share)[1]

    @property
    def mass(self) -> float:
        """[kg]"""
        return self.path.asked(self.share)[2]


def counted_on(source_flow: float, spread: float) -> float:
    """What may be drawn in the middle [m3/s], so that the source gives more than is drawn in 95 of 100 cases."""
    relative = spread / source_flow
    return source_flow * max(1.0 - _ONE_SIDED * math.hypot(relative, DRAWN_SPREAD), 0.05)


def room_shown(promise: Promise) -> float:
    """As :func:`counted_on`, with the spreads that the draws of a promise show [m3/s]."""
    there, drawn = promise.water_there, promise.water_needed
    spread = math.hypot(1.0 - there.low / there.middle, drawn.high / drawn.middle - 1.0)
    return _FEW_DRAWS * there.middle * max(1.0 - spread, 0.05)


def try_along(
    layouts: Sequence[Layout],
    bounds: Sequence[TuningBounds],
    *,
    workers: int | None = None,
    progress: Progress | None = None,
) -> list[Path]:
    """The paths of several pumps, tried in one batch."""
    shares = tuple(place / (_POINTS - 1) for place in range(_POINTS))
    bare = [Path(layout, each, shares, ()) for layout, each in zip(layouts, bounds, strict=True)]
    tried = try_tunings([path.asked(share) for path in bare for share in shares], workers=workers, progress=progress)
    return [
        replace(path, tried=tuple(tried[_POINTS * place : _POINTS * (place + 1)])) for place, path in enumerate(bare)
    ]


def plans_along(path: Path, drawn_at_most: float, most_pumps: int) -> list[Plan]:
    """The best plan of each number of pumps; where none serves the one that comes nearest, of one pump."""
    served = [(share, each) for share, each in zip(path.shares, path.tried, strict=True) if each.serves(path.bounds)]
    plans = []
    for pumps in range(1, most_pumps + 1):
        limit = drawn_at_most / pumps
        known = [(share, each.delivered_flow, each.drawn_flow, each.beat_rate) for share, each in served]
        between = [_meet(one, other, limit) for one, other in pairwise(known) if (one[2] > limit) != (other[2] > limit)]
        fits = [each for each in (*known, *between) if each[2] <= limit * (1.0 + 1e-9)]
        if fits:
            share, delivered, drawn, rate = max(fits, key=lambda each: each[1])
            plans.append(Plan(path, pumps, share, delivered, drawn, rate, True))
    return plans or [_nearest(path, [each for _, each in served])]


def _meet(one: tuple[float, ...], other: tuple[float, ...], limit: float) -> tuple[float, ...]:
    """The point between two at which the limit of drawn flow lies, straight between them."""
    weight = (limit - one[2]) / (other[2] - one[2])
    return tuple(a + weight * (b - a) for a, b in zip(one, other, strict=True))


def _nearest(path: Path, served: Sequence[Tried]) -> Plan:
    """One pump where nothing serves: that which draws least, of those that serve else, or deliver, or of all."""
    delivering = [each for each in path.tried if each.delivers]
    among = list(served) or delivering or list(path.tried)
    least = min(among, key=lambda each: each.drawn_flow if each.drawn_flow > 0.0 else math.inf)
    share = path.shares[path.tried.index(least)]
    delivered = least.delivered_flow if least.delivers else 0.0
    return Plan(path, 1, share, delivered, least.drawn_flow, least.beat_rate, False, is_least=bool(delivering))


def choose_plan(plans: Sequence[Plan], wanted_flow: float | None) -> tuple[Plan, bool]:
    """The plan to promise, and whether it was kept small because no more is wanted.

    Fewest pumps that are likely to give what is wanted; else as many as are each worth their while.
    """
    served = [plan for plan in plans if plan.serves]
    if not served:
        return max(plans, key=lambda plan: (plan.delivered_flow > 0.0, -plan.drawn_flow)), False
    by_count = {
        count: max((plan for plan in served if plan.pumps == count), key=lambda plan: plan.delivered_flow)
        for count in sorted({plan.pumps for plan in served})
    }
    best = _worth_while(list(by_count.values()))
    if wanted_flow is not None:
        enough = [plan for plan in by_count.values() if plan.all_delivered >= WANTED_SPARE * wanted_flow]
        if enough and enough[0].pumps <= best.pumps:
            return enough[0], enough[0].all_delivered < 0.95 * max(plan.all_delivered for plan in by_count.values())
        if enough:
            return enough[0], False
    return best, False


def _worth_while(rising: Sequence[Plan]) -> Plan:
    """Of plans with ever more pumps, the last one whose further pumps are each worth their while."""
    best = rising[0]
    for plan in rising[1:]:
        if plan.all_delivered >= best.all_delivered * (1.0 + ONE_MORE_PUMP * (plan.pumps - best.pumps)):
            best = plan
    return best


def best_of_builds(plans: Sequence[Plan], wanted_flow: float | None, but: str) -> tuple[tuple[str, int, float], ...]:
    """The choice among the plans of every other build: name, pumps, best delivery [m3/day], most first."""
    by_build: dict[str, list[Plan]] = {}
    for plan in plans:
        by_build.setdefault(plan.path.layout.twin.build.name, []).append(plan)
    found = []
    for name, mine in by_build.items():
        if name != but:
            chosen, _ = choose_plan(mine, wanted_flow)
            found.append((name, chosen.pumps, 86400.0 * chosen.all_delivered if chosen.serves else 0.0))
    return tuple(sorted(found, key=lambda each: -each[2]))


def replan(plan: Plan, drawn_at_most: float) -> Plan:
    """The plan of the same pump for less water: as many of them where they serve, else the best number up to that."""
    plans = plans_along(plan.path, drawn_at_most, plan.pumps)
    return plans[-1]


def refine_plan(plan: Plan, drawn_at_most: float, *, workers: int | None = None) -> tuple[Plan, int]:
    """The plan with its tuning looked for between the points first tried, and the engine runs that took."""
    if not plan.serves:
        return plan, 0
    path, limit = plan.path, drawn_at_most / plan.pumps
    step = 1.0 / (_POINTS - 1)
    shares = sorted({min(max(plan.share + step * each, 0.0), 1.0) for each in _BETWEEN})
    tried = try_tunings([path.asked(share) for share in shares], workers=workers)
    pairs = [*zip(shares, tried, strict=True), *zip(path.shares, path.tried, strict=True)]
    fits = [
        (share, each) for share, each in pairs if each.serves(path.bounds) and each.drawn_flow <= limit * (1.0 + 1e-3)
    ]
    if not fits:
        return plan, len(shares)
    share, best = max(fits, key=lambda pair: pair[1].delivered_flow)
    found = replace(
        plan,
        share=share,
        delivered_flow=best.delivered_flow,
        drawn_flow=best.drawn_flow,
        beat_rate=best.beat_rate,
    )
    return found, len(shares)
