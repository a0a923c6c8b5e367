"""The bill of materials: what to buy, how much of it, at which price or with room to write one in. Formats only."""

from __future__ import annotations

from clackwork.pipes import Pipe
from clackwork.quantities import from_display
from clackwork.quantity_writing import to_display
from clackwork.ram.parts import DrivePipe
from clackwork.sheets.site_case import SiteCase, capital, caution_fields, head_fields, head_words
from clackwork.sheets.typeset import Fields
from clackwork.site.costing import bill_lines, bill_of
from clackwork.site.prices import CostLine, PriceList

BESIDE = {"pressure_cautions": ("peak_head", "rating_head", "pressure_margin"), "vessel_cautions": ("air_vessel",)}
_KINDS = {"m": "length", "m3": "volume", "L": "volume"}
"""Unit of a line to the kind of its amount; other lines are counted or in hours."""
_LITRE = 1e-3


def materials_fields(case: SiteCase) -> Fields:
    """All that the template prints."""
    words = case.words
    highest = max(case.choice.promise.peak_head.high, case.choice.promise.surge_head.high)
    return {
        **head_fields(case, "materials"),
        "lead": words("materials.lead"),
        "words": {"notes_title": words("materials.notes_title")},
        "fittings": words("materials.fittings", pressure=case.pressure(highest), head=case.quantity(highest, "head")),
        **price_fields(case),
        **caution_fields(case, BESIDE, ["pressure_test"], others=("untreated_water",)),
    }


def price_fields(case: SiteCase) -> Fields:
    """Lines of the bill with prices, the sums, and the alternatives; blanks where nothing is known."""
    words, quotation = case.words, case.choice.quotation
    lines = quotation.lines if quotation else bill_without_prices(case)
    currency = quotation.currency if quotation else ""
    sums: list[list[str]] = []
    if quotation and quotation.price:
        sums = [
            [words("price.cost"), words.money(quotation.cost, currency)],
            [words("price.price"), words.money(quotation.price, currency)],
            [words("price.yearly"), words.money(quotation.yearly, currency)],
            [words("price.per_volume"), _per_volume(case, quotation.per_volume, currency)],
        ]
    others = quotation.alternatives if quotation else ()
    unpriced = [line_words(case, line.what, line.detail) for line in lines if line.price is None] if sums else []
    return {
        "bill_head": head_words(case, "bill", ("what", "amount", "price", "cost")),
        "bill": [_bill_row(case, line, currency) for line in lines],
        "sums": sums,
        "priced": bool(sums),
        "missing": words("price.missing", what=words("number.then").join(unpriced)) if unpriced else "",
        "others": [
            [words.known("item", other.name), _per_volume(case, per_volume, currency)] for other, per_volume in others
        ],
        "others_title": words("price.others"),
        "price_note": words("price.note"),
    }


def _per_volume(case: SiteCase, price: float, currency: str) -> str:
    """Cost of a cubic metre, or of a thousand gallons."""
    if case.units == "metric":
        return case.words("price.of_a_cubic_metre", price=case.words.money(price, currency))
    thousand = 1000.0 * price * from_display(1.0, "volume", "us")
    return case.words("price.of_a_thousand_gallons", price=case.words.money(thousand, currency))


def _bill_row(case: SiteCase, line: CostLine, currency: str) -> list[str]:
    """What, how much, price of one unit, cost; the last two blank without a price."""
    words, kind = case.words, _KINDS.get(line.unit)
    price = line.price
    if not line.amount:
        amount, unit = "", words("bill.unit_h") if line.unit == "h" else ""
    elif line.unit == "m3" and case.units == "metric":
        amount, unit = words.quantity(line.amount, "count", case.units) + " m³", "m³"
    elif kind is not None:
        si = _LITRE if line.unit == "L" else 1.0
        amount = case.quantity(si * line.amount, kind)
        unit = amount.rpartition(" ")[2]
        price = None if price is None else price / to_display(si, kind, case.units)
    else:
        unit = words("bill.unit_h") if line.unit == "h" else ""
        amount = f"{words.number(line.amount)} {unit}".strip()
    key = "bill.price_of" if unit else "bill.price_each"
    each = "" if price is None else words(key, price=words.money(price, currency), unit=unit)
    cost = "" if line.price is None else words.money(line.cost, currency)
    return [line_words(case, line.what, line.detail), amount, each, cost]


def bill_without_prices(case: SiteCase) -> tuple[CostLine, ...]:
    """What the design asks for, with no price; work is left out, as it is known from a price list only."""
    marks = case.marks
    bill = bill_of(case.choice, air_valves=len(marks.air), drains=1 + len(marks.drains))
    return tuple(line for line in bill_lines(bill, PriceList("")) if line.unit != "h")


def line_words(case: SiteCase, what: str, detail: str) -> str:
    """What a line of the bill is: "Drive pipe, 2 in steel schedule 40"."""
    words = case.words
    name = capital(words.known("item", what))
    if not detail:
        return name
    pipes = {f"{pipe.series} {pipe.size}": pipe for pipe in _pipes(case)}
    which = words.pipe(pipes[detail], case.units) if detail in pipes else words.known("work", detail)
    return words("bill.which", what=name, which=which)


def _pipes(case: SiteCase) -> list[Pipe]:
    """Every pipe of the choice."""
    choice = case.choice
    pipes = [choice.site.line.pipe, *(zone.pipe for zone in choice.zones)]
    drive: DrivePipe | None = choice.drive_pipe
    while drive is not None:
        pipes.append(drive.pipe)
        drive = drive.upstream
    return [*pipes, choice.feed.pipe] if choice.feed else pipes
