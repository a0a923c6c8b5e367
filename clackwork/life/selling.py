"""What a pump costs to make, what a warranty adds, and the margin and price that follow, old build against new."""

from __future__ import annotations

from dataclasses import dataclass

from clackwork.life.warranty import WarrantyStudy, margin_at, price_for


@dataclass(frozen=True)
class Selling:
    """One build as it is sold.

    Attributes
    ----------
    cost : float
        Of making one: parts and hours [currency].
    reserve, expected : float
        To put by for the warranty of one, and what of it is expected to be claimed [currency].
    margin : float
        Share of the held price that is left.
    price : float
        That leaves the margin held.
    """

    cost: float
    reserve: float
    expected: float
    margin: float
    price: float


def sell(
    costs: tuple[float, float],
    warranty: tuple[WarrantyStudy, WarrantyStudy],
    price: float,
    months: float,
    margin: float | None = None,
) -> tuple[Selling, Selling]:
    """Old and new build at a held price and at a held margin.

    Parameters
    ----------
    costs : (float, float)
        Of making one, old and new [currency].
    warranty : (WarrantyStudy, WarrantyStudy)
    price : float
        That one is sold for now [currency].
    months : float
        Of warranty.
    margin : float, optional
        To be held; that of the old build at the price when not given.

    Raises
    ------
    InputError
    """
    claims = [study.cost(months) for study in warranty]
    margins = [margin_at(price, cost, claim.reserve) for cost, claim in zip(costs, claims, strict=True)]
    held = margins[0] if margin is None else margin
    old, new = (
        Selling(cost, claim.reserve, claim.claims_mean * study.claim_cost, left, price_for(held, cost, claim.reserve))
        for cost, claim, study, left in zip(costs, claims, warranty, margins, strict=True)
    )
    return old, new
