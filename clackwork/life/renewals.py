"""Parts that fail and are renewed: the moments of failure over years ahead, drawn from what is known of their life."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from clackwork.errors import InputError, require_not_negative, require_positive, require_range
from clackwork.life.stress import LifeModel

FloatArray = NDArray[np.float64]

YEAR = 365.25 * 86400.0
"""[s], Julian."""
_MOST_RENEWALS = 400
"""Failures of one part that are followed: one that would fail oftener within the years ahead is followed no further."""


@dataclass(frozen=True)
class PartInService:
    """One part in one pump.

    Attributes
    ----------
    where : str
        Site or rig.
    age : float
        Beats since it was fitted.
    beat_rate : float
        While the pump runs [1/s].
    stress : float
        Of its landings there [J/m2].
    running_share : float
        Share of the year that the pump runs.
    """

    where: str
    age: float
    beat_rate: float
    stress: float
    running_share: float = 1.0

    def __post_init__(self) -> None:
        require_not_negative(f"{self.where}, age", self.age, "beats")
        require_positive(f"{self.where}, beat_rate", self.beat_rate, "1/s", "A pump that does not beat wears nothing.")
        require_positive(f"{self.where}, stress", self.stress, "J/m2")
        require_range(f"{self.where}, running_share", self.running_share, 1e-3, 1.0, "")

    @property
    def yearly_beats(self) -> float:
        """Beats in a year."""
        return self.beat_rate * self.running_share * YEAR


@dataclass(frozen=True)
class FailureTimes:
    """Moments of failure of parts that are renewed each time they fail.

    Attributes
    ----------
    times : float64[failures]
        From now [years].
    part, draw : int[failures]
        Which part, and which draw of the model.
    parts, draws : int
    horizon : float
        To which they were followed [years].
    """

    times: FloatArray
    part: NDArray[np.intp]
    draw: NDArray[np.intp]
    parts: int
    draws: int
    horizon: float

    def counts(self, until: float) -> NDArray[np.intp]:
        """Failures of each part by a moment [years], int[draws, parts]."""
        if until > self.horizon * (1.0 + 1e-12):
            raise InputError("until", f"{until:g} years", f"failures were followed for {self.horizon:g} years only")
        seen = self.times <= until
        flat = np.bincount(self.draw[seen] * self.parts + self.part[seen], minlength=self.draws * self.parts)
        return flat.reshape(self.draws, self.parts)


def draw_failures(
    model: LifeModel, in_service: Sequence[PartInService], horizon: float, *, draws: int = 400, seed: int = 1
) -> FailureTimes:
    """Draw when parts fail over the years ahead.

    A part that has run so long already is as old as it is; one that fails is renewed at once by a new one of the same kind.
    All parts of one draw share its scale, shape and exponent: what is not known of the kind is the same for all its parts.

    Parameters
    ----------
    model : LifeModel
    in_service : sequence of PartInService
    horizon : float
        [years]
    draws, seed : int

    Notes
    -----
    A life known to two orders of magnitude only has draws in which a part would fail every few days; after four hundred
    failures such a part is left, so that a mean over long horizons is too low by them, and a quantile is not.
    """
    require_range("horizon", horizon, 1e-3, 100.0, "years")
    rng = np.random.default_rng(seed)
    picks = rng.permutation(np.arange(draws) % len(model.scale))
    ratio = np.array([one.stress for one in in_service]) / model.reference
    scale = model.scale[picks, np.newaxis] * ratio ** -model.exponent[picks, np.newaxis]
    shape = np.broadcast_to(model.shape[picks, np.newaxis], scale.shape)
    yearly = np.array([one.yearly_beats for one in in_service])
    age = np.array([one.age for one in in_service])
    # what is left of a part that has lived: its cumulative hazard grows by a unit exponential
    hazard = (age / scale) ** shape + rng.exponential(size=scale.shape)
    now = (scale * hazard ** (1.0 / shape) - age) / yearly
    times, parts, of_draw = [], [], []
    place = np.indices(scale.shape)
    for _ in range(_MOST_RENEWALS):
        inside = now <= horizon
        if not inside.any():
            break
        times.append(now[inside])
        of_draw.append(place[0][inside])
        parts.append(place[1][inside])
        now = np.where(inside, now + scale * rng.exponential(size=scale.shape) ** (1.0 / shape) / yearly, np.inf)

    def joined(pieces: list[NDArray[np.intp]]) -> NDArray[np.intp]:
        return np.concatenate(pieces) if pieces else np.zeros(0, dtype=np.intp)

    moments = np.concatenate(times) if times else np.zeros(0)
    return FailureTimes(moments, joined(parts), joined(of_draw), len(in_service), draws, horizon)
