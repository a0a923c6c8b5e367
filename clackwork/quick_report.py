"""The answer on the phone in words, as lines for the terminal, and as plain data for JSON."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from clackwork.answers_json import PROMISE_KINDS, cautions_json, keyed, range_json, reason_json
from clackwork.cautions import CAUTIONS
from clackwork.design_words import (
    ANSWERS,
    DAY,
    FIRST,
    PRESSURES,
    RUNNING,
    Shown,
    cautions_by,
    pipe_words,
    ranged,
    reason_lines,
)
from clackwork.quantities import format_quantity
from clackwork.shop.quick import ASSUMPTIONS, SPREADS, Typed, assumed_rows
from clackwork.site.design import Assumed
from clackwork.site.quick import QuickAnswer

_SPREAD_LABELS = {"fall_spread": "Fall may be off by", "lift_spread": "Lift may be off by"}
_SPREAD_LABELS["source_flow_spread"] = "What the source gives may be off by"


def pumps_words(answer: QuickAnswer, units: str) -> str:
    """Which pump, how many, on what: "1 flap pump on 10 m of 1 in steel schedule 40"."""
    each = "" if answer.pumps == 1 else "s, each"
    drive = answer.site.drive_pipe
    length = format_quantity(drive.length, "length", units)
    words = f"{answer.pumps} {answer.twin_name} pump{each} on {length} of {pipe_words(drive.pipe, units)}"
    if answer.site.feed is not None:
        supply = format_quantity(answer.site.feed.length, "length", units)
        words += f", from a standpipe fed by {supply} of {pipe_words(answer.site.feed.pipe, units)}"
    return words


def lift_words(answer: QuickAnswer, units: str) -> str:
    """The lift told from both ends, so that the two are never mixed up."""
    lift = answer.site.line.lift
    above_pump, above_source = (format_quantity(one, "head", units) for one in (lift, lift - answer.site.fall))
    return f"The outlet is {above_pump} above the pump and {above_source} above the source."


def quick_figures(answer: QuickAnswer, units: str) -> list[Shown]:
    """The figures of the answer."""
    promise, valve = answer.promise, answer.build.waste_valve
    shown = [ranged("Delivered a day", promise.daily_delivery, "daily_volume_flow", units, scale=DAY)]
    if answer.site.wanted_flow is not None:
        shown.append(Shown("Wanted", format_quantity(answer.site.wanted_flow, "daily_volume_flow", units)))
    if promise.is_beating:
        shown.append(ranged("Beats", promise.beat_rate, "beat_rate", units))
        shown.append(ranged("Highest head in the pump", promise.peak_head, "head", units))
        shown.append(ranged("If the delivery valve came late", promise.surge_head, "head", units))
    stroke, mass = (format_quantity(*one, units) for one in ((valve.stroke, "small_length"), (valve.mass, "mass")))
    return [*shown, Shown("Set to", stroke, f"stroke, {mass} moving")]


def assumed_words(row: Assumed, units: str) -> str:
    """A thing assumed, with its unit."""
    if row.what in SPREADS:
        shown = format_quantity(float(row.value), row.kind, units, figures=2)
        return f"{shown} (standard uncertainty)"
    if isinstance(row.value, str):
        return row.value
    return f"{row.value:g}" if row.kind == "count" else format_quantity(row.value, row.kind, units)


def assumed_label(name: str) -> str:
    """What a thing assumed is called."""
    return _SPREAD_LABELS.get(name) or ASSUMPTIONS[name][0]


def other_words(answer: QuickAnswer, units: str) -> list[str]:
    """What the other builds would do."""
    found = []
    for name, pumps, daily in answer.others:
        how = f"{pumps} × {name}"
        shown = format_quantity(daily / DAY, "daily_volume_flow", units)
        found.append(f"{how}: about {shown}" if daily > 0.0 else f"{name}: does not serve here")
    return found


def quick_words(typed: Typed, answer: QuickAnswer, units: str) -> dict[str, Any]:
    """All that the page shows of an answer."""
    said: set[str] = set()
    ids = ("peak_pressure", *answer.promise.cautions)
    limit = [answer.limit] if answer.limit is not None else []
    others = [one for one in answer.reasons if one is not answer.limit]
    return {
        "answer": ANSWERS[answer.answer],
        "pumps": pumps_words(answer, units),
        "lift": lift_words(answer, units),
        "figures": quick_figures(answer, units),
        "limit": [*reason_lines(limit, units, notes=False), *reason_lines(limit, units, notes=True)],
        "reasons": reason_lines(others, units, notes=False),
        "notes": reason_lines(others, units, notes=True),
        "others": other_words(answer, units),
        "water_cautions": cautions_by(FIRST, ids, said),
        "running_cautions": cautions_by((*RUNNING, *PRESSURES), ids, said),
        "more_cautions": [CAUTIONS[one].words for one in dict.fromkeys(ids) if one in CAUTIONS and one not in said],
        "assumed": [
            (one.what, assumed_label(one.what), assumed_words(one, units), one.why, is_set)
            for one, is_set in assumed_rows(typed, answer)
        ],
    }


def quick_lines(typed: Typed, answer: QuickAnswer, units: str) -> list[str]:
    """The answer first, what limits it, its figures with their cautions, then everything assumed."""
    words = quick_words(typed, answer, units)
    lines = [f"{words['answer']}: {words['pumps']}.", f"  {words['lift']}"]
    lines += [f"  What limits it: {one}" for one in words["limit"]]
    lines += [f"  {one}" for one in words["reasons"]] + [f"  Note: {one}" for one in words["notes"]]
    for one in words["figures"]:
        lines.append(f"    {one.name:<28}{one.value}" + (f" ({one.beside})" if one.beside else ""))
        if one.name == "Delivered a day":
            lines += [f"      Caution: {caution}" for caution in words["water_cautions"]]
    promise = answer.promise
    water = [
        ranged("Water needed", promise.water_needed, "volume_flow", units),
        ranged("Water there", promise.water_there, "volume_flow", units),
    ]
    lines += [f"    {one.name:<28}{one.value} ({one.beside})" for one in water]
    lines += [f"      Caution: {one}" for one in (*words["running_cautions"], *words["more_cautions"])]
    lines += [f"  Other builds: {'; '.join(words['others'])}."] if words["others"] else []
    lines += ["", "Assumed, as nothing else was said:"]
    lines += [f"    {label:<36}{value}" for _, label, value, _, is_set in words["assumed"] if not is_set]
    return lines


def quick_json(typed: Typed, answer: QuickAnswer, units: str) -> dict[str, Any]:
    """The answer as plain data, the unit in every key."""
    promise, valve, site = answer.promise, answer.build.waste_valve, answer.site
    found: dict[str, Any] = {
        "answer": answer.answer,
        "build": answer.twin_name,
        "pumps": answer.pumps,
        "limit": None if answer.limit is None else reason_json(answer.limit, units),
        "reasons": [reason_json(one, units) for one in answer.reasons],
    }
    for name, kind in PROMISE_KINDS.items():
        found |= range_json(name, getattr(promise, name), kind, units)
    found |= keyed("stroke", valve.stroke, "small_length", units) | keyed("mass", valve.mass, "mass", units)
    found |= keyed("fall", site.fall, "head", units) | keyed("lift_from_pump", site.line.lift, "head", units)
    found |= keyed("lift_from_source", site.line.lift - site.fall, "head", units)
    found["assumed"] = [_assumed_json(one, is_set, units) for one, is_set in assumed_rows(typed, answer)]
    found["others"] = [
        {"build": name, "pumps": pumps} | keyed("delivered_daily", daily, "volume", units)
        for name, pumps, daily in answer.others
    ]
    return found | {
        "engine_runs": answer.engine_runs,
        "cautions": cautions_json(dict.fromkeys(("peak_pressure", *promise.cautions))),
    }


def _assumed_json(row: Assumed, is_set: bool, units: str) -> dict[str, Any]:
    """One thing assumed or set: its words, and its figure with the unit in its key where it is one."""
    found: dict[str, Any] = {"what": row.what, "words": assumed_words(row, units), "why": row.why, "set": is_set}
    if isinstance(row.value, str):
        return found
    return found | keyed("value", row.value, None if row.kind == "count" else row.kind, units)


def typed_problems(typed: Typed) -> Sequence[str]:
    """What cannot be read, a sentence each."""
    return [str(error) for error in typed.errors.values()]
