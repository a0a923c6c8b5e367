"""Pages out of templates: what every page knows, the units it is shown in, messages carried to the next one."""

from __future__ import annotations

import base64
import datetime
import hashlib
import hmac
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from clackwork.quantities import SYSTEMS
from clackwork.web import figures
from clackwork.web.access import visitor_of
from clackwork.web.assets import static
from clackwork.web.csrf import TOKEN_FIELD, TOKEN_HEADER

UNITS_COOKIE = "units"
MESSAGE_COOKIE = "clackwork_message"
_YEAR = 365 * 86_400
_LONGEST_MESSAGE = 400


@dataclass(frozen=True)
class Entry:
    """One entry of the navigation: its words, its short words on a phone, its address."""

    words: str
    short: str
    path: str


NAVIGATION = (
    Entry("Quick answer", "Ask", "/ask"),
    Entry("Pumps", "Pumps", "/pumps"),
    Entry("Bench", "Bench", "/bench"),
    Entry("Sites", "Sites", "/sites"),
    Entry("Work in progress", "Work", "/progress"),
    Entry("Book", "Book", "/book"),
)


def _environment() -> Environment:
    """Templates with every value escaped and every missing one an error."""
    made = Environment(
        loader=FileSystemLoader(Path(__file__).resolve().parent / "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.globals |= {
        "static": static,
        "navigation": NAVIGATION,
        "token_field": TOKEN_FIELD,
        "token_header": TOKEN_HEADER,
    }
    made.filters |= {
        "figure": figures.figure,
        "typed": figures.typed_in,
        "clock": clock,
        "day": day,
        "count": figures.count_of,
    }
    return made


def clock(at: datetime.datetime) -> str:
    """A moment by this machine's clock: "3 May 2026, 14:05"."""
    local = at.astimezone()
    return f"{local.day} {local:%B %Y, %H:%M}"


def day(at: datetime.datetime) -> str:
    """A day by this machine's clock: "3 May 2026"."""
    local = at.astimezone()
    return f"{local.day} {local:%B %Y}"


templates = _environment()


def units_of(request: Request) -> str:
    """The system a page is shown in: asked for in its address, else kept, else the workshop's own."""
    asked = request.query_params.get("units")
    kept = request.cookies.get(UNITS_COOKIE)
    return next((one for one in (asked, kept) if one in SYSTEMS), None) or request.app.state.shelf.own_units()


def _address_in(request: Request, system: str) -> str:
    """The address of the same page in other units."""
    query = [(key, value) for key, value in request.query_params.multi_items() if key != "units"]
    return f"{request.url.path}?{urlencode([*query, ('units', system)])}"


def page(request: Request, template: str, *, status: int = 200, **words: Any) -> HTMLResponse:
    """A page.

    Parameters
    ----------
    request : Request
    template : str
        A file of the templates' folder.
    status : int, optional
    **words
        What the template shows besides what every page knows: the form token, the units, the visitor, the message
        left for this page, and whether the book is the invented one.
    """
    shelf = request.app.state.shelf
    system = units_of(request)
    at_home = request.method == "GET"
    message = read_message(request) if at_home else None
    known = {
        "path": request.url.path,
        "units": system,
        "unit_links": [(one, _address_in(request, one) if at_home else f"/?units={one}") for one in SYSTEMS],
        "token": request.state.form_token,
        "visitor": visitor_of(request),
        "message": message,
        "book_is_open": shelf.is_open,
        "invented": shelf.is_demo,
        "workshop": shelf.title(),
    }
    response = HTMLResponse(templates.get_template(template).render(known | words), status)
    asked = request.query_params.get("units")
    if asked in SYSTEMS and asked != request.cookies.get(UNITS_COOKIE):
        response.set_cookie(UNITS_COOKIE, asked, max_age=_YEAR, httponly=True, samesite="lax")
    if message is not None:
        response.delete_cookie(MESSAGE_COOKIE, httponly=True, samesite="lax")
    return response


def go_to(request: Request, path: str, message: str = "", *, bad: bool = False) -> Response:
    """Send the browser to another page of this server, with a message to show there."""
    response: Response = RedirectResponse(path, 303)
    if message:
        kept = _sealed(request, {"words": message[:_LONGEST_MESSAGE], "bad": bad})
        response.set_cookie(MESSAGE_COOKIE, kept, max_age=60, httponly=True, samesite="lax")
    return response


def _seal(request: Request, text: str) -> str:
    secret: bytes = request.app.state.settings.secret
    return hmac.new(secret, b"message " + text.encode(), hashlib.sha256).hexdigest()


def _sealed(request: Request, message: dict[str, Any]) -> str:
    """A message as a cookie holds it: it can be read but not made up."""
    text = base64.urlsafe_b64encode(json.dumps(message).encode()).decode()
    return f"{text}.{_seal(request, text)}"


def read_message(request: Request) -> dict[str, Any] | None:
    """The message left for this page."""
    text, _, seal = request.cookies.get(MESSAGE_COOKIE, "").partition(".")
    if not text or not hmac.compare_digest(seal.encode(), _seal(request, text).encode()):
        return None
    try:
        found = json.loads(base64.urlsafe_b64decode(text))
    except ValueError:
        return None
    return found if isinstance(found, dict) else None
