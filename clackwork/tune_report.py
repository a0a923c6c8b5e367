"""Tunings of a build at a place, by the engine, and their answers as lines and as plain data."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from clackwork.answers_json import BEAT_KINDS, beat_json, figure, keyed
from clackwork.answers_text import figure_words
from clackwork.cautions import CAUTIONS
from clackwork.errors import InputError, ModelError
from clackwork.quantities import format_quantity, parse
from clackwork.ram.engine import RamCase
from clackwork.ram.sensitivity import StallEdge
from clackwork.ram.tuning import Tuning, TuningBounds, tune_for_delivery, tune_for_efficiency, tune_for_least_water
from clackwork.workbook_jobs import share_of

Progress = Callable[[int, int], None]

AIMS = {
    "most delivered": "delivers most for the water there is",
    "least water": "draws least for what is wanted",
    "least water a litre": "draws least for what it delivers",
}
"""What a tuning is looked for, and in words."""
INPUT_KINDS = {"mass": "mass", "stroke": "small_length", "fall": "head"}
_FIGURES = (
    "delivered_flow",
    "drawn_flow",
    "beat_rate",
    "daubuisson_efficiency",
    "closing_velocity",
    "vessel_head",
    "surge_head",
)


@dataclass(frozen=True)
class Asked:
    """What a tuning is asked for.

    Attributes
    ----------
    case : RamCase
        With a line or a head held.
    bounds : TuningBounds
    source_flow : float
        [m3/s]; infinite when not known.
    wanted_flow : float or None
        [m3/s]
    """

    case: RamCase
    bounds: TuningBounds
    source_flow: float
    wanted_flow: float | None


def read_span(text: str | None, kind: str, field: str, now: tuple[float, float]) -> tuple[float, float]:
    """The ends of "4 mm..12 mm" in SI; one quantity is both; ``now`` when nothing was typed.

    Raises
    ------
    InputError
        An end cannot be read, or the first is the higher.
    """
    if text is None:
        return now
    ends = [parse(part, kind, field=field).value for part in text.split("..")]
    if len(ends) > 2 or ends[0] > ends[-1]:
        raise InputError(field, f'"{text}"', "it must be the lower end, two points and the higher end")
    return ends[0], ends[-1]


def asked_for(
    case: RamCase,
    source_flow: float,
    wanted_flow: float | None,
    stroke: str | None,
    mass: str | None,
    beats: str | None,
) -> Asked:
    """What is asked for, from spans as typed; a stroke or mass without one stays as it is.

    Raises
    ------
    InputError
        A span cannot be read, there is none, or nothing is delivered against.
    """
    if stroke is None and mass is None:
        raise InputError("--stroke and --mass", "(nothing)", "one of them must have room", 'Such as "4 mm..12 mm".')
    if case.line is None and case.vessel_head is None:
        raise InputError("--head", "(nothing)", "a tuning on a rig delivers against a head", 'Such as "12 m".')
    valve = case.build.waste_valve
    least_stroke, most_stroke = read_span(stroke, "small_length", "--stroke", (valve.stroke, valve.stroke))
    least_mass, most_mass = read_span(mass, "mass", "--mass", (valve.mass, valve.mass))
    slowest, fastest = read_span(beats, "beat_rate", "--beats", (0.0, math.inf))
    bounds = TuningBounds(least_stroke, most_stroke, least_mass, most_mass, slowest, fastest)
    at_point = replace(case, vessel_head=None) if case.line is not None else case
    return Asked(at_point, bounds, source_flow, wanted_flow)


def find_tunings(asked: Asked, progress: Progress) -> tuple[dict[str, Tuning], list[str]]:
    """The tuning that delivers most and the one that needs least water, by aim; a sentence for each not found."""
    works: dict[str, Callable[[Progress], Tuning]] = {
        "most delivered": lambda part: tune_for_delivery(asked.case, asked.bounds, asked.source_flow, progress=part)
    }
    wanted = asked.wanted_flow
    if wanted is None:
        works["least water a litre"] = lambda part: tune_for_efficiency(
            asked.case, asked.bounds, source_flow=asked.source_flow, progress=part
        )
    else:
        works["least water"] = lambda part: tune_for_least_water(
            asked.case, asked.bounds, wanted, source_flow=asked.source_flow, progress=part
        )
    found: dict[str, Tuning] = {}
    failures: list[str] = []
    for place, (aim, work) in enumerate(works.items()):
        try:
            found[aim] = work(share_of(progress, place, len(works)))
        except ModelError as error:
            failures.append(f"What {AIMS[aim]}: {error}")
    return found, failures


def edge_words(edge: StallEdge) -> str:
    """An edge in words: "17 % more mass: stalled open", "2.5 times the stroke: stalled open"."""
    if edge.share > 1.0:
        return f"{1.0 + edge.share:.1f} times the {edge.name}: {edge.state}"
    more = "more" if edge.share > 0.0 else "less"
    return f"{100.0 * abs(edge.share):.0f} % {more} {edge.name}: {edge.state}"


def tuning_lines(aim: str, tuning: Tuning, system: str) -> list[str]:
    """One tuning: its setting first, then its figures and how far it is from stalling."""
    stroke = format_quantity(tuning.stroke, "small_length", system)
    mass = format_quantity(tuning.mass, "mass", system)
    lines = [f"  What {AIMS[aim]}: a stroke of {stroke} and a moving mass of {mass}."]
    for name in _FIGURES:
        shown = figure(getattr(tuning.result, name), BEAT_KINDS[name], system)
        lines.append(f"    {figure_words(name):<24}{shown}")
    lines.append(f"      Caution: {CAUTIONS['peak_pressure'].words}")
    met = sorted((edge for edge in tuning.edges if edge.state), key=lambda edge: abs(math.log1p(edge.share)))
    margin = "; ".join(edge_words(edge) for edge in met)
    lines.append(
        f"    Margin to stalling: {margin}." if margin else "    No stall within a quarter to four times as much."
    )
    return lines


def tuning_json(aim: str, tuning: Tuning, system: str) -> dict[str, Any]:
    """The same as plain data."""
    found: dict[str, Any] = {"aim": aim}
    found |= keyed("stroke", tuning.stroke, "small_length", system) | keyed("mass", tuning.mass, "mass", system)
    edges = [
        {"input": edge.name, "state": edge.state, "share": edge.share}
        | keyed("value", edge.value, INPUT_KINDS[edge.name], system)
        for edge in tuning.edges
    ]
    nearest = None if tuning.nearest is None else tuning.edges.index(tuning.nearest)
    return found | {
        "beat": beat_json(tuning.result, system),
        "edges": edges,
        "nearest": nearest,
        "tried": len(tuning.tried),
    }
