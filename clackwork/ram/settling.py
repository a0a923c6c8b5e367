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


@njit(cache=True, nogil=True, error_model="numpy")
def tell_means(
    result: FloatArray, marks: FloatArray, per_beat: FloatArray, last: int, width: int, weight: float, own_head: bool
) -> None:
    """Fill in what the last ``width`` beats up to mark ``last`` did; ``weight`` is rho g [N/m3].

    ``own_head`` says that the vessel's head was not held: its mean is told too.
    """
    first = last - width
    duration = marks[last, 0] - marks[first, 0]
    result[2] = width
    result[3] = duration / width
    square = 0.0
    for i in range(first, last):
        square += (marks[i + 1, 0] - marks[i, 0] - duration / width) ** 2
    result[4] = math.sqrt(square / width)
    result[5] = (marks[last, 1] - marks[first, 1]) / duration
    result[6] = (marks[last, 2] - marks[first, 2]) / duration
    result[7] = (marks[last, 3] - marks[first, 3]) / duration
    result[13] = (marks[last, 4] - marks[first, 4]) / width
    result[14] = (marks[last, 5] - marks[first, 5]) / width
    if own_head:
        result[15] = (marks[last, 7] - marks[first, 7]) / duration
    result[17] = (marks[last, 6] - marks[first, 6]) / duration
    result[22] = (marks[last, 16] - marks[first, 16]) / width
    for i in range(8):
        result[23 + i] = weight * (marks[last, 8 + i] - marks[first, 8 + i]) / width
    lowest, highest_head = 1e9, -1e9
    for i in range(first + 1, last + 1):
        result[8] += per_beat[i, 0] / width
        highest_head, lowest = max(highest_head, per_beat[i, 1]), min(lowest, per_beat[i, 2])
        result[11] += per_beat[i, 3] / width
        result[12] += per_beat[i, 4] / width
        result[16] += per_beat[i, 5] / width
    result[9], result[10] = highest_head, lowest
