"""The run card on a phone: watch, beats and readings survive a lost connection and a reload; a run is kept once."""

from __future__ import annotations

import importlib.resources
import re
import shutil
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from browser_case import Served, card_at_hand

from clackwork.web.app import make_app
from clackwork.web.settings import Settings

CHROMIUM = shutil.which("chromium")
AXE = Path(__file__).parent / "vendor" / "axe.min.js"
PHONE = {"width": 360, "height": 740}
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine")


class Yard:
    """A server with the invented workbook in a book of its own, and what it was asked."""

    def __init__(self, folder: Path) -> None:
        app = make_app(Settings(folder / "book", folder / "demo"))
        app.state.shelf.open_own("The yard")
        self.book = app.state.shelf.book()
        text = (importlib.resources.files("clackwork") / "demo" / "workshop.toml").read_text(encoding="utf-8")
        self.book.take_workbook(text, pump_name="25 mm")
        self.served = Served(app)
        self.asked = self.served.asked
        self.address = self.served.url

    def trial(self, name: str) -> Any:
        """A trial of the book."""
        return next(one for one in self.book.list("trial").records if one.name == name)

    def runs_of(self, trial: Any) -> list[Any]:
        """Runs made for a trial, in the order kept."""
        found = self.book.list("run", limit=500).records
        return sorted((one for one in found if one.links.get("trial") == trial.id), key=lambda one: one.id)


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        found = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield found
        found.close()


@pytest.fixture
def yard(tmp_path: Path) -> Iterator[Yard]:
    found = Yard(tmp_path)
    yield found
    found.served.stop()


@pytest.fixture
def phone(browser: Any, yard: Yard) -> Iterator[Callable[..., Any]]:
    """Opens the card of the trial "waste" on a phone; it must ask nothing of the outside and throw nothing."""
    contexts, broke, asked = [], [], []

    def open_card(**more: Any) -> Any:
        context = browser.new_context(viewport=PHONE, has_touch=True, is_mobile=True, **more)
        contexts.append(context)
        page = context.new_page()
        page.on("pageerror", lambda error: broke.append(str(error)))
        page.on("console", lambda line: broke.append(line.text) if "Content Security Policy" in line.text else None)
        page.on("request", lambda each: asked.append(each.url))
        page.goto(f"{yard.address}/bench/card?trial={yard.trial('waste').id}")
        page.wait_for_selector("#card[aria-busy='false']")
        return page

    yield open_card
    for context in contexts:
        context.close()
    assert broke == []
    assert [url for url in asked if not url.startswith((yard.address, "data:"))] == []


def type_reading(page: Any, label: str, digits: str) -> None:
    """Type a reading with the card's own keys."""
    page.locator("#card-readings button", has_text=label).tap()
    for digit in digits:
        name = "Decimal mark" if digit == "." else digit
        page.get_by_role("button", name=name, exact=True).and_(page.locator("#keys-grid button")).tap()
    page.locator("#keys-close").tap()


def sign(page: Any, words: str) -> None:
    """Wait until the card's sign says so."""
    page.wait_for_function("words => document.getElementById('card-sign').textContent.includes(words)", arg=words)


def keep_run(page: Any, litres: str, beats: int) -> None:
    """A short run from start to end, all by thumb."""
    page.locator("[data-pane=watch]").tap()
    page.locator("#card-start").tap()
    for _ in range(beats):
        page.locator("#card-beats").tap()
    page.wait_for_timeout(700)
    page.locator("#card-start").tap()
    page.locator("[data-pane=readings]").tap()
    type_reading(page, "Water spilled", litres)
    page.locator("#card-finish").tap()
    page.locator("#card-finish").tap()  # fall and temperature are left out: it asks once


def test_a_run_made_while_the_connection_is_gone_is_kept_once(phone: Any, yard: Yard) -> None:
    trial = yard.trial("waste")
    page = phone()
    card_at_hand(page)

    page.locator("#card-start").tap()
    for _ in range(12):
        page.locator("#card-beats").tap()
    page.locator("#card-undo").tap()
    assert page.locator("#card-count").inner_text() == "11"
    page.wait_for_timeout(1000)
    page.locator("#card-start").tap()
    passed = page.locator("#card-watch").inner_text()
    page.locator("[data-pane=readings]").tap()
    type_reading(page, "Water spilled", "1.25")

    yard.served.leave(page.context)
    page.reload()
    page.locator("[data-pane=readings]").tap()
    assert page.locator("#card-readings button", has_text="Water spilled").inner_text().split("\n")[-1] == "1.25 L"
    assert page.locator("#card-readings button", has_text="Time").inner_text().split("\n")[-1] == passed
    type_reading(page, "Fall at the start", "2.1")
    page.locator("#card-finish").tap()
    page.locator("#card-finish").tap()
    sign(page, "1 kept on this phone, not yet sent")
    page.reload()
    sign(page, "1 kept on this phone, not yet sent")
    assert yard.runs_of(trial) == []

    yard.served.come_back(page.context)
    sign(page, "All sent")
    page.reload()
    sign(page, "All sent")
    (run,) = yard.runs_of(trial)
    assert run.entered == {
        "kind": "shut_beating", "duration": passed, "beats": 11, "waste_volume": "1.25 L", "fall": "2.1 m",
    }  # fmt: skip
    assert run.si["waste_volume_m3"] == pytest.approx(0.00125)


