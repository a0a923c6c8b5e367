"""Charts of one beat for people who want to see inside: its traces with the phases marked, and where the energy went."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from clackwork.charts.vega import DARK, LIGHT, MIDDLE, PALE, Spec, layer, quantitative, title, whole
from clackwork.quantities import key_name, to_display, unit_label

if TYPE_CHECKING:
    from clackwork.ram.engine import BeatEnergy
    from clackwork.ram.phases import BeatPhases

FloatArray = NDArray[np.float64]
_BUCKETS = 450
"""Of each the lowest and the highest value are drawn: no peak is lost, and the line stays small on paper."""
_LETTER = 5.0
"""Least room for a letter of a phase's name [px]; a slice too narrow for its name has none."""
_UNSEEN = 0.1
"""Less than this [%] below nothing does not show as a bar."""
_PANELS = (
    ("body_head", "head at the pump", "head"),
    ("velocity", "velocity in the pipe", "velocity"),
    ("opening", "valve opening", "small_length"),
    ("vessel_head", "head in the vessel", "head"),
)
ENERGY_WORDS = {
    "lifted": "lifted into the vessel",
    "waste": "carried off by the waste water",
    "pipe": "rubbed off on the pipe's wall",
    "entry": "lost at the pipe's mouth",
    "delivery_valve": "lost in the delivery valve",
    "waste_valve": "spent on moving and landing the waste valve",
    "body": "lost to air and vapour in the body",
}
"""Part of `BeatEnergy` -> where it went, in words."""


def phase_chart(
    trace: Mapping[str, FloatArray],
    phases: BeatPhases,
    *,
    heading: str,
    caption: str,
    window: tuple[float, float] | None = None,
    dashed: Mapping[str, FloatArray] | None = None,
    marks: Sequence[float] = (),
    system: str = "metric",
    width: int = 620,
) -> Spec:
    """Head, velocity, opening and vessel's head over one beat, one above the other, with its phases named.

    Parameters
    ----------
    trace : mapping of str to float64[rows]
        As from :func:`clackwork.ram.engine.run_trace`.
    phases : BeatPhases
        Of the beat drawn; its first moment is time 0.
    heading, caption : str
    window : (float, float), optional
        First and last moment drawn, as times of the trace [s]; the whole beat when not given.
    dashed : mapping of str to float64[rows], optional
        Column of the trace -> another line drawn dashed beside it; not a number where there is none.
    marks : sequence of float, optional
        Moments [s] at which a dotted upright line is drawn.
    system : {"metric", "us"}
    width : int, optional
        Of the plots [px].
    """
    first, last = window or (phases.accelerate, phases.end)
    start = phases.accelerate
    span = (first - start, last - start)
    kept = (trace["time"] >= first) & (trace["time"] <= last)
    time = trace["time"][kept] - start
    bands = _bands(phases, first, last)
    uprights = [{"time_s": float(at) - start} for at in marks if first <= at <= last]
    panels = [_names(bands, span, width)]
    for column, words, kind in _PANELS:
        x = _time(span, last=column == _PANELS[-1][0])
        lines = {"line": trace[column][kept]}
        if dashed and column in dashed:
            lines["dashed"] = dashed[column][kept]
        panels.append(_panel(time, lines, (column, words, kind), x, bands, uprights, system, width))
    return whole(
        {"title": title(heading, caption, width=width), "vconcat": panels, "spacing": 10},
        description="Head at the pump, drive-pipe velocity, waste valve opening and head in the vessel over one beat, "
        "with its phases accelerate, close, deliver and recoil",
    )


def _bands(phases: BeatPhases, first: float, last: float) -> list[Spec]:
    """Phases that show in the window, every second one shaded."""
    start = phases.accelerate
    return [
        {
            "name": name,
            "begin": max(begin, first) - start,
            "finish": min(end, last) - start,
            "middle": 0.5 * (max(begin, first) + min(end, last)) - start,
            "shaded": place % 2 == 1,
        }
        for place, (name, (begin, end)) in enumerate(phases.spans.items())
        if min(end, last) > max(begin, first)
    ]


def _time(span: tuple[float, float], *, last: bool) -> Spec:
    """Encoding of time, to be given a field; only the last panel has words and figures under it."""
    words = "time since the valve stood open (s)" if last else None
    return quantitative("", words, domain=span, axis={"grid": False, "labels": last, "ticks": last, "tickCount": 8})


def _names(bands: list[Spec], span: tuple[float, float], width: int) -> Spec:
    """A strip with the names of the phases, high and low by turns."""
    x = {**_time(span, last=False), "axis": None}
    per_second = width / (span[1] - span[0])
    named = [band for band in bands if (band["finish"] - band["begin"]) * per_second > _LETTER * len(band["name"])]
    words = [
        layer(
            {"type": "text", "baseline": "middle", "y": 8 if high else 24, "fontSize": 12, "color": DARK},
            {"x": {**x, "field": "middle"}, "text": {"field": "name"}},
            [band for band in named if band["shaded"] is not high],
        )
        for high in (True, False)
    ]
    return {"width": width, "height": 32, "layer": [_shades(bands, x), *words]}


