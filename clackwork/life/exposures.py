"""How long parts have run, and how that ended: failed, found failed at an inspection, or running still."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from clackwork.errors import InputError, require_not_negative, require_positive

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Exposure:
    """Life of one part, or of several alike, in beats or in any unit of time.

    Attributes
    ----------
    survived : float
        How long it is known to have lasted.
    failed_by : float
        By when it was known to have failed: ``survived`` for a failure seen when it happened, later for one found at an
        inspection, infinite for a part that runs still or was taken out sound.
    number : float
        Parts it stands for.
    part : str
        What it is called in the records.
    cause : str
        Of the failure; empty when it has not failed.
    """

    survived: float
    failed_by: float = math.inf
    number: float = 1.0
    part: str = ""
    cause: str = ""

    def __post_init__(self) -> None:
        name = f"part {self.part!r}" if self.part else "part"
        require_not_negative(f"{name}, survived", self.survived, "")
        require_positive(f"{name}, number", self.number, "")
        if math.isnan(self.failed_by) or self.failed_by < self.survived:
            raise InputError(
                f"{name}, failed_by",
                f"{self.failed_by:g}",
                f"it must not be before {self.survived:g}, to which it had survived",
                "Look at the order of its dates or counts.",
            )
        if self.failed_by == 0.0:
            raise InputError(
                f"{name}, failed_by", "0", "a failure has a life above 0", "Count from when it was fitted."
            )

    @property
    def failed(self) -> bool:
        """Whether it has failed."""
        return self.failed_by < math.inf


@dataclass(frozen=True)
class Lives:
    """Exposures as arrays, those alike added up.

    Attributes
    ----------
    failed, failed_number : float64[failures]
        Lives of failures seen when they happened and how many of each.
    unfailed, unfailed_number : float64[running]
        Lives without failure.
    earliest, latest, between_number : float64[found]
        Ends of the intervals in which failures found at inspections happened.
    """

    failed: FloatArray
    failed_number: FloatArray
    unfailed: FloatArray
    unfailed_number: FloatArray
    earliest: FloatArray
    latest: FloatArray
    between_number: FloatArray

    @property
    def failures(self) -> float:
        """All that have failed."""
        return float(self.failed_number.sum() + self.between_number.sum())

    @property
    def longest(self) -> float:
        """Longest life known of, failed or not."""
        return float(max((each.max() for each in (self.failed, self.unfailed, self.latest) if each.size), default=0.0))


def gather(exposures: Sequence[Exposure]) -> Lives:
    """Exposures as arrays.

    Raises
    ------
    InputError
        When none has run at all.
    """
    exact = [one for one in exposures if one.failed and one.failed_by == one.survived]
    between = [one for one in exposures if one.failed and one.failed_by > one.survived]
    running = [one for one in exposures if not one.failed and one.survived > 0.0]
    if not exact and not between and not running:
        raise InputError("lives", "none", "it takes one part that has run", "Enter what has run, failed or not.")

    def column(of: Sequence[float]) -> FloatArray:
        return np.array(of, dtype=np.float64)

    return Lives(
        column([one.survived for one in exact]),
        column([one.number for one in exact]),
        column([one.survived for one in running]),
        column([one.number for one in running]),
        column([one.survived for one in between]),
        column([one.failed_by for one in between]),
        column([one.number for one in between]),
    )
