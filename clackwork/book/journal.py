"""The journal of a book: every change with what stood there before and after."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from clackwork.book.errors import NotThere
from clackwork.book.kinds import check_kind
from clackwork.book.records import Record, as_json, check_page, is_number
from clackwork.book.tables import change

if TYPE_CHECKING:
    from clackwork.book.writing import Hand


_INSERT = sa.insert(change).returning(change.c.id)


@dataclass(frozen=True)
class Change:
    """One change of one record.

    Attributes
    ----------
    id : int
    at : datetime
        UTC.
    by : str
    action : str
        "add", "change", "remove" or "undo".
    kind : str
    record_id : int
    name : str
        Of the record after the change.
    before, after : mapping or None
        "version", "name", "links", "entered", "removed"; ``before`` is None for a record that was not there.
    undone_by, undoes : int or None
        Numbers of the change that undid this one (None also when that was undone in its turn), and of the one that this
        undid.
    together : int
        Number of the first change of the same action: a workbook taken in is one action.
    """

    id: int
    at: datetime
    by: str
    action: str
    kind: str
    record_id: int
    name: str
    before: Mapping[str, Any] | None
    after: Mapping[str, Any]
    undone_by: int | None
    undoes: int | None
    together: int


def as_kept(one: Record) -> dict[str, Any]:
    """A record as the journal keeps it."""
    return {
        "version": one.version,
        "name": one.name,
        "links": dict(one.links),
        "entered": one.entered,
        "removed": one.removed,
    }


def write_change(hand: Hand, action: str, before: Record | None, after: Record) -> None:
    """Write one change into the journal."""
    values = {
        "at": hand.at,
        "by": hand.by,
        "action": "undo" if hand.undoes is not None else action,
        "kind": after.kind,
        "record_id": after.id,
        "name": after.name,
        "before": None if before is None else as_json(as_kept(before)),
        "after": as_json(as_kept(after)),
        "undoes": hand.undoes,
        "together": hand.together or 0,
    }
    number: int = hand.connection.execute(_INSERT, values).scalar_one()
    if hand.together is None:
        hand.together = number
        hand.connection.execute(sa.update(change).where(change.c.id == number).values(together=number))
    hand.last = number


def from_row(row: sa.Row[Any]) -> Change:
    """A change from its row."""
    values = dict(row._mapping)
    values["before"] = None if values["before"] is None else json.loads(values["before"])
    values["after"] = json.loads(values["after"])
    return Change(**values)


def fetch_change(connection: sa.Connection, number: int) -> Change:
    """A change by its number.

    Raises
    ------
    NotThere
    """
    row = connection.execute(sa.select(change).where(change.c.id == number)).first() if is_number(number) else None
    if row is None:
        raise NotThere(f"The journal has no change number {str(number)[:20]}.")
    return from_row(row)


def fetch_together(connection: sa.Connection, together: int) -> tuple[Change, ...]:
    """The changes of one action, the last first."""
    rows = connection.execute(sa.select(change).where(change.c.together == together).order_by(change.c.id.desc()))
    return tuple(from_row(row) for row in rows)


def changes(
    connection: sa.Connection, kind: str | None, record_id: int | None, offset: int, limit: int
) -> tuple[Change, ...]:
    """Part of the journal, the newest first."""
    check_page(offset, limit)
    chosen = sa.select(change).order_by(change.c.id.desc()).offset(offset).limit(limit)
    if kind is not None:
        check_kind(kind)
        chosen = chosen.where(change.c.kind == kind)
    if record_id is not None:
        chosen = chosen.where(change.c.record_id == record_id if is_number(record_id) else sa.false())
    return tuple(from_row(row) for row in connection.execute(chosen))
