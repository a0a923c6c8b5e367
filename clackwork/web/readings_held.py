"""Files of readings held in the server's memory between a look at them and their taking: few, and not for long."""

from __future__ import annotations

import secrets
import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass

from starlette.requests import Request

from clackwork.book import NotThere
from clackwork.book.raw_table import MOST_BYTES, TableError, shown_name

LASTS = 3_600.0
"""How long a file is held [s]."""
MOST_HELD = 8
"""Files held at once; the oldest makes room."""

_lock = threading.Lock()


@dataclass(frozen=True)
class HeldFile:
    """A file that was sent.

    Attributes
    ----------
    place : str
        The book it was sent to.
    pump_id : int
    name : str
    raw : bytes
    until : float
        By the clock of `HeldFiles` [s].
    """

    place: str
    pump_id: int
    name: str
    raw: bytes
    until: float


class HeldFiles:
    """The files a server holds, by a key that cannot be guessed."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._files: OrderedDict[str, HeldFile] = OrderedDict()

    def hold(self, place: str, pump_id: int, name: str, raw: bytes) -> str:
        """Hold a file; its key.

        Raises
        ------
        TableError
            It is larger than a file of readings may be.
        """
        name = shown_name(name)
        if len(raw) > MOST_BYTES:
            raise TableError(f"{name} is larger than {MOST_BYTES // 1_000_000} MB; split it over several files.")
        key = secrets.token_urlsafe(18)
        with _lock:
            self._forget_old()
            self._files[key] = HeldFile(place, pump_id, name, raw, self._clock() + LASTS)
            while len(self._files) > MOST_HELD:
                self._files.popitem(last=False)
        return key

    def get(self, key: str, place: str) -> HeldFile:
        """The file of a key, for the book it was sent to.

        Raises
        ------
        NotThere
            It is held no more.
        """
        with _lock:
            self._forget_old()
            found = self._files.get(key)
        if found is None or found.place != place:
            raise NotThere("The file is not held any more: choose it once more. What you chose for it is kept.")
        return found

    def _forget_old(self) -> None:
        now = self._clock()
        for key in [key for key, one in self._files.items() if one.until <= now]:
            del self._files[key]


def held_of(request: Request) -> HeldFiles:
    """The files the server of a request holds."""
    state = request.app.state
    with _lock:
        if not hasattr(state, "held_readings"):
            state.held_readings = HeldFiles()
    found: HeldFiles = state.held_readings
    return found
