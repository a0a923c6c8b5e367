"""Records read for a site: its survey, what is designed, chosen and built there, and the workshop's prices."""

from __future__ import annotations

from clackwork.book import Book, Record
from clackwork.site.prices import PriceList
from clackwork.workbook_prices import read_prices
from clackwork.workbook_reader import Table
from clackwork.workbook_sites import Place, read_place


def record_place(record: Record) -> Place:
    """All that a site's record says.

    Raises
    ------
    InputError
        A field that cannot be used: the book was written by another version.
    """
    table = Table(dict(record.entered), f"site '{record.name}'", f"site.{record.name}", {})
    return read_place(table, record.name)


def prices_of(book: Book) -> PriceList | None:
    """The workshop's price list; None when it has none."""
    prices = book.workshop().entered.get("prices")
    return None if prices is None else read_prices(Table(dict(prices), "prices", "prices", {}))
