"""The supply pipe, and a standpipe wide enough that its level never falls to the mouth of the drive pipe."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from clackwork.errors import ModelError, require_not_negative, require_range
from clackwork.ram.engine import RamCase
from clackwork.ram.parts import STANDARD_GRAVITY, Supply, SupplyPipe
from clackwork.ram.shared import beat_pulse
from clackwork.ram.steady_loss import steady_loss
from clackwork.site.check_reasons import check_reason
from clackwork.site.design import PipeCheck
from clackwork.site.line_checks import rating_head
from clackwork.site.site import Reason
from clackwork.water import Water

LEAST_DIAMETER = 0.1
"""Below which a standpipe is not offered [m]: common practice, no published source."""


@dataclass(frozen=True)
class Standpipe:
    """The standpipe between supply pipe and drive pipe.

    Attributes
    ----------
    diameter : float
        Inside [m].
    loss : float
        Of the supply pipe at the drawn flow: the running level stands this much under the source's [m].
    beat_dip : float
        Fall of the level within a beat, under the running level [m].
    start_dip : float
        Further fall as the pump starts, before the water of the supply pipe moves [m].
    overflow : float
        Rise over the source's level as the pump stops, an upper bound: make it this much higher, or let it spill [m].
    """

    diameter: float
    loss: float
    beat_dip: float
    start_dip: float
    overflow: float

    @property
    def lowest(self) -> float:
        """Most that its level falls under the source's, all three at once: an upper bound [m]."""
        return self.loss + self.start_dip + self.beat_dip


def swing_of_supply(feed: SupplyPipe, flow: float, area: float) -> float:
    """Swing of a standpipe's level when a flow [m3/s] in the supply pipe is stopped, or has to be set going [m].

    Parameters
    ----------
    feed : SupplyPipe
    flow : float
        [m3/s]
    area : float
        Plan area of the standpipe [m2].

    Notes
    -----
    Mass oscillation without friction, z = v sqrt(L A / (g As)): an upper bound (read in Massoud, Engineering
    Thermofluids, section IIIb.6; any text on surge tanks has it).
    """
    pipe_area = 0.25 * math.pi * feed.pipe.bore**2
    return flow / pipe_area * math.sqrt(feed.length * pipe_area / (STANDARD_GRAVITY * area))


def beat_volume(case: RamCase) -> float:
    """Water that the level lends to a beat [m3]: the swing of what was drawn about its mean.

    Raises
    ------
    ModelError
        When the pump does not beat.
    """
    held = replace(case, supply=Supply(case.supply.fall), vessel_head=_head(case), line=None)
    pulse = beat_pulse(held)
    away = np.cumsum(pulse.drawn_flow - pulse.drawn_flow.mean()) * pulse.period / len(pulse.drawn_flow)
    return float(np.ptp(away))


def _head(case: RamCase) -> float:
    head = case.vessel_head if case.vessel_head is not None else (case.line.lift if case.line else None)
    if head is None:
        raise ModelError("The beats need something to deliver against: give a delivery line, or a head held.")
    return head


def standpipe_of(feed: SupplyPipe, drawn_flow: float, lent: float, diameter: float, water: Water) -> Standpipe:
    """What a standpipe of a diameter [m] does.

    Parameters
    ----------
    feed : SupplyPipe
    drawn_flow : float
        Mean of what the pump draws [m3/s].
    lent : float
        From :func:`beat_volume` [m3].
    diameter : float
        [m]
    water : Water
    """
    require_range("standpipe_diameter", diameter, 0.02, 10.0, "m")
    area = 0.25 * math.pi * diameter**2
    swing = swing_of_supply(feed, drawn_flow, area)
    loss = steady_loss(feed.pipe, feed.length, feed.fittings_loss, drawn_flow, water)
    return Standpipe(diameter, loss, lent / area, swing, swing)


def size_standpipe(
    feed: SupplyPipe, drawn_flow: float, lent: float, submergence: float, water: Water
) -> Standpipe | None:
    """The narrowest standpipe, in steps of 10 mm, whose level stays above the mouth of the drive pipe.

    Parameters
    ----------
    feed : SupplyPipe
    drawn_flow : float
        Mean of what the pump draws [m3/s].
    lent : float
        From :func:`beat_volume` [m3].
    submergence : float
        Of the mouth under the source's level [m].
    water : Water

    Returns
    -------
    Standpipe or None
        None where the supply pipe alone loses more than that, or none up to 2 m wide serves.
    """
    require_not_negative("submergence", submergence, "m")
    for place in range(200 - round(LEAST_DIAMETER * 100.0) + 1):
        found = standpipe_of(feed, drawn_flow, lent, LEAST_DIAMETER + 0.01 * place, water)
        if found.loss >= submergence:
            return None
        if found.lowest <= submergence:
            return found
    return None


def check_supply_pipe(
    feed: SupplyPipe,
    drawn_flow: float,
    lent: float,
    submergence: float,
    diameter: float,
    water: Water,
    *,
    drop: float | None = None,
    wall_temperature: float | None = None,
) -> PipeCheck:
    """Hold a supply pipe and its standpipe against what the pump draws.

    Parameters
    ----------
    feed, drawn_flow, lent, submergence, water
        As for :func:`size_standpipe`.
    diameter : float
        Of the standpipe [m].
    drop : float, optional
        Of the supply pipe from the source's level to its lowest point [m]; that of the mouth when not given.
    wall_temperature : float, optional
        [K]

    Returns
    -------
    PipeCheck
        Its lowest head is that over the mouth of the drive pipe, which draws air below 0.
    """
    stand = standpipe_of(feed, drawn_flow, lent, diameter, water)
    rated = rating_head(feed.pipe, wall_temperature, water)
    highest = (submergence if drop is None else drop) + stand.overflow
    deep = (submergence, "length")
    reasons: list[Reason] = []
    if stand.loss >= submergence:
        reasons.append(check_reason("supply_pipe_too_narrow", "no", loss=(stand.loss, "head"), submergence=deep))
    elif stand.lowest > submergence:
        least = size_standpipe(feed, drawn_flow, lent, submergence, water)
        wide = (least.diameter if least else math.inf, "length")
        figures = {"drop": (stand.lowest, "length"), "submergence": deep, "least_diameter": wide}
        reasons.append(check_reason("standpipe_too_narrow", "only if", **figures))
    if highest > rated:
        figures = {"highest_head": (highest, "head"), "rating_head": (rated, "head")}
        reasons.append(check_reason("supply_pipe_too_weak", "no", **figures))
    lowest = submergence - stand.lowest
    return PipeCheck("supply pipe", feed.pipe, highest, lowest, 0.0, rated, (), tuple(reasons))
