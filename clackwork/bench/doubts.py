"""What may stand behind a difference between two builds besides the change: order, drift, odd runs."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from clackwork.bench.gum import Estimate, student_probability
from clackwork.bench.pool import PooledFigure, pool_runs, standard_deviation
from clackwork.bench.runs import RunFigures, RunKind

_LEANING = 0.20  # share of pairs in which the later build came first, below which the order leans
_MOVED = 2.0  # standard uncertainties
_SHARE_OF_MARGIN = 0.5  # a condition that may move the figure by this much of the margin is worth saying
_SLOPE_CHANCE = 0.05
_SLOPE_RUNS = 6
_LARGE_SCATTER = 5.0  # scatter over reading noise, beyond which it is said if it also passes the margin
_FEW_RUNS = 4
_WARMER = 2.0  # [K] changes viscosity by about 5 %; common practice, no published source


@dataclass(frozen=True)
class TrialWarning:
    """Something that weakens a trial; ``id`` is fixed, ``sentence`` is for the reader."""

    id: str
    sentence: str


def trial_warnings(
    runs_a: Sequence[RunFigures],
    runs_b: Sequence[RunFigures],
    pooled_a: PooledFigure,
    pooled_b: PooledFigure,
    margin: float,
    changes: Sequence[str],
) -> list[TrialWarning]:
    """Return everything found that may mislead a reader of the trial.

    Parameters
    ----------
    runs_a, runs_b : sequence of RunFigures
        Runs of each build that give the figure.
    pooled_a, pooled_b : PooledFigure
        The figure of each.
    margin : float
        Within which the builds count as the same [figure's unit].
    changes : sequence of str
        What differs between the builds.
    """
    found = _changes(changes, runs_a, runs_b)
    found += _counts(pooled_a, pooled_b)
    found += _order(runs_a, runs_b)
    found += _drift_with_order(runs_a, runs_b, pooled_a)
    found += _conditions(runs_a, runs_b, pooled_a, margin)
    found += _odd(pooled_a, pooled_b, margin)
    return found


def _changes(changes: Sequence[str], runs_a: Sequence[RunFigures], runs_b: Sequence[RunFigures]) -> list[TrialWarning]:
    found = []
    rigs = sorted({run.run.rig for run in (*runs_a, *runs_b)})
    if len(changes) > 1:
        sentence = (
            f"{len(changes)} things changed at once ({', '.join(changes)}): the trial cannot tell which of them did it."
        )
        found.append(TrialWarning("several_changes", sentence))
    for runs in (runs_a, runs_b):
        points = len(pool_runs(runs))
        if points > len({run.run.rig for run in runs}):
            build = runs[0].run.build
            sentence = f"Runs of {build} at {points} set points are taken as one: their scatter is not that of one."
            found.append(TrialWarning("set_points_mixed", sentence))
    if len(rigs) > 1:
        sentence = (
            f"The runs were made on different rigs ({', '.join(rigs)}): the rig may be what differs, not the build."
        )
        found.append(TrialWarning("rigs_differ", sentence))
    return found


def _counts(pooled_a: PooledFigure, pooled_b: PooledFigure) -> list[TrialWarning]:
    counts = (len(pooled_a.values), len(pooled_b.values))
    if min(counts) == 1:
        whose = "each build" if max(counts) == 1 else "one build"
        return [
            TrialWarning(
                "single_run",
                f"One run of {whose} is all there is: how far runs of the same build scatter is not known, so nothing "
                "can be judged; the interval given is that of the instruments alone.",
            )
        ]
    if min(counts) < _FEW_RUNS:
        return [
            TrialWarning(
                "few_runs",
                f"With {counts[0]} and {counts[1]} runs the scatter itself is poorly known, and it cannot be told "
                "whether a run is odd; four of each say much more.",
            )
        ]
    return []


def _order(runs_a: Sequence[RunFigures], runs_b: Sequence[RunFigures]) -> list[TrialWarning]:
    orders_a, orders_b = [run.run.order for run in runs_a], [run.run.order for run in runs_b]
    everything = [*orders_a, *orders_b]
    if len(set(everything)) < len(everything):
        sentence = "The order in which the runs were made is not known: drift cannot be told from the change."
        return [TrialWarning("order_unknown", sentence)]
    pairs = [(one, other) for one in orders_a for other in orders_b]
    share = sum(one < other for one, other in pairs) / len(pairs)
    first, last = (runs_a, runs_b) if share >= 0.5 else (runs_b, runs_a)
    names = first[0].run.build, last[0].run.build
    if share in (0.0, 1.0):
        sentence = (
            f"All runs of {names[0]} came before all runs of {names[1]}: whatever drifted meanwhile (water, wear, "
            "settling of a seat) looks like the change. Go back to the first build for a run or two."
        )
        return [TrialWarning("order_confounded", sentence)]
    if min(share, 1.0 - share) < _LEANING:
        sentence = f"Most runs of {names[0]} came before those of {names[1]}: drift may pass for the change."
        return [TrialWarning("order_leans", sentence)]
    return []


def _slope(runs_a: Sequence[RunFigures], runs_b: Sequence[RunFigures], pooled: PooledFigure) -> tuple[float, float]:
    """Slope of the figure against the order within the builds, common to both, and its standard uncertainty.

    Analysis of covariance; the uncertainty is never taken below what the readings allow.
    """
    places: list[float] = []
    values: list[float] = []
    for runs in (runs_a, runs_b):
        given = [
            (float(run.run.order), found.value) for run in runs if (found := run.figure(pooled.figure)) is not None
        ]
        mean_place = math.fsum(place for place, _ in given) / len(given)
        mean_value = math.fsum(value for _, value in given) / len(given)
        places += [place - mean_place for place, _ in given]
        values += [value - mean_value for _, value in given]
    spread = math.fsum(place**2 for place in places)
    slope = math.fsum(place * value for place, value in zip(places, values, strict=True)) / spread
    left = math.fsum((value - slope * place) ** 2 for place, value in zip(places, values, strict=True))
    return slope, max(math.sqrt(left / (len(values) - 3)), pooled.reading_noise) / math.sqrt(spread)


def _drift_with_order(
    runs_a: Sequence[RunFigures], runs_b: Sequence[RunFigures], pooled_a: PooledFigure
) -> list[TrialWarning]:
    everything = [run.run.order for run in (*runs_a, *runs_b)]
    if len(everything) < _SLOPE_RUNS or len(set(everything)) < len(everything):
        return []
    slope, uncertainty = _slope(runs_a, runs_b, pooled_a)
    if uncertainty == 0.0:
        return []
    chance = 2.0 * student_probability(-abs(slope) / uncertainty, len(everything) - 3.0)
    if chance > _SLOPE_CHANCE:
        return []
    whole = slope * (max(everything) - min(everything))
    size = f" by {100.0 * abs(whole / pooled_a.mean.value):.1f} % over the trial" if pooled_a.mean.value else ""
    way = "rose" if slope > 0 else "fell"
    sentence = f"The figure {way} with the order of the runs{size}, whichever build ran: something drifted."
    return [TrialWarning("figure_drifted", sentence)]


def _mean_and_uncertainty(values: Sequence[float], noise: float) -> tuple[float, float]:
    scatter = standard_deviation(values) if len(values) > 1 else 0.0
    return math.fsum(values) / len(values), max(scatter, noise) / math.sqrt(len(values))


def _conditions(
    runs_a: Sequence[RunFigures], runs_b: Sequence[RunFigures], pooled_a: PooledFigure, margin: float
) -> list[TrialWarning]:
    found = []
    figure = abs(pooled_a.mean.value)
    # A condition that is off by a share moves flows and heads by up to about the same share.
    material = _SHARE_OF_MARGIN * margin / figure if figure else math.inf
    checks: list[tuple[str, str, Callable[[RunFigures], Estimate | None]]] = []
    if pooled_a.figure != "effective_fall":
        checks.append(("fall_drifted", "fall", lambda run: run.effective_fall))
    if runs_a[0].run.kind is RunKind.DELIVERING and pooled_a.figure != "back_pressure_head":
        checks.append(("back_pressure_drifted", "back-pressure", lambda run: run.back_pressure_head))
    for identity, words, read in checks:
        given = [[estimate for run in runs if (estimate := read(run))] for runs in (runs_a, runs_b)]
        if not all(given):
            continue
        noises = [math.sqrt(math.fsum(e.reading_noise**2 for e in side) / len(side)) for side in given]
        sides = [
            _mean_and_uncertainty([e.value for e in side], noise) for side, noise in zip(given, noises, strict=True)
        ]
        apart = sides[1][0] - sides[0][0]
        doubt = math.hypot(sides[0][1], sides[1][1])
        share = abs(apart) / sides[0][0] if sides[0][0] else math.inf
        read_apart = abs(apart) > math.hypot(noises[0], noises[1])
        if abs(apart) > _MOVED * doubt or (read_apart and share > material):
            way = "higher" if apart > 0 else "lower"
            sentence = (
                f"The {words} was {100.0 * share:.1f} % {way} for {runs_b[0].run.build} than for {runs_a[0].run.build}: "
                "part of the difference may come from that."
            )
            found.append(TrialWarning(identity, sentence))
    return found + _temperature(runs_a, runs_b)


def _temperature(runs_a: Sequence[RunFigures], runs_b: Sequence[RunFigures]) -> list[TrialWarning]:
    given = [[t for run in runs if (t := run.run.water_temperature) is not None] for runs in (runs_a, runs_b)]
    if not all(given):
        return []
    sides = [_mean_and_uncertainty(values, 0.0) for values in given]
    apart = sides[1][0] - sides[0][0]
    if abs(apart) < _WARMER or abs(apart) <= _MOVED * math.hypot(sides[0][1], sides[1][1]):
        return []
    way = "warmer" if apart > 0 else "colder"
    sentence = (
        f"The water was {abs(apart):.1f} K {way} for {runs_b[0].run.build} than for {runs_a[0].run.build}: its "
        "viscosity changed with the build."
    )
    return [TrialWarning("temperature_drifted", sentence)]


def _odd(pooled_a: PooledFigure, pooled_b: PooledFigure, margin: float) -> list[TrialWarning]:
    found = []
    for pooled in (pooled_a, pooled_b):
        found += [TrialWarning("odd_run", f"{odd.reason} It is kept in the mean.") for odd in pooled.odd_runs]
        scatter, noise = pooled.scatter, pooled.reading_noise
        if scatter is not None and noise > 0.0 and scatter > max(_LARGE_SCATTER * noise, margin):
            found.append(
                TrialWarning(
                    "runs_contradict",
                    f"Runs {', '.join(pooled.runs)} scatter by more than the margin, and {scatter / noise:.0f} "
                    "times as much as their readings explain: something not written down changes from run to run.",
                )
            )
    return found
