"""Charts of a build's performance: flow, water drawn, efficiency and peak pressure against lift, for chosen falls.

A fall is told by the dash of its line, the shape of its measured points and the words at its line; the band is the range
from 5 % to 95 %. Everything reads in grey.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

from clackwork.charts.vega import DARK, MIDDLE, Spec, axis_title, layer, nominal, quantitative, title, whole
from clackwork.quantities import format_quantity, key_name, to_display

if TYPE_CHECKING:
    from clackwork.shop.performance import MeasuredPoint, Performance, PerformancePoint
    from clackwork.site.site import Range

Width = int | Literal["container"]
"""Of a plot [px], or that of the page's column."""

Heading = Literal["whole", "title", ""]
DASHES = ([1, 0], [8, 3], [2, 2], [10, 3, 2, 3], [5, 5])
SHAPES = ("circle", "square", "triangle-up", "diamond", "cross")
HEIGHT = 230
_NARROW = 460
_LIFT = "lift (head at the pump)"


@dataclass(frozen=True)
class Figure:
    """One figure that is drawn against lift.

    Attributes
    ----------
    name : str
        In file names and addresses.
    words : str
        Of its axis and title.
    kind : str
        Of quantity.
    caption : str
    modelled : callable
        Its range at a point; None where there is none.
    measured : callable or None
        Value and standard uncertainty of a run; None for a figure the bench does not read.
    """

    name: str
    words: str
    kind: str
    caption: str
    modelled: Callable[[PerformancePoint], Range | None]
    measured: Callable[[MeasuredPoint], tuple[float | None, float | None]] | None = None


_BAND = "Line: as likely more as less. Band: nine chances in ten."
_MARKS = "White marks: measured, with twice their uncertainty."
_DOUBTFUL = "Crosses: it may not beat there."

FIGURES = (
    Figure(
        "delivered-flow",
        "delivered flow",
        "volume_flow",
        _BAND,
        lambda point: point.delivered_flow,
        lambda run: (run.delivered_flow, run.delivered_flow_spread),
    ),
    Figure(
        "water-drawn",
        "water drawn",
        "volume_flow",
        _BAND,
        lambda point: point.drawn_flow,
        lambda run: (run.drawn_flow, run.drawn_flow_spread),
    ),
    Figure(
        "efficiency",
        "d'Aubuisson efficiency",
        "fraction",
        "Delivered × lift / (drawn × fall). " + _BAND,
        lambda point: point.daubuisson_efficiency,
        lambda run: (run.daubuisson_efficiency, run.daubuisson_efficiency_spread),
    ),
)
"""Figures with one chart each; peak pressure has its own."""

PEAK = Figure(
    "peak-pressure",
    "pressure in the pump",
    "pressure_gauge",
    "Heavy lines: highest at each beat. Thin: if the delivery valve came late. Bands: nine chances in ten.",
    lambda point: point.peak_head,
)
CHARTS = (*(figure.name for figure in FIGURES), PEAK.name)
"""Names of all charts."""


def fall_words(fall: float, system: str) -> str:
    """A fall as the legend has it: "2.1 m"."""
    return format_quantity(fall, "head", system, figures=3)


def performance_chart(
    performance: Performance, name: str, *, system: str = "metric", width: Width = 520, heading: Heading = "whole"
) -> Spec:
    """One chart of a performance.

    Parameters
    ----------
    performance : Performance
    name : str
        One of `CHARTS`.
    system : {"metric", "us"}
    width : int or "container", optional
    heading : {"whole", "title", ""}, optional
        Title and caption, the title alone, or nothing: a page says them itself.

    Raises
    ------
    LookupError
        No such chart.
    """
    if name == PEAK.name:
        return _pressure_chart(performance, system, width, heading)
    for figure in FIGURES:
        if figure.name == name:
            return _figure_chart(performance, figure, system, width, heading)
    raise LookupError(f"there is no chart {name}")


def caption_of(performance: Performance, figure: Figure, has_marks: bool) -> str:
    """What lines, bands and marks of a chart mean."""
    parts = [figure.caption]
    if has_marks:
        parts.append(_MARKS)
    if figure is not PEAK and any(point.is_doubtful for point in performance.points):
        parts.append(_DOUBTFUL)
    return " ".join(parts)


