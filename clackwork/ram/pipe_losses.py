"""What a wave loses on its way along the drive pipe: quasi-steady friction and unsteady wall shear, compiled."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from clackwork._cache import ensure_cache_dir

ensure_cache_dir()

from numba import njit  # noqa: E402  (the cache folder has to be known before numba is imported)

FloatArray = NDArray[np.float64]

WALL_TERMS = 6
"""Exponentials of the wall shear."""
_FASTEST, _SLOWEST = 2.7, 0.25
"""Rates of the first exponential, by the step, and of the last, by the decay of the weighting function."""
_REFRESH = 4
"""Blocks between two readings of the friction table, each at the mean of the flows at the blocks' ends since the last."""
LANES = 16
"""Losses stepped side by side."""
PADDING = LANES
"""Columns that arrays of waves need beyond their own: losses that are not there are stepped too, and never read."""
WORK_ROWS = WALL_TERMS + 6
_DOWN, _UP, _FLOW, _FRICTION, _MEAN, _SPENT = 0, LANES, 2 * LANES, 3 * LANES, 4 * LANES, 5 * LANES
_MEMORY = 6 * LANES
_CACHE_LINE = 8
"""Numbers in one line of cache, 64 bytes on the usual processors."""
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
def read_friction(table: FloatArray, scale: float, flow: float) -> float:
    """A table of :func:`fill_friction_table` read at a flow [m3/s] that is not negative; its last value beyond its end."""
    place = min(math.sqrt(flow) * scale, FRICTION_POINTS)
    low = min(int(place), FRICTION_POINTS - 1)
    return table[low] + (place - low) * (table[low + 1] - table[low])


@njit(cache=True, nogil=True, error_model="numpy")
def wall_shear_terms(
    terms: FloatArray,
    dt: float,
    stretch_over_g: float,
    bore: float,
    viscosity: float,
    velocity: float,
    impedance: float,
) -> None:
    """What :func:`pass_losses` needs of the head lost to unsteady wall shear along one lump's stretch.

    Row 0: by how much the memory of each exponential decays in a step, then the share of the waves' difference that is
    flow, [m2/s], and twice the impedance [s/m2]. Row 1: by how much the flow of the step before counts in each memory,
    then their sum with what acts at once [s/m2].

    Convolution of the acceleration with Vardy and Brown's weighting function for smooth turbulent flow (2003; from
    memory), W = exp(-B tau) / (2 sqrt(pi tau)), tau = 4 nu t / D^2, at the Reynolds number of ``velocity``.
    1/sqrt(tau) is taken as a sum of exponentials, the trapezoidal rule on (1/sqrt(pi)) int exp(-tau e^x + x/2) dx,
    which a recursion (after Trikha, 1975; from memory) steps exactly for a flow that changes evenly over a step.
    What is faster than a step acts at once: its gain, in the last column, makes up the integral over one step, 1 /
    sqrt(pi tau). With a midpoint in its place the shear of a front comes out a third too small however fine the step.

    Parameters
    ----------
    terms : float64[2, WALL_TERMS + 2]
        Filled in.
    dt : float
        Step [s].
    stretch_over_g : float
        Length of pipe of one lump over gravity, times the share of the wall shear wanted [s2].
    bore, viscosity, velocity, impedance : float
        [m], [m2/s], [m/s], [s/m2]
    """
    area = 0.25 * math.pi * bore * bore
    reynolds = max(velocity * bore / viscosity, 2000.0)
    shear_decay = reynolds ** math.log10(15.29 / reynolds**0.0567) / 12.86
    tau = 4.0 * viscosity * dt / (bore * bore)
    scale = 16.0 * viscosity * stretch_over_g / (bore * bore * area)
    first = math.log(_FASTEST / tau)
    spacing = max((first - math.log(_SLOWEST * shear_decay)) / (WALL_TERMS - 1), 0.5)
    at_once = 1.0 / math.sqrt(math.pi * tau)
    kept = gains = 0.0
    for k in range(WALL_TERMS):
        x = first - spacing * k
        fall = (math.exp(x) + shear_decay) * tau
        weight = spacing * math.exp(0.5 * x) / (2.0 * math.pi)
        if k == WALL_TERMS - 1:
            # the slowest stands for all slower ones too, a geometric series: exp(-B tau) is gone before they differ
            weight /= 1.0 - math.exp(-0.5 * spacing)
        gain = weight * (1.0 - math.exp(-fall)) / fall
        at_once -= gain
        gains += gain
        terms[0, k], terms[1, k] = math.exp(-fall), scale * gain * (1.0 - math.exp(-fall))
        kept += terms[1, k]
    at_once = max(at_once, 0.0)
    terms[0, WALL_TERMS] = 1.0 / (2.0 * impedance + scale * (gains + at_once))
    terms[0, WALL_TERMS + 1] = 2.0 * impedance
    terms[1, WALL_TERMS] = kept + scale * at_once


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
def pass_mouth(
    forward: FloatArray,
    backward: FloatArray,
    slot: int,
    head: float,
    mouth: tuple[float, float, float],
    dt: float,
    entered: float,
) -> tuple[float, float]:
    """Let the waves of one block meet the supply at the mouth of the pipe; in place.

    Parameters
    ----------
    forward, backward : float64[3, half, columns]
        As in :func:`pass_losses`.
    slot : int
        Block of the waves.
    head : float
        Of the supply [m].
    mouth : (float, float, float)
        Entry loss [s2/m5], impedance [s/m2] and its inverse.
    dt, entered : float
        Step [s], and the energy lost at the mouth before the block.

    Returns
    -------
    drawn, entered : float
        Sum of the flows drawn at the block's steps [m3/s], and the energy lost at the mouth after it.
    """
    entry_in, impedance, inverse = mouth
    drawn = 0.0
    for j in range(forward.shape[1]):
        wave = backward[slot, j, 0]
        flow = (head - wave) * inverse
        if flow > 0.0:
            flow = (head - wave - entry_in * flow * flow) * inverse
        forward[slot, j, 0] = wave + 2.0 * impedance * flow
        drawn += flow
        entered += (head - wave - impedance * flow) * flow * dt
    return drawn, entered


