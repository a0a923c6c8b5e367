"""The operating point: the vessel head at which the ram gives what the line takes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from clackwork.errors import ModelError
from clackwork.ram import kernel
from clackwork.ram.batch import run_packed
from clackwork.ram.engine import BeatResult, RamCase, pack, unpack
from clackwork.ram.parts import STANDARD_GRAVITY, DeliveryLine
from clackwork.ram.steady_loss import steady_loss
from clackwork.water import Water

FloatArray = NDArray[np.float64]
_HEAD_TOLERANCE = 5e-4


def _line_loss(line: DeliveryLine, flow: float, water: Water) -> float:
    """Darcy friction and fittings of the whole line at a flow [m3/s], as head [m]."""
    return steady_loss(line.pipe, line.length, line.fittings_loss, flow, water)


def line_leak(line: DeliveryLine, flow: float, water: Water) -> float:
    """What leaks away on the way when ``flow`` [m3/s] enters the line [m3/s]."""
    if line.leak_area <= 0.0 or flow <= 0.0:
        return 0.0
    beyond = 1.0 - line.leak_place
    low, high = 0.0, flow
    for _ in range(50):
        leak = 0.5 * (low + high)
        pressure_head = beyond * (line.lift + _line_loss(line, flow - leak, water))
        if line.leak_area * math.sqrt(2.0 * STANDARD_GRAVITY * pressure_head) > leak:
            low = leak
        else:
            high = leak
    return 0.5 * (low + high)


def line_head(line: DeliveryLine, flow: float, water: Water) -> float:
    """Head at the pump that drives ``flow`` [m3/s] into the line: lift, Darcy friction, fittings [m above datum].

    With a leak that takes all of the flow the water stands at less than the lift.
    """
    if flow <= 0.0 and line.leak_area <= 0.0:
        return line.lift
    leak = line_leak(line, flow, water)
    above = _line_loss(line, flow, water) * line.leak_place + _line_loss(line, flow - leak, water) * (
        1.0 - line.leak_place
    )
    if leak < flow * (1.0 - 1e-6):
        return line.lift + above
    standing = (flow / line.leak_area) ** 2 / (2.0 * STANDARD_GRAVITY)
    return line.leak_place * line.lift + min(standing, (1.0 - line.leak_place) * line.lift) + above


def operating_rows(
    packed: FloatArray, lines: Sequence[DeliveryLine], water: Water, *, workers: int | None = None
) -> FloatArray:
    """Solve q_ram(head) = q_line(head) for every row.

    A first run lets the head follow, beat by beat, what the line asks for the flow given; where its beats do not
    settle on a head that line and ram agree on, or the line leaks, false position on runs with the head held takes
    over.

    Parameters
    ----------
    packed : float64[cases, len(PARAMETERS)]
        Changed in place: the vessel head of each row becomes the one found.
    lines : sequence of DeliveryLine
        One for each row.
    water : Water
    workers : int, optional

    Returns
    -------
    float64[cases, len(RESULTS)]
    """
    place, found = kernel.P, kernel.R
    for name, values in (
        ("vessel_head", [line.lift for line in lines]),
        ("line_lift", [line.lift for line in lines]),
        ("line_fittings", [line.fittings_loss for line in lines]),
        ("line_length", [line.length for line in lines]),
        ("line_bore", [line.pipe.bore for line in lines]),
        ("line_roughness", [line.pipe.roughness for line in lines]),
    ):
        packed[:, place[name]] = values
    packed[:, place["vessel_held"]] = 2.0
    out = run_packed(packed, workers=workers)
    packed[:, place["vessel_held"]] = 1.0
    packed[:, place["vessel_head"]] = out[:, found["vessel_head"]]
    stalled = (kernel.STALLED_OPEN, kernel.STALLED_SHUT)
    apart = []
    for row, line in enumerate(lines):
        if out[row, found["state"]] in stalled:
            packed[row, place["vessel_head"]] = line.lift
        elif line.leak_area > 0.0 or not _agree(out[row], line, water):
            apart.append(row)
    if apart:
        rows = packed[apart]
        out[apart] = _by_false_position(rows, [lines[row] for row in apart], water, workers)
        packed[apart] = rows
    return out


def _agree(out: FloatArray, line: DeliveryLine, water: Water) -> bool:
    """Whether settled beats stand at the head their line asks for."""
    head = float(out[kernel.R["vessel_head"]])
    asked = line_head(line, float(out[kernel.R["delivered_flow"]]), water)
    return out[kernel.R["settled"]] > 0.5 and abs(head - asked) <= 2.0 * _HEAD_TOLERANCE * max(head, 1.0)


def _by_false_position(
    packed: FloatArray, lines: Sequence[DeliveryLine], water: Water, workers: int | None
) -> FloatArray:
    """Solve by runs with the head held; changes the vessel heads in place.

    The ram gives less the higher the head and the line takes more, so the answer lies between the line's head at
    no flow and at the flow the ram gives there.
    """
    head_at, flow_at = kernel.P["vessel_head"], kernel.R["delivered_flow"]
    count = len(packed)
    low = np.array([line_head(line, 0.0, water) for line in lines])
    packed[:, head_at] = low
    out = run_packed(packed, workers=workers)
    high = np.array([line_head(lines[i], float(out[i, flow_at]), water) for i in range(count)])
    miss_low, miss_high = low - high, np.full(count, np.nan)
    heads = high.copy()
    todo = [int(i) for i in np.flatnonzero(-miss_low > _HEAD_TOLERANCE * np.maximum(low, 1.0))]
    for _ in range(12):
        if not todo:
            break
        packed[todo, head_at] = heads[todo]
        out[todo] = run_packed(packed[todo], workers=workers)
        still: list[int] = []
        for i in todo:
            miss = heads[i] - line_head(lines[i], float(out[i, flow_at]), water)
            if abs(miss) <= _HEAD_TOLERANCE * max(heads[i], 1.0):
                continue
            if miss > 0.0:
                high[i], miss_high[i] = heads[i], miss
            else:
                low[i], miss_low[i] = heads[i], miss
            if high[i] - low[i] <= _HEAD_TOLERANCE * max(heads[i], 1.0):
                continue
            share = miss_low[i] / (miss_low[i] - miss_high[i]) if math.isfinite(miss_high[i]) else 1.0
            heads[i] = low[i] + min(max(share, 0.05), 0.95) * (high[i] - low[i])
            still.append(i)
        todo = still
    return out


def held_case(case: RamCase) -> RamCase:
    """The case as it is packed to be settled: in place of a line its lift held in the vessel."""
    return replace(case, line=None, vessel_head=case.line.lift) if case.line else case


def settled_rows(
    packed: FloatArray, lines: Sequence[tuple[DeliveryLine, Water] | None], *, workers: int | None = None
) -> FloatArray:
    """Settled beats of every row, at its held head, or at its operating point where it has a line.

    Parameters
    ----------
    packed : float64[cases, len(PARAMETERS)]
        Of held cases; not changed.
    lines : sequence of (DeliveryLine, Water) or None
        One for each row.
    workers : int, optional

    Returns
    -------
    float64[cases, len(RESULTS)]
    """
    results = np.zeros((len(packed), len(kernel.RESULTS)))
    groups: dict[Water | None, list[int]] = {}
    for row, line in enumerate(lines):
        groups.setdefault(line[1] if line else None, []).append(row)
    for water, rows in groups.items():
        if water is None:
            results[rows] = run_packed(packed[rows], workers=workers)
        else:
            asked = [line[0] for line in (lines[row] for row in rows) if line]
            results[rows] = operating_rows(packed[rows], asked, water, workers=workers)
    return results


def settled_beats(cases: Sequence[RamCase], *, workers: int | None = None) -> list[BeatResult]:
    """Settled beats of many cases on all cores, each at its held head, or at its operating point when it has a line.

    Raises
    ------
    ModelError
        When a case's waste valve has nothing to open it.
    """
    if not cases:
        return []
    held = [held_case(case) for case in cases]
    packed = np.array([pack(case) for case in held])
    lines = [(case.line, case.water) if case.line else None for case in cases]
    results = settled_rows(packed, lines, workers=workers)
    return [unpack(case, row, result) for case, row, result in zip(held, packed, results, strict=True)]


def operating_point(case: RamCase) -> BeatResult:
    """Settled beats of a case at the head where ram and line agree.

    Raises
    ------
    ModelError
        When the case has no delivery line.
    """
    if case.line is None:
        raise ModelError("An operating point needs a delivery line: give its lift, pipe and length.")
    return settled_beats([case], workers=1)[0]
