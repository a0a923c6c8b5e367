"""Draws from a posterior of a few parameters, by importance sampling about its top.

A Student distribution with the curvature of the top is sampled, then, twice, one with the mean and covariance those draws
have when weighted (Gelman and others, Bayesian Data Analysis, chapter 10; from memory). The same seed gives the same draws.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from clackwork.errors import ModelError

FloatArray = NDArray[np.float64]
LogDensity = Callable[[FloatArray], FloatArray]
"""Of rows of parameters, float64[rows, parameters] -> float64[rows]."""

_FREEDOM = 5.0
"""Degrees of freedom of the proposal: tails heavy enough for skewed posteriors."""
_ROUNDS = 3
_LEAST_EFFECTIVE = 100.0
_STEP = 1e-3


@dataclass(frozen=True)
class PosteriorDraws:
    """Equal-weight draws.

    Attributes
    ----------
    draws : float64[draws, parameters]
    top : float64[parameters]
        Where the density is highest.
    effective : float
        Independent draws they are worth.
    """

    draws: FloatArray
    top: FloatArray
    effective: float


def draw_posterior(log_density: LogDensity, start: FloatArray, *, draws: int = 2000, seed: int = 1) -> PosteriorDraws:
    """Draw from a density known up to a factor.

    Parameters
    ----------
    log_density : callable
        Takes float64[rows, parameters]; minus infinity where a row is impossible.
    start : float64[parameters]
        A row that is possible; parameters should be scaled so that steps of a tenth or so matter.
    draws, seed : int

    Raises
    ------
    ModelError
        When the density has no top to be found, or its draws are too unequal to be trusted.
    """
    from scipy.optimize import minimize

    def lost(row: FloatArray) -> float:
        value = float(log_density(row[np.newaxis])[0])
        return -value if math.isfinite(value) else 1e30

    found = minimize(lost, start, method="Nelder-Mead", options={"maxiter": 4000, "xatol": 1e-6, "fatol": 1e-8})
    top = np.asarray(found.x, dtype=np.float64)
    if lost(top) >= 1e30:
        raise ModelError("The records do not fit together: nothing could explain them all. Look for one mistyped.")
    rng = np.random.default_rng(seed)
    middle, covariance = top, _curvature(log_density, top)
    tried = 4 * draws
    for _ in range(_ROUNDS):
        rows, log_proposal = _student(rng, middle, covariance, tried)
        log_weights = log_density(rows) - log_proposal
        weights = np.exp(log_weights - np.max(log_weights))
        weights /= weights.sum()
        middle = weights @ rows
        apart = rows - middle
        covariance = (apart * weights[:, np.newaxis]).T @ apart + 1e-12 * np.eye(len(top))
    effective = float(1.0 / np.sum(weights**2))
    if effective < _LEAST_EFFECTIVE:
        raise ModelError(
            f"The records leave the answer too open to be drawn from ({effective:.0f} draws of {tried} count): add records, "
            "or name a narrower prior."
        )
    places = (rng.random() + np.arange(draws)) / draws
    picked = np.minimum(np.searchsorted(np.cumsum(weights), places), tried - 1)
    return PosteriorDraws(rows[rng.permutation(picked)], top, min(effective, float(draws)))


def _curvature(log_density: LogDensity, top: FloatArray) -> FloatArray:
    """Covariance of a normal with the curvature of the top, by differences."""
    count = len(top)
    precision = np.zeros((count, count))
    steps = _STEP * np.eye(count)
    for i in range(count):
        for j in range(i, count):
            corners = np.array([top + a * steps[i] + b * steps[j] for a in (1.0, -1.0) for b in (1.0, -1.0)])
            value = log_density(corners)
            precision[i, j] = precision[j, i] = -(value[0] - value[1] - value[2] + value[3]) / (4.0 * _STEP**2)
    values, vectors = np.linalg.eigh(np.where(np.isfinite(precision), precision, 0.0))
    # a flat or saddle direction is sampled as one that is known within about one unit
    return np.asarray((vectors / np.maximum(values, 1.0)) @ vectors.T * 1.5)


def _student(
    rng: np.random.Generator, middle: FloatArray, covariance: FloatArray, count: int
) -> tuple[FloatArray, FloatArray]:
    """Draws of a multivariate Student distribution and their log density but for a constant."""
    root = np.linalg.cholesky(covariance)
    normal = rng.standard_normal((count, len(middle)))
    stretch = np.sqrt(_FREEDOM / rng.chisquare(_FREEDOM, count))[:, np.newaxis]
    apart = normal * stretch
    log_density = -0.5 * (_FREEDOM + len(middle)) * np.log1p(np.sum(apart**2, axis=1) / _FREEDOM)
    return middle + apart @ root.T, log_density
