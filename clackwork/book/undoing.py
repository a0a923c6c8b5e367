"""Putting changes back: each undoing is a change of its own, and can be undone in its turn."""

from __future__ import annotations

from dataclasses import replace

import sqlalchemy as sa

from clackwork.book import writing
from clackwork.book.errors import CannotUndo
from clackwork.book.journal import Change, fetch_change, fetch_together
from clackwork.book.records import fetch
from clackwork.book.tables import change
from clackwork.book.writing import Content, Hand
from clackwork.errors import ClackworkError


def undo(hand: Hand, number: int) -> Change:
    """Put one change back.

    Raises
    ------
    CannotUndo
        It has been undone already, the record has been changed since, or what was there before cannot be now.
    """
    found = fetch_change(hand.connection, number)
    what = f"The change of {found.kind} '{found.name}' (number {found.id})"
    if found.undone_by is not None:
        raise CannotUndo(f"{what} has been undone already; undo change {found.undone_by} to have it again.")
    present = fetch(hand.connection, found.kind, found.record_id)
    after = Content(found.after["name"], found.after["links"], found.after["entered"], found.after["removed"])
    if writing.content_of(present) != after:
        raise CannotUndo(f"{what} cannot be undone: it has been changed since. Undo the later change first.")
    before = found.before
    if before is None:
        target = replace(after, removed=True)
    else:
        target = Content(before["name"], before["links"], before["entered"], before["removed"])
    hand.undoes = number
    try:
        writing.change(hand, present, target)
    except ClackworkError as error:
        raise CannotUndo(f"{what} cannot be undone as things stand: {error}") from error
    finally:
        hand.undoes = None
    assert hand.last is not None  # the target differs from what stands there, so a change was written
    hand.connection.execute(sa.update(change).where(change.c.id == number).values(undone_by=hand.last))
    if found.undoes is not None:  # what it had undone stands again, and can be undone again
        hand.connection.execute(sa.update(change).where(change.c.id == found.undoes).values(undone_by=None))
    return fetch_change(hand.connection, hand.last)


def undo_together(hand: Hand, number: int) -> tuple[Change, ...]:
    """Put back every change of the action to which one belongs, the last first; all or none."""
    found = fetch_change(hand.connection, number)
    return tuple(undo(hand, one.id) for one in fetch_together(hand.connection, found.together) if one.undone_by is None)
