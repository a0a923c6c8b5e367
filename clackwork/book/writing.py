"""How records are written: each write checks what was typed, keeps the journal, and stands or falls as a whole."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from typing import Any

import sqlalchemy as sa

from clackwork.book.errors import Conflict, InUse, NameTaken
from clackwork.book.journal import write_change
from clackwork.book.kinds import LINKS, Around, check_kind, read_entered, rig_of
from clackwork.book.records import (
    Record,
    as_json,
    checked_name_of,
    fetch,
    fetch_many,
    fetch_named,
    from_row,
    is_number,
    plain,
    scope_of,
    search_words,
    sentence_of,
    sort_key,
)
from clackwork.book.tables import ROLES, record
from clackwork.errors import InputError
from clackwork.twin.twin import Rig
from clackwork.workbook_instruments import ROLES as SORT_OF_ROLE

KEPT_BY_PROGRAM = ("twin", "file")
"""Kinds the program makes itself; of theirs a person may change the name and the note."""
_INSERT = sa.insert(record).returning(*record.c)
_LONGEST_REQUEST = 100
_LONGEST_PERSON = 80


@dataclass
class Hand:
    """One action on a book: its transaction, who acts and when; all its changes stand together in the journal.

    Attributes
    ----------
    connection : sqlalchemy.Connection
        Of a writing transaction.
    by : str
        Who, as they wish to be named; may be empty.
    at : datetime
    together : int or None
        Number of the first change of the action, once there is one.
    undoes : int or None
        Number of the change that is being undone.
    last : int or None
        Number of the last change written.
    seen : dict of int to Record
        Records read in the action, as they stand.
    rigs : dict of int to (Record, dict of str to Record, Rig)
        Rigs read in the action, with the records of their instruments.
    """

    connection: sa.Connection
    by: str = ""
    at: datetime = field(default_factory=lambda: datetime.now(UTC))
    together: int | None = None
    undoes: int | None = None
    last: int | None = None
    seen: dict[int, Record] = field(default_factory=dict)
    rigs: dict[int, tuple[Record, dict[str, Record], Rig]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if not isinstance(self.by, str) or len(self.by) > _LONGEST_PERSON or not self.by.isprintable():
            raise InputError(
                "by", str(self.by)[:40], f"a person's name is at most {_LONGEST_PERSON} printable characters"
            )

    def fetch(self, kind: str, number: int) -> Record:
        """A record as `clackwork.book.records.fetch` gives it, read once in an action."""
        found = self.seen.get(number) if is_number(number) else None
        if found is None or found.kind != kind:
            found = self.seen[number] = fetch(self.connection, kind, number)
        return found

    def rig(self, one: Record) -> Rig:
        """The rig of a record, read once in an action."""
        instruments = self.linked("rig", one.links)
        if self.rigs.get(one.id, (None, None))[:2] != (one, instruments):
            self.rigs[one.id] = (one, instruments, rig_of(one.name, one.entered, around_rig(instruments)))
        return self.rigs[one.id][2]

    def linked(self, kind: str, links: Mapping[str, int]) -> dict[str, Record]:
        """The records that one of a kind is linked to, by role."""
        return {role: self.fetch(LINKS[kind][role].kind, number) for role, number in links.items()}


def around_rig(instruments: Mapping[str, Record]) -> Around:
    """What the readers need to know of a rig's instruments, by role."""
    return Around(
        {role: one.name for role, one in instruments.items()},
        instruments={role: one.entered for role, one in instruments.items()},
    )


@dataclass(frozen=True)
class Content:
    """What a person may change in a record."""

    name: str
    links: Mapping[str, int]
    entered: Mapping[str, Any]
    removed: bool = False


def content_of(one: Record) -> Content:
    """The content of a record."""
    return Content(one.name, one.links, one.entered, one.removed)


