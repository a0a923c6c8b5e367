"""Twins kept in a book: exact, with what they rest on, and stale with reasons when that changes."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
import pytest
from invented_results import twin as invented_twin
from workshop_books import FLAP, RIG, RUN, Shop, small_shop

import clackwork
from clackwork.book import Book, BookError
from clackwork.errors import InputError
from clackwork.twin.twin import Twin


def same(one: Any, other: Any) -> bool:
    """Whether two twins are the same to the last bit."""
    for field in dataclasses.fields(Twin):
        left, right = getattr(one, field.name), getattr(other, field.name)
        if isinstance(left, np.ndarray):
            if left.dtype != right.dtype or not np.array_equal(left, right, equal_nan=True):
                return False
        elif left != right:
            return False
    return True


def kept_with(book: Book) -> Shop:
    """A small workshop with a twin of its flap."""
    shop = small_shop(book)
    book.keep_twin(shop.flap.id, invented_twin(), by="Ann")
    return shop


def reasons(book: Book, shop: Shop) -> tuple[str, ...]:
    """Why the flap's twin is stale."""
    kept = book.twin_of(shop.flap.id)
    assert kept is not None
    assert kept.stale == bool(kept.reasons)
    return kept.reasons


def test_a_twin_comes_back_exactly(book: Book) -> None:
    shop = small_shop(book)
    assert book.twin_of(shop.flap.id) is None
    twin = invented_twin()
    record = book.keep_twin(shop.flap.id, twin, by="Ann")
    kept = book.twin_of(shop.flap.id)
    assert kept is not None
    assert kept.record == record
    assert same(kept.twin, twin)
    assert (kept.stale, kept.reasons) == (False, ())
    assert record.links == {"pump": shop.pump.id, "build": shop.flap.id}
    assert record.entered["engine"] == clackwork.__version__
    assert record.entered["runs"] == 1
    assert record.si["slip_volume_best_m3"] == twin.best["slip_volume"]
    assert record.si["closing_coefficient_high"] == twin.high["closing_coefficient"]
    assert len(record.entered["kernel"]) == 16


def test_the_last_of_several_is_given(book: Book) -> None:
    shop = kept_with(book)
    second = book.keep_twin(shop.flap.id, dataclasses.replace(invented_twin(), seed=99))
    kept = book.twin_of(shop.flap.id)
    assert kept is not None
    assert (kept.record.id, kept.twin.seed) == (second.id, 99)
    assert book.list("twin", links={"build": shop.flap.id}).total == 2
    book.remove("twin", second.id, version=1)
    assert book.keep_twin(shop.flap.id, invented_twin()).name == "fit 3 of flap"


def test_a_changed_run_makes_it_stale_and_changing_it_back_makes_it_good(book: Book) -> None:
    shop = kept_with(book)
    book.change("run", shop.run.id, version=1, name="flap III", entered={**RUN, "beats": 117})
    assert reasons(book, shop) == ("Run 'flap III' was changed after the fit.",)
    book.undo(book.changes()[0].id)
    assert reasons(book, shop) == ()


def test_a_note_or_a_trial_makes_nothing_stale(book: Book) -> None:
    shop = kept_with(book)
    book.change("run", shop.run.id, version=1, entered={**RUN, "note": "windy"}, links={"trial": None})
    book.change("build", shop.flap.id, version=1, entered={**FLAP, "note": "the old one"})
    assert reasons(book, shop) == ()


def test_every_reason_is_told(book: Book) -> None:
    shop = kept_with(book)
    links = {"build": shop.flap.id, "rig": shop.rig.id}
    book.add("run", "flap 4", RUN, links=links)
    book.change("build", shop.flap.id, version=1, entered={**FLAP, "air_vessel": {"volume": "4 L"}})
    book.change("rig", shop.rig.id, version=1, entered={**RIG, "fall": "2.2 m"})
    book.remove("run", shop.run.id, version=1)
    assert reasons(book, shop) == (
        "The parts of build 'flap' were changed after the fit.",
        "Run 'flap 3' was taken away, or moved to another build, after the fit.",
        "Run 'flap 4' came after the fit.",
        "Rig 'yard' was changed after the fit.",
    )


def test_another_engine_is_a_reason(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    shop = kept_with(book)
    monkeypatch.setattr("clackwork.book.twins.kernel_key", lambda: "0" * 16)
    assert reasons(book, shop) == ("The engine has been changed since the fit.",)
    monkeypatch.setattr("clackwork.__version__", "9.9.9")
    assert reasons(book, shop) == (f"Engine {book.list('twin').records[0].entered['engine']} made it; this is 9.9.9.",)


def test_what_changes_while_the_fit_runs_is_seen(book: Book) -> None:
    shop = small_shop(book)
    basis = book.basis_of(shop.flap.id)
    assert [run.name for run in basis.workbook.runs_of("flap")] == ["flap 3"]
    book.change("run", shop.run.id, version=1, entered={**RUN, "beats": 117})
    book.keep_twin(shop.flap.id, invented_twin(), rests_on=basis.rests_on)
    assert reasons(book, shop) == ("Run 'flap 3' was changed after the fit.",)
    with pytest.raises(InputError, match="not fitted from build 'poppet'"):
        book.keep_twin(shop.poppet.id, invented_twin(), rests_on=basis.rests_on)


def test_a_twin_of_another_shape_is_said_to_be_one(book: Book) -> None:
    from clackwork.book.tables import attachment

    shop = kept_with(book)
    with book.writing() as connection:
        connection.execute(attachment.update().values(content=b"something else"))
    with pytest.raises(BookError, match="fit the build again"):
        book.twin_of(shop.flap.id)


def test_figures_no_number_can_hold_are_kept_too(book: Book) -> None:
    shop = small_shop(book)
    twin = dataclasses.replace(invented_twin(), effective_draws=float("inf"))
    book.keep_twin(shop.flap.id, twin)
    kept = book.twin_of(shop.flap.id)
    assert kept is not None
    assert kept.twin.effective_draws == float("inf")
