"""Installation and first start for one site: setting out, pipes, start, tuning, bands to read against. Formats only."""

from __future__ import annotations

import math

from clackwork.sheets.site_case import (
    SiteCase,
    caution_fields,
    drawing_fields,
    head_fields,
    head_words,
    reason_fields,
)
from clackwork.sheets.typeset import Fields
from clackwork.site.first_start import (
    GALLON_BUCKETS,
    INTAKE_DEPTH,
    LITRE_BUCKETS,
    FirstStart,
    first_start,
    whole_length,
)
from clackwork.site.high_points import bury_depth
from clackwork.site.site import Range

BESIDE = {
    "before_cautions": ("installation", "water_needed", "water_there"),
    "pipe_cautions": ("rating_head", "peak_head", "pressure_margin", "air_vessel"),
    "start_cautions": ("dead_head", "beat_rate"),
}
"""Section of the sheet to the figures in it."""
SYMPTOMS = (
    "stays_shut", "stays_open", "not_settling", "delivers_nothing", "hammers", "vessel_air", "less_water", "too_fast",
)  # fmt: skip
"""What may be seen at a first start."""
TUNING_HINTS = ("rate_high", "rate_low", "waste_long", "delivery_long", "gauge_high", "gauge_low")
"""What a reading out of its band says, by reading."""
_MINUTE = 60.0
_TRIES = 3
"""Readings there is room for."""


def installation_fields(case: SiteCase) -> Fields:
    """All that the template prints."""
    words = case.words
    start = first_start(case.choice, buckets=LITRE_BUCKETS if case.units == "metric" else GALLON_BUCKETS)
    return {
        **head_fields(case, "installation"),
        "words": {
            name: words(f"installation.{name}")
            for name in (
                "before",
                "setting_out",
                "setting_out_note",
                "intake",
                "drive",
                "pump",
                "line",
                "start",
                "tuning",
                "bands",
                "bands_note",
                "hints",
                "out",
                "signed",
            )
        },
        "before": [words("installation.before_read"), words("installation.before_tools")],
        **reason_fields(case),
        "drawing": drawing_fields(case),
        "points_head": head_words(case, "points", ("what", "distance", "height")),
        "points": _points(case),
        "intake": _intake(case),
        "drive": _drive(case, start),
        "pump": _pump(case),
        "zones_head": head_words(case, "zones", ("from", "to", "pipe", "rating", "highest", "lowest", "margin")),
        "zones": _zones(case),
        "line": _line(case),
        "start": _start(case, start),
        "tuning": _tuning(case),
        "bands_head": [*head_words(case, "bands", ("reading", "promised", "band")), *map(str, range(1, _TRIES + 1))],
        "bands": [[*row, *[""] * _TRIES] for row in _bands(case, start)],
        "hints": [words(f"hint.{name}") for name in TUNING_HINTS],
        "symptoms_head": head_words(case, "symptom", ("sign", "cause", "cure")),
        "symptoms": symptom_rows(case, SYMPTOMS),
        **caution_fields(case, BESIDE, ["work_in_water", "pressure_test", "moving_valve"], others=("untreated_water",)),
    }


def symptom_rows(case: SiteCase, names: tuple[str, ...]) -> list[list[str]]:
    """Sign, causes and cure of each symptom."""
    return [[case.words(f"symptom.{name}.{part}") for part in ("sign", "cause", "cure")] for name in names]


def _points(case: SiteCase) -> list[list[str]]:
    """Points to peg out: distance from the pump along pipe or ground, height over the pump."""
    choice, words, survey = case.choice, case.words, case.survey
    fall = case.quantity(choice.site.fall, "length")
    drive = whole_length(choice.drive_pipe)
    rows = []
    if choice.feed is not None:
        rows.append([words("points.source"), case.length(drive + choice.feed.length), fall])
        rows.append([words("points.standpipe"), case.length(drive), fall])
    else:
        rows.append([words("points.source"), case.length(drive), fall])
    nothing = case.length(0.0)
    rows.append([words("points.pump"), nothing, nothing])
    way = survey.route.points[1:] if survey.route else ()
    for number, point in enumerate(way, 1):
        outlet = number == len(way)
        name = words("points.outlet") if outlet else words("points.on_the_way", number=number)
        rows.append(
            [f"{name}: {point.note}" if point.note else name, case.length(point.distance), case.length(point.height)]
        )
    if not way:
        line = choice.site.line
        rows.append([words("points.outlet"), case.length(line.length), case.length(line.lift)])
    return rows


def _intake(case: SiteCase) -> list[str]:
    """Mouth, screen, and what the water carries."""
    choice, words, survey = case.choice, case.words, case.survey
    pipe = words("part.supply_pipe" if choice.feed else "part.drive_pipe")
    lines = [
        words("installation.intake_depth", depth=case.quantity(INTAKE_DEPTH, "length", figures=2), pipe=pipe.lower()),
        words("installation.intake_screen"),
    ]
    lines += [words(f"installation.carries_{what}") for what in survey.carries]
    if survey.stream_keeps > 0.0:
        lines.append(words("installation.intake_keeps", flow=case.quantity(survey.stream_keeps, "volume_flow")))
    if choice.feed is not None:
        length, bore = case.length(choice.feed.length), case.quantity(choice.standpipe_diameter, "small_length")
        supply = words.pipe(choice.feed.pipe, case.units)
        lines.append(words("installation.standpipe", length=length, pipe=supply, bore=bore))
    return lines


