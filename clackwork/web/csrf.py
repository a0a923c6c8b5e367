"""Forms and JSON are taken only from this page: a token in the form or a header, and the browser's own word.

Every unsafe request passes here, whatever answers it, so a route cannot forget. Two things are held against it:
what the browser says of where it came from (``Sec-Fetch-Site``, ``Origin``), and a token that only a page served to
the same session holds. JSON needs one of them, a form both. The token stands first in a form, so that it is found in
the first bytes of the body and a large upload need not be held.
"""

from __future__ import annotations

import hashlib
import hmac
import re
import secrets
from urllib.parse import parse_qs, urlsplit

from starlette.datastructures import MutableHeaders
from starlette.requests import cookie_parser
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from clackwork.web.refusal import header, refusal, wants_json

SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS", "TRACE"})
SESSION_COOKIE = "clackwork_session"
TOKEN_FIELD = "form_token"
TOKEN_HEADER = "x-clackwork-token"
PEEK = 16_384
"""Bytes of a body in which the token must stand; it is the first field of every form."""

_SESSION = re.compile(r"[A-Za-z0-9_-]{32,64}")
_PART = re.compile(rb'name="' + TOKEN_FIELD.encode() + rb'"\r\n(?:[^\r\n]+\r\n)*\r\n([0-9a-f]{64})\r\n')


def cookie(scope: Scope, name: str) -> str:
    """Value of a cookie; empty when absent."""
    return cookie_parser(header(scope, b"cookie")).get(name, "")


def form_token(secret: bytes, session: str) -> str:
    """The token of a session's forms: 64 hex digits."""
    return hmac.new(secret, b"form " + session.encode(), hashlib.sha256).hexdigest()


def same_origin(scope: Scope) -> bool | None:
    """What the browser says: True from this page, False from another, None when it says nothing."""
    site = header(scope, b"sec-fetch-site")
    origin = header(scope, b"origin")
    if site and site not in ("same-origin", "none"):
        return False
    if origin:
        return urlsplit(origin).netloc.lower() == header(scope, b"host").lower() != ""
    return True if site == "same-origin" else None


def token_in(body: bytes, content_type: str) -> str:
    """The token in the first bytes of a form; empty when it is not there."""
    kind = content_type.partition(";")[0].strip().lower()
    if kind == "application/x-www-form-urlencoded":
        first = body.split(b"&", 1)[0].decode("latin-1")
        return parse_qs(first).get(TOKEN_FIELD, [""])[0]
    if kind == "multipart/form-data":
        found = _PART.search(body)
        return found[1].decode("ascii") if found else ""
    return ""


class Replay:
    """A body read in part and given again from its beginning."""

    def __init__(self, receive: Receive) -> None:
        self._receive = receive
        self._kept: list[Message] = []

    async def peek(self, size: int) -> bytes:
        """The first bytes of the body, at least ``size`` of them unless it is shorter."""
        body = b""
        while len(body) < size:
            message = await self._receive()
            self._kept.append(message)
            body += message.get("body", b"")
            if not message.get("more_body", False):
                break
        return body

    async def __call__(self) -> Message:
        """The next message, as if nothing had been read."""
        return self._kept.pop(0) if self._kept else await self._receive()


class SameOriginForms:
    """Gives each browser a session, and lets unsafe requests pass only from pages of that session."""

    def __init__(self, app: ASGIApp, secret: bytes) -> None:
        self.app = app
        self.secret = secret

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        session = cookie(scope, SESSION_COOKIE)
        fresh = not _SESSION.fullmatch(session)
        if fresh:
            session = secrets.token_urlsafe(32)
        token = form_token(self.secret, session)
        scope.setdefault("state", {})["form_token"] = token
        replay = Replay(receive)
        if scope["method"] not in SAFE_METHODS and not await self._may_pass(scope, replay, token):
            words = (
                "This request did not come from a page of this server, or the page is too old. "
                "Open the page again and send it once more."
            )
            await refusal(scope, 403, "Not from this page", words)(scope, receive, send)
            return

        async def with_session(message: Message) -> None:
            if message["type"] == "http.response.start" and fresh and not scope["path"].startswith("/static/"):
                line = f"{SESSION_COOKIE}={session}; Path=/; HttpOnly; SameSite=Lax"
                MutableHeaders(scope=message).append("set-cookie", line)
            await send(message)

        await self.app(scope, replay, with_session)

    async def _may_pass(self, scope: Scope, replay: Replay, token: str) -> bool:
        """Whether an unsafe request may be answered."""
        origin = same_origin(scope)
        if origin is False:
            return False
        if hmac.compare_digest(header(scope, TOKEN_HEADER.encode()).encode(), token.encode()):
            return True
        if wants_json(scope):
            return origin is True
        given = token_in(await replay.peek(PEEK), header(scope, b"content-type"))
        return hmac.compare_digest(given.encode(), token.encode())
