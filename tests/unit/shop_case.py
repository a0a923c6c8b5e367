"""A server whose book has the demo's builds with invented twins: enough for every page and call about sites."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from invented_design import design
from invented_twin import demo, twin_of
from web_case import Browser, served
from workshop_books import demo_text

from clackwork.book import Book, Record
from clackwork.shop import job_rows
from clackwork.shop.design_text import design_text
from clackwork.shop.designing import ask_design, basis_of_design
from clackwork.shop.fitted import fitted_twins


@dataclass(frozen=True)
class Shop:
    """A browser at a server with the demo in its book."""

    browser: Browser
    book: Book

    def page(self, path: str, status: int = 200) -> str:
        """The text of a page, its spaces made one."""
        found = self.browser.get(path)
        assert found.status_code == status, found.text
        return re.sub(r"\s+", " ", found.text)

    def call(self, method: str, path: str, body: Any = None) -> Any:
        """Ask the JSON API."""
        return self.browser.call(method, path, body)

    def site(self, name: str = "Upper Hazel") -> Record:
        """A site by name."""
        found = self.book.find("site", name)
        assert found is not None
        return found

    def fit(self, *names: str) -> None:
        """Twins, as if fitted."""
        for name in names or ("flap", "poppet"):
            build = self.book.find("build", name)
            assert build is not None
            self.book.keep_twin(build.id, twin_of(demo().builds[name]))

    def designed(self, name: str = "Upper Hazel") -> Record:
        """An invented design of a site, as the worker leaves it."""
        site = self.site(name)
        job = ask_design(self.book, site.id)
        assert job_rows.take_up(self.book, "by hand") is not None
        kept = {"design": design_text(design()), "rests_on": basis_of_design(self.book, site, fitted_twins(self.book))}
        job_rows.end(self.book, job.id, "by hand", "done", result=kept)
        return site


@contextmanager
def shop(folder: Path) -> Iterator[Shop]:
    """A server with a book into which the demo was taken."""
    with served(folder) as browser:
        book = browser.app.state.shelf.book()
        book.take_workbook(demo_text(), pump_name="25 mm")
        yield Shop(browser, book)
