"""What a wave loses on its way along the drive pipe: quasi-steady friction and unsteady wall shear, compiled."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from clackwork._cache import ensure_cache_dir

ensure_cache_dir()

from numba import njit  # noqa: E402  (the cache folder has to be known before numba is imported)

FloatArray = NDArray[np.float64]

_QUICK_TERMS = 3
WALL_TERMS = 6
"""Exponentials of the wall shear: the quick ones stepped at every step, the others at every block."""
_WALL_SPACING = 2.0
"""Between the logarithms of their rates: the sum ripples by 1.4 % about the weighting function."""
WALL_ROWS = WALL_TERMS + 2
FRICTION_POINTS = 256
_LEAST_REYNOLDS = 200.0


@njit(cache=True, nogil=True, error_model="numpy")
def darcy_friction(reynolds: float, relative_roughness: float) -> float:
    """Darcy friction factor: 64/Re below 2000, Colebrook above 4000, a straight blend between."""
    if reynolds < 2000.0:
        return 64.0 / max(reynolds, 1e-9)
    turbulent_reynolds = max(reynolds, 4000.0)
    x = -1.8 * math.log10((relative_roughness / 3.7) ** 1.11 + 6.9 / turbulent_reynolds)
    for _ in range(2):
        argument = relative_roughness / 3.7 + 2.51 * x / turbulent_reynolds
        residual = x + 2.0 * math.log10(argument)
        slope = 1.0 + 2.0 * 2.51 / (turbulent_reynolds * argument * math.log(10.0))
        x -= residual / slope
    turbulent = 1.0 / (x * x)
    if reynolds >= 4000.0:
        return turbulent
    share = (reynolds - 2000.0) / 2000.0
    return (1.0 - share) * 64.0 / 2000.0 + share * turbulent


@njit(cache=True, nogil=True, error_model="numpy")
def fill_friction_table(
    table: FloatArray, highest: float, bore: float, roughness: float, viscosity: float, stretch_over_g: float
) -> None:
    """Quasi-steady friction of one lump as head per flow squared [s2/m5], against the root of the flow.

    Parameters
    ----------
    table : float64[FRICTION_POINTS + 1]
        Filled in; even in the root of the flow up to ``highest`` [m3/s].
    bore, roughness, viscosity : float
        [m], [m], [m2/s]
    stretch_over_g : float
        Length of pipe of one lump over gravity, times the scale of the friction factor [s2].
    """
    area = 0.25 * math.pi * bore * bore
    for i in range(FRICTION_POINTS + 1):
        flow = highest * (i / FRICTION_POINTS) ** 2
        reynolds = max(flow * bore / (area * viscosity), _LEAST_REYNOLDS)
        table[i] = darcy_friction(reynolds, roughness / bore) * stretch_over_g / bore / (2.0 * area * area)


@njit(cache=True, nogil=True, error_model="numpy")
def wall_shear_terms(
    terms: FloatArray, dt: float, half: int, stretch_over_g: float, bore: float, viscosity: float, velocity: float
) -> None:
    """Decays (row 0) and gains (row 1) of the head lost to unsteady wall shear along one lump's stretch.

    Convolution of the acceleration with Vardy and Brown's weighting function for smooth turbulent flow (2003; from
    memory), W = exp(-B tau) / (2 sqrt(pi tau)), tau = 4 nu t / D^2, at the Reynolds number of ``velocity``.
    1/sqrt(tau) is taken as a sum of exponentials, the trapezoidal rule on (1/sqrt(pi)) int exp(-tau e^x + x/2) dx,
    which the recursion of Trikha (1975; from memory) steps exactly. The quick terms go by the step, the slow ones,
    which hardly decay within a block, by the block.

    Parameters
    ----------
    terms : float64[2, WALL_TERMS]
        Filled in.
    dt : float
        Step [s].
    half : int
        Steps in a block.
    stretch_over_g : float
        Length of pipe of one lump over gravity, times the share of the wall shear wanted [s2].
    bore, viscosity, velocity : float
        [m], [m2/s], [m/s]
    """
    area = 0.25 * math.pi * bore * bore
    reynolds = max(velocity * bore / viscosity, 2000.0)
    shear_decay = reynolds ** math.log10(15.29 / reynolds**0.0567) / 12.86
    tau = 4.0 * viscosity * dt / (bore * bore)
    scale = 16.0 * viscosity * stretch_over_g / (bore * bore * area)
    top = math.log(1.0 / tau) + 1.0
    for k in range(WALL_TERMS):
        x = top - _WALL_SPACING * k
        fall = (math.exp(x) + shear_decay) * (tau if k < _QUICK_TERMS else tau * half)
        terms[0, k] = math.exp(-fall)
        terms[1, k] = scale * _WALL_SPACING * math.exp(0.5 * x - 0.5 * fall) / (2.0 * math.pi)


@njit(cache=True, nogil=True, error_model="numpy")
def pass_losses(
    block: int,
    forward: FloatArray,
    backward: FloatArray,
    friction: FloatArray,
    inverse_impedance: float,
    flows: FloatArray,
    memory: FloatArray,
    terms: FloatArray,
) -> None:
    """Carry the waves of one block through every lumped loss.

    Across a loss Q = Q0 - loss / (2 B), Q0 the flow without it, and each wave onward carries the whole loss away.
    The wall shear of the very step is taken with the flow it slows (implicit), quasi-steady friction r Q |Q| with one
    substitution.

    Parameters
    ----------
    forward, backward : float64[3, half, losses + 1]
        Waves downstream and upstream in the last three blocks: ``forward[:, :, i]`` comes to loss i,
        ``backward[:, :, i + 1]`` too; column 0 of one and the last of the other belong to supply and pump.
    friction : float64[losses]
        r of each loss in this block.
    flows : float64[2, losses]
        Flow of the last step, and mean of |Q| over the block.
    memory : float64[WALL_ROWS, losses]
        What each loss remembers of its accelerations.
    terms : float64[2, WALL_TERMS]
        From :func:`wall_shear_terms`.
    """
    now, twice = block % 3, (block + 1) % 3
    half, n = forward.shape[1], forward.shape[2] - 1
    d0, d1, d2 = terms[0, 0], terms[0, 1], terms[0, 2]
    g0, g1, g2 = terms[1, 0], terms[1, 1], terms[1, 2]
    quick_gain = g0 + g1 + g2
    slow_gain = 0.0
    for k in range(_QUICK_TERMS, WALL_TERMS):
        slow_gain += terms[1, k]
    stiffness = quick_gain + slow_gain
    half_inverse = 0.5 * inverse_impedance
    share = 1.0 / (1.0 + stiffness * half_inverse)
    slow, start = WALL_ROWS - 2, WALL_ROWS - 1
    for i in range(n):
        memory[start, i] = flows[0, i]
        memory[slow, i] = -slow_gain * flows[0, i]
        for k in range(_QUICK_TERMS, WALL_TERMS):
            memory[slow, i] += memory[k, i]
        flows[1, i] = 0.0
    for j in range(half):
        for i in range(n):
            down, up, last = forward[twice, j, i], backward[twice, j, i + 1], flows[0, i]
            m0, m1, m2 = memory[0, i] * d0, memory[1, i] * d1, memory[2, i] * d2
            known = (m0 + (m1 + m2)) + (memory[slow, i] - quick_gain * last)
            free = (down - up) * half_inverse
            flow = (free - (known + friction[i] * free * abs(free)) * half_inverse) * share
            loss = known + stiffness * flow + friction[i] * flow * abs(flow)
            forward[now, j, i + 1] = down - loss
            backward[now, j, i] = up + loss
            flows[0, i] = flow
            flows[1, i] += abs(flow)
            change = flow - last
            memory[0, i], memory[1, i], memory[2, i] = m0 + g0 * change, m1 + g1 * change, m2 + g2 * change
    for i in range(n):
        flows[1, i] /= half
        for k in range(_QUICK_TERMS, WALL_TERMS):
            memory[k, i] = memory[k, i] * terms[0, k] + terms[1, k] * (flows[0, i] - memory[start, i])
