"""The answer on the phone: fall, flow, lift and distance in; yes, only if or no, and how much, out; by engine runs.

Every pump is tried along one line of tunings, from the least stroke and weight to the most: at a place what a pump
delivers hangs on what it draws, and little on which mix of stroke and weight makes it draw so much. The best point of
that line that the source can feed is found between the points tried by further runs, and then promised with the draws
of its twin.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial

from clackwork.errors import InputError, require_range
from clackwork.pipes import Pipe
from clackwork.ram.parts import Build, DeliveryLine, DrivePipe, Surroundings
from clackwork.ram.tuning import TuningBounds
from clackwork.site import told
from clackwork.site.design import Assumed
from clackwork.site.laying import ENTRY_LOSS, HEAD_OVER_LIFT, laid_length, size_line, size_supply, usual_standpipe
from clackwork.site.limits import conditions_of, limit_of, with_conditions
from clackwork.site.promise import ENOUGH, make_promise
from clackwork.site.quick_plans import (
    Plan,
    best_of_builds,
    choose_plan,
    counted_on,
    plans_along,
    refine_plan,
    replan,
    room_shown,
    try_along,
)
from clackwork.site.site import Promise, Reason, Site
from clackwork.site.stock import Stock, fitting_bores, usual_stock
from clackwork.site.tried import Layout, retuned_twin
from clackwork.twin.twin import Twin
from clackwork.water import Water, water_at

WHY = {
    **told.WHY,
    "drive_pipe": "of the series first in the stock, the bore nearest to that of the waste valve's seat",
    "drive_length": "the distance to the source where it is 3 to 12 times the fall, else 5 times the fall: the engine "
    "delivers most on the shortest pipe that keeps the beats within the published band",
    "supply_length": "what is left of the distance to the source, to a standpipe",
    "supply_pipe": "the narrowest that loses at most 3 % of the fall",
    "standpipe_diameter": "the narrowest in the stock that a beat lowers by at most 2 % of the fall",
    "delivery_pipe": "the narrowest in the stock that bears the head and loses at most a tenth of the lift",
    "fittings_loss": "a usual number of bends and valves, in velocity heads",
    "temperature": "of the water: cool springs",
    "altitude": "sea level; a thousand metres change little but the suction",
    "least_stroke": "of the build's own, as far as it may be retuned",
    "most_stroke": "of the build's own, as far as it may be retuned",
    "least_mass": "of the build's own, as far as it may be retuned",
    "most_mass": "of the build's own, as far as it may be retuned",
    "lowest_beat_rate": "published bands of beats: 20-100 (NC State EBAE 161-92), 40-120 (Ethiopian hydram paper)",
    "highest_beat_rate": "published bands of beats: 20-100 (NC State EBAE 161-92), 40-120 (Ethiopian hydram paper)",
    "most_pumps": "more side by side are another job",
}
"""Why each assumption is as it is, by what is assumed."""


@dataclass(frozen=True)
class QuickAsk:
    """What a customer says on the phone.

    Attributes
    ----------
    fall : float
        Source surface above the pump's spill level [m].
    source_flow : float
        What the source gives in the time it is asked for [m3/s].
    lift : float
        Outlet above the pump's spill level [m].
    line_length : float
        Of the delivery line [m].
    ground_to_source : float or None
        From the pump to the source along the ground [m]; None when it was not said.
    wanted_flow : float or None
        Delivered flow that is wanted [m3/s]; None when nothing was said.
    fall_spread, source_flow_spread, lift_spread : float or None
        Standard uncertainties [m], [m3/s], [m]; None for those of figures told without limits.
    lift_from_source : bool
        Whether the fall was added to a height above the source: both are then off together.
    """

    fall: float
    source_flow: float
    lift: float
    line_length: float
    ground_to_source: float | None = None
    wanted_flow: float | None = None
    fall_spread: float | None = None
    source_flow_spread: float | None = None
    lift_spread: float | None = None
    lift_from_source: bool = False

    def __post_init__(self) -> None:
        require_range("fall", self.fall, 0.1, 60.0, "m", "Fall is from the source down to the pump.")
        require_range("source_flow", self.source_flow, 1e-6, 1.0, "m3/s", "Time how long it takes to fill a bucket.")
        require_range("lift", self.lift, 0.2, 400.0, "m", "Lift is from the pump up to the outlet.")
        if self.lift <= self.fall:
            raise InputError(
                "lift",
                f"{self.lift:g} m",
                f"it must be above the fall of {self.fall:g} m, else water runs there by itself",
                "Lift is the height of the outlet above the pump: add the fall if you measured from the source.",
            )
        require_range(
            "line_length", self.line_length, 0.99 * self.lift, 20000.0, "m", "A line is as long as it climbs at least."
        )
        if self.ground_to_source is not None:
            require_range(
                "ground_to_source",
                self.ground_to_source,
                0.99 * self.fall,
                2000.0,
                "m",
                "The way to the source is as long as its fall at least; leave it out when it is not known.",
            )
        if self.wanted_flow is not None:
            require_range("wanted_flow", self.wanted_flow, 1e-9, 1.0, "m3/s", "Leave it out when nothing was asked.")


@dataclass(frozen=True)
class QuickAssumptions:
    """What the caller sets of that which else is assumed; None leaves it to :func:`quick_answer`.

    Attributes
    ----------
    drive_pipes : mapping of str to Pipe
        By the name of the build: that of its rig is a good one.
    drive_length, supply_length : float or None
        [m]
    supply_pipe, delivery_pipe : Pipe or None
    standpipe_diameter : float or None
        [m]
    fittings_loss : float or None
        Of the delivery line, in velocity heads.
    temperature, altitude : float or None
        [K], [m]
    stock : Stock or None
        Sizes to choose from, bounds of tuning, most pumps.
    """

    drive_pipes: Mapping[str, Pipe] = field(default_factory=dict)
    drive_length: float | None = None
    supply_length: float | None = None
    supply_pipe: Pipe | None = None
    delivery_pipe: Pipe | None = None
    standpipe_diameter: float | None = None
    fittings_loss: float | None = None
    temperature: float | None = None
    altitude: float | None = None
    stock: Stock | None = None


@dataclass(frozen=True)
class QuickAnswer:
    """The answer, its range, and what it rests on.

    Attributes
    ----------
    answer : str
        "yes", "only if" or "no".
    twin_name : str
        Build whose twin it rests on.
    build : Build
        With the tuning it takes.
    pumps : int
        Side by side.
    promise : Promise
        Of all pumps together: litres a day, water needed and there, efficiency by name, beats, peaks.
    site : Site
        The place with the pipes assumed.
    limit : Reason or None
        The one thing that limits it.
    reasons : tuple of Reason
        Those of the promise, and by how much conditions are missed, hardest first.
    assumed : tuple of Assumed
        Everything not asked and not set.
    others : tuple of (str, int, float)
        The other builds: name, pumps and best delivery [m3/day], most first; 0 where they do not serve.
    engine_runs : int
    """

    answer: str
    twin_name: str
    build: Build
    pumps: int
    promise: Promise
    site: Site
    limit: Reason | None
    reasons: tuple[Reason, ...]
    assumed: tuple[Assumed, ...]
    others: tuple[tuple[str, int, float], ...]
    engine_runs: int


@dataclass(frozen=True)
class _Place:
    """What was said, with what is assumed about it."""

    ask: QuickAsk
    assume: QuickAssumptions
    stock: Stock
    spreads: Mapping[str, float]
    surroundings: Surroundings
    drive_length: float
    supply_length: float

    @property
    def water(self) -> Water:
        return water_at(self.surroundings.temperature, self.surroundings.altitude)

    def layout(self, twin: Twin) -> Layout:
        """A pump there, the head of a usual line held."""
        build = twin.build
        first = self.stock.drive_pipes[0].series
        sizes = tuple(pipe for pipe in self.stock.drive_pipes if pipe.series == first)
        pipe = self.assume.drive_pipes.get(build.name) or fitting_bores(build, sizes)[0]
        drive_pipe = DrivePipe(pipe, self.drive_length, ENTRY_LOSS)
        head = HEAD_OVER_LIFT * self.ask.lift
        return Layout(twin, drive_pipe, self.ask.fall, head, self.surroundings)


def quick_answer(
    twins: Sequence[Twin],
    ask: QuickAsk,
    assume: QuickAssumptions | None = None,
    *,
    draws: int = 40,
    seed: int = 1,
    workers: int | None = None,
) -> QuickAnswer:
    """Answer a call: which pump, how many, how much a day with its range, and what limits it.

    Parameters
    ----------
    twins : sequence of Twin
        One at least.
    ask : QuickAsk
    assume : QuickAssumptions, optional
    draws : int
        Of the twin, for the ranges; the same ones for every answer of a seed, so that answers change smoothly.
    seed : int
    workers : int, optional
        Threads; all cores when not given. The answer is the same for any number.

    Raises
    ------
    InputError
        When a value is out of range or there is no twin.
    """
    if not twins:
        raise InputError("twins", "(none)", "it takes one fitted pump at least", "Test a pump and fit it.")
    place = _place(ask, assume or QuickAssumptions())
    bounds = [place.stock.bounds_of(twin.build) for twin in twins]
    paths = try_along([place.layout(twin) for twin in twins], bounds, workers=workers)
    drawn_at_most = counted_on(ask.source_flow, place.spreads["source_flow"])
    plans = [plan for path in paths for plan in plans_along(path, drawn_at_most, place.stock.most_pumps)]
    chosen, enough = choose_plan(plans, ask.wanted_flow)
    promised = partial(_promised, place, draws=draws, seed=seed, workers=workers)
    promise, site, chosen, runs = promised(chosen, drawn_at_most)
    if chosen.serves and promise.share_enough_water < ENOUGH:
        room = min(room_shown(promise), 0.97 * drawn_at_most)
        promise, site, chosen, more = promised(replan(chosen, room), room)
        runs += more
    twin = retuned_twin(chosen.path.layout.twin, chosen.stroke, chosen.mass)
    conditions = conditions_of(promise, site, ask.ground_to_source, least_tuning=chosen.is_least)
    reasons = with_conditions(promise.reasons, conditions)
    return QuickAnswer(
        answer=promise.answer,
        twin_name=twin.build.name,
        build=twin.build,
        pumps=chosen.pumps,
        promise=promise,
        site=site,
        limit=limit_of(promise, site, reasons, enough),
        reasons=reasons,
        assumed=_assumed(place, site, chosen.path.bounds),
        others=best_of_builds(plans, ask.wanted_flow, twin.build.name),
        engine_runs=sum(len(path.tried) for path in paths) + runs,
    )


def _promised(
    place: _Place, plan: Plan, drawn_at_most: float, *, draws: int, seed: int, workers: int | None
) -> tuple[Promise, Site, Plan, int]:
    """What is promised of a plan tuned finely, the place with its pipes, that plan, and the engine runs it took."""
    plan, runs = refine_plan(plan, drawn_at_most, workers=workers)
    site = _site(place, plan)
    twin = retuned_twin(plan.path.layout.twin, plan.stroke, plan.mass)
    promise = make_promise(twin, site, pumps=plan.pumps, draws=draws, seed=seed, workers=workers)
    return promise, site, plan, runs + draws + 1


def _place(ask: QuickAsk, assume: QuickAssumptions) -> _Place:
    """Spreads, surroundings and lengths, as set or assumed."""
    fall = told.FALL_SPREAD * ask.fall if ask.fall_spread is None else ask.fall_spread
    lift = told.LIFT_SPREAD * ask.lift
    if ask.lift_from_source:
        lift = math.hypot(told.LIFT_SPREAD * (ask.lift - ask.fall), fall)
    spreads = {
        "fall": fall,
        "lift": lift if ask.lift_spread is None else ask.lift_spread,
        "source_flow": told.FLOW_SPREAD * ask.source_flow if ask.source_flow_spread is None else ask.source_flow_spread,
    }
    usual = Surroundings()
    surroundings = Surroundings(
        usual.temperature if assume.temperature is None else assume.temperature,
        usual.altitude if assume.altitude is None else assume.altitude,
    )
    drive_length, supply_length = laid_length(ask.fall, ask.ground_to_source)
    if assume.drive_length is not None:
        drive_length, supply_length = assume.drive_length, 0.0
        if ask.ground_to_source is not None and ask.ground_to_source > assume.drive_length:
            supply_length = ask.ground_to_source - assume.drive_length
    if assume.supply_length is not None:
        supply_length = assume.supply_length
    stock = assume.stock or usual_stock()
    return _Place(ask, assume, stock, spreads, surroundings, drive_length, supply_length)


def _site(place: _Place, chosen: Plan) -> Site:
    """The place with pipes sized for what the pumps draw and deliver."""
    ask, assume, stock, water = place.ask, place.assume, place.stock, place.water
    delivered, drawn = chosen.all_delivered, chosen.pumps * chosen.drawn_flow
    line = size_line(
        (assume.delivery_pipe,) if assume.delivery_pipe else stock.delivery_pipes,
        ask.line_length,
        ask.lift,
        delivered,
        water,
        place.surroundings.temperature,
    )
    if assume.fittings_loss is not None:
        line = DeliveryLine(line.pipe, line.length, line.lift, assume.fittings_loss)
    supply_pipes = (assume.supply_pipe,) if assume.supply_pipe else stock.supply_pipes
    feed = size_supply(supply_pipes, place.supply_length, ask.fall, drawn, water)
    site = Site(
        name="on the phone",
        fall=ask.fall,
        source_flow=ask.source_flow,
        drive_pipe=chosen.path.layout.drive_pipe,
        line=line,
        fall_spread=place.spreads["fall"],
        source_flow_spread=place.spreads["source_flow"],
        lift_spread=place.spreads["lift"],
        lift_with_fall=min(place.spreads["fall"], place.spreads["lift"]) if ask.lift_from_source else 0.0,
        surroundings=place.surroundings,
        wanted_flow=ask.wanted_flow,
    )
    if feed is None:
        return site
    diameter = assume.standpipe_diameter or usual_standpipe(
        stock.standpipe_diameters, ask.fall, drawn, chosen.beat_rate
    )
    return replace(site, feed=feed, standpipe_area=0.25 * math.pi * diameter**2)


def _assumed(place: _Place, site: Site, bounds: TuningBounds) -> tuple[Assumed, ...]:
    """Everything not asked and not set, as data."""
    ask, assume = place.ask, place.assume

    def pipe_words(pipe: Pipe) -> str:
        return f"{pipe.series}, {pipe.size}"

    build = place.stock.bounds
    found: list[tuple[str, bool, float | str, str]] = [
        ("fall_spread", ask.fall_spread is None, place.spreads["fall"], "head"),
        ("lift_spread", ask.lift_spread is None, place.spreads["lift"], "head"),
        ("source_flow_spread", ask.source_flow_spread is None, place.spreads["source_flow"], "volume_flow"),
        (
            "drive_pipe",
            site.drive_pipe.pipe not in assume.drive_pipes.values(),
            pipe_words(site.drive_pipe.pipe),
            "pipe",
        ),
        ("drive_length", assume.drive_length is None, site.drive_pipe.length, "length"),
        ("delivery_pipe", assume.delivery_pipe is None, pipe_words(site.line.pipe), "pipe"),
        ("fittings_loss", assume.fittings_loss is None, site.line.fittings_loss, "count"),
        ("temperature", assume.temperature is None, site.surroundings.temperature, "temperature"),
        ("altitude", assume.altitude is None, site.surroundings.altitude, "length"),
        ("most_pumps", assume.stock is None, float(place.stock.most_pumps), "count"),
    ]
    if site.feed is not None:
        diameter = math.sqrt(site.standpipe_area / (0.25 * math.pi))
        found += [
            ("supply_length", assume.supply_length is None, site.feed.length, "length"),
            ("supply_pipe", assume.supply_pipe is None, pipe_words(site.feed.pipe), "pipe"),
            ("standpipe_diameter", assume.standpipe_diameter is None, diameter, "small_length"),
        ]
    unset = not build
    found += [
        ("least_stroke", unset, bounds.least_stroke, "small_length"),
        ("most_stroke", unset, bounds.most_stroke, "small_length"),
        ("least_mass", unset, bounds.least_mass, "mass"),
        ("most_mass", unset, bounds.most_mass, "mass"),
        ("lowest_beat_rate", unset, bounds.lowest_beat_rate, "beat_rate"),
        ("highest_beat_rate", unset, bounds.highest_beat_rate, "beat_rate"),
    ]
    return tuple(Assumed(what, value, kind, WHY[what]) for what, is_assumed, value, kind in found if is_assumed)
