"""What the live page is told: figures in the units asked for, the trace by columns, the drawing and how it moves."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from clackwork.cautions import CAUTIONS, cautions_beside
from clackwork.charts.section_drawing import SectionDrawing, section_shapes
from clackwork.charts.section_svg import section_svg
from clackwork.quantities import SYSTEMS, format_quantity, from_display, key_name, to_display, unit_label
from clackwork.ram.engine import BeatResult, RamCase
from clackwork.ram.parts import STANDARD_GRAVITY
from clackwork.ram.sensitivity import DELIVERS_NOTHING, input_value
from clackwork.shop.live import SLIDERS, LiveBeat, LiveEdges, slider_ranges

FloatArray = NDArray[np.float64]

SLIDER_WORDS = {
    "stroke": "Stroke",
    "mass": "Weight of the valve",
    "tilt": "Tilt",
    "fall": "Fall",
    "lift": "Lift",
    "pipe_length": "Drive pipe length",
}
SI_KEYS = {
    "stroke": "stroke_m",
    "mass": "mass_kg",
    "tilt": "tilt_rad",
    "fall": "fall_m",
    "lift": "lift_m",
    "pipe_length": "pipe_length_m",
}
"""Slider -> its key with its SI unit."""
_TRACE = (
    ("time", "duration", "time", 5),
    ("body_head", "head", "head at the pump", 3),
    ("velocity", "velocity", "velocity in the drive pipe", 4),
    ("opening", "small_length", "waste valve opening", 4),
    ("vessel_head", "head", "head in the vessel", 2),
    ("waste_flow", "volume_flow", "waste water", 3),
    ("delivered_flow", "volume_flow", "delivered water", 3),
)
"""Columns of the trace: name, kind, words, decimals kept."""
_FIGURES = (
    ("delivered_flow", "volume_flow", "lifted"),
    ("drawn_flow", "volume_flow", "drawn from the source"),
    ("beat_rate", "beat_rate", "beats"),
    ("daubuisson_efficiency", "fraction", "efficiency after d'Aubuisson, q h / (Q H)"),
    ("rankine_efficiency", "fraction", "efficiency after Rankine, q (h \u2212 H) / (Qw H)"),
    ("waste_flow", "volume_flow", "wasted"),
    ("peak_head", "head", "highest pressure in the body"),
    ("surge_head", "head", "the same, were the delivery valve stuck"),
    ("landing_speed_shut", "velocity", "waste valve lands on its seat at"),
    ("closing_velocity", "velocity", "velocity in the pipe as it shuts"),
)
_BAND_WORDS = {
    "": "beats",
    "stalled open": "stalls open",
    "stalled shut": "stalls shut",
    DELIVERS_NOTHING: "beats, lifts nothing",
    "irregular": "beats unevenly",
}


def other_system(system: str) -> str:
    """The system of units that is not shown first."""
    return SYSTEMS[1 - SYSTEMS.index(system)]


def inputs_answer(case: RamCase, system: str) -> dict[str, Any]:
    """Every slider's value: in SI, and in words in both systems of units."""
    found = {}
    for each in slider_ranges(case):
        value, kind = input_value(case, each.name), SLIDERS[each.name]
        found[each.name] = {
            SI_KEYS[each.name]: value,
            "shown": format_quantity(value, kind, system),
            "also": format_quantity(value, kind, other_system(system)),
        }
    return found


def ranges_answer(case: RamCase, system: str) -> list[dict[str, Any]]:
    """The sliders: name, words, key, ends and step in SI, ends in words."""
    return [
        {
            "name": each.name,
            "words": SLIDER_WORDS[each.name],
            "key": SI_KEYS[each.name],
            "low": each.low,
            "high": each.high,
            "step": each.step,
            "low_shown": format_quantity(each.low, SLIDERS[each.name], system, figures=2),
            "high_shown": format_quantity(each.high, SLIDERS[each.name], system, figures=2),
        }
        for each in slider_ranges(case)
    ]


