"""When beats have settled: compiled, beside the kernel that asks."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from clackwork._cache import ensure_cache_dir

ensure_cache_dir()

from numba import njit  # noqa: E402  (the cache folder has to be known before numba is imported)

FloatArray = NDArray[np.float64]


@njit(cache=True, nogil=True, error_model="numpy")
def window_width(beats: int, least_beats: int) -> int:
    """Beats in one window: a third of those made, so that scattered beats are averaged for longer."""
    return max((least_beats - 1) // 2, (beats - 1) // 3)


@njit(cache=True, nogil=True, error_model="numpy")
def window_settled(marks: FloatArray, last: int, width: int, tolerance: float, vessel_held: bool) -> bool:
    """True when the means of the last two windows of ``width`` beats agree within ``tolerance`` and the standard error
    of the beat period over both, taken as that of unrelated beats, is below one and a half times that.

    With a vessel that fills and empties its line must also take what the ram gives.
    """
    end, middle, start = last, last - width, last - 2 * width
    period_new = marks[end, 0] - marks[middle, 0]
    period_old = marks[middle, 0] - marks[start, 0]
    if abs(period_new - period_old) > tolerance * period_new:
        return False
    drawn_new = marks[end, 3] - marks[middle, 3]
    for column in (1, 2):
        new = marks[end, column] - marks[middle, column]
        old = marks[middle, column] - marks[start, column]
        if abs(new - old) > tolerance * (abs(drawn_new) + 1e-12):
            return False
    if not vessel_held:
        given = marks[end, 2] - marks[start, 2]
        if abs(marks[end, 6] - marks[start, 6] - given) > 9.0 * tolerance * given:
            return False
    mean = (marks[end, 0] - marks[start, 0]) / (2 * width)
    square = 0.0
    for i in range(start, end):
        square += (marks[i + 1, 0] - marks[i, 0] - mean) ** 2
    return math.sqrt(square) / (2 * width) < 1.5 * tolerance * mean
