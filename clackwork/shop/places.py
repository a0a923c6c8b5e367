"""A site's record read: what was surveyed, what is designed, what was chosen and built."""

from __future__ import annotations

from clackwork.book import Record
from clackwork.workbook_reader import Table
from clackwork.workbook_sites import Place, read_place


def place_of(record: Record) -> Place:
    """All that a site's record says.

    Raises
    ------
    InputError
        A field that cannot be used: the book was written by another version.
    """
    table = Table(dict(record.entered), f"site '{record.name}'", f"site.{record.name}", {})
    return read_place(table, record.name)
