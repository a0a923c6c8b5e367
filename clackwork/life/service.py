"""Service of a part at a site: beats a year, its life in years, when to look at it, spares to keep."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from clackwork.errors import require_range
from clackwork.life.renewals import PartInService, draw_failures
from clackwork.life.stress import LifeModel

FloatArray = NDArray[np.float64]

RENEW_AT = 0.10
"""Share of parts that may fail before they are renewed: common practice, no published source."""
LOOKS_BEFORE_RENEWAL = 3.0
"""How often a part is looked at within that time: common practice, no published source."""


@dataclass(frozen=True)
class PartService:
    """One wearing part at one site.

    Attributes
    ----------
    where : str
    yearly_beats : float
    years : (float, float, float)
        5, 50 and 95 % points of the life of one part, what is not known of the kind and what differs from part to part
        together [years].
    renew_after : float
        Beats after which a new part is renewed: a tenth would have failed, at the middle of what is known.
    renew_after_years : float
    look_every_years : float
    spares : int
        To carry with the pump for one year at the risk asked for.
    """

    where: str
    yearly_beats: float
    years: tuple[float, float, float]
    renew_after: float
    renew_after_years: float
    look_every_years: float
    spares: int


def plan_service(model: LifeModel, part: PartInService, *, risk: float = 0.05, seed: int = 1) -> PartService:
    """Life of a new part at a site and what follows for its care.

    Parameters
    ----------
    model : LifeModel
    part : PartInService
        Its age counts for the spares, not for the life.
    risk : float
        Chance of running out of spares within the year.
    seed : int
    """
    rng = np.random.default_rng(seed)
    beats = model.scale_at(part.stress) * rng.exponential(size=len(model.scale)) ** (1.0 / model.shape)
    low, middle, high = np.quantile(beats / part.yearly_beats, (0.05, 0.5, 0.95))
    renew = float(np.median(model.life_at(RENEW_AT, part.stress)))
    spares = spares_needed(model, [part], 1.0, risk=risk, seed=seed)
    years = renew / part.yearly_beats
    return PartService(
        part.where,
        part.yearly_beats,
        (float(low), float(middle), float(high)),
        renew,
        years,
        years / LOOKS_BEFORE_RENEWAL,
        spares,
    )


def spares_needed(
    model: LifeModel,
    in_service: Sequence[PartInService],
    years: float,
    *,
    risk: float = 0.05,
    draws: int = 1000,
    seed: int = 1,
) -> int:
    """Spares that last so many years with all these parts, but for a chance ``risk`` of running out."""
    require_range("risk", risk, 1e-3, 0.5, "", "0.05 is one year in twenty.")
    if not in_service:
        return 0
    used = draw_failures(model, in_service, years, draws=draws, seed=seed).counts(years).sum(axis=1)
    return math.ceil(float(np.quantile(used, 1.0 - risk, method="inverted_cdf")))
