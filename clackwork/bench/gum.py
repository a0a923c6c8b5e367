"""Uncertainty budgets in the way of the GUM (JCGM 100:2008, Guide to the expression of uncertainty)."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from clackwork.errors import InputError

# A reading known only to lie within a half width, no place in it likelier: JCGM 100:2008, 4.3.7.
_RECTANGULAR = 1.0 / math.sqrt(3.0)
_TRIAL_STEP = 1e-6  # relative step of a component known exactly, only to state its sensitivity


@dataclass(frozen=True)
class Component:
    """One input of a figure.

    Attributes
    ----------
    name : str
        What it is; also the key under which the figure's formula finds it.
    value : float
        In SI.
    standard_uncertainty : float
        Same unit, 0 or more.
    degrees_of_freedom : float
        Of the standard uncertainty; infinite when it is taken as known.
    kind : {"A", "B"}
        "A" from the scatter of repeated readings, "B" from anything else (JCGM 100:2008, 0.7).
    source : str
        Where the uncertainty comes from, in words.
    shared_as : str
        Names the effect when the same error enters every run read with the same instrument (it does not
        average out over runs, but cancels in a difference); empty when it is drawn anew in each run.
    """

    name: str
    value: float
    standard_uncertainty: float
    degrees_of_freedom: float = math.inf
    kind: Literal["A", "B"] = "B"
    source: str = ""
    shared_as: str = ""

    def __post_init__(self) -> None:
        if not math.isfinite(self.value):
            raise InputError(self.name, self.value, "it must be a finite number")
        if not (math.isfinite(self.standard_uncertainty) and self.standard_uncertainty >= 0.0):
            raise InputError(f"standard uncertainty of {self.name}", self.standard_uncertainty, "it must be 0 or more")
        if not self.degrees_of_freedom > 0.0:
            raise InputError(
                f"degrees of freedom of {self.name}",
                self.degrees_of_freedom,
                "they must be above 0",
                "Use infinity for an uncertainty taken as known.",
            )


@dataclass(frozen=True)
class Contribution:
    """What one component brings to a figure's uncertainty.

    Attributes
    ----------
    name : str
        Of the component.
    sensitivity : float
        Change of the figure per change of the component [figure's unit per component's unit].
    amount : float
        Sensitivity times standard uncertainty, with its sign [figure's unit].
    share : float
        Of the figure's variance, 0 to 1.
    degrees_of_freedom : float
    kind : {"A", "B"}
    source, shared_as : str
        As in the component.
    """

    name: str
    sensitivity: float
    amount: float
    share: float
    degrees_of_freedom: float
    kind: Literal["A", "B"]
    source: str
    shared_as: str


@dataclass(frozen=True)
class Estimate:
    """A figure with its uncertainty and where that comes from.

    Attributes
    ----------
    value, standard_uncertainty : float
        In SI.
    degrees_of_freedom : float
        Effective, by Welch and Satterthwaite; infinite when nothing rests on few readings.
    budget : tuple of Contribution
        Largest first.
    """

    value: float
    standard_uncertainty: float
    degrees_of_freedom: float
    budget: tuple[Contribution, ...] = ()

    @property
    def relative_uncertainty(self) -> float:
        """Standard uncertainty over the size of the value [-]; infinite at a value of 0."""
        return self.standard_uncertainty / abs(self.value) if self.value else math.inf

    def interval(self, level: float = 0.90) -> tuple[float, float]:
        """Low and high end [figure's unit] that hold the true value with probability ``level``."""
        reach = coverage_factor(level, self.degrees_of_freedom) * self.standard_uncertainty
        return self.value - reach, self.value + reach

    @property
    def shared(self) -> Mapping[str, float]:
        """Signed amount [figure's unit] of each effect that is the same in every run with the instrument."""
        amounts: dict[str, float] = {}
        for part in self.budget:
            if part.shared_as:
                amounts[part.shared_as] = amounts.get(part.shared_as, 0.0) + part.amount
        return amounts

    @property
    def reading_noise(self) -> float:
        """Standard uncertainty [figure's unit] of what is drawn anew in each run."""
        return math.sqrt(sum(part.amount**2 for part in self.budget if not part.shared_as))


def half_width(width: float) -> float:
    """Return the standard uncertainty of a value known to within plus or minus ``width``, width / sqrt(3).

    Source: JCGM 100:2008, 4.3.7 (rectangular distribution).
    """
    return width * _RECTANGULAR


def check_level(level: float, field: str = "level") -> float:
    """Return a level of confidence (or a power) when it is above 0 and below 1, else raise `InputError`."""
    if not 0.0 < level < 1.0:
        raise InputError(field, level, "it must be above 0 and below 1", "Write 0.90 for 90 %.")
    return level


def student_quantile(probability: float, degrees_of_freedom: float) -> float:
    """Return the value of Student's t not exceeded with a probability; the normal one at infinite freedom."""
    from scipy import special

    if math.isinf(degrees_of_freedom):
        return float(special.ndtri(probability))
    return float(special.stdtrit(degrees_of_freedom, probability))


def student_probability(value: float, degrees_of_freedom: float) -> float:
    """Return the probability that Student's t does not exceed ``value``; normal at infinite freedom."""
    from scipy import special

    if math.isinf(degrees_of_freedom):
        return float(special.ndtr(value))
    return float(special.stdtr(degrees_of_freedom, value))


def coverage_factor(level: float, degrees_of_freedom: float) -> float:
    """Return how many standard uncertainties to either side hold the true value with probability ``level``.

    Student's t at the effective degrees of freedom, not cut down to a whole number (JCGM 100:2008, G.3 and
    G.4.1, which allows either).

    Raises
    ------
    InputError
        When the level is not between 0 and 1.
    """
    return student_quantile(0.5 * (1.0 + check_level(level)), degrees_of_freedom)


def welch_satterthwaite(parts: Iterable[tuple[float, float]]) -> float:
    """Return the effective degrees of freedom of a sum of independent parts.

    Parameters
    ----------
    parts : iterable of (float, float)
        Standard uncertainty in the figure's unit and degrees of freedom of each.

    Returns
    -------
    float
        u^4 / sum(u_i^4 / nu_i), infinite when no part rests on few readings.

    Notes
    -----
    JCGM 100:2008, equation G.2b; Welch 1947, Satterthwaite 1946.
    """
    listed = list(parts)
    largest = max((abs(uncertainty) for uncertainty, _ in listed), default=0.0)
    if largest == 0.0:
        return math.inf
    # Scaled by the largest part, so that neither tiny flows nor large pressures leave the range of floats.
    scaled = [(uncertainty / largest, freedom) for uncertainty, freedom in listed]
    variance = sum(uncertainty**2 for uncertainty, _ in scaled)
    spread = sum(uncertainty**4 / freedom for uncertainty, freedom in scaled)
    return variance**2 / spread if spread > 0.0 else math.inf


def estimate_from_parts(value: float, parts: Sequence[Contribution]) -> Estimate:
    """Join independent contributions into an estimate; their shares are worked out here."""
    combined = math.sqrt(sum(part.amount**2 for part in parts))
    freedom = welch_satterthwaite((part.amount, part.degrees_of_freedom) for part in parts)
    budget = [
        Contribution(
            part.name,
            part.sensitivity,
            part.amount,
            (part.amount / combined) ** 2 if combined else 0.0,
            part.degrees_of_freedom,
            part.kind,
            part.source,
            part.shared_as,
        )
        for part in parts
    ]
    budget.sort(key=lambda part: (-part.share, part.name))
    return Estimate(value, combined, freedom, tuple(budget))


def propagate(function: Callable[[Mapping[str, float]], float], components: Sequence[Component]) -> Estimate:
    """Carry the uncertainty of readings into a figure worked out from them.

    Parameters
    ----------
    function : callable
        The figure from the components' values, by name.
    components : sequence of Component
        Independent of each other, each name once.

    Returns
    -------
    Estimate
        Components on which the figure does not depend are left out of its budget.

    Raises
    ------
    InputError
        When a name comes twice or the figure is not a finite number.

    Notes
    -----
    JCGM 100:2008, equation 10, each contribution by central difference over plus and minus one standard
    uncertainty (note 2 to 5.1.3), and effective degrees of freedom by equation G.2b. First order: a figure
    that bends strongly within one standard uncertainty of a component needs better.
    """
    values = {component.name: component.value for component in components}
    if len(values) < len(components):
        names = [component.name for component in components]
        raise InputError("components", ", ".join(names), "each name may come only once")
    parts = []
    for component in components:
        step = component.standard_uncertainty or _TRIAL_STEP * (abs(component.value) or 1.0)
        high = function({**values, component.name: component.value + step})
        low = function({**values, component.name: component.value - step})
        sensitivity = (high - low) / (2.0 * step)
        if sensitivity != 0.0:
            amount = sensitivity * component.standard_uncertainty
            parts.append(
                Contribution(
                    component.name,
                    sensitivity,
                    amount,
                    0.0,
                    component.degrees_of_freedom,
                    component.kind,
                    component.source,
                    component.shared_as,
                )
            )
    value = float(function(values))
    if not math.isfinite(value) or not all(math.isfinite(part.amount) for part in parts):
        raise InputError("figure", value, "it must be finite for these readings and within their uncertainty")
    return estimate_from_parts(value, parts)


def weighted_sum(terms: Sequence[tuple[float, Estimate]]) -> Estimate:
    """Return the sum of independent estimates, each times a known factor, their budgets joined.

    Parameters
    ----------
    terms : sequence of (float, Estimate)

    Notes
    -----
    JCGM 100:2008, equation 10. An estimate without a budget counts as one part of its own.
    """
    parts = []
    for factor, estimate in terms:
        whole = Contribution("", 1.0, estimate.standard_uncertainty, 1.0, estimate.degrees_of_freedom, "B", "", "")
        for part in estimate.budget or ((whole,) if estimate.standard_uncertainty else ()):
            parts.append(replace(part, sensitivity=factor * part.sensitivity, amount=factor * part.amount))
    return estimate_from_parts(sum(factor * estimate.value for factor, estimate in terms), parts)


def scatter_beyond(values: Sequence[float], known: float) -> tuple[float, float]:
    """Return what repeated readings scatter beyond a known error of each, as the uncertainty of their mean.

    Parameters
    ----------
    values : sequence of float
    known : float
        Standard uncertainty of one of them, drawn anew at each and counted elsewhere.

    Returns
    -------
    (float, float)
        sqrt((s^2 - known^2) / n), 0 where they scatter no more than the known error or there is one alone; degrees of
        freedom, n - 1 (infinite for one alone).

    Notes
    -----
    s by JCGM 100:2008, equation 4, its mean by equation 5.
    """
    count = len(values)
    if count < 2:
        return 0.0, math.inf
    mean = sum(values) / count
    variance = sum((value - mean) ** 2 for value in values) / (count - 1)
    return math.sqrt(max(0.0, variance - known**2) / count), count - 1.0


def typed_estimate(value: float, width: float, name: str, source: str = "as typed") -> Estimate:
    """Return a figure that somebody gave with limits of plus or minus ``width`` (JCGM 100:2008, 4.3.7)."""
    spread = half_width(width)
    return estimate_from_parts(
        value, [Contribution(name, 1.0, spread, 0.0, math.inf, "B", source, "")] if spread else []
    )
