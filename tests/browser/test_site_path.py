"""From a call to a printed proposal in a real browser: asked on a phone, surveyed, designed, chosen, downloaded.

The twins are invented; the design is searched on the engine by the server's own worker.
"""

from __future__ import annotations

import io
import re
from pathlib import Path

import pytest
from browser_case import AXE, NewContext, Served
from invented_twin import demo as demo_workbook
from invented_twin import twin_of
from playwright.sync_api import Page, expect
from pypdf import PdfReader

pytestmark = pytest.mark.slow

PATIENCE = 240_000  # [ms] a few thousand runs of the engine, on a machine that may be busy
CALL = {"fall": "2.5 m", "flow": "30 L/min", "lift": "16 m", "distance": "120 m", "wanted": "600 L/day"}
TABLE = "name,fall,source flow,lift from pump,line length\nOak Hill,3.1 m,22 L/min,25 m,200 m\n"


@pytest.fixture
def shop(demo: Served) -> Served:
    """The invented book with invented twins."""
    book = demo.app.state.shelf.book()
    for name in ("flap", "poppet"):
        build = book.find("build", name, links={"pump": book.list("pump").records[0].id})
        book.keep_twin(build.id, twin_of(demo_workbook().builds[name]))
    return demo


def check_look(page: Page) -> None:
    """Nothing wider than the window, targets as large as a thumb, no serious finding of axe."""
    width = page.viewport_size["width"] if page.viewport_size else 0
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    small = page.evaluate(
        "() => [...document.querySelectorAll('main button:not(.unseen), main .button, main input:not([type=hidden]):not("
        "[type=radio]):not([type=checkbox]), main select, main summary')].filter(one => one.offsetParent && "
        "one.getBoundingClientRect().height < 47.5).map(one => one.outerHTML)"
    )
    assert small == []
    page.evaluate(AXE.read_text(encoding="utf-8"))
    found = page.evaluate("axe.run().then(result => result.violations)")
    bad = [(one["id"], one["nodes"][0]["html"]) for one in found if one["impact"] in ("serious", "critical")]
    assert bad == []


def ask_on_the_phone(phone: Page) -> str:
    """The call: answered while one types, kept through a reload, made a site; its address."""
    phone.goto("/ask")
    check_look(phone)
    for key, text in CALL.items():
        phone.locator(f"#{key}").press_sequentially(text, delay=20)
    expect(phone.locator("#answer-bar")).to_contain_text("L/day")
    expect(phone.locator("#answer")).to_contain_text("What limits it:")
    phone.check("input[value=source]")
    expect(phone.locator("#answer")).to_contain_text("The outlet is 18.5 m above the pump and 16.0 m above the source.")
    phone.get_by_text("What else is assumed").click()
    phone.fill("#most_pumps", "1")
    expect(phone.locator("#assumed-most_pumps")).to_contain_text("you set it")
    expect(phone.locator("#assumed-drive_pipe")).to_contain_text("steel")
    phone.reload()
    assert phone.input_value("#fall") == "2.5 m" and phone.is_checked("input[value=source]")
    expect(phone.locator("#assumed-most_pumps")).to_contain_text("you set it")
    check_look(phone)
    phone.fill("#fall", "2.5")
    expect(phone.locator("#answer")).to_contain_text("unit is missing")
    phone.fill("#fall", "2.5 m")
    expect(phone.locator(".verdict")).to_be_visible()
    phone.fill("#name", "Mill Lane")
    phone.get_by_role("button", name="Make a site of it").click()
    expect(phone.get_by_role("heading", name="Mill Lane")).to_be_visible()
    check_look(phone)
    return phone.url


