"""The proposal: the answer on one page, then choices, price, months and what it all rests on. Formats only."""

from __future__ import annotations

from clackwork.bench.gum import Estimate
from clackwork.sheets.materials_sheet import price_fields
from clackwork.sheets.site_case import (
    DAY,
    MONTH_HEAD,
    SiteCase,
    caution_fields,
    drawing_fields,
    head_fields,
    head_words,
    month_rows,
    reason_fields,
    times,
)
from clackwork.sheets.typeset import Fields, sentence
from clackwork.site.design import Choice
from clackwork.site.first_start import whole_length
from clackwork.site.told import is_assumed

ANSWERS = {"yes": "yes", "only if": "only_if", "no": "no"}
"""Answer to the end of its key."""
BESIDE = {
    "water_cautions": ("daily_delivery", "water_needed", "water_there"),
    "pressure_cautions": ("peak_head", "surge_head", "pressure_margin", "rating_head", "dead_head"),
    "running_cautions": ("beat_rate",),
}
"""Section of the sheet to the figures in it."""
_MOST_TO_MEASURE = 4


def proposal_fields(case: SiteCase) -> Fields:
    """All that the template prints."""
    words, answer = case.words, ANSWERS.get(case.choice.promise.answer, "no")
    return {
        **head_fields(case, "proposal"),
        "answer": words(f"proposal.answer_{answer}"),
        "chiefs": _chiefs(case),
        "reasons_title": words(f"proposal.reasons_{answer}"),
        **reason_fields(case),
        "limit": _limit(case),
        "drawing": drawing_fields(case),
        "words": {
            name: words(f"proposal.{name}")
            for name in (
                "limit",
                "to_be_known",
                "you_get",
                "choices",
                "choices_note",
                "pressure",
                "price",
                "months",
                "months_note",
                "rests_on",
                "again",
                "again_note",
                "rules",
                "rules_note",
                "needs",
            )
        },
        "you_get": _you_get(case),
        "needs": _needs(case),
        "choices_head": ["", *(_choice_name(case, number) for number in range(len(case.design.choices)))],
        "choices": _choices(case),
        "pressure": _pressure(case),
        **price_fields(case),
        "months_head": head_words(case, "months", MONTH_HEAD),
        "months": month_rows(case),
        "rests_on": _rests_on(case),
        "again": [
            words(
                "proposal.again_assumed" if name in case.design.told_readings else "proposal.again_one",
                reading=words.known("reading", name),
                share=case.quantity(share, "fraction", figures=2),
            )
            for name, share in case.design.readings_worth[:_MOST_TO_MEASURE]
        ],
        "rules_head": head_words(case, "rules", ("topic", "author", "rule", "chosen")),
        "rules": _rules(case),
        **caution_fields(case, BESIDE),
    }


def _limit(case: SiteCase) -> str:
    """The one thing that limits the place, where no reason has said it."""
    limit = case.design.limit
    if limit is None or any(one.id == limit.id for one in case.choice.reasons):
        return ""
    return sentence(case.words.reason(limit, case.units))


def _chiefs(case: SiteCase) -> list[list[str]]:
    """The figures of the answer: name, middle, range."""
    promise, words = case.choice.promise, case.words
    delivered, beside = case.daily(promise.daily_delivery)
    needs = case.survey.needs
    chiefs = [[words("proposal.delivered"), delivered, beside]]
    if needs is not None and needs.highest_daily > 0.0:
        chiefs.append([words("proposal.needed"), case.quantity(needs.highest_daily / DAY, "daily_volume_flow"), ""])
    elif case.survey.wanted_flow is not None:
        wanted = case.quantity(case.survey.wanted_flow, "daily_volume_flow")
        chiefs.append([words("proposal.wanted"), wanted, ""])
    drawn = words("proposal.drawn" if promise.is_beating else "proposal.runs_off", number=case.choice.pumps)
    chiefs.append([drawn, *words.split_range(promise.water_needed, "volume_flow", case.units)])
    chiefs.append([words("proposal.there"), *words.split_range(promise.water_there, "volume_flow", case.units)])
    return chiefs