def add(
    hand: Hand,
    kind: str,
    name: str,
    entered: Mapping[str, Any],
    links: Mapping[str, int],
    request_id: str | None = None,
    si: Mapping[str, float | None] | None = None,
) -> Record:
    """Write a new record; ``si`` is given for what the program itself makes, which is not read."""
    check_kind(kind)
    earlier = _made_by(hand.connection, kind, request_id)
    if earlier is not None:
        return earlier
    content = Content(
        checked_name_of(kind, name),
        _whole_links(hand, kind, name, links),
        plain(entered, f"{kind} '{name}'"),
    )
    _check_place(hand, kind, content, None)
    if si is None:
        si = _read(hand, kind, content)
    values = _values(kind, content, si) | {
        "version": 1,
        "request_id": request_id,
        "made_at": hand.at,
        "made_by": hand.by,
        "changed_at": hand.at,
        "changed_by": hand.by,
    }
    row = hand.connection.execute(_INSERT, values).one()
    made = from_row(row)
    write_change(hand, "add", None, made)
    return made


def change(hand: Hand, present: Record, wanted: Content, action: str = "change") -> Record:
    """Write another content into a record that the caller has just read in the same transaction."""
    content = Content(
        checked_name_of(present.kind, wanted.name),
        _whole_links(hand, present.kind, wanted.name, wanted.links),
        plain(wanted.entered, f"{present.kind} '{wanted.name}'"),
        wanted.removed,
    )
    if content == content_of(present):
        return present
    if content.removed:
        if present.kind == "workshop":
            raise InUse("A book is never without its workshop; change what it says instead.")
        _refuse_in_use(hand.connection, present)
        si = present.si
    else:
        _check_place(hand, present.kind, content, present)
        si = _read_again(hand, present, content)
        _check_what_rests(hand, present, content)
    values = _values(present.kind, content, si) | {
        "version": present.version + 1,
        "changed_at": hand.at,
        "changed_by": hand.by,
    }
    row = hand.connection.execute(
        sa.update(record).where(record.c.id == present.id).values(**values).returning(*record.c)
    ).one()
    changed = hand.seen[present.id] = from_row(row)
    write_change(hand, action, present, changed)
    return changed


def require_version(present: Record, version: int, wanted: Content) -> None:
    """Refuse a change of a record that somebody changed first; a change to what stands there already is none.

    Raises
    ------
    Conflict
    """
    if present.version != version and wanted != content_of(present):
        mine = {"name": wanted.name, "entered": dict(wanted.entered), "links": dict(wanted.links)}
        raise Conflict(mine, present)


def remove(hand: Hand, present: Record, with_all: bool) -> Record:
    """Mark a record removed; ``with_all`` takes away first what rests on it.

    Raises
    ------
    InUse
        Others rest on it.
    """
    if present.kind == "workshop":
        raise InUse("The workshop itself cannot be taken away; start a new book instead.")
    if with_all:
        for one in _resting(hand.connection, present):
            still = fetch(hand.connection, one.kind, one.id)
            if not still.removed:
                remove(hand, still, True)
    before = content_of(present)
    return change(hand, present, Content(before.name, before.links, before.entered, True), "remove")


def _made_by(connection: sa.Connection, kind: str, request_id: str | None) -> Record | None:
    """The record that the same request made when it came the first time."""
    if request_id is None:
        return None
    if not isinstance(request_id, str) or not 1 <= len(request_id) <= _LONGEST_REQUEST or not request_id.isprintable():
        raise InputError("request_id", str(request_id)[:40], f"it is 1 to {_LONGEST_REQUEST} printable characters")
    row = connection.execute(sa.select(record).where(record.c.request_id == request_id)).first()
    if row is None:
        return None
    if row.kind != kind:
        raise InputError("request_id", request_id, f"it made a {row.kind} before, not a {kind}", "Use a new one.")
    return from_row(row)


def _whole_links(hand: Hand, kind: str, name: str, links: Mapping[str, int]) -> dict[str, int]:
    """Links checked one by one, the pump filled in from the build."""
    roles = LINKS[kind]
    given = {role: number for role, number in links.items() if number is not None}
    for role, number in given.items():
        if role not in roles:
            raise InputError(
                f"{kind} '{name}', {role}", number, f"a {kind} is linked by: {', '.join(roles) or '(none)'}"
            )
        if not is_number(number):
            raise InputError(f"{kind} '{name}', {role}", number, "a link is the number of a record")
    anchor = given.get("build", given.get("old_build")) if "pump" in roles and "pump" not in given else None
    if anchor is not None and kind != "file":
        given["pump"] = hand.fetch("build", anchor).links["pump"]
    for role, link in reversed(list(roles.items())):  # the pump last: it follows from a build
        if link.needed and role not in given:
            raise InputError(f"{kind} '{name}', {role}", "(nothing)", f"a {kind} needs the {link.kind} it belongs to")
    return {role: given[role] for role in ROLES if role in given}


