"""The live page in a real browser: a slider is dragged, figures, drawing and trace follow; nothing here depends on speed."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import pytest
from browser_case import AXE, Served
from playwright.sync_api import Browser

from clackwork.web.app import make_app
from clackwork.web.settings import Settings


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The page served on a free port of this machine, with no book yet."""
    folder = tmp_path_factory.mktemp("live")
    served = Served(make_app(Settings(folder / "book", folder / "demo")))
    yield served.url
    served.stop()


@pytest.fixture(params=[(1280, 900), (360, 740)], ids=["laptop", "phone"])
def page(request: pytest.FixtureRequest, chromium: Browser, address: str) -> Iterator[Any]:
    """The page with its first picture, at two sizes; it must ask nothing of the outside and throw nothing."""
    width, height = request.param
    # the tests read the trace as it was drawn: a page that plays would move on meanwhile
    context = chromium.new_context(viewport={"width": width, "height": height}, reduced_motion="reduce")
    found = context.new_page()
    asked: list[str] = []
    broke: list[str] = []
    found.on("request", lambda each: asked.append(each.url))
    found.on("pageerror", lambda error: broke.append(str(error)))
    found.on("console", lambda line: broke.append(line.text) if "Content Security Policy" in line.text else None)
    found.goto(f"{address}/live")
    found.wait_for_selector("#live[data-state='beating']")
    yield found
    context.close()
    assert broke == []
    assert [url for url in asked if not url.startswith((address, "data:"))] == []


def shown(page: Any) -> int:
    return int(page.get_attribute("#live", "data-shown"))


def wait_for_next(page: Any, before: int) -> None:
    page.wait_for_function("before => Number(document.getElementById('live').dataset.shown) > before", arg=before)


def line(page: Any) -> str:
    return str(page.locator("#live-traces .live-line").first.get_attribute("d"))


def drag(page: Any, name: str, share: float) -> None:
    """Pull the thumb of a slider to a share of its way, in several moves."""
    slider = page.locator(f"#live-slider-{name}")
    slider.evaluate("each => each.scrollIntoView({ block: 'end' })")
    box = slider.bounding_box()
    low, high, value = (float(slider.evaluate(f"each => each.{key}")) for key in ("min", "max", "value"))
    y = box["y"] + 0.5 * box["height"]
    start = (value - low) / (high - low)
    page.mouse.move(box["x"] + 14 + start * (box["width"] - 28), y)
    page.mouse.down()
    for step in range(1, 9):
        page.mouse.move(box["x"] + 14 + (start + step / 8 * (share - start)) * (box["width"] - 28), y)
    page.mouse.up()


def test_dragging_moves_figures_drawing_and_trace(page: Any) -> None:
    before, trace, words = shown(page), line(page), page.inner_text("#live-words")
    rate = page.inner_text("[data-figure='beat_rate'] .live-number")
    stop = page.get_attribute("#live-valve-open", "d"), page.locator("#live-stage").inner_html()
    drag(page, "stroke", 0.45)
    wait_for_next(page, before)
    page.wait_for_function("old => document.getElementById('live-words').textContent !== old", arg=words)
    assert page.inner_text("[data-figure='beat_rate'] .live-number") != rate
    assert line(page) != trace
    assert page.locator("#live-stage").inner_html() != stop[1]
    assert page.input_value("#live-slider-stroke-typed") != "7.00 mm"
    assert "in" in page.inner_text(".live-slider:has(#live-slider-stroke) .live-value .live-also")


def test_a_flood_of_moves_ends_in_the_newest_one(page: Any) -> None:
    asked: list[float] = []
    page.on(
        "request",
        lambda each: asked.append(json.loads(each.post_data)["stroke_m"]) if each.url.endswith("/api/live") else None,
    )
    page.evaluate("""() => {
      const range = document.getElementById("live-slider-stroke");
      for (let move = 0; move <= 100; move += 1) {
        range.value = 0.005 + 0.00005 * move;
        range.dispatchEvent(new Event("input"));
      }
    }""")
    page.wait_for_function("() => document.getElementById('live-slider-stroke-typed').value.startsWith('10')")
    assert len(asked) <= 3 and asked[-1] == pytest.approx(0.01, abs=1e-4)


