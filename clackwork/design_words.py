"""A designed site in words: answer, choices side by side, pipes, months, costs; the page and the API show the same."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from clackwork.answers_json import reason_words
from clackwork.answers_text import range_words, split_range
from clackwork.bench.gum import Estimate
from clackwork.cautions import CAUTIONS, cautions_beside
from clackwork.charts.site_charts import MONTHS
from clackwork.pipes import Pipe
from clackwork.quantities import format_quantity, format_with_uncertainty
from clackwork.sheets.typeset import sentence
from clackwork.site.design import Assumed, Choice, Design, FatigueLaw, MonthPlan, PipeCheck
from clackwork.site.needs import Needs
from clackwork.site.prices import Quotation
from clackwork.site.site import Range, Reason
from clackwork.site.source_flow import driest
from clackwork.site.storage import TankYear
from clackwork.site.survey import Survey
from clackwork.site.told import ASSUMED, TOLD_WORDS, is_assumed
from clackwork.words import load_words

DAY = 86400.0
ANSWERS = {"yes": "Yes", "only if": "Only if", "no": "No"}
BEST_FOR = {"delivery": "most water", "least_water": "least water from the source", "cost": "lowest cost"}
"""What a choice is best for, in words."""
READINGS = {
    "fall": "the fall",
    "lift": "the lift",
    "source flow": "what the source gives",
    "line length": "the length of the delivery line",
    "pump": "the pump itself, which only more runs at the bench would narrow",
}
"""What brings spread to a promise, in words."""
FIRST, PRESSURES, RUNNING = (
    ("daily_delivery", "water_needed", "water_there"),
    ("peak_head", "surge_head", "pressure_margin", "rating_head"),
    ("beat_rate",),
)
"""Figures of the sections of the page; each takes the cautions shown beside them."""


@dataclass(frozen=True)
class Shown:
    """A figure as a page shows it: its name, its value, what belongs beside it."""

    name: str
    value: str
    beside: str = ""


def ranged(name: str, shown: Range, kind: str, units: str, *, scale: float = 1.0) -> Shown:
    """A range as a figure with its ends beside it."""
    return Shown(name, *split_range(shown, kind, units, scale=scale))


def daily(name: str, volume: float, units: str) -> Shown:
    """A volume a day [m3]."""
    return Shown(name, format_quantity(volume / DAY, "daily_volume_flow", units))


def pipe_words(pipe: Pipe, units: str) -> str:
    """Size and kind of a pipe, as papers call it: "1 in steel schedule 40"."""
    return load_words("en").pipe(pipe, units)


def cautions_by(figures: Iterable[str], ids: Sequence[str], said: set[str]) -> list[str]:
    """Words of the cautions among ``ids`` that stand beside figures, each once on a page."""
    found = []
    for one in figures:
        for caution in cautions_beside(one):
            if caution.id in ids and caution.id not in said:
                said.add(caution.id)
                found.append(caution.words)
    return found


def reason_lines(reasons: Iterable[Reason], units: str, *, notes: bool) -> list[str]:
    """Reasons in words: those that decide, or those that are only to be known."""
    return [sentence(reason_words(one, units)) for one in reasons if (one.hardness == "note") == notes]


def lead_words(choice: Choice, units: str) -> str:
    """A choice in a sentence: "2 flap pumps, each on 18 m of 1 in steel"."""
    pumps = f"1 {choice.twin_name} pump" if choice.pumps == 1 else f"{choice.pumps} {choice.twin_name} pumps, each"
    length = format_quantity(choice.drive_pipe.length, "length", units)
    words = f"{pumps} on {length} of {pipe_words(choice.drive_pipe.pipe, units)}"
    if choice.feed is not None:
        supply = format_quantity(choice.feed.length, "length", units)
        words += f", from a standpipe fed by {supply} of {pipe_words(choice.feed.pipe, units)}"
    return words


def best_words(choice: Choice) -> str:
    """What a choice is best for; a middle way is best for nothing."""
    return "Best for " + " and ".join(BEST_FOR[one] for one in choice.best_for) if choice.best_for else "A middle way"


def chief_figures(choice: Choice, units: str) -> list[Shown]:
    """The figures of the answer, the first one large."""
    promise = choice.promise
    shown = [
        ranged("Delivered a day", promise.daily_delivery, "daily_volume_flow", units, scale=DAY),
        ranged("Drawn from the source", promise.water_needed, "volume_flow", units),
        ranged("The source gives, when driest", promise.water_there, "volume_flow", units),
    ]
    if choice.site.wanted_flow is not None:
        shown.insert(1, Shown("Wanted", format_quantity(choice.site.wanted_flow, "daily_volume_flow", units)))
    if choice.tank_volume is not None:
        shown.append(Shown("Tank", format_quantity(choice.tank_volume, "volume", units), "at least"))
    return shown


def choice_rows(design: Design, units: str) -> list[tuple[str, list[str]]]:
    """Choices side by side: a row of words for each thing that may differ."""
    rows: list[tuple[str, list[str]]] = []

    def add(label: str, cells: Iterable[str]) -> None:
        said = list(cells)
        if any(said):
            rows.append((label, said))

    choices = design.choices
    add("Answer", (ANSWERS[one.promise.answer] for one in choices))
    add("Delivered a day", (_ranged(one.promise.daily_delivery, "daily_volume_flow", units, DAY) for one in choices))
    add("Drawn from the source", (_ranged(one.promise.water_needed, "volume_flow", units) for one in choices))
    add("Price", (_price(one.quotation) for one in choices))
    add("Cost of water", (_per_volume(one.quotation, units) for one in choices))
    add("Pumps", (f"{one.pumps} × {one.twin_name}" for one in choices))
    add("Stroke", (_tuned(one.build.waste_valve.stroke, one.stroke_band, "small_length", units) for one in choices))
    add("Moving mass", (_tuned(one.build.waste_valve.mass, one.mass_band, "mass", units) for one in choices))
    add("Beats", (_ranged(one.promise.beat_rate, "beat_rate", units) for one in choices))
    add("Drive pipe", (_length(one.drive_pipe.length, one.drive_pipe.pipe, units) for one in choices))
    add("Standpipe and supply pipe", (_feed_words(one, units) for one in choices))
    add("Delivery line", (_line_words(one, units) for one in choices))
    add("Highest head in the pump", (_ranged(one.promise.peak_head, "head", units) for one in choices))
    add("If the delivery valve came late", (_ranged(one.promise.surge_head, "head", units) for one in choices))
    add("Air vessel, at least", (format_quantity(one.vessel_volume, "volume", units) for one in choices))
    add("Tank, at least", (_tank(one, units) for one in choices))
    return rows


def _ranged(shown: Range, kind: str, units: str, scale: float = 1.0) -> str:
    return range_words(shown, kind, units, scale=scale)


def _tuned(value: float, band: tuple[float, float], kind: str, units: str) -> str:
    low, high = (format_quantity(end, kind, units) for end in band)
    return f"{format_quantity(value, kind, units)} ({low} to {high})"


def _length(length: float, pipe: Pipe, units: str) -> str:
    return f"{format_quantity(length, 'length', units)} of {pipe_words(pipe, units)}"


def _feed_words(choice: Choice, units: str) -> str:
    if choice.feed is None:
        return ""
    diameter = format_quantity(choice.standpipe_diameter, "small_length", units)
    return f"{_length(choice.feed.length, choice.feed.pipe, units)} into a standpipe {diameter} across"


def _line_words(choice: Choice, units: str) -> str:
    """The delivery line by stretches of one pipe."""
    return "; ".join(_length(zone.end - zone.start, zone.pipe, units) for zone in choice.zones)


def _tank(choice: Choice, units: str) -> str:
    return "" if choice.tank_volume is None else format_quantity(choice.tank_volume, "volume", units)


def money(amount: float, currency: str) -> str:
    """An amount of money: "1 240 EUR", "0.34 EUR"."""
    shown = f"{amount:,.0f}" if abs(amount) >= 100.0 else f"{amount:,.2f}"
    return " ".join((shown.replace(",", "\u00a0"), currency)).strip()


def _price(quotation: Quotation | None) -> str:
    if quotation is None:
        return ""
    return money(quotation.price, quotation.currency) + (" and what has no price" if quotation.missing else "")


def per_volume_words(cost: float, currency: str, units: str) -> str:
    """Cost of water by the cubic metre, or by the thousand US gallons."""
    if units == "us":
        return f"{money(cost * 3.785411784, currency)} per 1000 gal"  # 231 cubic inches, NIST Handbook 44, appendix C
    return f"{money(cost, currency)} per m³"


def _per_volume(quotation: Quotation | None, units: str) -> str:
    return "" if quotation is None else per_volume_words(quotation.per_volume, quotation.currency, units)


def pressure_figures(choice: Choice, units: str) -> list[Shown]:
    """Highest heads against the rating of the drive pipe."""
    promise = choice.promise
    heads = [("If the waste valve is shut by hand", promise.surge_head)]
    if promise.is_beating:
        heads = [("Highest at each beat", promise.peak_head), ("If the delivery valve came late", promise.surge_head)]
    rated = format_quantity(promise.rating_head, "head", units)
    margin = f"{promise.pressure_margin:.1f} times the highest"
    return [*(ranged(name, head, "head", units) for name, head in heads), Shown("The drive pipe bears", rated, margin)]


CHECKS_HEAD = ("Pipe", "Highest", "Lowest", "Swing at each beat", "Bears", "Margin")


def check_rows(choice: Choice, units: str) -> list[list[str]]:
    """Every pipe against what it bears."""
    return [
        [
            f"{where_words(one, units)}: {pipe_words(one.pipe, units)}",
            format_quantity(one.highest_head, "head", units),
            format_quantity(one.lowest_head, "head", units),
            format_quantity(one.swing_head, "head", units),
            format_quantity(one.rating_head, "head", units),
            f"{one.rating_head / one.highest_head:.1f}" if one.highest_head > 0.0 else "-",
        ]
        for one in choice.checks
    ]


def check_reasons(choice: Choice, units: str) -> list[str]:
    """What the checks found, pipe by pipe."""
    return [
        f"{where_words(one, units)}: {reason_words(reason, units)}." for one in choice.checks for reason in one.reasons
    ]


def where_words(check: PipeCheck, units: str) -> str:
    """Where a pipe lies: "Delivery line, 0 to 60 m"."""
    if check.stretch is None:
        return _capital(check.where)
    start, end = (format_quantity(one, "length", units, figures=3 if one else 1) for one in check.stretch)
    return f"{_capital(check.where)}, {start} to {end}"


def fatigue_lines(choice: Choice, units: str) -> list[dict[str, Any]]:
    """What the laws of fatigue say of each plastic pipe: the span between them, the safe one first."""
    return [_fatigue(one, units) for one in choice.checks if one.fatigue]


def _fatigue(check: PipeCheck, units: str) -> dict[str, Any]:
    laws = sorted(check.fatigue, key=lambda law: law.years)
    known = [law for law in laws if not law.at_least]
    if not known:
        words = "No law is known for it, only a test that ended without a failure."
    elif len(known) == 1:
        words = f"One law gives {years_words(known[0].years)}."
    else:
        low, high = (years_words(law.years) for law in (known[0], known[-1]))
        words = f"The published laws disagree: {low} to {high}. The shortest is the safe one to count on."
    return {
        "where": where_words(check, units),
        "words": words,
        "laws": [(law.law, _law_years(law), _millions(law.cycles), law.inside, law.source) for law in laws],
    }


def _millions(cycles: float) -> str:
    """A number of beats: "4.2 million", "2 480 million"."""
    millions = cycles / 1e6
    return f"{millions:,.0f} million".replace(",", "\u00a0") if millions >= 100.0 else f"{millions:.2g} million"


def _law_years(law: FatigueLaw) -> str:
    """What a law says; a test that ended without a failure says only that much at least."""
    return f"{'at least ' if law.at_least else ''}{years_words(law.years)}"


def years_words(years: float) -> str:
    """A time to failure: "6.5 years", "more than 1000 years"."""
    if years >= 1000.0:
        return "more than 1000 years"
    return f"{years:.2g} years" if years < 10.0 else f"{years:.0f} years"


MONTHS_HEAD = ("Month", "The source gives", "Do", "Stroke", "Mass", "Drawn", "Delivered a day", "Needed a day")


def month_rows(choice: Choice, units: str) -> list[list[str]]:
    """What to do month by month."""
    return [_month(one, units) for one in choice.months]


def _month(plan: MonthPlan, units: str) -> list[str]:
    runs = plan.pumps > 0
    return [
        MONTHS[plan.month - 1],
        format_quantity(plan.source_flow, "volume_flow", units),
        plan.words if plan.pumps == 1 or not runs else f"{plan.words} ({plan.pumps} run)",
        format_quantity(plan.stroke, "small_length", units) if runs else "-",
        format_quantity(plan.mass, "mass", units) if runs else "-",
        format_quantity(plan.water_drawn, "volume_flow", units) if runs else "-",
        format_quantity(plan.delivered_daily / DAY, "daily_volume_flow", units),
        format_quantity(plan.needed_daily / DAY, "daily_volume_flow", units),
    ]


RULES_HEAD = ("About", "Author", "The rule", "Here")


def rule_rows(choice: Choice, units: str) -> list[list[str]]:
    """Rules of thumb, each beside what the engine chose."""
    here = {
        "drive pipe length": (choice.drive_pipe.length, "length"),
        "beats a minute": (choice.promise.beat_rate.middle, "beat_rate"),
        "beat rate": (choice.promise.beat_rate.middle, "beat_rate"),
    }
    rows = []
    for rule in choice.rules:
        low, high = (format_quantity(end, rule.kind, units) for end in (rule.low, rule.high))
        value = format_quantity(*here[rule.topic], units) if rule.topic in here else ""
        rows.append([_capital(rule.topic), rule.author, low if low == high else f"{low} to {high}", value])
    return rows


def quotation_words(quotation: Quotation, units: str) -> dict[str, Any]:
    """A quotation: its lines, its sum, the cost of water beside other ways to it."""
    currency = quotation.currency
    return {
        "lines": [
            [
                one.name,
                f"{one.amount:g} {one.unit}",
                "no price" if one.price is None else money(one.price, currency),
                "-" if one.price is None else money(one.cost, currency),
            ]
            for one in quotation.lines
        ],
        "cost": money(quotation.cost, currency),
        "price": money(quotation.price, currency),
        "missing": list(quotation.missing),
        "yearly": money(quotation.yearly, currency),
        "per_volume": per_volume_words(quotation.per_volume, currency, units),
        "alternatives": [(one.name, per_volume_words(cost, currency, units)) for one, cost in quotation.alternatives],
    }


def again_lines(design: Design) -> list[str]:
    """Which readings bring most of the promise's spread: what to measure again first."""
    return [
        f"{READINGS.get(name, name)}: {100.0 * share:.0f} % of the spread"
        f"{f'; {TOLD_WORDS}' if name in design.told_readings else ''}"
        for name, share in design.readings_worth
    ]


