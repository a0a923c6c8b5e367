"""A spread of likely sites, for a study beyond those in the book: drawn evenly over falls, lifts and lengths."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from clackwork.errors import InputError, require_range
from clackwork.site.site import Site


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
    """

    fall: tuple[float, float] = (0.8, 6.0)
    lift_over_fall: tuple[float, float] = (3.0, 12.0)
    drive_length_over_fall: tuple[float, float] = (5.0, 12.0)
    line_length_over_lift: tuple[float, float] = (2.0, 10.0)
    source_flow: tuple[float, float] = (2e-4, 1.5e-3)

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
    """Sites with the pipes of ``like``, spread as a Latin hypercube so that few cover the whole.

    Parameters
    ----------
    like : Site
        Gives pipes, water, and how well a survey knows its figures (as shares).
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
    for number, (fall, ratio, drive, line, flow) in enumerate(figures, start=1):
        lift = float(fall * ratio)
        found.append(
            replace(
                like,
                name=f"likely {number}",
                fall=float(fall),
                fall_spread=float(fall) * like.fall_spread / like.fall,
                source_flow=float(flow),
                source_flow_spread=float(flow) * like.source_flow_spread / like.source_flow,
                lift_holds_fall=False,
                lift_spread=lift * like.lift_spread / like.line.lift,
                drive_pipe=replace(like.drive_pipe, length=float(np.clip(fall * drive, 3.0, 200.0)), upstream=None),
                line=replace(like.line, lift=lift, length=float(lift * max(line, 1.0))),
                wanted_flow=None,
                feed=None,
                standpipe_area=float("inf"),
                submergence=0.0,
            )
        )
    return found
