"""What stands before every page: headers, host names, sizes, and a plain answer when something breaks."""

from __future__ import annotations

import contextlib
import ipaddress
import logging
from collections.abc import Callable, Mapping

from starlette.datastructures import MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from clackwork.web.refusal import header, refusal

LOOPBACK_NAMES = frozenset({"localhost", "127.0.0.1", "::1"})

CONTENT_POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' data:",
        "font-src 'self'",
        "connect-src 'self'",
        "manifest-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    )
)
"""Nothing from outside, nothing inline."""

HEADERS = {
    "content-security-policy": CONTENT_POLICY,
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), geolocation=(), microphone=(), payment=(), usb=()",
}
"""On every answer. A policy of "no-referrer" would make browsers send forms with the origin "null"."""

log = logging.getLogger("clackwork.web")


def is_loopback(address: str) -> bool:
    """Whether a network address is this machine speaking to itself."""
    try:
        found = ipaddress.ip_address(address)
    except ValueError:
        return False
    mapped = getattr(found, "ipv4_mapped", None)
    return bool((mapped or found).is_loopback)


def host_name(value: str) -> str:
    """The name in a Host header: lower case, without port, brackets and last dot."""
    text = value.strip().lower()
    if text.startswith("["):
        return text[1:].partition("]")[0]
    return text.partition(":")[0].rstrip(".")


class Headers:
    """Puts the headers on every answer; pages are asked for afresh each time, assets may be kept."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers[name] = value
                headers.setdefault("cache-control", "private, no-cache")
            await send(message)

        await self.app(scope, receive, with_headers)


class PlainFailure:
    """Answers with a plain page when a page breaks; the details go to the log only."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        started = False

        async def watched(message: Message) -> None:
            nonlocal started
            started = started or message["type"] == "http.response.start"
            await send(message)

        try:
            await self.app(scope, receive, watched)
        except Exception:
            log.exception("%s %s broke", scope["method"], scope["path"])
            if started:
                raise
            words = "Something went wrong that should not have. Nothing was changed by it; go back and try again."
            await refusal(scope, 500, "That did not work", words)(scope, receive, send)


class KnownHosts:
    """Refuses requests that were sent to another name: a page elsewhere may point its own name at this machine."""

    def __init__(self, app: ASGIApp, names: Callable[[], frozenset[str]]) -> None:
        self.app = app
        self.names = names

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        name = host_name(header(scope, b"host"))
        if name in LOOPBACK_NAMES or name in self.names():
            await self.app(scope, receive, send)
            return
        words = "This name is not served here: open the address shown where clackwork was started."
        await refusal(scope, 421, "Not served here", words)(scope, receive, send)


class TooLarge(Exception):
    """A body went past its limit while it was read."""


class BodyLimit:
    """Stops bodies that are larger than their path may take, before and while they are read."""

    def __init__(self, app: ASGIApp, limit: int, limits: Mapping[str, int]) -> None:
        self.app = app
        self.limit = limit
        self.limits = limits

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        limit = self.limits.get(scope["path"], self.limit)
        words = f"That is larger than the {limit / 1e6:g} MB taken here."
        told = header(scope, b"content-length")
        if told and (not told.isdigit() or int(told) > limit):
            await refusal(scope, 413, "Too large", words)(scope, receive, send)
            return
        taken, over, started = 0, False, False

        async def counted() -> Message:
            nonlocal taken, over
            message = await receive()
            taken += len(message.get("body", b""))
            if taken > limit:
                over = True
                raise TooLarge(words)
            return message

        async def unless_over(message: Message) -> None:
            nonlocal started
            if over and not started:
                return  # the page's own answer to a body cut short; ours follows
            started = True
            await send(message)

        with contextlib.suppress(TooLarge):
            await self.app(scope, counted, unless_over)
        if over and not started:
            await refusal(scope, 413, "Too large", words)(scope, receive, send)
