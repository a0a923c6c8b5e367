"""The care card: what to do every so many beats and months, and through the year. Formats only."""

from __future__ import annotations

from clackwork.life.part_dates import PartDates
from clackwork.sheets.installation_sheet import symptom_rows
from clackwork.sheets.site_case import (
    MONTH_HEAD,
    SiteCase,
    capital,
    caution_fields,
    head_fields,
    head_words,
    month_rows,
)
from clackwork.sheets.typeset import Fields
from clackwork.site.care import MONTH, CareTask, care_plan
from clackwork.site.due import SECONDS_A_DAY
from clackwork.site.visit import PARTS

BESIDE = {"care_cautions": ("care", "beat_rate"), "pressure_cautions": ("dead_head", "peak_head", "rating_head")}
"""Section of the card to the figures in it."""
SYMPTOMS = ("less_water", "too_fast", "hammers", "slows", "drains_back", "stays_shut", "stays_open")
"""What may be seen as a pump wears."""


def care_fields(case: SiteCase) -> Fields:
    """All that the template prints."""
    words, choice = case.words, case.choice
    valve, promise = choice.build.waste_valve, choice.promise
    delivered, beside = case.daily(promise.daily_delivery)
    return {
        **head_fields(case, "care"),
        "words": {name: words(f"care.{name}") for name in ("runs", "tasks", "tasks_note", "months", "signs", "log")},
        "runs": [
            [words("part.beats"), case.range(promise.beat_rate, "beat_rate")],
            [words("part.stroke"), case.quantity(valve.stroke, "small_length")],
            [words("part.mass"), case.quantity(valve.mass, "mass")],
            [words("proposal.delivered"), f"{delivered} ({beside})" if beside else delivered],
        ],
        "tasks_head": head_words(case, "care", ("task", "every", "beats", "done")),
        "tasks": [
            [capital(words.known("task", task.id, task.words)), _interval(case, task), _beats(case, task), ""]
            for task in care_plan(choice)
        ],
        "whys": [words(f"care.why_{task.why}") for task in care_plan(choice) if task.why],
        "parts_words": _parts_words(case),
        "parts_head": head_words(case, "care", ("part", "lasts", "look_on", "renew_on")),
        "parts": [_part_row(case, one) for one in case.parts],
        "frost": words("care.frost", depth=case.quantity(case.survey.frost_depth, "length", figures=2))
        if case.survey.frost_depth > 0.0
        else "",
        "months_head": head_words(case, "months", MONTH_HEAD),
        "months": month_rows(case),
        "symptoms_head": head_words(case, "symptom", ("sign", "cause", "cure")),
        "symptoms": symptom_rows(case, SYMPTOMS),
        "log_head": head_words(case, "care", ("log_date", "log_beats", "log_what", "log_who")),
        "log": [[""] * 4 for _ in range(6)],
        **caution_fields(case, BESIDE, ["work_in_water", "frost"], others=("untreated_water",)),
    }


def _parts_words(case: SiteCase) -> dict[str, str]:
    """Title of the parts that wear, and the note under them."""
    if not case.parts:
        return {"title": "", "note": ""}
    words, first = case.words, case.parts[0]
    note = words(
        "care.parts_note",
        beats=words.number(float(f"{first.yearly_beats / 1e6:.2g}"), 2),
        share=words.number(100.0 * first.risk, 2),
    )
    if unseen := [one for one in case.parts if not one.parts]:
        names = ", ".join(dict.fromkeys(case.words.known("wears", one.part, PARTS[one.part]) for one in unseen))
        note = f"{note} {words('care.parts_unseen', parts=names)}"
    if any(not one.name for one in case.parts):
        note = f"{note} {words('care.parts_new')}"
    for said, parts in _assumed_of(case).items():
        note = f"{note} {words('care.parts_assumed', parts=', '.join(parts), said=said)}"
    return {"title": words("care.parts"), "note": note}


def _assumed_of(case: SiteCase) -> dict[str, list[str]]:
    """What the dates take for granted, each with the parts it is taken for."""
    found: dict[str, list[str]] = {}
    for one in case.parts:
        for reason in one.assumed:
            parts = found.setdefault(case.words.reason(reason, case.units), [])
            name = capital(case.words.known("wears", one.part, PARTS[one.part]))
            if name not in parts:
                parts.append(name)
    return found


def _months(case: SiteCase, months: float) -> str:
    """Months of two figures; under one to a tenth, and never none at all."""
    return case.words.number(max(float(f"{months:.2g}" if months >= 1.0 else f"{months:.1f}"), 0.1), 2)


def _part_row(case: SiteCase, one: PartDates) -> list[str]:
    """A part with its life in months and its dates."""
    low, middle, high = (_months(case, each) for each in one.months)
    lasts = case.words("care.part_lasts", middle=middle, low=low, high=high)
    return [capital(case.words.known("wears", one.part, PARTS[one.part])), lasts, str(one.look_on), str(one.renew_on)]


def _interval(case: SiteCase, task: CareTask) -> str:
    """Time between, in the unit people count it in."""
    if task.why == "fatigue":
        return case.quantity(task.interval, "duration", figures=2)
    if task.interval >= 0.9 * MONTH:
        return case.words("care.months_each", number=round(task.interval / MONTH))
    return case.words("care.days_each", number=round(task.interval / SECONDS_A_DAY))


def _beats(case: SiteCase, task: CareTask) -> str:
    """Beats of one pump in that time."""
    return case.words.number(float(f"{task.beats:.1e}")) if task.beats > 0.0 else case.words("number.not_known")
