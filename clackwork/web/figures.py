"""Figures as a page shows them: SI values and typed texts in the units switched to."""

from __future__ import annotations

import re

from clackwork.errors import ClackworkError
from clackwork.quantities import KINDS, Quantity, format_quantity, parse, parse_plus_minus

NEUTRAL = frozenset({"duration", "count", "fraction", "angle", "beat_rate"})
"""Kinds written alike in both systems."""

_US_UNITS = re.compile(
    r"""['"”″′]|°\s*f|(?<![a-z])(?:in|inch|inches|ft|foot|feet|yd|yards?|mi|miles?|thou|mils?|gal|gals|gallons?|qt|quarts?
    |pt|pints?|oz|ounces?|lbs?|lbm|lbf|pounds?|psi[ag]?|ksi|psf|pcf|ppg|mph|fps|fpm|gp[smhd]|cf[sm]|(?:deg\s*)?f
    |fahrenheit|(?:in|ft)\s?h2o|inhg)(?![a-z])""",
    re.VERBOSE,
)
_IMPERIAL = re.compile(r"imp|uk|igp|igal")


def figure(value: float, kind: str, system: str, figures: int = 3) -> str:
    """An SI value with its unit."""
    return format_quantity(value, kind, system, figures=figures)


def system_typed(text: str) -> str:
    """The system of units a text was typed in: "metric", "us", or "imperial" for its gallons."""
    low = text.lower()
    if _IMPERIAL.search(low):
        return "imperial"
    return "us" if _US_UNITS.search(low) else "metric"


def typed_in(text: object, kind: str, system: str) -> str:
    """A typed quantity in a system of units.

    It stays as typed where that is the system it was typed in, so that nothing typed is rounded, and where it
    cannot be read.
    """
    words = str(text)
    if kind not in KINDS or kind in NEUTRAL or system_typed(words) == system:
        return words
    try:
        if not any(mark in words for mark in ("±", "+", "plus")):
            return format_quantity(parse(words, kind).value, kind, system)
        value, limits = parse_plus_minus(words, kind)
    except ClackworkError:
        return words
    return _with_limits(value, limits, kind, system)


def _with_limits(value: Quantity, limits: Quantity, kind: str, system: str) -> str:
    """A value and its limits: "9.84 ft ± 0.098 ft"."""
    spread_kind = "temperature_difference" if kind == "temperature" else kind
    shown = format_quantity(value.value, kind, system, figures=4)
    return f"{shown} ± {format_quantity(limits.value, spread_kind, system, figures=2)}"


def example(kind: str, system: str) -> str:
    """What may be typed, in a system: "25 mm" or "1 1/4 in"; empty for what is no quantity."""
    if kind not in KINDS:
        return ""
    examples = KINDS[kind].examples
    return next((one for one in examples if system_typed(one) == system), examples[0])


def count_of(number: int, one: str, many: str = "") -> str:
    """A count with its noun: "1 run", "3 runs"."""
    return f"{number} {one if number == 1 else many or one + 's'}"
