"""From a look entered on a phone to the printed verdict of a switch, by the real worker."""

from __future__ import annotations

import contextlib
import io

import pytest
from browser_case import NewContext, Served
from invented_twin import demo as demo_workbook
from invented_twin import twin_of
from playwright.sync_api import Error, Page, expect
from pypdf import PdfReader
from test_access import findings


@pytest.fixture
def prepared(demo: Served) -> dict[str, int]:
    """The invented book with twins of both builds; numbers of the part and the switch."""
    book = demo.app.state.shelf.book()
    for name in ("flap", "poppet"):
        book.keep_twin(book.find("build", name).id, twin_of(demo_workbook().builds[name]))
    return {"part": book.find("part", "yard, poppet").id, "switch": book.find("switch", "poppet").id}


def test_from_a_look_to_the_printed_verdict(
    demo: Served, prepared: dict[str, int], phone: Page, new_context: NewContext
) -> None:
    phone.goto("/parts")
    phone.get_by_role("link", name="yard, poppet").click()
    phone.get_by_role("link", name="Enter a look").click()
    phone.locator("#date").fill("2023-10-07")
    phone.locator("#wear").fill("0.1 mm")
    phone.locator("#beats").fill("19900000")
    phone.get_by_role("button", name="Save the look").click()
    expect(phone.locator("#error-wear")).to_contain_text("what it may be off by")
    expect(phone.locator("#beats")).to_have_value("19900000")
    phone.locator("#wear").fill("0.1 mm ± 0.05 mm")
    assert phone.evaluate("document.documentElement.scrollWidth") <= 360
    phone.get_by_role("button", name="Save the look").click()
    expect(phone.get_by_text("The look is in the book.")).to_be_visible()

    desk = new_context("desk").new_page()
    desk.goto(f"/switches/{prepared['switch']}")
    desk.locator("#draws").fill("20")
    desk.get_by_role("button", name="Work it out").click()
    expect(desk.get_by_role("progressbar")).to_be_visible()
    expect(desk.locator("#verdict")).to_be_visible(timeout=240_000)
    verdict = desk.locator("#verdict").inner_text()
    assert verdict.endswith(".")
    expect(desk.locator(".chart:visible svg").first).to_be_visible(timeout=60_000)
    expect(desk.locator(".chart:visible svg[aria-label]")).to_have_count(2, timeout=60_000)
    assert findings(desk) == []
    with desk.expect_download() as coming:
        desk.get_by_role("link", name="Print the study (PDF)").click()
    path = coming.value.path()
    printed = " ".join(PdfReader(io.BytesIO(path.read_bytes())).pages[0].extract_text().split())
    assert verdict in printed and "Upper Hazel" in printed
    phone.goto(f"/switches/{prepared['switch']}")
    expect(phone.locator("#verdict")).to_have_text(verdict)
    assert phone.evaluate("document.documentElement.scrollWidth") <= 360


def test_a_look_typed_without_a_connection_is_kept_and_sent_once(
    demo: Served, prepared: dict[str, int], phone: Page
) -> None:
    look = f"/parts/{prepared['part']}/look"
    phone.goto(look)
    phone.locator("#date").fill("2023-10-07")
    phone.locator("#found").fill("a grey film")
    expect(phone.get_by_text("Kept on this device")).to_be_visible()
    phone.route("**/look", lambda route: route.abort() if route.request.method == "POST" else route.fallback())
    with contextlib.suppress(Error):  # the connection is gone: the browser shows a page of its own
        phone.get_by_role("button", name="Save the look").click()
        phone.wait_for_timeout(500)
    phone.unroute("**/look")
    phone.goto(look)
    expect(phone.locator("#found")).to_have_value("a grey film")
    expect(phone.locator("#date")).to_have_value("2023-10-07")
    phone.get_by_role("button", name="Save the look").click()
    expect(phone.get_by_text("The look is in the book.")).to_be_visible()
    assert phone.evaluate("Object.keys(localStorage).filter((key) => key.startsWith('clackwork.visit.')).length") == 0
    looks = demo.app.state.shelf.book().get("part", prepared["part"]).entered["look"]
    assert [one["date"] for one in looks].count("2023-10-07") == 1
