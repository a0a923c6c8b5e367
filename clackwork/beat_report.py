"""What one engine run says beyond its figures: its groups without units, and how long the vessel's air lasts."""

from __future__ import annotations

import math
from typing import Any

from clackwork.answers_json import keyed
from clackwork.quantities import format_quantity
from clackwork.ram.engine import BeatResult, RamCase
from clackwork.ram.groups import Groups, groups_of
from clackwork.ram.source import LimitedRun
from clackwork.ram.vessel_air import TRANSFER_RANGE, VesselAir, air_budget

GROUPS = {
    "velocity_ratio": "closing velocity over V8",
    "surge_ratio": "closing velocity over g (h - H) / a",
    "lift_ratio": "lift over fall, h / H",
    "loss_factor": "losses at V8 in velocity heads",
    "time_ratio": "beat over the start-up time L V8 / (g H)",
    "return_ratio": "a wave's return 2 L / a over the beat",
    "specific_draw": "drawn over A V / 2",
    "specific_delivery": "delivered over A V H / (2 h)",
}
"""Groups shown, with their words; V is the closing velocity, V8 that of a valve open for ever."""
_AIR_KINDS = {"volume_at_work": "volume", "lasts": "duration", "fills": "duration"}


def source_json(limited: LimitedRun, source_flow: float, system: str) -> dict[str, Any]:
    """What the source has to say, as plain data; null where its flow is not known."""
    if not math.isfinite(source_flow):
        return {"source": None}
    found: dict[str, Any] = {"state": limited.state}
    found |= keyed("source_flow", source_flow, "volume_flow", system)
    return {"source": found | keyed("drawdown", limited.drawdown, "length", system)}


def source_lines(limited: LimitedRun, source_flow: float, system: str) -> list[str]:
    """The same as lines, none where the source gives enough or its flow is not known."""
    gives = f"  Source: {format_quantity(source_flow, 'volume_flow', system)}" if math.isfinite(source_flow) else ""
    if limited.state == "drawn down":
        fall = format_quantity(limited.drawdown, "length", system)
        return [f"{gives} draws it down by {fall}; these are the beats there."]
    if limited.state == "starved":
        return [f"{gives} is less than is drawn: the drive pipe draws air. These are the beats just before it does."]
    return []


def run_groups(case: RamCase, result: BeatResult) -> Groups | None:
    """The groups of a run; None of a pump that does not beat."""
    return groups_of(case, result) if result.is_beating and result.beat_rate > 0.0 else None


def run_air(case: RamCase, result: BeatResult) -> VesselAir | None:
    """The air budget of a run; None where nothing is delivered."""
    return air_budget(case, result) if result.is_beating and result.delivered_flow > 0.0 else None


def report_json(case: RamCase, result: BeatResult, system: str) -> dict[str, Any]:
    """Groups and air of a run as plain data; null for a pump that has none."""
    groups, air = run_groups(case, result), run_air(case, result)
    found: dict[str, Any] = {"groups": groups and {name: getattr(groups, name) for name in GROUPS}}
    found["vessel_air"] = None
    if air is not None:
        found["vessel_air"] = {}
        for name, kind in _AIR_KINDS.items():
            found["vessel_air"] |= keyed(name, getattr(air, name), kind, system)
    return found


def report_lines(case: RamCase, result: BeatResult) -> list[str]:
    """The same as lines."""
    lines = []
    groups = run_groups(case, result)
    if groups is not None:
        lines.append("  Without units (after Iversen and Thomas, from memory, and this project's own):")
        values = {words: getattr(groups, name) for name, words in GROUPS.items()}
        lines += [f"    {words:<42}{value:.3g}" for words, value in values.items() if value is not None]
    words = air_words(case, result)
    return [*lines, f"  {words}"] if words else lines


def air_words(case: RamCase, result: BeatResult) -> str:
    """How long the vessel's air lasts, in a sentence; empty where nothing is delivered."""
    air = run_air(case, result)
    if air is None:
        return ""
    holes = "" if case.build.snifter else " without a snifter"
    if math.isfinite(air.lasts):
        soon, late = (air_budget(case, result, transfer_velocity=speed).lasts for speed in reversed(TRANSFER_RANGE))
        upper = f" to {_about(late)}" if math.isfinite(late) else " or longer, if not for good"
        fit = "drain it before, or fit a snifter" if case.build.snifter is None else "a wider snifter keeps it"
        return f"Vessel: its air is gone after about {_about(soon)}{upper}{holes}, and it is full of water; {fit}."
    if math.isfinite(air.fills):
        return (
            f"Vessel: the snifter fills it with air in about {_about(air.fills)}; what comes after goes down the "
            "line, which should rise all the way."
        )
    return "Vessel: its air stays, as the snifter brings about what the water carries off."


def _about(seconds: float) -> str:
    """A time to one figure, or two where the first is a one."""
    figures = 2 if f"{seconds:e}".startswith("1") else 1
    size = 86400.0 if seconds >= 172800.0 else 3600.0 if seconds >= 7200.0 else 60.0
    name = {86400.0: "days", 3600.0: "h", 60.0: "min"}[size]
    return f"{float(f'{seconds / size:.{figures}g}'):g} {name}"
