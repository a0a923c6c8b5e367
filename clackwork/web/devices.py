"""Paired devices, kept in the book that lies open: a device let into the demonstration is not let into the own book."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import sqlalchemy as sa

from clackwork.book import Book, NotThere
from clackwork.book.tables import device
from clackwork.web.pairing import Device
from clackwork.web.shelf import Shelf

SEEN_EVERY = timedelta(minutes=10)
"""How often a device's last visit is written down at most."""
_LARGEST_NUMBER = 2**31 - 1


def _from_row(row: sa.Row[Any]) -> Device:
    return Device(row.id, row.name, row.made_at, row.seen_at)


class BookDevices:
    """The devices of a book.

    Parameters
    ----------
    book : Book
    """

    def __init__(self, book: Book) -> None:
        self._book = book

    def add_device(self, name: str, token_hash: str) -> Device:
        """Keep a device."""
        values = {"name": name, "token_hash": token_hash, "made_at": datetime.now(UTC)}
        with self._book.writing() as connection:
            row = connection.execute(sa.insert(device).values(**values).returning(*device.c)).one()
        return _from_row(row)

    def device_of(self, token_hash: str) -> Device | None:
        """The device with a token, None when it was withdrawn or never paired; its visit is noted."""
        there = sa.select(device).where(device.c.token_hash == token_hash, device.c.withdrawn_at.is_(None))
        with self._book.reading() as connection:
            row = connection.execute(there).first()
        if row is None:
            return None
        now = datetime.now(UTC)
        if row.seen_at is None or now - row.seen_at > SEEN_EVERY:
            with self._book.writing() as connection:
                connection.execute(sa.update(device).where(device.c.id == row.id).values(seen_at=now))
        return _from_row(row)

    def devices(self) -> tuple[Device, ...]:
        """All that are let in, the newest first."""
        listed = sa.select(device).where(device.c.withdrawn_at.is_(None)).order_by(device.c.id.desc())
        with self._book.reading() as connection:
            return tuple(_from_row(row) for row in connection.execute(listed))

    def withdraw_device(self, device_id: int) -> None:
        """Let a device in no more.

        Raises
        ------
        NotThere
            No such device is let in.
        """
        if not 0 < device_id <= _LARGEST_NUMBER:
            raise NotThere("There is no such device.")
        gone = sa.update(device).where(device.c.id == device_id, device.c.withdrawn_at.is_(None))
        with self._book.writing() as connection:
            if connection.execute(gone.values(withdrawn_at=datetime.now(UTC))).rowcount == 0:
                raise NotThere("There is no such device; it may have been withdrawn already.")


def find_device(shelf: Shelf, token_hash: str) -> Device | None:
    """The device with a token in the open book; None without an open book."""
    return BookDevices(shelf.book()).device_of(token_hash) if shelf.is_open else None
