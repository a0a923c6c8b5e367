"""A switch study in words and rows, the same on page and paper."""

from __future__ import annotations

from typing import Any

from clackwork.answers_text import range_words
from clackwork.cautions import cautions_beside, cautions_for
from clackwork.life.switching import PlaceVerdict
from clackwork.life.whole_study import WholeStudy
from clackwork.quantities import format_quantity, to_display, unit_label
from clackwork.site.site import Range
from clackwork.switch_report import (
    WARRANTY_MONTHS,
    care_lines,
    cost_words,
    counted,
    gain_words,
    knowing_lines,
    life_lines,
    likely_lines,
    retuned_lines,
    rule_words,
    verdict_sentence,
)
from clackwork.workbook_life import SwitchAsked

RULES_HEAD = ("Size", "What to do", "Customers", "Worth a year", "Cases that gain")
PLACES_HEAD = (
    *("Place", "Fall", "Build", "What it does", "Delivery, new less old", "Highest head, new less old"),
    *("Worth a year", "Trouble, of 100 cases, old and new"),
)
WARRANTY_HEAD = ("Warranty", "Claims a pump, old", "Reserve, old", "Claims a pump, new", "Reserve, new")
SERVICE_HEAD = (
    *("Place", "Old part: one lasts", "New part: one lasts", "Look at the new one every"),
    *("The part costs the customer a year", "A cubic metre lifted"),
)


def switch_words(found: WholeStudy, asked: SwitchAsked, currency: str, system: str) -> dict[str, Any]:
    """All that page and sheet show of a study, as plain data.

    Parameters
    ----------
    found : WholeStudy
    asked : SwitchAsked
    currency : str
        Empty where the workshop has no price list.
    system : {"metric", "us"}
    """
    study = found.study
    money = f" {currency}" if currency else ""
    customers = sum(one.number for one in study.places)
    switched = sum(one.number for one in study.places if one.switch)
    worth = study.worth
    return {
        "verdict": verdict_sentence(study, system),
        "chiefs": [
            ["Worth a year", f"{worth.middle:.0f}{money}", f"{worth.low:.0f} to {worth.high:.0f}, all customers together"],
            ["Get the new build", f"{counted(switched)} of {counted(customers)}", "customers"],
            ["To be told first", counted(study.told), "customers"],
        ],
        "everywhere": f"Switching everywhere: {study.always:.0f}{money} a year expected.",
        "rules_head": list(RULES_HEAD),
        "rules": [
            [
                one.size,
                rule_words(one, system),
                f"{counted(one.switched)} of {counted(one.places)}",
                f"{one.worth:.0f}{money}",
                gain_words(one) or "-",
            ]
            for one in study.rules
        ],
        "bars": [_bar(one, system) for one in sorted(study.places, key=lambda one: one.fall)],
        "bar_units": {"worth": currency, "delivery": unit_label("daily_volume_flow", system)},
        "places_head": list(PLACES_HEAD),
        "places": [_place_row(one, money, system) for one in sorted(study.places, key=lambda one: one.fall)],
        "lives": _sentences([*likely_lines(asked, system), *life_lines(found)]),
        "warranty_head": list(WARRANTY_HEAD),
        "warranty": _warranty_rows(found, money),
        "care": _sentences(line for line in care_lines(found, asked, money) if "warranty of" not in line),
        "service_head": list(SERVICE_HEAD),
        "service": _service_rows(found, money),
        "retuned": _sentences(retuned_lines(found, system)),
        "measure": _sentences(knowing_lines(found, money)),
        "water_cautions": [one.words for one in (*cautions_for("water_rights"), *cautions_beside("daily_delivery"))],
        "pressure_cautions": [one.words for one in cautions_beside("peak_head")],
        "tuning_cautions": [one.words for one in cautions_for("moving_valve")],
    }  # fmt: skip


def _sentences(lines: Any) -> list[str]:
    return [
        f"{line.strip()[:1].upper()}{line.strip()[1:]}" for line in lines if line.strip() and not line.endswith(":")
    ]


def _bar(one: PlaceVerdict, system: str) -> dict[str, Any]:
    """A place as the chart takes it, in the units of the page."""

    def ends(shown: Range, kind: str = "") -> list[float]:
        values = (shown.low, shown.middle, shown.high)
        return [to_display(value, kind, system) if kind else value for value in values]

    return {
        "place": one.place,
        "fall": format_quantity(one.fall, "head", system),
        "new": one.switch,
        "worth": ends(one.worth_change),
        "delivery": ends(one.delivery_change, "daily_volume_flow"),
    }


def _place_row(one: PlaceVerdict, money: str, system: str) -> list[str]:
    told = "; tell the customer first" if one.told else ""
    troubles = (("stalls", one.stalls), ("lacks water", one.lacks_water), ("over the rating", one.too_strong))
    chances = [
        f"{words} {100.0 * before:.0f}, {100.0 * after:.0f}"
        for words, (before, after) in troubles
        if max(before, after) >= 0.01
    ]
    return [
        one.place,
        format_quantity(one.fall, "head", system),
        "new" if one.switch else "old",
        f"{one.outcome}{told}",
        range_words(one.delivery_change, "daily_volume_flow", system),
        range_words(one.pressure_change, "head", system),
        f"{one.mean_worth_change:.0f}{money}",
        "; ".join(chances) or "none",
    ]


def _warranty_rows(found: WholeStudy, money: str) -> list[list[str]]:
    rows = []
    for months in WARRANTY_MONTHS:
        costs = [study.cost(months) for study in found.warranty]
        cells = [text for one in costs for text in (f"{one.claims_mean:.2f}", f"{one.reserve:.2f}{money}")]
        rows.append([f"{months} months", *cells])
    return rows


def _service_rows(found: WholeStudy, money: str) -> list[list[str]]:
    rows = []
    costs = {one.place: cost_words(one, money) for one in found.study.places}
    for old, new in found.service:
        lasts = [f"{one.years[1]:.2g} years ({one.years[0]:.2g} to {one.years[2]:.2g})" for one in (old, new)]
        rows.append([old.where, *lasts, f"{12.0 * new.look_every_years:.2g} months", *costs[old.where]])
    return rows
