"""Charts of promises: litres a day per site, one beat as it runs, and the site in elevation."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from clackwork.charts.vega import (
    DARK,
    LIGHT,
    MIDDLE,
    Spec,
    axis_title,
    layer,
    nominal,
    quantitative,
    title,
    whole,
)
from clackwork.quantities import format_quantity, key_name, to_display, unit_label

if TYPE_CHECKING:
    from clackwork.site.site import Promise, Site

FloatArray = NDArray[np.float64]
MOST_POINTS = 800
"""Rows kept of a trace: enough for a line on paper."""
ANSWER_SHAPES = {"yes": "circle", "only if": "diamond", "no": "cross"}


def delivery_chart(promises: Mapping[str, Promise], *, system: str = "metric", width: int = 420) -> Spec:
    """Water delivered a day at each site: the middle and the range from 5 % to 95 %.

    Parameters
    ----------
    promises : mapping of str to Promise
    system : {"metric", "us"}
    width : int, optional
        Of the plot [px].
    """
    field = key_name("daily_delivery", "daily_volume_flow", system)
    day = 86400.0
    rows: list[Spec] = [
        {
            "site": name,
            "answer": promise.answer,
            **{
                key: to_display(value / day, "daily_volume_flow", system)
                for key, value in (
                    (field, promise.daily_delivery.middle),
                    ("low", promise.daily_delivery.low),
                    ("high", promise.daily_delivery.high),
                )
            },
        }
        for name, promise in promises.items()
    ]
    top = max([row["high"] for row in rows], default=0.0) * 1.08 or 1.0
    words = axis_title("water delivered", "daily_volume_flow", system)
    x = quantitative(field, words, domain=(0.0, top))
    y = nominal("site", None)
    shape = nominal(
        "answer",
        "answer",
        scale={"domain": list(ANSWER_SHAPES), "range": list(ANSWER_SHAPES.values())},
        legend={"orient": "bottom"},
    )
    bars = layer(
        {"type": "rule", "strokeWidth": 5, "color": LIGHT},
        {"x": quantitative("low", words, domain=(0.0, top)), "x2": {"field": "high"}, "y": y},
    )
    mark = {"type": "point", "filled": True, "size": 130, "color": DARK, "opacity": 1}
    points = layer(mark, {"x": x, "y": y, "shape": shape})
    return whole(
        {
            "title": title(
                "Water delivered a day",
                "Mark: as likely more as less. Bar: nine chances in ten.",
                width=width,
            ),
            "data": {"values": rows},
            "width": width,
            "height": max(1, len(rows)) * 40,
            "layer": [bars, points],
        },
        description=f"Water delivered a day at {', '.join(promises)}",
    )


def last_beat(trace: Mapping[str, FloatArray]) -> slice:
    """Rows of the last whole beat, from one opening of the waste valve to the next; else all rows."""
    opening = trace["opening"]
    if opening.size == 0:
        return slice(0, 0)
    is_open = opening > 0.5 * float(np.max(opening))
    starts = np.flatnonzero(~is_open[:-1] & is_open[1:])
    if starts.size < 2:
        return slice(0, opening.size)
    first, after = int(starts[-2]), int(starts[-1])
    lead = (after - first) // 20
    return slice(max(0, first - lead), min(opening.size, after + lead))


def beat_chart(trace: Mapping[str, FloatArray], *, name: str = "", system: str = "metric", width: int = 420) -> Spec:
    """One beat: head at the pump, velocity in the drive pipe and opening of the waste valve against time.

    Parameters
    ----------
    trace : mapping of str to float64[rows]
        As from :func:`clackwork.ram.engine.run_trace`; ``time`` [s], ``body_head`` [m], ``velocity`` [m/s],
        ``opening`` [m].
    name : str, optional
        Whose beat it is.
    system : {"metric", "us"}
    width : int, optional
        Of the plots [px].
    """
    rows_kept = last_beat(trace)
    time = trace["time"][rows_kept]
    stride = max(1, math.ceil(time.size / MOST_POINTS))
    start = float(time[0]) if time.size else 0.0
    panels = [
        _trace_panel(time, trace[column][rows_kept], stride, start, column, words, kind, system, width)
        for column, words, kind in (
            ("body_head", "head at the pump", "head"),
            ("velocity", "velocity in the pipe", "velocity"),
            ("opening", "valve opening", "small_length"),
        )
    ]
    panels[-1]["encoding"]["x"]["title"] = "time (s)"
    panels[-1]["encoding"]["x"]["axis"] = {"grid": True, "labels": True}
    caption = "Heads above the level at which the waste valve spills."
    return whole(
        {
            "title": title(f"One beat{' at ' + name if name else ''}", caption, width=width),
            "vconcat": panels,
            "spacing": 14,
        },
        description="Head at the pump, drive-pipe velocity and waste valve opening over one beat",
    )


def _trace_panel(
    time: FloatArray,
    values: FloatArray,
    stride: int,
    start: float,
    column: str,
    words: str,
    kind: str,
    system: str,
    width: int,
) -> Spec:
    """One panel of the beat."""
    field = key_name(column, kind, system)
    rows = [
        {"time_s": float(t) - start, field: to_display(float(v), kind, system)}
        for t, v in zip(time[::stride], values[::stride], strict=True)
    ]
    span = [0.0, max([1e-6, *(row["time_s"] for row in rows)])]
    x = quantitative("time_s", None, domain=span, axis={"grid": True, "labels": False})
    y = quantitative(field, [words, f"({unit_label(kind, system)})"], axis={"tickCount": 3})  # type: ignore[arg-type]
    return {
        "data": {"values": rows},
        "width": width,
        "height": 80,
        "mark": {
            "type": "line",
            "color": DARK,
            "strokeWidth": 1.5,
            "interpolate": "linear",
        },
        "encoding": {"x": x, "y": y},
    }


def run_along(length: float, rise: float) -> float:
    """Level distance a straight pipe of ``length`` covers over ``rise`` [m]; at least 1 % of it."""
    return math.sqrt(max(length**2 - rise**2, (0.01 * length) ** 2))


def elevation_chart(site: Site, *, system: str = "metric", width: int = 520) -> Spec:
    """Source, pump and outlet from the side, pipes drawn straight; says when heights are stretched.

    Parameters
    ----------
    site : Site
    system : {"metric", "us"}
    width : int, optional
        Of the plot [px].
    """
    fall, lift = site.fall, site.line.lift
    drive, delivery = run_along(site.drive_pipe.length, fall), run_along(site.line.length, lift)
    beside_source = drive < 0.35 * (drive + delivery)  # too little room over the drive pipe: words left of the source
    across = (1.4 if beside_source else 1.12) * (drive + delivery)
    true_height = width * 1.25 * lift / across
    stretch = 1.0 if true_height >= 110.0 else math.ceil(110.0 / true_height)
    height = min(420.0, true_height * stretch)
    if true_height > height:
        across = width * 1.25 * lift / height
    left = -(0.85 if beside_source else 0.5) * (across - drive - delivery)
    domain_x = [to_display(at, "length", system) for at in (left, left + across)]
    domain_y = [to_display(at * lift, "length", system) for at in (-0.1, 1.15)]
    x = quantitative("along", None, domain=domain_x, axis=None)
    y = quantitative("height", axis_title("above the pump", "length", system), domain=domain_y, axis={"grid": False})
    places = [(0.0, fall, "source"), (drive, 0.0, "pump"), (drive + delivery, lift, "outlet")]
    rows = [
        {"along": to_display(a, "length", system), "height": to_display(h, "length", system), "place": place}
        for a, h, place in places
    ]
    scale = "Heights and lengths to one scale." if stretch == 1.0 else f"Heights drawn {stretch:g} times the lengths."
    return whole(
        {
            "title": title("The site from the side", f"{scale} Pipes drawn straight.", width=width),
            "width": width,
            "height": round(height),
            "layer": _elevation_layers(rows, x, y, site, system, beside_source),
        },
        description=f"Elevation of {site.name}: source {format_quantity(fall, 'length', system)} and outlet "
        f"{format_quantity(lift, 'length', system)} above the pump",
    )


def _elevation_layers(rows: list[Spec], x: Spec, y: Spec, site: Site, system: str, beside: bool) -> list[Spec]:
    """Level lines, the two pipes, the three places and their words."""
    source, pump, outlet = rows
    fall_words = f"source, {format_quantity(site.fall, 'length', system)} up"
    lift_words = f"outlet, {format_quantity(site.line.lift, 'length', system)} up"
    place = {"x": x, "y": y}
    mark = {"type": "point", "filled": True, "color": DARK, "opacity": 1, "size": 130}
    drawn = [
        layer({"type": "rule", "color": LIGHT, "strokeDash": [3, 3]}, {"y": y}, rows),
        layer({"type": "line", "color": DARK, "strokeWidth": 4}, place, [source, pump]),
        layer({"type": "line", "color": MIDDLE, "strokeWidth": 2}, place, [pump, outlet]),
    ]
    words = (
        (source, fall_words, "right" if beside else "left", "triangle-down"),
        (pump, "pump", "center", "square"),
        (outlet, lift_words, "right", "circle"),
    )
    for row, text, align, shape in words:
        below = {"pump": 18, "source": -10 if beside else -14}.get(row["place"], -14)
        drawn.append(layer({**mark, "shape": shape}, place, [row]))
        text_mark = {"type": "text", "align": align, "dy": below, "dx": _shift(row["place"], beside)}
        drawn.append(layer(text_mark, {**place, "text": {"field": "words"}}, [{**row, "words": text}]))
    return drawn


def _shift(place: str, beside: bool) -> int:
    """Sideways shift of a place's words [px]."""
    return {"source": -12 if beside else -6, "outlet": 6}.get(place, 0)
