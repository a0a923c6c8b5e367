"""Which reading of a survey brings most of the promise's spread: the one to measure again."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

from clackwork.ram.engine import RamCase
from clackwork.ram.shared import settle_alike
from clackwork.site.heights import fall_in_lift
from clackwork.site.promise import make_promise
from clackwork.site.site import Reason, Site
from clackwork.site.source_flow import driest
from clackwork.site.survey import Survey
from clackwork.site.told import TOLD_WORDS
from clackwork.twin.fit import with_parameters
from clackwork.twin.twin import Twin

LINE_LENGTH_SPREAD = 0.03
"""Relative standard uncertainty of a line paced or taped over rough ground: common practice, no published source."""
PUMP = "pump"
"""The share that no survey can narrow: the twin, its model form, pipes not yet laid."""
WORTH_SAYING = 0.25
"""Least share of a reading that is worth another walk: common practice, no published source."""
WORDS: Mapping[str, str] = MappingProxyType(
    {
        "fall": "measure the fall again: it brings {share} of the spread",
        "lift": "measure the lift again: it brings {share} of the spread",
        "source flow": "measure the source again: it brings {share} of the spread",
        "line length": "measure the length of the delivery line again: it brings {share} of the spread",
    }
)
"""Words of the advice by reading."""
_PUMP_DRAWS = 48
_NINE_IN_TEN = 2.0 * 1.6449  # 5 to 95 % of a normal distribution, in standard deviations


@dataclass(frozen=True)
class _Shift:
    """How far each reading is moved, SI."""

    fall: float = 0.0
    lift: float = 0.0
    source_flow: float = 0.0
    length: float = 0.0


def what_to_measure_again(twin: Twin, survey: Survey, site: Site, *, pumps: int = 1) -> tuple[tuple[str, float], ...]:
    """What each reading of a survey brings to the spread of the promised delivery.

    Parameters
    ----------
    twin : Twin
    survey : Survey
    site : Site
        The place as designed.
    pumps : int, optional
        Like pumps side by side on its line.

    Returns
    -------
    tuple of (str, float)
        "fall", "lift", "source flow", "line length" and "pump" with their shares of the variance, largest first; they sum to
        1. Empty where the pump does not beat, or nothing has any spread.

    Notes
    -----
    The operating point of the best values is found with each reading one standard uncertainty up and down; half the
    difference is its amount (JCGM 100:2008, 5.1.3, note 2). What a lift owes to the fall it was added to counts with the
    fall. Where the source gives less than the pump draws, delivery falls by as much. The pump's own spread is that of a
    promise with the survey's readings taken as exact.
    """
    steps = _steps(survey, site)
    amounts = {}
    for name, step in steps.items():
        high, low = (_delivered(twin, site, _scaled(step, sign), pumps) for sign in (1.0, -1.0))
        amounts[name] = 0.5 * (high - low)
    exact = replace(site, fall_spread=0.0, lift_spread=0.0, lift_with_fall=0.0, source_flow_spread=0.0)
    own = make_promise(twin, exact, pumps=pumps, draws=_PUMP_DRAWS)
    if not own.is_beating:
        return ()
    amounts[PUMP] = (own.delivered_flow.high - own.delivered_flow.low) / _NINE_IN_TEN
    total = sum(amount**2 for amount in amounts.values())
    if total == 0.0:
        return ()
    shares = ((name, amount**2 / total) for name, amount in amounts.items())
    return tuple(sorted(shares, key=lambda one: -one[1]))


def _steps(survey: Survey, site: Site) -> dict[str, _Shift]:
    """One standard uncertainty of each reading; the fall takes the lift along where it was added to it."""
    with_fall = fall_in_lift(survey.lift)
    own_lift = math.sqrt(max(0.0, survey.lift.standard_uncertainty**2 - with_fall**2))
    return {
        "fall": _Shift(fall=survey.fall.standard_uncertainty, lift=with_fall),
        "lift": _Shift(lift=own_lift),
        "source flow": _Shift(source_flow=driest(survey).standard_uncertainty),
        "line length": _Shift(length=LINE_LENGTH_SPREAD * site.line.length),
    }


def _scaled(shift: _Shift, sign: float) -> _Shift:
    return _Shift(sign * shift.fall, sign * shift.lift, sign * shift.source_flow, sign * shift.length)


def _delivered(twin: Twin, site: Site, shift: _Shift, pumps: int) -> float:
    """Delivered flow [m3/s] of the best values with the readings moved."""
    fall = max(site.fall + shift.fall, 0.2 * site.fall)
    line = replace(
        site.line, lift=max(site.line.lift + shift.lift, 1.01 * fall), length=site.line.length + shift.length
    )
    supply = replace(site.supply, fall=fall)
    build = with_parameters(twin.build, twin.best)
    case = RamCase(build, site.drive_pipe, supply, site.surroundings, line=line)
    run = settle_alike([case], [pumps], workers=1)[0]
    drawn = pumps * run.drawn_flow
    if drawn <= 0.0:
        return 0.0
    there = max(0.0, site.source_flow + shift.source_flow)
    return pumps * run.delivered_flow * min(1.0, there / drawn)


def advice(shares: tuple[tuple[str, float], ...], told: Collection[str] = ()) -> Reason | None:
    """The reading to measure again, as a reason to show; None where the pump itself brings most of the spread.

    Parameters
    ----------
    shares : tuple of (str, float)
        As from :func:`what_to_measure_again`.
    told : collection of str, optional
        Readings of which no limits were given.
    """
    found = next(((name, share) for name, share in shares if name != PUMP), None)
    if found is None or found[1] < WORTH_SAYING:
        return None
    name, share = found
    words = f"{WORDS[name]}; {TOLD_WORDS}" if name in told else WORDS[name]
    return Reason(f"measure_again_{name.replace(' ', '_')}", "note", words, {"share": (share, "fraction")})
