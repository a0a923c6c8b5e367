"""The way of somebody new: look round, begin a book, enter a pump, mend a mistake, take it back."""

from __future__ import annotations

import re

from playwright.sync_api import Page, expect


def test_look_round_then_begin_an_own_book(desk: Page) -> None:
    desk.goto("/")
    desk.get_by_role("button", name="Open the demonstration").click()
    expect(desk.locator(".invented")).to_contain_text("Invented data")
    desk.get_by_role("link", name="25 mm (invented)").first.click()
    expect(desk.locator(".drawings svg")).to_have_count(2)
    desk.get_by_role("link", name="Throw it away").click()
    desk.once("dialog", lambda dialog: dialog.accept())
    desk.get_by_role("button", name="Throw the demonstration away").click()
    expect(desk.get_by_role("heading", level=1)).to_have_text("A book for your pumps")
    desk.get_by_label("Name of the workshop").fill("Hillside Rams")
    desk.get_by_role("button", name="Start a new book").click()
    expect(desk.locator(".brand")).to_contain_text("Hillside Rams")
    expect(desk.locator(".invented")).to_have_count(0)


def start_book(page: Page) -> None:
    """Begin an own book."""
    page.goto("/")
    page.get_by_label("Name of the workshop").fill("Hillside Rams")
    page.get_by_role("button", name="Start a new book").click()


def test_a_pump_and_a_build_on_a_phone_with_a_mistake_in_between(phone: Page) -> None:
    start_book(phone)
    phone.get_by_role("link", name="Add the first pump").click()
    phone.get_by_label("Name").fill("25 mm")
    phone.get_by_role("button", name="Save the pump").click()
    phone.get_by_role("link", name="Add a build").click()
    expect(phone.get_by_label("Hinge to centre of mass")).to_be_hidden()
    expect(phone.get_by_label("Spring rate")).to_be_hidden()
    phone.get_by_label("Name").fill("rubber flap")
    phone.get_by_label("Sort of valve").select_option("hinged flap")
    expect(phone.get_by_label("Hinge to centre of mass")).to_be_visible()
    for label, text in {
        "Mass of the moving part": "140 g",
        "Stroke": "7",
        "Hinge to centre of mass": "22 mm",
        "Hinge to middle of the seat": "22 mm",
        "Volume inside": "3 L",
    }.items():
        phone.get_by_label(label).fill(text)
    for key in ("waste_valve.seat_bore", "delivery_valve.bore"):
        phone.locator(f"[id='{key}']").fill("30 mm")
    phone.get_by_role("button", name="Save the build").click()
    stroke = phone.get_by_label("Stroke")
    expect(stroke).to_be_focused()
    expect(stroke).to_have_value("7")
    expect(stroke).to_have_attribute("aria-invalid", "true")
    expect(phone.get_by_label("Mass of the moving part")).to_have_value("140 g")
    stroke.fill("7 mm")
    phone.get_by_role("button", name="Save the build").click()
    expect(phone.locator(".lead")).to_have_text("hinged flap, 140 g, stroke 7 mm, seat 30 mm")
    phone.get_by_role("link", name="US").click()
    expect(phone.locator(".lead")).to_contain_text("0.309 lb")


def test_two_browsers_change_one_build_and_nothing_is_lost(new_context, demo) -> None:  # type: ignore[no-untyped-def]
    [build] = demo.app.state.shelf.book().list("build", search="flap").records
    mine, theirs = (new_context(size).new_page() for size in ("desk", "phone"))
    for page in (mine, theirs):
        page.goto(f"/builds/{build.id}/edit")
    theirs.get_by_label("Stroke").fill("9 mm")
    theirs.get_by_label("Mass of the moving part").fill("150 g")
    theirs.get_by_role("button", name="Save the change").click()
    expect(theirs.locator(".lead")).to_contain_text("stroke 9 mm")
    mine.get_by_label("Stroke").fill("8 mm")
    mine.get_by_role("button", name="Save the change").click()
    expect(mine.get_by_role("alert")).to_contain_text("Somebody else saved it first")
    expect(mine.locator("tr.differs")).to_have_count(2)
    expect(mine.get_by_label("Stroke")).to_have_value("8 mm")
    expect(mine.get_by_label("Mass of the moving part")).to_have_value("150 g")
    mine.get_by_role("button", name="Save with both in view").click()
    expect(mine.locator(".lead")).to_have_text("hinged flap, 150 g, stroke 8 mm, seat 30 mm")
    mine.goto("/book")
    mine.get_by_role("button", name="Undo", exact=True).first.click()
    mine.goto(f"/builds/{build.id}")
    expect(mine.locator(".lead")).to_contain_text("stroke 9 mm")


def test_a_list_is_searched_while_typing(desk: Page, demo: object) -> None:
    desk.goto("/sites")
    expect(desk.locator("#listing .row")).to_have_count(6)
    desk.get_by_role("searchbox").press_sequentially("gill", delay=20)
    expect(desk.locator("#listing .row")).to_have_count(1)
    expect(desk.locator("#listing")).to_contain_text("Dry Gill")
    expect(desk).to_have_url(re.compile("/sites$"))


def test_a_button_pressed_twice_makes_one_record(desk: Page, server) -> None:  # type: ignore[no-untyped-def]
    start_book(desk)
    desk.goto("/pumps/new")
    desk.get_by_label("Name").fill("25 mm")
    desk.get_by_role("button", name="Save the pump").dblclick()
    expect(desk.get_by_role("heading", level=1)).to_have_text("25 mm")
    assert server.app.state.shelf.book().list("pump").total == 1
