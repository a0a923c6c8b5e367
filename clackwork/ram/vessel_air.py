"""The air of the vessel: what the snifter brings, what the water carries off, and how long a fill lasts."""

from __future__ import annotations

import math
from dataclasses import dataclass

from clackwork.errors import ModelError, require_range
from clackwork.ram.engine import BeatResult, RamCase
from clackwork.ram.parts import STANDARD_GRAVITY

AIR_SOLUBILITY = 0.0228
"""Volume of air, at outside pressure, that a volume of water at 10 degC takes up for each atmosphere of air over it
(sum of nitrogen 0.0186 x 0.78 and oxygen 0.038 x 0.21 by Henry's law, and argon; textbook figures, from memory)."""
TRANSFER_VELOCITY = 1e-5
"""Speed at which dissolving air crosses a gently moved water surface [m/s]: 2e-6 still to 5e-5 stirred (orders of
magnitude of lakes and tanks, from memory)."""
TRANSFER_RANGE = (2e-6, 5e-5)
"""The same at its ends, still and stirred [m/s]: how long a fill lasts is known within these."""


@dataclass(frozen=True)
class VesselAir:
    """Gain and loss of the vessel's air.

    Attributes
    ----------
    volume_at_work : float
        Air in the vessel at its working pressure [m3].
    gained : float
        Brought by the snifter, as a volume at outside pressure [m3/s].
    dissolved : float
        Carried off in solution, as a volume at outside pressure [m3/s].
    lasts : float
        Time until the vessel is full of water [s]; infinite when it gains as much as it loses.
    fills : float
        Time until the vessel is full of air [s], and what it gains from then on goes down the delivery line; infinite
        when it loses as much as it gains.
    """

    volume_at_work: float
    gained: float
    dissolved: float
    lasts: float
    fills: float


def air_budget(case: RamCase, result: BeatResult, *, transfer_velocity: float = TRANSFER_VELOCITY) -> VesselAir:
    """How the air of the vessel changes while the ram runs.

    Parameters
    ----------
    case : RamCase
    result : BeatResult
        Of this case, delivering.
    transfer_velocity : float
        Of dissolving air at the vessel's water surface [m/s], taken as the face of a cube of the vessel's volume.

    Raises
    ------
    ModelError
        When the ram delivers nothing.
    """
    require_range("transfer_velocity", transfer_velocity, 0.0, 1e-3, "m/s")
    if result.delivered_flow <= 0.0:
        raise ModelError("The ram delivers nothing at this head: its vessel has no air budget.")
    water = case.water
    outside = water.atmospheric_pressure_abs
    inside = outside + result.vessel_head * water.density * STANDARD_GRAVITY
    vessel = case.build.air_vessel
    most = vessel.volume * inside / outside
    amount = min(vessel.volume * (outside + vessel.precharge_gauge) / outside, most)
    # the water comes in saturated at outside pressure and can take up as much again for each atmosphere more; what it
    # takes up goes with the share of the water that the surface can saturate while it passes
    refreshed = transfer_velocity * vessel.volume ** (2.0 / 3.0)
    share = -math.expm1(-refreshed / result.delivered_flow)
    dissolved = share * AIR_SOLUBILITY * (inside / outside - 1.0) * result.delivered_flow
    gained = result.snifted_air * result.beat_rate
    losing, slow = dissolved - gained, 1e-3 * dissolved
    return VesselAir(
        volume_at_work=amount * outside / inside,
        gained=gained,
        dissolved=dissolved,
        lasts=amount / losing if losing > slow else math.inf,
        fills=(most - amount) / -losing if -losing > slow else math.inf,
    )
