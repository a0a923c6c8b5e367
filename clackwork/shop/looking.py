"""A look at a part in service, added to its record; and what all parts of a book show."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from typing import Any

from clackwork.book import Book, Record
from clackwork.life_report import LifeGroup, life_groups
from clackwork.shop.sites_due import part_rates


def add_look(book: Book, part_id: int, look: Mapping[str, Any], *, version: int, by: str = "") -> Record:
    """Add a look to a part.

    Parameters
    ----------
    book : Book
    part_id : int
    look : mapping
        As typed: what [[part.look]] of a workbook holds.
    version : int
        Of the part, as it was seen.
    by : str, optional

    Raises
    ------
    InputError
        The look cannot be: before the one before it, beats that go backwards, a part whose life has ended.
    Conflict
        The part was changed since.
    NotThere
        No such part.
    """
    part = book.get("part", part_id)
    entered = {**part.entered, "look": [*part.entered.get("look", []), dict(look)]}
    return book.change("part", part_id, version=version, entered=entered, by=by)


def groups_of_book(book: Book) -> list[LifeGroup]:
    """What all parts in service show, by kind and material; empty where there is none."""
    if not book.list("part", limit=1).total:
        return []
    tomorrow = datetime.date.today() + datetime.timedelta(days=1)  # a look may be entered a time zone ahead
    return life_groups(book.workbook(), None, tomorrow, part_rates(book))