def test_typed_text_is_read_and_bad_text_explained(page: Any) -> None:
    before = shown(page)
    page.fill("#live-slider-mass-typed", "5 oz")
    page.press("#live-slider-mass-typed", "Enter")
    wait_for_next(page, before)
    page.locator("#live-slider-fall").focus()
    page.wait_for_function("() => document.getElementById('live-slider-mass-typed').value === '0.142 kg'")
    page.fill("#live-slider-stroke-typed", "8")
    page.press("#live-slider-stroke-typed", "Enter")
    error = page.locator(".live-slider:has(#live-slider-stroke) .live-error")
    error.filter(has_text="unit").wait_for()
    assert page.get_attribute("#live-slider-stroke-typed", "aria-invalid") == "true"


def test_a_stall_is_said_in_words_and_marked_on_the_slider(page: Any) -> None:
    page.wait_for_selector(".live-slider:has(#live-slider-mass) .live-band")
    assert "stalls" in page.inner_text("#live-slider-mass-edges").lower()
    page.fill("#live-slider-fall-typed", "0.3 m")
    page.press("#live-slider-fall-typed", "Enter")
    page.wait_for_selector("#live[data-state='stalled open']")
    assert page.inner_text("#live-words").startswith("Stalls open")
    page.wait_for_function(
        "() => document.getElementById('live-slider-fall-edges').textContent.startsWith('It would beat')"
    )


def test_sliders_go_by_the_keyboard(page: Any) -> None:
    before = shown(page)
    page.locator("#live-slider-lift").focus()
    page.keyboard.press("ArrowRight")
    wait_for_next(page, before)
    page.wait_for_function(
        "() => document.getElementById('live-slider-lift').getAttribute('aria-valuetext').startsWith('12.8 m')"
    )


def test_the_drawing_plays_pauses_and_steps_by_keys(page: Any) -> None:
    needle = "#live-stage .live-gauge path[transform]:nth-last-of-type(1)"
    moment = page.inner_text("#live-moment")
    assert "head at the pump" in moment, "paused where motion is not wanted"
    page.locator("#live-stage").focus()
    for _ in range(12):
        page.keyboard.press("ArrowRight")
    assert page.inner_text("#live-moment") != moment
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("Home")
    assert "0.000 s" in page.inner_text("#live-moment")
    pose = page.locator("#live-stage [data-motion='waste-valve']").first.get_attribute("transform")
    page.keyboard.press("Space")
    assert page.inner_text("#live-play") == "Pause"
    page.wait_for_function(
        "old => document.querySelector('#live-stage [data-motion=waste-valve]').getAttribute('transform') !== old",
        arg=pose,
    )
    page.keyboard.press("s")
    assert page.input_value("#live-speed") == "0.05"
    page.keyboard.press("Space")
    assert page.inner_text("#live-play") == "Play"
    assert page.locator(needle).count() >= 1


def test_drawing_and_cursor_stand_at_the_same_moment(page: Any) -> None:
    page.locator("#live-traces").evaluate("each => each.scrollIntoView({ block: 'end' })")
    box = page.locator("#live-traces svg").bounding_box()
    page.mouse.click(box["x"] + 0.6 * box["width"], box["y"] + 120)
    told = page.inner_text("#live-moment")
    gauge = page.locator(".live-gauge text[font-weight=bold]").text_content().split()[0]
    cursor = page.locator("#live-traces text[font-weight=bold]").first.text_content().split()[0]
    assert gauge == cursor and f"head at the pump {gauge} m" in told


def test_page_fits_and_can_be_read_by_all(page: Any) -> None:
    width = page.evaluate("[document.documentElement.scrollWidth, window.innerWidth]")
    assert width[0] <= width[1]
    targets = ".live button, .live select, .live input[type=text], .live input[type=range]"
    small = page.evaluate(
        """(targets) => [...document.querySelectorAll(targets)]
      .filter((each) => each.offsetParent && each.offsetHeight < 48).map((each) => each.id)""",
        targets,
    )
    assert small == []
    found = page.evaluate(AXE.read_text(encoding="utf-8") + "; axe.run()")
    assert [each["id"] for each in found["violations"] if each["impact"] in ("serious", "critical")] == []


def test_delivery_shut_shows_its_caution(page: Any) -> None:
    before = shown(page)
    page.check("#live-shut")
    wait_for_next(page, before)
    page.locator("#live-cautions p").filter(has_text="Never shut the delivery").wait_for()
    assert not page.locator("#live-slider-lift").is_visible()
