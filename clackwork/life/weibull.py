"""The two-parameter Weibull distribution of life, fitted by likelihood to lives with any censoring.

R(t) = exp(-(t / scale)^shape). Intervals are those of the likelihood ratio (Meeker and Escobar, Statistical Methods for
Reliability Data, 1998, chapter 8; from memory): all values whose likelihood, at its best over the other parameter, is not
less than the best of all by more than half a chi-squared quantile. They need no symmetry and never reach below 0.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from clackwork.bench.gum import check_level, student_quantile
from clackwork.errors import ModelError, require_range
from clackwork.life.exposures import Exposure, Lives, gather

FloatArray = NDArray[np.float64]

FEWEST_FAILURES = 2.0
"""A shape cannot be told from fewer failures."""
SHAPES = (0.05, 50.0)
"""Shapes looked at: no life of a part is known outside (common practice, no published source)."""
_FARTHEST = 40.0
"""Intervals are looked for over so many units of the logarithm."""


@dataclass(frozen=True)
class Interval:
    """A figure with the ends of its interval; an end may be 0 or infinite where nothing bounds it."""

    value: float
    low: float
    high: float


@dataclass(frozen=True)
class WeibullFit:
    """A fitted distribution.

    Attributes
    ----------
    scale : float
        Life by which 63.2 % have failed, in the unit of the lives.
    shape : float
        Under 1 early failures, 1 chance, above 1 wear.
    log_likelihood : float
        At the best.
    failures, parts : float
        How many it rests on.
    lives : Lives
    """

    scale: float
    shape: float
    log_likelihood: float
    failures: float
    parts: float
    lives: Lives

    def reliability(self, life: float) -> float:
        """Share that lasts longer than ``life``."""
        return math.exp(-((life / self.scale) ** self.shape))

    def life_at(self, share_failed: float) -> float:
        """Life by which this share has failed: 0.1 for what is called B10."""
        return self.scale * _unit_life(share_failed, self.shape)

    def scale_interval(self, level: float = 0.90) -> Interval:
        """Scale with its likelihood interval."""
        return _quantile_interval(self, 1.0 - math.exp(-1.0), level)

    def shape_interval(self, level: float = 0.90) -> Interval:
        """Shape with its likelihood interval."""
        low, high = _ends(lambda log_shape: _best_scale(self.lives, math.exp(log_shape))[1], self, self.shape, level)
        return Interval(self.shape, max(low, SHAPES[0]), min(high, SHAPES[1]))

    def life_interval(self, share_failed: float, level: float = 0.90) -> Interval:
        """Life by which a share has failed, with its likelihood interval."""
        return _quantile_interval(self, share_failed, level)

    def reliability_interval(self, life: float, level: float = 0.90) -> Interval:
        """Share that lasts longer than ``life``, with its likelihood interval."""
        exponent = (life / self.scale) ** self.shape

        def profile(log_exponent: float) -> float:
            # given the cumulative hazard at this life, the scale follows from the shape
            def at(log_shape: float) -> float:
                shape = math.exp(log_shape)
                return log_likelihood(self.lives, life * math.exp(-log_exponent / shape), shape)

            return _highest(at)[1]

        low, high = _ends(profile, self, exponent, level)
        return Interval(math.exp(-exponent), math.exp(-high), math.exp(-low))


def _unit_life(share_failed: float, shape: float) -> float:
    require_range("share_failed", share_failed, 1e-9, 1.0 - 1e-9, "")
    return float((-math.log1p(-share_failed)) ** (1.0 / shape))


def log_likelihood(lives: Lives, scale: float, shape: float) -> float:
    """Of a scale and shape; minus infinity where a figure overflows."""
    with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
        log_t = np.log(lives.failed / scale)
        total = float(np.sum(lives.failed_number * (math.log(shape / scale) + (shape - 1.0) * log_t)))
        total -= float(np.sum(lives.failed_number * np.exp(shape * log_t)))
        total -= float(np.sum(lives.unfailed_number * (lives.unfailed / scale) ** shape))
        if lives.earliest.size:
            early, late = (lives.earliest / scale) ** shape, (lives.latest / scale) ** shape
            total += float(np.sum(lives.between_number * (-early + np.log(-np.expm1(early - late)))))
    return total if math.isfinite(total) else -math.inf


def _best_scale(lives: Lives, shape: float) -> tuple[float, float]:
    """Best scale for a shape and its log likelihood."""
    top = lives.longest
    with np.errstate(under="ignore"):
        exact = float(np.sum(lives.failed_number * (lives.failed / top) ** shape))
        exact += float(np.sum(lives.unfailed_number * (lives.unfailed / top) ** shape))
        if not lives.earliest.size:
            failures = float(lives.failed_number.sum())
            scale = top * (exact / failures) ** (1.0 / shape)
            return scale, log_likelihood(lives, scale, shape)
    start = math.log(top) + math.log(max(exact, 1e-300) / lives.failures + 1.0) / shape
    found, best = _highest(lambda log_scale: log_likelihood(lives, math.exp(log_scale), shape), start)
    return math.exp(found), best


def _highest(function: Callable[[float], float], start: float = 0.0) -> tuple[float, float]:
    """Place and value of the one top of a function, found by steps that grow and Brent's search between them."""
    from scipy.optimize import minimize_scalar

    step = 0.25
    middle, value = start, function(start)
    for sign in (1.0, -1.0):
        reach = step
        while abs(middle + sign * reach - start) < _FARTHEST and (there := function(middle + sign * reach)) > value:
            middle, value = middle + sign * reach, there
            reach *= 1.6
    found = minimize_scalar(
        lambda x: -function(x), bounds=(middle - 2.0, middle + 2.0), method="bounded", options={"xatol": 1e-9}
    )
    return (float(found.x), -float(found.fun)) if -found.fun >= value else (middle, value)


