"""A design as lines for the terminal and as plain data for JSON."""

from __future__ import annotations

import math
from typing import Any

from clackwork import design_words
from clackwork.answers_json import PROMISE_KINDS, cautions_json, keyed, range_json, reason_json, reason_words
from clackwork.cautions import CAUTIONS, cautions_beside
from clackwork.pipes import Pipe
from clackwork.sheets.typeset import sentence
from clackwork.site.design import Assumed, Choice, Design, FatigueLaw, MonthPlan, PipeCheck, RuleOfThumb, Zone
from clackwork.site.prices import Quotation


def design_lines(design: Design, units: str) -> list[str]:
    """A design: the answer first, then each choice with its reasons, cautions beside their figures."""
    lines = [f"{design.site}: {design_words.ANSWERS[design.answer]}."]
    if design.limit is not None:
        lines.append(f"  What limits it: {sentence(reason_words(design.limit, units))}")
    said: set[str] = set()
    for number, choice in enumerate(design.choices, start=1):
        lines += ["", *_choice_lines(number, choice, units, said)]
    if design.assumed:
        lines += ["", "Assumed:", *(f"  {design_words.assumed_words(one, units)}" for one in design.assumed)]
    again = design_words.again_lines(design)
    if again:
        lines += ["", "Measure again first:", *(f"  {one}" for one in again)]
    return lines


def _choice_lines(number: int, choice: Choice, units: str, said: set[str]) -> list[str]:
    """One choice."""
    best = design_words.best_words(choice)
    lines = [f"{number}. {best}: {design_words.lead_words(choice, units)}."]
    lines.append(f"   {design_words.ANSWERS[choice.promise.answer]}.")
    lines += [f"   {one}" for one in design_words.reason_lines(choice.reasons, units, notes=False)]
    lines += [f"   Note: {one}" for one in design_words.reason_lines(choice.reasons, units, notes=True)]
    for label, cells in design_words.choice_rows(Design("", "", (choice,), None, (), 0), units):
        if label == "Answer":
            continue
        lines.append(f"     {label:<34}{cells[0]}")
        lines += _cautions_at(label, choice, said)
    lines += [f"     {one}" for one in design_words.check_reasons(choice, units)]
    for fatigue in design_words.fatigue_lines(choice, units):
        lines.append(f"     {fatigue['where']}, tired by its beats: {fatigue['words']}")
        lines += [f"       {law}: {years}" for law, years, *_ in fatigue["laws"]]
    left = [one for one in choice.promise.cautions if one in CAUTIONS and one not in said]
    said.update(left)
    return lines + [f"   Caution: {CAUTIONS[one].words}" for one in left]


_CAUTIONED = {
    "Delivered a day": "daily_delivery",
    "Drawn from the source": "water_needed",
    "Beats": "beat_rate",
    "Highest head in the pump": "peak_head",
}
"""Rows that have cautions, and the figure these stand beside."""


def _cautions_at(label: str, choice: Choice, said: set[str]) -> list[str]:
    """Cautions that stand beside a row, each in full once."""
    if label not in _CAUTIONED:
        return []
    ids = ("peak_pressure", *choice.promise.cautions)
    found = [one for one in cautions_beside(_CAUTIONED[label]) if one.id in ids and one.id not in said]
    said.update(one.id for one in found)
    return [f"       Caution: {one.words}" for one in found]


def design_json(design: Design, units: str) -> dict[str, Any]:
    """A design as plain data, the unit in every key."""
    return {
        "site": design.site,
        "answer": design.answer,
        "limit": None if design.limit is None else reason_json(design.limit, units),
        "measure_again": [
            {"reading": name, "share": share, "assumed": name in design.told_readings}
            for name, share in design.measure_again
        ],
        "choices": [choice_json(one, units) for one in design.choices],
        "assumed": [assumed_json(one, units) for one in design.assumed],
        "engine_runs": design.engine_runs,
    }


def assumed_json(one: Assumed, units: str) -> dict[str, Any]:
    """One thing taken for granted: its figure with the unit in its key where it is one, its words else."""
    found: dict[str, Any] = {"what": one.what, "why": one.why}
    if isinstance(one.value, str):
        return found | {"words": one.value}
    return found | keyed("value", one.value, None if one.kind == "count" else one.kind, units)


