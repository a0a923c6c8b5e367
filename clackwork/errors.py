"""Errors a user may see: one sentence that names the field, the value, what is allowed and the next step."""

from __future__ import annotations

import math
from dataclasses import dataclass


class ClackworkError(Exception):
    """Base of every error meant for a user; ``str(error)`` is a clear sentence, never a traceback."""


@dataclass(frozen=True)
class Limits:
    """A value that lies outside its range, and the range, all in ``unit``: an edge may write them in another unit."""

    value: float
    low: float
    high: float
    unit: str


class InputError(ClackworkError, ValueError):
    """A value that cannot be used.

    Parameters
    ----------
    field : str
        The name the user saw (a table and key, a flag, a form field).
    value : object
        What was given.
    allowed : str
        What would have been accepted, in words.
    next_step : str, optional
        What to do about it.
    limits : Limits, optional
        The range it lies outside, as figures.
    """

    def __init__(
        self, field: str, value: object, allowed: str, next_step: str = "", *, limits: Limits | None = None
    ) -> None:
        self.field = field
        self.value = value
        self.allowed = allowed
        self.next_step = next_step
        self.limits = limits
        sentence = f"{field} = {value} is not usable: {allowed}."
        super().__init__(f"{sentence} {next_step}".strip())


class ModelError(ClackworkError):
    """The model cannot answer the question asked (no operating point, no usable runs)."""


def require_range(field: str, value: float, low: float, high: float, unit: str, next_step: str = "") -> float:
    """Return ``value`` when it is finite and within ``low``..``high`` (same unit), else raise.

    Raises
    ------
    InputError
        When the value is not a number, not finite, or outside the range.
    """
    if not math.isfinite(value) or not low <= value <= high:
        raise InputError(
            field,
            f"{value:g} {unit}".strip(),
            f"it must be {low:g} to {high:g} {unit}".strip(),
            next_step,
            limits=Limits(value, low, high, unit),
        )
    return value


def require_positive(field: str, value: float, unit: str, next_step: str = "") -> float:
    """Return ``value`` when it is finite and above 0, else raise `InputError`."""
    if not value > 0.0 or math.isinf(value):
        raise InputError(field, f"{value:g} {unit}".strip(), f"it must be above 0 {unit}".strip(), next_step)
    return value


def require_not_negative(field: str, value: float, unit: str) -> float:
    """Return ``value`` when it is finite and 0 or more, else raise `InputError`."""
    if not value >= 0.0 or math.isinf(value):
        raise InputError(field, f"{value:g} {unit}".strip(), f"it must be 0 {unit} or more".strip())
    return value
