"""A source that gives less than the ram would draw."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal, Protocol, TypeVar

from clackwork.errors import ModelError, require_range
from clackwork.ram.engine import BeatResult, RamCase, run_beats
from clackwork.ram.operating import operating_point
from clackwork.ram.parts import Supply

_ENOUGH = 1e-3
_TURNS = 20


class Drawn(Protocol):
    """Whatever draws from a source."""

    @property
    def drawn_flow(self) -> float:
        """[m3/s]"""


Run = TypeVar("Run", bound=Drawn)


@dataclass(frozen=True)
class LimitedRun:
    """A ram on a limited source.

    Attributes
    ----------
    state : str
        "enough" when the source overflows; "drawn down" when the level falls until the ram draws what comes;
        "starved" when the mouth of the drive pipe is uncovered first and the pipe draws air; or the state of a ram
        that does not beat.
    drawdown : float
        Fall of the level at the mouth of the drive pipe [m].
    result : BeatResult
        Beats at that level; when starved, of the lowest level before air comes.
    """

    state: str
    drawdown: float
    result: BeatResult


def require_constant_supply(*supplies: Supply) -> None:
    """Raise `ModelError` where a supply is a vessel or a standpipe: its level is not that of a source."""
    if any(supply.feed is not None or math.isfinite(supply.plan_area) for supply in supplies):
        raise ModelError("The level of a source is settled for a constant supply: take away plan area and supply pipe.")


def require_submergence(field: str, submergence: float, fall: float) -> None:
    """Raise `InputError` where the mouth of a drive pipe would stand too near the pump to keep a fall [m]."""
    require_range(field, submergence, 0.0, 0.8 * fall, "m", "It is less than the fall.")


def settle_level(
    run: Callable[[float], Run], source_flow: float, submergence: float
) -> tuple[Literal["enough", "drawn down", "starved"], float, Run]:
    """The level at which as much is drawn from a source as it gives.

    Parameters
    ----------
    run : callable
        What draws, at a level lower by so much [m] than the full one.
    source_flow : float
        [m3/s]
    submergence : float
        Depth under the full level at which air is drawn [m].

    Returns
    -------
    state : str
        "enough" at the full level, "drawn down" at a lower one, "starved" at the lowest.
    drawdown : float
        [m]
    run : Run
        At that level.
    """
    full = run(0.0)
    if full.drawn_flow <= source_flow:
        return "enough", 0.0, full
    lowest = run(submergence)
    if lowest.drawn_flow > source_flow:
        return "starved", submergence, lowest
    low, high, drawdown, found = 0.0, submergence, submergence, lowest
    for _ in range(_TURNS):
        drawdown = 0.5 * (low + high)
        found = run(drawdown)
        if abs(found.drawn_flow / source_flow - 1.0) < _ENOUGH:
            break
        if found.drawn_flow > source_flow:
            low = drawdown
        else:
            high = drawdown
    return "drawn down", drawdown, found


def _settled(case: RamCase) -> BeatResult:
    """Settled beats, of a line that starts at no head at its operating point."""
    return operating_point(case) if case.line is not None and case.vessel_head is None else run_beats(case)


def run_on_source(case: RamCase, source_flow: float, submergence: float) -> LimitedRun:
    """Settle the level over the mouth of the drive pipe where the ram draws what the source gives.

    Parameters
    ----------
    case : RamCase
        With a constant head; its fall is that of the full source.
    source_flow : float
        [m3/s]
    submergence : float
        Depth of the mouth of the drive pipe under the full level [m].

    Raises
    ------
    ModelError
        When the supply is a vessel or a standpipe.
    """
    require_range("source_flow", source_flow, 1e-7, 10.0, "m3/s")
    require_submergence("submergence", submergence, case.supply.fall)
    require_constant_supply(case.supply)

    def at(drawdown: float) -> BeatResult:
        lower = replace(case, supply=replace(case.supply, fall=case.supply.fall - drawdown))
        return _settled(lower)

    state, drawdown, found = settle_level(at, source_flow, submergence)
    return LimitedRun(state if found.is_beating or state == "starved" else found.state, drawdown, found)


def run_limited(case: RamCase, source_flow: float, submergence: float = 0.0) -> LimitedRun:
    """As :func:`run_on_source`, for any source flow [m3/s] and any supply.

    The level of a vessel or a standpipe is not settled: what draws more than the source gives is starved there.
    """
    if case.supply.feed is None and math.isinf(case.supply.plan_area) and source_flow < math.inf:
        return run_on_source(case, source_flow, submergence)
    found = _settled(case)
    if found.drawn_flow > source_flow:
        return LimitedRun("starved", 0.0, found)
    return LimitedRun("enough" if found.is_beating else found.state, 0.0, found)
