"""Places of a table taken into a book: all of it in one action, the file kept with them, nothing twice."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from clackwork.book import writing
from clackwork.book.files import keep_file
from clackwork.book.raw_table import RawTable
from clackwork.book.readings_import import MEDIA_TYPES, free_file_name
from clackwork.book.records import Record, fetch_many
from clackwork.book.run_columns import TableMapping, remembered
from clackwork.book.sites_table import sites_from
from clackwork.book.store import Book
from clackwork.book.tables import record
from clackwork.book.writing import Hand

SETTING = "sites.columns"
"""Under which a book remembers what the columns of its tables of places are."""


@dataclass(frozen=True)
class TakenSites:
    """What came of taking a table of places.

    Attributes
    ----------
    sites : tuple of Record
        Made now, in the order of the rows.
    same : tuple of str
        Names of those that stood in the book already, word for word.
    file : Record or None
        The file as it was given; None when the book has it from before.
    """

    sites: tuple[Record, ...]
    same: tuple[str, ...]
    file: Record | None


def known_sites(book: Book) -> Mapping[str, Mapping[str, Any]]:
    """What the book keeps of each place, by name."""
    with book.reading() as connection:
        return _known(connection)


def _known(connection: sa.Connection) -> dict[str, Mapping[str, Any]]:
    return {one.name: one.entered for one in fetch_many(connection, record.c.kind == "site")}


def take_sites(
    book: Book, table: RawTable, mapping: TableMapping, raw: bytes, *, only_good: bool = False, by: str = ""
) -> TakenSites:
    """Take the places of a table into the book and keep the file with them: all of it in one action, or nothing.

    Parameters
    ----------
    book : Book
    table, mapping
        As previewed.
    raw : bytes
        The file the table was read from.
    only_good : bool, optional
        Leave out rows with an error.
    by : str, optional
        Who takes them.

    Raises
    ------
    ImportRefused
        A question is open or a row has an error; the book may have changed since the preview.
    """
    with book.writing() as connection:
        hand = Hand(connection, by)
        found = sites_from(table, mapping, _known(connection), only_good=only_good)
        sha256 = hashlib.sha256(raw).hexdigest()
        files = fetch_many(connection, record.c.kind == "file")
        file = None
        if found.new and not any(one.entered.get("sha256") == sha256 for one in files):
            name = free_file_name(connection, table.filename)
            file = keep_file(hand, name, raw, MEDIA_TYPES[table.form], {}, None)
        made = tuple(writing.add(hand, "site", row.name, row.entered, {}) for row in found.new)
    book.remember(SETTING, remembered(mapping, kept_sites_mapping(book)))
    return TakenSites(made, tuple(row.name for row in found.rows if row.is_there), file)


def kept_sites_mapping(book: Book) -> Mapping[str, Any]:
    """What the columns of the last tables of places were, for `suggest_mapping`."""
    found = book.setting(SETTING)
    return found if isinstance(found, dict) else {}