@njit(cache=True, nogil=True, error_model="numpy")
def pass_junction(
    forward: FloatArray, backward: FloatArray, slot: int, loss: int, upper_impedance: float, lower_impedance: float
) -> None:
    """Let the waves of one block meet where a pipe becomes another, just before a loss; in place.

    One head and one flow on both sides (Wylie and Streeter; from memory): H (1/B1 + 1/B2) = F/B1 + R/B2 of the wave F
    that comes down and R that comes up; each goes on as 2 H less the other.
    """
    share = lower_impedance / (upper_impedance + lower_impedance)
    for j in range(forward.shape[1]):
        down, up = forward[slot, j, loss], backward[slot, j, loss]
        head = share * down + (1.0 - share) * up
        forward[slot, j, loss] = 2.0 * head - up
        backward[slot, j, loss] = 2.0 * head - down


@njit(cache=True, nogil=True, error_model="numpy")
def loss_work(losses: int) -> FloatArray:
    """State of so many losses at rest, for :func:`pass_losses`."""
    return aligned_zeros((losses + LANES - 1) // LANES * WORK_ROWS * LANES)


@njit(cache=True, nogil=True, error_model="numpy")
def aligned_zeros(size: int) -> FloatArray:
    """Zeros that begin where a line of the processor's cache does: rows across two such lines cost more time."""
    room = np.zeros(size + _CACHE_LINE)
    start = (-room.ctypes.data) % (8 * _CACHE_LINE) // 8
    return room[start : start + size]


@njit(cache=True, nogil=True, error_model="numpy")
def wave_room(losses: int, half: int, work_losses: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Waves downstream and upstream, float64[3, half, columns], and the state of so many losses, in one piece of memory.

    Apart, they lie now so, now so to each other, and a step costs up to half as much again.
    """
    columns = (losses + 1 + PADDING + _CACHE_LINE - 1) // _CACHE_LINE * _CACHE_LINE
    waves = 3 * half * columns
    room = aligned_zeros(2 * waves + (work_losses + LANES - 1) // LANES * WORK_ROWS * LANES)
    forward, backward = room[:waves].reshape(3, half, columns), room[waves : 2 * waves].reshape(3, half, columns)
    return forward, backward, room[2 * waves :]


@njit(cache=True, nogil=True, error_model="numpy")
def start_losses(work: FloatArray, flow: float, terms: FloatArray) -> None:
    """Set the losses of :func:`pass_losses` to a steady flow [m3/s]."""
    for group in range(work.size // (WORK_ROWS * LANES)):
        own = group * WORK_ROWS * LANES
        for v in range(LANES):
            work[own + _FLOW + v] = flow
            work[own + _MEAN + v] = abs(flow) * _REFRESH
            for k in range(WALL_TERMS):
                work[own + _MEMORY + k * LANES + v] = -terms[1, k] / (1.0 - terms[0, k]) * flow


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
def pass_losses(
    block: int,
    forward: FloatArray,
    backward: FloatArray,
    first: int,
    table: FloatArray,
    table_scale: float,
    terms: FloatArray,
    work: FloatArray,
) -> None:
    """Carry the waves of one block through the losses of one pipe.

    Across a loss Q = Q0 - loss / (2 B), Q0 the flow without it, and each wave onward carries the whole loss away.
    Wall shear of this step is taken with the flow it slows (implicit), quasi-steady friction r |Q| Q with |Q| of the
    step before. With m = z + g Q for the memory of each exponential, z does not wait for the flow of its own step.
    Losses go side by side, ``LANES`` at a time, with all they need in rows of one array a fixed distance apart, so that
    the compiler can use vector instructions; their number is a constant for the same reason, and those that are not
    there are stepped for nothing. Pipes in series go from the top down, so that the next one writes over that.

    Parameters
    ----------
    forward, backward : float64[3, half, losses + 1 + PADDING]
        Waves downstream and upstream in the last three blocks: ``forward[:, :, i]`` comes to loss i,
        ``backward[:, :, i + 1]`` too; column 0 of one and ``losses`` of the other belong to supply and pump.
    first : int
        The pipe's first loss.
    table, table_scale : float64[FRICTION_POINTS + 1], float
        From :func:`fill_friction_table`.
    terms : float64[2, WALL_TERMS + 2]
        From :func:`wall_shear_terms`.
    work : float64[groups * WORK_ROWS * LANES]
        State of the losses, kept from block to block; :func:`spent_in` reads what they have taken.
    """
    now, twice = block % 3, (block + 1) % 3
    half = forward.shape[1]
    d0, d1, d2, d3, d4, d5 = terms[0, 0], terms[0, 1], terms[0, 2], terms[0, 3], terms[0, 4], terms[0, 5]
    e0, e1, e2, e3, e4, e5 = terms[1, 0], terms[1, 1], terms[1, 2], terms[1, 3], terms[1, 4], terms[1, 5]
    half_share, twice_impedance, kept = terms[0, WALL_TERMS], terms[0, WALL_TERMS + 1], terms[1, WALL_TERMS]
    for group in range(work.size // (WORK_ROWS * LANES)):
        here = first + group * LANES
        own = group * WORK_ROWS * LANES
        if block % _REFRESH == 0:
            for v in range(LANES):
                work[own + _FRICTION + v] = half_share * read_friction(
                    table, table_scale, work[own + _MEAN + v] / _REFRESH
                )
            for v in range(LANES):
                work[own + _MEAN + v] = 0.0
        for j in range(half):
            for v in range(LANES):
                work[own + _DOWN + v] = forward[twice, j, here + v]
            for v in range(LANES):
                work[own + _UP + v] = backward[twice, j, here + v + 1]
            for v in range(LANES):
                m0 = work[own + _MEMORY + v] * d0
                m1 = work[own + _MEMORY + LANES + v] * d1
                m2 = work[own + _MEMORY + 2 * LANES + v] * d2
                m3 = work[own + _MEMORY + 3 * LANES + v] * d3
                m4 = work[own + _MEMORY + 4 * LANES + v] * d4
                m5 = work[own + _MEMORY + 5 * LANES + v] * d5
                last = work[own + _FLOW + v]
                work[own + _MEMORY + v] = m0 - e0 * last
                work[own + _MEMORY + LANES + v] = m1 - e1 * last
                work[own + _MEMORY + 2 * LANES + v] = m2 - e2 * last
                work[own + _MEMORY + 3 * LANES + v] = m3 - e3 * last
                work[own + _MEMORY + 4 * LANES + v] = m4 - e4 * last
                work[own + _MEMORY + 5 * LANES + v] = m5 - e5 * last
                down, up = work[own + _DOWN + v], work[own + _UP + v]
                over = down - up
                smooth = (over - ((((m0 + m1) + (m2 + m3)) + (m4 + m5)) - kept * last)) * half_share
                slowed = work[own + _FRICTION + v] * abs(last)
                flow = smooth - smooth * (slowed * (1.0 - slowed))
                loss = over - flow * twice_impedance
                work[own + _DOWN + v] = down - loss
                work[own + _UP + v] = up + loss
                work[own + _FLOW + v] = flow
                work[own + _SPENT + v] = work[own + _SPENT + v] + loss * flow
            for v in range(LANES):
                forward[now, j, here + v + 1] = work[own + _DOWN + v]
            for v in range(LANES):
                backward[now, j, here + v] = work[own + _UP + v]
        for v in range(LANES):
            work[own + _MEAN + v] = work[own + _MEAN + v] + abs(work[own + _FLOW + v])


@njit(cache=True, nogil=True, error_model="numpy")
def spent_in(work: FloatArray, losses: int) -> float:
    """Sum over steps and losses of loss times flow since the start [m4/s]."""
    total = 0.0
    for i in range(losses):
        total += work[i // LANES * WORK_ROWS * LANES + _SPENT + i % LANES]
    return total
