"""Errors of parts and runs in the words of a workbook: its own field, the text typed, the limits in the unit typed."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from clackwork.errors import InputError, Limits
from clackwork.number_text import Refusal, plain_text, split_number
from clackwork.quantities import Quantity, parse

if TYPE_CHECKING:
    from clackwork.workbook import Workbook

CHECK_THE_UNIT = "Check the figure and its unit."
"""Said when an error has no next step of its own."""

KEYS = {
    "fall_start": ("fall",),
    "gauge": ("gauge_pressure", "back_pressure_head"),
    "gauge_head": ("back_pressure_head",),
    "lift": ("lift_from_pump", "lift_from_source"),
    "plan_area": ("supply_area", "supply_diameter", "plan_area"),
    "precharge_gauge": ("precharge",),
    "pressure_gauge": ("gauge_pressure",),
    "rating_gauge": ("rating",),
    "temperature": ("water_temperature",),
    "youngs_modulus": ("modulus",),
}
"""Fields of a workbook that stand behind a value of another name."""

_ONE_BAR = parse("1 bar", "pressure_gauge")
"""Stands for a gauge whose full scale was not typed."""

_PLUS_MINUS = re.compile(r"±|\+\s*/?\s*-")
_TWO_UNITS = re.compile(r"[\s'\"]\d|\d\s*[A-Za-z]")


def keys_behind(field: str) -> tuple[str, ...]:
    """The keys of a workbook that may stand behind a field of a part or a run: "air_vessel.precharge_gauge"."""
    name = re.split(r": |\.", field)[-1]
    return KEYS.get(name, (name,))


@contextmanager
def errors_of_runs(workbook: Workbook) -> Iterator[None]:
    """Restate errors of a workbook's runs that come up while a job reads them, the texts typed in them."""
    try:
        yield
    except InputError as error:
        run = next((run.name for run in workbook.runs if error.field.startswith(f"run {run.name}: ")), None)
        if run is None:
            raise
        keys = keys_behind(error.field)
        key = next((key for key in keys if f"run.{run}.{key}" in workbook.typed), keys[0])
        rig = next(one.rig for one in workbook.runs if one.name == run)
        places = (f"rig.{rig}.instruments.gauge", f"instrument.{workbook.rigs[rig].instruments.gauge.name}")
        scales = [workbook.typed.get(f"{place}.full_scale") for place in places]
        gauge = next((scale for scale in scales if scale is not None), _ONE_BAR)
        raise restated(error, f"run '{run}', {key}", workbook.typed.get(f"run.{run}.{key}"), gauge) from error


def unit_typed(text: str) -> str:
    """The unit of a typed text: "ft" of "7 ft ± 1 in", "" of "2 lb 3 oz" (two units) and of "3:30" (none)."""
    for part in _PLUS_MINUS.split(text):
        try:
            rest = split_number(plain_text(part))[1]
        except Refusal:
            return ""
        if rest:
            return "" if _TWO_UNITS.search(rest) or ":" in rest else rest
    return ""


def in_unit_typed(value: float, quantity: Quantity) -> str | None:
    """An SI value in the unit of a typed quantity, "110.2 lb"; None when the text has not one unit."""
    unit = unit_typed(quantity.text)
    return f"{_plain(_from_si(value, unit, quantity.kind))} {unit}" if unit else None


def restated(error: InputError, field: str, quantity: Quantity | None, gauge: Quantity | None = None) -> InputError:
    """The same error as the writer of a workbook sees it.

    Parameters
    ----------
    error : InputError
        Raised by a part; its figures are in SI.
    field : str
        Table and key of the workbook, in words.
    quantity : Quantity or None
        As typed there; None for a plain number or nothing.
    gauge : Quantity or None
        A quantity of another kind, in whose unit limits are written that are of its kind: the full scale of a gauge,
        when a head was typed that the gauge cannot read.
    """
    next_step = error.next_step
    if error.allowed.startswith("it must be") and (not next_step or (quantity is not None and next_step.endswith("?"))):
        next_step = CHECK_THE_UNIT  # in place of a guess at the unit, which the text tells
    if quantity is None:
        return InputError(field, error.value, error.allowed, next_step)
    value, allowed = f'"{quantity.text}"', error.allowed
    if error.limits is not None:
        if math.isclose(_checked(error.limits, quantity.kind), quantity.value, rel_tol=1e-6, abs_tol=1e-12):
            allowed = _limits_typed(error.limits, quantity) or allowed
        else:
            worked_out: object = error.value
            if gauge is not None and math.isfinite(checked := _checked(error.limits, gauge.kind)):
                worked_out = in_unit_typed(checked, gauge) or worked_out
                allowed = _limits_typed(error.limits, gauge) or allowed
            value += f" (which makes {re.split(': |[.]', error.field)[-1]} {worked_out})"
    return InputError(field, value, allowed, next_step)


def _checked(limits: Limits, kind: str) -> float:
    """The value that was checked, in SI; not a number when its unit is none of the kind's."""
    try:
        return _to_si(limits.value, limits.unit, kind)
    except InputError:
        return math.nan


def _limits_typed(limits: Limits, quantity: Quantity) -> str | None:
    """The range in the unit typed; None when the text has not one unit."""
    unit = unit_typed(quantity.text)
    if not unit:
        return None
    low, high = (
        _plain(_from_si(_to_si(limit, limits.unit, quantity.kind), unit, quantity.kind))
        for limit in (limits.low, limits.high)
    )
    return f"it must be {low} to {high} {unit}"


def _scale(unit: str, kind: str) -> tuple[float, float]:
    """SI value of zero and of one of a unit; a kind without units counts in ones."""
    if not unit:
        return 0.0, 1.0
    zero, one = (parse(f"{number} {unit}", kind).value for number in (0, 1))
    return zero, one - zero


def _to_si(value: float, unit: str, kind: str) -> float:
    zero, one = _scale(unit, kind)
    return zero + value * one


def _from_si(value: float, unit: str, kind: str) -> float:
    zero, one = _scale(unit, kind)
    return (value - zero) / one


def _plain(value: float) -> str:
    """Four figures, written out: "0.0002205", "110.2", "16400"."""
    return f"{float(f'{value:.4g}'):.10g}"
