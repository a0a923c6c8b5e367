"""Which phone or laptop may use a shared book: a code shown in the shop, a token kept on the device.

The code is short and short-lived, works once, and dies after a few wrong tries; the token is long, kept by the
server only as a hash, and can be withdrawn.
"""

from __future__ import annotations

import datetime
import hashlib
import hmac
import secrets
import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

from clackwork.errors import ClackworkError, InputError

CODE_DIGITS = 6
CODE_LASTS = 300.0
"""How long a code may be used [s]."""
WRONG_PER_CODE = 5
"""Wrong tries, from anywhere, after which a code is dead: a chance of 5 in a million to guess one."""
TRIES_PER_ADDRESS = 10
TRY_WINDOW = 600.0
"""Time in which one address may make `TRIES_PER_ADDRESS` tries [s]."""
_ADDRESSES_KEPT = 1000
_LONGEST_NAME = 60


class TooManyTries(ClackworkError):
    """An address tried too often; ``wait`` is how long until it may try again [s]."""

    def __init__(self, wait: float) -> None:
        self.wait = wait
        super().__init__(f"Too many tries from this device. Try again in {max(1, round(wait / 60))} min.")


@dataclass(frozen=True)
class Device:
    """A phone or laptop that was paired."""

    id: int
    name: str
    paired_at: datetime.datetime
    seen_at: datetime.datetime | None


class DeviceStore(Protocol):
    """Where paired devices are kept, by the hash of their token."""

    def add_device(self, name: str, token_hash: str) -> Device:
        """Keep a device."""

    def device_of(self, token_hash: str) -> Device | None:
        """The device with a token, None when it was withdrawn or never paired."""

    def devices(self) -> tuple[Device, ...]:
        """All that are paired, the newest first."""

    def withdraw_device(self, device_id: int) -> None:
        """Let a device in no more."""


@dataclass(frozen=True)
class Code:
    """A pairing code: its digits, and when it ends on the clock of the desk [s]."""

    digits: str
    ends: float


def hashed(token: str) -> str:
    """What is kept of a token. It is 256 random bits, so a plain hash is not to be guessed back."""
    return hashlib.sha256(token.encode()).hexdigest()


class PairingDesk:
    """Gives out one code at a time and takes it back for a token.

    Parameters
    ----------
    clock : callable, optional
        Seconds that only go forward.
    """

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._lock = threading.Lock()
        self._code: Code | None = None
        self._wrong = 0
        self._tries: OrderedDict[str, list[float]] = OrderedDict()

    def new_code(self) -> Code:
        """A new code; the one before it is dead."""
        with self._lock:
            digits = "".join(secrets.choice("0123456789") for _ in range(CODE_DIGITS))
            self._code, self._wrong = Code(digits, self._clock() + CODE_LASTS), 0
            return self._code

    def present_code(self) -> Code | None:
        """The code that may be used now."""
        with self._lock:
            return self._living()

    def seconds_left(self) -> float:
        """How long the present code may still be used [s]; 0 without one."""
        with self._lock:
            living = self._living()
            return max(0.0, living.ends - self._clock()) if living else 0.0

    def forget(self) -> None:
        """Kill the present code."""
        with self._lock:
            self._code = None

    def claim(self, store: DeviceStore, address: str, digits: str, name: str) -> str:
        """The token of a newly paired device.

        Parameters
        ----------
        store : DeviceStore
        address : str
            Where the try comes from.
        digits : str
            The code as typed.
        name : str
            What the device shall be called.

        Raises
        ------
        TooManyTries
            From this address.
        InputError
            Wrong or dead code, or a name that cannot be used.
        """
        name = name.strip()
        if not name or len(name) > _LONGEST_NAME or not name.isprintable():
            raise InputError("name", f'"{name[:20]}"', f"it must be 1 to {_LONGEST_NAME} printable characters")
        with self._lock:
            self._count_try(address)
            living = self._living()
            typed = "".join(character for character in digits if character.isdigit())
            if living is None:
                raise InputError("code", "(as typed)", "there is no code to use now", "Ask for a new code in the shop.")
            if not hmac.compare_digest(typed.encode(), living.digits.encode()):
                self._wrong += 1
                if self._wrong >= WRONG_PER_CODE:
                    self._code = None
                raise InputError(
                    "code", "(as typed)", "it is not the code shown", "Read it again from the shop's screen."
                )
            self._code = None
        token = secrets.token_urlsafe(32)
        store.add_device(name, hashed(token))
        return token

    def _living(self) -> Code | None:
        if self._code is not None and self._clock() >= self._code.ends:
            self._code = None
        return self._code

    def _count_try(self, address: str) -> None:
        """Count a try; refuse it when there were too many."""
        now = self._clock()
        recent = [at for at in self._tries.pop(address, []) if now - at < TRY_WINDOW]
        self._tries[address] = recent
        while len(self._tries) > _ADDRESSES_KEPT:
            self._tries.popitem(last=False)
        if len(recent) >= TRIES_PER_ADDRESS:
            raise TooManyTries(TRY_WINDOW - (now - recent[0]))
        recent.append(now)
