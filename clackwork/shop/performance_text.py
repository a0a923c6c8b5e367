"""A performance as plain data and back, as it is kept in the book: SI figures, the unit in every key."""

from __future__ import annotations

import dataclasses
import types
from collections.abc import Mapping
from typing import Any, TypeVar, Union, get_args, get_origin, get_type_hints

from clackwork.errors import ClackworkError
from clackwork.shop.performance import MeasuredPoint, Performance, PerformancePoint, Provenance
from clackwork.site.site import Range

FORMAT = "performance 1"
"""Changes when a key changes its meaning or goes."""

_UNITS = {
    "fall": "m",
    "falls": "m",
    "lift": "m",
    "pipe_length": "m",
    "temperature": "k",
    "unit_weight": "n_m3",
    "delivered_flow": "m3_s",
    "delivered_flow_spread": "m3_s",
    "drawn_flow": "m3_s",
    "drawn_flow_spread": "m3_s",
    "beat_rate": "per_s",
    "peak_head": "m",
    "surge_head": "m",
}
"""End of a field's key; the others are plain numbers, words or tables."""
_CLASSES = (Range, PerformancePoint, MeasuredPoint, Provenance, Performance)

Thing = TypeVar("Thing")


def _key(name: str) -> str:
    """Name of a field with its unit."""
    return f"{name}_{_UNITS[name]}" if name in _UNITS else name


def to_plain(thing: Any) -> Any:
    """Dataclasses of a performance as plain tables and lists."""
    if isinstance(thing, _CLASSES):
        return {_key(field.name): to_plain(getattr(thing, field.name)) for field in dataclasses.fields(thing)}
    if isinstance(thing, tuple):
        return [to_plain(one) for one in thing]
    return thing


def performance_plain(performance: Performance) -> dict[str, Any]:
    """A performance as plain data for JSON."""
    return {"format": FORMAT, **to_plain(performance)}


def performance_from(plain: Mapping[str, Any]) -> Performance:
    """The inverse of `performance_plain`.

    Raises
    ------
    ClackworkError
        Written by a version whose performances were of another shape.
    """
    try:
        if plain["format"] != FORMAT:
            raise ValueError(plain["format"])
        return _read(Performance, plain)
    except (KeyError, TypeError, ValueError) as error:
        raise ClackworkError("The kept performance cannot be read by this version; draw it again.") from error


def _read(kind: type[Thing], plain: Mapping[str, Any]) -> Thing:
    hints = get_type_hints(kind)
    later = {one.name for one in dataclasses.fields(kind) if one.default is not dataclasses.MISSING}  # type: ignore[arg-type]
    names = [name for name in hints if name not in later or _key(name) in plain]
    return kind(**{name: _value(hints[name], plain[_key(name)]) for name in names})


def _value(hint: Any, value: Any) -> Any:
    """A value of a field by its annotation."""
    if get_origin(hint) in (types.UnionType, Union):
        if value is None:
            return None
        hint = next(one for one in get_args(hint) if one is not type(None))
    if get_origin(hint) is tuple:
        return tuple(_value(get_args(hint)[0], one) for one in value)
    if hint in _CLASSES:
        return _read(hint, value)
    if hint is float and not isinstance(value, bool):
        return float(value)
    if not isinstance(value, hint):
        raise TypeError(f"{value!r} is no {hint.__name__}")
    return value