def _shades(bands: list[Spec], x: Spec) -> Spec:
    shaded = [band for band in bands if band["shaded"]]
    return layer(
        {"type": "rect", "color": PALE, "opacity": 1}, {"x": {**x, "field": "begin"}, "x2": {"field": "finish"}}, shaded
    )


def _panel(
    time: FloatArray,
    lines: Mapping[str, FloatArray],
    shown: tuple[str, str, str],
    x: Spec,
    bands: list[Spec],
    uprights: list[Spec],
    system: str,
    width: int,
) -> Spec:
    """One quantity: shades, upright lines, the dashed line and the line itself."""
    column, words, kind = shown
    field = key_name(column, kind, system)
    unit = unit_label(kind, system)
    y = quantitative(field, [words, f"({unit})"], axis={"tickCount": 4, "gridColor": LIGHT})  # type: ignore[arg-type]
    drawn = [_shades(bands, x)]
    x = {**x, "field": "time_s"}
    if uprights:
        drawn.append(layer({"type": "rule", "color": MIDDLE, "strokeDash": [1, 3]}, {"x": x}, uprights))
    for name in ("dashed", "line"):
        if name not in lines:
            continue
        rows = [
            {"time_s": at, field: to_display(value, kind, system)}
            for at, value in _thinned(time, lines[name], x["scale"]["domain"])
        ]
        mark: Spec = {"type": "line", "color": DARK, "strokeWidth": 1.5, "interpolate": "linear", "clip": True}
        if name == "dashed":
            mark |= {"color": MIDDLE, "strokeDash": [6, 4]}
        drawn.append(layer(mark, {"x": x, "y": y}, rows))
    return {"width": width, "height": 104, "layer": drawn}


def _thinned(time: FloatArray, values: FloatArray, span: Sequence[float]) -> list[tuple[float, float]]:
    """Points of a line, the lowest and the highest of each small stretch of time; gaps are left out."""
    real = np.flatnonzero(np.isfinite(values))
    bucket = np.floor((time[real] - span[0]) / (span[1] - span[0]) * _BUCKETS)
    edges = np.flatnonzero(np.diff(bucket)) + 1
    kept: set[int] = set()
    for rows in np.split(real, edges):
        if rows.size:
            kept |= {int(rows[np.argmin(values[rows])]), int(rows[np.argmax(values[rows])])}
    return [(round(float(time[row]), 6), float(values[row])) for row in sorted(kept)]


def energy_shares(energy: BeatEnergy) -> dict[str, float]:
    """Share of the energy supplied in one beat that went each way, in the words of the chart, largest first.

    What the parts do not add up to comes last.
    """
    shares = {words: getattr(energy, part) / energy.supplied for part, words in ENERGY_WORDS.items()}
    return dict(sorted(shares.items(), key=lambda item: -item[1])) | {"not accounted for": energy.unaccounted}


def energy_chart(energy: BeatEnergy, *, heading: str = "Where the energy of one beat goes", width: int = 300) -> Spec:
    """Bars of the shares of the energy that the falling water gives in one beat.

    Parameters
    ----------
    energy : BeatEnergy
    heading : str, optional
    width : int, optional
        Of the longest bar's room [px].
    """
    rows = [
        {"part": words, "share_percent": 100.0 * share, "words": _percent(share)}
        for words, share in energy_shares(energy).items()
    ]
    order = [row["part"] for row in rows]
    y: Spec = {"field": "part", "type": "nominal", "title": None, "sort": order, "axis": {"labelLimit": 320}}
    percents = [100.0 * share for share in energy_shares(energy).values()]
    lowest = min(percents)
    domain = (math.floor(lowest) if lowest < -_UNSEEN else 0.0, 1.15 * max(percents))
    x = quantitative("share_percent", "share of the energy supplied (%)", domain=domain)
    bars = layer({"type": "bar", "color": MIDDLE, "height": 14}, {"x": x, "y": y})
    words = layer({"type": "text", "align": "left", "dx": 5}, {"x": x, "y": y, "text": {"field": "words"}})
    caption = f"The water drawn for one beat gives {energy.supplied:.3g} J by falling."
    return whole(
        {
            "title": title(heading, caption, width=width + 240),
            "data": {"values": rows},
            "width": width,
            "height": 28 * len(rows),
            "layer": [bars, words],
        },
        description="Shares of the energy supplied in one beat: "
        + ", ".join(f"{r['part']} {r['words']}" for r in rows),
    )


def _percent(share: float) -> str:
    """Whole percent, or a tenth below ten."""
    percent = 100.0 * share
    text = f"{percent:.0f}" if abs(percent) >= 9.95 else f"{percent:.1f}"
    return f"{text.removeprefix('-') if float(text) == 0.0 else text} %"
