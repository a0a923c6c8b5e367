"""Photographs of a visit or of a part in service: kept as files of the book, known by their own first bytes."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING

from clackwork.book.errors import NameTaken
from clackwork.errors import InputError

if TYPE_CHECKING:
    from clackwork.book import Book, Record

LARGEST_PHOTOGRAPH = 12_000_000
"""Bytes; a phone's photograph is mostly below 8 MB."""
MOST_AT_ONCE = 8
IMAGES = {"image/jpeg": "jpg", "image/png": "png", "image/webp": "webp"}
"""Kinds of picture taken and shown, with the ending of their names."""
_PAGE = 500
_TRIES = 100


def kind_of_image(content: bytes) -> str | None:
    """Media type of a picture by its first bytes, whatever its name says; None for anything else."""
    if content.startswith(b"\xff\xd8\xff"):
        return "image/jpeg"
    if content.startswith(b"\x89PNG\r\n\x1a\n"):
        return "image/png"
    if content[:4] == b"RIFF" and content[8:12] == b"WEBP":
        return "image/webp"
    return None


def keep_photograph(book: Book, number: int, content: bytes, *, by: str = "", kind: str = "visit") -> Record:
    """Keep a photograph of a visit or a part.

    Parameters
    ----------
    book : Book
    number : int
        Of the visit or part.
    content : bytes
    by : str, optional
    kind : {"visit", "part"}

    Raises
    ------
    InputError
        Empty, too large, or no picture of a kind that is shown.
    NotThere
        No such visit or part.
    """
    of = book.get(kind, number)
    if len(content) > LARGEST_PHOTOGRAPH:
        raise InputError(
            "photograph",
            f"{len(content) / 1e6:.1f} MB",
            f"it must be at most {LARGEST_PHOTOGRAPH / 1e6:g} MB",
            "Let the phone send a smaller size.",
        )
    media_type = kind_of_image(content)
    if media_type is None:
        raise InputError("photograph", "(the file)", "it must be a JPEG, PNG or WebP picture", "Choose a photograph.")
    links = _place_of(of)
    sent = f"picture-{number}-{hashlib.sha256(content).hexdigest()[:40]}"  # the same one sent again is kept once
    first = len(photographs_of(book, number, kind)) + 1
    for place in range(first, first + _TRIES):
        name = f"{of.name[:55].rstrip()}, picture {place}.{IMAGES[media_type]}"
        try:
            return book.keep_file(
                name, content, media_type=media_type, links=links, by=by, request_id=sent, about=_about(kind, number)
            )
        except NameTaken:
            continue
    raise InputError("photograph", of.name, "it has too many pictures of that name", f"Rename the {kind}.")


def photographs_of(book: Book, number: int, kind: str = "visit") -> tuple[Record, ...]:
    """The photographs of a visit or a part, in the order kept."""
    of, found, offset = book.get(kind, number), [], 0
    while True:
        some = book.list("file", links=_place_of(of), offset=offset, limit=_PAGE)
        found += [one for one in some.records if one.entered.get("about") == _about(kind, number)]
        offset += len(some.records)
        if not some.records or offset >= some.total:
            return tuple(sorted(found, key=lambda one: one.id))


def _place_of(of: Record) -> dict[str, int]:
    """The site or rig that a photograph belongs to."""
    role = "site" if "site" in of.links else "rig"
    return {role: of.links[role]}


def _about(kind: str, number: int) -> str:
    """How a file says which visit or part it is of; it belongs to the site or rig, and stays with it."""
    return f"{kind} {number}"
