"""A commissioning visit entered on a phone: kept at every keystroke, sent, and seen in or out of its band."""

from __future__ import annotations

from browser_case import Served
from invented_twin import twin_of
from playwright.sync_api import Page, expect
from workshop_books import SHORT


def prepared(demo: Served) -> tuple[int, int]:
    """The invented book with a twin of the flap; the numbers of a site and of the build."""
    book = demo.app.state.shelf.book()
    flap, site = book.find("build", "flap"), book.find("site", "Upper Hazel")
    book.keep_twin(flap.id, twin_of(book.workbook(flap.links["pump"]).builds["flap"], draws=30))
    return site.id, flap.id


def test_a_commissioning_entered_on_a_phone_is_seen_against_its_band(demo: Served, phone: Page) -> None:
    site, flap = prepared(demo)
    phone.goto(f"/sites/{site}/visits")
    phone.get_by_role("link", name="Enter the commissioning").click()
    phone.get_by_label("Build that stands there").select_option(str(flap))
    for name, text in SHORT.items():
        phone.locator(f"#{name}").fill(text)
    assert min(box["height"] for box in map(lambda n: phone.locator(f"#{n}").bounding_box(), SHORT) if box) >= 48
    expect(phone.get_by_text("Kept on this device")).to_be_visible()

    phone.goto("/sites")  # put in the pocket, looked at elsewhere
    phone.goto(f"/visits/new?site={site}")
    for name, text in SHORT.items():
        expect(phone.locator(f"#{name}")).to_have_value(text)
    phone.locator("#waste_duration").fill("")
    phone.get_by_role("button", name="Save the visit").click()
    expect(phone.locator("#error-waste_duration")).to_be_visible()
    expect(phone.locator("#delivered_volume")).to_have_value("3.0 L")
    phone.locator("#waste_duration").fill("60 s")
    phone.get_by_role("button", name="Save the visit").click()

    expect(phone.locator("#verdict")).to_contain_text("Not as promised", timeout=60_000)
    expect(phone.locator("#verdict")).to_contain_text("less water delivered")
    expect(phone.locator(".compared .outside dt").first).to_have_text("water delivered")
    expect(phone.locator(".chart:visible svg")).to_be_visible(timeout=60_000)
    assert phone.evaluate("document.documentElement.scrollWidth") <= 360
    assert phone.evaluate("Object.keys(localStorage).filter((key) => key.startsWith('clackwork.visit.')).length") == 0
    phone.goto("/due")
    expect(phone.get_by_text("out of their band")).to_be_visible()