def _check_place(hand: Hand, kind: str, content: Content, present: Record | None) -> None:
    """Refuse links that cannot be and a name that is taken.

    Raises
    ------
    InputError
    """
    field_of = f"{kind} '{content.name}'"
    linked = hand.linked(kind, content.links)
    for role, one in linked.items():
        if one.removed:
            raise InputError(f"{field_of}, {role}", one.name, "it has been taken away", "Put it back first.")
        pump = one.links.get("pump") if role != "pump" and kind != "file" else None
        if pump is not None and pump != content.links["pump"]:
            raise InputError(f"{field_of}, {role}", one.name, "it belongs to another pump")
    if present is not None and kind in ("build", "trial", "switch") and content.links["pump"] != present.links["pump"]:
        raise InputError(
            f"{field_of}, pump", linked["pump"].name, f"a {kind} stays with its pump", "Make a new one there."
        )
    if kind == "build":
        _refuse_circle(hand.connection, field_of, linked.get("revision_of"), present)
    if kind == "rig":
        _check_sorts(field_of, linked)
    if kind in ("trial", "switch") and linked["old_build"] == linked["new_build"]:
        raise InputError(f"{field_of}, builds", linked["old_build"].name, "the two builds must differ")
    if kind == "run" and "trial" in linked and linked["build"].id not in _builds_of(linked["trial"].links):
        allowed = f"that trial does not compare {linked['build'].name}"
        raise InputError(f"{field_of}, trial", linked["trial"].name, allowed, "Name a trial of the build on the rig.")
    if kind == "workshop" and present is None and fetch_many(hand.connection, record.c.kind == "workshop"):
        raise NameTaken("workshop", content.name, "a book has one workshop", "Change that one.")
    other = fetch_named(hand.connection, kind, scope_of(kind, content.links), content.name)
    if other is not None and (present is None or other.id != present.id):
        raise NameTaken(
            f"name of the {kind}", f'"{content.name}"', f"another {kind} has that name", "Choose another name."
        )


def _check_sorts(field_of: str, linked: Mapping[str, Record]) -> None:
    """Refuse an instrument in the place of one of another sort."""
    for role, one in linked.items():
        if one.entered["sort"] != SORT_OF_ROLE[role]:
            wanted, found = (sort.replace("_", " ") for sort in (SORT_OF_ROLE[role], one.entered["sort"]))
            raise InputError(f"{field_of}, {role}", one.name, f"it is a {found}, and a {wanted} is wanted here")


def _builds_of(links: Mapping[str, int]) -> tuple[int, int]:
    return links["old_build"], links["new_build"]


def _refuse_circle(connection: sa.Connection, field_of: str, earlier: Record | None, present: Record | None) -> None:
    """Refuse a build that is a revision of itself, also by way of others."""
    at = earlier
    while at is not None and present is not None:
        if at.id == present.id:
            raise InputError(f"{field_of}, revision_of", at.name, "a build cannot come from itself")
        before = at.links.get("revision_of")
        at = None if before is None else fetch(connection, "build", before)


def _read(hand: Hand, kind: str, content: Content) -> Mapping[str, float | None]:
    if kind in KEPT_BY_PROGRAM:
        raise InputError("kind", kind, "the program makes it itself", "Fit a twin, or keep a file.")
    linked = hand.linked(kind, content.links)
    names = {role: one.name for role, one in linked.items()}
    around = around_rig(linked) if kind == "rig" else Around(names, hand.rig(linked["rig"]) if kind == "run" else None)
    return read_entered(kind, content.name, content.entered, around)


