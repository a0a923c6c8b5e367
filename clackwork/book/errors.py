"""What a book may refuse, each in a sentence for the one who asked."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from clackwork.errors import ClackworkError, InputError

if TYPE_CHECKING:
    from clackwork.book.records import Record


class BookError(ClackworkError):
    """The book as a whole cannot be used: no such place, not a book, busy, full, of a later version."""


class NotThere(ClackworkError):
    """No record of that kind and number."""


class InUse(ClackworkError):
    """A record that others rest on cannot be taken away."""


class CannotUndo(ClackworkError):
    """A change that cannot be put back as things stand now."""


class NameTaken(InputError):
    """Another record in the same place has that name."""


class Conflict(ClackworkError):
    """Somebody else changed the record first; nothing was written, and nothing is lost.

    Parameters
    ----------
    mine : mapping
        What was to be written: "name", "entered", "links".
    theirs : Record
        The record as it stands now.
    """

    def __init__(self, mine: Mapping[str, object], theirs: Record) -> None:
        self.mine = mine
        self.theirs = theirs
        who = f" by {theirs.changed_by}" if theirs.changed_by else ""
        what = "taken away" if theirs.removed else "changed"
        super().__init__(
            f"The {theirs.kind} '{theirs.name}' was {what}{who} at {theirs.changed_at:%H:%M:%S} UTC, after you opened it. "
            "Nothing of yours was written: compare the two and save again."
        )
