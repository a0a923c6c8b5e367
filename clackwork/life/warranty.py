"""Warranty: how many claims, what they cost, how long one can be given for a reserve, and what follows for the price."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from clackwork.errors import InputError, require_not_negative, require_positive, require_range
from clackwork.life.renewals import FailureTimes, PartInService, draw_failures
from clackwork.life.stress import LifeModel

FloatArray = NDArray[np.float64]

LONGEST_YEARS = 15.0
"""Longest warranty looked at [years]."""


@dataclass(frozen=True)
class WarrantyCost:
    """What a warranty of a length costs over the pumps sold.

    Attributes
    ----------
    months : float
    claims : (float, float, float)
        5, 50 and 95 % points of the claims of all pumps.
    claims_mean : float
        Expected claims of one pump.
    share_with_claim : float
        Share of pumps expected to claim at least once.
    cost : (float, float, float)
        5, 50 and 95 % points, for all pumps.
    reserve : float
        To put by for each pump, so that all claims are paid but for the risk asked for.
    """

    months: float
    claims: tuple[float, float, float]
    claims_mean: float
    share_with_claim: float
    cost: tuple[float, float, float]
    reserve: float


@dataclass(frozen=True)
class WarrantyStudy:
    """Failures of the pumps sold over the years ahead; every length of warranty is read from the same draws.

    Attributes
    ----------
    failures : FailureTimes
    claim_cost : float
        Of one claim: part, hours, way.
    """

    failures: FailureTimes
    claim_cost: float

    def cost(self, months: float, *, risk: float = 0.10) -> WarrantyCost:
        """Claims and cost of a warranty of so many months."""
        require_range("months", months, 0.0, 12.0 * LONGEST_YEARS, "months")
        require_range("risk", risk, 1e-3, 0.5, "")
        counts = self.failures.counts(months / 12.0)
        claims = counts.sum(axis=1).astype(np.float64)
        low, middle, high = (float(one) for one in np.quantile(claims, (0.05, 0.5, 0.95)))
        paid = float(np.quantile(claims, 1.0 - risk)) * self.claim_cost
        return WarrantyCost(
            months,
            (low, middle, high),
            float(claims.mean()) / self.failures.parts,
            float(np.mean(counts > 0)),
            (low * self.claim_cost, middle * self.claim_cost, high * self.claim_cost),
            paid / self.failures.parts,
        )

    def longest(self, reserve: float, *, risk: float = 0.10) -> float:
        """Longest warranty, in whole months, whose reserve for each pump is not above this."""
        require_not_negative("reserve", reserve, "")
        low, high = 0, round(12.0 * LONGEST_YEARS)
        if self.cost(high, risk=risk).reserve <= reserve:
            return float(high)
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (middle, high) if self.cost(middle, risk=risk).reserve <= reserve else (low, middle)
        return float(low)


def study_warranty(
    model: LifeModel, sold: Sequence[PartInService], claim_cost: float, *, draws: int = 400, seed: int = 1
) -> WarrantyStudy:
    """Draw the failures of pumps sold new.

    Parameters
    ----------
    model : LifeModel
        Of the part that the warranty is given on.
    sold : sequence of PartInService
        One for each pump, where it will run; ages are taken as 0.
    claim_cost : float
        In any currency.
    draws, seed : int
    """
    if not sold:
        raise InputError("pumps sold", "none", "it takes one at least", "Name the sites, or a spread of likely ones.")
    require_not_negative("claim_cost", claim_cost, "")
    new = [PartInService(one.where, 0.0, one.beat_rate, one.stress, one.running_share) for one in sold]
    return WarrantyStudy(draw_failures(model, new, LONGEST_YEARS, draws=draws, seed=seed), claim_cost)


def margin_at(price: float, cost: float, reserve: float) -> float:
    """Share of the price that is left when cost and reserve are paid."""
    require_positive("price", price, "")
    return (price - cost - reserve) / price


def price_for(margin: float, cost: float, reserve: float) -> float:
    """Price that leaves this share of itself when cost and reserve are paid."""
    require_range("margin", margin, -1.0, 0.95, "")
    return (cost + reserve) / (1.0 - margin)
