"""A source that gives less than the ram would draw."""

from __future__ import annotations

from dataclasses import dataclass, replace

from clackwork.errors import ModelError, require_range
from clackwork.ram.engine import BeatResult, RamCase, run_beats
from clackwork.ram.operating import operating_point

_ENOUGH = 1e-3
_TURNS = 20


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
    require_range("submergence", submergence, 0.0, 0.8 * case.supply.fall, "m", "It is less than the fall.")
    if case.supply.feed is not None or case.supply.plan_area < 1e6:
        raise ModelError(
            "A limited source is settled for a constant supply level: take away plan area and supply pipe."
        )

    def at(drawdown: float) -> BeatResult:
        lower = replace(case, supply=replace(case.supply, fall=case.supply.fall - drawdown))
        return operating_point(lower) if lower.line is not None and lower.vessel_head is None else run_beats(lower)

    full = at(0.0)
    if full.drawn_flow <= source_flow:
        moving = full.state in ("beating", "irregular")
        return LimitedRun("enough" if moving else full.state, 0.0, full)
    lowest = at(submergence)
    if lowest.drawn_flow > source_flow:
        return LimitedRun("starved", submergence, lowest)
    low, high, found = 0.0, submergence, lowest
    for _ in range(_TURNS):
        middle = 0.5 * (low + high)
        found = at(middle)
        if found.drawn_flow > source_flow:
            low = middle
        else:
            high = middle
        if abs(found.drawn_flow / source_flow - 1.0) < _ENOUGH:
            break
    return LimitedRun(
        "drawn down" if found.state in ("beating", "irregular") else found.state, 0.5 * (low + high), found
    )
