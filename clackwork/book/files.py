"""Files kept in a book: a photograph, a table of readings as it came."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping

import sqlalchemy as sa

from clackwork.book import writing
from clackwork.book.records import Record, fetch
from clackwork.book.tables import attachment
from clackwork.book.writing import Hand
from clackwork.errors import InputError

LARGEST_FILE = 50_000_000
"""Bytes."""
_MEDIA_TYPE = re.compile(r"[a-z]+/[a-zA-Z0-9][a-zA-Z0-9.+-]{0,80}")


def keep_file(
    hand: Hand,
    name: str,
    content: bytes,
    media_type: str,
    links: Mapping[str, int],
    request_id: str | None,
    about: str = "",
) -> Record:
    """Keep a file; ``about`` says what of its links' records it shows, such as a visit.

    Raises
    ------
    InputError
        Too large, or a media type that is none.
    """
    if len(content) > LARGEST_FILE:
        raise InputError(f"file '{name}'", f"{len(content)} bytes", f"it must be at most {LARGEST_FILE} bytes")
    if not _MEDIA_TYPE.fullmatch(media_type):
        raise InputError(f"file '{name}', media type", media_type[:40], 'it must be like "text/csv"')
    sha256 = hashlib.sha256(content).hexdigest()
    entered = {"media_type": media_type, "size_bytes": len(content), "sha256": sha256}
    entered |= {"about": about} if about else {}
    made = writing.add(hand, "file", name, entered, links, request_id, si={})
    if hand.last is not None:  # not one that the same request kept before
        hand.connection.execute(sa.insert(attachment).values(record_id=made.id, content=content))
    return made


def file_bytes(connection: sa.Connection, number: int) -> bytes:
    """The bytes of a file kept.

    Raises
    ------
    NotThere
    """
    one = fetch(connection, "file", number)
    content: bytes = connection.execute(
        sa.select(attachment.c.content).where(attachment.c.record_id == one.id)
    ).scalar_one()
    return content
