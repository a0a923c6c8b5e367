"""What a build is worth at a place in a year, draw by draw: water that serves, less renewals, trouble and its own cost."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from clackwork.errors import require_not_negative, require_positive
from clackwork.life.renewals import YEAR
from clackwork.life.site_draws import PlaceDraws
from clackwork.life.stress import LifeModel

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class PartTerms:
    """Life and cost of the part that is old or new.

    Attributes
    ----------
    life : LifeModel
    first_cost : float
        Of one pump with it, as far as the two builds differ [currency].
    renewal_cost : float
        Of one renewal: part, hours, way [currency].
    """

    life: LifeModel
    first_cost: float
    renewal_cost: float

    def __post_init__(self) -> None:
        require_not_negative("first_cost", self.first_cost, "")
        require_not_negative("renewal_cost", self.renewal_cost, "")


@dataclass(frozen=True)
class WaterTerms:
    """What serving is worth, and what not serving costs.

    Attributes
    ----------
    value : float
        Of a cubic metre delivered, as far as it is wanted [currency/m3].
    trouble_cost : float
        A year of a pump that stalls, wants more water than there is, or passes the rating of its pipe [currency].
    years : float
        Over which a first cost is spread.
    """

    value: float
    trouble_cost: float
    years: float = 10.0

    def __post_init__(self) -> None:
        require_not_negative("value", self.value, "")
        require_not_negative("trouble_cost", self.trouble_cost, "")
        require_positive("years", self.years, "years")


def serves(place: PlaceDraws) -> NDArray[np.bool_]:
    """Whether a draw beats with the water there is and within the rating of its pipe."""
    return place.enough & ~place.too_strong


def life_picks(life: LifeModel, draws: int, seed: int) -> NDArray[np.intp]:
    """Which draw of a life goes with each draw of a pump: the same at every place, as it is one kind of part."""
    return np.random.default_rng([seed, 11]).permutation(np.arange(draws) % len(life.scale)).astype(np.intp)


def yearly_renewals(place: PlaceDraws, life: LifeModel, seed: int) -> FloatArray:
    """Renewals a year of every draw: beats a year over the mean life at its stress, float64[draws]."""
    picks = life_picks(life, len(place.beating), seed)
    stress = np.where(place.beating, place.landing_energy, life.reference)
    scale = life.scale[picks] * (np.maximum(stress, 1e-9) / life.reference) ** -life.exponent[picks]
    mean_life = scale * np.array([math.gamma(1.0 + 1.0 / shape) for shape in life.shape[picks]])
    return np.asarray(np.where(place.beating, place.beat_rate * YEAR / mean_life, 0.0))


def yearly_cost(renewals: FloatArray, part: PartTerms, years: float) -> FloatArray:
    """What the part costs in a year [currency], of every draw: renewals, and its first cost spread over ``years``."""
    return part.renewal_cost * renewals + part.first_cost / years


def yearly_worth(
    place: PlaceDraws, part: PartTerms, water: WaterTerms, wanted_flow: float | None, seed: int
) -> FloatArray:
    """Worth of a year [currency], of every draw.

    Parameters
    ----------
    place : PlaceDraws
    part : PartTerms
    water : WaterTerms
    wanted_flow : float or None
        More than that serves nobody [m3/s]; None counts all.
    seed : int

    Returns
    -------
    float64[draws]
    """
    served = place.delivered_flow if wanted_flow is None else np.minimum(place.delivered_flow, wanted_flow)
    serving = serves(place)
    worth = np.where(serving, water.value * served * YEAR, -water.trouble_cost)
    return np.asarray(worth - yearly_cost(yearly_renewals(place, part.life, seed), part, water.years))
