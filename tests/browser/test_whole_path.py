"""The whole way of a workshop, from an empty machine to a sheet of paper: one book, a laptop indoors, a phone in the yard.

Readings are invented. The connection is lost while runs are entered; every one of them is in the book once in the end.
"""

from __future__ import annotations

import io
import re
from pathlib import Path

import pytest
from browser_case import NewContext, Served, card_at_hand
from playwright.sync_api import Page, expect
from pypdf import PdfReader

pytestmark = pytest.mark.slow

WORK_PATIENCE = 180_000  # [ms] some thousands of runs of the engine, on a machine that may be busy
SEND_PATIENCE = 30_000
ORDER = ("flap", "poppet", "poppet", "flap", "flap", "poppet")
"""Builds in the order their runs are entered here."""
READINGS = {
    "flap": ("2:00", "141", ("29.7", "29.4", "29.6"), ("3.24", "3.26", "3.25"), "1.46"),
    "poppet": ("2:00", "127", ("31.2", "31.6", "31.4"), ("3.32", "3.33", "3.31"), "1.46"),
}
"""Time, beats, then litres spilled and delivered in each run, then bar at the gauge."""


def begin_book(page: Page) -> None:
    """First start: begin an own book."""
    page.goto("/")
    page.get_by_label("Name of the workshop").fill("Hillside Rams")
    page.get_by_role("button", name="Start a new book").click()
    expect(page.locator(".brand")).to_contain_text("Hillside Rams")


def fill(page: Page, typed: dict[str, str]) -> None:
    """Fill fields by their keys: some labels stand in several groups."""
    for key, text in typed.items():
        field = page.locator(f"[id='{key}']")
        if field.evaluate("one => one.tagName") == "SELECT":
            field.select_option(text)
        else:
            field.fill(text)


def add_pump_and_builds(page: Page) -> None:
    """A pump and two builds of it, the second a revision with another valve."""
    page.get_by_role("link", name="Add the first pump").click()
    fill(page, {"name": "25 mm"})
    page.get_by_role("button", name="Save the pump").click()
    page.get_by_role("link", name="Add a build").click()
    fill(page, {"name": "flap", "waste_valve.kind": "hinged flap", "waste_valve.mass": "140 g"})
    fill(page, {"waste_valve.stroke": "7 mm", "waste_valve.seat_bore": "30 mm"})
    fill(page, {"waste_valve.mass_distance": "22 mm", "waste_valve.seat_distance": "22 mm"})
    fill(page, {"waste_valve.material_density": "4200 kg/m3"})
    fill(page, {"delivery_valve.bore": "20 mm", "air_vessel.volume": "3 L"})
    page.get_by_role("button", name="Save the build").click()
    expect(page.locator(".lead")).to_contain_text("hinged flap, 140 g, stroke 7 mm")
    page.get_by_role("link", name="Make a revision").click()
    fill(page, {"name": "poppet", "waste_valve.kind": "guided poppet", "waste_valve.mass": "30 g"})
    fill(page, {"waste_valve.stroke": "8 mm", "waste_valve.spring_rate": "150 N/m"})
    fill(page, {"waste_valve.spring_preload": "0.55 N", "waste_valve.material_density": "1800 kg/m3"})
    page.get_by_role("button", name="Save the build").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("poppet")
    expect(page.get_by_text("stroke 7 mm → 8 mm").or_(page.get_by_text("stroke 7 mm -> 8 mm"))).to_be_visible()


def add_rig(page: Page) -> None:
    """The place in the yard, found from the navigation."""
    page.get_by_role("navigation", name="Main").get_by_role("link", name="Bench").click()
    page.get_by_role("link", name="Add a rig").click()
    fill(page, {"name": "yard", "fall": "2.10 m", "water_temperature": "11 °C"})
    fill(page, {"drive_pipe.series": "steel-sch40", "drive_pipe.size": "1 in", "drive_pipe.length": "12.0 m"})
    page.get_by_role("button", name="Save the rig").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("yard")


def plan_trial(page: Page) -> str:
    """A trial planned from the pump's page, its path."""
    page.get_by_role("navigation", name="Main").get_by_role("link", name="Pumps").click()
    page.get_by_role("link", name="25 mm").click()
    page.get_by_role("link", name="Plan a trial").click()
    fill(page, {"name": "delivered"})
    page.get_by_label("Old build").select_option(label="flap")
    page.get_by_label("New build").select_option(label="poppet")
    fill(page, {"figure": "delivered_flow", "kind": "delivering"})
    expect(page.locator("#plan .order li").first).to_be_visible()
    page.get_by_role("button", name="Put it in the book").click()
    expect(page.get_by_role("status")).to_contain_text("the run card below is for the yard")
    return page.url


def press(page: Page, digits: str) -> None:
    """Type with the card's own keys, then go on to the next reading."""
    names = {".": "Decimal mark", ":": "Minutes and seconds parted"}
    for digit in digits:
        page.locator("#keys-grid").get_by_role("button", name=names.get(digit, digit), exact=True).tap()
    page.locator("#keys-next").tap()


