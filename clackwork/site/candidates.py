"""What a search of a place tries: every pump on every sensible drive pipe, and the tunings worth a closer look."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

from clackwork.ram.batch import Progress
from clackwork.ram.parts import DrivePipe
from clackwork.ram.tuning import TuningBounds
from clackwork.site.laying import ENTRY_LOSS, HEAD_OVER_LIFT, SUPPLY_SHARE, tried_lengths
from clackwork.site.place import Place
from clackwork.site.promise import SECONDS_A_DAY
from clackwork.site.quick_plans import WANTED_SPARE, Path, Plan, plans_along, room_shown, try_along
from clackwork.site.site import Promise
from clackwork.site.stock import Stock, fitting_bores
from clackwork.site.tried import Layout, Tried, along, try_tunings
from clackwork.twin.twin import Twin

LEAST_SHARE = 0.6
"""Share of the most that can be delivered below which a design is no answer where nothing was asked for."""
_SIZES = 2
"""Sizes of each series tried on a pump."""
_KEPT = 3
"""Candidates of each aim that are looked at more closely."""
_STEPS = (1.0 / 8.0, 1.0 / 16.0)
"""Steps about a tuning, as shares of the bounds' logarithm, of two rounds."""

_LESS = 0.97
"""Of what was allowed before, at most, where that was too much."""
_BAND_POINTS = 9
"""Tunings tried along stroke and along mass for a band."""

CandidateCost = Callable[["Candidate"], float]


@dataclass(frozen=True)
class Candidate:
    """Like pumps at one tuning on one layout of pipes.

    Attributes
    ----------
    path : Path
        Pump and drive pipe.
    supply_length : float
        Of supply pipe to a standpipe [m]; 0 for none.
    pumps : int
    stroke, mass : float
        [m], [kg]
    delivered_flow, drawn_flow : float
        Of one pump [m3/s].
    beat_rate : float
        [1/s]
    aim : str
        Of :data:`clackwork.site.design.AIMS`; what its tuning is best for.
    serves : bool
        Whether it delivers on even beats within its bounds, and the source gives what it draws.
    drawn_at_most : float
        By all pumps, with room for what is not known of source and pumps [m3/s].
    is_least : bool
        Whether its pump cannot be tuned to draw less.
    """

    path: Path
    supply_length: float
    pumps: int
    stroke: float
    mass: float
    delivered_flow: float
    drawn_flow: float
    beat_rate: float
    aim: str
    serves: bool
    drawn_at_most: float
    is_least: bool = False

    @property
    def layout(self) -> Layout:
        """Pump and drive pipe."""
        return self.path.layout

    @property
    def twin(self) -> Twin:
        """Of its pump."""
        return self.layout.twin

    @property
    def all_delivered(self) -> float:
        """Of all pumps [m3/s]."""
        return self.pumps * self.delivered_flow

    @property
    def all_drawn(self) -> float:
        """By all pumps [m3/s]."""
        return self.pumps * self.drawn_flow


@dataclass(frozen=True)
class Asked:
    """What candidates are held against.

    Attributes
    ----------
    drawn_at_most : float
        By all pumps [m3/s].
    wanted_flow : float or None
        [m3/s]
    most : float
        Most that any candidate delivers [m3/s].
    price : callable or None
        Yearly cost of a candidate; None without a price list.
    spare : float
        Delivery over what is wanted that counts as enough: 1 for flows on the safe side.
    """

    drawn_at_most: float
    wanted_flow: float | None
    most: float = 0.0
    price: CandidateCost | None = None
    spare: float = WANTED_SPARE

    def gives_enough(self, candidate: Candidate) -> bool:
        """Whether it is likely to give what is wanted, or a fair share of the most where nothing was asked for."""
        least = LEAST_SHARE * self.most if self.wanted_flow is None else self.spare * self.wanted_flow
        return candidate.all_delivered >= least

    def merit(self, candidate: Candidate, aim: str, cost: float | None = None) -> tuple[float, ...]:
        """What is to be as large as can be: who gives enough goes before who does not, and that one delivers most.

        ``cost`` is the yearly cost where it is known better than by ``price``.
        """
        enough = self.gives_enough(candidate)
        if aim == "delivery" or not enough:
            return (float(enough and aim != "delivery"), candidate.all_delivered)
        if aim == "cost":
            if cost is None:
                assert self.price is not None
                cost = self.price(candidate)
            return (1.0, -cost if self.wanted_flow is not None else -cost / candidate.all_delivered)
        drawn = candidate.all_drawn
        return (1.0, -drawn if self.wanted_flow is not None else candidate.all_delivered / drawn)


