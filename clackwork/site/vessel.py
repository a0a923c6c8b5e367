"""How large an air vessel has to be for the line to run evenly, by full runs of the engine."""

from __future__ import annotations

from dataclasses import replace

from clackwork.ram.engine import BeatResult, RamCase, run_beats
from clackwork.ram.parts import AirVessel
from clackwork.site.line_heads import line_of_one_pump

RIPPLE_SHARE = 0.05
"""Swing of the vessel's head in a beat over the lift that is let pass: common practice, no published source."""
SMALLEST_VESSEL, LARGEST_VESSEL = 1e-4, 1.0
"""[m3]"""
_FIRST = 20.0
"""Vessel over water delivered a beat with which the first run is made: the low end of the rule of 20-50, from memory."""
_TURNS = 4
_NEAR = 0.05


def least_vessel(case: RamCase, pumps: int, settled: BeatResult) -> tuple[float, float, int]:
    """The smallest vessel that lets through no more ripple than a twentieth of the lift.

    Parameters
    ----------
    case : RamCase
        One of the pumps with the whole line.
    pumps : int
        Like ones on that line, each with its own vessel.
    settled : BeatResult
        Of this case at its operating point.

    Returns
    -------
    volume : float
        [m3]; the vessel's own where the pump delivers nothing.
    ripple : float
        Swing of head with it [m].
    runs : int
        Of the engine.
    """
    own = case.build.air_vessel
    if case.line is None or settled.delivered_flow <= 0.0 or settled.beat_rate <= 0.0:
        return own.volume, 0.0, 0
    # as long as it is, so that its water keeps its inertia
    line = line_of_one_pump(case.line, pumps, settled.delivered_flow, case.water)
    allowed = RIPPLE_SHARE * case.line.lift
    volume = _bounded(_FIRST * settled.delivered_flow / settled.beat_rate)
    ripple = 0.0
    for turn in range(1, _TURNS + 1):
        vessel = AirVessel(volume, own.precharge_gauge, own.polytropic_index)
        build = replace(case.build, air_vessel=vessel)
        ripple = run_beats(replace(case, build=build, line=line, vessel_head=settled.vessel_head)).vessel_ripple
        if ripple <= 0.0 or abs(ripple / allowed - 1.0) < _NEAR:
            break
        wanted = _bounded(volume * ripple / allowed)  # the swing goes as one over the air
        if turn == _TURNS or wanted == volume:
            break
        volume = wanted
    return volume, ripple, turn


def _bounded(volume: float) -> float:
    return min(max(volume, SMALLEST_VESSEL), LARGEST_VESSEL)
