"""Who may come in: this machine always, others on the local network once they are paired."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse
from starlette.types import ASGIApp, Receive, Scope, Send

from clackwork.errors import ClackworkError
from clackwork.web.csrf import cookie
from clackwork.web.guard import is_loopback
from clackwork.web.pairing import Device, hashed
from clackwork.web.refusal import refusal, wants_json

DEVICE_COOKIE = "clackwork_device"
DEVICE_COOKIE_LASTS = 365 * 86_400
PAIR_PATH = "/pair"
STATIC_PATH = "/static/"
SHOP = "the shop"
"""Written in the journal for changes made at the machine itself."""


class NotHere(ClackworkError):
    """Something that is done only at the machine that runs the server."""


@dataclass(frozen=True)
class Visitor:
    """Where a request comes from: its name in the journal, and whether it is this machine."""

    name: str
    at_shop: bool
    device_id: int | None = None


class PairedOnly:
    """Lets this machine and paired devices in; others meet the page that asks for a code.

    Parameters
    ----------
    sharing : callable
        Whether others may come in at all now.
    find : callable
        The device with a token's hash, or None.
    """

    def __init__(self, app: ASGIApp, sharing: Callable[[], bool], find: Callable[[str], Device | None]) -> None:
        self.app = app
        self.sharing = sharing
        self.find = find

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        state = scope.setdefault("state", {})
        client = scope.get("client")
        if client and is_loopback(client[0]):
            state["visitor"] = Visitor(SHOP, at_shop=True)
        elif not self.sharing():
            words = "This book is not shared on the network now. Turn sharing on at the machine it runs on."
            await refusal(scope, 403, "Not shared", words)(scope, receive, send)
            return
        else:
            token = cookie(scope, DEVICE_COOKIE)
            device = await run_in_threadpool(self.find, hashed(token)) if token else None
            if device is None and not _open_to_all(scope["path"]):
                await self._ask_for_code(scope, receive, send)
                return
            if device is not None:
                state["visitor"] = Visitor(device.name, at_shop=False, device_id=device.id)
            else:
                state["visitor"] = Visitor("not paired", at_shop=False)
        await self.app(scope, receive, send)

    async def _ask_for_code(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Turn an unpaired device to the page that pairs it."""
        if wants_json(scope):
            words = "This device is not paired with the book: open the page on it and give the code shown in the shop."
            await JSONResponse({"error": words, "status": 401}, 401)(scope, receive, send)
            return
        headers = {"hx-redirect": PAIR_PATH}
        await RedirectResponse(PAIR_PATH, 303, headers)(scope, receive, send)


def _open_to_all(path: str) -> bool:
    """Whether a path is needed to be paired at all."""
    return path == PAIR_PATH or path.startswith(STATIC_PATH)


def visitor_of(request: Request) -> Visitor:
    """Who sent a request that was let in."""
    found: Visitor = request.state.visitor
    return found


def require_shop(request: Request, doing: str) -> None:
    """Refuse what may be done only at the machine itself.

    Raises
    ------
    NotHere
        The request comes from another device.
    """
    if not visitor_of(request).at_shop:
        raise NotHere(f"{doing} is done only at the machine that runs clackwork: open the page there.")
