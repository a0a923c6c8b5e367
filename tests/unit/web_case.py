"""A server for the tests: its app in memory, a browser's manners on top."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from starlette.responses import Response
from starlette.testclient import TestClient

from clackwork.web.app import make_app
from clackwork.web.settings import Settings

PORT = 8765
HOME = f"http://127.0.0.1:{PORT}"
PHONE = "192.0.2.77"  # of the addresses kept for examples (RFC 5737)

VALVE = {
    "waste_valve.kind": "guided poppet",
    "waste_valve.mass": "350 g",
    "waste_valve.stroke": "7 mm",
    "waste_valve.seat_bore": "30 mm",
    "delivery_valve.bore": "20 mm",
    "air_vessel.volume": "3 L",
}
"""What is needed of a build, as its form sends it."""

BUILD = {
    "waste_valve": {"kind": "guided poppet", "mass": "350 g", "stroke": "7 mm", "seat_bore": "30 mm"},
    "delivery_valve": {"bore": "20 mm"},
    "air_vessel": {"volume": "3 L"},
}
"""The same as the API takes it."""


class Browser(TestClient):
    """A client that holds the form token as a page does."""

    def token(self, path: str = "/") -> str:
        """The token of a page's forms."""
        found = re.search(r'name="form-token" content="(\w+)"', self.get(path).text)
        assert found, "the page carries no token"
        return found[1]

    def fill(self, path: str, fields: dict[str, Any] | None = None, **more: Any) -> Any:
        """Send a form as a browser does: the token first, redirects not followed."""
        data = {"form_token": self.token(), **(fields or {})}
        return self.post(path, data=data, follow_redirects=False, **more)

    def call(self, method: str, path: str, body: Any = None) -> Any:
        """Ask the JSON API as a script of this page does."""
        return self.request(method, path, json=body, headers={"origin": HOME})


@contextmanager
def served(
    folder: Path, *, client: str = "127.0.0.1", title: str = "Hillside Rams", **settings: Any
) -> Iterator[Browser]:
    """A browser at a server whose own book is open under a title; an empty one leaves no book."""
    app = make_app(Settings(folder / "book", folder / "book-demo", **settings))
    app.add_api_route("/break", _break, include_in_schema=False)
    with Browser(app, base_url=HOME, client=(client, 50_000)) as browser:
        if title:
            app.state.shelf.open_own(title)
        yield browser


def another(browser: Browser, *, client: str = PHONE, base_url: str = HOME) -> Browser:
    """A second browser at the same server; the server keeps running when it is done with."""
    return Browser(browser.app, base_url=base_url, client=(client, 50_001))


def _break() -> Response:
    raise RuntimeError("a secret of the inside")


def add_pump(browser: Browser, name: str = "25 mm") -> int:
    """A new pump; its number."""
    made = browser.call("POST", "/api/records/pump", {"name": name})
    assert made.status_code == 201, made.text
    return int(made.json()["id"])


def add_build(browser: Browser, pump: int, name: str = "long stroke") -> int:
    """A new build; its number."""
    made = browser.call("POST", "/api/records/build", {"name": name, "entered": BUILD, "links": {"pump": pump}})
    assert made.status_code == 201, made.text
    return int(made.json()["id"])
