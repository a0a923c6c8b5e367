"""The book: all of a workshop's records, kept safely, with a journal of every change."""

from __future__ import annotations

from clackwork.book.errors import BookError, CannotUndo, Conflict, InUse, NameTaken, NotThere
from clackwork.book.exchange import Taken
from clackwork.book.journal import Change
from clackwork.book.records import PageOf, Record
from clackwork.book.store import Book, differences, open_book
from clackwork.book.twins import Basis, KeptTwin

__all__ = [
    "open_book",
    "Book",
    "Record",
    "PageOf",
    "Change",
    "Taken",
    "Basis",
    "KeptTwin",
    "differences",
    "BookError",
    "CannotUndo",
    "Conflict",
    "InUse",
    "NameTaken",
    "NotThere",
]
