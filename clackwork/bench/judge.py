"""Two builds on one figure: different, the same within a margin, or not yet known."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from clackwork.bench.doubts import TrialWarning, trial_warnings
from clackwork.bench.gum import (
    Contribution,
    Estimate,
    check_level,
    estimate_from_parts,
    student_probability,
    welch_satterthwaite,
)
from clackwork.bench.plan import USUAL_LEVEL, USUAL_POWER, runs_for_difference, runs_for_same, smallest_difference
from clackwork.bench.pool import PooledFigure, pool_figure, standard_deviation
from clackwork.bench.runs import RunFigures
from clackwork.errors import InputError

Verdict = Literal["different", "the same within the margin", "not yet known"]


@dataclass(frozen=True)
class Judgement:
    """What a trial says about one figure of two builds, A and B.

    Attributes
    ----------
    figure, build_a, build_b : str
    pooled_a, pooled_b : PooledFigure
    difference : Estimate
        B less A [figure's unit]; its budget holds the scatter of both and what is left of the instruments' shared
        errors. With a single run of a build it rests on the instruments alone.
    interval : tuple of (float, float) or None
        Of the difference at ``level``; None when the scatter is not known.
    instrument_interval : tuple of (float, float)
        The same from the instruments alone: no number of runs with them makes it much narrower.
    level, margin, difference_that_matters, power : float
        As asked.
    verdict : {"different", "the same within the margin", "not yet known"}
    reasons : tuple of str
        Why, in sentences.
    chance_if_none : float or None
        Probability of a difference at least this large when there is none (two-sided) [-].
    chance_if_outside : float or None
        Largest probability of a difference this close to none when the true one lies at the margin or beyond [-].
    runs_needed : int or None
        Runs per build that see the difference that matters; None when not known or out of reach.
    runs_still_needed : tuple of (int, int) or None
        Of A and B beyond those made.
    smallest_difference : float or None
        The smallest true difference this trial could have been expected to see [figure's unit].
    warnings : tuple of TrialWarning
    runs_for_same : int or None
        Runs per build that show them as the same within the margin if there is no difference; None when not known or
        out of reach.
    """

    figure: str
    build_a: str
    build_b: str
    pooled_a: PooledFigure
    pooled_b: PooledFigure
    difference: Estimate
    interval: tuple[float, float] | None
    instrument_interval: tuple[float, float]
    level: float
    margin: float
    difference_that_matters: float
    power: float
    verdict: Verdict
    reasons: tuple[str, ...]
    chance_if_none: float | None
    chance_if_outside: float | None
    runs_needed: int | None
    runs_still_needed: tuple[int, int] | None
    smallest_difference: float | None
    warnings: tuple[TrialWarning, ...]
    runs_for_same: int | None = None


def two_one_sided(difference: float, uncertainty: float, degrees_of_freedom: float, margin: float) -> float:
    """Return the larger probability of two one-sided t tests against a true difference at either margin.

    Parameters
    ----------
    difference, uncertainty, margin : float
        Mean difference, its standard uncertainty (above 0) and the margin, in one unit.
    degrees_of_freedom : float

    Returns
    -------
    float
        Below (1 - level)/2 the interval at ``level`` lies within the margin, and the two count as the same.

    Notes
    -----
    Schuirmann 1987, J. Pharmacokinet. Biopharm. 15(6).
    """
    above = student_probability((difference - margin) / uncertainty, degrees_of_freedom)
    below = student_probability(-(difference + margin) / uncertainty, degrees_of_freedom)
    return max(above, below)


def welch_difference(
    values_a: Sequence[float], values_b: Sequence[float], *, equal_scatter: bool = False
) -> tuple[float, float, float]:
    """Return mean of B less mean of A, its standard uncertainty and its degrees of freedom.

    Parameters
    ----------
    values_a, values_b : sequence of float
        Two or more each.
    equal_scatter : bool, optional
        Pool the scatter of both (Student) instead of keeping them apart (Welch 1947).

    Raises
    ------
    InputError
        When a build has fewer than two values.
    """
    for field, values in (("values_a", values_a), ("values_b", values_b)):
        if len(values) < 2:
            raise InputError(field, len(values), "two or more are needed", "One run shows no scatter.")
    count_a, count_b = len(values_a), len(values_b)
    scatter_a, scatter_b = standard_deviation(values_a), standard_deviation(values_b)
    if equal_scatter:
        scatter_a = scatter_b = _common_scatter(scatter_a, count_a, scatter_b, count_b)
        freedom = count_a + count_b - 2.0
    part_a, part_b = scatter_a / math.sqrt(count_a), scatter_b / math.sqrt(count_b)
    if not equal_scatter:
        freedom = welch_satterthwaite([(part_a, count_a - 1.0), (part_b, count_b - 1.0)])
    return math.fsum(values_b) / count_b - math.fsum(values_a) / count_a, math.hypot(part_a, part_b), freedom


def _common_scatter(scatter_a: float, count_a: int, scatter_b: float, count_b: int) -> float:
    squares = (count_a - 1) * scatter_a**2 + (count_b - 1) * scatter_b**2
    return math.sqrt(squares / (count_a + count_b - 2))


def _shared_difference(mean_a: Estimate, mean_b: Estimate) -> list[Contribution]:
    """What is left in B less A of errors that enter both with the same sign."""
    about = {part.shared_as: part for part in (*mean_a.budget, *mean_b.budget) if part.shared_as}
    a, b = mean_a.shared, mean_b.shared
    return [
        Contribution(
            part.name,
            1.0,
            b.get(key, 0.0) - a.get(key, 0.0),
            0.0,
            part.degrees_of_freedom,
            part.kind,
            part.source,
            key,
        )
        for key, part in sorted(about.items())
    ]


def _difference(pooled_a: PooledFigure, pooled_b: PooledFigure, *, instruments_only: bool) -> Estimate:
    """B less A with its budget; of the instruments alone, reading noise stands for the scatter."""
    parts = _shared_difference(pooled_a.mean, pooled_b.mean)
    for side, pooled in (("A", pooled_a), ("B", pooled_b)):
        count, name = len(pooled.values), f"scatter of {side}"
        if instruments_only or pooled.scatter is None:
            amount = pooled.reading_noise / math.sqrt(count)
            parts.append(Contribution(name, 1.0, amount, 0.0, math.inf, "B", "readings of each run", ""))
        else:
            amount = max(pooled.reading_noise, pooled.scatter) / math.sqrt(count)
            parts.append(Contribution(name, 1.0, amount, 0.0, count - 1.0, "A", "scatter of the runs", ""))
    return estimate_from_parts(pooled_b.mean.value - pooled_a.mean.value, parts)


def _verdict(difference: Estimate, level: float, margin: float) -> tuple[Verdict, list[str]]:
    """The verdict of a difference whose scatter is known, and why."""
    low, high = difference.interval(level)
    inside = -margin < low and high < margin
    apart = low > 0.0 or high < 0.0
    if inside:
        reasons = [f"The whole {100.0 * level:.0f} % interval of the difference lies within the margin."]
        if apart:
            reasons.append("A real difference is seen, but it is smaller than the margin.")
        return "the same within the margin", reasons
    if apart:
        reasons = [f"The {100.0 * level:.0f} % interval of the difference leaves out zero."]
        if not (low > margin or high < -margin):
            reasons.append("It is not shown to be larger than the margin.")
        return "different", reasons
    return "not yet known", [
        f"The {100.0 * level:.0f} % interval of the difference holds zero and reaches beyond the margin."
    ]


def _sides(
    runs_a: Sequence[RunFigures], runs_b: Sequence[RunFigures], figure: str
) -> tuple[list[RunFigures], list[RunFigures]]:
    """The runs of each build that give the figure, checked to be comparable."""
    sides = []
    for field, runs in (("runs_a", runs_a), ("runs_b", runs_b)):
        given = [run for run in runs if run.figure(figure) is not None]
        if not given:
            raise InputError(field, f"{len(runs)} runs", f"none of them gives {figure}", "Choose another figure.")
        builds = sorted({run.run.build for run in given})
        if len(builds) > 1:
            raise InputError(field, ", ".join(builds), "all runs of one side must be of one build")
        sides.append(given)
    kinds = sorted({run.run.kind.value for run in (*sides[0], *sides[1])})
    if len(kinds) > 1:
        raise InputError("runs", ", ".join(kinds), "runs compared must be of one kind", "Judge each kind by itself.")
    if sides[0][0].run.build == sides[1][0].run.build:
        raise InputError("runs_b", sides[1][0].run.build, "it must be of another build than runs_a")
    return sides[0], sides[1]


def judge(
    runs_a: Sequence[RunFigures],
    runs_b: Sequence[RunFigures],
    figure: str,
    *,
    margin: float,
    difference_that_matters: float,
    level: float = USUAL_LEVEL,
    power: float = USUAL_POWER,
    changes: Sequence[str] = (),
) -> Judgement:
    """Judge one figure of two builds.

    Parameters
    ----------
    runs_a, runs_b : sequence of RunFigures
        Of build A and build B, of one kind and set point.
    figure : str
        One of `clackwork.bench.runs.FIGURES`.
    margin : float
        Within which the builds count as the same [figure's unit], above 0.
    difference_that_matters : float
        That the trial should see [figure's unit], above 0.
    level : float, optional
        Of the interval; sameness is tested on either side at (1 - level)/2.
    power : float, optional
        Chance with which it should be seen.
    changes : sequence of str, optional
        What differs between the builds.

    Returns
    -------
    Judgement

    Raises
    ------
    InputError
        When runs cannot be compared or a number is out of range.

    Notes
    -----
    The difference of means by Welch, its interval joined with what is left of the instruments' shared errors: with
    the same instruments they enter both means with one sign and cancel to first order. The interval within the
    margin (two one-sided tests) means the same within the margin, also when it leaves out zero: a difference that
    is real but too small to matter is said in the reasons. Otherwise an interval that leaves out zero means
    different. Everything else is not yet known.
    """
    for field, value in (("margin", margin), ("difference_that_matters", difference_that_matters)):
        if not (math.isfinite(value) and value > 0.0):
            raise InputError(field, value, "it must be above 0", "State what would matter in use.")
    check_level(level)
    check_level(power, "power")
    given_a, given_b = _sides(runs_a, runs_b, figure)
    pooled_a, pooled_b = pool_figure(given_a, figure), pool_figure(given_b, figure)
    assert pooled_a is not None and pooled_b is not None
    known = pooled_a.scatter is not None and pooled_b.scatter is not None
    by_instruments = _difference(pooled_a, pooled_b, instruments_only=True)
    difference = _difference(pooled_a, pooled_b, instruments_only=False) if known else by_instruments
    verdict: Verdict = "not yet known"
    reasons = ["Without two runs of each build the scatter is not known."]
    if known:
        verdict, reasons = _verdict(difference, level, margin)
    warnings = trial_warnings(given_a, given_b, pooled_a, pooled_b, margin, changes)
    warnings += _turned_by_odd(given_a, given_b, pooled_a, pooled_b, level, margin, verdict)
    outlook = _outlook((pooled_a, pooled_b), difference, difference_that_matters, margin, level, power)
    builds = given_a[0].run.build, given_b[0].run.build
    return Judgement(
        figure=figure,
        build_a=builds[0],
        build_b=builds[1],
        pooled_a=pooled_a,
        pooled_b=pooled_b,
        difference=difference,
        interval=difference.interval(level) if known else None,
        instrument_interval=by_instruments.interval(level),
        level=level,
        margin=margin,
        difference_that_matters=difference_that_matters,
        power=power,
        verdict=verdict,
        reasons=(*reasons, *_prospects(outlook, builds, power, verdict)),
        chance_if_none=_chance_if_none(difference) if known else None,
        chance_if_outside=_chance_if_outside(difference, margin) if known else None,
        runs_needed=outlook.runs,
        runs_still_needed=outlook.still,
        smallest_difference=outlook.smallest,
        warnings=tuple(warnings),
        runs_for_same=outlook.same,
    )


def _chance_if_none(difference: Estimate) -> float | None:
    uncertainty = difference.standard_uncertainty
    if uncertainty == 0.0:
        return None
    return 2.0 * student_probability(-abs(difference.value) / uncertainty, difference.degrees_of_freedom)


def _chance_if_outside(difference: Estimate, margin: float) -> float | None:
    if difference.standard_uncertainty == 0.0:
        return None
    return two_one_sided(difference.value, difference.standard_uncertainty, difference.degrees_of_freedom, margin)


def _turned_by_odd(
    runs_a: Sequence[RunFigures],
    runs_b: Sequence[RunFigures],
    pooled_a: PooledFigure,
    pooled_b: PooledFigure,
    level: float,
    margin: float,
    verdict: Verdict,
) -> list[TrialWarning]:
    """Whether the verdict hangs on the runs flagged as odd."""
    odd_a, odd_b = ({odd.run for odd in pooled.odd_runs} for pooled in (pooled_a, pooled_b))
    if not odd_a | odd_b:
        return []
    without = [
        pool_figure([run for run in runs if run.run.name not in odd], pooled_a.figure)
        for runs, odd in ((runs_a, odd_a), (runs_b, odd_b))
    ]
    if without[0] is None or without[1] is None or without[0].scatter is None or without[1].scatter is None:
        return []
    other, _ = _verdict(_difference(without[0], without[1], instruments_only=False), level, margin)
    if other == verdict:
        return []
    sentence = (
        f"Without {', '.join(sorted(odd_a | odd_b))} the verdict would be: {other}. Repeat before trusting either."
    )
    return [TrialWarning("verdict_hangs_on_odd_run", sentence)]


@dataclass(frozen=True)
class _Outlook:
    """What the trial could see; ``seen`` says whether there is any scatter to reckon with."""

    seen: bool
    runs: int | None = None
    still: tuple[int, int] | None = None
    same: int | None = None
    smallest: float | None = None


def _outlook(
    pooled: tuple[PooledFigure, PooledFigure],
    difference: Estimate,
    matters: float,
    margin: float,
    level: float,
    power: float,
) -> _Outlook:
    """What this trial could have seen and how many runs would see what matters, at the scatter found."""
    counts = len(pooled[0].values), len(pooled[1].values)
    known = [side for side in pooled if side.scatter is not None]
    freedom = sum(len(side.values) - 1 for side in known)
    squares = sum((len(side.values) - 1) * max(side.scatter or 0.0, side.reading_noise) ** 2 for side in known)
    if squares == 0.0:
        return _Outlook(False)
    scatter = math.sqrt(squares / freedom)
    shared = math.sqrt(sum(part.amount**2 for part in difference.budget if part.shared_as))
    smallest = None
    if len(known) == 2:
        smallest = smallest_difference(scatter, *counts, power=power, level=level, shared=shared)
    exact = runs_for_difference(matters, scatter, power=power, level=level, shared=shared)
    same = runs_for_same(margin, scatter, power=power, level=level, shared=shared)
    runs, to_show_same = (None if x is None else math.ceil(x - 1e-6) for x in (exact, same))
    still = None if runs is None else (max(0, runs - counts[0]), max(0, runs - counts[1]))
    return _Outlook(True, runs, still, to_show_same, smallest)


def _prospects(outlook: _Outlook, builds: tuple[str, str], power: float, verdict: Verdict) -> list[str]:
    """The outlook in sentences."""
    if not outlook.seen:
        return ["No scatter is seen yet: make at least one more run of each build."]
    if outlook.still is None:
        said = ["No number of runs with these instruments and this scatter would see the difference that matters."]
    elif any(outlook.still):
        more = " and ".join(f"{count} of {build}" for count, build in zip(outlook.still, builds, strict=True) if count)
        said = [f"Still to run, to see the difference that matters {100.0 * power:.0f} % of the time: {more}."]
    else:
        said = [f"There are runs enough to see the difference that matters {100.0 * power:.0f} % of the time."]
    if verdict == "not yet known":
        same = outlook.same
        words = f"about {same} runs of each" if same else "more runs than these instruments and this scatter allow"
        said.append(f"If there is no difference, showing the two as the same within the margin takes {words}.")
    return said
