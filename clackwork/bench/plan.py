"""How many runs a trial needs, what it could see, and in which order to make them.

Two builds, compared by Student's t with two sides at a stated level; the same scatter on both sides.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import Literal

from clackwork.bench.gum import check_level, student_quantile, welch_satterthwaite
from clackwork.errors import InputError, require_positive

USUAL_POWER = 0.80  # Cohen 1988, Statistical Power Analysis, 2.4: the convention where nothing better is known
USUAL_LEVEL = 0.90
MOST_RUNS = 1000  # per build; more is no workshop trial
_LEAST_RUNS = 2
_FAR = 9.0  # standard deviations either way; less than 1e-18 is beyond
_POINTS = 4001
_NEARLY_NORMAL = 2e4  # degrees of freedom; beyond, the normal distribution is within 1e-5
_SCATTER_DOUBT = 0.80  # the scatter is below its upper limit with this probability


@dataclass(frozen=True)
class TrialPlan:
    """How to make a trial.

    Attributes
    ----------
    runs_per_build : int
    runs_per_build_cautious : int or None
        Were the scatter at the upper end of what the runs it rests on allow; None when it is taken as known.
    power : float
        Chance to see the difference with ``runs_per_build`` [-].
    order : tuple of str
        Build of each run, first to last.
    change_overs : int
        How often the build on the rig is changed.
    sentences : tuple of str
    """

    runs_per_build: int
    runs_per_build_cautious: int | None
    power: float
    order: tuple[str, ...]
    change_overs: int
    sentences: tuple[str, ...]


def _two_sided_power(ratio: float, degrees_of_freedom: float, level: float) -> float:
    """Chance that |t| passes its limit when the true difference is ``ratio`` standard uncertainties."""
    from scipy import special

    if degrees_of_freedom > _NEARLY_NORMAL:
        limit = student_quantile(0.5 * (1.0 + level), math.inf)
        return float(special.ndtr(ratio - limit) + special.ndtr(-ratio - limit))
    limit = student_quantile(0.5 * (1.0 + level), degrees_of_freedom)
    above = 1.0 - float(special.nctdtr(degrees_of_freedom, ratio, limit))
    # The lower tail is the upper one of the mirrored case, which the library does better.
    below = 1.0 - float(special.nctdtr(degrees_of_freedom, -ratio, limit))
    power = above + below
    return power if math.isfinite(power) else _power_by_sum(ratio, degrees_of_freedom, limit)


def _power_by_sum(ratio: float, degrees_of_freedom: float, limit: float) -> float:
    """The same where scipy.special.nctdtr gives no number (ratios from about 6 on, not everywhere).

    With z normal and s the root of chi-squared over its degrees of freedom, |z + ratio|/s > limit means that
    chi-squared stays below its degrees of freedom times ((z + ratio)/limit)^2: its mean over z, by trapezoids.
    """
    import numpy as np
    from scipy import special

    z = np.linspace(-_FAR, _FAR, _POINTS)
    weights = np.exp(-0.5 * z**2)
    below = special.chdtr(degrees_of_freedom, degrees_of_freedom * ((z + ratio) / limit) ** 2)
    return float(weights @ below / weights.sum())


def _uncertainty(scatter: float, runs_a: float, runs_b: float, shared: float) -> tuple[float, float]:
    """Standard uncertainty and degrees of freedom of a difference of two means."""
    random = scatter * math.sqrt(1.0 / runs_a + 1.0 / runs_b)
    freedom = welch_satterthwaite([(random, runs_a + runs_b - 2.0), (shared, math.inf)])
    return math.hypot(random, shared), freedom


def detection_power(
    difference: float,
    scatter: float,
    runs_a: float,
    runs_b: float,
    *,
    level: float = USUAL_LEVEL,
    shared: float = 0.0,
) -> float:
    """Return the chance that a trial shows a true difference as different from none.

    Parameters
    ----------
    difference : float
        True difference of the two means [figure's unit].
    scatter : float
        Standard deviation of runs of one build [figure's unit], above 0.
    runs_a, runs_b : float
        Runs of each build, 2 or more.
    level : float, optional
        Of the interval.
    shared : float, optional
        Standard uncertainty of the difference that more runs do not lower [figure's unit].

    Returns
    -------
    float
        [-]

    Raises
    ------
    InputError
        When a value is out of range.

    Notes
    -----
    Noncentral t (Cohen 1988, 2.5), with effective degrees of freedom where a shared part is present.
    """
    require_positive("scatter", scatter, "")
    for field, runs in (("runs_a", runs_a), ("runs_b", runs_b)):
        if not runs >= _LEAST_RUNS:
            raise InputError(field, runs, "it must be 2 or more", "One run shows no scatter.")
    uncertainty, freedom = _uncertainty(scatter, runs_a, runs_b, shared)
    return _two_sided_power(abs(difference) / uncertainty, freedom, check_level(level))


def runs_for_difference(
    difference: float,
    scatter: float,
    *,
    power: float = USUAL_POWER,
    level: float = USUAL_LEVEL,
    shared: float = 0.0,
) -> float | None:
    """Return the runs per build, not rounded, that show a difference with a given chance.

    Parameters
    ----------
    difference, scatter, level, shared
        As in `detection_power`.
    power : float, optional
        Chance wanted [-].

    Returns
    -------
    float or None
        2 or more; None when not even `MOST_RUNS` do it.

    Raises
    ------
    InputError
        When a value is out of range.
    """
    from scipy.optimize import brentq

    require_positive("difference", abs(difference), "", "It is the smallest difference worth knowing.")
    check_level(power, "power")

    def short(runs: float) -> float:
        return detection_power(difference, scatter, runs, runs, level=level, shared=shared) - power

    if short(_LEAST_RUNS) >= 0.0:
        return float(_LEAST_RUNS)
    if short(MOST_RUNS) < 0.0:
        return None
    return float(brentq(short, _LEAST_RUNS, MOST_RUNS, xtol=1e-6))


def runs_for_same(
    margin: float,
    scatter: float,
    *,
    power: float = USUAL_POWER,
    level: float = USUAL_LEVEL,
    shared: float = 0.0,
) -> float | None:
    """Return the runs per build, not rounded, that show two equal builds as the same within a margin.

    Parameters
    ----------
    margin : float
        Half width of what counts as the same [figure's unit], above 0.
    scatter, power, level, shared
        As in `runs_for_difference`.

    Returns
    -------
    float or None
        2 or more; None when not even `MOST_RUNS` do it.

    Raises
    ------
    InputError
        When a value is out of range.

    Notes
    -----
    For a true difference of none, by the usual approximation margin = (t1 + t2) u with t1 at (1 + level)/2 and t2 at
    (1 + power)/2 (Julious 2004, Stat. Med. 23(12), section 5). It asks for a little too many where runs are few.
    """
    from scipy.optimize import brentq

    require_positive("margin", margin, "")
    require_positive("scatter", scatter, "")
    check_level(power, "power")
    check_level(level)

    def short(runs: float) -> float:
        uncertainty, freedom = _uncertainty(scatter, runs, runs, shared)
        reach = student_quantile(0.5 * (1.0 + level), freedom) + student_quantile(0.5 * (1.0 + power), freedom)
        return margin - reach * uncertainty

    if short(_LEAST_RUNS) >= 0.0:
        return float(_LEAST_RUNS)
    if short(MOST_RUNS) < 0.0:
        return None
    return float(brentq(short, _LEAST_RUNS, MOST_RUNS, xtol=1e-6))


def smallest_difference(
    scatter: float,
    runs_a: float,
    runs_b: float,
    *,
    power: float = USUAL_POWER,
    level: float = USUAL_LEVEL,
    shared: float = 0.0,
) -> float:
    """Return the smallest true difference a trial shows with a given chance [figure's unit].

    Parameters are those of `detection_power` and `runs_for_difference`.
    """
    from scipy.optimize import brentq

    check_level(power, "power")
    check_level(level)
    uncertainty, freedom = _uncertainty(require_positive("scatter", scatter, ""), runs_a, runs_b, shared)
    if _two_sided_power(0.0, freedom, level) >= power:
        return 0.0
    high = 2.0
    while _two_sided_power(high, freedom, level) < power:
        high *= 2.0
    return float(uncertainty * brentq(lambda x: _two_sided_power(x, freedom, level) - power, 0.0, high))


def scatter_limit(scatter: float, degrees_of_freedom: float, probability: float = _SCATTER_DOUBT) -> float:
    """Return the scatter that the true one stays below with a probability [figure's unit].

    From a standard deviation of few runs, by chi-squared: four runs leave it open to a factor of 1.7 at 80 %.
    """
    from scipy import special

    return scatter * math.sqrt(degrees_of_freedom / float(special.chdtri(degrees_of_freedom, probability)))


def balanced_order(
    runs_per_build: int,
    *,
    builds: tuple[str, str] = ("A", "B"),
    style: Literal["balanced", "shuffled"] = "balanced",
    seed: int = 1,
) -> tuple[str, ...]:
    """Return an order of runs that keeps drift apart from the change.

    Parameters
    ----------
    runs_per_build : int
        1 or more.
    builds : tuple of (str, str), optional
    style : {"balanced", "shuffled"}, optional
        "balanced": blocks of four, A B B A or B A A B, each mirrored to the one before, so that a steady drift
        cancels in every full block. "shuffled": blocks of four in random order, two of each, against drifts
        that follow a rhythm.
    seed : int, optional
        Decides which build leads, and the shuffles.

    Raises
    ------
    InputError
        When there is no run, or the two builds have one name.
    """
    import numpy as np

    if runs_per_build < 1:
        raise InputError("runs_per_build", runs_per_build, "it must be 1 or more")
    if builds[0] == builds[1]:
        raise InputError("builds", builds[0], "the two builds need different names")
    random = np.random.default_rng(seed)
    lead = int(random.integers(2))
    order: list[int] = []
    for block in range(runs_per_build // 2):
        if style == "balanced":
            first = (lead + block) % 2
            order += [first, 1 - first, 1 - first, first]
        else:
            order += [int(build) for build in random.permutation([0, 0, 1, 1])]
    if runs_per_build % 2:
        first = 1 - order[-1] if order else lead
        order += [first, 1 - first]
    return tuple(builds[build] for build in order)


def plan_trial(
    scatter: float,
    difference: float,
    *,
    power: float = USUAL_POWER,
    level: float = USUAL_LEVEL,
    scatter_runs: int | None = None,
    shared: float = 0.0,
    builds: tuple[str, str] = ("A", "B"),
    style: Literal["balanced", "shuffled"] = "balanced",
    seed: int = 1,
) -> TrialPlan:
    """Plan a trial of two builds.

    Parameters
    ----------
    scatter : float
        Standard deviation of runs of one build, from earlier runs [figure's unit].
    difference : float
        The difference that matters [figure's unit].
    power : float, optional
        Chance wanted to see it [-].
    level : float, optional
        Of the interval the trial will be judged by.
    scatter_runs : int or None, optional
        How many runs the scatter rests on; None when it is taken as known.
    shared : float, optional
        Standard uncertainty of the difference that more runs do not lower [figure's unit].
    builds, style, seed
        As in `balanced_order`.

    Raises
    ------
    InputError
        When a value is out of range, or no number of runs up to `MOST_RUNS` sees the difference.
    """
    exact = runs_for_difference(difference, scatter, power=power, level=level, shared=shared)
    if exact is None:
        raise InputError(
            "difference",
            difference,
            f"not even {MOST_RUNS} runs of each build would show it at this scatter",
            "Lower the scatter or the instruments' error, or settle for a larger difference.",
        )
    runs = math.ceil(exact - 1e-6)
    cautious = None
    if scatter_runs is not None:
        if scatter_runs < _LEAST_RUNS:
            raise InputError("scatter_runs", scatter_runs, "it must be 2 or more", "One run shows no scatter.")
        upper = scatter_limit(scatter, scatter_runs - 1.0)
        more = runs_for_difference(difference, upper, power=power, level=level, shared=shared)
        cautious = None if more is None else math.ceil(more - 1e-6)
    order = balanced_order(runs, builds=builds, style=style, seed=seed)
    changes = sum(one != next_one for one, next_one in itertools.pairwise(order))
    reached = detection_power(difference, scatter, runs, runs, level=level, shared=shared)
    said = [
        f"{runs} runs of each build see the difference that matters {100.0 * reached:.0f} % of the time.",
        "Take the pump off and set it up again between runs, or the scatter is that of the readings alone.",
    ]
    if scatter_runs is not None and cautious != runs:
        said.append(
            f"The scatter rests on {scatter_runs} runs and may be larger; with "
            + (f"{cautious} runs of each build" if cautious else f"more than {MOST_RUNS} runs of each build")
            + " the trial is safe against that."
        )
    if runs % 2:
        said.append("An odd number of runs leaves the last pair open to drift; one more run of each closes it.")
    return TrialPlan(runs, cautious, reached, order, changes, tuple(said))
