"""Every page for everybody: axe finds nothing serious, targets fit a thumb, nothing runs out of a phone's screen."""

from __future__ import annotations

import pytest
from browser_case import AXE, NewContext, Served
from playwright.sync_api import Page, expect

SERIOUS = ("serious", "critical")
FIXED = (
    "/",
    "/pumps",
    "/pumps/new",
    "/bench",
    "/sites",
    "/sites/new",
    "/parts",
    "/parts/new",
    "/endurance",
    "/switches",
    "/switches/new",
    "/rigs/new",
    "/runs",
    "/progress",
    "/book",
    "/api",
    "/x",
)
KINDS = ("pump", "build", "rig", "trial", "run", "site")


def paths_of(server: Served) -> list[str]:
    """The fixed pages, and one record of each kind with its form."""
    book = server.app.state.shelf.book()
    numbers = [(kind, book.list(kind, limit=1).records[0].id) for kind in KINDS]
    records = [path for kind, number in numbers for path in (f"/{kind}s/{number}", f"/{kind}s/{number}/edit")]
    return [*FIXED, *records, f"/builds/new?pump={numbers[0][1]}"]


def findings(page: Page) -> list[tuple[str, str]]:
    """Serious findings of axe on a page: rule and the first element at fault.

    The script is run by the debugger's way in: the page's own policy would not let it.
    """
    debugger = page.context.new_cdp_session(page)
    debugger.send("Runtime.evaluate", {"expression": AXE.read_text(encoding="utf-8")})
    found = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
    return [(one["id"], one["nodes"][0]["html"][:160]) for one in found["violations"] if one["impact"] in SERIOUS]


LOW = """() => [...document.querySelectorAll("button, a.button, nav a, .row, select, textarea, summary,"
  + "input:not([type=hidden]):not([type=checkbox]):not([type=radio])")]
  .filter(one => one.offsetParent && one.getBoundingClientRect().height < 47.5).map(one => one.outerHTML.slice(0, 90))"""
OUT = """() => document.documentElement.scrollWidth - document.documentElement.clientWidth"""


@pytest.mark.parametrize("size", ["desk", "phone"])
def test_every_page_can_be_used_by_everybody(demo: Served, new_context: NewContext, size: str) -> None:
    page = new_context(size).new_page()
    trouble = {}
    for path in paths_of(demo):
        page.goto(path)
        told = [*findings(page), *(("low", html) for html in page.evaluate(LOW))]
        if page.evaluate(OUT) > 0:
            told.append(("wider than the screen", path))
        if told:
            trouble[path] = told
    assert trouble == {}


@pytest.mark.parametrize("size", ["desk", "phone"])
def test_the_first_page_and_a_form_in_error(server: Served, new_context: NewContext, size: str) -> None:
    page = new_context(size).new_page()
    page.goto("/")
    assert findings(page) == [] and page.evaluate(OUT) <= 0
    page.get_by_role("button", name="Start a new book").click()
    expect(page.get_by_label("Name of the workshop")).to_have_attribute("aria-invalid", "true")
    assert findings(page) == []


def test_axe_finds_what_is_wrong(desk: Page, demo: Served) -> None:
    desk.goto("/pumps")
    desk.evaluate(
        "document.querySelector('#search').labels[0].remove(); document.querySelector('#search').placeholder = ''"
    )
    assert [rule for rule, _ in findings(desk)] == ["label"]


def test_the_keyboard_alone_reaches_content_and_saves(desk: Page, demo: Served) -> None:
    desk.goto("/pumps/new")
    desk.keyboard.press("Tab")
    expect(desk.get_by_role("link", name="To the content")).to_be_focused()
    desk.keyboard.press("Enter")
    desk.keyboard.press("Tab")
    expect(desk.get_by_label("Name")).to_be_focused()
    desk.keyboard.type("by keys")
    desk.keyboard.press("Enter")
    expect(desk.get_by_role("heading", level=1)).to_have_text("by keys")


def test_without_scripts_pages_and_forms_still_work(chromium, demo: Served) -> None:  # type: ignore[no-untyped-def]
    context = chromium.new_context(java_script_enabled=False, base_url=demo.url)
    page = context.new_page()
    page.goto("/pumps/new")
    page.get_by_label("Name").fill("plain")
    page.get_by_role("button", name="Save the pump").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("plain")
    page.goto("/sites?search=gill")
    expect(page.locator("#listing .row")).to_have_count(1)
    context.close()


def test_print_leaves_the_way_round_out(desk: Page, demo: Served) -> None:
    desk.goto("/pumps")
    desk.emulate_media(media="print")
    expect(desk.locator(".nav")).to_be_hidden()
    expect(desk.get_by_role("heading", level=1)).to_be_visible()