def _you_get(case: SiteCase) -> list[list[str]]:
    """The design as chosen, line by line."""
    choice, words = case.choice, case.words
    promise = choice.promise
    rows = [
        [words("part.pump"), case.pump],
        [words("part.drive_pipe"), _drive_words(case, choice)],
    ]
    if choice.feed is not None:
        rows += [
            [words("part.supply_pipe"), case.pipe_length(choice.feed.length, choice.feed.pipe)],
            [
                words("part.standpipe"),
                words("part.bore", bore=case.quantity(choice.standpipe_diameter, "small_length")),
            ],
        ]
    rows += [
        [words("part.delivery_pipe"), _zone_words(case, choice)],
        [words("part.vessel"), words("part.at_least", size=case.quantity(choice.vessel_volume, "volume"))],
    ]
    if choice.tank_volume is not None:
        rows.append([words("part.tank"), case.quantity(choice.tank_volume, "volume")])
    if promise.is_beating:
        valve = choice.build.waste_valve
        tuning = words(
            "part.tuning_words",
            stroke=case.quantity(valve.stroke, "small_length"),
            mass=case.quantity(valve.mass, "mass"),
        )
        rows += [
            [words("part.tuning"), tuning],
            [words("part.beats"), case.range(promise.beat_rate, "beat_rate")],
            [words("part.daubuisson"), case.range(promise.daubuisson_efficiency, "fraction")],
            [words("part.rankine"), case.range(promise.rankine_efficiency, "fraction")],
            [words("part.enough"), case.quantity(promise.share_enough_water, "fraction", figures=2)],
        ]
    return rows


def _drive_words(case: SiteCase, choice: Choice) -> str:
    """The drive pipe, each pump's own."""
    one = case.pipe_length(whole_length(choice.drive_pipe), choice.drive_pipe.pipe)
    return one if choice.pumps == 1 else case.words("part.for_each_pump", what=one)


def _zone_words(case: SiteCase, choice: Choice) -> str:
    """The delivery pipe, zone after zone from the pump."""
    zones = [(zone.end - zone.start, zone.pipe) for zone in choice.zones] or [
        (choice.site.line.length, choice.site.line.pipe)
    ]
    return case.words("part.then").join(case.pipe_length(length, pipe) for length, pipe in zones)


def _choice_name(case: SiteCase, number: int) -> str:
    """A choice's number, the one printed marked."""
    this = case.design.choices[number] is case.choice or case.design.choices[number] == case.choice
    return case.words("proposal.this_choice" if this else "proposal.other_choice", number=number + 1)


def _choices(case: SiteCase) -> list[list[str]]:
    """All choices side by side: a row for each figure."""
    words, choices = case.words, case.design.choices
    rows = [
        ("best_for", [_aims(case, one) for one in choices]),
        ("answer", [words(f"proposal.short_{ANSWERS.get(one.promise.answer, 'no')}") for one in choices]),
        ("pump", [words("site.pump", number=one.pumps, build=one.build.name) for one in choices]),
        ("drive_pipe", [_drive_words(case, one) for one in choices]),
        ("delivered", [" ".join(_daily_words(case, one)) for one in choices]),
        ("drawn", [case.range(one.promise.water_needed, "volume_flow") for one in choices]),
        ("margin", [times(case, one.promise.pressure_margin) for one in choices]),
    ]
    if any(one.quotation for one in choices):
        rows.append(("price", [_price(case, one) for one in choices]))
    return [[words(f"choices.{name}"), *cells] for name, cells in rows]


def _daily_words(case: SiteCase, choice: Choice) -> tuple[str, str]:
    """Water a day with its range in brackets."""
    middle, beside = case.daily(choice.promise.daily_delivery)
    return middle, f"({beside})" if beside else ""


def _aims(case: SiteCase, choice: Choice) -> str:
    """What a choice is best for."""
    return ", ".join(case.words(f"aim.{aim}") for aim in choice.best_for) or case.words("aim.middle")


def _price(case: SiteCase, choice: Choice) -> str:
    """Price of a choice; said when lines of it have none."""
    quotation = choice.quotation
    if quotation is None or not quotation.price:
        return case.words("number.not_known")
    price = case.words.money(quotation.price, quotation.currency)
    return case.words("price.and_more", price=price) if quotation.missing else price


def _pressure(case: SiteCase) -> list[list[str]]:
    """Highest pressures against the drive pipe's rating, as pressure and as head."""
    promise, words = case.choice.promise, case.words
    rows = [("shut_by_hand" if not promise.is_beating else "surge", promise.surge_head)]
    if promise.is_beating:
        rows = [("vessel", promise.vessel_head), ("peak", promise.peak_head), *rows]
    figures = [
        [
            words(f"pressure.{name}"),
            words("pressure.both", pressure=case.pressure(head.high), head=case.range(head, "head")),
        ]
        for name, head in rows
    ]
    rating = words(
        "pressure.rated", pressure=case.pressure(promise.rating_head), head=case.quantity(promise.rating_head, "head")
    )
    figures.append([words("pressure.rating"), rating])
    verdict = words("pressure.weak" if promise.pressure_margin < 1.0 else "pressure.holds")
    figures.append([words("pressure.margin"), f"{times(case, promise.pressure_margin)}; {verdict}"])
    return figures


