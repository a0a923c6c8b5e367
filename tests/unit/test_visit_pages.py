"""Visits by page and API: entered, kept when refused, compared, photographed; what is due."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from invented_twin import twin_of
from web_case import Browser, served
from workshop_books import SHORT, Shop, small_shop

from clackwork.book import Book
from clackwork.shop.photographs import LARGEST_PHOTOGRAPH, kind_of_image
from clackwork.shop.visits import comparison_of, kept_comparison

PNG = b"\x89PNG\r\n\x1a\n" + b"\0" * 40
READ = {"date": "2024-05-03", "purpose": "commissioning", **SHORT}


@pytest.fixture
def browser(tmp_path: Path) -> Iterator[Browser]:
    with served(tmp_path) as one:
        yield one


def book_of(browser: Browser) -> Book:
    book: Book = browser.app.state.shelf.book()
    return book


@pytest.fixture
def shop(browser: Browser) -> Shop:
    book = book_of(browser)
    made = small_shop(book)
    book.keep_twin(made.flap.id, twin_of(book.workbook(made.pump.id).builds["flap"], draws=30))
    return made


def typed(shop: Shop, **more: Any) -> dict[str, Any]:
    links = {"link.site": str(shop.site.id), "link.build": str(shop.flap.id)}
    return {"name": "first start", **links, **READ, **more}


def enter(browser: Browser, shop: Shop, **more: Any) -> int:
    sent = browser.fill("/visits", typed(shop, **more))
    assert sent.status_code == 303, sent.text
    return int(sent.headers["location"].rsplit("/", 1)[1])


def test_the_form_begins_with_today_and_the_build_that_stands_there(browser: Browser, shop: Shop) -> None:
    first = browser.get(f"/visits/new?site={shop.site.id}").text
    assert f'value="{date.today()}"' in first and 'value="commissioning" selected' in first
    enter(browser, shop)
    second = browser.get(f"/visits/new?site={shop.site.id}").text
    assert f'<option value="{shop.flap.id}" selected' in second and 'value="service" selected' in second


def test_a_visit_is_entered_compared_and_listed(browser: Browser, shop: Shop) -> None:
    number = enter(browser, shop)
    page = browser.get(f"/visits/{number}").text
    assert f'hx-get="/visits/{number}/comparison"' in page and "Sites" in page
    piece = browser.get(f"/visits/{number}/comparison").text
    assert "Not as promised" in piece and "water delivered" in piece and "likeliest first" in piece
    assert "gpm" in browser.get(f"/visits/{number}/comparison?units=us").text
    listed = browser.get(f"/sites/{shop.site.id}/visits").text
    assert "first start" in listed and "Not as promised" in listed
    assert "out of their band" in browser.get("/due").text
    assert browser.get(f"/api/visits/{number}/chart.svg").text.startswith("<svg")


def test_nothing_typed_is_lost_when_a_visit_is_refused(browser: Browser, shop: Shop) -> None:
    sent = browser.fill("/visits", typed(shop, waste_duration="", found="leaves & a <frog>"))
    assert sent.status_code == 422 and "needs another look" in sent.text
    for text in ('value="15.0 L"', 'value="124"', 'value="2:00"', "leaves &amp; a &lt;frog&gt;"):
        assert text in sent.text
    assert 'id="error-waste_duration"' in sent.text and 'data-shown-again="yes"' in sent.text
    future = browser.fill("/visits", typed(shop, date="2999-01-01"))
    assert future.status_code == 422 and 'id="error-date"' in future.text and "future" in future.text


def test_a_comparison_is_kept_until_something_it_rests_on_changes(browser: Browser, shop: Shop) -> None:
    book, number = book_of(browser), enter(browser, shop)
    assert kept_comparison(book, number) is None
    made = comparison_of(book, number)
    assert kept_comparison(book, number) == made and comparison_of(book, number) == made
    site = book.get("site", shop.site.id)
    book.change("site", site.id, version=site.version, entered={**site.entered, "fall": "3.2 m"})
    again = comparison_of(book, number)
    assert again.mark != made.mark and again.compared[0].promised != made.compared[0].promised


def test_the_api_says_the_same_with_units_in_its_keys(browser: Browser, shop: Shop) -> None:
    number = enter(browser, shop)
    told = browser.get(f"/api/visits/{number}/comparison?units=us").json()
    assert told["is_in"] is False and told["units"] == "us"
    first = told["compared"][0]
    assert first["figure"] == "delivered_flow" and first["side"] == "below" and "measured_gal_min" in first
    assert told["explanations"][0]["reason"]["words"]
    visits = browser.get(f"/api/sites/{shop.site.id}/visits").json()["visits"]
    assert [one["id"] for one in visits] == [number] and visits[0]["comparison"]["is_in"] is False
    due = browser.get("/api/due?day=2024-06-01").json()["due"]
    assert due[0]["what"] == "out_of_band" and due[0]["site_id"] == shop.site.id
    assert browser.get("/api/due?ahead=99999").status_code == 422
    assert browser.get("/api/visits/9999/comparison").status_code == 404


def test_a_photograph_is_kept_shown_as_what_it_is_and_kept_once(browser: Browser, shop: Shop) -> None:
    number = enter(browser, shop)
    for _ in range(2):
        sent = browser.fill("/photographs", {"visit": str(number)}, files={"photograph": ("x.html", PNG, "text/html")})
        assert sent.status_code == 303, sent.text
    (file,) = book_of(browser).list("file").records
    assert file.links == {"site": shop.site.id} and file.entered["media_type"] == "image/png"
    answer = browser.get(f"/api/photographs/{file.id}")
    assert answer.headers["content-type"] == "image/png" and answer.headers["x-content-type-options"] == "nosniff"
    assert f'src="/api/photographs/{file.id}"' in browser.get(f"/visits/{number}").text


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "JPEG, PNG or WebP"),
        (b"", "JPEG, PNG or WebP"),
        (PNG + b"\0" * LARGEST_PHOTOGRAPH, "at most 12 MB"),
    ],
)
def test_what_is_no_photograph_or_too_large_is_refused(browser: Browser, shop: Shop, content: bytes, said: str) -> None:
    number = enter(browser, shop)
    sent = browser.fill("/photographs", {"visit": str(number)}, files={"photograph": ("a.png", content, "image/png")})
    assert sent.status_code == 422 and said in sent.text
    assert book_of(browser).list("file").total == 0


def test_no_photograph_chosen_is_said(browser: Browser, shop: Shop) -> None:
    number = enter(browser, shop)
    sent = browser.fill("/photographs", {"visit": str(number)}, files={"photograph": ("", b"", "image/png")})
    assert sent.status_code == 422 and "Choose a photograph" in sent.text


def test_a_file_that_is_no_picture_is_only_ever_a_download(browser: Browser, shop: Shop) -> None:
    file = book_of(browser).keep_file("a.html", b"<script>1</script>", media_type="image/png")
    answer = browser.get(f"/api/photographs/{file.id}")
    assert answer.headers["content-type"] == "application/octet-stream"
    assert answer.headers["content-disposition"].startswith("attachment")


def test_pictures_are_known_by_their_first_bytes() -> None:
    assert kind_of_image(b"\xff\xd8\xff\xe0") == "image/jpeg" and kind_of_image(PNG) == "image/png"
    assert kind_of_image(b"RIFF\0\0\0\0WEBPVP8 ") == "image/webp"
    assert kind_of_image(b"GIF89a") is None and kind_of_image(b"RIFF\0\0\0\0WAVE") is None


def test_a_visit_taken_away_leads_back_to_its_site(browser: Browser, shop: Shop) -> None:
    number = enter(browser, shop)
    sent = browser.fill(f"/visits/{number}/remove", {"version": "1"})
    assert sent.headers["location"] == f"/sites/{shop.site.id}/visits"
    assert f'href="/visits/{number}"' not in browser.get(f"/sites/{shop.site.id}/visits").text
