"""The delivery line stepped through a closing of its far valve, compiled; :mod:`clackwork.ram.line_surge` calls it.

Delay lines joined by lumped losses, as the drive pipe of the kernel (:mod:`clackwork.ram.pipe_losses`), between an air
vessel or a held head at the pump and a valve at the outlet.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from clackwork._cache import ensure_cache_dir

ensure_cache_dir()

from numba import njit  # noqa: E402  (the cache folder has to be known before numba is imported)

from clackwork.ram.pipe_losses import (  # noqa: E402
    FRICTION_POINTS,
    PADDING,
    WALL_TERMS,
    fill_friction_table,
    loss_work,
    pass_losses,
    read_friction,
    start_losses,
    wall_shear_terms,
)

FloatArray = NDArray[np.float64]

SURGE_PARAMETERS = (
    "impedance",
    "time_step",
    "losses",
    "steps_per_half",
    "steps",
    "flow",
    "bore",
    "roughness",
    "viscosity",
    "stretch_over_g",
    "friction_scale",
    "unsteady_friction",
    "fittings",
    "lift",
    "valve_drop",
    "closing_time",
    "closing_exponent",
    "vessel_volume",
    "precharge_head_abs",
    "polytropic_index",
    "atmospheric_head",
    "shut_off_head",
    "gas",
)
"""Places in the array that the compiled steps read; ``fittings`` is their loss in one lump over flow squared, ``gas``
the free gas of one lump as volume times head over vapour head [m4]."""
SURGE_COLUMNS = (
    "time",
    "vessel_head",
    "middle_head",
    "valve_head",
    "vessel_flow",
    "valve_flow",
    "opening",
    "cavity_volume",
)
HIGHEST, LOWEST, CAVITY, STEADY = range(4)
_HEAD, _AIR, _VALVE_CAVITY = range(3)  # what the ends remember: head and air of the vessel, cavity at the valve
BOIL_MARGIN = 1.0
"""Head over vapour head below which the water is said to boil [m]."""


@njit(cache=True, nogil=True, error_model="numpy")
def _vessel_step(
    wave: float, ends: FloatArray, inflow: float, p: FloatArray, start_head: float, start_air: float
) -> None:
    """Head and air of the vessel a step on, the air expanding as the line draws (implicit, Newton)."""
    impedance, dt, index, outside = p[0], p[1], p[19], p[20]
    head, least = ends[_HEAD], 1e-6 * start_air
    for _ in range(4):
        air = max(ends[_AIR] + dt * ((head - wave) / impedance - inflow), least)
        pressure_head = (start_head + outside) * (start_air / air) ** index
        head -= (head + outside - pressure_head) / (1.0 + index * pressure_head / air * dt / impedance)
    ends[_AIR] = max(ends[_AIR] + dt * ((head - wave) / impedance - inflow), least)
    ends[_HEAD] = head


@njit(cache=True, nogil=True, error_model="numpy")
def _outlet_step(wave: float, opening: float, p: FloatArray) -> tuple[float, float]:
    """Head [m] before the valve and flow through it [m3/s]: an orifice under the head over its outlet, either way."""
    impedance, lift = p[0], p[13]
    factor = opening * p[5] / math.sqrt(p[14])
    over = wave - lift
    root = 0.5 * (-impedance * factor + math.sqrt((impedance * factor) ** 2 + 4.0 * abs(over)))
    return lift + math.copysign(root * root, over), math.copysign(factor * root, over)


@njit(cache=True, nogil=True, error_model="numpy")
def _note(envelope: FloatArray, place: int, head: float, cavity: float) -> None:
    """Keep the highest and lowest head and the largest cavity of a place."""
    envelope[HIGHEST, place] = max(envelope[HIGHEST, place], head)
    envelope[LOWEST, place] = min(envelope[LOWEST, place], head)
    envelope[CAVITY, place] = max(envelope[CAVITY, place], cavity)


@njit(cache=True, nogil=True, error_model="numpy")
def _over_boiling(free: float, cavity: float, gas: float, give: float) -> float:
    """Head over vapour head [m] where a cavity of ``cavity`` [m3] stood a step ago (implicit).

    The cavity's gas fills gas / h under a head h over boiling, and h above ``free``, the head without a cavity, makes
    it grow by ``give`` a metre: cavity + give (h - free) = gas / h.
    """
    middle = 0.5 * (free - cavity / give)
    root = math.sqrt(middle * middle + gas / give)
    return middle + root if middle > 0.0 else gas / give / max(root - middle, 1e-300)


@njit(cache=True, nogil=True, error_model="numpy")
def _inner_step(
    block: int, forward: FloatArray, backward: FloatArray, boiling: FloatArray, cavities: FloatArray,
    envelope: FloatArray, p: FloatArray, trace: FloatArray, stride: int,
) -> None:  # fmt: skip
    """Let gas and vapour swell at each loss, whose waves in one block are passed; keep its heads.

    A head raised by a cavity goes off as twice that rise in either wave; the loss of the place is that of the mean of
    the flows on its two sides.
    """
    now, twice = block % 3, (block + 1) % 3
    half, n = forward.shape[1], int(p[2])
    give = 2.0 * p[1] / p[0]
    for j in range(half):
        step = block * half + j
        for i in range(n):
            free = 0.5 * (forward[twice, j, i] + backward[twice, j, i + 1]) - boiling[i + 1]
            over = _over_boiling(free, cavities[i], p[22], give)
            cavities[i] = max(cavities[i] + give * (over - free), 0.0)
            backward[now, j, i] += 2.0 * (over - free)
            forward[now, j, i + 1] += 2.0 * (over - free)
            _note(envelope, i + 1, boiling[i + 1] + over, cavities[i])
            if step % stride == 0:
                trace[step // stride, 7] += cavities[i]
                if i == n // 2:
                    trace[step // stride, 2] = boiling[i + 1] + over


@njit(cache=True, nogil=True, error_model="numpy")
def _pump_end(
    block: int, forward: FloatArray, backward: FloatArray, ends: FloatArray, envelope: FloatArray, p: FloatArray,
    trace: FloatArray, stride: int, start_air: float,
) -> None:  # fmt: skip
    """Send back the waves that come to the vessel in one block."""
    impedance, dt, start_head, before = p[0], p[1], envelope[STEADY, 0], (block + 2) % 3
    half = forward.shape[1]
    for j in range(half):
        step = block * half + j
        wave = backward[before, j, 0]
        if ends[_AIR] > 0.0:
            inflow = p[5] * min(max((p[21] - ends[_HEAD]) / (p[21] - start_head), 0.0), 1.0)
            _vessel_step(wave, ends, inflow, p, start_head, start_air)
        head = ends[_HEAD]
        forward[before, j, 0] = 2.0 * head - wave
        _note(envelope, 0, head, 0.0)
        if step % stride == 0:
            row = step // stride
            trace[row, 0], trace[row, 1], trace[row, 4] = step * dt, head, (head - wave) / impedance


@njit(cache=True, nogil=True, error_model="numpy")
def _valve_end(
    block: int, forward: FloatArray, backward: FloatArray, ends: FloatArray, envelope: FloatArray, p: FloatArray,
    trace: FloatArray, stride: int, limit: float,
) -> None:  # fmt: skip
    """Send back the waves that come to the valve in one block; it holds its vapour head while a cavity stands there."""
    impedance, dt, before = p[0], p[1], (block + 2) % 3
    half, n = forward.shape[1], int(p[2])
    for j in range(half):
        step = block * half + j
        wave = forward[before, j, n]
        opening = 0.0
        if step * dt < p[15]:
            opening = (1.0 - step * dt / p[15]) ** p[16]
        head, leaving = _outlet_step(wave, opening, p)
        if head < limit or ends[_VALVE_CAVITY] > p[22] / BOIL_MARGIN:
            leaving = opening * p[5] * math.copysign(math.sqrt(abs(limit - p[13]) / p[14]), limit - p[13])
        free = wave - impedance * leaving - limit
        over = _over_boiling(free, ends[_VALVE_CAVITY], p[22], dt / impedance)
        ends[_VALVE_CAVITY] = max(ends[_VALVE_CAVITY] + dt / impedance * (over - free), 0.0)
        head = limit + over
        backward[before, j, n] = 2.0 * head - wave
        _note(envelope, n + 1, head, ends[_VALVE_CAVITY])
        if step % stride == 0:
            row = step // stride
            trace[row, 3], trace[row, 5], trace[row, 6] = head, leaving, opening
            trace[row, 7] += ends[_VALVE_CAVITY]


@njit(cache=True, nogil=True, error_model="numpy")
def step_surge(p: FloatArray, boiling: FloatArray, envelope: FloatArray, trace: FloatArray, stride: int) -> None:
    """Step the line from steady flow through the closing of its valve.

    Parameters
    ----------
    p : float64[23]
        By ``SURGE_PARAMETERS``; no ``vessel_volume`` holds the head.
    boiling : float64[losses + 2]
        Vapour head at the pump, each loss and the valve [m above datum].
    envelope : float64[4, losses + 2]
        Filled in: highest and lowest head [m], largest cavity [m3], steady head [m].
    trace : float64[:, 8]
        Zeros, filled in every ``stride`` steps by ``SURGE_COLUMNS``; long enough for all of them.
    stride : int
    """
    impedance, dt, n, half, flow, bore = p[0], p[1], int(p[2]), int(p[3]), p[5], p[6]
    table = np.empty(FRICTION_POINTS + 1)
    fill_friction_table(table, 4.0 * flow, bore, p[7], p[8], p[9] * p[10])
    table += p[12]
    table_scale = FRICTION_POINTS / math.sqrt(4.0 * flow)
    wall_terms = np.zeros((2, WALL_TERMS + 2))
    wall_shear_terms(wall_terms, dt, p[11] * p[9], bore, p[8], flow / (0.25 * math.pi * bore * bore), impedance)
    work = loss_work(n)
    start_losses(work, flow, wall_terms)
    loss = read_friction(table, table_scale, flow) * flow * flow
    start_head = p[13] + p[14] + n * loss
    forward, backward = np.zeros((3, half, n + 1 + PADDING)), np.zeros((3, half, n + 1 + PADDING))
    for i in range(n + 1):
        forward[:, :, i] = start_head - i * loss + impedance * flow
        backward[:, :, i] = start_head - i * loss - impedance * flow
        envelope[STEADY, i] = start_head - max(i - 0.5, 0.0) * loss
    envelope[STEADY, n + 1] = start_head - n * loss
    envelope[HIGHEST], envelope[LOWEST] = envelope[STEADY], envelope[STEADY]
    start_air = p[17] * min((p[18] / (start_head + p[20])) ** (1.0 / p[19]), 1.0)
    gas = p[22] / np.maximum(envelope[STEADY] - boiling, BOIL_MARGIN)
    ends, cavities = np.array([start_head, start_air, gas[n + 1]]), gas[1 : n + 1]
    for block in range(int(p[4]) // half):
        _pump_end(block, forward, backward, ends, envelope, p, trace, stride, start_air)
        pass_losses(block, forward, backward, 0, table, table_scale, wall_terms, work)
        _inner_step(block, forward, backward, boiling, cavities, envelope, p, trace, stride)
        _valve_end(block, forward, backward, ends, envelope, p, trace, stride, boiling[n + 1])
