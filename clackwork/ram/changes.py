"""What differs between two builds, in a word each."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

from clackwork.ram.parts import Build

_SETTINGS = ("tilt",)
_FITTED = ("discharge_coefficient", "closing_coefficient", "loss_coefficient", "slip_volume")
"""Filled in by the twin: another first guess is no other part."""


def _differing(old: Any, new: Any) -> list[str]:
    """Names of the fields in which two parts of one kind differ."""
    names = [field.name for field in fields(old) if field.name not in _FITTED]
    return [name for name in names if getattr(old, name) != getattr(new, name)]


def changes_between(old: Build, new: Build) -> tuple[str, ...]:
    """What changed from one build to another.

    Two waste valves of different kinds are one change, the valve, whatever its weight and stroke; a changed tilt of the
    body is a change of its own, as it can be set without changing any part.

    Returns
    -------
    tuple of str
        Such as ``("waste valve", "tilt")``.
    """
    found: list[str] = []
    if type(old.waste_valve) is not type(new.waste_valve):
        found.append("waste valve")
        found += [name for name in _SETTINGS if getattr(old.waste_valve, name) != getattr(new.waste_valve, name)]
    else:
        differing = _differing(old.waste_valve, new.waste_valve)
        found += [name if name in _SETTINGS else f"waste valve {name.replace('_', ' ')}" for name in differing]
    if _differing(old.delivery_valve, new.delivery_valve):
        found.append("delivery valve")
    if _differing(old.air_vessel, new.air_vessel):
        found.append("air vessel")
    if old.snifter != new.snifter:
        found.append("snifter")
    return tuple(found)
