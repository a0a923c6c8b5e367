"""Pictures of the page for the README, from the invented book: ``.venv/bin/python docs/pictures/page_pictures.py``."""

from __future__ import annotations

import os
import shutil
import sys
import tempfile
from pathlib import Path

from playwright.sync_api import Browser, sync_playwright

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parents[1] / "tests" / "browser"))

from browser_case import Served  # noqa: E402

from clackwork.web.app import make_app  # noqa: E402
from clackwork.web.settings import Settings  # noqa: E402

DESK, PHONE = (1280, 1320), (360, 740)
PICTURES = {
    "page-live.png": ("/live", DESK),
    "page-card.png": ("/bench/card?trial={trial}", PHONE),
    "page-trial.png": ("/trials/{trial}", (1280, 900)),
}
"""File, address and size of the window of each picture."""


def take(browser: Browser, url: str, size: tuple[int, int], target: Path) -> None:
    """One picture of what a window of this size shows, once the page has come to rest."""
    page = browser.new_page(viewport={"width": size[0], "height": size[1]}, reduced_motion="reduce")
    page.goto(url)
    page.wait_for_load_state("networkidle")
    page.wait_for_timeout(800)
    page.screenshot(path=target)
    page.close()


def main() -> None:
    """Serve the invented book from a folder of its own and take every picture."""
    program = shutil.which("chromium") or shutil.which("chromium-browser")
    if program is None:
        sys.exit("There is no Chromium on this machine: on Debian or Ubuntu, sudo apt install chromium")
    arguments = ["--no-sandbox"] if hasattr(os, "getuid") and os.getuid() == 0 else []
    with tempfile.TemporaryDirectory() as folder:
        served = Served(make_app(Settings(Path(folder) / "book", Path(folder) / "demo")))
        served.app.state.shelf.open_demo()
        found = served.app.state.shelf.book().find("trial", "waste")
        assert found is not None
        trial = found.id
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=program, args=arguments)
            for name, (address, size) in PICTURES.items():
                take(browser, served.url + address.format(trial=trial), size, HERE / name)
                print(f"Wrote {name}")
            browser.close()
        served.stop()


if __name__ == "__main__":
    main()
