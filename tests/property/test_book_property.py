"""Whatever is done to a book, its journal can rebuild the records, and undoing all leads back to the start."""

from __future__ import annotations

import contextlib
import tempfile
import tomllib
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st
from workshop_books import RIG, RUN, demo_text, small_shop

from clackwork.book import Book, open_book
from clackwork.book.toml_text import table_lines, toml_key
from clackwork.errors import ClackworkError
from clackwork.workbook import load_workbook

_NAMES = st.sampled_from(["flap 1", "flap 2", "yard", "other"])
_STEPS = st.one_of(
    st.tuples(st.just("add"), st.sampled_from(["pump", "rig", "run"]), _NAMES, st.integers(1, 200)),
    st.tuples(st.just("change"), st.integers(0, 8), _NAMES, st.integers(1, 200)),
    st.tuples(st.just("remove"), st.integers(0, 8), st.booleans()),
    st.tuples(st.just("undo"), st.integers(0, 6), st.booleans()),
)


def entered_of(kind: str, number: int) -> dict[str, Any]:
    """Something typed in a record of a kind, different for every number."""
    return {"run": {**RUN, "beats": number}, "rig": {**RIG, "note": str(number)}}.get(kind, {"note": str(number)})


def do(book: Book, step: tuple[Any, ...]) -> None:
    """One step; what the book refuses is left."""
    touched = [one for kind in ("pump", "rig", "run") for one in book.list(kind).records]
    if step[0] == "add":
        links = {}
        if step[1] == "run":
            links = {role: there[0].id for role in ("build", "rig") if (there := book.list(role).records)}
        book.add(step[1], step[2], entered_of(step[1], step[3]), links=links)
    elif step[0] == "change" and touched:
        one = touched[step[1] % len(touched)]
        book.change(one.kind, one.id, version=one.version, name=step[2], entered=entered_of(one.kind, step[3]))
    elif step[0] == "remove" and touched:
        one = touched[step[1] % len(touched)]
        book.remove(one.kind, one.id, version=one.version, with_all=step[2])
    elif step[0] == "undo":
        change = book.changes(limit=500)[step[1]]
        book.undo_together(change.id) if step[2] else book.undo(change.id)


def contents(book: Book) -> dict[int, dict[str, Any]]:
    """Every record, removed or not, as the journal should have it."""
    return {
        one.id: {
            "version": one.version,
            "name": one.name,
            "links": one.links,
            "entered": one.entered,
            "removed": one.removed,
        }
        for kind in ("workshop", "pump", "rig", "build", "trial", "run", "site")
        for removed in (False, True)
        for one in book.list(kind, removed=removed, limit=500).records
    }


def rebuilt(book: Book) -> dict[int, dict[str, Any]]:
    """Every record from the journal alone, each step checked against the one before."""
    found: dict[int, dict[str, Any]] = {}
    for change in reversed(book.changes(limit=500)):
        assert change.before == found.get(change.record_id)
        found[change.record_id] = dict(change.after)
    return found


@settings(max_examples=25, deadline=None)
@given(steps=st.lists(_STEPS, min_size=1, max_size=12))
def test_the_journal_rebuilds_the_records(steps: list[tuple[Any, ...]]) -> None:
    with tempfile.TemporaryDirectory() as folder, open_book(folder) as book:
        small_shop(book)
        start = {number: {**one, "version": 0} for number, one in contents(book).items()}
        length = len(book.changes(limit=500))
        for step in steps:
            with contextlib.suppress(ClackworkError):
                do(book, step)
        assert rebuilt(book) == contents(book)
        later = [change.id for change in book.changes(limit=500)][:-length]
        for number in later:  # newest first; one that stands undone needs nothing
            [change] = [one for one in book.changes(limit=500) if one.id == number]
            if change.undone_by is None:
                book.undo(number)
        assert {number: {**contents(book)[number], "version": 0} for number in start} == start


_TEXTS = st.text(st.characters(exclude_categories=("Cs",)), max_size=20)
_VALUES = st.recursive(
    st.one_of(
        _TEXTS, st.integers(-(2**63), 2**63 - 1), st.booleans(), st.floats(allow_nan=False, allow_infinity=False)
    ),
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(_TEXTS, inner, max_size=8)),
    max_leaves=12,
)


@given(name=_TEXTS, table=st.dictionaries(_TEXTS, _VALUES, max_size=5))
def test_toml_written_is_read_back_exactly(name: str, table: dict[str, Any]) -> None:
    text = "\n".join(table_lines(f"[run.{toml_key(name)}]", table))
    assert tomllib.loads(text) == {"run": {name: table}}


_PRINTABLE = st.text(st.characters(exclude_categories=("C", "Z")), min_size=1, max_size=40)


@settings(max_examples=10, deadline=None)
@given(names=st.lists(_PRINTABLE, min_size=2, max_size=2, unique=True), note=_TEXTS)
def test_a_workbook_goes_in_and_out_unchanged(names: list[str], note: str) -> None:
    from clackwork.book.toml_text import toml_value

    text = demo_text().replace('name = "flap 1"\n', f"name = {toml_value(names[0])}\nnote = {toml_value(note)}\n")
    text = text.replace('site."Dry Gill"', f"site.{toml_key(names[1])}")
    text = text.replace('site = "Dry Gill"', f"site = {toml_value(names[1])}")
    with tempfile.TemporaryDirectory() as folder, open_book(folder) as book:
        taken = book.take_workbook(text)
        given_text = book.give_workbook(taken.pump.id)
    was, now = load_workbook(text), load_workbook(given_text)
    for field in ("title", "note", "units", "rigs", "builds", "runs", "trials", "sites", "typed"):
        assert getattr(was, field) == getattr(now, field)