def _drive(case: SiteCase, start: FirstStart) -> list[str]:
    """Lay, hold and rate the drive pipe."""
    choice, words = case.choice, case.words
    lines = [
        words(
            "installation.drive_lay",
            length=case.length(whole_length(choice.drive_pipe)),
            pipe=words.pipe(choice.drive_pipe.pipe, case.units),
            fall=case.quantity(choice.site.fall, "length"),
            slope=words.number(start.pipe_slope, 2),
        )
    ]
    if choice.pumps > 1:
        lines.append(words("installation.drive_each", number=choice.pumps))
    lines += [
        words("installation.drive_straight"),
        words(f"installation.anchor_{choice.drive_pipe.anchoring}"),
        words("installation.drive_force", force=case.quantity(start.pipe_force, "force", figures=2)),
        words(
            "installation.drive_rating",
            pressure=case.quantity(start.highest_pressure, "pressure_gauge"),
            rating=case.pressure(choice.promise.rating_head),
        ),
        words("installation.drive_valve"),
    ]
    return lines


def _pump(case: SiteCase) -> list[str]:
    """Footing, level, vessel and gauge."""
    choice, words = case.choice, case.words
    highest = max(choice.promise.peak_head.high, choice.promise.surge_head.high)
    return [
        words("installation.pump_footing"),
        words(
            "installation.pump_level",
            fall=case.quantity(choice.site.fall, "length"),
            lift=case.quantity(choice.site.line.lift, "length"),
        ),
        words("installation.pump_drain"),
        words("installation.pump_vessel", volume=case.quantity(choice.vessel_volume, "volume")),
        words("installation.pump_gauge", pressure=case.pressure(highest)),
    ]


def _zones(case: SiteCase) -> list[list[str]]:
    """Pipe of the delivery line by zone."""
    choice = case.choice
    return [
        [
            case.length(zone.start),
            case.length(zone.end),
            case.words.pipe(zone.pipe, case.units),
            case.pressure(zone.rating_head),
            case.pressure(zone.highest_head),
            case.pressure(zone.lowest_head),
            case.words.number(zone.margin, 2),
        ]
        for zone in choice.zones
    ]


def _line(case: SiteCase) -> list[str]:
    """Lay, vent, drain and bury the delivery line."""
    words, survey, marks = case.words, case.survey, case.marks
    line = case.choice.site.line
    lines = []
    if not case.choice.zones:
        pipe = words.pipe(line.pipe, case.units)
        lines.append(words("installation.line_one", length=case.length(line.length), pipe=pipe))
    lines.append(words("installation.line_rising"))
    for name, places in (("air", marks.air), ("drains", marks.drains)):
        if places:
            listed = words("number.then").join(case.length(place) for place in places)
            lines.append(words(f"installation.line_{name}", number=len(places), places=listed))
    if not marks.drains:
        lines.append(words("installation.line_drain_low"))
    if survey.frost_depth > 0.0:
        frozen, cover = (
            case.quantity(depth, "length", figures=2) for depth in (survey.frost_depth, bury_depth(survey.frost_depth))
        )
        lines.append(words("installation.line_frost", frozen=frozen, cover=cover))
    if line.pipe.plastic:
        lines.append(words("installation.line_sun"))
    lines.append(words("installation.line_outlet"))
    return lines


def _start(case: SiteCase, start: FirstStart) -> list[str]:
    """Priming and the first beats."""
    words = case.words
    pressure = case.quantity(start.start_pressure, "pressure_gauge", figures=2)
    steps = [
        words("start.flush"),
        words("start.throttle", pressure=pressure),
        words("start.by_hand"),
        words("start.open_slowly", pressure=pressure),
    ]
    if math.isfinite(start.line_filled.middle):
        volume = case.quantity(start.line_volume, "volume", figures=2)
        time = case.quantity(_MINUTE * math.ceil(start.line_filled.middle / _MINUTE), "duration", figures=2)
        steps.append(words("start.fill", volume=volume, time=time))
    if case.choice.pumps > 1:
        steps.append(words("start.one_by_one", number=case.choice.pumps))
    steps.append(words("start.settle"))
    return steps


def _tuning(case: SiteCase) -> list[list[str]]:
    """Stroke and weight, with the bands that hold."""
    choice, words = case.choice, case.words
    valve = choice.build.waste_valve
    return [
        [words("part.stroke"), _set_to(case, valve.stroke, choice.stroke_band, "small_length")],
        [words("part.mass"), _set_to(case, valve.mass, choice.mass_band, "mass")],
    ]


def _set_to(case: SiteCase, value: float, band: tuple[float, float], kind: str) -> str:
    """A setting and its band."""
    low, high = (case.quantity(end, kind) for end in band)
    return case.words("installation.set_to", value=case.quantity(value, kind), low=low, high=high)


def _bands(case: SiteCase, start: FirstStart) -> list[list[str]]:
    """Reading, what is promised, and its band."""
    words = case.words
    rows: list[tuple[str, Range, str]] = [
        (words("bands.beats"), start.beat_rate, "beat_rate"),
        (_bucket_words(case, "bands.waste", start.waste_bucket), start.waste_time, "duration"),
        (_bucket_words(case, "bands.delivery", start.delivery_bucket), start.delivery_time, "duration"),
        (words("bands.gauge"), start.vessel_pressure, "pressure_gauge"),
    ]
    return [[name, *words.split_range(shown, kind, case.units)] for name, shown, kind in rows]


def _bucket_words(case: SiteCase, key: str, volume: float) -> str:
    """The reading of a bucket, by its size."""
    return case.words(key, bucket=case.quantity(volume, "volume", figures=2))