def test_a_server_in_trouble_does_not_take_the_card_away(phone: Any, yard: Yard) -> None:
    page = phone()
    card_at_hand(page)
    yard.served.away = True
    page.reload()
    keep_run(page, "0.71", 3)
    sign(page, "1 kept on this phone, not yet sent")
    yard.served.away = False
    page.reload()
    sign(page, "All sent")
    assert len(yard.runs_of(yard.trial("waste"))) == 1


def test_the_watch_runs_on_through_a_reload(phone: Any) -> None:
    page = phone()
    page.locator("#card-start").tap()
    began = time.monotonic()
    page.locator("#card-beats").tap()
    page.wait_for_timeout(600)
    page.reload()
    page.wait_for_selector("#card[aria-busy='false']")
    page.wait_for_timeout(400)
    assert page.locator("#card-start").inner_text() == "Stop"
    page.locator("#card-start").tap()
    real = time.monotonic() - began
    minutes, seconds = page.locator("#card-watch").inner_text().split(":")
    assert 60 * int(minutes) + float(seconds) == pytest.approx(real, abs=0.5)
    assert page.locator("#card-count").inner_text() == "1"
    page.locator("#card-undo").tap()  # a stop pressed by mistake loses no time
    assert page.locator("#card-start").inner_text() == "Stop"
    page.wait_for_timeout(300)
    minutes, seconds = page.locator("#card-watch").inner_text().split(":")
    assert 60 * int(minutes) + float(seconds) == pytest.approx(time.monotonic() - began, abs=0.5)


def test_a_run_whose_answer_was_lost_is_sent_again_and_kept_once(phone: Any, yard: Yard) -> None:
    page = phone(service_workers="block")
    lost = []

    def lose_the_answer(route: Any) -> None:
        if route.request.method == "POST" and not lost:
            lost.append(route.fetch().status)
            route.abort()
        else:
            route.continue_()

    page.route("**/runs", lose_the_answer)
    keep_run(page, "0.8", 6)
    page.wait_for_function("() => document.getElementById('card-seen').textContent.includes('No connection')")
    assert lost == [201]
    assert len(yard.runs_of(yard.trial("waste"))) == 1
    page.locator("#card-send").tap()
    sign(page, "All sent")
    assert len(yard.runs_of(yard.trial("waste"))) == 1
    posts = [one for one in yard.asked if one.startswith("POST")]
    assert len(posts) == 2


def test_a_phone_on_plain_http_is_told_to_leave_the_card_open_and_asked_before_it_leaves(
    phone: Any, yard: Yard
) -> None:
    """Over plain HTTP on the local network a browser has no service worker; taken from it here, as loopback has one."""
    page = phone(service_workers="block")
    page.add_init_script("delete Navigator.prototype.serviceWorker")
    page.reload()
    stay = page.locator("#card-stay")
    assert stay.is_visible() and "Leave this card open in the yard" in stay.inner_text()
    asked: list[str] = []

    def stay_here(dialog: Any) -> None:
        asked.append(dialog.type)
        dialog.dismiss()

    page.on("dialog", stay_here)
    page.locator("#card-beats").tap()
    page.evaluate("location.reload()")
    page.wait_for_timeout(500)
    assert asked == ["beforeunload"] and page.locator("#card-count").inner_text() == "1"
    yard.served.leave(page.context)
    address = page.url
    page.remove_listener("dialog", stay_here)
    page.on("dialog", lambda dialog: dialog.accept())
    page.goto(address)  # opened by its address, not reloaded: from the browser's own cache
    assert page.locator("#card-count").inner_text() == "1"
    yard.served.come_back(page.context)


def test_a_phone_with_a_worker_is_not_told_so(phone: Any) -> None:
    assert not phone().locator("#card-stay").is_visible()


def test_runs_kept_while_offline_are_sent_in_their_order(phone: Any, yard: Yard) -> None:
    page = phone()
    yard.served.leave(page.context)
    for litres in ("0.71", "0.72", "0.73"):
        keep_run(page, litres, 3)
    sign(page, "3 kept on this phone, not yet sent")
    yard.served.come_back(page.context)
    sign(page, "All sent")
    runs = yard.runs_of(yard.trial("waste"))
    assert [run.entered["waste_volume"] for run in runs] == ["0.71 L", "0.72 L", "0.73 L"]
    builds = [yard.book.get("build", run.links["build"]).name for run in runs]
    assert builds[:2] == ["poppet", "flap"]  # the seventh and eighth place of the plan
    assert all(re.fullmatch(r"(flap|poppet) \d+", run.name) for run in runs)