def survey(desk: Page, address: str) -> None:
    """The place is surveyed: the source by bucket, needs, the way to the source."""
    desk.goto(address)
    desk.get_by_role("link", name="Change it").click()
    for words in ("Readings of the source", "Needs", "The ground and the water"):
        details = desk.locator("details.group", has=desk.locator("summary", has_text=words)).first
        if details.get_attribute("open") is None:
            details.locator("summary").first.click()
    desk.fill("[id='source_flow']", "")
    desk.fill(
        "[id='source']", "2031-08-14; bucket; 10 L; 20.4 s, 20.1 s, 20.3 s\n2031-04-02; bucket; 10 L; 14.2 s, 14.0 s"
    )
    desk.fill("[id='needs.use']", "person; 4\nlactating cow; 2")
    desk.fill("[id='survey.ground_to_source']", "16 m")
    desk.get_by_role("button", name="Save the change").click()
    expect(desk.locator("main")).to_contain_text("by bucket and watch, 2031-08-14")


def design(desk: Page, address: str) -> None:
    """Designed as a job that is seen at work, outlives a reload, and has the page drawn anew at its end."""
    desk.goto(address)
    desk.get_by_text("Compare its cost with other ways").click()
    desk.fill("#alternatives", "electric pump; 900; 160; 10; 1400 L/day")
    desk.get_by_role("button", name="Design it").click()
    desk.wait_for_selector(".job[data-state='running'] progress", timeout=PATIENCE)
    desk.reload()
    expect(desk.locator(".job progress")).to_be_visible()
    expect(desk.locator(".site-figures").first).to_be_visible(timeout=PATIENCE)


def take(desk: Page) -> None:
    """The second choice is looked at, then taken."""
    desk.get_by_role("link", name="Look at 2").click()
    desk.get_by_role("button", name="Take 2").click()
    expect(desk.locator(".notice").first).to_contain_text("Taken into the site.")
    expect(desk.locator(".taken")).to_have_count(1)
    assert "Out of date" not in desk.inner_text("main")


def proposal(desk: Page, units: str) -> str:
    """The proposal as downloaded from the page, as text."""
    with desk.expect_download() as waiting:
        desk.get_by_role("link", name="Proposal", exact=True).click()
    text = " ".join(one.extract_text() for one in PdfReader(io.BytesIO(Path(waiting.value.path()).read_bytes())).pages)
    return re.sub(r"\s+", " ", text)


def test_from_a_call_to_a_printed_proposal(shop: Served, phone: Page, new_context: NewContext) -> None:
    address = ask_on_the_phone(phone)
    desk = new_context("desk").new_page()
    survey(desk, address)
    design(desk, address)
    take(desk)
    for units, kind in (("metric", "L/day"), ("us", "gal/day")):
        desk.goto(f"{address}?units={units}")
        shown = re.sub(r"\s+", " ", desk.locator(".site-figures .chief dd").inner_text().split("\n")[0]).strip()
        printed = proposal(desk, units)
        for expected in ("Mill Lane", kind, shown, "electric pump", "Ask the authority before taking water"):
            assert expected in printed, expected
    desk.goto(address)
    drawn = "() => [...document.querySelectorAll('.chart.drawn')].filter(one => one.offsetParent)"
    desk.wait_for_function(f"{drawn}.every(one => one.querySelector('svg')?.getBoundingClientRect().width > 200)")
    check_look(desk)
    phone.goto(address)
    expect(phone.locator(".site-drawing .narrow svg")).to_be_visible()
    check_look(phone)
    phone.goto("/sites")
    expect(phone.locator("#listing")).to_contain_text("Mill Lane")
    check_look(phone)


def test_a_table_of_sites_in_the_browser(shop: Served, desk: Page, phone: Page) -> None:
    desk.goto("/sites/table")
    check_look(desk)
    desk.set_input_files("#file", {"name": "sites.csv", "mimeType": "text/csv", "buffer": TABLE.encode()})
    desk.get_by_role("button", name="Look into it").click()
    expect(desk.locator(".lead")).to_contain_text("1 site can be taken")
    check_look(desk)
    desk.get_by_role("button", name="Take 1 site").click()
    expect(desk.locator("#listing")).to_contain_text("Oak Hill")
    desk.wait_for_load_state("load")  # the scripts are there
    desk.fill("#search", "oak")
    expect(desk.locator("#listing li")).to_have_count(1)
    phone.goto("/sites/table")
    check_look(phone)
