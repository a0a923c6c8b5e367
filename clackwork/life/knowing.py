"""What knowing a figure better would be worth before deciding: the expected value of partial perfect information.

Of each figure, the gains of the decisions are smoothed over its draws; had it been known, the better decision would have
been taken at each of its values (Strong, Oakley and Brennan, Medical Decision Making 34, 2014; from memory). What smoothing
makes of pure chance is taken off, found by smoothing over the same draws shuffled.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

_DEGREE = 3
_SHUFFLES = 20


@dataclass(frozen=True)
class WorthKnowing:
    """What knowing one figure exactly would gain.

    Attributes
    ----------
    figure : str
    worth : float
        Expected gain a year of deciding with it known over deciding now [currency].
    """

    figure: str
    worth: float


def worth_knowing(gains: FloatArray, figures: Mapping[str, FloatArray], *, seed: int = 1) -> tuple[WorthKnowing, ...]:
    """Rank figures by what knowing them would be worth, largest first.

    Parameters
    ----------
    gains : float64[draws, decisions]
        Gain of saying yes to each decision over saying no; decisions are free of each other.
    figures : mapping of str to float64[draws]
    seed : int
        Of the shuffling.
    """
    rng = np.random.default_rng([seed, 29])
    now = float(np.sum(np.maximum(gains.mean(axis=0), 0.0)))
    found = []
    for name, values in figures.items():
        by_chance = np.mean([_known(gains, rng.permutation(values)) for _ in range(_SHUFFLES)])
        worth = _known(gains, values) - max(float(by_chance), now)
        found.append(WorthKnowing(name, max(worth, 0.0)))
    return tuple(sorted(found, key=lambda one: -one.worth))


def _known(gains: FloatArray, values: FloatArray) -> float:
    """Expected gain of the best decisions with a figure known, its gains smoothed over the figure's rank."""
    rank = np.argsort(np.argsort(values, kind="stable"), kind="stable") / max(len(values) - 1, 1)
    basis = np.polynomial.legendre.legvander(2.0 * rank - 1.0, _DEGREE)
    smooth = basis @ np.linalg.lstsq(basis, gains, rcond=None)[0]
    return float(np.mean(np.sum(np.maximum(smooth, 0.0), axis=1)))