def test_a_refused_run_comes_back_with_nothing_lost(phone: Any, yard: Yard) -> None:
    page = phone()
    keep_run(page, "0", 9)
    sign(page, "1 to correct")
    assert yard.runs_of(yard.trial("waste")) == []
    page.reload()
    sign(page, "1 to correct")
    page.locator("[data-pane=runs]").tap()
    page.get_by_role("button", name="Correct it").tap()
    assert "waste_volume" in page.locator("#card-refused").inner_text()
    wrong = page.locator("#card-readings button.wrong")
    assert "Water spilled" in wrong.inner_text()
    passed = page.locator("#card-readings button", has_text="Time").inner_text().split("\n")[-1]
    page.locator("#card-readings button", has_text="Water spilled").tap()
    page.get_by_role("button", name="Clear", exact=True).tap()
    page.locator("#keys-close").tap()
    type_reading(page, "Water spilled", "0.9")
    page.locator("#card-finish").tap()
    page.locator("#card-finish").tap()
    sign(page, "All sent")
    (run,) = yard.runs_of(yard.trial("waste"))
    assert (run.entered["beats"], run.entered["duration"], run.entered["waste_volume"]) == (9, passed, "0.9 L")


def test_the_card_fits_a_phone_and_its_targets_a_thumb(phone: Any) -> None:
    page = phone()
    for pane in ("watch", "readings", "runs"):
        page.locator(f"[data-pane={pane}]").tap()
        assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
        small = page.evaluate(
            """() => [...document.querySelectorAll('button, a[href], textarea')].filter((one) => one.offsetParent)
                .map((one) => [one.id || one.textContent, one.getBoundingClientRect()])
                .filter(([, box]) => box.width < 48 || box.height < 48).map(([name]) => name)"""
        )
        assert small == []
        page.evaluate(AXE.read_text(encoding="utf-8"))
        found = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
        serious = [one["id"] for one in found["violations"] if one["impact"] in ("serious", "critical")]
        assert serious == []


@pytest.mark.parametrize("height", [560, 640, 740])
def test_the_watch_and_its_buttons_are_seen_without_scrolling(phone: Any, height: int) -> None:
    page = phone()
    page.set_viewport_size({"width": 360, "height": height})
    tabs = page.locator(".card-tabs").bounding_box()["y"]
    for name in ("#card-watch", "#card-beats", "#card-undo", "#card-lap", "#card-start"):
        box = page.locator(name).bounding_box()
        assert box["y"] >= 0 and box["y"] + box["height"] <= tabs, name


def test_a_quick_tap_after_stop_goes_on_to_the_readings(phone: Any) -> None:
    """The second tap was once taken for the end of the first."""
    page = phone()
    for _ in range(3):
        page.locator("#card-start").tap()
    page.locator("#pane-readings").wait_for(state="visible")
    assert page.locator("#card-missing").is_hidden()  # and it did not fall through to the button below


def test_keys_of_a_keyboard_do_what_the_thumb_does(phone: Any) -> None:
    page = phone()
    page.locator("#card-start").focus()
    page.keyboard.press("Enter")
    assert page.locator("#card-start").inner_text() == "Stop"
    page.locator("#card-beats").focus()
    for _ in range(3):
        page.keyboard.press("Space")
        page.wait_for_timeout(50)
    assert page.locator("#card-count").inner_text() == "3"
    page.locator("[data-pane=readings]").press("Enter")
    page.locator("#card-readings button", has_text="Water spilled").press("Enter")
    for key in ("1", "2", ".", "5", "Backspace", "6"):
        page.keyboard.press(key)
    assert page.locator("#keys-shown").inner_text() == "12.6 L"
    page.keyboard.press("Escape")
    assert "12.6 L" in page.locator("#card-readings button", has_text="Water spilled").inner_text()


def test_the_trial_page_draws_its_chart_and_the_plan_follows_the_form(browser: Any, yard: Yard) -> None:
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    page = context.new_page()
    page.goto(f"{yard.address}/trials/{yard.trial('waste').id}")
    page.wait_for_selector(".wide-only svg")
    assert page.locator(".wide-only svg").bounding_box()["width"] > 400
    page.goto(f"{yard.address}/trials/new")
    builds = {one.name: str(one.id) for one in yard.book.list("build").records}
    page.select_option("[name='link.old_build']", builds["flap"])
    page.select_option("[name='link.new_build']", builds["poppet"])
    page.select_option("[name=figure]", "waste_flow")
    page.select_option("[name=kind]", "shut_beating")
    page.wait_for_selector("#plan .order li")
    few = page.locator("#plan .order li").count()
    page.fill("[name=difference_that_matters]", "1 %")
    page.wait_for_function("few => document.querySelectorAll('#plan .order li').length > few", arg=few)
    context.close()
