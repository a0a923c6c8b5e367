"""What a record of a book is, and how records are read: one, by name, a page of them."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Literal

import sqlalchemy as sa

from clackwork.book.errors import NotThere
from clackwork.book.kinds import LINKS, SCOPED, check_kind
from clackwork.book.tables import ROLES, record
from clackwork.errors import InputError
from clackwork.workbook_reader import checked_name

Order = Literal["name", "changed"]
LARGEST_NUMBER = 2**31 - 1
"""Largest number of a record, as PostgreSQL's integer has it."""
LONGEST_PAGE = 500
_LONGEST_SEARCH = 200
_LONGEST_TEXT = 10_000
_LARGEST_ENTRY = 60_000
_DEEPEST = 5


@dataclass(frozen=True)
class Record:
    """One thing in a book.

    Attributes
    ----------
    kind : str
        "pump", "build", "run", ...
    id, version : int
        The version is 1 when made and one more at each change.
    name : str
    links : mapping of str to int
        Numbers of the records it belongs to, by role: a run has "pump", "build", "rig" and perhaps "trial".
    entered : mapping
        As typed: the table a workbook has for it, without its name and links.
    si : mapping of str to float or None
        SI figures read from it, flat, each key ending in its unit: ``{"duration_s": 120.0}``.
    made_at, changed_at : datetime
        UTC.
    made_by, changed_by : str
    removed : bool
        Taken away, kept for the journal.
    """

    kind: str
    id: int
    version: int
    name: str
    links: Mapping[str, int]
    entered: Mapping[str, Any]
    si: Mapping[str, float | None]
    made_at: datetime
    changed_at: datetime
    made_by: str
    changed_by: str
    removed: bool


@dataclass(frozen=True)
class PageOf:
    """Part of a list.

    Attributes
    ----------
    records : tuple of Record
    total : int
        In the whole list.
    offset : int
        Place of the first record in it.
    """

    records: tuple[Record, ...]
    total: int
    offset: int


def from_row(row: sa.Row[Any]) -> Record:
    """A record from its row."""
    values = row._mapping
    links = {role: number for role in ROLES if (number := values[f"{role}_id"]) is not None}
    return Record(
        kind=values["kind"],
        id=values["id"],
        version=values["version"],
        name=values["name"],
        links=links,
        entered=json.loads(values["entered"]),
        si=json.loads(values["si"]),
        made_at=values["made_at"],
        changed_at=values["changed_at"],
        made_by=values["made_by"],
        changed_by=values["changed_by"],
        removed=bool(values["removed"]),
    )


def is_number(value: object) -> bool:
    """Whether a value may be the number of a record."""
    return isinstance(value, int) and not isinstance(value, bool) and 0 < value <= LARGEST_NUMBER


def fetch(connection: sa.Connection, kind: str, number: int) -> Record:
    """A record by its number, removed or not.

    Raises
    ------
    NotThere
    """
    check_kind(kind)
    found = None
    if is_number(number):
        found = connection.execute(sa.select(record).where(record.c.id == number, record.c.kind == kind)).first()
    if found is None:
        raise NotThere(
            f"There is no {kind} number {str(number)[:20]} in this book; it may be an old address of the page."
        )
    return from_row(found)


def fetch_many(connection: sa.Connection, *where: sa.ColumnElement[bool]) -> tuple[Record, ...]:
    """Records that are not removed, in the order made."""
    chosen = sa.select(record).where(record.c.removed == 0, *where).order_by(record.c.id)
    return tuple(from_row(row) for row in connection.execute(chosen))


def fetch_named(connection: sa.Connection, kind: str, scope: int, name: str) -> Record | None:
    """The record of a name within its pump (or the book, scope 0), None when there is none."""
    found = connection.execute(
        sa.select(record).where(
            record.c.kind == kind, record.c.scope == scope, record.c.name == name, record.c.removed == 0
        )
    ).first()
    return None if found is None else from_row(found)


def find(connection: sa.Connection, kind: str, name: str, links: Mapping[str, int]) -> Record | None:
    """The first record of a name among those with the links given."""
    chosen = sa.select(record).where(*_chosen(kind, links, "", False), record.c.name == name).order_by(record.c.id)
    found = connection.execute(chosen.limit(1)).first() if "\0" not in name else None
    return None if found is None else from_row(found)


def page_of(
    connection: sa.Connection,
    kind: str,
    links: Mapping[str, int],
    search: str,
    offset: int,
    limit: int,
    removed: bool,
    order: Order,
) -> PageOf:
    """Part of the records of one kind: by name (numbers in it counted as numbers), or the last changed first."""
    check_page(offset, limit)
    if order not in ("name", "changed"):
        raise InputError("order", order, "it must be name or changed")
    if len(search) > _LONGEST_SEARCH:
        raise InputError("search", f"{search[:40]}...", f"it must be at most {_LONGEST_SEARCH} characters")
    where = _chosen(kind, links, search, removed)
    by = (record.c.sort_key, record.c.id) if order == "name" else (record.c.changed_at.desc(), record.c.id.desc())
    total = connection.execute(sa.select(sa.func.count()).select_from(record).where(*where)).scalar_one()
    rows = connection.execute(sa.select(record).where(*where).order_by(*by).offset(offset).limit(limit))
    return PageOf(tuple(from_row(row) for row in rows), total, offset)