def choice_json(choice: Choice, units: str) -> dict[str, Any]:
    """One choice as plain data."""
    promise, valve = choice.promise, choice.build.waste_valve
    found: dict[str, Any] = {
        "best_for": list(choice.best_for),
        "build": choice.twin_name,
        "pumps": choice.pumps,
        "answer": promise.answer,
        "reasons": [reason_json(one, units) for one in choice.reasons],
    }
    for name, kind in PROMISE_KINDS.items():
        found |= range_json(name, getattr(promise, name), kind, units)
    found |= keyed("rating_head", promise.rating_head, "head", units)
    found |= keyed("pressure_margin", promise.pressure_margin, None, units)
    found |= keyed("stroke", valve.stroke, "small_length", units) | keyed("mass", valve.mass, "mass", units)
    for name, band, kind in (("stroke", choice.stroke_band, "small_length"), ("mass", choice.mass_band, "mass")):
        found |= keyed(f"{name}_low", band[0], kind, units) | keyed(f"{name}_high", band[1], kind, units)
    found["drive_pipe"] = _pipe_json(choice.drive_pipe.pipe) | keyed(
        "length", choice.drive_pipe.length, "length", units
    )
    found["supply_pipe"] = None
    if choice.feed is not None:
        found["supply_pipe"] = _pipe_json(choice.feed.pipe) | keyed("length", choice.feed.length, "length", units)
        found["supply_pipe"] |= keyed("standpipe_diameter", choice.standpipe_diameter, "small_length", units)
    found["delivery_line"] = [_zone_json(one, units) for one in choice.zones]
    found |= keyed("vessel_volume", choice.vessel_volume, "volume", units)
    tank = choice.tank_volume
    found |= keyed("tank_volume", math.nan if tank is None else tank, "volume", units)
    found["checks"] = [_check_json(one, units) for one in choice.checks]
    found["rules"] = [_rule_json(one, units) for one in choice.rules]
    found["by_length"] = [_length_json(one, units) for one in choice.by_length]
    found["months"] = [_month_json(one, units) for one in choice.months]
    found["quotation"] = None if choice.quotation is None else _quotation_json(choice.quotation)
    return found | {"cautions": cautions_json(dict.fromkeys(("peak_pressure", *promise.cautions)))}


def _pipe_json(pipe: Pipe) -> dict[str, Any]:
    return {"series": pipe.series, "size": pipe.size, "material": pipe.material}


def _heads_json(one: Zone | PipeCheck, units: str) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for name in ("highest_head", "lowest_head", "rating_head"):
        found |= keyed(name, getattr(one, name), "head", units)
    return found


def _zone_json(zone: Zone, units: str) -> dict[str, Any]:
    ends = keyed("start", zone.start, "length", units) | keyed("end", zone.end, "length", units)
    return _pipe_json(zone.pipe) | ends | _heads_json(zone, units)


def _check_json(check: PipeCheck, units: str) -> dict[str, Any]:
    found = {"where": check.where, **_pipe_json(check.pipe), **_heads_json(check, units)}
    start, end = check.stretch or (math.nan, math.nan)
    found |= keyed("start", start, "length", units) | keyed("end", end, "length", units)
    found |= keyed("swing_head", check.swing_head, "head", units)
    found["fatigue"] = [_law_json(one, units) for one in check.fatigue]
    return found | {"reasons": [reason_json(one, units) for one in check.reasons]}


def _law_json(law: FatigueLaw, units: str) -> dict[str, Any]:
    found: dict[str, Any] = {"law": law.law, "source": law.source, "inside": law.inside, "at_least": law.at_least}
    return found | keyed("cycles", law.cycles, None, units) | keyed("years", law.years, None, units)


def _rule_json(rule: RuleOfThumb, units: str) -> dict[str, Any]:
    ends = keyed("low", rule.low, rule.kind, units) | keyed("high", rule.high, rule.kind, units)
    return {"topic": rule.topic, "author": rule.author, **ends}


def _length_json(point: tuple[float, float, float], units: str) -> dict[str, Any]:
    length, delivered, rate = point
    found = keyed("length", length, "length", units) | keyed("delivered_daily", delivered, "volume", units)
    return found | keyed("beat_rate", rate, "beat_rate", units)


def _month_json(plan: MonthPlan, units: str) -> dict[str, Any]:
    found: dict[str, Any] = {"month": plan.month, "do": plan.words, "pumps": plan.pumps}
    found |= keyed("source_flow", plan.source_flow, "volume_flow", units)
    found |= keyed("water_drawn", plan.water_drawn, "volume_flow", units)
    found |= keyed("stroke", plan.stroke, "small_length", units) | keyed("mass", plan.mass, "mass", units)
    found |= keyed("delivered_daily", plan.delivered_daily, "volume", units)
    return found | keyed("needed_daily", plan.needed_daily, "volume", units)


def _quotation_json(quotation: Quotation) -> dict[str, Any]:
    """A quotation; money is in the currency named in it, water in cubic metres."""
    return {
        "currency": quotation.currency,
        "lines": [
            {
                "what": one.what,
                "detail": one.detail,
                "amount": one.amount,
                "unit": one.unit,
                "price": one.price,
                "cost": one.cost,
            }
            for one in quotation.lines
        ],
        "cost": quotation.cost,
        "price": quotation.price,
        "missing": list(quotation.missing),
        "yearly": quotation.yearly,
        "per_cubic_metre": quotation.per_volume,
        "alternatives": [{"name": one.name, "per_cubic_metre": cost} for one, cost in quotation.alternatives],
    }
