"""The server: the loopback door always, one on the local network while sharing is on."""

from __future__ import annotations

import asyncio
import contextlib
import errno
import logging
import os
import signal
import socket
from collections.abc import Callable, Iterator
from typing import Any

import uvicorn
from fastapi import FastAPI

from clackwork.errors import ClackworkError, InputError
from clackwork.web.app import make_app
from clackwork.web.guard import is_loopback
from clackwork.web.settings import Settings
from clackwork.web.sharing import CannotShare, Closer

GRACE = 2
"""How long open answers may go on once the server is told to end [s]."""
_NEXT_PORTS = 20
"""Ports tried after the wanted one before any free one is taken."""
_LOOPBACK = "127.0.0.1"


class _Door(uvicorn.Server):
    """A server that leaves signals to the one that runs the process."""

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        """Take no signal."""
        yield


def listen(address: str, port: int, *, tries: int = 1) -> socket.socket:
    """A socket that listens at an address; where the port is taken, one of the next, at last any free one.

    Raises
    ------
    OSError
        The address is not this machine's, or no port is to be had.
    """
    wanted = [*range(port, min(port + tries, 65_536)), *([0] if tries > 1 else [])]
    family = socket.AF_INET6 if ":" in address else socket.AF_INET
    for place, number in enumerate(wanted):
        made = socket.socket(family, socket.SOCK_STREAM)
        try:
            if os.name != "nt":  # there it would share the port with another program
                made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            made.bind((address, number))
            made.listen(128)
            return made
        except OSError as error:
            made.close()
            taken = error.errno in (errno.EADDRINUSE, errno.EACCES)
            if not taken or place == len(wanted) - 1:
                raise
    raise AssertionError("a list of ports is never empty")


def _config(app: FastAPI, *, lifespan: Any = "on") -> uvicorn.Config:
    """What both doors share: no access log, since addresses and queries are nobody's business; no proxy is believed."""
    return uvicorn.Config(
        app,
        log_config=None,
        access_log=False,
        server_header=False,
        proxy_headers=False,
        lifespan=lifespan,
        timeout_graceful_shutdown=GRACE,
        ws="none",
    )


def opener_of(app: FastAPI, port: int) -> Callable[[str], Any]:
    """What opens a second door of a running server, at the same port where that is free."""

    async def open_door(address: str) -> tuple[int, Closer]:
        sock = listen(address, port, tries=_NEXT_PORTS)
        door = _Door(_config(app, lifespan="off"))
        running = asyncio.get_running_loop().create_task(door.serve(sockets=[sock]))

        async def close() -> None:
            door.should_exit = True
            await running

        return int(sock.getsockname()[1]), close

    return open_door


def say_at_once(words: str) -> None:
    """Print a line, also when the output is a pipe."""
    print(words, flush=True)


def _checked(settings: Settings, share: bool) -> None:
    """Refuse an address that would open the book to others without being asked to."""
    host = settings.host
    if host and not share and not is_loopback(host) and host != "localhost":
        raise InputError("--host", host, "another address than loopback shares the book", "Add --share.")
    if not 0 <= settings.port <= 65_535:
        raise InputError("--port", settings.port, "it must be 0 to 65535")


def serve(
    settings: Settings,
    *,
    share: bool = False,
    say: Callable[[str], None] = say_at_once,
    open_browser: bool = False,
) -> None:
    """Serve the page until it is told to end (Ctrl-C, or the signal to terminate).

    Parameters
    ----------
    settings : Settings
    share : bool, optional
        Open the door on the local network at once.
    say : callable, optional
        Takes each line for the person who started it.
    open_browser : bool, optional
        Show the page in the machine's browser.

    Raises
    ------
    ClackworkError
        The address cannot be used, or the book cannot be opened.
    """
    _checked(settings, share)
    logging.basicConfig(level=logging.WARNING, format="%(levelname)s %(name)s: %(message)s")
    logging.getLogger("uvicorn.error").addFilter(_without_cancelled)
    own = settings.host if is_loopback(settings.host) else _LOOPBACK
    try:
        sock = listen(own, settings.port, tries=_NEXT_PORTS)
    except OSError as error:
        raise ClackworkError(f"The address {own} cannot be listened at: {error.strerror or error}.") from error
    port = int(sock.getsockname()[1])
    app = make_app(settings)
    app.state.sharing.use(opener_of(app, port))
    app.state.shelf.open_at_start()
    url = f"http://[{own}]:{port}/" if ":" in own else f"http://{own}:{port}/"
    server = _Told(_config(app), url, say, share, settings.port, open_browser)
    with contextlib.suppress(KeyboardInterrupt):
        server.run(sockets=[sock])


def _without_cancelled(record: logging.LogRecord) -> bool:
    """Leave out what is said of answers that were cut when the server was told to end."""
    return "Cancel" not in record.getMessage()


class _Told(uvicorn.Server):
    """The main server: says where it is once it listens."""

    def __init__(
        self, config: uvicorn.Config, url: str, say: Callable[[str], None], share: bool, wanted: int, browser: bool
    ) -> None:
        super().__init__(config)
        self._url, self._say, self._share, self._wanted, self._browser = url, say, share, wanted, browser

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Start, then say the address."""
        await super().startup(sockets=sockets)
        if self.should_exit:
            return
        if self._wanted and f":{self._wanted}/" not in self._url:
            self._say(f"Port {self._wanted} is taken.")
        self._say(f"Clackwork is at {self._url}")
        if self._share:
            await self._open_door()
        self._say("Ctrl-C ends it.")
        if self._browser:
            import webbrowser

            webbrowser.open(self._url)

    async def _open_door(self) -> None:
        """Share at once; a machine without a network still serves itself."""
        sharing = self.config.app.state.sharing  # type: ignore[union-attr]
        try:
            door = await sharing.start()
        except CannotShare as error:
            self._say(str(error))
            return
        self._say(f"Shared on the network at {door.url}; the page Book has the code that lets a device in.")

    def handle_exit(self, sig: int, frame: Any) -> None:
        """End at the first signal, cut everything at the second."""
        if self.should_exit and sig == signal.SIGINT:
            self.force_exit = True
        self.should_exit = True
