"""The as-built record: what is designed, and room beside it for what stands there. Formats only."""

from __future__ import annotations

from clackwork.sheets.installation_sheet import installation_fields
from clackwork.sheets.site_case import SiteCase, caution_fields, drawing_fields, head_fields, head_words
from clackwork.sheets.typeset import Fields
from clackwork.site.first_start import whole_length

BESIDE = {"pressure_cautions": ("peak_head", "rating_head", "dead_head"), "running_cautions": ("beat_rate",)}
"""Section of the form to the figures in it."""


def as_built_fields(case: SiteCase) -> Fields:
    """All that the template prints."""
    words = case.words
    bands = installation_fields(case)
    return {
        **head_fields(case, "as_built"),
        "words": {
            name: words(f"as_built.{name}")
            for name in ("lead", "stands", "readings", "readings_note", "remarks", "photographs", "signed")
        },
        "rows_head": head_words(case, "as_built", ("what", "designed", "built")),
        "rows": [[*row, ""] for row in _rows(case)],
        "bands_head": bands["bands_head"],
        "bands": bands["bands"],
        "photographs": [
            words(f"photograph.{name}") for name in ("source", "intake", "pump", "line", "outlet", "marks")
        ],
        "signed": head_words(case, "as_built", ("installer", "customer", "date")),
        "drawing": drawing_fields(case),
        **caution_fields(case, BESIDE, others=()),
    }


def _rows(case: SiteCase) -> list[list[str]]:
    """Part and design."""
    choice, words, survey = case.choice, case.words, case.survey
    valve = choice.build.waste_valve
    rows = [
        [words("part.pump"), case.pump],
        [words("survey.fall"), case.quantity(choice.site.fall, "length")],
        [words("survey.lift"), case.quantity(choice.site.line.lift, "length")],
        [words("part.drive_pipe"), case.pipe_length(whole_length(choice.drive_pipe), choice.drive_pipe.pipe)],
        [words("part.anchoring"), words(f"anchoring.{choice.drive_pipe.anchoring}")],
    ]
    if choice.feed is not None:
        rows += [
            [words("part.supply_pipe"), case.pipe_length(choice.feed.length, choice.feed.pipe)],
            [
                words("part.standpipe"),
                words("part.bore", bore=case.quantity(choice.standpipe_diameter, "small_length")),
            ],
        ]
    zones = [(z.pipe, z.start, z.end) for z in choice.zones] or [(choice.site.line.pipe, 0.0, choice.site.line.length)]
    for pipe, start, end in zones:
        zone = words("number.from_to", low=case.length(start), high=case.length(end))
        rows.append([f"{words('part.delivery_pipe')}, {zone}", words.pipe(pipe, case.units)])
    for name, places in (("air_valve", case.marks.air), ("drain", case.marks.drains)):
        rows += [[words(f"as_built.{name}"), case.length(place)] for place in places]
    rows += [
        [words("part.stroke"), case.quantity(valve.stroke, "small_length")],
        [words("part.mass"), case.quantity(valve.mass, "mass")],
        [words("part.vessel"), case.quantity(choice.build.air_vessel.volume, "volume")],
        [words("part.tank"), case.quantity(choice.tank_volume, "volume") if choice.tank_volume is not None else ""],
        [words("survey.source"), case.quantity(min(reading.flow.value for reading in survey.source), "volume_flow")],
    ]
    return rows
