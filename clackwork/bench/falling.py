"""A supply that falls while it drains, replaced by the constant fall that does the same."""

from __future__ import annotations

import math

from clackwork.errors import InputError

ORIFICE_EXPONENT = 0.5  # flow goes with the root of the head: Torricelli, turbulent losses
_EXPONENT_LIMIT = 3.0
_SMALL_EXPONENT = 1e-5  # below it the slope stands for a difference that rounding would eat


def effective_fall(fall_start: float, fall_end: float, flow_exponent: float = ORIFICE_EXPONENT) -> float:
    """Return the constant fall [m] that gives the volume of a falling one in the same time.

    Parameters
    ----------
    fall_start, fall_end : float
        [m], above 0.
    flow_exponent : float, optional
        n of Q = k h^n, -3 to 3: 0.5 where the water meets turbulent losses only.

    Raises
    ------
    InputError
        When a fall is not above 0 or the exponent is outside its range.

    Notes
    -----
    A vessel of constant plan area A obeys A dh/dt = -k h^n, so that it takes A (h1^p - h2^p)/(k p) with
    p = 1 - n to fall from h1 to h2, and the fall wanted is ((h1 - h2) p/(h1^p - h2^p))^(1/n). For n = 0.5 its
    root is the mean of the two roots. This is Stolarsky's mean (1975); written with x = ln(h1/h2)/2 it stays
    smooth where the falls are equal and where n is 0 or 1.
    """
    for field, value in (("fall_start", fall_start), ("fall_end", fall_end)):
        if not (math.isfinite(value) and value > 0.0):
            raise InputError(field, f"{value:g} m", "it must be above 0 m", "A supply at the datum cannot flow.")
    if not abs(flow_exponent) <= _EXPONENT_LIMIT:
        raise InputError("flow_exponent", flow_exponent, "it must be -3 to 3", "Turbulent flow has 0.5.")
    half_log = 0.5 * math.log(fall_start / fall_end)
    if abs(flow_exponent) < _SMALL_EXPONENT:
        between = 1.0 - 0.5 * flow_exponent
        exponent = _coth_excess(between * half_log) / between
    else:
        exponent = (_log_sinhc(half_log) - _log_sinhc((1.0 - flow_exponent) * half_log)) / flow_exponent
    return math.sqrt(fall_start * fall_end) * math.exp(exponent)


def _log_sinhc(x: float) -> float:
    """ln(sinh(x)/x), smooth through 0."""
    size = abs(x)
    if size < 1e-2:
        return size**2 / 6.0 - size**4 / 180.0
    if size > 20.0:
        return size - math.log(2.0 * size)
    return math.log(math.sinh(size) / size)


def _coth_excess(x: float) -> float:
    """x coth(x) - 1, the slope of ln(sinh(px)/(px)) at p = 1, smooth through 0."""
    if abs(x) < 1e-2:
        return x**2 / 3.0 - x**4 / 45.0
    return x / math.tanh(x) - 1.0