def _read_again(hand: Hand, present: Record, content: Content) -> Mapping[str, float | None]:
    """The SI figures of a changed content."""
    if present.kind not in KEPT_BY_PROGRAM:
        return _read(hand, present.kind, content)
    for key in {*present.entered, *content.entered} - {"note"}:
        if content.entered.get(key) != present.entered.get(key):
            field_of = f"{present.kind} '{content.name}', {key}"
            raise InputError(field_of, content.entered.get(key), "only its note can be changed")
    if not isinstance(content.entered.get("note", ""), str):
        raise InputError(f"{present.kind} '{content.name}', note", content.entered["note"], "it must be text")
    return present.si


def _resting(connection: sa.Connection, one: Record) -> tuple[Record, ...]:
    """Records that rest on one: linked to it in any role."""
    roles = {role for links in LINKS.values() for role, link in links.items() if link.kind == one.kind}
    if not roles:
        return ()
    return fetch_many(connection, sa.or_(*(record.c[f"{role}_id"] == one.id for role in roles)))


def _refuse_in_use(connection: sa.Connection, one: Record) -> None:
    resting = _resting(connection, one)
    if resting:
        raise InUse(
            f"The {one.kind} '{one.name}' cannot be taken away: {sentence_of(resting[:3], len(resting))} "
            f"rest{'s' if len(resting) == 1 else ''} on it. Take that away first."
        )


def _check_what_rests(hand: Hand, present: Record, content: Content) -> None:
    """Refuse a change after which something that rests on the record could no longer be read."""
    connection = hand.connection
    if present.kind == "rig" and (content.entered, content.links) != (present.entered, present.links):
        around = around_rig(hand.linked("rig", content.links))
        _check_runs_on(connection, present.id, rig_of(content.name, content.entered, around), ("rig", content.name))
    if present.kind == "instrument" and content.entered != present.entered:
        _check_rigs_with(hand, present, content)
    if present.kind == "trial" and _builds_of(content.links) != _builds_of(present.links):
        runs = fetch_many(connection, record.c.trial_id == present.id)
        strangers = [run for run in runs if run.links["build"] not in _builds_of(content.links)]
        if strangers:
            made = sentence_of(strangers[:3], len(strangers))
            raise InUse(f"The trial '{present.name}' keeps its builds: with them were made {made}.")


def _check_rigs_with(hand: Hand, instrument: Record, content: Content) -> None:
    """Read every rig that uses an instrument, and the runs on it, as the instrument is to be."""
    changed = replace(instrument, name=content.name, entered=content.entered)
    for rig in _resting(hand.connection, instrument):
        if rig.kind != "rig":
            continue
        linked = hand.linked("rig", rig.links)
        linked |= {role: changed for role, one in linked.items() if one.id == changed.id}
        try:
            _check_sorts(f"rig '{rig.name}'", linked)
            made = rig_of(rig.name, rig.entered, around_rig(linked))
        except InputError as error:
            raise _no_longer("instrument", content.name, f"rig '{rig.name}', which uses it,", error) from error
        _check_runs_on(hand.connection, rig.id, made, ("instrument", content.name))


def _check_runs_on(connection: sa.Connection, rig_id: int, rig: Rig, changed: tuple[str, str]) -> None:
    """Read every run of a rig again as the rig is to be; ``changed`` are kind and name of what is changed."""
    runs: Iterable[Record] = fetch_many(connection, record.c.rig_id == rig_id, record.c.kind == "run")
    around = Around({"build": "the build", "rig": rig.name}, rig)
    for run in runs:
        try:
            read_entered("run", run.name, run.entered, around)
        except InputError as error:
            raise _no_longer(*changed, f"run '{run.name}', which stood on it,", error) from error


def _no_longer(kind: str, name: str, what: str, error: InputError) -> InputError:
    """A change refused for what rests on it."""
    said = f"{what} could no longer be read: {error}"
    return InputError(f"{kind} '{name}'", "as changed", said, f"Describe the changed {kind} as a new one.")


def _values(kind: str, content: Content, si: Mapping[str, float | None]) -> dict[str, Any]:
    """Columns of a record's content."""
    return {
        "kind": kind,
        "scope": scope_of(kind, content.links),
        "name": content.name,
        "sort_key": sort_key(content.name),
        "words": search_words(content.name, content.entered),
        "removed": int(content.removed),
        "entered": as_json(content.entered),
        "si": as_json(dict(si)),
        **{f"{role}_id": content.links.get(role) for role in ROLES},
    }
