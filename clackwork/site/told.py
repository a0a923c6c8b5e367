"""Figures told or typed without limits: how far they may be off is assumed, in the same way on the phone and in a survey."""

from __future__ import annotations

import math
from dataclasses import replace

from clackwork.bench.gum import Estimate, typed_estimate

FALL_SPREAD, LIFT_SPREAD, FLOW_SPREAD = 0.05, 0.05, 0.15
"""Relative standard uncertainty of heights and flow told without limits: common practice, no published source."""
TOLD_WORDS = "no limits were given with it, so they are assumed"
"""Added to the advice on which reading to measure again."""
ASSUMED = "no limits given: assumed"
"""Source of a component whose uncertainty is that of a figure told without limits."""
FALL_PART = "fall: "
"""Begins the names of the parts that a lift owes to the fall added to it."""
WHY = {
    "fall_spread": "heights told without limits are good to about a twentieth",
    "lift_spread": "heights told without limits are good to about a twentieth",
    "source_flow_spread": "a flow told without limits is good to about a seventh; only its 5 % point is counted on",
}
"""Why each is assumed as it is."""


def told_estimate(value: float, width: float | None, name: str, share: float) -> Estimate:
    """A figure as somebody gave it.

    Parameters
    ----------
    value : float
        In SI.
    width : float or None
        Limits of plus or minus so much, 0 for an exact figure; None where none were given.
    name : str
        Of its component.
    share : float
        Relative standard uncertainty that is assumed without limits [-].

    Returns
    -------
    Estimate
        Its budget says :data:`ASSUMED` where no limits were given.
    """
    if width is None:
        return typed_estimate(value, math.sqrt(3.0) * share * abs(value), name, ASSUMED)
    return typed_estimate(value, width, name)


def is_assumed(estimate: Estimate) -> bool:
    """Whether any part of an estimate's uncertainty is assumed."""
    return any(part.source == ASSUMED for part in estimate.budget)


def told_readings(fall: Estimate, lift: Estimate, source_flow: Estimate) -> tuple[str, ...]:
    """Those of "fall", "lift" and "source flow" that were told without limits; the fall in a lift counts with the fall."""
    own = replace(lift, budget=tuple(part for part in lift.budget if not part.name.startswith(FALL_PART)))
    found = (("fall", fall), ("lift", own), ("source flow", source_flow))
    return tuple(name for name, estimate in found if is_assumed(estimate))
