"""SI values written for people and for files, in metric or US units."""

from __future__ import annotations

import math
from decimal import ROUND_HALF_EVEN, Decimal

from clackwork.errors import InputError
from clackwork.quantity_kinds import Display, find_kind
from clackwork.unit_table import Unit, unit_labelled

SYSTEMS = ("metric", "us")
GROUP_SPACE = "\N{NO-BREAK SPACE}"  # between groups of three digits: a comma or point could be misread


def _display(kind: str, system: str) -> Display:
    """Return how a kind is shown in a system."""
    if system not in SYSTEMS:
        raise InputError("system", system, f"it must be one of {', '.join(SYSTEMS)}")
    wanted = find_kind(kind)
    return wanted.metric if system == "metric" else wanted.us


def unit_label(kind: str, system: str = "metric") -> str:
    """Return the unit shown after a figure of ``kind``: "L/min" or "gpm"; empty for a count."""
    return _display(kind, system).label


def key_unit(kind: str, system: str = "metric") -> str:
    """Return the unit as the end of a JSON or CSV key: "l_min" or "gal_min"; empty for a count."""
    return _display(kind, system).key


def key_name(name: str, kind: str, system: str = "metric") -> str:
    """Return a JSON or CSV key with its unit: ("delivered_flow", "volume_flow") -> "delivered_flow_l_min"."""
    return "_".join(part for part in (name, key_unit(kind, system)) if part)


def to_display(value: float, kind: str, system: str = "metric") -> float:
    """Return an SI value in the unit of `key_unit`; not rounded, not-a-number stays so."""
    unit = _display(kind, system).unit
    return (value - float(unit.offset)) / float(unit.factor)


def from_display(value: float, kind: str, system: str = "metric") -> float:
    """Return the SI value of a figure in the unit of `key_unit`; the inverse of `to_display`."""
    unit = _display(kind, system).unit
    return value * float(unit.factor) + float(unit.offset)


def format_quantity(value: float, kind: str, system: str = "metric", *, figures: int = 3) -> str:
    """Write an SI value with its unit: "1.40 gpm", "12.3 °C", "3 min 30 s".

    Parameters
    ----------
    value : float
        SI value, finite.
    kind : str
        What it is.
    system : {"metric", "us"}
    figures : int, optional
        Significant figures, 1 to 15. A temperature has one decimal for three figures; a
        whole count is written in full.

    Returns
    -------
    str
        `parse` reads it back to within the rounding.

    Raises
    ------
    InputError
        ``value`` not finite, unknown kind or system, figures out of range.
    """
    if not 1 <= figures <= 15:
        raise InputError("figures", figures, "it must be 1 to 15")
    _require_finite(value, kind)
    if kind == "duration" and 120.0 <= abs(value) < 172800.0:
        return _clock_words(value)
    shown, label = _shown_number(value, kind, system, value)
    if kind in ("temperature", "temperature_difference"):
        place = 2 - figures
    elif kind == "count" and shown == int(shown):
        place = 0
    else:
        place = _place(shown, figures)
    return f"{_digits(shown, place)} {label}".strip()


def format_range(low: float, mid: float, high: float, kind: str, system: str = "metric") -> str:
    """Write a value with its range: "14.2 L/min (12.1 to 16.8)".

    Rounded so that the width of the range has two significant figures, the largest figure at most six.

    Parameters
    ----------
    low, mid, high : float
        SI values, finite, low <= mid <= high.
    kind, system
        As for `format_quantity`.

    Raises
    ------
    InputError
        A value not finite, or the three out of order.
    """
    for value in (low, mid, high):
        _require_finite(value, kind)
    if not low <= mid <= high:
        raise InputError("range", f"{low:g}, {mid:g}, {high:g}", "it must run from low through mid to high")
    numbers = [_shown_number(value, kind, system, mid)[0] for value in (low, mid, high)]
    label = _shown_number(mid, kind, system, mid)[1]
    width = numbers[2] - numbers[0]
    place = max(_place(width, 2), _place(max(numbers, key=abs), 6)) if width > 0 else _place(numbers[1], 3)
    low_text, mid_text, high_text = (_digits(number, place) for number in numbers)
    return f"{' '.join(part for part in (mid_text, label) if part)} ({low_text} to {high_text})"


