"""A spread of likely sites, for a study beyond those in the book: drawn evenly over falls, lifts and lengths."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from clackwork.errors import InputError, require_range
from clackwork.pipes import Pipe, catalogue
from clackwork.site.laying import narrowest_pipe
from clackwork.site.site import Site
from clackwork.water import STANDARD_GRAVITY, water_at

_EFFICIENCY = 0.6
"""Of a pump in quick sums (from memory)."""
_MEAN_VELOCITY = 0.6
"""In a drive pipe over a whole beat, at most [m/s]: common practice, no published source."""
_OVER_LIFT = 1.5
"""Rating of a delivery pipe over its lift: common practice, no published source."""


@dataclass(frozen=True)
class LikelySpread:
    """What future customers are taken to be like; each figure is even in its logarithm between its ends.

    Attributes
    ----------
    fall : (float, float)
        [m]
    lift_over_fall : (float, float)
    drive_length_over_fall : (float, float)
    line_length_over_lift : (float, float)
    source_flow : (float, float)
        [m3/s]
    line_loss_over_lift : (float, float)
        Friction that the delivery pipe is allowed, over the lift: the smallest pipe of its series that keeps to it is laid
        (a tenth at most is common practice, no published source).
    """

    fall: tuple[float, float] = (0.8, 6.0)
    lift_over_fall: tuple[float, float] = (3.0, 12.0)
    drive_length_over_fall: tuple[float, float] = (5.0, 12.0)
    line_length_over_lift: tuple[float, float] = (2.0, 10.0)
    source_flow: tuple[float, float] = (2e-4, 1.5e-3)
    line_loss_over_lift: tuple[float, float] = (0.03, 0.1)

    def __post_init__(self) -> None:
        for name in self.__dataclass_fields__:
            low, high = getattr(self, name)
            if not 0.0 < low <= high:
                raise InputError(
                    f"likely sites, {name}", f"{low:g} to {high:g}", "both ends above 0, the lower one first"
                )


def spread_about(sites: Sequence[Site]) -> LikelySpread:
    """The ends of what the sites of a book are like."""
    if not sites:
        return LikelySpread()

    def ends(values: Sequence[float]) -> tuple[float, float]:
        return min(values), max(values)

    return LikelySpread(
        ends([site.fall for site in sites]),
        ends([site.line.lift / site.fall for site in sites]),
        ends([site.drive_pipe.length / site.fall for site in sites]),
        ends([site.line.length / site.line.lift for site in sites]),
        ends([site.source_flow for site in sites]),
    )


def likely_sites(like: Site, spread: LikelySpread, count: int, *, seed: int = 1) -> list[Site]:
    """Sites with pipes that suit each, spread as a Latin hypercube so that few cover the whole.

    Parameters
    ----------
    like : Site
        Gives drive pipe, series of the delivery pipe, water, and how well a survey knows its figures (as shares). The drive
        pipe is as long as goes with the fall; the delivery pipe as wide as goes with lift and distance (:func:`line_pipe`).
    spread : LikelySpread
    count, seed : int

    Returns
    -------
    list of Site
        Named "likely 1" and on.
    """
    require_range("likely sites", count, 1, 10_000, "")
    from scipy.stats import qmc

    ends = np.log(np.array([getattr(spread, name) for name in spread.__dataclass_fields__]))
    cube = qmc.LatinHypercube(len(ends), rng=np.random.default_rng(seed)).random(count)
    figures = np.exp(ends[:, 0] + cube * (ends[:, 1] - ends[:, 0]))
    found = []
    for number, (fall, ratio, drive, line, flow, loss) in enumerate(figures, start=1):
        lift = float(fall * ratio)
        length = float(lift * max(line, 1.0))
        pipe = line_pipe(like, lift, length, likely_delivery(like, float(fall), lift, float(flow)), float(loss))
        found.append(
            replace(
                like,
                name=f"likely {number}",
                fall=float(fall),
                fall_spread=float(fall) * like.fall_spread / like.fall,
                source_flow=float(flow),
                source_flow_spread=float(flow) * like.source_flow_spread / like.source_flow,
                lift_spread=lift * like.lift_spread / like.line.lift,
                lift_with_fall=0.0,
                drive_pipe=replace(like.drive_pipe, length=float(np.clip(fall * drive, 3.0, 200.0)), upstream=None),
                line=replace(like.line, pipe=pipe, lift=lift, length=length),
                wanted_flow=None,
                feed=None,
                standpipe_area=float("inf"),
                submergence=0.0,
            )
        )
    return found


def likely_delivery(like: Site, fall: float, lift: float, source_flow: float) -> float:
    """Water that a pump on the drive pipe of ``like`` may deliver [m3/s], for the choice of a pipe only."""
    drawn = min(source_flow, _MEAN_VELOCITY * 0.25 * math.pi * like.drive_pipe.pipe.bore**2)
    return _EFFICIENCY * drawn * fall / lift


def line_pipe(like: Site, lift: float, length: float, flow: float, loss_over_lift: float) -> Pipe:
    """The smallest pipe of the series of ``like`` whose friction is allowed and that bears the lift with a half over.

    Parameters
    ----------
    like : Site
    lift, length : float
        [m]
    flow : float
        [m3/s]
    loss_over_lift : float

    Returns
    -------
    Pipe
        The widest that bears it where none is wide enough; that of ``like`` where its series is in no catalogue, or none of
        it bears the lift.
    """
    series = next((one for one in catalogue() if one.name == like.line.pipe.series), None)
    pressure = _OVER_LIFT * 1000.0 * STANDARD_GRAVITY * lift
    borne = [one for one in series.pipes if one.rating_gauge and one.rating_gauge >= pressure] if series else []
    if not borne:
        return like.line.pipe
    water = water_at(like.surroundings.temperature, like.surroundings.altitude)
    return narrowest_pipe(borne, length, 0.0, flow, loss_over_lift * lift, water)
