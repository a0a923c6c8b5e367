"""The bill of materials: what to buy, how much of it, at which price or with room to write one in. Formats only."""

from __future__ import annotations

from clackwork.quantities import from_display
from clackwork.quantity_writing import to_display
from clackwork.sheets.site_case import SiteCase, caution_fields, head_fields, head_words
from clackwork.sheets.typeset import Fields
from clackwork.site.first_start import whole_length
from clackwork.site.prices import CostLine

BESIDE = {"pressure_cautions": ("peak_head", "rating_head", "pressure_margin"), "vessel_cautions": ("air_vessel",)}
_KINDS = {"m": "length", "m3": "volume"}
"""Unit of a line to the kind of its amount; other lines are counted or in hours."""


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
    lines = quotation.lines if quotation else own_lines(case)
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
    missing = (
        ", ".join(words.known("item", what) for what in quotation.missing) if quotation and quotation.price else ""
    )
    return {
        "bill_head": head_words(case, "bill", ("what", "amount", "price", "cost")),
        "bill": [_bill_row(case, line, currency) for line in lines],
        "sums": sums,
        "priced": bool(sums),
        "missing": words("price.missing", what=missing) if missing else "",
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
    if line.unit == "m3" and case.units == "metric":
        amount, unit = words.quantity(line.amount, "count", case.units) + " m³", "m³"
    elif kind is not None:
        amount = case.quantity(line.amount, kind)
        unit = amount.rpartition(" ")[2]
        price = None if price is None else price / to_display(1.0, kind, case.units)
    else:
        unit = words("bill.unit_h") if line.unit == "h" else ""
        amount = f"{words.number(line.amount)} {unit}".strip()
    key = "bill.price_of" if unit else "bill.price_each"
    each = "" if price is None else words(key, price=words.money(price, currency), unit=unit)
    cost = "" if line.price is None else words.money(line.cost, currency)
    return [words.known("item", line.what), amount, each, cost]


def own_lines(case: SiteCase) -> tuple[CostLine, ...]:
    """What the design itself asks for, without prices."""
    choice, words, units = case.choice, case.words, case.units
    lines = [CostLine(choice.build.name, choice.pumps, "each", None)]
    drive = words.pipe(choice.drive_pipe.pipe, units)
    length = choice.pumps * whole_length(choice.drive_pipe)
    lines.append(CostLine(words("bill.drive_pipe", pipe=drive), length, "m", None))
    if choice.feed is not None:
        supply = words.pipe(choice.feed.pipe, units)
        bore = case.quantity(choice.standpipe_diameter, "small_length")
        lines += [
            CostLine(words("bill.supply_pipe", pipe=supply), choice.feed.length, "m", None),
            CostLine(words("bill.standpipe", bore=bore), 1, "each", None),
        ]
    zones = [(z.pipe, z.end - z.start) for z in choice.zones] or [(choice.site.line.pipe, choice.site.line.length)]
    lines += [
        CostLine(words("bill.delivery_pipe", pipe=words.pipe(pipe, units)), length, "m", None) for pipe, length in zones
    ]
    lines += [CostLine(words(f"bill.{part}"), 1, "each", None) for part in ("strainer", "delivery_valve")]
    lines.append(CostLine(words("bill.gauge"), choice.pumps, "each", None))
    lines.append(CostLine(words("bill.drive_valve"), choice.pumps, "each", None))
    marks = case.marks
    for part, places in (("air_valve", marks.air), ("drain", marks.drains)):
        if places:
            lines.append(CostLine(words(f"bill.{part}"), len(places), "each", None))
    if choice.tank_volume is not None:
        lines.append(CostLine(words("bill.tank"), choice.tank_volume, "m3", None))
    return tuple(lines)