def _band_rows(performance: Performance, figure: Figure, system: str, scale: float = 1.0) -> list[Spec]:
    """Rows of lines and bands, those points that beat."""
    lift, field = key_name("lift", "head", system), key_name(figure.name.replace("-", "_"), figure.kind, system)
    rows: list[Spec] = []
    for point in performance.points:
        shown = figure.modelled(point)
        if shown is None or not point.is_beating:
            continue
        values = (to_display(scale * value, figure.kind, system) for value in (shown.low, shown.middle, shown.high))
        row = dict(zip(("low", field, "high"), values, strict=True))
        fall = fall_words(point.fall, system)
        at = {"line": fall, "fall": fall, lift: to_display(point.lift, "head", system)}
        rows.append({**at, **row, "doubtful": point.is_doubtful})
    return rows


def _measured_rows(performance: Performance, figure: Figure, system: str) -> list[Spec]:
    """Rows of the runs made at the falls drawn."""
    if figure.measured is None:
        return []
    lift, field = key_name("lift", "head", system), key_name(figure.name.replace("-", "_"), figure.kind, system)
    rows: list[Spec] = []
    for fall in performance.falls:
        for run in performance.measured_at(fall):
            value, spread = figure.measured(run)
            if value is None or spread is None:
                continue
            shown = (to_display(value + k * spread, figure.kind, system) for k in (-2.0, 0.0, 2.0))
            row = dict(zip(("low", field, "high"), shown, strict=True))
            at = {lift: to_display(run.lift, "head", system)}
            rows.append({"run": run.run, "measured_at": fall_words(fall, system), **at, **row})
    return rows


def _top(rows: Sequence[Spec]) -> float:
    """Top of the axis over bands and marks."""
    return 1.06 * max([row["high"] for row in rows], default=0.0) or 1.0


def _lift_axis(performance: Performance, system: str) -> Spec:
    """The axis of lifts, from nothing to a little over the highest."""
    highest = max([point.lift for point in performance.points], default=1.0)
    domain = (0.0, to_display(1.04 * highest, "head", system))
    words = axis_title(_LIFT, "head", system)
    return quantitative(key_name("lift", "head", system), words, domain=domain, axis={"grid": True, "tickCount": 8})


def _legend(width: Width) -> Spec:
    """A legend under the plot."""
    columns = 3 if width == "container" or width < _NARROW else 5
    symbol = {"symbolType": "stroke", "symbolSize": 900, "symbolStrokeColor": DARK}
    return {"orient": "bottom", "titleOrient": "left", "columns": columns, **symbol}


def _dash(performance: Performance, system: str, width: Width) -> Spec:
    """Dash of each fall's line."""
    names = [fall_words(fall, system) for fall in performance.falls]
    scale = {"domain": names, "range": [list(dash) for dash in DASHES[: len(names)]]}
    return nominal("fall", "fall", scale=scale, legend=_legend(width))


def _band_layers(rows: list[Spec], x: Spec, axis: Spec, field: str, dash: Spec, **line: float) -> list[Spec]:
    """Bands with a line in each; ``axis`` is the encoding of the middle."""
    each = {"field": "line", "type": "nominal"}
    curve = {"interpolate": "monotone", "clip": True}
    return [
        layer(
            {"type": "area", "color": MIDDLE, "opacity": 0.3, **curve},
            {"x": x, "y": {**axis, "field": "low"}, "y2": {"field": "high"}, "detail": each},
            rows,
        ),
        layer(
            {"type": "line", "color": DARK, "strokeWidth": 1.8, **curve, **line},
            {"x": x, "y": {**axis, "field": field}, "strokeDash": dash, "detail": each},
            rows,
        ),
    ]


def _figure_chart(performance: Performance, figure: Figure, system: str, width: Width, heading: Heading) -> Spec:
    """A figure of the bench against lift: bands, lines, measured points."""
    rows, marks = _band_rows(performance, figure, system), _measured_rows(performance, figure, system)
    x = _lift_axis(performance, system)
    field = key_name(figure.name.replace("-", "_"), figure.kind, system)
    top = _top([*rows, *marks])
    domain = (0.0, min(top, 100.0) if figure.kind == "fraction" else top)
    words = axis_title(figure.words, figure.kind, system)
    axis = quantitative(field, words, domain=domain, axis={"grid": True, "tickCount": 6})
    layers = _band_layers(rows, x, axis, field, _dash(performance, system, width))
    layers += _doubtful_layer(rows, x, axis)
    if marks:
        layers += _mark_layers(performance, marks, x, axis, system)
    return _finished(performance, figure, layers, system, width, heading, bool(marks))


