"""The sheet handed to a customer: what a build will do at a site. Formats only."""

from __future__ import annotations

import datetime
import math
from collections.abc import Callable, Iterable, Mapping

import numpy as np
from numpy.typing import NDArray

from clackwork.answers_json import reason_words
from clackwork.answers_text import range_words, split_range
from clackwork.cautions import CAUTIONS, cautions_beside
from clackwork.charts.promise_chart import beat_chart, elevation_chart
from clackwork.pipes import Pipe
from clackwork.quantities import format_quantity
from clackwork.ram.parts import STANDARD_GRAVITY
from clackwork.sheets.typeset import Fields, compile_pdf, drawing, sentence
from clackwork.site.site import Promise, Range, Site
from clackwork.water import water_at

Trace = Mapping[str, NDArray[np.float64]]
DAY = 86400.0
ANSWERS = {
    "yes": "Yes, this pump suits this site.",
    "only if": "Yes, but only if what is said below is done.",
    "no": "No, not as it stands.",
}
REASON_TITLES = {"yes": "Why", "only if": "Only if", "no": "Why not"}
HELD = {
    "throughout": "held along its whole length",
    "one_end": "held at its upper end",
    "joints": "free to move at its joints",
}
"""How a drive pipe is held, in words."""
BESIDE = {
    "water_cautions": ("daily_delivery", "water_needed", "water_there"),
    "pressure_cautions": ("peak_head", "surge_head", "pressure_margin", "rating_head", "dead_head"),
    "running_cautions": ("beat_rate",),
}
"""Section of the sheet to the figures in it; each takes the cautions shown beside those figures."""
ALWAYS = ("peak_pressure",)
"""Shown whatever the promise lists: a pressure is never printed without it."""


def caution_words(id: str) -> str:
    """Words of a caution; its id when there is none."""
    return CAUTIONS[id].words if id in CAUTIONS else id


def place_cautions(
    ids: Iterable[str],
    sections: Mapping[str, tuple[str, ...]] = BESIDE,
    words: Callable[[str], str] = caution_words,
) -> Fields:
    """Words of the cautions by section of a sheet, each once, those with no figure there under "other_cautions".

    Parameters
    ----------
    ids : iterable of str
    sections : mapping of str to tuple of str, optional
        Section to the figures in it.
    words : callable, optional
        Gives a caution's words in the language of the sheet.
    """
    left = list(dict.fromkeys([*ALWAYS, *ids]))
    placed: Fields = {}
    for section, figures in sections.items():
        beside = {caution.id for figure in figures for caution in cautions_beside(figure)}
        placed[section] = [words(name) for name in left if name in beside]
        left = [name for name in left if name not in beside]
    placed["other_cautions"] = [words(name) for name in left]
    return placed


def promise_fields(promise: Promise, site: Site, trace: Trace | None, *, units: str, date: datetime.date) -> Fields:
    """All that the template prints.

    Parameters
    ----------
    promise : Promise
    site : Site
        The place promised for.
    trace : mapping of str to float64[rows], or None
        A run of the pump there, for the picture of one beat.
    units : {"metric", "us"}
    date : datetime.date
    """
    middle, beside = split_range(promise.daily_delivery, "daily_volume_flow", units, scale=DAY)
    return {
        "title": f"Water at {promise.site}",
        "subtitle": f"Pump {promise.build}. {date.isoformat()}.",
        "footer": f"{promise.site}, pump {promise.build}, {date.isoformat()}",
        "answer": ANSWERS.get(promise.answer, promise.answer),
        "delivery": ["Delivered a day", middle, beside],
        "reasons_title": REASON_TITLES.get(promise.answer, "Why"),
        "reasons": [sentence(reason_words(one, units)) for one in promise.reasons if one.hardness != "note"],
        "notes": [sentence(reason_words(one, units)) for one in promise.reasons if one.hardness == "note"],
        **_water(promise, site, units),
        **_pressure(promise, site, units),
        "heights": _heights(site, units),
        "elevation": drawing(elevation_chart(site, system=units)),
        "running": _running(promise, units),
        "beat": None if trace is None else drawing(beat_chart(trace, name=promise.site, system=units)),
        "assumed": _assumed(promise, site, units),
        **place_cautions(promise.cautions),
    }


def _water(promise: Promise, site: Site, units: str) -> Fields:
    """Water needed against water there."""
    rows = [["Delivered", range_words(promise.delivered_flow, "volume_flow", units)]]
    if promise.is_beating:
        rows.append(["Spilt at the waste valve", range_words(promise.waste_flow, "volume_flow", units)])
        rows.append(["Chance that the source gives enough", f"{100.0 * promise.share_enough_water:.0f} %"])
    if site.wanted_flow is not None:
        rows.insert(0, ["Wanted", format_quantity(site.wanted_flow, "daily_volume_flow", units)])
    drawn = "The pump needs" if promise.is_beating else "Runs to waste"
    return {
        "water_figures": [
            [drawn, *split_range(promise.water_needed, "volume_flow", units)],
            ["The source gives", *split_range(promise.water_there, "volume_flow", units)],
        ],
        "water": rows,
    }


