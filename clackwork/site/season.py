"""What to do as the source falls: month by month, how many pumps run and how they are tuned."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from clackwork.errors import InputError, require_range
from clackwork.ram.batch import Progress
from clackwork.ram.engine import RamCase
from clackwork.ram.operating import settled_beats
from clackwork.ram.parts import DeliveryLine
from clackwork.ram.sensitivity import opening_load
from clackwork.ram.shared import line_share
from clackwork.ram.tuning import TuningBounds
from clackwork.site.check_reasons import check_reason
from clackwork.site.design import MonthPlan
from clackwork.site.needs import Needs
from clackwork.site.site import Reason

SECONDS_A_DAY = 86400.0
MONTH_WORDS = {
    "as designed": "run as designed",
    "shorter stroke": "shorten the stroke",
    "less weight": "take weight off",
    "shorter stroke, less weight": "shorten the stroke and take weight off",
    "other tuning": "set the tuning given",
    "pumps off": "shut a pump off and run the others as designed",
    "pumps off, other tuning": "shut a pump off and set the others to the tuning given",
    "all off": "shut the pump: the source gives less than it needs; or let it run part of the day from a full basin",
}
"""What to do in a month, by `MonthPlan.words`."""
_MAP = 6
"""Strokes and masses tried, evenly spaced in their logarithms, each: a season asks for little more than less."""
_SAME = 0.02
"""Share within which two tunings count as one: less than a person sets it to."""
_WORTH_CHANGING = 1.02
"""A tuning is not changed for less than so much more water."""


@dataclass(frozen=True)
class TunedRun:
    """Pumps that run alike on one line.

    Attributes
    ----------
    pumps : int
    stroke, mass : float
        [m], [kg]
    delivered_flow, drawn_flow : float
        All pumps together [m3/s].
    """

    pumps: int
    stroke: float
    mass: float
    delivered_flow: float
    drawn_flow: float


@dataclass(frozen=True)
class Season:
    """A year's plan.

    Attributes
    ----------
    months : tuple of 12 MonthPlan
    least_drawn : float
        Of the smallest tuning of one pump that still delivers [m3/s]; infinite when none does.
    reasons : tuple of Reason
    """

    months: tuple[MonthPlan, ...]
    least_drawn: float
    reasons: tuple[Reason, ...]


def _spaced(low: float, high: float, own: float) -> list[float]:
    """Values within bounds, with the designed one among them."""
    values = {float(value) for value in np.geomspace(low, high, _MAP)} | {own}
    return sorted(values)


def tuned_runs(
    case: RamCase,
    line: DeliveryLine,
    pumps: int,
    bounds: TuningBounds,
    *,
    workers: int | None = None,
    progress: Progress | None = None,
) -> tuple[TunedRun, ...]:
    """What one pump, two and so on up to ``pumps`` deliver and draw at tunings within bounds, at their operating points.

    Parameters
    ----------
    case : RamCase
        One pump with the twin's best values, tuned as designed; its own line and head are not used.
    line : DeliveryLine
        Takes what all deliver.
    pumps : int
    bounds : TuningBounds
    workers : int, optional
    progress : callable, optional
        Called with (numbers of pumps done, all).

    Returns
    -------
    tuple of TunedRun
        Of those that beat and deliver, the one as designed first where it does.
    """
    require_range("pumps", float(pumps), 1.0, 100.0, "")
    valve = case.build.waste_valve
    own = (valve.stroke, valve.mass)
    strokes = _spaced(bounds.least_stroke, bounds.most_stroke, own[0])
    masses = _spaced(bounds.least_mass, bounds.most_mass, own[1])
    pairs = sorted({(stroke, mass) for stroke in strokes for mass in masses}, key=lambda pair: pair != own)
    found: list[TunedRun] = []
    for count in range(1, pumps + 1):
        shared = line_share(line, count)
        tuned = [
            replace(case, build=case.build.retuned(stroke=stroke, mass=mass), line=shared, vessel_head=None)
            for stroke, mass in pairs
        ]
        open_ones = [(one, pair) for one, pair in zip(tuned, pairs, strict=True) if opening_load(one) > 0.0]
        results = settled_beats([one for one, _ in open_ones], workers=workers)
        for (_, (stroke, mass)), result in zip(open_ones, results, strict=True):
            if result.is_beating and result.delivered_flow > 0.0:
                delivered, drawn = count * result.delivered_flow, count * result.drawn_flow
                found.append(TunedRun(count, stroke, mass, delivered, drawn))
        if progress:
            progress(count, pumps)
    return tuple(found)


def _words(run: TunedRun, designed: tuple[int, float, float]) -> str:
    """Id of what has to be done to come from the design to a run."""
    pumps, stroke, mass = designed
    shorter, longer = run.stroke < stroke * (1.0 - _SAME), run.stroke > stroke * (1.0 + _SAME)
    lighter, heavier = run.mass < mass * (1.0 - _SAME), run.mass > mass * (1.0 + _SAME)
    same = not (shorter or longer or lighter or heavier)
    if run.pumps < pumps:
        return "pumps off" if same else "pumps off, other tuning"
    if same:
        return "as designed"
    if longer or heavier:
        return "other tuning"
    if shorter and lighter:
        return "shorter stroke, less weight"
    return "shorter stroke" if shorter else "less weight"


def best_run(runs: Sequence[TunedRun], source_flow: float, designed: tuple[int, float, float]) -> TunedRun | None:
    """The run that delivers most while it draws no more than the source gives; as designed where that serves.

    Parameters
    ----------
    runs : sequence of TunedRun
    source_flow : float
        [m3/s]
    designed : (int, float, float)
        Pumps, stroke [m] and mass [kg] of the design.

    Returns
    -------
    TunedRun or None
        None when the source gives less than any needs.
    """
    served = [run for run in runs if run.drawn_flow <= source_flow]
    kept = next((run for run in served if _words(run, designed) == "as designed"), None)
    if kept is not None or not served:
        return kept
    most = max(run.delivered_flow for run in served)
    near = [run for run in served if run.delivered_flow * _WORTH_CHANGING >= most]
    order = list(MONTH_WORDS)
    return min(near, key=lambda run: (order.index(_words(run, designed)), -run.delivered_flow))


def plan_months(
    case: RamCase,
    line: DeliveryLine,
    pumps: int,
    bounds: TuningBounds,
    source_flows: Sequence[float],
    needs: Needs | Sequence[float] | None = None,
    *,
    workers: int | None = None,
    progress: Progress | None = None,
) -> Season:
    """Plan the year of a design whose source rises and falls.

    Parameters
    ----------
    case : RamCase
        One pump with the twin's best values (:func:`clackwork.twin.fit.with_parameters`), tuned as designed.
    line : DeliveryLine
        Takes what all deliver, as from :func:`clackwork.site.line_heads.line_in_one`.
    pumps : int
        Of the design.
    bounds : TuningBounds
        Within what the workshop lets stroke and mass be changed.
    source_flows : sequence of 12 float
        Middle of what the source gives in each month, what the stream keeps taken off [m3/s].
    needs : Needs or sequence of 12 float, optional
        Daily need of each month [m3/day]; nothing when not given.
    workers, progress
        As for :func:`tuned_runs`.

    Returns
    -------
    Season

    Raises
    ------
    InputError
        When there are not twelve flows or needs.
    ModelError
        When the waste valve of the design has nothing to open it.
    """
    needed = [needs.daily_in(month) for month in range(1, 13)] if isinstance(needs, Needs) else needs
    for field, values in (("source_flows", source_flows), ("needs", needed)):
        if values is not None and len(values) != 12:
            raise InputError(field, len(values), "there must be one for each of the twelve months")
    valve = case.build.waste_valve
    designed = (pumps, valve.stroke, valve.mass)
    runs = tuned_runs(case, line, pumps, bounds, workers=workers, progress=progress)
    months = tuple(
        _month(place + 1, flow, needed[place] if needed is not None else 0.0, runs, designed)
        for place, flow in enumerate(source_flows)
    )
    least = min((run.drawn_flow for run in runs), default=math.inf)
    short = sum(month.pumps == 0 for month in months)
    figures = {"months": (float(short), "count"), "least": (least, "volume_flow")}
    reasons = (check_reason("source_below_least", "only if", **figures),) if 0 < short else ()
    return Season(months, least, reasons)


def _month(
    month: int, source_flow: float, needed: float, runs: Sequence[TunedRun], designed: tuple[int, float, float]
) -> MonthPlan:
    """What to do in one month."""
    run = best_run(runs, source_flow, designed)
    if run is None:
        return MonthPlan(month, source_flow, 0, designed[1], designed[2], 0.0, needed, 0.0, "all off")
    daily = run.delivered_flow * SECONDS_A_DAY
    words = _words(run, designed)
    return MonthPlan(month, source_flow, run.pumps, run.stroke, run.mass, daily, needed, run.drawn_flow, words)


def shares_of_stream(months: Sequence[MonthPlan], stream_keeps: float) -> tuple[float, ...]:
    """Share of the stream that is taken out of its bed between intake and pump in each month [-].

    Parameters
    ----------
    months : sequence of MonthPlan
    stream_keeps : float
        What has to stay in the stream [m3/s], which the months' flows leave out.
    """
    whole = [month.source_flow + stream_keeps for month in months]
    return tuple(month.water_drawn / flow if flow > 0.0 else 0.0 for month, flow in zip(months, whole, strict=True))


def stream_reason(drawn_flow: float, source_flow: float) -> Reason:
    """The share taken, said with the reminder that rights and least flows are the authority's matter.

    Parameters
    ----------
    drawn_flow, source_flow : float
        Drawn by all pumps, and all that comes in the driest month [m3/s].
    """
    share = drawn_flow / source_flow if source_flow > 0.0 else math.inf
    return check_reason("takes_much_of_stream", "note", share=(share, "fraction"))
