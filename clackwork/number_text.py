"""Numbers as people write them: decimal comma or point, fractions, superscripts, clock times.

A spelling with two readings ("1,234") is refused, never guessed. A point alone is always the decimal mark.
"""

from __future__ import annotations

import re
import unicodedata
from fractions import Fraction

LONGEST_TEXT = 200  # characters; a typed value is a few words, more is a paste gone wrong
LARGEST_EXPONENT = 30  # powers of ten; keeps exact arithmetic small, far beyond any reading of a pump

_REPLACED = str.maketrans(
    {
        "−": "-", "–": "-", "—": "-", "‐": "-", "‑": "-",
        "′": "'", "’": "'", "‘": "'", "`": "'", "´": "'",
        "″": '"', "”": '"', "“": '"',
        "º": "°", "˚": "°", "⁄": "/", "∕": "/", "µ": "μ",
    }
)  # fmt: skip
_SUPERSCRIPT_AFTER_DIGIT = re.compile("[0-9][⁰¹²³⁴⁵⁶⁷⁸⁹⁻⁺]")

_MIXED = re.compile(r"(?P<whole>[0-9]+)(?:\s+|-)(?P<top>[0-9]+)\s*/\s*(?P<bottom>[0-9]+)(?![0-9.,])")
_FRACTION = re.compile(r"(?P<top>[0-9]+)\s*/\s*(?P<bottom>[0-9]+)(?![0-9.,])")
_DECIMAL = re.compile(
    r"(?P<spaced>[1-9][0-9]{0,2}(?: [0-9]{3})+(?![0-9])(?:[.,][0-9]+)?)(?![0-9.,])"
    r"|(?P<plain>[0-9.,]*[0-9][0-9.,]*)(?:[eE](?P<exponent>[+-]?[0-9]+)(?![0-9.,]))?"
)
_CLOCK = re.compile(r"(?:(?P<hours>[0-9]+):)?(?P<minutes>[0-9]+):(?P<seconds>[0-9]{2}(?:[.,][0-9]+)?)")


class Refusal(Exception):
    """A text that cannot be read; the reader who knows the field turns it into an `InputError`.

    Parameters
    ----------
    allowed : str
        What is wrong or what would be accepted, without a full stop.
    next_step : str
        What to write instead, a sentence.
    """

    def __init__(self, allowed: str, next_step: str = "") -> None:
        self.allowed = allowed
        self.next_step = next_step
        super().__init__(f"{allowed}. {next_step}".strip())


def plain_text(text: str) -> str:
    """Return ``text`` in plain characters: "1½ m³" -> "1 1/2 m3"; other spaces become single spaces.

    Raises
    ------
    Refusal
        Text empty, longer than 200 characters, or a raised digit straight after a digit ("10³").
    """
    if len(text) > LONGEST_TEXT:
        raise Refusal(f"it has {len(text)} characters, more than {LONGEST_TEXT}", "Write one value only.")
    if _SUPERSCRIPT_AFTER_DIGIT.search(text):
        raise Refusal("a raised digit after a digit is not read", 'Write a power of ten as "1.2e3".')
    pieces = []
    for character in text:
        if unicodedata.decomposition(character).startswith("<fraction>"):
            pieces.append(" " + unicodedata.normalize("NFKC", character))
        else:
            pieces.append(character)
    replaced = "".join(pieces).translate(_REPLACED)
    plain = unicodedata.normalize("NFKC", replaced).translate(_REPLACED).replace("''", '"')
    plain = " ".join(plain.split())
    if not plain:
        raise Refusal("it is empty", "Write a number and its unit.")
    return plain