def live_answer(case: RamCase, live: LiveBeat, system: str) -> dict[str, Any]:
    """All of one setting, the drawing and the trace included."""
    drawing = section_shapes(case.build, case.drive_pipe, system)
    beside = ["peak_head", *(["shut_off_head"] if case.vessel_head is None else [])]
    cautions = {caution.id: caution.words for name in beside for caution in cautions_beside(name)}
    return {
        "state": live.state,
        "beats": live.beats,
        "settled": live.result is not None and live.result.settled,
        "words": live.words,
        "inputs": inputs_answer(case, system),
        "figures": _figures(case, live, system),
        "margin": _margin(live),
        "values": _values(live.result, system),
        "cautions": [*cautions.values(), CAUTIONS["moving_valve"].words],
        "trace": _trace(live, drawing, case, system),
        "section": _section(drawing, case, live, system),
    }


def _figures(case: RamCase, live: LiveBeat, system: str) -> list[dict[str, str]]:
    """The figures in words, each with its fellow in the other units or as a pressure."""
    result = live.result
    if result is None:
        return []
    rows = []
    for name, kind, words in _FIGURES:
        value = float(getattr(result, name))
        if not live.beats and name not in ("drawn_flow", "waste_flow"):
            continue
        if case.vessel_head is None and name in ("delivered_flow", "daubuisson_efficiency", "rankine_efficiency"):
            continue
        also = format_quantity(value, kind, other_system(system))
        shown = format_quantity(value, kind, system, figures=2 if kind == "fraction" else 3)
        if kind == "head":
            pressure = value * case.water.density * STANDARD_GRAVITY
            also = format_quantity(pressure, "pressure_gauge", system)
        rows.append(
            {"name": name, "words": words, "shown": shown, "also": "" if also == shown or kind == "fraction" else also}
        )
    return rows


def _margin(live: LiveBeat) -> str:
    """How near the column comes to the speed it could reach at most: near all of it, a pump is about to stall open."""
    if live.result is None or not live.beats:
        return ""
    percent = 100.0 * live.result.velocity_ratio
    return f"The valve shuts at {percent:.0f} % of the speed the water could reach; near 100 % it stalls open."


def _values(result: BeatResult | None, system: str) -> dict[str, float]:
    """The same figures as numbers, the unit in each key."""
    if result is None:
        return {}
    found = {
        key_name(name, kind, system): to_display(float(getattr(result, name)), kind, system)
        for name, kind, _ in _FIGURES
    }
    return found | {"velocity_ratio": result.velocity_ratio, "beats_averaged": result.beats}


def _listed(values: FloatArray, decimals: int) -> list[float]:
    return [float(value) for value in np.round(values, decimals)]


def _trace(live: LiveBeat, drawing: SectionDrawing, case: RamCase, system: str) -> dict[str, Any]:
    """Columns in the units shown, the phases, and what the drawing needs of the same moments in its millimetres."""
    if not live.trace:
        return {"columns": [], "phases": [], "duration_s": 0.0}
    columns = []
    for name, kind, words, decimals in _TRACE:
        values = to_display_array(live.trace[name], kind, system)
        columns.append(
            {
                "name": name,
                "key": key_name(name, kind, system),
                "words": words,
                "unit": unit_label(kind, system),
                "values": _listed(values, decimals),
            }
        )
    seat = 0.25 * math.pi * case.build.waste_valve.seat_bore**2
    speed = np.maximum(live.trace["waste_flow"], 0.0) / seat
    levels = _levels(drawing, live.trace["vessel_water"])
    return {
        "columns": columns,
        "phases": [[[name, *span] for name, span in each.spans.items()] for each in live.phases],
        "duration_s": float(live.trace["time"][-1]),
        "opening_m": _listed(live.trace["opening"], 7),
        "passing": [bool(value > 0.0) for value in live.trace["delivered_flow"]],
        "spout_mm": _listed(1e3 * speed**2 / (2.0 * STANDARD_GRAVITY), 2),
        "spout_share": _listed(np.minimum(speed, 1.0), 3),
        "level_mm": _listed(levels, 3),
        "travel_mm": _listed(1e3 * live.trace["travel"], 2),
    }