def _pressure(promise: Promise, site: Site, units: str) -> Fields:
    """Highest pressures against the pipe's rating; a pump that does not beat has no peak of a beat."""
    surroundings = site.surroundings
    unit_weight = water_at(surroundings.temperature, surroundings.altitude).density * STANDARD_GRAVITY
    heads = [("If the waste valve is shut by hand", promise.surge_head)]
    if promise.is_beating:
        heads = [("Highest at each beat", promise.peak_head), ("If the delivery valve came late", promise.surge_head)]
    rated, rating = "The drive pipe is rated for", promise.rating_head
    margin = promise.pressure_margin
    ratio = f"{margin:.1f}" if math.isfinite(margin) else "more than any"
    verdict = "the pipe is too weak" if margin < 1.0 else "at the high end of the range"
    return {
        "pressure_figures": [
            *([words, *split_range(_scaled(head, unit_weight), "pressure_gauge", units)] for words, head in heads),
            [rated, format_quantity(unit_weight * rating, "pressure_gauge", units), ""],
        ],
        "pressure": [
            *([words, f"{range_words(head, 'head', units)} of water"] for words, head in heads),
            [rated, f"{format_quantity(rating, 'head', units)} of water"],
            ["Rating over the highest", f"{ratio} times, {verdict}"],
        ],
    }


def _scaled(shown: Range, factor: float) -> Range:
    """A range times a factor."""
    return Range(factor * shown.low, factor * shown.middle, factor * shown.high)


def _pipe_words(length: float, pipe: Pipe, units: str) -> str:
    """Length, size and material: "18.0 m of 1 in steel"."""
    return f"{format_quantity(length, 'length', units)} of {pipe.size} {pipe.material}"


def _bore_words(pipe: Pipe, units: str) -> str:
    """Bore and the standard it is made to, if any: "bore 26.6 mm, ASME B36.10M"."""
    bore = f"bore {format_quantity(pipe.bore, 'small_length', units)}"
    return bore if pipe.series == "custom" else f"{bore}, {pipe.standard}"


def _heights(site: Site, units: str) -> list[list[str]]:
    """Fall, and the lift told from both ends."""
    lift = site.line.lift
    return [
        ["Fall, source down to pump", format_quantity(site.fall, "head", units)],
        ["Lift, pump up to outlet", format_quantity(lift, "head", units)],
        ["Lift, source up to outlet", format_quantity(lift - site.fall, "head", units)],
        ["Drive pipe", _pipe_words(site.drive_pipe.length, site.drive_pipe.pipe, units)],
        ["Delivery pipe", _pipe_words(site.line.length, site.line.pipe, units)],
    ]


def _running(promise: Promise, units: str) -> list[list[str]]:
    """Beats, efficiencies by name, how near the valve is to standing open."""
    shares = ", ".join(
        f"{state} {100.0 * share:.3g} %"
        for state, share in sorted(promise.state_shares.items(), key=lambda item: -item[1])
    )
    state = ["State, over all draws", shares or "not known"]
    if not promise.is_beating:
        return [state]
    return [
        ["Beats", range_words(promise.beat_rate, "beat_rate", units)],
        [
            "d'Aubuisson efficiency",
            f"{range_words(promise.daubuisson_efficiency, 'fraction', units)}; delivered × lift / (drawn × fall)",
        ],
        [
            "Rankine efficiency",
            f"{range_words(promise.rankine_efficiency, 'fraction', units)}; "
            "delivered × rise above source / (spilt × fall)",
        ],
        ["Height held in the air vessel", range_words(promise.vessel_head, "head", units)],
        ["Closing velocity over the steady one", f"{promise.stall_margin:.2f} (at 1 the valve stands open)"],
        state,
    ]


def _assumed(promise: Promise, site: Site, units: str) -> list[list[str]]:
    """What the figures rest on."""
    surroundings, drive = site.surroundings, site.drive_pipe

    def sure(name: str, spread: float, kind: str) -> str:
        given = "; no limits given: assumed" if name in site.told else ""
        return f"± {format_quantity(spread, kind, units, figures=2)} (standard uncertainty{given})"

    return [
        ["Water temperature", format_quantity(surroundings.temperature, "temperature", units)],
        [
            "Altitude",
            format_quantity(surroundings.altitude, "length", units) if surroundings.altitude else "sea level",
        ],
        ["Fall known to", sure("fall", site.fall_spread, "head")],
        ["Lift known to", sure("lift", site.lift_spread, "head")],
        ["Source known to", sure("source flow", site.source_flow_spread, "volume_flow")],
        [
            "Drive pipe",
            f"{_bore_words(drive.pipe, units)}, {HELD[drive.anchoring]}, "
            f"loss at its mouth {drive.entry_loss:g} velocity heads",
        ],
        [
            "Delivery pipe",
            f"{_bore_words(site.line.pipe, units)}, fittings {site.line.fittings_loss:g} velocity heads",
        ],
        ["Ranges", f"5 % to 95 % of {promise.draws} draws (seed {promise.seed})"],
    ]


def promise_pdf(
    promise: Promise,
    site: Site,
    *,
    trace: Trace | None = None,
    units: str = "metric",
    paper: str = "a4",
    date: datetime.date,
) -> bytes:
    """The customer's sheet as PDF."""
    fields = promise_fields(promise, site, trace, units=units, date=date)
    return compile_pdf("promise.typ", fields, paper=paper, date=date)
