"""Comparisons of visits and what is due, in words and as JSON, for page, terminal and API alike."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from clackwork.answers_json import keyed, number, range_json, reason_json, reason_words
from clackwork.quantities import format_quantity, format_with_uncertainty
from clackwork.site.commissioning import KINDS
from clackwork.site.explaining import INDEPENDENT

if TYPE_CHECKING:
    from clackwork.shop.visits import Comparison
    from clackwork.site.commissioning import Compared
    from clackwork.site.due import Due
    from clackwork.site.explaining import Explanation
    from clackwork.site.visit import Visit

FIGURES = {
    "delivered_flow": "water delivered",
    "waste_flow": "water wasted",
    "water_needed": "water drawn",
    "beat_rate": "beats",
    "vessel_head": "head at the gauge",
    "water_there": "water the source gives",
}
"""Figures of a comparison in words."""
CAUSE_WORDS = {
    "stroke": "another stroke than was taken",
    "mass": "another moving mass than was taken",
    "fall": "another fall than was read",
    "lift": "another lift than was read",
    "throttled_line": "a throttled delivery line",
    "leaking_line": "a leak in the delivery line",
    "delivery_leak": "a delivery valve that leaks back",
    "worn_seat": "a waste valve that leaks when shut",
    "air_in_drive_pipe": "air in the drive pipe",
    "blocked_strainer": "a blocked strainer or pipe mouth",
}
"""Causes in few words."""


def headline(comparison: Comparison) -> str:
    """How the readings stand against the promise, in a sentence."""
    if comparison.why_not:
        return f"Not compared. {comparison.why_not}"
    if not comparison.compared:
        return "Nothing was read that a promise says."
    if comparison.is_in:
        return "It runs as promised: every figure lies within its band."
    return f"Not as promised: {differs(comparison.compared)}."


def differs(compared: Sequence[Compared]) -> str:
    """What is out of its band: "more water drawn and fewer beats than promised"."""
    said = []
    for one in compared:
        if not one.is_in:
            more = "fewer" if one.figure == "beat_rate" else "less"
            said.append(f"{'more' if one.widths > 0 else more} {FIGURES[one.figure]}")
    listed = said[0] if len(said) == 1 else f"{', '.join(said[:-1])} and {said[-1]}"
    return f"{listed} than promised"


def explanation_words(one: Explanation, system: str) -> str:
    """An explanation in a sentence."""
    share = round(100.0 * one.explains)
    end = "every figure would lie in its band" if one.all_in else "not every figure would lie in its band"
    return f"{share} % of what is off {reason_words(one.reason, system)}; {end}."


def measured_words(one: Compared, system: str) -> str:
    """What was measured, with its standard uncertainty."""
    kind = KINDS[one.figure]
    if one.measured.standard_uncertainty <= 0.0:
        return format_quantity(one.measured.value, kind, system)
    return format_with_uncertainty(one.measured.value, one.measured.standard_uncertainty, kind, system)


def promised_words(one: Compared, system: str) -> str:
    """What was promised: "24.7 to 28.8 L/min"."""
    kind = KINDS[one.figure]
    low, high = (format_quantity(value, kind, system) for value in (one.promised.low, one.promised.high))
    return f"{low} to {high}"


def side_words(one: Compared) -> str:
    """Where a figure stands: "in its band", "above its band: 1.8 half-widths from the middle"."""
    if one.is_in:
        return "in its band"
    return f"{one.side} its band: {abs(one.widths):.1f} half-widths from the middle"


def comparison_lines(visit: Visit, comparison: Comparison, system: str) -> list[str]:
    """A visit and its comparison for a terminal."""
    title = f"{visit.site}, {visit.date}: {visit.name} ({visit.purpose}{', ' + visit.build if visit.build else ''})"
    lines = [title, f"  {headline(comparison)}"]
    for one in comparison.compared:
        lines.append(
            f"    {FIGURES[one.figure]}: {measured_words(one, system)} measured, {promised_words(one, system)} promised: "
            f"{side_words(one)}"
        )
    if visit.for_twin and comparison.compared:
        lines.append("  Not an independent check: these readings are meant for the twin they are held against.")
    lines += [f"  Contradiction: {reason_words(one, system)}." for one in comparison.doubts]
    if comparison.explanations:
        lines.append("  What single change would explain it, the likeliest first:")
        lines += [f"    {explanation_words(one, system)}" for one in comparison.explanations]
    return lines


def comparison_json(comparison: Comparison, system: str) -> dict[str, Any]:
    """A comparison as plain data."""
    return {
        "is_in": comparison.is_in if comparison.compared else None,
        "words": headline(comparison),
        "why_not": comparison.why_not,
        "compared": [_compared_json(one, system) for one in comparison.compared],
        "explanations": [
            {
                "cause": one.cause,
                "explains": number(one.explains, None, system),
                "all_in": one.all_in,
                "reason": reason_json(one.reason, system),
            }
            for one in comparison.explanations
        ],
        "contradictions": [reason_json(one, system) for one in comparison.doubts],
    }


def _compared_json(one: Compared, system: str) -> dict[str, Any]:
    kind = KINDS[one.figure]
    return {
        "figure": one.figure,
        "side": one.side,
        "widths": number(one.widths, None, system),
        "independent": one.figure in INDEPENDENT,
        **keyed("measured", one.measured.value, kind, system),
        **keyed("standard_uncertainty", one.measured.standard_uncertainty, kind, system),
        **range_json("promised", one.promised, kind, system),
    }


def visit_json(visit: Visit, comparison: Comparison, system: str) -> dict[str, Any]:
    """A visit and its comparison as plain data."""
    about = {
        "visit": visit.name,
        "site": visit.site,
        "build": visit.build,
        "date": visit.date.isoformat(),
        "purpose": visit.purpose,
        "for_twin": visit.for_twin,
    }
    return about | comparison_json(comparison, system)


def when_words(due: Due) -> str:
    """When something is due: "12 days over", "today", "in 9 days"."""
    days = due.days_over
    if days == 0:
        return "today"
    count = f"{abs(days)} day{'' if abs(days) == 1 else 's'}"
    return f"{count} over" if days > 0 else f"in {count}"


def due_words(due: Due, system: str) -> str:
    """What is due, in words."""
    return reason_words(due.reason, system)


def due_assumed(due: Due, system: str) -> str:
    """What a date takes for granted, as one sentence; empty where it takes nothing."""
    said = "; ".join(reason_words(one, system) for one in due.assumed)
    return f"Taken for granted: {said}." if said else ""


def due_lines(due: Sequence[Due], system: str) -> list[str]:
    """What is due, for a terminal."""
    if not due:
        return ["Nothing is due."]
    lines = []
    for one in due:
        lines.append(f"{when_words(one)}: {one.site}: {due_words(one, system)}")
        if said := due_assumed(one, system):
            lines.append(f"  {said}")
    return lines


def due_json(one: Due, system: str) -> dict[str, Any]:
    """A thing due as plain data."""
    return {
        "site": one.site,
        "what": one.what,
        "care": one.care,
        "date": one.date.isoformat(),
        "days_over": one.days_over,
        "reason": reason_json(one.reason, system),
        "assumed": [reason_json(each, system) for each in one.assumed],
    }
