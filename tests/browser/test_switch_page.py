"""From a look entered on a phone to the printed verdict of a switch, by the real worker."""

from __future__ import annotations

import io

import pytest
from browser_case import AXE, NewContext, Served
from invented_twin import demo as demo_workbook
from invented_twin import twin_of
from playwright.sync_api import Page, expect
from pypdf import PdfReader


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
    desk.add_script_tag(path=str(AXE))
    found = desk.evaluate("axe.run({resultTypes: ['violations']})")
    assert [one["id"] for one in found["violations"]] == []
    with desk.expect_download() as coming:
        desk.get_by_role("link", name="Print the study (PDF)").click()
    path = coming.value.path()
    printed = " ".join(PdfReader(io.BytesIO(path.read_bytes())).pages[0].extract_text().split())
    assert verdict in printed and "Upper Hazel" in printed
    phone.goto(f"/switches/{prepared['switch']}")
    expect(phone.locator("#verdict")).to_have_text(verdict)
    assert phone.evaluate("document.documentElement.scrollWidth") <= 360
