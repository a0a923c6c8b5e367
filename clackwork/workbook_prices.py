"""A workshop's price list out of a workbook's table [prices], or out of the workshop's record in a book."""

from __future__ import annotations

import difflib
from types import MappingProxyType

from clackwork.site.costing import HOURS, PARTS
from clackwork.site.prices import PriceList
from clackwork.workbook_parts import pipe_named
from clackwork.workbook_reader import Table, checked_name, nearest

PRICED = ("pumps", "pipes", "parts", "hours")
"""Tables of a price list whose fields are names, each with a price or hours."""
_NEAR = 0.75
"""A part of one's own is refused when its name is so like a listed one that it is most likely that, misspelt."""


def read_prices(table: Table) -> PriceList:
    """A price list.

    Parameters
    ----------
    table : Table
        Amounts are plain numbers, or texts such as "7.50"; ``margin`` and ``interest`` fractions such as "20 %".

    Raises
    ------
    InputError
        An amount that is none, a pipe that is not in the catalogue, hours of work that are not known; the message
        names table and field.
    """
    currency = table.text("currency")
    if currency is None or not currency.strip():
        raise table.missing("currency", 'as it is printed, such as "EUR"')
    margin, interest = table.quantity("margin", "fraction"), table.quantity("interest", "fraction")
    for key, value, most in (("margin", margin, 10.0), ("interest", interest, 1.0)):
        if value is not None and not 0.0 <= value <= most:
            raise table.error(key, table.typed_text(key), f"it must be 0 to {100 * most:g} %")
    life = table.amount("life", "it is the years over which water is to pay", 200.0)
    if life is not None and life <= 0.0:
        raise table.error("life", life, "it must be above 0 years")
    hour = table.amount("hour", "it is the price of an hour of work")
    care = table.amount("yearly_care", "it is what a year's care of one pump costs")
    inner = {key: table.table(key) for key in PRICED}
    table.finish()
    return PriceList(
        currency=checked_name(currency.strip(), table.field("currency")),
        pumps=MappingProxyType(_amounts(inner["pumps"], "it is the price of the pump")),
        pipes=MappingProxyType(_pipes(inner["pipes"])),
        parts=MappingProxyType(_parts(inner["parts"])),
        hour=hour or 0.0,
        hours=MappingProxyType(_hours(inner["hours"])),
        margin=margin or 0.0,
        yearly_care=care or 0.0,
        life=PriceList.life if life is None else life,
        interest=interest or 0.0,
    )


def _amounts(table: Table | None, wanted: str) -> dict[str, float]:
    """Every name with its amount."""
    if table is None:
        return {}
    found = {}
    for key in table.keys:
        checked_name(key, table.label)
        amount = table.amount(key, wanted)
        assert amount is not None
        found[key] = amount
    return found


def _pipes(table: Table | None) -> dict[tuple[str, str], float]:
    """Prices of a metre by series and size, from names such as "steel-sch40 1 in"."""
    found: dict[tuple[str, str], float] = {}
    for name, price in _amounts(table, "it is the price of a metre").items():
        assert table is not None
        series, _, size = name.strip().partition(" ")
        if series.lower() == "custom":
            found["custom", size.strip()] = price
            continue
        pipe = pipe_named(table, name, price, name)
        if (pipe.series, pipe.size) in found:
            raise table.error(name, price, "that pipe has a price already")
        found[pipe.series, pipe.size] = price
    return found


def _parts(table: Table | None) -> dict[str, float]:
    """Prices of parts; a name that no bill asks for is a part of one's own, once in every bill."""
    found = _amounts(table, "it is the price of one")
    for name in found:
        assert table is not None
        near = [] if name in PARTS else difflib.get_close_matches(name, PARTS, n=1, cutoff=_NEAR)
        if near:
            raise table.error(name, found[name], "it is too like a part of the bill", f'Did you mean "{near[0]}"?')
    return found


def _hours(table: Table | None) -> dict[str, float]:
    """Hours of work."""
    found = _amounts(table, "it is how many hours it takes")
    for name in found:
        if name not in HOURS:
            assert table is not None
            raise table.error(name, found[name], f"it must be one of {', '.join(HOURS)}", nearest(name, HOURS))
    return found
