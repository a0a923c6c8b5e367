"""The page of prices."""

from __future__ import annotations

from collections.abc import Iterator
from html import unescape
from pathlib import Path

import pytest
from web_case import Browser, served

LISTS = {
    "prices.currency": "EUR",
    "prices.margin": "20 %",
    "prices.pipes": "steel-sch40 1 in = 7.50\nPE100-SDR11 25 = 1,10",
    "prices.parts": "strainer = 18\ntransport = 60",
}


@pytest.fixture
def own(tmp_path: Path) -> Iterator[Browser]:
    with served(tmp_path) as browser:
        yield browser


def test_prices_are_kept_beside_what_else_is_known_of_the_workshop(own: Browser) -> None:
    assert "no price list yet" in own.get("/book").text
    answer = own.fill("/book/prices", {"version": "2", **LISTS})
    assert answer.status_code == 303, answer.text
    workshop = own.app.state.shelf.book().workshop()
    assert workshop.entered["title"] == "Hillside Rams"
    assert workshop.entered["prices"]["pipes"] == {"steel-sch40 1 in": "7.50", "PE100-SDR11 25": "1,10"}
    page = unescape(own.get("/book/prices").text)
    assert "steel-sch40 1 in = 7.50\nPE100-SDR11 25 = 1,10" in page
    own.fill("/book/workshop", {"version": str(workshop.version), "title": "Hillside Rams", "units": "us"})
    assert own.app.state.shelf.book().workshop().entered["prices"] == workshop.entered["prices"]


def test_a_wrong_line_is_told_and_nothing_typed_is_lost(own: Browser) -> None:
    answer = own.fill("/book/prices", {"version": "2", **LISTS, "prices.hours": "each pumps = 3"})
    text = unescape(answer.text)
    assert answer.status_code == 422 and "each pumps: it must be one of" in text and 'Did you mean "each pump"?' in text
    assert "PE100-SDR11 25 = 1,10" in text
    assert "prices" not in own.app.state.shelf.book().workshop().entered


def test_a_second_hand_does_not_overwrite_the_first_unseen(own: Browser) -> None:
    own.fill("/book/prices", {"version": "2", **LISTS})
    answer = own.fill("/book/prices", {"version": "2", **LISTS, "prices.currency": "USD"})
    assert answer.status_code == 409 and "Somebody else changed the workshop" in answer.text
    assert own.app.state.shelf.book().workshop().entered["prices"]["currency"] == "EUR"


def test_an_emptied_list_is_gone(own: Browser) -> None:
    own.fill("/book/prices", {"version": "2", **LISTS})
    own.fill("/book/prices", {"version": "3"})
    assert "prices" not in own.app.state.shelf.book().workshop().entered