def enter_run(page: Page, build: str, place: int) -> None:
    """One run by thumb, its readings as they were written on the wet sheet."""
    time, beats, spilled, delivered, gauge = READINGS[build]
    page.locator("[data-pane=watch]").tap()
    page.locator("#card-builds button", has_text=build).tap()
    page.locator("[data-pane=readings]").tap()
    page.locator("#card-readings button", has_text="Time").tap()
    for text in (time, beats, spilled[place], delivered[place], gauge, "2.1", "2.06", "11"):
        press(page, text)
    expect(page.locator("#keys")).to_be_hidden()
    expect(page.locator("#card-readings button", has_text="Water delivered")).to_contain_text(f"{delivered[place]} L")
    page.locator("#card-finish").tap()
    expect(page.locator("#pane-runs")).to_be_visible()


def enter_runs(page: Page, trial: str, server: Served) -> None:
    """All runs of the trial on a phone, three of them and a reload without a connection."""
    sign = page.locator("#card-sign")
    book = server.app.state.shelf.book()
    page.goto(trial)
    page.get_by_role("link", name="Run card for the yard").click()
    card_at_hand(page)
    places = dict.fromkeys(READINGS, 0)
    for number, build in enumerate(ORDER):
        if number == 2:
            server.leave(page.context)
        enter_run(page, build, places[build])
        places[build] += 1
        if number == 1:
            expect(sign).to_contain_text("All sent", timeout=SEND_PATIENCE)
        if number == 3:
            page.reload()
            expect(sign).to_contain_text("2 kept on this phone, not yet sent")
        if number == 4:
            expect(sign).to_contain_text("3 kept on this phone, not yet sent")
            assert book.list("run").total == 2
            server.come_back(page.context)
            expect(sign).to_contain_text("All sent", timeout=SEND_PATIENCE)
    expect(sign).to_contain_text("All sent", timeout=SEND_PATIENCE)
    runs = sorted(book.list("run").records, key=lambda one: one.id)
    assert [book.get("build", one.links["build"]).name for one in runs] == list(ORDER)
    assert [one.entered["waste_volume"] for one in runs] == [
        f"{READINGS[build][2][ORDER[:number].count(build)]} L" for number, build in enumerate(ORDER)
    ]


def check_judgement(page: Page, trial: str) -> None:
    """One sentence first, that names both builds; then runs, then what the uncertainty is made of."""
    page.goto(trial)
    sentence = page.locator(".lead").inner_text()
    assert "flap" in sentence and "poppet" in sentence and sentence.rstrip().endswith("."), sentence
    assert "No run" not in sentence, sentence
    expect(page.locator("ol.rows .row")).to_have_count(len(ORDER))
    expect(page.locator("table.budget tbody tr").first).to_be_visible()
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def wait_for_work(page: Page) -> None:
    """Until what was asked for is shown; a refusal or a failure ends it."""
    refused = "#build-work [role=alert], .job[data-state=failed]"
    page.wait_for_selector(f".twin-figures, {refused}", timeout=WORK_PATIENCE)
    expect(page.locator(refused)).to_have_count(0)


def fit_and_draw(page: Page) -> Path:
    """A fit and a performance as work beside the server, from the pages; the sheet, downloaded."""
    page.get_by_role("navigation", name="Main").get_by_role("link", name="Pumps").click()
    page.get_by_role("link", name="25 mm").click()
    page.locator(".row", has_text="flap").first.click()
    page.get_by_role("link", name="Its twin").click()
    fill(page, {"draws": "40"})
    page.get_by_role("button", name="Fit the twin").click()
    expect(page.locator(".job progress")).to_be_visible()
    page.reload()
    wait_for_work(page)
    assert re.search(r"The model meets \d+ of \d+ readings", page.inner_text("main"))
    page.get_by_role("link", name="Performance chart").click()
    fill(page, {"falls": "2.1 m", "draws": "20"})
    page.get_by_role("button", name="Draw it").click()
    wait_for_work(page)
    with page.expect_download() as waiting:
        page.get_by_role("link", name="Performance sheet (PDF)").click()
    assert waiting.value.suggested_filename == "performance-flap.pdf"
    return Path(waiting.value.path())


def test_from_first_start_to_the_performance_sheet(new_context: NewContext, server: Served) -> None:
    desk, phone = (new_context(size).new_page() for size in ("desk", "phone"))
    begin_book(desk)
    add_pump_and_builds(desk)
    add_rig(desk)
    trial = plan_trial(desk)
    enter_runs(phone, trial, server)
    for page in (phone, desk):
        check_judgement(page, trial)
    sheet = fit_and_draw(desk)
    text = re.sub(r"\s+", " ", " ".join(one.extract_text() for one in PdfReader(io.BytesIO(sheet.read_bytes())).pages))
    for expected in (
        "Performance of flap",
        "Pump 25 mm",
        "Pressure in the pump",
        "Every beat sends",
        " bar",
        "At a fall of 2.10 m, lifting to",
    ):
        assert expected in text, (expected, text[:2000])
    shown = desk.locator(".twin-figures dd").first.inner_text().split("\n")[0].strip()
    assert re.sub(r"\s+", " ", shown) in text
