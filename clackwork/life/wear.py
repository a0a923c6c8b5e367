"""Wear measured over time, carried on to the limit at which the part is renewed.

Wear of part i after t is rate_i t^power, measured with an error. Rates differ from part to part (normal logarithms), the
power is common to all: 1 is steady wear (Archard), less is a part that beds in. What is not known of a new part is both.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from clackwork.errors import InputError, require_not_negative, require_positive
from clackwork.life.posterior import LogDensity, draw_posterior

FloatArray = NDArray[np.float64]

POWER_SPREAD = 0.25
"""Spread of the power about 1 before any record: common practice, no published source."""
PART_SPREAD = (0.4, 0.7)
"""Middle, and spread of the logarithm, of how far the rates of like parts scatter (as a spread of their logarithm): common
practice, no published source."""
_OPEN = 4.0  # spread of ln(rate) before any record: next to nothing known
_NODES = 15


@dataclass(frozen=True)
class WearReading:
    """One measurement of wear.

    Attributes
    ----------
    part : str
        The same for readings of the same part.
    life : float
        When it was measured, in beats or any unit of time.
    wear : float
        Depth, weight or leak, in any unit; 0 for no mark.
    uncertainty : float
        Standard uncertainty of the reading, in the same unit: what would just be seen, where nothing is.
    """

    part: str
    life: float
    wear: float
    uncertainty: float

    def __post_init__(self) -> None:
        require_positive(f"wear of part {self.part!r}, life", self.life, "")
        require_not_negative(f"wear of part {self.part!r}", self.wear, "")
        require_positive(
            f"wear of part {self.part!r}, uncertainty", self.uncertainty, "", "Give the smallest wear you would see."
        )


@dataclass(frozen=True)
class WearModel:
    """Wear of like parts, as draws.

    Attributes
    ----------
    rate : float64[draws]
        Of the middle part, after one ``unit`` of life.
    power : float64[draws]
    scatter : float64[draws]
        Spread of ln(rate) from part to part.
    unit : float
        Life that counts as one.
    parts, readings : int
    effective : float
    seed : int
    """

    rate: FloatArray
    power: FloatArray
    scatter: FloatArray
    unit: float
    parts: int
    readings: int
    effective: float
    seed: int

    def life_to(self, limit: float, *, new_part: bool = True) -> FloatArray:
        """Life to a limit of wear, of every draw: of a part not yet seen, or of the middle part."""
        require_positive("limit", limit, "", "Name the wear at which the part is renewed.")
        rate = self.rate
        if new_part:
            rng = np.random.default_rng([self.seed, 7])
            rate = rate * np.exp(self.scatter * rng.standard_normal(len(rate)))
        return np.asarray(self.unit * (limit / rate) ** (1.0 / self.power))


def fit_wear(readings: Sequence[WearReading], *, steady: bool = False, draws: int = 2000, seed: int = 1) -> WearModel:
    """Learn the rate of wear and its power from readings of one or more parts.

    Parameters
    ----------
    readings : sequence of WearReading
    steady : bool
        Whether wear goes with life itself; else the power is learnt.
    draws, seed : int

    Raises
    ------
    InputError
        Without a reading, or when a part is less worn at a later reading by more than its uncertainties allow.
    """
    if not readings:
        raise InputError("wear", "no readings", "it takes one at least", "Measure a part and say after how many beats.")
    _refuse_healing(readings)
    unit = math.exp(sum(math.log(one.life) for one in readings) / len(readings))
    names = list(dict.fromkeys(one.part for one in readings))
    guess = max(float(np.mean([one.wear for one in readings])), min(one.uncertainty for one in readings))
    start = np.array([math.log(guess), math.log(PART_SPREAD[0]), *([] if steady else [1.0])])
    drawn = draw_posterior(_density(readings, names, unit, steady, math.log(guess)), start, draws=draws, seed=seed)
    columns = drawn.draws.T
    return WearModel(
        np.exp(columns[0]),
        np.ones(draws) if steady else columns[2],
        np.exp(columns[1]),
        unit,
        len(names),
        len(readings),
        drawn.effective,
        seed,
    )


def _refuse_healing(readings: Sequence[WearReading]) -> None:
    by_part: dict[str, list[WearReading]] = {}
    for one in readings:
        by_part.setdefault(one.part, []).append(one)
    for part, its in by_part.items():
        its = sorted(its, key=lambda one: one.life)
        for before, after in pairwise(its):
            if before.wear - after.wear > 4.0 * math.hypot(before.uncertainty, after.uncertainty):
                raise InputError(
                    f"wear of part {part!r}",
                    f"{after.wear:g} after {before.wear:g}",
                    "wear does not heal",
                    "Was the part renewed in between? Then it is another part from there on.",
                )


def _density(
    readings: Sequence[WearReading], names: Sequence[str], unit: float, steady: bool, guess: float
) -> LogDensity:
    """Log posterior density of rows (ln rate, ln scatter, power), the rates of the parts integrated out."""
    log_life = np.log(np.array([one.life for one in readings]) / unit)
    wear = np.array([one.wear for one in readings])
    inverse = 1.0 / np.array([one.uncertainty for one in readings])
    of_part = np.array([names.index(one.part) for one in readings])

    def likelihood(log_rate: FloatArray, power: FloatArray) -> FloatArray:
        """Of each part at rates [rows, parts], float64[rows, parts]."""
        expected = np.exp(np.minimum(log_rate[:, of_part] + power[:, np.newaxis] * log_life, 300.0))
        each = -0.5 * ((wear - expected) * inverse) ** 2
        found = np.zeros((len(log_rate), len(names)))
        np.add.at(found.T, of_part, each.T)
        return found

    def log_density(rows: FloatArray) -> FloatArray:
        power = np.ones(len(rows)) if steady else rows[:, 2]
        scatter = np.exp(np.minimum(rows[:, 1], 5.0))
        total = -0.5 * ((rows[:, 0] - guess) / _OPEN) ** 2
        total += -0.5 * ((rows[:, 1] - math.log(PART_SPREAD[0])) / PART_SPREAD[1]) ** 2
        total += 0.0 if steady else -0.5 * ((power - 1.0) / POWER_SPREAD) ** 2
        total += np.sum(_integrated(likelihood, rows[:, 0], scatter, power, len(names)), axis=1)
        return np.asarray(np.where((power > 0.1) & np.isfinite(total), total, -np.inf))

    return log_density


def _integrated(
    likelihood: Callable[[FloatArray, FloatArray], FloatArray],
    middle: FloatArray,
    scatter: FloatArray,
    power: FloatArray,
    parts: int,
) -> FloatArray:
    """Log of each part's likelihood, averaged over its rate; float64[rows, parts].

    A part's own top is found first (a few Newton steps), as a sharp reading sits between the nodes of a plain rule.
    """
    place = np.repeat(middle[:, np.newaxis], parts, axis=1)
    spread = scatter[:, np.newaxis]

    def target(at: FloatArray) -> FloatArray:
        return np.asarray(likelihood(at, power) - 0.5 * ((at - middle[:, np.newaxis]) / spread) ** 2)

    step = 1e-3
    for _ in range(12):
        here, up, down = target(place), target(place + step), target(place - step)
        slope, bend = (up - down) / (2.0 * step), (up - 2.0 * here + down) / step**2
        bend = np.minimum(bend, -0.2 / spread**2)
        place = place + np.clip(-slope / bend, -1.5, 1.5)
    here, up, down = target(place), target(place + step), target(place - step)
    width = 1.0 / np.sqrt(np.maximum(-(up - 2.0 * here + down) / step**2, 0.2 / spread**2))
    nodes, weights = np.polynomial.hermite_e.hermegauss(_NODES)
    values = np.stack([target(place + node * width) + 0.5 * node**2 for node in nodes])
    highest = np.max(values, axis=0)
    summed = np.tensordot(weights, np.exp(values - highest), axes=(0, 0))
    return np.asarray(highest + np.log(summed * width / (spread * math.sqrt(2.0 * math.pi))))