def check_page(offset: int, limit: int) -> None:
    """Refuse an offset or a limit that makes no page.

    Raises
    ------
    InputError
    """
    if not 0 <= offset <= LARGEST_NUMBER:
        raise InputError("offset", offset, f"it must be 0 to {LARGEST_NUMBER}")
    if not 1 <= limit <= LONGEST_PAGE:
        raise InputError("limit", limit, f"it must be 1 to {LONGEST_PAGE}")


def _chosen(kind: str, links: Mapping[str, int], search: str, removed: bool) -> list[sa.ColumnElement[bool]]:
    """Conditions of a list; a trial belongs to a build when it is either of its two."""
    check_kind(kind)
    where: list[sa.ColumnElement[bool]] = [record.c.kind == kind, record.c.removed == int(removed)]
    for role, number in links.items():
        if role == "build" and kind == "trial":
            columns = [record.c.old_build_id, record.c.new_build_id]
        elif role in LINKS[kind]:
            columns = [record.c[f"{role}_id"]]
        else:
            allowed = ", ".join(LINKS[kind]) or "(none)"
            raise InputError("links", role, f"a {kind} is linked by: {allowed}")
        where.append(sa.or_(*(column == number for column in columns)) if is_number(number) else sa.false())
    for word in search.replace("\0", " ").casefold().split():
        where.append(record.c.words.contains(word, autoescape=True))
    return where


def counts(connection: sa.Connection, kind: str, role: str, links: Mapping[str, int]) -> dict[int, int]:
    """How many records of a kind there are for each record in a role: runs by build."""
    where = _chosen(kind, links, "", False)
    if role not in LINKS[kind]:
        raise InputError("role", role, f"a {kind} is linked by: {', '.join(LINKS[kind]) or '(none)'}")
    column = record.c[f"{role}_id"]
    rows = connection.execute(sa.select(column, sa.func.count()).where(*where, column.is_not(None)).group_by(column))
    return {number: count for number, count in rows}


def scope_of(kind: str, links: Mapping[str, int]) -> int:
    """Number of the pump within which a name is alone; 0 for the book."""
    return links["pump"] if kind in SCOPED else 0


def sort_key(name: str) -> str:
    """A name as it sorts: "Flap 10" after "flap 9"."""
    return re.sub(r"[0-9]+", lambda digits: digits[0].lstrip("0").zfill(10), name.casefold())


def search_words(name: str, entered: Mapping[str, Any]) -> str:
    """What a search looks in: name, title and note."""
    parts = (name, entered.get("title", ""), entered.get("note", ""))
    return " ".join(str(part) for part in parts if part).casefold().replace("\0", " ")


def as_json(data: object) -> str:
    """JSON text that holds every float exactly."""
    return json.dumps(data, separators=(",", ":"), allow_nan=False)


def checked_name_of(kind: str, name: object) -> str:
    """A name that a record may have.

    Raises
    ------
    InputError
    """
    if not isinstance(name, str):
        raise InputError(f"name of the {kind}", type(name).__name__, "it must be text")
    return checked_name(name, f"name of the {kind}")


def plain(entered: object, field: str) -> dict[str, Any]:
    """What was typed as plain tables, lists, texts and numbers; fields left empty (None) are left out.

    Raises
    ------
    InputError
        Not a table, something a workbook cannot hold, or too much of it.
    """
    if not isinstance(entered, Mapping):
        raise InputError(field, type(entered).__name__, "it must be a table of fields")
    found = _plain_table(entered, field, 1)
    if len(as_json(found)) > _LARGEST_ENTRY:
        raise InputError(field, "(more)", f"all its fields together must stay below {_LARGEST_ENTRY} characters")
    return found


def _plain_table(table: Mapping[Any, Any], field: str, depth: int) -> dict[str, Any]:
    if depth > _DEEPEST:
        raise InputError(field, "(tables)", f"tables may stand at most {_DEEPEST} deep in one another")
    found = {}
    for key, value in table.items():
        place = f"{field}, {str(key)[:80]}"
        if not isinstance(key, str) or not key or len(key) > 80 or not key.isprintable():
            raise InputError(place, "(its name)", "the name of a field is 1 to 80 printable characters")
        if value is not None:
            found[key] = _plain_value(value, place, depth)
    return found


def _plain_value(value: Any, field: str, depth: int) -> Any:
    if isinstance(value, Mapping):
        return _plain_table(value, field, depth + 1)
    if isinstance(value, bool):
        return value
    if isinstance(value, str):
        if len(value) > _LONGEST_TEXT:
            raise InputError(field, f"{value[:40]}...", f"a text has at most {_LONGEST_TEXT} characters")
        if any("\ud800" <= character <= "\udfff" for character in value):
            raise InputError(field, "(text)", "it holds half a character; type it again")
        return value
    if type(value) is date:
        return value.isoformat()
    if isinstance(value, int) and abs(value) < 2**63:
        return value
    if isinstance(value, float) and math.isfinite(value):
        return value
    if isinstance(value, list | tuple) and len(value) <= 100:
        if depth > _DEEPEST:
            raise InputError(field, "(list)", f"lists may stand at most {_DEEPEST} deep in one another")
        return [_plain_value(one, field, depth + 1) for one in value]
    raise InputError(field, str(value)[:40], "it must be text, a number, true or false, a short list or a table")


def sentence_of(records: Iterable[Record], total: int) -> str:
    """A few records by name, and how many more: "run 'flap 1', run 'flap 2' and 22 more"."""
    named = [f"{one.kind} '{one.name}'" for one in records]
    more = total - len(named)
    return ", ".join(named) + (f" and {more} more" if more else "")