def _ends(profile: Callable[[float], float], fit: WeibullFit, best: float, level: float) -> tuple[float, float]:
    """Ends, about ``best``, of where a profile over the logarithm stays within the likelihood's reach."""
    from scipy.optimize import brentq

    check_level(level)
    least = fit.log_likelihood - 0.5 * _reach(fit.failures, level)
    middle = math.log(best)
    ends = []
    for sign in (-1.0, 1.0):
        reach = 0.05
        while reach < _FARTHEST and profile(middle + sign * reach) > least:
            reach *= 1.6
        if reach >= _FARTHEST:
            ends.append(0.0 if sign < 0.0 else math.inf)
            continue
        inner, outer = middle, middle + sign * reach
        ends.append(math.exp(brentq(lambda x: max(profile(x), -1e15) - least, inner, outer, xtol=1e-9)))
    return ends[0], ends[1]


def _reach(failures: float, level: float) -> float:
    """What twice the log likelihood may fall by, for few failures more than the chi-squared quantile it tends to.

    It is the exact reach for the mean of as many normal values of unknown spread, n ln(1 + t^2 / (n - 1)); a Weibull life
    is a place and a spread of its logarithm in the same way. The bare quantile covers too little (docs/coverage.md).
    """
    left = failures - 1.0
    return failures * math.log1p(student_quantile(0.5 + 0.5 * level, left) ** 2 / left)


def _quantile_interval(fit: WeibullFit, share_failed: float, level: float) -> Interval:
    def profile(log_life: float) -> float:
        life = math.exp(log_life)

        def at(log_shape: float) -> float:
            shape = math.exp(log_shape)
            return log_likelihood(fit.lives, life / _unit_life(share_failed, shape), shape)

        return _highest(at, math.log(fit.shape))[1]

    value = fit.life_at(share_failed)
    return Interval(value, *_ends(profile, fit, value, level))


def fit_weibull(exposures: Sequence[Exposure]) -> WeibullFit:
    """Fit scale and shape by likelihood.

    Parameters
    ----------
    exposures : sequence of Exposure

    Returns
    -------
    WeibullFit

    Raises
    ------
    ModelError
        With fewer than two failures, or with failures all at one life and nothing else: the shape is then not known and
        :mod:`clackwork.life.bounds` says what can be said.
    """
    lives = gather(exposures)
    if lives.failures < FEWEST_FAILURES:
        raise ModelError(
            f"{lives.failures:g} failures: scale and shape take two at least. What parts without failure show "
            "is told by a bound at a shape you name."
        )
    log_shape, best = _highest(lambda x: _best_scale(lives, math.exp(x))[1])
    shape = math.exp(log_shape)
    if not SHAPES[0] * 1.01 < shape < SHAPES[1] / 1.01:
        raise ModelError(
            f"The lives give a shape of {shape:.3g}, outside {SHAPES[0]:g} to {SHAPES[1]:g}: they are all but equal, or one "
            "is mistyped. Look at them one by one."
        )
    parts = lives.failures + float(lives.unfailed_number.sum())
    return WeibullFit(_best_scale(lives, shape)[0], shape, best, lives.failures, parts, lives)
