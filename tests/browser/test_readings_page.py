"""Readings brought in from a phone: a table with decimal commas asked about, taken, undone; and given out."""

from __future__ import annotations

from pathlib import Path

import pytest
from browser_case import AXE, NewContext, Served
from playwright.sync_api import Page, expect

ROWS = """Lauf;build;rig;kind;time (s);waste (L);delivered;gauge (bar)
neu 1;flap;yard;delivering;120;1,234;7,80;0,58
neu 2;poppet;yard;delivering;2:00;2,590;8,90;0,54
neu 3;poppet;yard;delivering;soon;2,590;8,90;0,54
"""


def check_look(page: Page) -> None:
    """Nothing wider than the window, no serious finding of axe."""
    page.wait_for_load_state()  # the next page may just be coming in
    assert page.evaluate("document.documentElement.scrollWidth") <= page.evaluate("window.innerWidth")
    page.evaluate(AXE.read_text(encoding="utf-8"))
    found = page.evaluate("axe.run().then(result => result.violations)")
    assert [(one["id"], one["nodes"][0]["html"]) for one in found if one["impact"] in ("serious", "critical")] == []


def open_readings(page: Page, file: Path) -> None:
    """From the list of pumps to a file looked into."""
    file.write_text(ROWS, encoding="utf-8")
    page.goto("/pumps")
    page.get_by_role("link", name="25 mm (invented)").click()
    page.get_by_role("link", name="Readings in and out").click()
    check_look(page)
    page.get_by_label("File of readings").set_input_files(file)
    page.get_by_role("button", name="Look into it").click()
    expect(page.get_by_role("heading", level=1)).to_have_text(file.name)


def settle(page: Page) -> None:
    """Answer what is asked of the file."""
    question = page.get_by_role("radiogroup", name='Column "waste (L)": 1,234 can be read in two ways')
    expect(question).to_be_focused()
    question.get_by_label("1.234 (the comma begins decimals)").check()
    page.get_by_label("what column Lauf holds").select_option("Name of the run")
    page.get_by_label("which unit, column delivered").select_option("L")
    page.get_by_role("button", name="Answer").click()
    expect(page.locator(".lead")).to_contain_text("2 of 3 rows can be taken")


@pytest.mark.parametrize("size", ["phone", "desk"])
def test_a_table_with_decimal_commas(new_context: NewContext, demo: Served, tmp_path: Path, size: str) -> None:
    page = new_context(size).new_page()
    before = demo.app.state.shelf.book().list("run").total
    open_readings(page, tmp_path / "mai.csv")
    expect(page.locator(".lead")).to_contain_text("2 things to settle first")
    check_look(page)
    settle(page)
    check_look(page)
    expect(page.locator("table.readings")).to_contain_text("1.234 L")
    expect(page.locator(".errors")).to_contain_text("Row 4, time (s)")
    page.get_by_role("button", name="Take the 2 good rows only").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Taken from mai.csv")
    check_look(page)
    assert demo.app.state.shelf.book().list("run").total == before + 2
    page.get_by_role("link", name="The pump's runs").click()
    expect(page.locator("#listing")).to_contain_text("neu 1")
    page.go_back()
    page.once("dialog", lambda dialog: dialog.accept())
    page.get_by_role("button", name="Undo all").click()
    expect(page.get_by_role("status")).to_contain_text("3 changes were put back")
    assert demo.app.state.shelf.book().list("run").total == before


def test_by_the_keyboard_alone(desk: Page, demo: Served, tmp_path: Path) -> None:
    open_readings(desk, tmp_path / "mai.csv")
    desk.keyboard.press("Tab")
    desk.keyboard.press("Space")
    desk.keyboard.press("Tab")
    expect(desk.get_by_role("button", name="Answer")).to_be_focused()
    desk.keyboard.press("Enter")
    expect(desk.locator(".answered")).to_contain_text("comma")
    unit = desk.get_by_label("which unit, column delivered")
    expect(unit).to_be_focused()
    desk.keyboard.press("L")
    expect(unit).to_have_value("L")


@pytest.mark.parametrize("form", ["CSV", "XLSX"])
def test_readings_are_given_out(phone: Page, demo: Served, form: str) -> None:
    [pump] = demo.app.state.shelf.book().list("pump").records
    phone.goto(f"/pumps/{pump.id}/readings")
    phone.get_by_label("Figures").select_option("as typed, and in US units")
    phone.get_by_label("Decimal comma, in CSV").check()
    with phone.expect_download() as waiting:
        phone.get_by_role("button", name=form).click()
    assert waiting.value.suggested_filename == f"runs of 25 mm (invented).{form.lower()}"
    raw = Path(waiting.value.path()).read_bytes()
    assert raw.startswith(b"PK") if form == "XLSX" else ";waste_volume_gal;" in raw.decode("utf-8-sig").splitlines()[0]
