"""Answers as lines for the terminal: the answer first, reasons under it, cautions beside their figures."""

from __future__ import annotations

import math
from collections.abc import Iterable

from clackwork.answers_json import BEAT_KINDS, FIGURE_KINDS, figure, reason_words
from clackwork.cautions import CAUTIONS, cautions_beside
from clackwork.quantities import format_quantity, format_range
from clackwork.ram.engine import BeatResult
from clackwork.site.site import Promise, Range
from clackwork.twin.twin import Twin

_ANSWERS = {"yes": "Yes.", "only if": "Yes, but only if what is said below is done.", "no": "No."}

_PARAMETER_KINDS = {"slip_volume": "small_volume", "body_air": "small_volume"}
"""Kinds in which the fitted parameters with a unit are written; the others are plain numbers."""

_FIGURE_WORDS = {
    "daubuisson_efficiency": "d'Aubuisson efficiency",
    "rankine_efficiency": "Rankine efficiency",
    "back_pressure_head": "back-pressure head",
    "shut_off_head": "shut-off head",
}

_STALLED_FIGURES = ("waste_flow", "drawn_flow", "peak_head", "surge_head", "vessel_head")
"""Figures of an engine run that a pump which does not beat has, too."""


def figure_words(name: str) -> str:
    """A figure of a run in words: "waste flow"."""
    return _FIGURE_WORDS.get(name, name.replace("_", " "))


def split_range(shown: Range, kind: str, system: str, *, scale: float = 1.0) -> tuple[str, str]:
    """Middle with its unit, and its range in words: ("2 100 L/day", "1 800 to 2 400")."""
    if not all(math.isfinite(value) for value in (shown.low, shown.middle, shown.high)):
        return "not known", ""
    if shown.low == shown.high == 0.0:
        return format_quantity(0.0, kind, system, figures=1), "at both ends of the range"
    text = format_range(shown.low / scale, shown.middle / scale, shown.high / scale, kind, system)
    middle, _, beside = text.rpartition(" (")
    return middle, beside.rstrip(")")


def range_words(shown: Range, kind: str, system: str, *, scale: float = 1.0) -> str:
    """Middle and range in one text: "14.2 L/min (12.1 to 16.8)"."""
    middle, beside = split_range(shown, kind, system, scale=scale)
    return f"{middle} ({beside})" if beside else middle


def parameter_words(value: float, parameter: str, system: str) -> str:
    """A fitted value with its unit, or three figures of a plain number."""
    return figure(value, _PARAMETER_KINDS.get(parameter), system)


def _caution(one: str, said: set[str], indent: str) -> str:
    """A caution in full, or by name when it was said before."""
    if one in said:
        return f"{indent}Caution as above: {one.replace('_', ' ')}."
    said.add(one)
    return f"{indent}Caution: {CAUTIONS[one].words}"


def all_promise_lines(promises: Iterable[Promise], system: str) -> list[str]:
    """Promises one under the other; a caution is said in full the first time and by name after that."""
    said: set[str] = set()
    return [line for one in promises for line in [*promise_lines(one, system, said), ""]]


def promise_lines(promise: Promise, system: str, said: set[str] | None = None) -> list[str]:
    """A promise: yes, only if or no; why; then the figures with their cautions.

    Cautions in ``said`` were said in full before; those said now are added to it.
    """
    said = set() if said is None else said
    lines = [f"{promise.site}, build {promise.build}: {_ANSWERS[promise.answer]}"]
    for reason in promise.reasons:
        lines.append(f"  {'Note: ' if reason.hardness == 'note' else ''}{reason_words(reason, system)}")
    left = [one for one in promise.cautions if one in CAUTIONS]
    for group in _groups(promise):
        for name, words, kind in group:
            lines.append(f"    {words:<28}{range_words(getattr(promise, name), kind, system)}")
        names = [name for name, _, _ in group]
        if "surge_head" in names:
            margin = figure(promise.pressure_margin, None, system)
            rating = figure(promise.rating_head, "head", system)
            lines.append(f"    {'Rating of the drive pipe':<28}{rating}, {margin} times the highest")
            names += ["peak_head", "rating_head", "pressure_margin"]
        beside = {caution.id for name in names for caution in cautions_beside(name)}
        lines += [_caution(one, said, "      ") for one in left if one in beside]
        left = [one for one in left if one not in beside]
    return lines + [_caution(one, said, "  ") for one in left]


_Group = tuple[tuple[str, str, str], ...]


def _groups(promise: Promise) -> tuple[_Group, ...]:
    """Figures with their words and kinds, those of one caution together."""
    there = ("water_there", "Water there", "volume_flow")
    if not promise.is_beating:
        return (
            (("daily_delivery", "Delivered a day", "volume"),),
            (("water_needed", "Runs to waste", "volume_flow"), there),
            (("surge_head", "Surge if shut by hand", "head"),),
        )
    return (
        (("daily_delivery", "Delivered a day", "volume"),),
        (("water_needed", "Water needed", "volume_flow"), there),
        (("beat_rate", "Beats", "beat_rate"), ("daubuisson_efficiency", "Efficiency (q h / Q H)", "fraction")),
        (("peak_head", "Peak in the body", "head"), ("surge_head", "Surge, delivery valve late", "head")),
    )


def twin_lines(twin: Twin, system: str) -> list[str]:
    """A twin: what is known how well, what the runs missed, what to run next."""
    missed = sum(1 for one in twin.residuals if not abs(one.normalised) <= 2.0) or "none"
    lines = [
        f"Build {twin.build.name}: {len(twin.residuals)} figures fitted, {missed} of them missed by more than two "
        f"standard deviations; the model itself is off by about {100.0 * twin.model_form_spread:.1f} %."
    ]
    lines += [f"  Note: {warning}" for warning in twin.warnings]
    for name, pinned in zip(twin.parameter_names, twin.pinned, strict=True):
        best, low, high = (parameter_words(part[name], name, system) for part in (twin.best, twin.low, twin.high))
        lines.append(f"    {name.replace('_', ' '):<24}{best} ({low} to {high})")
        lines.append(f"      {pinned.sentence}")
    for one in twin.residuals:
        if not abs(one.normalised) <= 2.0:
            kind = FIGURE_KINDS.get(one.figure)
            lines.append(
                f"  Run {one.run}: {figure_words(one.figure)} read {figure(one.measured, kind, system)}, "
                f"modelled {figure(one.modelled, kind, system)}."
            )
    if twin.next_runs:
        lines.append(f"  Run next: {twin.next_runs[0].sentence}")
    return lines


def beat_lines(result: BeatResult, title: str, system: str) -> list[str]:
    """One engine run: its state first."""
    settled = "" if result.settled or not result.is_beating else " (did not settle)"
    lines = [f"{title}: {result.state}{settled}."]
    for name, kind in BEAT_KINDS.items():
        if not result.is_beating and name not in _STALLED_FIGURES:
            continue
        lines.append(f"    {figure_words(name):<24}{figure(getattr(result, name), kind, system)}")
        if name == "surge_head":
            lines.append(f"      Caution: {CAUTIONS['peak_pressure'].words}")
    return lines
