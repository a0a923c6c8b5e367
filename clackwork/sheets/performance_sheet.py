"""The performance sheet of a build: what it delivers and draws against lift, its pressures, where the figures come from.

Formats only: page, paper, picture and table say the same.
"""

from __future__ import annotations

import csv
import datetime
import io
import math
from collections.abc import Sequence
from dataclasses import dataclass

from clackwork.answers_text import split_range
from clackwork.cautions import cautions_beside
from clackwork.charts.performance_chart import FIGURES, PEAK, fall_words, performance_chart
from clackwork.charts.vega import to_svg
from clackwork.quantities import format_quantity, key_name, to_display
from clackwork.sheets.typeset import Fields, compile_pdf, drawing
from clackwork.shop.performance import MOST_STALLS, MeasuredPoint, Performance, PerformancePoint
from clackwork.site.site import Range

NOT_FITTED = "no run was made on it, so its friction and wave speed are spread as of a pipe not yet laid"
MODEL = "modelled"
BENCH = "measured"

_POINT_KINDS = {
    "delivered_flow": "volume_flow",
    "drawn_flow": "volume_flow",
    "daubuisson_efficiency": "fraction",
    "rankine_efficiency": "fraction",
    "beat_rate": "beat_rate",
    "peak_head": "head",
    "surge_head": "head",
}
"""Ranges of a point, and their kinds."""
_PRESSURES = {"peak_pressure_gauge": "peak_head", "surge_pressure_gauge": "surge_head"}
_MEASURED = ("delivered_flow", "drawn_flow", "daubuisson_efficiency")
_BESIDE_PRESSURE = ("peak_head", "surge_head", "dead_head")
"""Figures whose cautions stand beside the pressures."""
_BESIDE_WATER = ("water_needed",)
_BESIDE_BEATS = ("beat_rate",)


@dataclass(frozen=True)
class Chief:
    """One figure in large letters: its name, its value, its range."""

    name: str
    value: str
    beside: str