def coarse_paths(
    place: Place, twins: Sequence[Twin], stock: Stock, workers: int | None, progress: Progress | None
) -> list[tuple[Path, float]]:
    """Every pump on every drive pipe along its line of tunings, in one batch; each with the length of its supply pipe."""
    layouts: list[Layout] = []
    bounds: list[TuningBounds] = []
    supplies: list[float] = []
    for twin in twins:
        for pipe in fitting_bores(twin.build, stock.drive_pipes, _SIZES):
            for length, supply in tried_lengths(place.fall, place.survey.ground_to_source):
                layouts.append(layout_of(place, twin, DrivePipe(pipe, length, ENTRY_LOSS), supply))
                bounds.append(stock.bounds_of(twin.build))
                supplies.append(supply)
    return list(zip(try_along(layouts, bounds, workers=workers, progress=progress), supplies, strict=True))


def layout_of(place: Place, twin: Twin, drive_pipe: DrivePipe, supply_length: float) -> Layout:
    """A pump there against a usual line, with what a supply pipe is sized to lose taken off the fall."""
    fall = place.fall * (1.0 - SUPPLY_SHARE) if supply_length > 0.0 else place.fall
    return Layout(twin, drive_pipe, fall, HEAD_OVER_LIFT * place.lift, place.surroundings)


def _from_plan(plan: Plan, supply_length: float, aim: str, drawn_at_most: float) -> Candidate:
    return Candidate(
        plan.path,
        supply_length,
        plan.pumps,
        plan.stroke,
        plan.mass,
        plan.delivered_flow,
        plan.drawn_flow,
        plan.beat_rate,
        aim,
        plan.serves,
        drawn_at_most,
        plan.is_least,
    )


def _from_tried(like: Candidate, tried: Tried) -> Candidate:
    return replace(
        like,
        stroke=tried.stroke,
        mass=tried.mass,
        delivered_flow=tried.delivered_flow,
        drawn_flow=tried.drawn_flow,
        beat_rate=tried.beat_rate,
    )


def first_candidates(
    paths: Iterable[tuple[Path, float]], asked: Asked, most_pumps: int, aims: Sequence[str]
) -> tuple[list[Candidate], Asked]:
    """The best few of every aim: of each pump, number and series of drive pipe the best, and of those the best few.

    Returns
    -------
    candidates : list of Candidate
        Best first within each aim; one that does not serve where none does.
    asked : Asked
        With the most that can be delivered.
    """
    plans = [(plan, supply) for path, supply in paths for plan in plans_along(path, asked.drawn_at_most, most_pumps)]
    served = [(plan, supply) for plan, supply in plans if plan.serves]
    if not served:
        plan, supply = max(plans, key=lambda pair: (pair[0].delivered_flow > 0.0, -pair[0].drawn_flow))
        return [_from_plan(plan, supply, "delivery", asked.drawn_at_most)], asked
    asked = replace(asked, most=max(plan.all_delivered for plan, _ in served))
    found = []
    for aim in aims:
        best: dict[tuple[str, int, str], Candidate] = {}
        for candidate in _every_tuning(served, aim, asked):
            key = (candidate.twin.build.name, candidate.pumps, candidate.layout.drive_pipe.pipe.series)
            if key not in best or asked.merit(candidate, aim) > asked.merit(best[key], aim):
                best[key] = candidate
        ranked = sorted(best.values(), key=lambda each: asked.merit(each, aim), reverse=True)
        found += ranked[:_KEPT]
    return found, asked


def _every_tuning(served: Sequence[tuple[Plan, float]], aim: str, asked: Asked) -> Iterable[Candidate]:
    """Plans at their best for delivery, and for other aims at every tuning of their path that the source feeds."""
    for plan, supply in served:
        most = _from_plan(plan, supply, aim, asked.drawn_at_most)
        yield most
        if aim == "delivery":
            continue
        for tried in plan.path.tried:
            if tried.serves(plan.path.bounds) and plan.pumps * tried.drawn_flow <= asked.drawn_at_most:
                yield _from_tried(most, tried)


def refine(
    candidates: Sequence[Candidate], asked: Asked, workers: int | None, progress: Progress | None
) -> tuple[list[Candidate], int]:
    """Tunings about each candidate's, over stroke and mass, each batch on all cores.

    Returns
    -------
    candidates : list of Candidate
        In the order given, each at the best tuning found.
    runs : int
        Of the engine.
    """
    now = list(candidates)
    done = 0
    total = len(_STEPS) * 9 * len(now)
    for step in _STEPS:
        wanted = [(place, pair) for place, each in enumerate(now) if each.serves for pair in _about(each, step)]
        batch = [(now[place].layout, *pair) for place, pair in wanted]
        before = done

        def report(part: int, _: int, before: int = before) -> None:
            if progress:
                progress(min(before + part, total), total)

        tried = try_tunings(batch, workers=workers, progress=report) if batch else []
        done += len(batch)
        better: dict[int, list[Candidate]] = {}
        for (place, _), each in zip(wanted, tried, strict=True):
            candidate = _from_tried(now[place], each)
            if each.serves(candidate.path.bounds) and candidate.all_drawn <= candidate.drawn_at_most * (1.0 + 1e-3):
                better.setdefault(place, []).append(candidate)
        for place, found in better.items():
            now[place] = max(found, key=lambda each: asked.merit(each, each.aim))
    return now, done


