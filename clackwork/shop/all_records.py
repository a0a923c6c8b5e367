"""Every record of a kind, page by page."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from clackwork.book import Book, Record

_PAGE = 500


def all_records(book: Book, kind: str, links: dict[str, int] | None = None) -> Iterator[Record]:
    """Every record of a kind."""
    offset = 0
    while True:
        found = book.list(kind, links=links, offset=offset, limit=_PAGE)
        yield from found.records
        offset += len(found.records)
        if not found.records or offset >= found.total:
            return
