"""What a pipe with its fittings costs a steady flow."""

from __future__ import annotations

import math

from clackwork.pipes import Pipe
from clackwork.ram.parts import STANDARD_GRAVITY
from clackwork.ram.pipe_losses import darcy_friction
from clackwork.water import Water


def steady_loss_factor(pipe: Pipe, length: float, fittings_loss: float, velocity: float, water: Water) -> float:
    """Darcy friction and fittings of a pipe, in velocity heads.

    Parameters
    ----------
    pipe : Pipe
    length : float
        [m]
    fittings_loss : float
        In velocity heads.
    velocity : float
        Mean over the bore [m/s], above zero.
    water : Water
    """
    friction = darcy_friction(velocity * pipe.bore / water.kinematic_viscosity, pipe.roughness / pipe.bore)
    return float(friction * length / pipe.bore + fittings_loss)


def steady_loss(pipe: Pipe, length: float, fittings_loss: float, flow: float, water: Water) -> float:
    """Darcy friction and fittings of a pipe at a flow [m3/s], as head [m]; 0 for a flow that is not above 0.

    Parameters
    ----------
    pipe : Pipe
    length : float
        [m]
    fittings_loss : float
        In velocity heads.
    flow : float
        [m3/s]
    water : Water
    """
    if flow <= 0.0:
        return 0.0
    velocity = flow / (0.25 * math.pi * pipe.bore**2)
    factor = steady_loss_factor(pipe, length, fittings_loss, velocity, water)
    return factor * velocity**2 / (2.0 * STANDARD_GRAVITY)
