"""A server for the browser tests, and what they share."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from pathlib import Path

import uvicorn
from fastapi import FastAPI
from playwright.sync_api import BrowserContext

from clackwork.web.serve import listen

AXE = Path(__file__).resolve().parent / "vendor" / "axe.min.js"
NewContext = Callable[[str], BrowserContext]


class Served:
    """A server in a thread, its app at hand."""

    def __init__(self, app: FastAPI) -> None:
        self.app = app
        sock = listen("127.0.0.1", 0)
        self.url = f"http://127.0.0.1:{sock.getsockname()[1]}"
        config = uvicorn.Config(app, log_config=None, access_log=False, timeout_graceful_shutdown=1)
        self._server = uvicorn.Server(config)
        self._thread = threading.Thread(target=self._server.run, kwargs={"sockets": [sock]}, daemon=True)
        self._thread.start()
        until = time.monotonic() + 20.0
        while not self._server.started:
            assert self._thread.is_alive() and time.monotonic() < until, "the server did not start"
            time.sleep(0.02)

    def stop(self) -> None:
        """End it."""
        self._server.should_exit = True
        self._thread.join(10.0)