def assumed_words(one: Assumed, units: str) -> str:
    """One thing that was taken for granted, and why."""
    what = _capital(one.what.replace("_", " "))
    if isinstance(one.value, str):
        shown = one.value
    else:
        shown = f"{one.value:g}" if one.kind == "count" else format_quantity(one.value, one.kind, units)
    return f"{what}: {shown} ({one.why})." if shown else f"{what}: {one.why}."


def survey_rows(survey: Survey, units: str) -> list[tuple[str, str]]:
    """What was read at the place, each figure with how sure it is and how it was read."""

    def of(estimate: Estimate, kind: str) -> str:
        if estimate.standard_uncertainty <= 0.0:
            return f"{format_quantity(estimate.value, kind, units)} (taken as exact)"
        said = f" ({ASSUMED})" if is_assumed(estimate) else ""
        return f"{format_with_uncertainty(estimate.value, estimate.standard_uncertainty, kind, units)}{said}"

    rows = [
        ("Fall", f"{of(survey.fall, 'head')}, {METHODS[survey.fall_method]}"),
        ("Lift above the pump", f"{of(survey.lift, 'head')}, {METHODS[survey.lift_method]}"),
    ]
    for one in survey.source:
        when = f", {one.date.isoformat()}" if one.date else ""
        rows.append(("The source gave", f"{of(one.flow, 'volume_flow')}, {METHODS[one.method]}{when}"))
    rows.append(("When driest, what stays in the stream taken off", of(driest(survey), "volume_flow")))
    way = "its way surveyed" if survey.route else "its way not surveyed"
    rows.append(("Delivery line", f"{format_quantity(survey.line_length, 'length', units)}, {way}"))
    if survey.ground_to_source is not None:
        rows.append(("Pump to source along the ground", format_quantity(survey.ground_to_source, "length", units)))
    return rows


