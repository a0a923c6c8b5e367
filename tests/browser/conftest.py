"""A real browser and a server of its own for each test; whatever asks for something outside fails its test."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from browser_case import NewContext, Served
from playwright.sync_api import Browser, BrowserContext, Page, Request, sync_playwright

from clackwork.web.app import make_app
from clackwork.web.settings import Settings

PACKAGE = "chromium"
SIZES = {"desk": (1280, 900), "phone": (360, 740)}


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    """Debian's Chromium, without a window."""
    program = shutil.which("chromium") or shutil.which("chromium-browser")
    if program is None:
        pytest.skip(f"no Chromium on this machine: on Debian or Ubuntu, sudo apt install {PACKAGE}")
    as_root = hasattr(os, "getuid") and os.getuid() == 0
    with sync_playwright() as playwright:
        arguments = ["--no-sandbox"] if as_root else []
        browser = playwright.chromium.launch(executable_path=program, args=arguments)
        yield browser
        browser.close()


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Served]:
    """A server without a book."""
    one = Served(make_app(Settings(tmp_path / "book", tmp_path / "book-demo")))
    yield one
    one.stop()


@pytest.fixture
def demo(server: Served) -> Served:
    """A server with the invented book open."""
    server.app.state.shelf.open_demo()
    return server


@pytest.fixture
def new_context(chromium: Browser, server: Served) -> Iterator[NewContext]:
    """Makes a browser of its own, "desk" or "phone"; requests to outside and errors in the console fail the test."""
    outside: list[str] = []
    errors: list[str] = []
    contexts: list[BrowserContext] = []

    def asked(request: Request) -> None:
        if not request.url.startswith((server.url, "data:", "blob:")):
            outside.append(request.url)

    def make(size: str) -> BrowserContext:
        width, height = SIZES[size]
        context = chromium.new_context(
            viewport={"width": width, "height": height}, has_touch=size == "phone", base_url=server.url
        )
        context.set_default_timeout(15_000)
        context.on("request", asked)
        context.on("console", lambda said: errors.append(said.text) if said.type == "error" else None)
        context.on("weberror", lambda error: errors.append(str(error.error)))
        contexts.append(context)
        return context

    yield make
    for context in contexts:
        context.close()
    assert outside == []
    # an answer of 4xx to a form is said in the console as well; it is meant
    assert [one for one in errors if "Failed to load resource" not in one] == []


@pytest.fixture
def desk(new_context: NewContext) -> Page:
    """A page 1280 px wide."""
    return new_context("desk").new_page()


@pytest.fixture
def phone(new_context: NewContext) -> Page:
    """A page 360 px wide."""
    return new_context("phone").new_page()
