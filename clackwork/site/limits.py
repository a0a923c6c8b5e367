"""The one thing that limits a place, and by how much a condition is missed: reasons beside those of a promise."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from clackwork.site.promise import HARDNESS
from clackwork.site.site import Promise, Reason, Site

LIMITS = {
    "source_flow": "the source: the pumps take {needed} of the {there} there; a tenth more water would bring about {gain} "
    "more a day",
    "pumps": "the pumps: {pumps} at this tuning take {needed} of the {there} there; a larger pump, or more of them, would "
    "use the rest",
    "wanted": "what is asked for: this is as much as is wanted, and the source would give more",
    "lift": "the lift: at {falls} times the fall little of each beat is left to deliver; a lower outlet or more fall",
    "line_friction": "the delivery line: its friction takes {friction} on top of the lift of {lift}; a wider pipe",
    "fall": "the fall: the flow barely reaches the speed that shuts the valve; more fall, or a shorter drive pipe",
}
"""Words of what limits a place that has nothing against it, by id."""
CONDITIONS = {
    "more_flow": "it takes {flow_needed} from the source in the driest time, {missing} more than can be counted on; this is "
    "already the least that the pump can be tuned to",
    "flow_for_wanted": "for {wanted} the source has to give {flow_needed} in the driest time, {missing} more than can be "
    "counted on",
    "pumps_for_wanted": "for {wanted} it takes {pumps_needed} such pumps side by side, or a larger one",
    "less_fall_than_usual": "{fall} of fall is less than the {least_fall} that is usual at least",
    "longer_than_ground": "the drive pipe is {drive_length} long and the source only {ground} away: lay it in long "
    "bends, or take the water {over} further up",
    "standpipe": "the source is {ground} away, more than a good drive pipe: {supply_length} of supply pipe to a standpipe, "
    "and {drive_length} of drive pipe from there",
    "seven_times": "a source gives 7 times what is delivered at least (USAID RWS.4.D.5); here it gives {times} times",
}
"""Words of what a condition asks for, in figures, by id."""
PASSED_OVER = {
    "passed_over_delivery": "another design would deliver {gain} more; it was passed over, as more stands against it",
    "passed_over_delivery_pipes": "another design would deliver {gain} more; its pipes do not pass their checks",
    "passed_over_least_water": "another design would take {spared} less; it was passed over, as more stands against it",
    "passed_over_least_water_pipes": "another design would take {spared} less; its pipes do not pass their checks",
    "passed_over_cost": "another design would cost {spared} less a year; it was passed over, as more stands against it",
    "passed_over_cost_pipes": "another design would cost {spared} less a year; its pipes do not pass their checks",
}
"""Words of what was better for an aim and not chosen, by id."""
LEAST_FALL = 0.5
"""Least fall that is usual [m]: USAID Water for the World RWS.4.D.5."""
LEAST_SOURCE_TIMES = 7.0
"""Source over delivered flow: USAID Water for the World RWS.4.D.5."""
_HIGH_LIFT = 15.0
"""Falls of lift beyond which USAID's table implies an efficiency of 0.5 and less."""
_NEARLY_OPEN = 0.9
"""Closing velocity over the steady one from which a pump stands close to open: common practice, no published source."""
_LITTLE_LEFT = 0.93
"""Share of what can be counted on from which the source is as good as used: common practice, no published source."""
_MUCH_FRICTION = 0.15
"""Friction over lift from which the line is what limits: common practice, no published source."""


def with_conditions(reasons: Iterable[Reason], conditions: Iterable[Reason]) -> tuple[Reason, ...]:
    """Reasons of a promise and conditions in figures, hardest first; one that a condition says better is left out."""
    found = [*conditions, *reasons]
    if any(reason.id == "more_flow" for reason in found):
        found = [reason for reason in found if reason.id != "too_little_water"]
    return tuple(sorted(found, key=lambda reason: HARDNESS.index(reason.hardness)))


def answer_of(reasons: Sequence[Reason]) -> str:
    """The answer that reasons, hardest first, leave."""
    return next((reason.hardness for reason in reasons if reason.hardness != "note"), "yes")


