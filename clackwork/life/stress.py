"""Life carried from one fall to another: a Weibull life whose scale falls with a power of how hard the part is used.

scale = scale at the reference x (stress / reference)^-exponent, the inverse power law of accelerated tests (Nelson,
Accelerated Testing, 1990; from memory). The stress of a valve is what its landings bring, from the engine:
:func:`landing_stress`. What few records leave open is held by priors that are shown with every answer.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from clackwork.errors import InputError, require_positive
from clackwork.life.exposures import Exposure
from clackwork.life.posterior import LogDensity, draw_posterior

FloatArray = NDArray[np.float64]


def landing_stress(speed: FloatArray | float, effective_mass: float, seat_bore: float) -> FloatArray:
    """Landing energy over the area of the seat [J/m2]: the stress used here, as pumps of several sizes share it.

    Parameters
    ----------
    speed : float or float64[...]
        Of the waste valve at its seat as it shuts [m/s].
    effective_mass : float
        Of its moving parts, at the seat [kg].
    seat_bore : float
        [m]
    """
    return np.asarray(0.5 * effective_mass * np.square(speed) / (0.25 * math.pi * seat_bore**2))


@dataclass(frozen=True)
class StressedExposure:
    """A life and the stress it was lived under.

    Attributes
    ----------
    exposure : Exposure
        In beats.
    stress : float
        Landing energy by area [J/m2], or any stress the same for all.
    """

    exposure: Exposure
    stress: float

    def __post_init__(self) -> None:
        require_positive(f"part {self.exposure.part!r}, stress", self.stress, "")


@dataclass(frozen=True)
class Spread:
    """A prior: normal about ``middle``, of a logarithm where the parameter is one."""

    middle: float
    spread: float


@dataclass(frozen=True)
class LifePriors:
    """What is taken as known before any record.

    Attributes
    ----------
    scale : Spread
        Of ln(scale in beats) at the reference stress.
    shape : Spread
        Of ln(shape).
    exponent : Spread
        Of the exponent of stress.
    source : str
    """

    scale: Spread
    shape: Spread = Spread(math.log(2.0), 0.5)
    exponent: Spread = Spread(1.0, 0.7)
    source: str = "common practice, no published source"


_A_YEAR_OF_BEATS = 365.25 * 86400.0
MATERIALS: Mapping[str, LifePriors] = MappingProxyType(
    {
        # a brass flap lasts some 1 to 1.5 years at a beat a second; the spread makes it an order of magnitude either way
        "brass": LifePriors(Spread(math.log(1.25 * _A_YEAR_OF_BEATS), math.log(10.0) / 2.0)),
        # Archard wear of ferritic stainless is some 35 times less than that of brass, dry (read): not trusted further
        # than its square root, and two orders of magnitude wide
        "stainless": LifePriors(
            Spread(math.log(6.0 * 1.25 * _A_YEAR_OF_BEATS), math.log(10.0)),
            source="Archard coefficients, dry sliding, brass 6e-4 and ferritic stainless 1.7e-5: order of magnitude only",
        ),
        # rubbers are renewed after 6 to 24 months (from memory)
        "rubber": LifePriors(
            Spread(math.log(_A_YEAR_OF_BEATS), math.log(10.0) / 2.0), source="from memory: 6 to 24 months"
        ),
        "plastic": LifePriors(Spread(math.log(_A_YEAR_OF_BEATS), math.log(10.0)), source="not known: two orders wide"),
        "other": LifePriors(Spread(math.log(_A_YEAR_OF_BEATS), math.log(10.0)), source="not known: two orders wide"),
    }
)
"""Priors for usual materials, orders of magnitude only."""


def priors_for(material: str) -> LifePriors:
    """Priors of a material.

    Raises
    ------
    InputError
        When it is none of :data:`MATERIALS`.
    """
    if material not in MATERIALS:
        raise InputError("material", material, f"it must be one of {', '.join(MATERIALS)}")
    return MATERIALS[material]


@dataclass(frozen=True)
class LifeModel:
    """Life of one kind of part at any stress, as draws.

    Attributes
    ----------
    reference : float
        Stress at which ``scale`` holds.
    scale, shape, exponent : float64[draws]
        Scale in beats.
    failures, parts : float
        In the records.
    effective : float
        Independent draws they are worth.
    exponent_learnt : float
        Share by which the records narrowed the exponent's spread; 0 where it stands on its prior alone.
    priors : LifePriors
    """

    reference: float
    scale: FloatArray
    shape: FloatArray
    exponent: FloatArray
    failures: float
    parts: float
    effective: float
    exponent_learnt: float
    priors: LifePriors

    def scale_at(self, stress: float) -> FloatArray:
        """Scale [beats] of every draw at a stress."""
        require_positive("stress", stress, "J/m2")
        return np.asarray(self.scale * (stress / self.reference) ** -self.exponent)

    def life_at(self, share_failed: float, stress: float) -> FloatArray:
        """Beats by which a share has failed, of every draw, float64[draws]."""
        return np.asarray(self.scale_at(stress) * (-math.log1p(-share_failed)) ** (1.0 / self.shape))

    def failed_by(self, beats: float, stress: float) -> FloatArray:
        """Share failed after so many beats, of every draw, float64[draws]."""
        return np.asarray(-np.expm1(-((beats / self.scale_at(stress)) ** self.shape)))


def fit_life(
    records: Sequence[StressedExposure], priors: LifePriors, *, reference: float = 0.0, draws: int = 2000, seed: int = 1
) -> LifeModel:
    """Learn life from records at any stresses; without any record the priors stand.

    Parameters
    ----------
    records : sequence of StressedExposure
    priors : LifePriors
    reference : float
        Stress at which the scale is told [J/m2]; 0 takes the middle of the records' (geometric), 1 without records.
    draws, seed : int
    """
    stresses = np.array([one.stress for one in records])
    if not reference > 0.0:
        reference = float(np.exp(np.mean(np.log(stresses)))) if records else 1.0
    density = _density(records, stresses / reference, priors)
    start = np.array([priors.scale.middle, priors.shape.middle, priors.exponent.middle])
    lived = [one.exposure.survived * one.exposure.number for one in records]
    failures = sum(one.exposure.number for one in records if one.exposure.failed)
    if failures and sum(lived) > 0.0:
        start[0] = math.log(sum(lived) / failures)
    drawn = draw_posterior(density, start, draws=draws, seed=seed)
    log_scale, log_shape, exponent = drawn.draws.T
    return LifeModel(
        reference,
        np.exp(log_scale),
        np.exp(log_shape),
        exponent,
        float(failures),
        float(sum(one.exposure.number for one in records)),
        drawn.effective,
        max(0.0, 1.0 - float(np.std(exponent)) / priors.exponent.spread),
        priors,
    )


def _density(records: Sequence[StressedExposure], ratio: FloatArray, priors: LifePriors) -> LogDensity:
    """Log posterior density of rows (ln scale, ln shape, exponent)."""
    survived = np.array([one.exposure.survived for one in records])
    failed_by = np.array([one.exposure.failed_by for one in records])
    number = np.array([one.exposure.number for one in records])
    exact, running = failed_by == survived, np.isinf(failed_by)
    between = ~exact & ~running
    log_ratio = np.log(ratio)
    prior = (priors.scale, priors.shape, priors.exponent)

    def log_density(rows: FloatArray) -> FloatArray:
        total = -0.5 * sum(((rows[:, i] - one.middle) / one.spread) ** 2 for i, one in enumerate(prior))
        if not len(records):
            return np.asarray(total)
        shape = np.exp(rows[:, 1])[:, np.newaxis]
        log_scale = rows[:, 0][:, np.newaxis] - rows[:, 2][:, np.newaxis] * log_ratio
        with np.errstate(over="ignore", divide="ignore", invalid="ignore"):
            log_t = np.log(survived) - log_scale
            hazard = np.exp(shape * log_t)
            each = np.where(exact, np.log(shape) - log_scale + (shape - 1.0) * log_t - hazard, -hazard)
            if between.any():
                later = np.exp(shape * (np.log(np.where(between, failed_by, 1.0)) - log_scale))
                each = np.where(between, -hazard + np.log(-np.expm1(np.where(between, hazard - later, -1.0))), each)
            total = total + np.sum(number * each, axis=1)
        return np.asarray(np.where(np.isfinite(total), total, -np.inf))

    return log_density
