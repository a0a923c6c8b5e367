"""The switch that opens a second door on the local network, and what is shown beside it."""

from __future__ import annotations

import asyncio
import ipaddress
import socket
from collections.abc import Awaitable, Callable
from dataclasses import dataclass

from clackwork.errors import ClackworkError
from clackwork.web.guard import is_loopback

Closer = Callable[[], Awaitable[None]]
Opener = Callable[[str], Awaitable[tuple[int, Closer]]]
"""Opens a door at an address; gives its port and what closes it."""


class CannotShare(ClackworkError):
    """No address on a local network, or the door could not be opened."""


@dataclass(frozen=True)
class OpenDoor:
    """Where others reach the book."""

    address: str
    port: int

    @property
    def url(self) -> str:
        """What is typed into a phone."""
        return f"http://{self.address}:{self.port}/"


class Sharing:
    """Whether the book is shared, and where.

    Parameters
    ----------
    opener : callable or None
        None where the server cannot open a second door.
    address : str
        The address to share on; empty lets the machine choose.
    """

    def __init__(self, opener: Opener | None = None, address: str = "") -> None:
        self._opener = opener
        self._address = address
        self._closer: Closer | None = None
        self._turn = asyncio.Lock()
        self.door: OpenDoor | None = None

    @property
    def on(self) -> bool:
        """Whether others may come in."""
        return self.door is not None

    def names(self) -> frozenset[str]:
        """Names other than those of loopback under which this server may be asked."""
        return frozenset({self.door.address}) if self.door else frozenset()

    def use(self, opener: Opener) -> None:
        """Take the way by which the running server opens a door."""
        self._opener = opener

    async def start(self) -> OpenDoor:
        """Open the door; the same one when it stands open.

        Raises
        ------
        CannotShare
            There is no network, or no way to open a door.
        """
        async with self._turn:
            if self.door is not None:
                return self.door
            if self._opener is None:
                raise CannotShare("This server cannot share on the network; start it with clackwork serve.")
            address = self._address or local_address()
            try:
                port, self._closer = await self._opener(address)
            except OSError as error:
                raise CannotShare(
                    f"The address {address} cannot be shared on ({error.strerror or error}); "
                    "name another with clackwork serve --host ADDRESS --share."
                ) from error
            self.door = OpenDoor(address, port)
            return self.door

    async def stop(self) -> None:
        """Close the door; others are shut out from then on."""
        async with self._turn:
            closer, self._closer, self.door = self._closer, None, None
            if closer is not None:
                await closer()


def local_address() -> str:
    """This machine's address on the local network.

    Asking the system for a route to a private address sends nothing.

    Raises
    ------
    CannotShare
        There is no network.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("10.255.255.255", 9))
            address: str = probe.getsockname()[0]
        except OSError:
            address = ""
    if not address or is_loopback(address) or ipaddress.ip_address(address).is_unspecified:
        raise CannotShare("This machine is on no network that could be shared: join one, then turn sharing on.")
    return address


def qr_svg(text: str) -> str:
    """A QR code as an SVG drawing of one path, black on white with its quiet border."""
    import segno

    made: str = segno.make(text, error="m").svg_inline(scale=6, border=4, dark="#000", light="#fff", omitsize=True)
    return made
