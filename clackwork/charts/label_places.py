"""Where the words of a drawing go so that none lies on another: widths of text, rows of labels, leaders."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

LINE = 1.25
"""Distance of two lines of text, in sizes of the face."""
_WIDTHS = {
    0.25: "ijlí.,:'",
    0.30: "I \N{NO-BREAK SPACE};()·!",
    0.40: 'frt-"',
    0.45: "sJ°?*",
    0.50: "acxzá/_",
    0.55: "egkvyéLS",
    0.60: "bdhnopquñóúüEFT0123456789+–×±<>#=",
    0.65: "BPRXYZ",
    0.70: "ACKV",
    0.75: "GU&",
    0.80: "wDHN",
    0.85: "mOQ%@",
    0.95: "M",
    1.05: "W",
}
"""Upper bounds of the advance widths of the face on the page and on paper, in sizes of the face."""
_WIDTH_OF = {letter: width for width, letters in _WIDTHS.items() for letter in letters}
_OTHER = 0.65
"""Of a letter that is not listed."""
_WITH_UNIT = re.compile(r"(?<=\d) (?=[^\W\d_]{1,4}(?:\W|$))")
"""The blank between a number and its unit."""
_UNBROKEN = "\N{NO-BREAK SPACE}"
_ALIGNS = ("start", "end", "middle")
_MOST_TRIES = 40_000
"""Places tried before a set of labels is given up."""


@dataclass(frozen=True)
class Label:
    """Words that belong to a point of a drawing.

    Attributes
    ----------
    x, y : float
        The point.
    lines : tuple of str
    """

    x: float
    y: float
    lines: tuple[str, ...]


@dataclass(frozen=True)
class PlacedLabel:
    """A label with its place in a row.

    Attributes
    ----------
    label : Label
    foot : float
        Where its leader stands.
    row : int
        0 is next to the drawing.
    left, right : float
        Ends of its words.
    """

    label: Label
    foot: float
    row: int
    left: float
    right: float


def text_width(text: str, size: float) -> float:
    """Width of a line of text, a little more than it is."""
    return size * sum(_WIDTH_OF.get(letter, _OTHER) for letter in text)


def wrap_to(text: str, width: float, size: float) -> tuple[str, ...]:
    """Text in lines of at most a width; a word that is wider is cut and ends in a point of omission."""
    lines: list[str] = []
    for word in _WITH_UNIT.sub(_UNBROKEN, text).split(" "):
        while text_width(word, size) > width and len(word) > 2:
            word = word.rstrip("…")[:-1] + "…"
        joined = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(joined, size) <= width:
            lines[-1] = joined
        else:
            lines.append(word)
    return tuple(lines) or ("",)


def spread(wanted: Sequence[float], apart: float, low: float, high: float) -> list[float]:
    """Places in order, at least so far apart, each as near to the one wanted as the others let it."""
    places: list[float] = []
    for place in wanted:
        places.append(max(place, places[-1] + apart) if places else max(place, low))
    for number in range(len(places) - 1, -1, -1):
        limit = high if number == len(places) - 1 else places[number + 1] - apart
        places[number] = min(places[number], limit)
    return places


def place_labels(
    labels: Sequence[Label], left: float, right: float, size: float, *, most_rows: int = 6
) -> list[PlacedLabel] | None:
    """Labels in rows over or under a drawing, no words on other words or on another label's leader.

    Parameters
    ----------
    labels : sequence of Label
    left, right : float
        Ends of the rows.
    size : float
        Of the face.
    most_rows : int, optional

    Returns
    -------
    list of PlacedLabel or None
        In order from left to right, in as few rows as will do; None where so many rows do not hold them.
    """
    ordered = sorted(labels, key=lambda label: label.x)
    feet = spread([label.x for label in ordered], 0.9 * size, left + 0.3 * size, right - 0.3 * size)
    widths = [max(text_width(line, size) for line in label.lines) for label in ordered]
    if feet and feet[0] < left:
        return None
    for rows in range(1, most_rows + 1):
        placed = _search(ordered, feet, widths, rows, left, right, size)
        if placed is not None:
            return placed
    return None


def _search(
    labels: Sequence[Label], feet: list[float], widths: list[float], rows: int, left: float, right: float, size: float
) -> list[PlacedLabel] | None:
    """Places in at most so many rows, by trying in order and going back."""
    placed: list[PlacedLabel] = []
    tries = 0

    def go(number: int) -> bool:
        nonlocal tries
        if number == len(labels):
            return True
        for row in range(rows):
            for align in _ALIGNS:
                tries += 1
                if tries > _MOST_TRIES:
                    return False
                one = _candidate(labels[number], feet[number], widths[number], row, align, size)
                if one.left < left or one.right > right or any(_clash(one, other, size) for other in placed):
                    continue
                placed.append(one)
                if go(number + 1):
                    return True
                placed.pop()
        return False

    return placed if go(0) else None


def _candidate(label: Label, foot: float, width: float, row: int, align: str, size: float) -> PlacedLabel:
    """A label with its words to the right of its leader, to the left, or over it."""
    lead = 0.3 * size
    left = {"start": foot - lead, "end": foot + lead - width, "middle": foot - 0.5 * width}[align]
    return PlacedLabel(label, foot, row, left, left + width)


def _clash(one: PlacedLabel, other: PlacedLabel, size: float) -> bool:
    """Whether words lie on words, or on a leader that goes to a row farther away."""
    apart = 0.8 * size
    if one.row == other.row:
        return one.left < other.right + apart and other.left < one.right + apart
    near, far = (one, other) if one.row < other.row else (other, one)
    return near.left - 0.4 * size < far.foot < near.right + 0.4 * size
