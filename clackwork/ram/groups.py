"""A settled beat without units: the ratios by which rams of any size are compared."""

from __future__ import annotations

import math
from dataclasses import dataclass

from clackwork import rigid
from clackwork.errors import ModelError
from clackwork.ram.engine import BeatResult, RamCase
from clackwork.ram.parts import STANDARD_GRAVITY


@dataclass(frozen=True)
class Groups:
    """The dimensionless groups of one run; all are pure numbers.

    ``velocity_ratio``, ``surge_ratio`` and ``lift_ratio`` are the three by which Iversen and Thomas describe a ram
    (from memory); the others are this project's own choice.

    Attributes
    ----------
    velocity_ratio : float
        Closing velocity over the velocity the column would reach with the valve open for ever, V_close / V8: below 1,
        and the nearer to 1 the more water runs to waste.
    surge_ratio : float or None
        Closing velocity over the one whose sudden stop just lifts from the fall to the vessel's head,
        V_close / (g (h - H) / a). Below about 1 nothing is delivered; above, the column is stopped in about half as
        many returns of the wave. None with the delivery shut, or where the vessel's head is not above the fall.
    lift_ratio : float or None
        r = h / H, with h the vessel's head; None with the delivery shut.
    loss_factor : float
        M = 1 + entry + f L / D + open valve, in velocity heads of the drive pipe at V8; see `rigid.loss_factor`.
    time_ratio : float
        Period of the beat over the time scale of starting up, L V8 / (g H).
    return_ratio : float
        Time of a wave up the drive pipe and back, 2 L / a, over the period of the beat.
    specific_draw : float
        Flow drawn over that of a ram without losses, A V_close / 2.
    specific_delivery : float
        Flow delivered over that of a ram without losses, A V_close H / (2 h); 0 with the delivery shut.
    daubuisson_efficiency, rankine_efficiency : float
        q h / (Q H) and q (h - H) / (Qw H); 0 with the delivery shut.
    """

    velocity_ratio: float
    surge_ratio: float | None
    lift_ratio: float | None
    loss_factor: float
    time_ratio: float
    return_ratio: float
    specific_draw: float
    specific_delivery: float
    daubuisson_efficiency: float
    rankine_efficiency: float


def groups_of(case: RamCase, result: BeatResult) -> Groups:
    """The dimensionless groups of a run.

    Parameters
    ----------
    case : RamCase
        What was run. The fall is that at the start.
    result : BeatResult
        What `engine.run_beats` or `operating.operating_point` made of it.

    Returns
    -------
    Groups

    Raises
    ------
    ModelError
        When the pump does not beat: without a beat there is no closing velocity.
    """
    if result.beat_rate <= 0.0:
        raise ModelError(
            f"A pump that does not beat ({result.state}) has no groups: its valve closes at no velocity. "
            "Change weight, stroke or heads until it beats."
        )
    fall, pipe, wave_speed = case.supply.fall, case.drive_pipe, case.wave_speed
    closing, steady = result.closing_velocity, result.steady_velocity
    delivery_shut = case.vessel_head is None and case.line is None
    lift = None if delivery_shut else result.vessel_head
    ideal_draw = rigid.ideal_drawn_flow(pipe.pipe.bore, closing)
    period = 1.0 / result.beat_rate
    return Groups(
        velocity_ratio=closing / steady,
        surge_ratio=_surge_ratio(closing, fall, lift, wave_speed),
        lift_ratio=None if lift is None else lift / fall,
        loss_factor=2.0 * STANDARD_GRAVITY * fall / steady**2,
        time_ratio=period / rigid.time_constant(pipe.length, fall, steady),
        return_ratio=2.0 * pipe.length / (wave_speed * period),
        specific_draw=result.drawn_flow / ideal_draw,
        specific_delivery=0.0 if lift is None else result.delivered_flow * lift / (ideal_draw * fall),
        daubuisson_efficiency=result.daubuisson_efficiency,
        rankine_efficiency=result.rankine_efficiency,
    )


def _surge_ratio(closing: float, fall: float, lift: float | None, wave_speed: float) -> float | None:
    """V_close / (g (h - H) / a), or None where there is no head to lift over."""
    if lift is None or not lift > fall or not math.isfinite(lift):
        return None
    return closing * wave_speed / (STANDARD_GRAVITY * (lift - fall))