def limit_of(promise: Promise, site: Site, reasons: Sequence[Reason], enough: bool) -> Reason | None:
    """The one thing that limits a place: the hardest reason, else what would bring more.

    Parameters
    ----------
    promise : Promise
    site : Site
    reasons : sequence of Reason
        Of the promise, and conditions, hardest first.
    enough : bool
        Whether fewer pumps or less water were chosen because no more is wanted.
    """
    hard = [reason for reason in reasons if reason.hardness != "note"]
    if hard:
        return hard[0]
    if not promise.is_beating:
        return None
    lift = site.line.lift
    friction, falls = max(promise.vessel_head.middle - lift, 0.0), lift / site.fall
    if enough:
        return _limit("wanted")
    if promise.water_needed.high >= _LITTLE_LEFT * promise.water_there.low:
        gain = 0.1 * promise.delivered_flow.middle
        return _limit(
            "source_flow",
            needed=(promise.water_needed.middle, "volume_flow"),
            there=(promise.water_there.middle, "volume_flow"),
            gain=(gain, "daily_volume_flow"),
        )
    if falls > _HIGH_LIFT:
        return _limit("lift", falls=(falls, "count"))
    if promise.stall_margin > _NEARLY_OPEN:
        return _limit("fall")
    if friction > _MUCH_FRICTION * lift:
        return _limit("line_friction", friction=(friction, "head"), lift=(lift, "head"))
    return _limit(
        "pumps",
        pumps=(float(promise.pumps), "count"),
        needed=(promise.water_needed.middle, "volume_flow"),
        there=(promise.water_there.middle, "volume_flow"),
    )


def _limit(name: str, **values: tuple[float, str]) -> Reason:
    return Reason(name, "note", LIMITS[name], values)


def _condition(name: str, hardness: str, **values: tuple[float, str]) -> Reason:
    return Reason(name, hardness, CONDITIONS[name], values)


def conditions_of(
    promise: Promise, site: Site, ground: float | None, *, least_tuning: bool = False
) -> tuple[Reason, ...]:
    """By how much conditions are missed, and what of the layout is to be known.

    Parameters
    ----------
    promise : Promise
    site : Site
    ground : float or None
        Way along the ground to the source [m].
    least_tuning : bool
        Whether the pump cannot be tuned to draw less.
    """
    found = [*_water_conditions(promise, site, least_tuning), *_layout_conditions(site, ground)]
    times = promise.water_there.middle / promise.delivered_flow.middle if promise.delivered_flow.middle > 0.0 else 0.0
    if 0.0 < times < LEAST_SOURCE_TIMES:
        found.append(_condition("seven_times", "note", times=(times, "count")))
    return tuple(found)


def _water_conditions(promise: Promise, site: Site, least_tuning: bool) -> list[Reason]:
    """What flow or how many pumps it would take."""
    missed = {reason.id for reason in promise.reasons}
    counted_on = promise.water_there.low
    found = []
    if "too_little_water" in missed and least_tuning:
        needed = promise.water_needed.high
        figures = {"flow_needed": (needed, "volume_flow"), "missing": (max(needed - counted_on, 0.0), "volume_flow")}
        hardness = "no" if promise.share_enough_water < 0.05 else "only if"
        found.append(_condition("more_flow", hardness, **figures))
    elif "less_than_wanted" in missed and site.wanted_flow is not None and promise.delivered_flow.low > 0.0:
        times = site.wanted_flow / promise.delivered_flow.low
        wanted = (site.wanted_flow, "daily_volume_flow")
        needed = times * promise.water_needed.high
        if needed > counted_on:
            figures = {"flow_needed": (needed, "volume_flow"), "missing": (needed - counted_on, "volume_flow")}
            found.append(_condition("flow_for_wanted", "only if", wanted=wanted, **figures))
        else:
            pumps = (float(-(-promise.pumps * times // 1)), "count")
            found.append(_condition("pumps_for_wanted", "only if", wanted=wanted, pumps_needed=pumps))
    return found


def _layout_conditions(site: Site, ground: float | None) -> list[Reason]:
    """What the ground asks of the pipes."""
    found = []
    if site.fall < LEAST_FALL:
        falls = {"fall": (site.fall, "head"), "least_fall": (LEAST_FALL, "head")}
        found.append(_condition("less_fall_than_usual", "note", **falls))
    length = (site.drive_pipe.length, "length")
    if ground is not None and site.feed is None and site.drive_pipe.length > 1.05 * ground:
        over = (site.drive_pipe.length - ground, "length")
        found.append(
            _condition("longer_than_ground", "note", drive_length=length, ground=(ground, "length"), over=over)
        )
    if ground is not None and site.feed is not None:
        supply = (site.feed.length, "length")
        found.append(
            _condition("standpipe", "note", drive_length=length, ground=(ground, "length"), supply_length=supply)
        )
    return found
