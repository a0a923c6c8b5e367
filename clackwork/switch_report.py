"""A switch study as lines and as plain data: the verdict in a sentence, then the figures."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from clackwork.answers_json import keyed, range_json
from clackwork.answers_text import range_words
from clackwork.cautions import CAUTIONS
from clackwork.life.selling import Selling, sell
from clackwork.life.switching import PlaceVerdict, SizeRule, SwitchStudy
from clackwork.life.whole_study import WholeStudy
from clackwork.quantities import format_quantity
from clackwork.site.site import Range
from clackwork.workbook_life import SwitchAsked

WARRANTY_MONTHS = (12, 24, 36, 60)
"""Lengths of warranty shown."""
_FIGURES = {
    "discharge_coefficient": "how freely water leaves the waste valve",
    "closing_coefficient": "how hard the flow draws the waste valve shut",
    "delivery_loss": "what the delivery valve costs",
    "slip_volume": "what slips back through the delivery valve",
    "body_air": "air in the body",
    "life": "life of its part",
    "exponent": "how its life falls with hard landings",
}
_MEASURE = {
    "discharge_coefficient": "a run with the valve held open",
    "closing_coefficient": "runs with the delivery shut",
    "delivery_loss": "runs against two back-pressures",
    "slip_volume": "runs against a high back-pressure",
    "body_air": "a dead head read on the gauge",
    "life": "an endurance test",
    "exponent": "endurance tests at two falls",
}


def counted(count: float) -> str:
    """A number of customers; likely ones may be parts of one."""
    return f"{count:g}"


def _listed(words: list[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def verdict_sentence(study: SwitchStudy, system: str) -> str:
    """What to do, in one sentence."""
    parts = []
    by_switch: dict[str, list[SizeRule]] = {"all": [], "none": [], "above": []}
    for rule in study.rules:
        by_switch[rule.switch].append(rule)
    if by_switch["all"]:
        sizes = "every size" if len(by_switch["all"]) == len(study.rules) else _sizes(by_switch["all"])
        parts.append(f"switch {sizes} to the new build")
    if by_switch["none"]:
        sizes = "every size" if len(by_switch["none"]) == len(study.rules) else _sizes(by_switch["none"])
        parts.append(f"keep the old build on {sizes}")
    for rule in by_switch["above"]:
        least = format_quantity(rule.fall, "head", system)
        parts.append(f"on {rule.size} keep the old build below {least} of fall and switch above")
    customers = sum(one.number for one in study.places)
    if study.told:
        verb = "must" if study.told != 1 else "has to"
        parts.append(f"{counted(study.told)} of {counted(customers)} customers {verb} be told first")
    sentence = "; ".join(parts)
    return f"{sentence[:1].upper()}{sentence[1:]}."


def _sizes(rules: Iterable[SizeRule]) -> str:
    return _listed([rule.size for rule in rules])


def switch_lines(found: WholeStudy, asked: SwitchAsked, currency: str, system: str) -> list[str]:
    """The study for a terminal, answer first."""
    study = found.study
    money = f" {currency}" if currency else ""
    lines = [
        verdict_sentence(study, system),
        f"  worth a year, all customers: {study.worth.low:.0f} to {study.worth.high:.0f}{money}, middle "
        f"{study.worth.middle:.0f} (switching everywhere: {study.always:.0f} expected)",
    ]
    lines += [_rule_line(rule, money, system) for rule in study.rules]
    lines += ["", *likely_lines(asked, system), *life_lines(found), "", *care_lines(found, asked, money), "", "Places:"]
    lines += [line for one in study.places for line in _place_lines(one, money, system)]
    lines += retuned_lines(found, system)
    lines += ["", *knowing_lines(found, money), ""]
    lines += [f"! {CAUTIONS[one].words}" for one in ("peak_pressure", "moving_valve")]
    return lines


def rule_words(rule: SizeRule, system: str) -> str:
    """What to do with one size."""
    plain = {"all": "switch all", "none": "keep the old build"}.get(rule.switch)
    return plain or f"switch from {format_quantity(rule.fall, 'head', system)} of fall"


def gain_words(rule: SizeRule) -> str:
    """How often a rule that switches gains; nothing of one that keeps the old build."""
    return "" if rule.switch == "none" else f"{100 * rule.chance:.0f} of 100 cases"


def _rule_line(rule: SizeRule, money: str, system: str) -> str:
    said = f"  {rule.size}: {rule_words(rule, system)}: {counted(rule.switched)} of {counted(rule.places)} customers"
    if rule.switch == "none":
        return said
    return f"{said}, {rule.worth:.0f}{money} a year expected, gains in {gain_words(rule)}"


def life_lines(found: WholeStudy) -> list[str]:
    """What the lives rest on."""
    lines = []
    for which, life, seen in zip(("old", "new"), found.lives, found.parts_seen, strict=True):
        failed = f"{life.failures:g}" if life.failures else "none"
        failures = f"{seen} part{'s' if seen != 1 else ''}, {failed} failed" if seen else "no part seen yet"
        lines.append(f"  life of the {which} part rests on {failures}, and on a prior: {life.priors.source}")
        learnt = (
            f"narrowed by {100 * life.exponent_learnt:.0f} %" if life.exponent_learnt > 0.05 else "left at its prior"
        )
        lines.append(f"    how the {which} part's life falls with hard landings: {learnt}")
    return lines


def care_lines(found: WholeStudy, asked: SwitchAsked, money: str) -> list[str]:
    """Warranty and spares."""
    lines = []
    for which, study in zip(("old", "new"), found.warranty, strict=True):
        for months in WARRANTY_MONTHS:
            cost = study.cost(months)
            lines.append(
                f"  warranty of {months} months, {which} part: {cost.claims_mean:.2f} claims a pump, reserve "
                f"{cost.reserve:.2f}{money} a pump"
            )
        if asked.reserve is not None:
            longest = study.longest(asked.reserve)
            months_said = f"{longest:g} month{'' if longest == 1 else 's'}"
            lines.append(f"  longest warranty for a reserve of {asked.reserve:g}{money}, {which} part: {months_said}")
    lines += selling_lines(found, asked, money)
    old, new = found.spares
    lines.append(f"  spares for a year, but for one year in twenty: {old} old or {new} new parts")
    return lines


def selling(found: WholeStudy, asked: SwitchAsked) -> tuple[Selling, Selling] | None:
    """Old and new build as they are sold; None while no price is given."""
    if asked.price is None or asked.making is None:
        return None
    return sell(asked.making, found.warranty, asked.price, asked.warranty_months, asked.margin)


def selling_lines(found: WholeStudy, asked: SwitchAsked, money: str) -> list[str]:
    """Cost, reserve, margin and price of one pump, old and new; nothing while no price is given."""
    both = selling(found, asked)
    if both is None:
        return []
    held = "the margin asked for" if asked.margin is not None else "the margin of the old build now"
    lines = []
    for which, one in zip(("old", "new"), both, strict=True):
        lines.append(
            f"  one pump, {which} build, {asked.warranty_months:g} months' warranty: costs {one.cost:.2f}{money} to make "
            f"and {one.reserve:.2f} of reserve ({one.expected:.2f} of it expected to be claimed); at {asked.price:g} "
            f"it leaves {100 * one.margin:.1f} %; {held} asks {one.price:.2f}"
        )
    return lines


def _cost_words(of: tuple[Range | None, Range | None], money: str, figures: str = ".0f") -> str:
    """A cost with its range, old and new; a dash where neither is known."""
    if of == (None, None):
        return "-"
    said = [
        "-" if one is None else f"{one.middle:{figures}} ({one.low:{figures}} to {one.high:{figures}})" for one in of
    ]
    return f"{said[0]} old, {said[1]} new{money}"


def cost_words(one: PlaceVerdict, money: str) -> tuple[str, str]:
    """What the part costs the customer in a year, and for each cubic metre lifted."""
    return _cost_words(one.yearly_cost, money), _cost_words(one.volume_cost, money, ".2g")


def _place_lines(one: PlaceVerdict, money: str, system: str) -> list[str]:
    told = ", tell the customer first" if one.told else ""
    lines = [f"  {one.place} ({one.size}): {one.outcome}; {'new' if one.switch else 'old'} build{told}"]
    lines.append(
        f"    delivery {range_words(one.delivery_change, 'daily_volume_flow', system)} new less old; worth "
        f"{one.mean_worth_change:.0f}{money} a year"
    )
    yearly, volume = cost_words(one, money)
    lines.append(f"    the part costs the customer {yearly} a year, {volume} a cubic metre lifted")
    troubles = (("stalls", one.stalls), ("lacks water", one.lacks_water), ("over the pipe's rating", one.too_strong))
    for words, (before, after) in troubles:
        if max(before, after) >= 0.01:
            lines.append(f"    {words}: {100 * before:.0f} of 100 cases with the old, {100 * after:.0f} with the new")
    return lines


def retuned_lines(found: WholeStudy, system: str) -> list[str]:
    """Where retuning helps: an empty line and a heading, then the places; nothing where nothing had to be."""
    if not found.retuned:
        return []
    lines = ["", "With the new build retuned:"]
    after = {one.place: one for one in found.after_retuning.places} if found.after_retuning else {}
    for name, one in found.retuned.items():
        if one is None:
            lines.append(f"  {name}: no tuning serves there")
            continue
        stroke, mass = format_quantity(one.stroke, "small_length", system), format_quantity(one.mass, "mass", system)
        lines.append(f"  {name}: stroke {stroke}, moving mass {mass}: {after[name].outcome}")
    return lines


def likely_lines(asked: SwitchAsked, system: str) -> list[str]:
    """What the likely sites of a study are taken to be like; nothing where it has none."""
    spread = asked.spread
    if not asked.likely or spread is None:
        return []

    def ends(name: str, kind: str | None = None) -> str:
        low, high = getattr(spread, name)
        if kind is None:
            return f"{low:.2g} to {high:.2g}"
        return f"{format_quantity(low, kind, system)} to {format_quantity(high, kind, system)}"

    sizes = "" if len(asked.pairs) == 1 else f", shared out evenly over the {len(asked.pairs)} sizes"
    return [
        f"  {asked.likely} likely site{'' if asked.likely == 1 else 's'} besides those in the book{sizes}: fall "
        f"{ends('fall', 'head')}, lift over fall {ends('lift_over_fall')}, source {ends('source_flow', 'volume_flow')}",
        f"  their drive pipes are {ends('drive_length_over_fall')} falls long, their lines {ends('line_length_over_lift')} "
        f"lifts, each of the smallest pipe whose friction stays below {ends('line_loss_over_lift')} of the lift",
    ]


def knowing_lines(found: WholeStudy, money: str) -> list[str]:
    """What to measure before deciding, the most worth first."""
    worth = [one for one in found.knowing if one.worth > 0.5][:4]
    if not worth:
        return ["Nothing that could be measured would change the answer by much."]
    lines = ["Worth measuring before you decide:"]
    for one in worth:
        which, _, name = one.figure.partition(", ")
        lines.append(
            f"  {_FIGURES[name]}, {which} build: up to {one.worth:.0f}{money} a year; {_MEASURE[name]} would tell more"
        )
    return lines


def switch_json(found: WholeStudy, asked: SwitchAsked, currency: str, system: str) -> dict[str, Any]:
    """The study as plain data."""
    study = found.study
    return {
        "switch": asked.name,
        "verdict": verdict_sentence(study, system),
        "currency": currency,
        "worth_a_year": {"low": study.worth.low, "middle": study.worth.middle, "high": study.worth.high},
        "worth_a_year_switched_everywhere": study.always,
        "customers_to_tell": study.told,
        "rules": [
            {
                "size": rule.size,
                "switch": rule.switch,
                **keyed("least_fall", rule.fall, "head", system),
                "customers": rule.places,
                "switched": rule.switched,
                "worth_a_year": rule.worth,
                "chance_of_gain": rule.chance,
            }
            for rule in study.rules
        ],
        "likely_sites": asked.likely,
        "likely": likely_lines(asked, system),
        "places": [_place_json(one, system) for one in study.places],
        "retuned": [
            {"place": name, "serves": one is not None}
            | (
                {}
                if one is None
                else keyed("stroke", one.stroke, "small_length", system) | keyed("mass", one.mass, "mass", system)
            )
            for name, one in found.retuned.items()
        ],
        "warranty": [
            _warranty_json(which, study_, asked) for which, study_ in zip(("old", "new"), found.warranty, strict=True)
        ],
        "selling": [
            {
                "part": which,
                "cost_to_make": one.cost,
                "reserve": one.reserve,
                "expected_claims": one.expected,
                "margin_at_the_price": one.margin,
                "price_for_the_margin": one.price,
            }
            for which, one in zip(("old", "new"), selling(found, asked) or (), strict=False)
        ],
        "spares_a_year": {"old": found.spares[0], "new": found.spares[1]},
        "worth_knowing": [{"figure": one.figure, "worth_a_year": one.worth} for one in found.knowing],
        "parts_seen": {"old": found.parts_seen[0], "new": found.parts_seen[1]},
    }


def _place_json(one: PlaceVerdict, system: str) -> dict[str, Any]:
    return {
        "place": one.place,
        "size": one.size,
        "outcome": one.outcome,
        "switch": one.switch,
        "tell_the_customer": one.told,
        **{f"chance_{name}": {"old": pair[0], "new": pair[1]} for name, pair in (
            ("stalls", one.stalls), ("lacks_water", one.lacks_water), ("over_rating", one.too_strong))},
        **range_json("delivery_change", one.delivery_change, "daily_volume_flow", system),
        **range_json("drawn_change", one.drawn_change, "volume_flow", system),
        **range_json("highest_head_change", one.pressure_change, "head", system),
        "renewals_a_year": _both_json(one.renewals),
        "cost_a_year": _both_json(one.yearly_cost),
        "cost_a_cubic_metre": _both_json(one.volume_cost),
        "worth_a_year": one.mean_worth_change,
    }  # fmt: skip


def _both_json(of: tuple[Range | None, Range | None]) -> dict[str, dict[str, float] | None]:
    """A range of the old and of the new part."""
    return {
        which: None if each is None else {"low": each.low, "middle": each.middle, "high": each.high}
        for which, each in zip(("old", "new"), of, strict=True)
    }


def _warranty_json(which: str, study: Any, asked: SwitchAsked) -> dict[str, Any]:
    lengths = [study.cost(months) for months in WARRANTY_MONTHS]
    longest = {} if asked.reserve is None else {"longest_months": study.longest(asked.reserve)}
    return {
        "part": which,
        "lengths": [
            {"months": one.months, "claims_a_pump": one.claims_mean, "reserve_a_pump": one.reserve} for one in lengths
        ],
        **longest,
    }
