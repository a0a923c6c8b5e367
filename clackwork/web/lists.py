"""A list as a page shows it: part of the records, what can be searched, what can be added."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from starlette.requests import Request

from clackwork.web.summaries import Line

if TYPE_CHECKING:
    from clackwork.book import PageOf

LIMIT = 50


@dataclass(frozen=True)
class Listing:
    """Rows and what stands around them; ``searched`` are the words of the search box, empty without one."""

    lines: Sequence[Line]
    total: int
    offset: int
    searched: str = ""
    empty: str = ""
    add: str = ""
    add_words: str = ""
    title: str = ""
    limit: int = LIMIT


def listing_of(
    found: PageOf, lines: Sequence[Line], searched: str, empty: str, add: str, add_words: str, title: str = ""
) -> Listing:
    """A list out of part of the records."""
    return Listing(lines, found.total, found.offset, searched, empty, add, add_words, title)


def offset_of(request: Request) -> int:
    """The place a list begins at, from the address; 0 when it says none."""
    text = request.query_params.get("offset", "")
    return int(text) if text.isascii() and text.isdigit() and len(text) < 9 else 0


def search_of(request: Request) -> str:
    """What is looked for, from the address."""
    return request.query_params.get("search", "").strip()[:80]
