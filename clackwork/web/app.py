"""The server put together: doors first, then the pieces."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from fastapi import FastAPI
from starlette.concurrency import run_in_threadpool
from starlette.middleware import Middleware

from clackwork.web.access import PairedOnly
from clackwork.web.csrf import SameOriginForms
from clackwork.web.devices import find_device
from clackwork.web.guard import BodyLimit, Headers, KnownHosts, PlainFailure
from clackwork.web.pairing import PairingDesk
from clackwork.web.pieces import routers
from clackwork.web.problems import PROBLEMS, add_handlers
from clackwork.web.settings import Settings
from clackwork.web.sharing import Sharing
from clackwork.web.shelf import Shelf

DESCRIPTION = """Every action of the page. Quantities are text with their unit, as a person types them ("2.1 m",
"3 gpm", "2:00"), and come back as typed with their SI value beside, the unit in its key. Requests that change
something must come from a page of this server, or say so: send the header ``Origin`` with this server's address."""

API_VERSION = "1"
"""Of the addresses and keys of the JSON API; another one when an old client would no longer understand it."""


def make_app(settings: Settings) -> FastAPI:
    """The page and the JSON API for one place.

    Parameters
    ----------
    settings : Settings

    Returns
    -------
    FastAPI
        ``app.state`` has ``settings``, ``shelf``, ``sharing`` and ``desk``. The book opens when the server starts.
    """
    shelf, sharing, desk = Shelf(settings), Sharing(address=settings.host), PairingDesk()

    @asynccontextmanager
    async def open_books(app: FastAPI) -> AsyncIterator[None]:
        await run_in_threadpool(shelf.open_at_start)
        try:
            yield
        finally:
            await sharing.stop()
            await run_in_threadpool(shelf.close)

    app = FastAPI(
        title="clackwork",
        description=DESCRIPTION,
        version=API_VERSION,
        docs_url=None,
        redoc_url=None,
        lifespan=open_books,
        responses=PROBLEMS,
        middleware=[
            Middleware(Headers),
            Middleware(PlainFailure),
            Middleware(KnownHosts, names=sharing.names),
            Middleware(BodyLimit, limit=settings.form_limit, limits=settings.upload_limits),
            Middleware(SameOriginForms, secret=settings.secret),
            Middleware(PairedOnly, sharing=lambda: sharing.on, find=lambda token: find_device(shelf, token)),
        ],
    )
    app.state.settings, app.state.shelf, app.state.sharing, app.state.desk = settings, shelf, sharing, desk
    for router in routers():
        app.include_router(router)
    add_handlers(app)
    return app