def _doubtful_layer(rows: list[Spec], x: Spec, axis: Spec) -> list[Spec]:
    """Crosses where the pump may not beat."""
    doubtful = [row for row in rows if row["doubtful"]]
    mark = {"type": "point", "shape": "cross", "angle": 45, "filled": True, "color": DARK, "size": 90, "opacity": 1}
    return [layer(mark, {"x": x, "y": axis}, doubtful)] if doubtful else []


def _mark_layers(performance: Performance, marks: list[Spec], x: Spec, axis: Spec, system: str) -> list[Spec]:
    """Measured points with their uncertainty, each fall with a shape of its own."""
    layers = [
        layer(
            {"type": "rule", "color": DARK, "strokeWidth": 1.4},
            {"x": x, "y": {**axis, "field": "low"}, "y2": {"field": "high"}},
            marks,
        )
    ]
    look = {
        "type": "point",
        "filled": True,
        "fill": "white",
        "stroke": DARK,
        "strokeWidth": 1.6,
        "size": 60,
        "opacity": 1,
    }
    for fall, shape in zip(performance.falls, SHAPES, strict=False):
        mine = [row for row in marks if row["measured_at"] == fall_words(fall, system)]
        if mine:
            layers.append(layer({**look, "shape": shape}, {"x": x, "y": axis}, mine))
    return layers


def _pressure_chart(performance: Performance, system: str, width: Width, heading: Heading) -> Spec:
    """Highest pressure at each beat, and the surge if the delivery valve came late, against lift."""
    late = replace(PEAK, modelled=lambda point: point.surge_head)
    at_beat, if_late = (_band_rows(performance, one, system, performance.unit_weight) for one in (PEAK, late))
    x = _lift_axis(performance, system)
    field = key_name("peak_pressure", PEAK.kind, system)
    words = axis_title(PEAK.words, PEAK.kind, system)
    domain = (0.0, 1.06 * _top([*at_beat, *if_late]))
    axis = quantitative(field, words, domain=domain, axis={"grid": True, "tickCount": 6})
    dash = _dash(performance, system, width)
    layers = [
        *_band_layers(if_late, x, axis, field, dash, strokeWidth=1.2),
        *_band_layers(at_beat, x, axis, field, dash, strokeWidth=3.0),
        *_named(if_late, "if the delivery valve came late (thin)", x, axis, field),
        *_named(at_beat, "highest at each beat (heavy)", x, axis, field),
    ]
    return _finished(performance, PEAK, layers, system, width, heading, False)


def _named(rows: list[Spec], words: str, x: Spec, axis: Spec, field: str) -> list[Spec]:
    """Words over the highest of some lines, ending at their right."""
    if not rows:
        return []
    top = max(rows, key=lambda row: (row[x["field"]], row[field]))
    mark = {"type": "text", "align": "right", "baseline": "bottom", "dy": -9}
    return [
        layer(mark, {"x": x, "y": {**axis, "field": "high"}, "text": {"field": "words"}}, [{**top, "words": words}])
    ]


def _finished(
    performance: Performance,
    figure: Figure,
    layers: list[Spec],
    system: str,
    width: Width,
    heading: Heading,
    has_marks: bool,
) -> Spec:
    """The chart around its layers."""
    falls = ", ".join(fall_words(fall, system) for fall in performance.falls)
    words = f"{figure.words[0].upper()}{figure.words[1:]}"
    body: Spec = {"width": width, "height": HEIGHT, "layer": layers}
    if heading:
        caption = caption_of(performance, figure, has_marks) if heading == "whole" else ""
        body["title"] = title(f"{words} against lift", caption, width=520 if width == "container" else width)
    if width == "container":
        body["autosize"] = {"type": "fit-x", "contains": "padding"}
    return whole(body, description=f"{words} of {performance.build} against lift at falls of {falls}")


__all__ = ["CHARTS", "FIGURES", "PEAK", "Figure", "fall_words", "performance_chart"]
