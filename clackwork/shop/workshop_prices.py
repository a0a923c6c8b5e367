"""The workshop's prices, read for a design."""

from __future__ import annotations

from clackwork.book import Book
from clackwork.site.prices import PriceList
from clackwork.workbook_prices import read_prices
from clackwork.workbook_reader import Table


def prices_of(book: Book) -> PriceList | None:
    """The workshop's price list; None when it has none."""
    prices = book.workshop().entered.get("prices")
    return None if prices is None else read_prices(Table(dict(prices), "prices", "prices", {}))
