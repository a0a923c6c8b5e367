"""The steady flow with the waste valve standing open: compiled, beside the kernel that asks."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from clackwork._cache import ensure_cache_dir

ensure_cache_dir()

from numba import njit  # noqa: E402  (the cache folder has to be known before numba is imported)

from clackwork.ram.layout import P  # noqa: E402
from clackwork.ram.pipe_losses import darcy_friction  # noqa: E402

FloatArray = NDArray[np.float64]

_ABOVE = (P["upper_length"], P["top_length"])
"""Where the pipes above the drive pipe's last one stand among the parameters: the next one up, and the one above it."""


@njit(cache=True, nogil=True, error_model="numpy")
def terminal_velocity(p: FloatArray) -> float:
    """Velocity at the pump [m/s] with the waste valve at its open stop for ever, of one row of parameters."""
    gravity, viscosity, fall = p[0], p[2], p[5]
    length, bore, roughness, entry_loss, friction_scale = p[7], p[8], p[9], p[10], p[12]
    ratio = 4.0 * p[18] / p[19]
    spread = ratio * ratio / (1.0 + ratio * ratio)
    seat_to_pipe = (p[19] / bore) ** 2
    mouth = bore
    for at in _ABOVE:
        if p[at] > 0.0:
            mouth = p[at + 1]
    fixed = (1.0 + entry_loss) * (bore / mouth) ** 4 + 1.0 / (p[20] * p[20] * spread * seat_to_pipe * seat_to_pipe)
    fixed += 2.0 * gravity * p[55] * (0.25 * math.pi * bore * bore) ** 2
    velocity = 1.0
    for _ in range(12):
        friction = friction_scale * darcy_friction(max(velocity * bore / viscosity, 1.0), roughness / bore)
        loss = fixed + friction * length / bore
        for at in _ABOVE:
            if p[at] > 0.0:
                reynolds = max(velocity * bore * bore / (p[at + 1] * viscosity), 1.0)
                friction = friction_scale * darcy_friction(reynolds, p[at + 2] / p[at + 1])
                loss += friction * p[at] / p[at + 1] * (bore / p[at + 1]) ** 4
        velocity = math.sqrt(2.0 * gravity * fall / loss)
    return velocity
