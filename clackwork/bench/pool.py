"""Runs of a like kind taken together: their mean, their scatter, and runs that look odd."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from clackwork.bench.gum import Contribution, Estimate, estimate_from_parts, student_quantile
from clackwork.bench.runs import RunFigures, RunKind

_SET_POINT_TOLERANCE = (
    0.05  # runs within 5 % in fall and head are of one set point; common practice, no published source
)
_FEWEST_TO_TELL = 4  # with three runs the test statistic can hardly pass its own limit
_ODD_CHANCE = 0.05  # of calling a sound run odd, over the whole set
_WITHIN_NOISE = 2.0  # reading noises within which no run is odd, however well the others agree


@dataclass(frozen=True)
class Pool:
    """Runs of one build on one rig, of one kind, at one set point.

    Attributes
    ----------
    build, rig : str
    kind : RunKind
    fall : float
        Mean effective fall [m].
    back_pressure_head : float or None
        Mean, of delivering runs [m above datum].
    runs : tuple of RunFigures
        By their place in the trial.
    """

    build: str
    rig: str
    kind: RunKind
    fall: float
    back_pressure_head: float | None
    runs: tuple[RunFigures, ...]


@dataclass(frozen=True)
class OddRun:
    """A run that does not fit the others; it stays in the mean.

    Attributes
    ----------
    run : str
    value : float
        Of the figure [SI].
    distance : float
        From the mean of the runs it was tested with, in their standard deviations [-].
    limit : float
        Distance beyond which it is called odd [-].
    reason : str
    """

    run: str
    value: float
    distance: float
    limit: float
    reason: str


@dataclass(frozen=True)
class PooledFigure:
    """One figure over the runs of a pool.

    Attributes
    ----------
    figure : str
    runs : tuple of str
    values : tuple of float
        [SI]
    mean : Estimate
        Its budget holds the scatter (type A) and the instruments' shared errors (type B), which do not average out.
    scatter : float or None
        Standard deviation of the runs [SI]; None for a single one.
    reading_noise : float
        What one run's readings scatter by themselves [SI].
    odd_runs : tuple of OddRun
        Flagged, never dropped.
    odd_note : str
        What was looked for and whether it could be told.
    """

    figure: str
    runs: tuple[str, ...]
    values: tuple[float, ...]
    mean: Estimate
    scatter: float | None
    reading_noise: float
    odd_runs: tuple[OddRun, ...]
    odd_note: str


def _split(runs: Sequence[RunFigures], key: Callable[[RunFigures], float], tolerance: float) -> list[list[RunFigures]]:
    """Part runs where a head leaves the tolerance of the lowest of its group."""
    groups: list[list[RunFigures]] = []
    for run in sorted(runs, key=key):
        if groups and key(run) <= key(groups[-1][0]) * (1.0 + tolerance):
            groups[-1].append(run)
        else:
            groups.append([run])
    return groups


def _fall(figures: RunFigures) -> float:
    return figures.effective_fall.value if figures.effective_fall else figures.run.fall_start


def _head(figures: RunFigures) -> float:
    return figures.back_pressure_head.value if figures.back_pressure_head else 0.0


def pool_runs(
    figures: Sequence[RunFigures],
    *,
    fall_tolerance: float = _SET_POINT_TOLERANCE,
    head_tolerance: float = _SET_POINT_TOLERANCE,
) -> tuple[Pool, ...]:
    """Group runs of the same build, rig, kind and set point.

    Parameters
    ----------
    figures : sequence of RunFigures
    fall_tolerance, head_tolerance : float, optional
        How far fall and (of delivering runs) back-pressure may rise above the lowest of a group, as a
        fraction [-].

    Returns
    -------
    tuple of Pool
        By build, rig, kind, back-pressure and fall; every run is in exactly one.
    """
    like: dict[tuple[str, str, RunKind], list[RunFigures]] = {}
    for found in figures:
        like.setdefault((found.run.build, found.run.rig, found.run.kind), []).append(found)
    pools = []
    for (build, rig, kind), members in sorted(like.items()):
        delivering = kind is RunKind.DELIVERING
        for at_head in _split(members, _head, head_tolerance) if delivering else [members]:
            for group in _split(at_head, _fall, fall_tolerance):
                fall = math.fsum(_fall(run) for run in group) / len(group)
                head = math.fsum(_head(run) for run in group) / len(group) if delivering else None
                ordered = tuple(sorted(group, key=lambda run: (run.run.order, run.run.name)))
                pools.append(Pool(build, rig, kind, fall, head, ordered))
    return tuple(pools)


def standard_deviation(values: Sequence[float]) -> float:
    """Return the standard deviation of a sample of two or more."""
    mean = math.fsum(values) / len(values)
    return math.sqrt(math.fsum((value - mean) ** 2 for value in values) / (len(values) - 1))


def pool_figure(runs: Sequence[RunFigures], figure: str) -> PooledFigure | None:
    """Take one figure over runs of one pool.

    Parameters
    ----------
    runs : sequence of RunFigures
        Of one `Pool`.
    figure : str
        One of `clackwork.bench.runs.FIGURES`.

    Returns
    -------
    PooledFigure or None
        None when no run gives the figure.

    Notes
    -----
    The type A part is s/sqrt(n) with n - 1 degrees of freedom (JCGM 100:2008, 4.2.3). When runs agree better than
    their readings can (counted beats that come out equal), the reading noise stands in for s. The shared errors
    of the instruments are averaged with their signs and added once.
    """
    given = [(run.run.name, estimate) for run in runs if (estimate := run.figure(figure)) is not None]
    if not given:
        return None
    names = tuple(name for name, _ in given)
    estimates = [estimate for _, estimate in given]
    values = tuple(estimate.value for estimate in estimates)
    noise = math.sqrt(math.fsum(estimate.reading_noise**2 for estimate in estimates) / len(estimates))
    if len(given) == 1:
        note = "One run shows no scatter: the uncertainty is that of the instruments alone."
        return PooledFigure(figure, names, values, estimates[0], None, noise, (), note)
    scatter = standard_deviation(values)
    odd, note = find_odd_runs(names, values, noise)
    mean = math.fsum(values) / len(values)
    parts = [_scatter_part(scatter, noise, len(values)), *_shared_parts(estimates)]
    return PooledFigure(figure, names, values, estimate_from_parts(mean, parts), scatter, noise, odd, note)


def _scatter_part(scatter: float, noise: float, count: int) -> Contribution:
    source = "scatter of the runs" if scatter >= noise else "readings cannot agree better than this"
    amount = max(scatter, noise) / math.sqrt(count)
    return Contribution("scatter", 1.0, amount, 0.0, count - 1.0, "A", source, "")


def _shared_parts(estimates: Sequence[Estimate]) -> list[Contribution]:
    """One contribution for each effect shared between runs, averaged with its signs."""
    about = {part.shared_as: part for estimate in estimates for part in estimate.budget if part.shared_as}
    parts = []
    for key, part in sorted(about.items()):
        amount = math.fsum(estimate.shared.get(key, 0.0) for estimate in estimates) / len(estimates)
        parts.append(
            Contribution(part.name, part.sensitivity, amount, 0.0, part.degrees_of_freedom, part.kind, part.source, key)
        )
    return parts


def grubbs_limit(count: int, chance: float = _ODD_CHANCE) -> float:
    """Return how many standard deviations the farthest of ``count`` sound runs stays within.

    Two-sided, exceeded with probability ``chance``: Grubbs 1969, Technometrics 11(1), as in NIST e-Handbook 1.3.5.17.1.
    """
    t = student_quantile(1.0 - chance / (2.0 * count), count - 2.0)
    return (count - 1.0) / math.sqrt(count) * math.sqrt(t**2 / (count - 2.0 + t**2))


def find_odd_runs(
    names: Sequence[str], values: Sequence[float], reading_noise: float = 0.0
) -> tuple[tuple[OddRun, ...], str]:
    """Find runs that do not fit the others.

    Parameters
    ----------
    names : sequence of str
    values : sequence of float
        One for each name.
    reading_noise : float, optional
        A run within two of these from the mean of the others is never odd.

    Returns
    -------
    tuple of OddRun
        Oddest first.
    str
        What was looked for and whether it could be told.

    Notes
    -----
    The generalised extreme studentised deviate (Rosner 1983, Technometrics 25(2)), for up to a quarter of the runs,
    which for 4 to 7 runs is Grubbs' test. Below four runs nothing can be told.
    """
    count = len(values)
    if count < _FEWEST_TO_TELL:
        return (
            (),
            f"With {count} runs it cannot be told whether one is odd; it takes at least {_FEWEST_TO_TELL}.",
        )
    left = list(range(count))
    trail: list[OddRun] = []
    found = 0
    for _ in range(max(1, count // 4)):
        mean = math.fsum(values[i] for i in left) / len(left)
        spread = standard_deviation([values[i] for i in left])
        worst = max(left, key=lambda i: abs(values[i] - mean))
        left.remove(worst)
        others = math.fsum(values[i] for i in left) / len(left)
        limit = grubbs_limit(len(left) + 1)
        if spread == 0.0 or abs(values[worst] - others) <= _WITHIN_NOISE * reading_noise:
            break
        distance = abs(values[worst] - mean) / spread
        reason = _reason(names[worst], values[worst], others, len(left))
        trail.append(OddRun(names[worst], values[worst], distance, limit, reason))
        if distance > limit:
            found = len(trail)
    note = f"{count} runs were tested for odd ones at {100.0 * _ODD_CHANCE:.0f} %"
    return tuple(trail[:found]), f"{note}; {found or 'none'} found" + (", kept in the mean." if found else ".")


def _reason(name: str, value: float, others: float, count: int) -> str:
    apart = (
        f"{100.0 * abs(value / others - 1.0):.1f} % {'above' if value > others else 'below'}"
        if others
        else "apart from"
    )
    return (
        f"Run {name} is {apart} the mean of the other {count} runs, farther than chance puts a sound run "
        f"in {100.0 * (1.0 - _ODD_CHANCE):.0f} % of such sets; look for what was different and repeat it."
    )
