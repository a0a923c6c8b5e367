"""Fit a build and draw its performance in a real browser: the work is seen, outlives a reload, and ends on paper."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from browser_case import AXE, Served
from playwright.sync_api import Browser
from pypdf import PdfReader

from clackwork.web.app import make_app
from clackwork.web.settings import Settings

SIZES = {"laptop": (1280, 900), "phone": (360, 740)}
FIT_PATIENCE = 240_000  # [ms] some nine thousand runs of the engine, on a machine that may be busy
PATIENCE = 60_000
pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The demonstration served on a free port of this machine."""
    folder = tmp_path_factory.mktemp("twin")
    served = Served(make_app(Settings(folder / "book", folder / "demo")))
    served.app.state.shelf.open_demo()
    yield served.url
    served.stop()


@pytest.fixture(scope="module")
def page(chromium: Browser, address: str) -> Iterator[Any]:
    """One page for the whole way; it asks nothing of the outside and throws nothing."""
    asked: list[str] = []
    broke: list[str] = []
    found = chromium.new_page(viewport={"width": 1280, "height": 900}, accept_downloads=True)
    found.on("request", lambda each: asked.append(each.url))
    found.on("pageerror", lambda error: broke.append(str(error)))
    found.on("console", lambda line: broke.append(line.text) if "Content Security Policy" in line.text else None)
    yield found
    found.close()
    assert broke == []
    assert [url for url in asked if not url.startswith((address, "data:", "blob:"))] == []


@pytest.fixture(scope="module")
def build(page: Any, address: str) -> str:
    """Address of the demo's flap."""
    records = page.request.get(f"{address}/api/records/build").json()["records"]
    return f"{address}/builds/{next(one['id'] for one in records if one['name'] == 'flap')}"


@pytest.fixture(scope="module")
def fitted(page: Any, build: str) -> str:
    """The same once fitted, from its page, seen at work and left alone through a reload."""
    page.goto(f"{build}/twin")
    page.fill("#draws", "60")
    page.get_by_role("button", name="Fit the twin").click()
    page.wait_for_selector(".job[data-state='running'] progress", timeout=PATIENCE)
    page.wait_for_function("() => document.querySelector('.job progress')?.value > 0", timeout=FIT_PATIENCE)
    before = page.eval_on_selector(".job progress", "bar => bar.value")
    page.reload()
    assert page.eval_on_selector(".job progress", "bar => bar.value") >= before
    assert "left" in page.inner_text(".job-words")
    page.wait_for_selector(".twin-figures", timeout=FIT_PATIENCE)  # the page is drawn anew by itself
    return build


@pytest.fixture(scope="module")
def drawn(page: Any, fitted: str) -> str:
    """The same with its performance drawn."""
    page.goto(f"{fitted}/performance")
    page.fill("#falls", "1.5 m; 2.1 m")
    page.fill("#draws", "20")
    page.get_by_role("button", name="Draw it").click()
    page.wait_for_selector(".twin-figures", timeout=PATIENCE)
    return fitted


def check_look(page: Any, path: str, size: str) -> None:
    """Nothing wider than the window, charts drawn and not empty, no serious finding of axe."""
    width, height = SIZES[size]
    page.set_viewport_size({"width": width, "height": height})
    page.goto(path)
    shown = ".chart.drawn:not([hidden])"
    page.wait_for_function(
        f"() => [...document.querySelectorAll('{shown}')].filter(one => one.offsetParent).length > 0 && "
        f"[...document.querySelectorAll('{shown}')].filter(one => one.offsetParent)"
        ".every(one => one.querySelector('svg')?.getBoundingClientRect().width > 200)",
        timeout=PATIENCE,
    )
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    page.evaluate(AXE.read_text(encoding="utf-8"))
    found = page.evaluate("axe.run().then(result => result.violations)")
    bad = [(one["id"], one["nodes"][0]["html"]) for one in found if one["impact"] in ("serious", "critical")]
    assert bad == []


@pytest.mark.parametrize("size", SIZES)
def test_the_twin_page(page: Any, fitted: str, size: str) -> None:
    check_look(page, f"{fitted}/twin", size)
    words = page.inner_text("main")
    assert re.search(r"The model meets \d+ of \d+ readings", words)
    for run in range(1, 12):
        assert f"flap {run}" in words
    assert "Run next" in words and "Out of date" not in words


@pytest.mark.parametrize("size", SIZES)
def test_the_performance_page(page: Any, drawn: str, size: str) -> None:
    check_look(page, f"{drawn}/performance", size)
    assert page.locator(".chart[data-drawn='live']").count() == 4


@pytest.mark.parametrize(("units", "words"), [("metric", " bar"), ("us", " psi")])
def test_the_performance_sheet_is_downloaded(page: Any, drawn: str, units: str, words: str) -> None:
    page.goto(f"{drawn}/performance?units={units}")
    with page.expect_download() as waiting:
        page.get_by_role("link", name="Performance sheet (PDF)").click()
    assert waiting.value.suggested_filename == "performance-flap.pdf"
    text = " ".join(one.extract_text() for one in PdfReader(io.BytesIO(Path(waiting.value.path()).read_bytes())).pages)
    text = re.sub(r"\s+", " ", text)
    for expected in ("Performance of flap", "Pump 25 mm (invented)", "Pressure in the pump", "Every beat sends", words):
        assert expected in text
    shown = page.locator(".twin-figures dd").first.inner_text().split("\n")[0].strip()
    assert re.sub(r"\s+", " ", shown) in text


def test_work_can_be_cancelled_from_its_list(page: Any, fitted: str) -> None:
    page.goto(f"{fitted}/twin")
    page.get_by_role("button", name="Fit again").click()
    page.wait_for_selector(".job progress")
    page.goto(f"{fitted.split('/builds')[0]}/progress/jobs")
    page.get_by_role("button", name="Cancel").click()
    page.wait_for_selector(".job[data-state='cancelled']", timeout=PATIENCE)
    assert "cancelled" in page.inner_text(".job-words")
