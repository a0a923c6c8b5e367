"""Which book lies open: the workshop's own, or the invented one, which can be thrown away."""

from __future__ import annotations

import contextlib
import shutil
import threading
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING

from clackwork.errors import ClackworkError
from clackwork.quantities import SYSTEMS
from clackwork.web.settings import Settings, is_database

if TYPE_CHECKING:
    from clackwork.book import Book

DEMO_PUMP = "25 mm (invented)"
_BOOK_FILE = "book.sqlite"
_DEMO_MARK = "invented-data.txt"
_DEMO_WORDS = (
    "The book in this folder is made up. Clackwork removes the folder when the demonstration is thrown away.\n"
)


class NoBook(ClackworkError):
    """No book lies open."""

    def __init__(self) -> None:
        super().__init__("No book is open: open one on the first page.")


class Shelf:
    """The books of one server; one of them lies open for all who use it.

    Parameters
    ----------
    settings : Settings
    """

    def __init__(self, settings: Settings) -> None:
        self._settings = settings
        self._lock = threading.RLock()
        self._book: Book | None = None
        self.is_demo = False

    @property
    def is_open(self) -> bool:
        """Whether a book lies open."""
        return self._book is not None

    @property
    def has_own(self) -> bool:
        """Whether the workshop has a book already."""
        place = self._settings.place
        return is_database(place) or (Path(place) / _BOOK_FILE).is_file()

    @property
    def has_demo(self) -> bool:
        """Whether the invented book was made and not thrown away."""
        return (self._settings.demo_place / _DEMO_MARK).is_file()

    @property
    def place(self) -> str:
        """Where the open book is kept, in words; a database's password left out."""
        if self.is_demo:
            return str(self._settings.demo_place)
        place = self._settings.place
        if not is_database(place):
            return str(place)
        import sqlalchemy as sa

        return sa.make_url(str(place)).render_as_string(hide_password=True)

    def book(self) -> Book:
        """The open book.

        Raises
        ------
        NoBook
            None is open.
        """
        book = self._book
        if book is None:
            raise NoBook
        return book

    def title(self) -> str:
        """The name of the workshop whose book lies open; empty when it has none or cannot be read now."""
        return self._said("title", "")

    def own_units(self) -> str:
        """The units the workshop works in; metric when it has not said."""
        return self._said("units", SYSTEMS[0])

    def _said(self, key: str, otherwise: str) -> str:
        """What the workshop says of itself."""
        book = self._book
        with contextlib.suppress(ClackworkError):
            if book is not None:
                return str(book.workshop().entered.get(key, otherwise))
        return otherwise

    def open_at_start(self) -> None:
        """Open the workshop's own book when there is one, else the invented one when it was left open."""
        if self.is_open:
            return
        if self.has_own:
            self.open_own()
        elif self.has_demo:
            self.open_demo()

    def open_own(self, title: str = "", by: str = "") -> None:
        """Open the workshop's own book, made when it is not there."""
        from clackwork.book import open_book

        with self._lock:
            book = open_book(self._settings.place)
            workshop = book.workshop()
            if title and not workshop.entered:
                book.change("workshop", workshop.id, version=workshop.version, entered={"title": title}, by=by)
            self._take(book, is_demo=False)

    def open_demo(self) -> None:
        """Open the invented book, made when it is not there."""
        from clackwork.book import open_book

        with self._lock:
            folder = self._settings.demo_place
            if folder.exists() and not self.has_demo and any(folder.iterdir()):
                raise ClackworkError(
                    f"The folder {folder} holds something else: move it away, then open the demonstration."
                )
            folder.mkdir(parents=True, exist_ok=True)
            (folder / _DEMO_MARK).write_text(_DEMO_WORDS, encoding="utf-8")
            book = open_book(folder)
            if book.list("pump", limit=1).total == 0:
                text = (files("clackwork") / "demo" / "workshop.toml").read_text(encoding="utf-8")
                book.take_workbook(text, pump_name=DEMO_PUMP, by="the demonstration")
            self._take(book, is_demo=True)

    def throw_demo_away(self) -> None:
        """Close the invented book, remove its folder, and open the workshop's own when there is one."""
        with self._lock:
            if self.is_demo:
                self.close()
            if self.has_demo:
                shutil.rmtree(self._settings.demo_place)
            if self.has_own:
                self.open_own()

    def close(self) -> None:
        """Close what is open."""
        with self._lock:
            book, self._book, self.is_demo = self._book, None, False
            if book is not None:
                book.close()

    def _take(self, book: Book, *, is_demo: bool) -> None:
        before, self._book, self.is_demo = self._book, book, is_demo
        if before is not None:
            before.close()
