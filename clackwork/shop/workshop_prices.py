"""The workshop's prices and stock, read for a design."""

from __future__ import annotations

from clackwork.book import Book
from clackwork.site.prices import PriceList
from clackwork.site.stock import Stock
from clackwork.workbook_prices import read_prices
from clackwork.workbook_reader import Table
from clackwork.workbook_stock import read_stock


def prices_of(book: Book) -> PriceList | None:
    """The workshop's price list; None when it has none."""
    prices = book.workshop().entered.get("prices")
    return None if prices is None else read_prices(Table(dict(prices), "prices", "prices", {}))


def stock_of(book: Book) -> Stock:
    """What the workshop builds with; the usual where it has not said."""
    stock = book.workshop().entered.get("stock")
    return read_stock(None if stock is None else Table(dict(stock), "stock", "stock", {}))