def _needs(case: SiteCase) -> list[list[str]]:
    """Who needs the water, and the tank that covers them."""
    words, needs = case.words, case.survey.needs
    if needs is None:
        return []
    rows = [
        [
            f"{words.number(need.number)} × {words.known('user', need.what)}",
            case.quantity(need.daily / DAY, "daily_volume_flow"),
        ]
        for need in needs.each
    ]
    if needs.fire_reserve > 0.0:
        rows.append([words("needs.fire_reserve"), case.quantity(needs.fire_reserve, "volume")])
    rows.append([words("needs.cover"), words("needs.days", number=words.number(needs.days_of_cover))])
    return rows


def _measured(case: SiteCase, figure: Estimate, kind: str) -> str:
    """A surveyed figure with its uncertainty, and the word that nobody gave it limits."""
    if figure.standard_uncertainty <= 0.0:
        return f"{case.quantity(figure.value, kind)} ({case.words('survey.exact')})"
    shown = case.words.plus_minus(figure, kind, case.units)
    return f"{shown} ({case.words('survey.no_limits')})" if is_assumed(figure) else shown


def _rests_on(case: SiteCase) -> list[list[str]]:
    """What was measured and what was assumed."""
    survey, words, promise = case.survey, case.words, case.choice.promise
    around = survey.surroundings
    rows = [
        [
            words(f"survey.{name}"),
            f"{_measured(case, figure, 'head')}, {words.known('method', method)}",
        ]
        for name, figure, method in (
            ("fall", survey.fall, survey.fall_method),
            ("lift", survey.lift, survey.lift_method),
        )
    ]
    for reading in survey.source:
        flow = _measured(case, reading.flow, "volume_flow")
        date = reading.date.isoformat() if reading.date else words("survey.no_date")
        rows.append([words("survey.source"), f"{flow}, {words.known('method', reading.method)}, {date}"])
    if survey.stream_keeps > 0.0:
        rows.append([words("survey.stream_keeps"), case.quantity(survey.stream_keeps, "volume_flow")])
    rows += [
        [
            words("survey.line"),
            f"{case.length(survey.line_length)}, {words('survey.way' if survey.route else 'survey.no_way')}",
        ],
        [words("survey.temperature"), case.quantity(around.temperature, "temperature")],
        [words("survey.altitude"), case.quantity(around.altitude, "length", figures=3 if around.altitude else 1)],
    ]
    if survey.frost_depth > 0.0:
        rows.append([words("survey.frost"), case.quantity(survey.frost_depth, "length", figures=2)])
    if survey.carries:
        rows.append([words("survey.carries"), ", ".join(words(f"carries.{what}") for what in survey.carries)])
    rows.append([words("survey.drinkers"), words(f"drinkers.{survey.drinkers}")])
    rows.append([words("survey.twin"), words("survey.twin_words", build=case.choice.twin_name)])
    rows.append([words("survey.ranges"), words("survey.draws", draws=promise.draws, seed=promise.seed)])
    return rows


def _chosen(case: SiteCase) -> dict[str, str]:
    """What the choice has, by the topic of a rule."""
    choice, site, promise = case.choice, case.choice.site, case.choice.promise
    pipes = [zone.pipe for zone in choice.zones] or [site.line.pipe]
    return {
        "drive pipe length": case.length(whole_length(choice.drive_pipe)),
        "beats": case.quantity(promise.beat_rate.middle, "beat_rate"),
        "lift": case.quantity(site.line.lift, "head"),
        "least fall": case.quantity(site.fall, "head"),
        "efficiency": case.quantity(promise.daubuisson_efficiency.middle, "fraction"),
        "least source flow": case.quantity(promise.water_there.middle, "volume_flow"),
        "delivery pipe bore": case.quantity(min(pipe.bore for pipe in pipes), "small_length"),
        "air vessel": case.quantity(choice.build.air_vessel.volume, "volume"),
    }


def _rules(case: SiteCase) -> list[list[str]]:
    """Each author's rule beside what was chosen."""
    words, units = case.words, case.units
    chosen = _chosen(case)
    rows = []
    for rule in case.choice.rules:
        low, high = (words.quantity(value, rule.kind, units) for value in (rule.low, rule.high))
        span = low if low == high else words("number.from_to", low=low, high=high)
        rows.append(
            [words.known("topic", rule.topic), words.known("author", rule.author), span, chosen.get(rule.topic, "")]
        )
    return rows
