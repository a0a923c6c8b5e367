"""A server for the browser tests, and what they share."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from pathlib import Path

import uvicorn
from fastapi import FastAPI
from playwright.sync_api import BrowserContext, Page, expect
from starlette.responses import PlainTextResponse
from starlette.types import Receive, Scope, Send

from clackwork.web.serve import listen

AXE = Path(__file__).resolve().parent / "vendor" / "axe.min.js"
NewContext = Callable[[str], BrowserContext]
expect.set_options(timeout=30_000)  # [ms] machines may be busy; how fast a page is, the benchmarks tell


class Served:
    """A server in a thread, its app at hand, and what it was asked while it was there."""

    def __init__(self, app: FastAPI) -> None:
        self.app = app
        self.away = False
        self.asked: list[str] = []
        sock = listen("127.0.0.1", 0)
        self.url = f"http://127.0.0.1:{sock.getsockname()[1]}"
        config = uvicorn.Config(
            self._answer, interface="asgi3", log_config=None, access_log=False, timeout_graceful_shutdown=1
        )
        self._server = uvicorn.Server(config)
        self._thread = threading.Thread(target=self._server.run, kwargs={"sockets": [sock]}, daemon=True)
        self._thread.start()
        until = time.monotonic() + 20.0
        while not self._server.started:
            assert self._thread.is_alive() and time.monotonic() < until, "the server did not start"
            time.sleep(0.02)

    async def _answer(self, scope: Scope, receive: Receive, send: Send) -> None:
        if self.away and scope["type"] == "http":
            await PlainTextResponse("away", 503)(scope, receive, send)
            return
        if scope["type"] == "http":
            self.asked.append(f"{scope['method']} {scope['path']}")
        await self.app(scope, receive, send)

    def leave(self, context: BrowserContext) -> None:
        """No connection. For a moment after a reload a browser told that it is offline may still ask: so none answers."""
        self.away = True
        context.set_offline(True)

    def come_back(self, context: BrowserContext) -> None:
        """The connection stands again."""
        self.away = False
        context.set_offline(False)

    def stop(self) -> None:
        """End it."""
        self._server.should_exit = True
        self._thread.join(10.0)


def card_at_hand(page: Page) -> None:
    """Wait until the phone has the card, and its worker answers for a server that does not."""
    page.evaluate(
        """async () => {
            await navigator.serviceWorker.ready;
            while (!(await caches.match("/bench/card"))) await new Promise((again) => setTimeout(again, 50));
        }"""
    )