def with_less_water(candidate: Candidate, promise: Promise) -> Candidate:
    """The candidate with the room that a promise shows its draws to need."""
    room = min(room_shown(promise), _LESS * candidate.drawn_at_most)
    return replace(candidate, drawn_at_most=room)


def _about(candidate: Candidate, step: float) -> list[tuple[float, float]]:
    """Strokes and masses a step down, at and up from a candidate's, within its bounds."""
    bounds = candidate.path.bounds

    def beside(value: float, low: float, high: float) -> list[float]:
        factor = along(1.0, high / low, step)
        return sorted({min(max(value * by, low), high) for by in (1.0 / factor, 1.0, factor)})

    strokes = beside(candidate.stroke, bounds.least_stroke, bounds.most_stroke)
    masses = beside(candidate.mass, bounds.least_mass, bounds.most_mass)
    return [(stroke, mass) for stroke in strokes for mass in masses]


def tuning_bands(
    chosen: Sequence[tuple[Candidate, float]], drawn_limit: float, workers: int | None
) -> tuple[list[tuple[tuple[float, float], tuple[float, float]]], int]:
    """Strokes [m] and masses [kg] within which each candidate keeps 95 % of its delivery and the source feeds it.

    Parameters
    ----------
    chosen : sequence of (Candidate, float)
        With the vessel head at which it stands [m].
    drawn_limit : float
        By all pumps [m3/s].
    workers : int or None

    Returns
    -------
    list of ((low, high), (low, high))
        Of stroke and mass.
    runs : int
    """
    shares = [place / (_BAND_POINTS - 1) for place in range(_BAND_POINTS)]
    batch: list[tuple[Layout, float, float]] = []
    for each, head in chosen:
        layout, bounds = replace(each.layout, vessel_head=head), each.path.bounds
        strokes = [along(bounds.least_stroke, bounds.most_stroke, share) for share in shares]
        masses = [along(bounds.least_mass, bounds.most_mass, share) for share in shares]
        batch.append((layout, each.stroke, each.mass))
        batch += [(layout, stroke, each.mass) for stroke in strokes]
        batch += [(layout, each.stroke, mass) for mass in masses]
    tried = try_tunings(batch, workers=workers)
    bands, size = [], 1 + 2 * _BAND_POINTS
    for place, (each, _) in enumerate(chosen):
        best, *rest = tried[place * size : (place + 1) * size]
        limit = max(drawn_limit / each.pumps, best.drawn_flow)

        def holds(one: Tried, best: Tried = best, limit: float = limit) -> float:
            if not one.delivers:
                return -1.0
            return min(one.delivered_flow / best.delivered_flow - 0.95, limit / one.drawn_flow - 1.0 + 1e-9)

        strokes_tried = [*((one.stroke, holds(one)) for one in rest[:_BAND_POINTS]), (best.stroke, 0.05)]
        masses_tried = [*((one.mass, holds(one)) for one in rest[_BAND_POINTS:]), (best.mass, 0.05)]
        bands.append((_band(strokes_tried, best.stroke), _band(masses_tried, best.mass)))
    return bands, len(batch)


def _band(points: Sequence[tuple[float, float]], best: float) -> tuple[float, float]:
    """The stretch about ``best`` over which a margin stays at or above nothing, straight between points."""
    rising = sorted(points)
    at = [place for place, _ in rising].index(best)

    def reach(order: Sequence[tuple[float, float]]) -> float:
        last, margin = order[0]
        for value, other in order[1:]:
            if other < 0.0:
                return last + (value - last) * margin / (margin - other) if other > -1.0 else last
            last, margin = value, max(other, 0.0)
        return last

    return reach(rising[at::-1]), reach(rising[at:])


def by_length(each: Candidate, curve: Sequence[Path]) -> tuple[tuple[float, float, float], ...]:
    """What a candidate's number of its pump would deliver on drive pipes of other lengths.

    Parameters
    ----------
    each : Candidate
    curve : sequence of Path
        Of its pump and size of pipe.

    Returns
    -------
    tuple of (float, float, float)
        Length [m]; delivery at the best tuning that the source feeds, at whatever rate of even beats [m3/day], 0 where
        none serves; and that rate [1/s].
    """
    found: dict[float, tuple[float, float]] = {}
    for path in curve:
        bounds = replace(path.bounds, lowest_beat_rate=0.0, highest_beat_rate=math.inf)
        plans = plans_along(replace(path, bounds=bounds), each.drawn_at_most, each.pumps)
        served = [(plan.all_delivered, plan.beat_rate) for plan in plans if plan.serves and plan.pumps == each.pumps]
        length = path.layout.drive_pipe.length
        found[length] = max(found.get(length, (0.0, 0.0)), max(served, default=(0.0, 0.0)))
    return tuple((length, SECONDS_A_DAY * flow, rate) for length, (flow, rate) in sorted(found.items()))