def split_number(text: str) -> tuple[Fraction, str]:
    """Split plain text into the number it begins with, exactly, and the rest, stripped.

    Raises
    ------
    Refusal
        No number at the start, not finite, two possible readings, or a malformed number.
    """
    body = text.lstrip()
    sign = -1 if body.startswith("-") else 1
    if body.startswith(("-", "+")):
        body = body[1:].lstrip()
    for pattern in (_MIXED, _FRACTION):
        match = pattern.match(body)
        if match is not None:
            return sign * _fraction(match), body[match.end() :].strip()
    match = _DECIMAL.match(body)
    if match is None:
        if re.match(r"(inf|nan|∞)", body, re.IGNORECASE):
            raise Refusal("it must be a finite number")
        raise Refusal("it does not begin with a number", "Write the number first, then its unit.")
    rest = body[match.end() :].strip()
    if match["spaced"]:
        return sign * Fraction(match["spaced"].replace(" ", "").replace(",", ".")), rest
    number = _decimal(match["plain"], rest)
    exponent = int(match["exponent"] or 0)
    if abs(exponent) > LARGEST_EXPONENT:
        raise Refusal(f"its power of ten must be -{LARGEST_EXPONENT} to {LARGEST_EXPONENT}")
    return sign * number * Fraction(10) ** exponent, rest


def _fraction(match: re.Match[str]) -> Fraction:
    """Return "5/8" or "1 1/4" exactly."""
    groups = match.groupdict()
    top, bottom = int(groups["top"]), int(groups["bottom"])
    if bottom == 0:
        raise Refusal("a fraction cannot have zero below the line")
    whole = groups.get("whole")
    if whole is None:
        return Fraction(top, bottom)
    if top >= bottom:
        raise Refusal(
            f'after a whole number the fraction must be less than one, "{top}/{bottom}" is not',
            'Write for example "1 1/4" or "1.25".',
        )
    return int(whole) + Fraction(top, bottom)


def _decimal(token: str, rest: str) -> Fraction:
    """Return digits with points and commas exactly; refuse what has two readings."""
    marks = [character for character in token if character in ".,"]
    if not marks:
        return Fraction(token)
    last = marks[-1]
    other = "," if last == "." else "."
    grouped = r"[1-9][0-9]{0,2}(?:%s[0-9]{3})+"
    if len(set(marks)) == 2:  # thousands by one mark, decimals by the other
        if re.fullmatch(grouped % re.escape(other) + re.escape(last) + "[0-9]*", token):
            return Fraction(token.replace(other, "").replace(last, ".").rstrip("."))
    elif len(marks) > 1:
        if re.fullmatch(grouped % re.escape(last), token):
            return Fraction(token.replace(last, ""))
    elif last == "," and re.fullmatch(grouped % ",", token):
        thousands, decimal = token.replace(",", ""), token.replace(",", ".")
        after = f" {rest}" if rest else ""
        offered = f'Write "{thousands}{after}" or "{decimal}{after}".'
        raise Refusal(f'"{token}" may mean {thousands} or {decimal}', offered)
    elif last == "." or not token.endswith(","):
        return Fraction(f"0{token.replace(',', '.')}".rstrip("."))
    raise Refusal(f'"{token}" is not a number that can be read', 'Write for example "1234.5" or "1234,5".')


def read_clock(text: str) -> Fraction:
    """Return the seconds in "min:sec" or "hours:min:sec" (plain text; decimals on the seconds only).

    Raises
    ------
    Refusal
        Not of that form, or minutes or seconds past 59 under a larger part.
    """
    match = _CLOCK.fullmatch(text)
    if match is None:
        raise Refusal(
            "a time with a colon is minutes:seconds or hours:minutes:seconds and nothing else",
            'Write for example "3:30", "3:05.5" or "1:02:03".',
        )
    minutes, seconds = int(match["minutes"]), Fraction(match["seconds"].replace(",", "."))
    hours = match["hours"]
    if seconds >= 60 or (hours is not None and (minutes >= 60 or len(match["minutes"]) != 2)):
        raise Refusal("minutes and seconds after a colon must be 00 to 59", 'Write for example "3:30".')
    return int(hours or 0) * 3600 + minutes * 60 + seconds