def chief_point(performance: Performance) -> PerformancePoint | None:
    """The point told in words: the middle fall, at the lift nearest to that of most runs; None when nothing beats there."""
    if not performance.falls:
        return None
    fall = performance.falls[len(performance.falls) // 2]
    points = [point for point in performance.at_fall(fall) if point.is_beating]
    if not points:
        return None
    lifts = sorted(run.lift for run in performance.measured_at(fall))
    wanted = lifts[len(lifts) // 2] if lifts else 7.0 * fall
    return min(points, key=lambda point: abs(math.log(point.lift / wanted)))


def chief_words(performance: Performance, units: str) -> tuple[str, list[Chief]]:
    """A sentence's beginning and the figures it leads to: "At a fall of 2.10 m, lifting to 15.0 m"."""
    point = chief_point(performance)
    if point is None:
        return "At its middle fall it does not beat", []
    found = [
        Chief(words, *split_range(shown, kind, units))
        for words, shown, kind in (
            ("Delivers", point.delivered_flow, "volume_flow"),
            ("Draws", point.drawn_flow, "volume_flow"),
            ("d'Aubuisson efficiency", point.daubuisson_efficiency, "fraction"),
        )
        if shown is not None
    ]
    lift = format_quantity(point.lift, "head", units)
    return f"At a fall of {fall_words(point.fall, units)}, lifting to {lift}", found


def pressure_chiefs(performance: Performance, units: str) -> list[Chief]:
    """The highest pressures over all falls and lifts drawn."""
    found = []
    for words, name in (("Highest at each beat", "peak_head"), ("If the delivery valve came late", "surge_head")):
        shown = [getattr(point, name) for point in performance.points if point.is_beating]
        ranges = [one for one in shown if one is not None]
        if ranges:
            highest = max(ranges, key=lambda one: one.high)
            value = split_range(_scaled(highest, performance.unit_weight), "pressure_gauge", units)
            found.append(Chief(f"{words}, at most", *value))
    return found


def _scaled(shown: Range, factor: float) -> Range:
    return Range(factor * shown.low, factor * shown.middle, factor * shown.high)


def stall_sentences(performance: Performance, units: str) -> list[str]:
    """Where it does not beat, or may not: a sentence for every fall of which there is something to say."""
    found = []
    for fall in performance.falls:
        points = performance.at_fall(fall)
        never = [point for point in points if not point.is_beating]
        doubtful = [point for point in points if point.is_doubtful]
        at = f"At a fall of {fall_words(fall, units)}"
        if points and len(never) == len(points):
            found.append(f"{at} it does not beat: {_why(never)}.")
            continue
        for group, words in ((never, "does not beat"), (doubtful, f"may not beat ({_worst(doubtful)} cases of 100)")):
            if group:
                found.append(f"{at} it {words} {_lifts(group, units)}: {_why(group)}.")
    return found


def _worst(points: Sequence[PerformancePoint]) -> int:
    """Cases of a hundred that fail at the worst of some points."""
    return round(100.0 * max([1.0 - point.share_beating for point in points], default=0.0))


def _lifts(points: Sequence[PerformancePoint], units: str) -> str:
    """The lifts of some points in words."""
    first, last = (format_quantity(point.lift, "head", units) for point in (points[0], points[-1]))
    return f"at a lift of {first}" if len(points) == 1 else f"at lifts of {first} to {last}"


def _why(points: Sequence[PerformancePoint]) -> str:
    """Which way the waste valve fails at most of some points."""
    failing = sum(1.0 - point.share_beating for point in points)
    standing = sum(point.share_open for point in points)
    return "the waste valve stands open" if 2.0 * standing >= failing else "the waste valve shuts and stays shut"


def elsewhere_sentence(performance: Performance, units: str) -> str:
    """The runs that were made at falls which are not drawn; empty when there are none."""
    runs = performance.measured_elsewhere
    if not runs:
        return ""
    named = ", ".join(f"{run.run} ({fall_words(run.fall, units)})" for run in runs[:6])
    more = f" and {len(runs) - 6} more" if len(runs) > 6 else ""
    return f"Measured at other falls, so not drawn here: {named}{more}."


def place_sentence(performance: Performance) -> str:
    """Whose pipe it is drawn for, when no run of the build was made on it; empty otherwise."""
    if performance.is_fitted:
        return ""
    place = f"{'site' if performance.is_site else 'rig'} {performance.rig}"
    return f"Drawn for the drive pipe of {place}: {NOT_FITTED}."


def pressure_cautions(performance: Performance) -> list[str]:
    """What is said beside the pressures."""
    found = {one.id: one.words for name in _BESIDE_PRESSURE for one in cautions_beside(name)}
    if performance.is_plastic:
        found |= {one.id: one.words for one in cautions_beside("rating_head")}
    return list(found.values())


def water_cautions() -> list[str]:
    """What is said beside the water drawn."""
    return [one.words for name in _BESIDE_WATER for one in cautions_beside(name)]


def beat_cautions() -> list[str]:
    """What is said beside the beats."""
    return [one.words for name in _BESIDE_BEATS for one in cautions_beside(name)]


def table_head() -> list[str]:
    """Heads of the columns of a fall's table."""
    return [
        "Lift",
        "Delivered",
        "5 % to 95 %",
        "Drawn",
        "5 % to 95 %",
        "Efficiency",
        "Beats",
        "Each beat",
        "Valve late",
    ]


def table_rows(performance: Performance, fall: float, units: str) -> list[list[str]]:
    """A fall's table: a row for every lift; of pressures the high end of the range, which a pipe must bear."""
    rows = []
    for point in performance.at_fall(fall):
        lift = format_quantity(point.lift, "head", units)
        if not point.is_beating:
            rows.append([lift, "does not beat", *[""] * 7])
            continue
        delivered, drawn = (
            split_range(shown, "volume_flow", units) if shown else ("", "")
            for shown in (point.delivered_flow, point.drawn_flow)
        )
        singles = [
            "" if shown is None else format_quantity(factor * getattr(shown, end), kind, units)
            for shown, kind, end, factor in (
                (point.daubuisson_efficiency, "fraction", "middle", 1.0),
                (point.beat_rate, "beat_rate", "middle", 1.0),
                (point.peak_head, "pressure_gauge", "high", performance.unit_weight),
                (point.surge_head, "pressure_gauge", "high", performance.unit_weight),
            )
        ]
        rows.append([f"{lift} *" if point.is_doubtful else lift, *delivered, *drawn, *singles])
    return rows


def table_note(performance: Performance) -> str:
    """What is said under the tables."""
    note = (
        "Each beat, valve late: highest pressure at each beat, and if the delivery valve came late; the high end of "
        "the range."
    )
    if any(point.is_doubtful for point in performance.points):
        note += f" *: it fails to beat in more than {100.0 * MOST_STALLS:.0f} cases of 100."
    return note


def provenance_rows(performance: Performance, units: str) -> list[list[str]]:
    """Where the figures come from."""
    source = performance.provenance
    not_fitted = "" if performance.is_fitted else f"; {NOT_FITTED}"
    pipe = f"{format_quantity(performance.pipe_length, 'length', units)} of {performance.pipe_words}"
    return [
        ["Twin", f"{source.twin_name}, fitted {source.fitted_at} to {source.runs} runs"],
        ["Drive pipe", f"{pipe}, of {'site' if performance.is_site else 'rig'} {performance.rig}{not_fitted}"],
        ["Water", format_quantity(performance.temperature, "temperature", units)],
        ["d'Aubuisson efficiency", "delivered × lift / (drawn × fall)"],
        ["Lift", "head at the pump: the outlet's height, and the friction of the delivery pipe on top of it"],
        ["Ranges", f"5 % to 95 % of those of {performance.draws} draws that beat (seed {performance.seed})"],
        ["Engine", f"{source.engine}, {source.kernel}"],
    ]


def performance_fields(performance: Performance, *, pump: str, units: str, date: datetime.date) -> Fields:
    """All that the template prints."""
    lead, chiefs = chief_words(performance, units)
    part = [] if performance.whole else ["The work was stopped before its end: some falls are missing."]
    said = [words for words in (place_sentence(performance), elsewhere_sentence(performance, units)) if words]
    first, *others = (figure.name for figure in FIGURES)
    return {
        "title": f"Performance of {performance.build}",
        "subtitle": f"Pump {pump}. {date.isoformat()}.",
        "footer": f"{pump}, {performance.build}, {date.isoformat()}",
        "lead": lead,
        "chiefs": [[one.name, one.value, one.beside] for one in chiefs],
        "notes": [*part, *stall_sentences(performance, units), *said],
        "chart": drawing(performance_chart(performance, first, system=units, width=520)),
        "charts": [
            drawing(performance_chart(performance, name, system=units, width=320, heading="title")) for name in others
        ],
        "pressure_chart": drawing(performance_chart(performance, PEAK.name, system=units, width=520)),
        "pressures": [[one.name, one.value, one.beside] for one in pressure_chiefs(performance, units)],
        "pressure_cautions": pressure_cautions(performance),
        "water_cautions": water_cautions(),
        "beat_cautions": beat_cautions(),
        "table_head": table_head(),
        "tables": [
            {"heading": f"At a fall of {fall_words(fall, units)}", "rows": table_rows(performance, fall, units)}
            for fall in performance.falls
            if performance.at_fall(fall)
        ],
        "table_note": table_note(performance),
        "provenance": provenance_rows(performance, units),
    }


def performance_pdf(
    performance: Performance, *, pump: str, units: str = "metric", paper: str = "a4", date: datetime.date
) -> bytes:
    """The performance sheet as PDF.

    Raises
    ------
    InputError
        Another paper.
    """
    fields = performance_fields(performance, pump=pump, units=units, date=date)
    return compile_pdf("performance.typ", fields, paper=paper, date=date)


def performance_svg(performance: Performance, name: str, *, units: str = "metric") -> str:
    """One chart of a performance as SVG, one of `charts.performance_chart.CHARTS`.

    Raises
    ------
    LookupError
        No such chart.
    """
    return to_svg(performance_chart(performance, name, system=units))


def performance_csv(performance: Performance, *, units: str = "metric") -> str:
    """All points and the runs beside them as CSV, the unit in every column's name.

    Modelled figures have the 5, 50 and 95 % points of the draws that beat; measured ones their standard uncertainty.
    """
    out = io.StringIO()
    rows = [
        *(_point_row(performance, point, units) for point in performance.points),
        *(_run_row(run, units) for run in performance.measured),
    ]
    columns = list(dict.fromkeys(key for row in rows for key in row))
    writer = csv.DictWriter(out, columns, restval="", lineterminator="\r\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()


def _number(value: float, kind: str, units: str) -> str:
    return f"{to_display(value, kind, units):.6g}"


def _point_row(performance: Performance, point: PerformancePoint, units: str) -> dict[str, str]:
    """One modelled point."""
    row = {"source": MODEL, "run": ""}
    row |= {key_name(name, "head", units): _number(getattr(point, name), "head", units) for name in ("fall", "lift")}
    ranges = {name: (getattr(point, name), kind, 1.0) for name, kind in _POINT_KINDS.items()}
    for name, head in _PRESSURES.items():
        ranges[name] = (getattr(point, head), "pressure_gauge", performance.unit_weight)
    for name, (shown, kind, factor) in ranges.items():
        for part, end in (("low", "_low"), ("middle", ""), ("high", "_high")):
            key = key_name(f"{name}{end}", kind, units)
            row[key] = "" if shown is None else _number(factor * getattr(shown, part), kind, units)
    return row | {"share_beating_percent": f"{100.0 * point.share_beating:.3g}"}


def _run_row(run: MeasuredPoint, units: str) -> dict[str, str]:
    """One measured point."""
    row = {"source": BENCH, "run": _harmless(run.run)}
    row |= {key_name(name, "head", units): _number(getattr(run, name), "head", units) for name in ("fall", "lift")}
    for name in _MEASURED:
        kind = _POINT_KINDS[name]
        for field, key in ((name, name), (f"{name}_spread", f"{name}_standard_uncertainty")):
            value = getattr(run, field)
            row[key_name(key, kind, units)] = "" if value is None else _number(value, kind, units)
    return row


def _harmless(text: str) -> str:
    """A name that a spreadsheet does not take for a formula."""
    return f"'{text}" if text[:1] in "=+-@\t\r" else text
