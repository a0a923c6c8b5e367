"""How the readings' errors hang together: one gauge's error is the same in every run read with it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from clackwork.bench.gum import Estimate

FloatArray = NDArray[np.float64]

LEAST_UNCERTAINTY = 2e-3
"""Relative floor of a figure's uncertainty: a settled mean of counted beats is no smoother than this."""
IDEAL_SLOPES: Mapping[str, tuple[float, float]] = {
    "waste_flow": (0.5, 0.0),
    "drawn_flow": (0.5, 0.0),
    "beat_rate": (1.0, 0.0),
    "delivered_flow": (1.0, -1.0),
    "shut_off_head": (0.5, 0.0),
}
"""Powers of fall and back-pressure in each figure of an ideal ram, until the engine's own are known."""


@dataclass(frozen=True)
class ReadingErrors:
    """Relative errors of the fitted figures by their causes.

    Attributes
    ----------
    own, fall, head : float64[targets, causes]
        Signed relative amount of one standard deviation of each cause, in the figure read, in the fall and in the
        back-pressure that its run was modelled at.
    """

    own: FloatArray
    fall: FloatArray
    head: FloatArray

    def covariance(self, fall_slopes: FloatArray, head_slopes: FloatArray) -> FloatArray:
        """Covariance of ln(modelled / measured), float64[targets, targets].

        Parameters
        ----------
        fall_slopes, head_slopes : float64[targets]
            Powers of fall and back-pressure in each modelled figure: an error of a set point moves what is modelled.
        """
        causes = self.fall * fall_slopes[:, np.newaxis] + self.head * head_slopes[:, np.newaxis] - self.own
        return np.asarray(causes @ causes.T + LEAST_UNCERTAINTY**2 * np.eye(len(causes)))


def _amounts(estimate: Estimate | None, run: str) -> dict[str, float]:
    """Relative signed amounts by cause; a cause of one run only has the run's name in its own."""
    found: dict[str, float] = {}
    for part in estimate.budget if estimate and estimate.value else ():
        assert estimate is not None
        cause = part.shared_as or f"{run}: {part.name}"
        found[cause] = found.get(cause, 0.0) + part.amount / estimate.value
    return found


def reading_errors(
    runs: Sequence[str],
    read: Sequence[Estimate],
    falls: Sequence[Estimate | None],
    heads: Sequence[Estimate | None],
) -> ReadingErrors:
    """Errors of figures, each with its run's name and the estimates of its fall and back-pressure; None for no such."""
    tables = [
        [_amounts(estimate, run) for estimate, run in zip(estimates, runs, strict=True)]
        for estimates in (read, falls, heads)
    ]
    causes = {cause: k for k, cause in enumerate(dict.fromkeys(c for table in tables for row in table for c in row))}
    found = np.zeros((3, len(runs), len(causes)))
    for amounts, table in zip(found, tables, strict=True):
        for row, by_cause in zip(amounts, table, strict=True):
            for cause, amount in by_cause.items():
                row[causes[cause]] = amount
    return ReadingErrors(found[0], found[1], found[2])
