"""The journal of a book: what it tells, and putting changes back."""

from __future__ import annotations

import pytest
from workshop_books import RUN, SITE, demo_text, small_shop

from clackwork.book import Book, CannotUndo, NotThere


def test_every_change_is_told_with_before_and_after(book: Book) -> None:
    shop = small_shop(book)
    book.change("run", shop.run.id, version=1, entered={**RUN, "beats": 117}, by="Bo")
    book.remove("run", shop.run.id, version=2, by="Cy")
    told = book.changes(kind="run", id=shop.run.id)
    assert [(one.action, one.by, one.name) for one in told] == [
        ("remove", "Cy", "flap 3"),
        ("change", "Bo", "flap 3"),
        ("add", "Ann", "flap 3"),
    ]
    assert told[2].before is None
    assert told[1].before == told[2].after
    assert (told[1].before or {})["entered"] == RUN
    assert told[1].after["entered"]["beats"] == 117
    assert told[0].after["removed"] is True
    assert [one.id for one in book.changes(limit=2)] == [one.id for one in told[:2]]
    assert book.changes(kind="run", offset=2) == told[2:]


def test_a_change_is_put_back_and_again(book: Book) -> None:
    shop = small_shop(book)
    book.change("run", shop.run.id, version=1, name="flap III", entered={**RUN, "beats": 117})
    undone = book.undo(book.changes()[0].id, by="Bo")
    now = book.get("run", shop.run.id)
    assert (now.name, now.entered, now.si, now.version) == ("flap 3", RUN, shop.run.si, 3)
    assert (undone.action, undone.by) == ("undo", "Bo")
    first = book.changes(kind="run")[1]
    assert (first.undone_by, undone.undoes) == (undone.id, first.id)
    again = book.undo(undone.id)
    assert book.get("run", shop.run.id).name == "flap III"
    assert [one.undone_by for one in book.changes(kind="run")] == [None, again.id, None, None]
    book.undo(first.id)
    assert book.get("run", shop.run.id).name == "flap 3"


def test_changes_are_put_back_one_after_the_other(book: Book) -> None:
    shop = small_shop(book)
    for version, beats in enumerate((117, 118, 119), start=1):
        book.change("run", shop.run.id, version=version, entered={**RUN, "beats": beats})
    third, second, first, _ = book.changes(kind="run")
    with pytest.raises(CannotUndo, match="changed since"):
        book.undo(first.id)
    for one in (third, second, first):
        book.undo(one.id)
    assert book.get("run", shop.run.id).entered == RUN
    with pytest.raises(CannotUndo, match="has been undone already"):
        book.undo(third.id)


def test_adding_and_taking_away_are_put_back(book: Book) -> None:
    shop = small_shop(book)
    added = book.changes(kind="site")[0]
    book.undo(added.id)
    assert book.get("site", shop.site.id).removed
    book.undo(book.changes()[0].id)
    assert not book.get("site", shop.site.id).removed


def test_what_cannot_be_put_back_is_said(book: Book) -> None:
    shop = small_shop(book)
    with pytest.raises(CannotUndo, match="run 'flap 3' rests on it"):
        book.undo(book.changes(kind="rig")[0].id)
    book.remove("site", shop.site.id, version=1)
    removal = book.changes()[0]
    book.add("site", "Upper Hazel", SITE)
    with pytest.raises(CannotUndo, match="another site has that name"):
        book.undo(removal.id)
    with pytest.raises(NotThere):
        book.undo(10_000)
    assert book.changes()[0].action == "add"


def test_a_workbook_taken_in_is_one_action(book: Book) -> None:
    taken = book.take_workbook(demo_text())
    told = book.changes(limit=500)
    assert len({one.together for one in told[: len(taken.added)]}) == 1
    book.undo_together(told[0].id)
    assert [book.list(kind).total for kind in ("pump", "rig", "build", "trial", "run", "site")] == [0] * 6
    assert "prices" not in book.workshop().entered
    assert len(book.undo_together(book.changes()[0].id)) == len(taken.added) + 1  # the workshop's prices
    assert "prices" in book.workshop().entered
    assert book.list("run").total == 23


def test_a_change_of_nothing_is_not_told(book: Book) -> None:
    shop = small_shop(book)
    before = book.changes(limit=500)
    book.change("run", shop.run.id, version=1, entered=dict(RUN), name="flap 3")
    assert book.changes(limit=500) == before
