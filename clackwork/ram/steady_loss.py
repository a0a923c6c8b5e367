"""What a pipe with its fittings costs a steady flow."""

from __future__ import annotations

from clackwork.pipes import Pipe
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