METHODS = {
    "typed": "as typed",
    "level": "by level and staff",
    "hose": "by hose",
    "gauge": "by gauge",
    "map": "off a map",
    "bucket": "by bucket and watch",
    "notch": "over a notch",
    "float": "by float",
}
"""How a figure was read."""


def need_rows(needs: Needs, units: str) -> list[list[str]]:
    """Every user of water, and where its figure comes from."""
    return [
        [
            one.what,
            f"{one.number:g}",
            format_quantity(one.daily_each / DAY, "daily_volume_flow", units),
            format_quantity(one.daily / DAY, "daily_volume_flow", units),
            "all year" if len(one.months) == 12 else ", ".join(MONTHS[month - 1] for month in one.months),
            one.source,
        ]
        for one in needs.each
    ]


def tank_words(year: TankYear) -> str:
    """How the tank comes through the year."""
    if year.empty_days == 0:
        return "It never runs empty in the year."
    return f"Some need goes unmet on {year.empty_days} days, at most {year.longest_dry} in a row."


NEEDS_HEAD = ("Who", "How many", "Each", "Together", "Months", "Source")


def design_words(design: Design, place: int, units: str) -> Mapping[str, Any]:
    """All that the page of a site shows of one choice of its design."""
    choice, said = design.choices[place], set[str]()
    limit = sentence(reason_words(design.limit, units)) if design.limit is not None else ""
    ids = tuple(dict.fromkeys(("peak_pressure", *choice.promise.cautions, "water_rights", "work_in_water")))
    return {
        "answer": ANSWERS[choice.promise.answer],
        "lead": lead_words(choice, units),
        "best": best_words(choice),
        "limit": limit,
        "chiefs": chief_figures(choice, units),
        "reasons": [one for one in reason_lines(choice.reasons, units, notes=False) if one != limit],
        "notes": reason_lines(choice.reasons, units, notes=True),
        "water_cautions": cautions_by(FIRST, ids, said),
        "choice_names": [best_words(one) for one in design.choices],
        "choice_rows": choice_rows(design, units),
        "running_cautions": cautions_by(RUNNING, ids, said),
        "pressures": pressure_figures(choice, units),
        "pressure_cautions": cautions_by(PRESSURES, ids, said),
        "check_rows": check_rows(choice, units),
        "check_reasons": check_reasons(choice, units),
        "fatigue": fatigue_lines(choice, units),
        "month_rows": month_rows(choice, units),
        "rule_rows": rule_rows(choice, units),
        "quotation": None if choice.quotation is None else quotation_words(choice.quotation, units),
        "again": again_lines(design),
        "assumed": [assumed_words(one, units) for one in design.assumed],
        "other_cautions": [CAUTIONS[one].words for one in ids if one in CAUTIONS and one not in said],
    }


def _capital(words: str) -> str:
    return f"{words[:1].upper()}{words[1:]}"