def format_with_uncertainty(value: float, uncertainty: float, kind: str, system: str = "metric") -> str:
    """Write a value and its uncertainty, the latter to two significant figures: "2.1000 ± 0.0050 m".

    The value is rounded to the same place (GUM, JCGM 100:2008, 7.2.6).

    Parameters
    ----------
    value : float
        SI value, finite.
    uncertainty : float
        In the same SI unit, zero or more, finite; of a temperature a difference [K].
    kind, system
        As for `format_quantity`.

    Returns
    -------
    str
        `parse_plus_minus` reads it back to within the rounding.

    Raises
    ------
    InputError
        Not finite, or a negative uncertainty.
    """
    _require_finite(value, kind)
    _require_finite(uncertainty, kind)
    if uncertainty < 0.0:
        raise InputError("uncertainty", f"{uncertainty:g}", "it must be zero or more")
    shown, label = _shown_number(value, kind, system, value)
    factor = float(_scale(kind, system, value).factor)
    spread = Decimal(repr(float(uncertainty) / factor))
    place = _place(spread, 2) if spread else _place(shown, 3)
    own_label = f" {label}" if kind == "fraction" else ""  # "0.5 ± 0.1 %" could be read as half, give or take
    return f"{_digits(shown, place)}{own_label} ± {_digits(spread, place)} {label}".strip()


def _require_finite(value: float, kind: str) -> None:
    """Refuse to write what is not a number."""
    if not math.isfinite(value):
        raise InputError(kind, value, "only a finite value can be written")


def _scale(kind: str, system: str, typical: float) -> Unit:
    """Return the unit written: the display unit, or for a duration the one that suits its size."""
    unit = _display(kind, system).unit
    if kind != "duration":
        return unit
    for label, least in (("year", 2.0), ("day", 2.0), ("h", 2.0), ("min", 2.0)):
        larger = unit_labelled("duration", label)
        if abs(typical) >= least * float(larger.factor):
            return larger
    return unit


def _shown_number(value: float, kind: str, system: str, typical: float) -> tuple[Decimal, str]:
    """Return the value in the unit written, as a decimal, and that unit's label."""
    unit = _scale(kind, system, typical)
    number = Decimal(repr((float(value) - float(unit.offset)) / float(unit.factor)))
    if kind != "duration":
        return number, unit_label(kind, system)
    return number, f"{unit.label}s" if unit.label in ("day", "year") else unit.label


def _place(number: Decimal, figures: int) -> int:
    """Return the power of ten of the last of ``figures`` significant figures, after rounding there."""
    if number == 0:
        return 1 - figures
    place = number.adjusted() - figures + 1
    rounded = round(number.scaleb(-place))
    return place + 1 if abs(rounded) >= 10**figures else place


def _digits(number: Decimal, place: int) -> str:
    """Write ``number`` rounded to ``10**place``; five or more whole digits in groups of three."""
    tens = round(number.scaleb(-place).to_integral_value(ROUND_HALF_EVEN))
    if place < -9 or place > 9 or abs(tens) >= 10**15:
        return f"{Decimal(tens).scaleb(place):e}" if tens else "0"
    rounded = Decimal(tens).scaleb(min(place, 0)) * 10 ** max(place, 0)
    text = f"{abs(rounded):f}"
    whole, point, decimals = text.partition(".")
    if len(whole) > 4:
        whole = f"{int(whole):,}".replace(",", GROUP_SPACE)
    return ("-" if rounded < 0 else "") + whole + point + decimals


def _clock_words(value: float) -> str:
    """Write a duration as "3 min 30 s" (below two hours) or "5 h 12 min" (below two days)."""
    sign = "-" if value < 0 else ""
    seconds = round(abs(value))
    if seconds < 7200:
        larger, smaller, units = seconds // 60, seconds % 60, ("min", "s")
    else:
        minutes = round(abs(value) / 60.0)
        larger, smaller, units = minutes // 60, minutes % 60, ("h", "min")
    tail = f" {smaller} {units[1]}" if smaller else ""
    return f"{sign}{larger} {units[0]}{tail}"