def to_display_array(values: FloatArray, kind: str, system: str) -> FloatArray:
    """An array of SI values in the unit shown."""
    factor = from_display(1.0, kind, system) - from_display(0.0, kind, system)
    return np.asarray(values / factor, dtype=np.float64)


def _levels(drawing: SectionDrawing, volumes: FloatArray) -> FloatArray:
    """Height in the drawing of the water in the vessel, read between its ends as straight."""
    low, high = float(volumes.min()), float(volumes.max())
    ends = [drawing.vessel.water_level(low), drawing.vessel.water_level(high)]
    return np.interp(volumes, [low, high], ends) if high > low else np.full(volumes.shape, ends[0])


def _section(drawing: SectionDrawing, case: RamCase, live: LiveBeat, system: str) -> dict[str, Any]:
    """The drawing as SVG, and where and how it moves."""
    opening = float(live.trace["opening"][0]) if live.trace else 0.0
    water = float(live.trace["vessel_water"][0]) if live.trace else 0.0
    peak = live.result.peak_head if live.result is not None else case.supply.fall
    return {
        "svg": section_svg(drawing, opening=opening, water_volume=water, prefix="live"),
        "motions": [
            {"name": each.name, "kind": each.kind, "per_metre": each.per_metre, "x": each.x, "y": each.y}
            for each in drawing.motions
        ],
        "tilt_deg": drawing.tilt,
        "rim": drawing.rim,
        "pipe_axis": drawing.pipe_axis,
        "neck": (drawing.vessel.x, drawing.vessel.bottom - 0.5 * drawing.vessel.head),
        "gauge_top": to_display(max(peak, case.supply.fall), "head", system),
        "bounds": drawing.bounds,
        "spill_level_mm": drawing.spill_level,
    }


def edges_answer(case: RamCase, edges: LiveEdges, system: str) -> dict[str, Any]:
    """The bands of one slider, and in a sentence how far it is from where it is set to the next one."""
    kind = SLIDERS[edges.name]
    return {
        "name": edges.name,
        "bands": [
            {
                "low": band.low,
                "high": band.high,
                "state": band.state or "beats",
                "words": _BAND_WORDS[band.state],
                "stalls": band.state != "",
            }
            for band in edges.bands
        ],
        "words": _edge_words(edges, kind, system),
    }


def _edge_words(edges: LiveEdges, kind: str, system: str) -> str:
    """Where the pump beats around its setting, and what it does beyond."""
    here = edges.here
    if here is None:
        return ""
    if here.state:
        good = [band for band in edges.bands if not band.state]
        if not good:
            return "It beats nowhere on this slider as the others stand."
        nearest = min(good, key=lambda band: min(abs(band.low - edges.value), abs(band.high - edges.value)))
        low, high = (format_quantity(end, kind, system) for end in (nearest.low, nearest.high))
        return f"It would beat from {low} to {high}."
    place = edges.bands.index(here)
    parts = []
    for step, end in ((-1, here.low), (1, here.high)):
        if 0 <= place + step < len(edges.bands):
            away = _BAND_WORDS[edges.bands[place + step].state]
            parts.append(
                f"{away} {'below' if step < 0 else 'above'} {format_quantity(end, kind, system)}{_away(edges, end)}"
            )
    if not parts:
        return "Beats all along this slider."
    words = "; ".join(parts)
    return f"{words[0].upper()}{words[1:]}."


def _away(edges: LiveEdges, end: float) -> str:
    """How far an edge is from the setting, as a share of it; for a tilt that would say nothing."""
    if edges.name == "tilt" or edges.value <= 0.0:
        return ""
    return f" ({abs(100.0 * (end / edges.value - 1.0)):.0f} % {'less' if end < edges.value else 'more'})"
