"""The sheet handed to a customer: what a build will do at a site. Formats only."""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterable, Mapping

import numpy as np
from numpy.typing import NDArray

from clackwork.answers_json import reason_words
from clackwork.cautions import CAUTIONS, cautions_beside
from clackwork.charts.promise_chart import beat_chart, elevation_chart
from clackwork.quantities import format_quantity, format_range
from clackwork.ram.parts import STANDARD_GRAVITY
from clackwork.sheets.typeset import Fields, compile_pdf, drawing
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
BESIDE = {
    "water_cautions": ("daily_delivery", "water_needed", "water_there"),
    "pressure_cautions": ("peak_head", "surge_head", "pressure_margin", "rating_head", "dead_head"),
    "running_cautions": ("beat_rate",),
}
"""Section of the sheet to the figures in it; each takes the cautions shown beside those figures."""
ALWAYS = ("peak_pressure",)
"""Shown whatever the promise lists: a pressure is never printed without it."""


def split_range(shown: Range, kind: str, system: str, *, scale: float = 1.0) -> tuple[str, str]:
    """Middle with its unit, and its range in words: ("2 100 L/day", "1 800 to 2 400")."""
    if not all(math.isfinite(value) for value in (shown.low, shown.middle, shown.high)):
        return "not known", ""
    if shown.low == shown.high == 0.0:
        return format_quantity(0.0, kind, system, figures=1), "in every case"
    text = format_range(shown.low / scale, shown.middle / scale, shown.high / scale, kind, system)
    middle, _, beside = text.rpartition(" (")
    return middle, beside.rstrip(")")


def range_words(shown: Range, kind: str, system: str, *, scale: float = 1.0) -> str:
    """Middle and range in one text: "14.2 L/min (12.1 to 16.8)"."""
    middle, beside = split_range(shown, kind, system, scale=scale)
    return f"{middle} ({beside})" if beside else middle


def sentence(words: str) -> str:
    """Words with a capital first and a full stop last."""
    return f"{words[:1].upper()}{words[1:]}" + ("" if words.endswith((".", "?", "!")) else ".")


def place_cautions(ids: Iterable[str]) -> Fields:
    """Words of the cautions by section, each once, those with no figure here under "other_cautions"."""
    left = list(dict.fromkeys([*ALWAYS, *ids]))
    placed: Fields = {}
    for section, figures in BESIDE.items():
        beside = {caution.id for figure in figures for caution in cautions_beside(figure)}
        placed[section] = [CAUTIONS[name].words for name in left if name in beside]
        left = [name for name in left if name not in beside]
    placed["other_cautions"] = [CAUTIONS[name].words if name in CAUTIONS else name for name in left]
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
        "reasons": [sentence(reason_words(reason, units)) for reason in promise.reasons],
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
    rows = [
        ["Delivered", range_words(promise.delivered_flow, "volume_flow", units)],
        ["Spilt at the waste valve", range_words(promise.waste_flow, "volume_flow", units)],
        [
            "Chance that the source gives enough",
            format_quantity(promise.share_enough_water, "fraction", figures=2),
        ],
    ]
    if site.wanted_flow is not None:
        rows.insert(0, ["Wanted", format_quantity(site.wanted_flow, "volume_flow", units)])
    return {
        "water_figures": [
            ["The pump needs", *split_range(promise.water_needed, "volume_flow", units)],
            ["The source gives", *split_range(promise.water_there, "volume_flow", units)],
        ],
        "water": rows,
    }


def _pressure(promise: Promise, site: Site, units: str) -> Fields:
    """Highest pressures against the pipe's rating."""
    surroundings = site.surroundings
    unit_weight = water_at(surroundings.temperature, surroundings.altitude).density * STANDARD_GRAVITY
    peak = Range(
        *(unit_weight * head for head in (promise.peak_head.low, promise.peak_head.middle, promise.peak_head.high))
    )
    surge = Range(
        *(unit_weight * h for h in (promise.surge_head.low, promise.surge_head.middle, promise.surge_head.high))
    )
    rating = format_quantity(unit_weight * promise.rating_head, "pressure_gauge", units)
    margin = promise.pressure_margin
    ratio = f"{margin:.1f}" if math.isfinite(margin) else "more than any"
    verdict = "the pipe is too weak" if margin < 1.0 else "at the high end of the range"
    return {
        "pressure_figures": [
            ["Highest at each beat", *split_range(peak, "pressure_gauge", units)],
            ["If the delivery valve came late", *split_range(surge, "pressure_gauge", units)],
            ["The drive pipe is rated for", rating, ""],
        ],
        "pressure": [
            [
                "As heights of water",
                f"{range_words(promise.peak_head, 'head', units)} at each beat, "
                f"{range_words(promise.surge_head, 'head', units)} if the valve came late, "
                f"rated for {format_quantity(promise.rating_head, 'head', units)}",
            ],
            ["Rating over the highest of both", f"{ratio} times, {verdict}"],
        ],
    }


def _heights(site: Site, units: str) -> list[list[str]]:
    """Fall, and the lift told from both ends."""
    lift = site.line.lift
    return [
        ["Fall, source down to pump", format_quantity(site.fall, "head", units)],
        ["Lift, pump up to outlet", format_quantity(lift, "head", units)],
        ["Lift, source up to outlet", format_quantity(lift - site.fall, "head", units)],
        [
            "Drive pipe",
            f"{format_quantity(site.drive_pipe.length, 'length', units)} of {site.drive_pipe.pipe.material} "
            f"{site.drive_pipe.pipe.size}",
        ],
        [
            "Delivery pipe",
            f"{format_quantity(site.line.length, 'length', units)} of {site.line.pipe.material} {site.line.pipe.size}",
        ],
    ]


def _running(promise: Promise, units: str) -> list[list[str]]:
    """Beats, efficiencies by name, how near the valve is to standing open."""
    shares = ", ".join(
        f"{state} {format_quantity(share, 'fraction', figures=2)}"
        for state, share in sorted(promise.state_shares.items(), key=lambda item: -item[1])
    )
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
        ["State, over all draws", shares or "not known"],
    ]


def _assumed(promise: Promise, site: Site, units: str) -> list[list[str]]:
    """What the figures rest on."""
    surroundings, drive = site.surroundings, site.drive_pipe
    return [
        ["Water temperature", format_quantity(surroundings.temperature, "temperature", units)],
        [
            "Altitude",
            format_quantity(surroundings.altitude, "length", units) if surroundings.altitude else "sea level",
        ],
        [
            "Fall known to",
            f"± {format_quantity(site.fall_spread, 'head', units, figures=2)} (standard uncertainty)",
        ],
        [
            "Lift known to",
            f"± {format_quantity(site.lift_spread, 'head', units, figures=2)} (standard uncertainty)",
        ],
        [
            "Source known to",
            f"± {format_quantity(site.source_flow_spread, 'volume_flow', units, figures=2)} (standard uncertainty)",
        ],
        [
            "Drive pipe",
            f"bore {format_quantity(drive.pipe.bore, 'small_length', units)}, {drive.pipe.standard}, "
            f"held at: {drive.anchoring}, loss at its mouth {drive.entry_loss:g} velocity heads",
        ],
        [
            "Delivery pipe",
            f"bore {format_quantity(site.line.pipe.bore, 'small_length', units)}, "
            f"{site.line.pipe.standard}, fittings {site.line.fittings_loss:g} velocity heads",
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
