"""A book: all of a workshop's records, in a folder or a PostgreSQL database."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager, contextmanager
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import Any

import sqlalchemy as sa

from clackwork.book import exchange, files, journal, records, twins, undoing, writing
from clackwork.book.differences import differences_between
from clackwork.book.errors import BookError, NotThere
from clackwork.book.exchange import Taken
from clackwork.book.journal import Change
from clackwork.book.migrate import bring_up_to_date
from clackwork.book.places import Place, Store, find_place
from clackwork.book.records import Order, PageOf, Record
from clackwork.book.tables import ROLES, record, setting
from clackwork.book.twins import Basis, KeptTwin
from clackwork.book.writing import Content, Hand
from clackwork.errors import InputError
from clackwork.twin.twin import Twin
from clackwork.workbook import Workbook

_LARGEST_SETTING = 200_000


class Book:
    """All of a workshop's records; safe to use from several threads, and from several processes at once.

    Made by `open_book`. Every method is one transaction: when it returns, what it wrote is on the disk.
    """

    def __init__(self, store: Store) -> None:
        self._store = store

    @property
    def place(self) -> Place:
        """Where it lies."""
        return self._store.place

    def reading(self) -> AbstractContextManager[sa.Connection]:
        """A transaction on the tables of `clackwork.book.tables` that sees one moment of the book."""
        return self._store.reading()

    def writing(self) -> AbstractContextManager[sa.Connection]:
        """A transaction that writes alone; for jobs and devices, whose tables have no journal."""
        return self._store.writing()

    def close(self) -> None:
        """Let go of the place."""
        self._store.close()

    def __enter__(self) -> Book:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self.close()

    @contextmanager
    def _hand(self, by: str) -> Iterator[Hand]:
        with self._store.writing() as connection:
            yield Hand(connection, by)

    def add(
        self,
        kind: str,
        name: str,
        entered: Mapping[str, Any],
        *,
        links: Mapping[str, int] | None = None,
        by: str = "",
        request_id: str | None = None,
    ) -> Record:
        """Write a new record; the same ``request_id`` given again returns the record already made.

        Raises
        ------
        InputError
            A field, a link or the name cannot be used.
        NotThere
            A link to a record that is not there.
        """
        with self._hand(by) as hand:
            return writing.add(hand, kind, name, entered, links or {}, request_id)

    def change(
        self,
        kind: str,
        id: int,
        *,
        version: int,
        name: str | None = None,
        entered: Mapping[str, Any] | None = None,
        links: Mapping[str, int | None] | None = None,
        by: str = "",
    ) -> Record:
        """Write another name, other fields or other links; what is None stays.

        Roles given in ``links`` are set, or taken off with None; the others stay.

        Raises
        ------
        Conflict
            ``version`` is not the present one; nothing is written. Asking for what stands there already is no conflict.
        NotThere, InputError
            As for `add`; a record that was taken away is not there.
        """
        with self._hand(by) as hand:
            present = records.fetch(hand.connection, kind, id)
            wanted = Content(
                present.name if name is None else name,
                _merged(present.links, links or {}),
                present.entered if entered is None else records.plain(entered, f"{kind} '{present.name}'"),
            )
            writing.require_version(present, version, wanted)
            if present.removed:
                raise NotThere(f"The {kind} '{present.name}' has been taken away; undo that first.")
            return writing.change(hand, present, wanted)

    def remove(self, kind: str, id: int, *, version: int, by: str = "", with_all: bool = False) -> Record:
        """Take a record away: it is kept, marked, and `undo` brings it back; ``with_all`` takes what rests on it too.

        Raises
        ------
        InUse
            Others rest on it.
        Conflict
            ``version`` is not the present one.
        """
        with self._hand(by) as hand:
            present = records.fetch(hand.connection, kind, id)
            before = writing.content_of(present)
            writing.require_version(present, version, Content(before.name, before.links, before.entered, True))
            return present if present.removed else writing.remove(hand, present, with_all)

    def get(self, kind: str, id: int) -> Record:
        """A record by its number, also one that was taken away.

        Raises
        ------
        NotThere
        """
        with self.reading() as connection:
            return records.fetch(connection, kind, id)

    def find(self, kind: str, name: str, *, links: Mapping[str, int] | None = None) -> Record | None:
        """The record of a name, among those with the links given; None when there is none."""
        with self.reading() as connection:
            return records.find(connection, kind, name, links or {})

    def list(
        self,
        kind: str,
        *,
        links: Mapping[str, int] | None = None,
        search: str = "",
        offset: int = 0,
        limit: int = 50,
        removed: bool = False,
        order: Order = "name",
    ) -> PageOf:
        """Part of the records of a kind, by name or the last changed first.

        Parameters
        ----------
        kind : str
        links : mapping of str to int, optional
            Only those linked so: ``{"pump": 3}``. A trial is linked to a "build" when it is either of its two.
        search : str
            Words that all stand in name, title or note.
        offset, limit : int
            0 or more; 1 to 500.
        removed : bool
            Those taken away instead.
        order : {"name", "changed"}
        """
        with self.reading() as connection:
            return records.page_of(connection, kind, links or {}, search, offset, limit, removed, order)

    def counts(self, kind: str, role: str, *, links: Mapping[str, int] | None = None) -> dict[int, int]:
        """How many records of a kind there are for each record in a role: ``counts("run", "build")``."""
        with self.reading() as connection:
            return records.counts(connection, kind, role, links or {})

    def changes(
        self, *, kind: str | None = None, id: int | None = None, offset: int = 0, limit: int = 50
    ) -> tuple[Change, ...]:
        """Part of the journal, the newest first; of one kind, or of one record."""
        with self.reading() as connection:
            return journal.changes(connection, kind, id, offset, limit)

    def undo(self, change_id: int, *, by: str = "") -> Change:
        """Put a change back, as a new change.

        Raises
        ------
        CannotUndo
            It was undone before, its record has been changed since, or what was there cannot be now.
        """
        with self._hand(by) as hand:
            return undoing.undo(hand, change_id)

    def undo_together(self, change_id: int, *, by: str = "") -> tuple[Change, ...]:
        """Put back every change of the action to which one belongs: a workbook taken in, a removal with all."""
        with self._hand(by) as hand:
            return undoing.undo_together(hand, change_id)

    def workbook(self, pump_id: int | None = None, *, with_sites: bool = True) -> Workbook:
        """The book's records read as a workbook: one pump's builds, runs and trials, or all; all else of the book."""
        with self.reading() as connection:
            return exchange.read_workbook(connection, pump_id, with_sites)

    def take_workbook(self, text: str, *, pump_name: str | None = None, by: str = "") -> Taken:
        """Take the text of a workbook in, its builds under one pump; all of it or nothing."""
        with self._hand(by) as hand:
            return exchange.take_workbook(hand, text, pump_name)

    def give_workbook(self, pump_id: int) -> str:
        """A pump with its builds, trials, runs, and all instruments, rigs and sites, as the text of a workbook."""
        with self.reading() as connection:
            return exchange.give_workbook(connection, pump_id)

    def basis_of(self, build_id: int) -> Basis:
        """What a fit of a build reads, with the marks to hand to `keep_twin`."""
        with self.reading() as connection:
            return twins.basis_of(connection, build_id)

    def keep_twin(
        self, build_id: int, twin: Twin, *, rests_on: Mapping[str, Any] | None = None, by: str = ""
    ) -> Record:
        """Keep a fitted twin; ``rests_on`` is that of the `basis_of` it was fitted from, None what stands now."""
        with self._hand(by) as hand:
            return twins.keep_twin(hand, build_id, twin, rests_on)

    def twin_of(self, build_id: int) -> KeptTwin | None:
        """The last twin kept of a build, and whether it is stale and why; None when there is none."""
        with self.reading() as connection:
            return twins.twin_of(connection, build_id)

    def differences(self, old_build: int, new_build: int) -> tuple[str, ...]:
        """What differs in the parts of two builds: "stroke 7 mm -> 8 mm"."""
        with self.reading() as connection:
            old, new = (records.fetch(connection, "build", number) for number in (old_build, new_build))
        return differences_between(old, new)

    def keep_file(
        self,
        name: str,
        content: bytes,
        *,
        media_type: str,
        links: Mapping[str, int] | None = None,
        by: str = "",
        request_id: str | None = None,
        about: str = "",
    ) -> Record:
        """Keep a file in the book; its record is of kind "file". ``about`` says what it shows: "visit 12"."""
        with self._hand(by) as hand:
            return files.keep_file(hand, name, content, media_type, links or {}, request_id, about)

    def file_bytes(self, id: int) -> bytes:
        """The bytes of a file kept."""
        with self.reading() as connection:
            return files.file_bytes(connection, id)

    def workshop(self) -> Record:
        """The workshop: title, units and note of the book."""
        with self.reading() as connection:
            return records.fetch_many(connection, record.c.kind == "workshop")[0]

    def setting(self, key: str) -> Any:
        """A small thing remembered under a key, as JSON has it; None when there is none."""
        with self.reading() as connection:
            found = connection.execute(sa.select(setting.c.value).where(setting.c.key == key)).scalar_one_or_none()
        return None if found is None else json.loads(found)

    def remember(self, key: str, value: Any) -> None:
        """Remember a small thing under a key, outside the journal; None forgets it."""
        text = records.as_json(value)
        if not 1 <= len(key) <= 200 or not key.isprintable() or len(text) > _LARGEST_SETTING:
            raise InputError("setting", key[:40], f"a key is 1 to 200 characters, its value at most {_LARGEST_SETTING}")
        with self.writing() as connection:
            connection.execute(sa.delete(setting).where(setting.c.key == key))
            if value is not None:
                connection.execute(sa.insert(setting).values(key=key, value=text, changed_at=datetime.now(UTC)))


def differences(book: Book, build_a: int, build_b: int) -> tuple[str, ...]:
    """What differs in the parts of two builds of a book, one short line each."""
    return book.differences(build_a, build_b)


def _merged(present: Mapping[str, int], given: Mapping[str, int | None]) -> dict[str, int]:
    """Links with those given set or taken off; a pump that follows from another build is found anew."""
    merged = {role: number for role, number in ({**present, **given}).items() if number is not None}
    if "pump" not in given and ("build" in given or "old_build" in given):
        merged.pop("pump", None)
    known = [role for role in ROLES if role in merged]
    return {role: merged[role] for role in [*known, *(role for role in merged if role not in ROLES)]}


def open_book(place: Path | str, *, before_migration: Callable[[Store, str], object] | None = None) -> Book:
    """Open a book, making it where there is none and migrating it when it is of an earlier version.

    Parameters
    ----------
    place : Path or str
        A folder, or an address "postgresql+psycopg:..." of a database.
    before_migration : callable, optional
        What keeps a backup before tables are migrated; None takes `clackwork.book.backup.before_migration`.

    Raises
    ------
    BookError
        The place cannot be used, or a later version of the program wrote the book.
    """
    found = find_place(place)
    if found.folder is not None:
        try:
            found.folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise BookError(f"The folder {found.folder} cannot be made: {error.strerror or error}.") from error
    store = Store(found)
    try:
        bring_up_to_date(store, before_migration or _keep_backup)
        with store.reading() as connection:
            started = records.fetch_many(connection, record.c.kind == "workshop")
        if not started:
            _start(store)
    except BaseException:
        store.close()
        raise
    return Book(store)


def _start(store: Store) -> None:
    """Write the workshop's own record into an empty book."""
    with store.writing() as connection:
        if not records.fetch_many(connection, record.c.kind == "workshop"):  # another process may have been quicker
            writing.add(Hand(connection), "workshop", "Workshop", {}, {})


def _keep_backup(store: Store, revision: str) -> None:
    """Keep a backup before a migration."""
    from clackwork.book.backup import before_migration

    before_migration(store, revision)
