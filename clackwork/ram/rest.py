"""Whole blocks in which the valves rest, in a loop of their own, compiled.

Most steps of a beat are such. The kernel's own loop has so much to keep at hand that the processor's registers do not
hold it; here they hold most. Each number is worked out as there and in the same order: only the last bits may differ.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from clackwork._cache import ensure_cache_dir

ensure_cache_dir()

from numba import njit  # noqa: E402  (the cache folder has to be known before numba is imported)

from clackwork.ram.pipe_losses import pass_losses, pass_mouth  # noqa: E402

FloatArray = NDArray[np.float64]

SUMS = 16
"""Numbers :func:`pass_steps` is given and brings up to date."""


@njit(cache=True, nogil=True, error_model="numpy")
def pass_steps(
    forward: FloatArray,
    backward: FloatArray,
    friction: tuple[FloatArray, float, FloatArray, FloatArray],
    n: int,
    block: int,
    ends: float,
    dt: float,
    mouth: tuple[float, float, float],
    supply_area: float,
    pump: tuple[float, float, float, float, float, float, float],
    stops: tuple[float, float, float, float],
    sums: FloatArray,
) -> tuple[int, int]:
    """Step blocks up to the step at which a valve would move or a cavity open, or until the time is nearly up.

    Parameters
    ----------
    forward, backward : float64[3, half, columns]
        Waves; see :func:`~clackwork.ram.pipe_losses.pass_losses`.
    friction : float64[FRICTION_POINTS + 1], float, float64[2, WALL_TERMS + 2], float64[size]
        Table and its scale, wall shear, state of the losses.
    n, block : int
        Losses along the one pipe, and the block about to start.
    ends, dt : float
        Time after which no block is begun, and the step [s].
    mouth : float, three
        As in :func:`~clackwork.ram.pipe_losses.pass_mouth`.
    supply_area : float
        Plan area of the supply [m2].
    pump : float, seven
        Waste valve's flow at one metre of head [m2.5/s] and its square, what the body's storage gives and keeps [m2/s],
        inverse impedance at the pump [m2/s], the body's compliance [m2] and its inverse.
    stops : float, four
        Vapour head, head at which the delivery valve opens, head at which the waste valve leaves its stop [m]; 1 for a
        valve that rests open, -1 for one that rests shut.
    sums : float64[SUMS]
        Brought up to date: time, supply head, head and volume stored of the step before, inflow, waste; totals of volume
        drawn, of its energy, and of that lost at the mouth; sums over steps of waste, its head, what is stored; highest
        inflow; highest and lowest head; steps.

    Returns
    -------
    block, step : int
        The block to go on with and the step within it, whose losses are passed; -1 for a block not begun.
    """
    table, table_scale, terms, work = friction
    waste_open, square, give, kept, conductance, compliance, inverse_compliance = pump
    vapour_head, highest, balance, side = stops
    scale = 4.0 * (conductance + give)
    part = 2.0 / scale
    half = forward.shape[1]
    time, supply_head, head_before, inflow, waste_now = sums[0], sums[1], sums[2], sums[4], sums[5]
    all_drawn, given, entered = sums[6], sums[7], sums[8]
    wasted, spent, stored, fastest, peak, lowest = sums[9], sums[10], sums[11], sums[12], sums[13], sums[14]
    stored_before = sums[3]
    steps = 0
    at = -1
    while time < ends:
        before = (block + 2) % 3
        drawn, entered = pass_mouth(forward, backward, before, supply_head, mouth, dt, entered)
        all_drawn += drawn * dt
        given += supply_head * drawn * dt
        supply_head -= drawn * dt / supply_area
        pass_losses(block, forward, backward, 0, table, table_scale, terms, work)
        older = head_before - stored_before * inverse_compliance
        quiet = 0
        while quiet < half:
            wave = forward[before, quiet, n]
            source = wave * conductance - kept * older + (give + kept) * head_before
            root = (math.sqrt(square + scale * abs(source)) - waste_open) * part
            head = math.copysign(root * root, source)
            if head < vapour_head or head > highest or (0.5 * (head + head_before) - balance) * side > 0.0:
                break
            backward[before, quiet, n] = 2.0 * head - wave
            waste_now = math.copysign(waste_open * root, source)
            inflow = (wave - head) * conductance
            older, head_before = head_before, head
            wasted += waste_now
            spent += head * waste_now
            stored += head * (inflow - waste_now)
            fastest = max(fastest, inflow)
            peak, lowest = max(peak, head), min(lowest, head)
            quiet += 1
        stored_before = compliance * (head_before - older)
        time += quiet * dt
        steps += quiet
        if quiet < half:
            at = quiet
            break
        block += 1
    sums[0], sums[1], sums[2], sums[3], sums[4], sums[5] = (
        time,
        supply_head,
        head_before,
        stored_before,
        inflow,
        waste_now,
    )
    sums[6], sums[7], sums[8] = all_drawn, given, entered
    sums[9], sums[10], sums[11], sums[12], sums[13], sums[14] = wasted, spent, stored, fastest, peak, lowest
    sums[15] = steps
    return block, at


@njit(cache=True, nogil=True, error_model="numpy")
def fill_trace(trace: FloatArray, row: int, values: tuple[float, float, float, float, float, float, float]) -> None:
    """Fill one row of a float64[rows, 7] trace."""
    for column in range(7):
        trace[row, column] = values[column]
