"""What retuning the new build wins back at places where, tuned as it comes, it would be trouble."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from clackwork.ram.tuning import TuningBounds
from clackwork.site.promise import drive_rating_head
from clackwork.site.site import Site
from clackwork.site.stock import usual_bounds
from clackwork.site.tried import Layout, Tried, along, most_delivered, retuned_twin, try_tunings
from clackwork.twin.twin import Twin

_GRID = 6
_HEAD_OVER_LIFT = 1.05
"""Head held while tunings are tried, over the lift: a line's friction, found out exactly by the draws that follow."""
_SAFETY = 1.1
"""What is drawn, and what the pipe bears, are kept under their limits by this factor, as draws scatter about the best values
(common practice, no published source)."""


@dataclass(frozen=True)
class Retuned:
    """A tuning that serves at a place.

    Attributes
    ----------
    site : Site
    twin : Twin
        With the tuning.
    stroke, mass : float
        [m], [kg]
    """

    site: Site
    twin: Twin
    stroke: float
    mass: float


def retune(asked: Sequence[tuple[Twin, Site]], *, workers: int | None = None) -> list[Retuned | None]:
    """Look for a tuning of each twin that serves at its place, over its usual bounds, all in one batch.

    Returns
    -------
    list of Retuned or None
        None where no tuning beats evenly with the water there is and within the pipe's rating.
    """
    layouts = [
        Layout(twin, site.drive_pipe, site.fall, _HEAD_OVER_LIFT * site.line.lift, site.surroundings)
        for twin, site in asked
    ]
    bounds = [usual_bounds(twin.build) for twin, _ in asked]
    grids = [_tunings(layout, its) for layout, its in zip(layouts, bounds, strict=True)]
    tried = try_tunings([one for grid in grids for one in grid], workers=workers)
    found: list[Retuned | None] = []
    start = 0
    for (twin, site), layout, its, grid in zip(asked, layouts, bounds, grids, strict=True):
        best = _best(tried[start : start + len(grid)], layout, its, site)
        start += len(grid)
        found.append(
            None if best is None else Retuned(site, retuned_twin(twin, best.stroke, best.mass), best.stroke, best.mass)
        )
    return found


def _tunings(layout: Layout, bounds: TuningBounds) -> list[tuple[Layout, float, float]]:
    shares = [i / (_GRID - 1) for i in range(_GRID)]
    return [
        (layout, along(bounds.least_stroke, bounds.most_stroke, a), along(bounds.least_mass, bounds.most_mass, b))
        for a in shares
        for b in shares
    ]


def _best(tried: Sequence[Tried], layout: Layout, bounds: TuningBounds, site: Site) -> Tried | None:
    rating = drive_rating_head(layout.case(tried[0].stroke, tried[0].mass)) / _SAFETY
    return most_delivered([one for one in tried if one.highest_head <= rating], bounds, site.source_flow / _SAFETY)
