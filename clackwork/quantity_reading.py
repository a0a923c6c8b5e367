"""What a person typed, read as a quantity of the kind wanted; `clackwork.quantities` tells the rules."""

from __future__ import annotations

import difflib
import functools
import re
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from clackwork.errors import InputError
from clackwork.number_text import Refusal, plain_text, read_clock, split_number
from clackwork.quantity_kinds import KINDS, Kind, find_kind
from clackwork.unit_table import (
    COMPOUNDS,
    CONVENTIONAL_WATER,
    DIMENSION_WORDS,
    FOOT,
    UNITS_BY_FOLDED_KEY,
    UNITS_BY_KEY,
    Unit,
    unit_key,
    unit_labelled,
)

_COMPOUND_START = re.compile(r"(?P<unit>[A-Za-z]+\.?|['\"])(?:[\s,-]|and\b)*(?P<rest>[0-9].*)")
_PERCENT_KEYS = frozenset(unit_key(name) for name in unit_labelled("fraction", "%").names)
_PLUS_MINUS = re.compile(r"\s*(?:±|\+\s*/?\s*-|\bplus or minus\b)\s*")


@dataclass(frozen=True)
class Quantity:
    """A figure as typed and as used.

    Parameters
    ----------
    value : float
        In the SI unit of the kind.
    text : str
        Exactly what was typed.
    kind : str
        A key of `clackwork.quantity_kinds.KINDS`.
    """

    value: float
    text: str
    kind: str


def parse(text: str, kind: str, *, field: str = "value") -> Quantity:
    """Read what a person typed as a quantity of ``kind``.

    Parameters
    ----------
    text : str
        Number and unit, up to 200 characters.
    kind : str
        What is wanted: "length", "volume_flow", ... (`clackwork.quantity_kinds.KINDS`).
    field : str, optional
        The name the user saw, for messages.

    Returns
    -------
    Quantity
        The SI value, the text as typed, the kind.

    Raises
    ------
    InputError
        The text cannot be read, has two readings, lacks its unit, has an unknown unit or one of another
        kind, or the value cannot exist (a temperature below absolute zero, a negative volume).
    """
    wanted = find_kind(kind)
    try:
        value = _value_of(text, kind) if isinstance(text, str) else _bounded_value(text, wanted)
    except Refusal as refusal:
        raise InputError(field, _shown(text), refusal.allowed, refusal.next_step) from refusal
    return Quantity(value, text, kind)


def _bounded_value(text: object, wanted: Kind) -> float:
    """SI value of what was typed."""
    return _bounded(_read(_checked_text(text, wanted), wanted), wanted)


@functools.lru_cache(maxsize=16_384)
def _value_of(text: str, kind: str) -> float:
    """The same, remembered: the readings of a pump are read anew for every page about it."""
    return _bounded_value(text, KINDS[kind])


def parse_plus_minus(text: str, kind: str, *, field: str = "value") -> tuple[Quantity, Quantity]:
    """Read a value with its uncertainty: "2.10 m ± 5 mm", "2.10 +- 0.005 m", "40 ft +/- 1 %".

    A unit written once, after the uncertainty, serves both. A percentage after a value with its own unit is a
    part of that value; for the kind "fraction" it is percentage points ("45 % ± 2 %" is 0.43 to 0.47).
    What the figure after ± means (limits or standard uncertainty) is for the caller to say.

    Parameters
    ----------
    text, kind, field
        As for `parse`.

    Returns
    -------
    value, uncertainty : Quantity
        The uncertainty is zero or more, in the same SI unit; of a temperature it is
        a "temperature_difference".

    Raises
    ------
    InputError
        As for `parse`; also no ± or more than one, or a negative uncertainty.
    """
    wanted = find_kind(kind)
    spread_kind = KINDS["temperature_difference"] if kind == "temperature" else wanted
    try:
        parts = _PLUS_MINUS.split(_checked_text(text, wanted))
        if len(parts) != 2:
            raise Refusal("it needs one ± between the value and its uncertainty", _plus_minus_example(wanted))
        value, spread = _read_pair(parts[0], parts[1], wanted, spread_kind)
    except Refusal as refusal:
        raise InputError(field, _shown(text), refusal.allowed, refusal.next_step) from refusal
    return Quantity(value, text, kind), Quantity(spread, text, spread_kind.name)


def _read_pair(before: str, after: str, wanted: Kind, spread_kind: Kind) -> tuple[float, float]:
    """Return the SI value and uncertainty from the plain texts on either side of the ±."""
    if not before or not after:
        raise Refusal("it needs a figure on each side of the ±", _plus_minus_example(wanted))
    rest = "" if ":" in before else split_number(before)[1]
    spread_rest = "" if ":" in after else split_number(after)[1]
    is_percent = unit_key(spread_rest).casefold() in _PERCENT_KEYS
    if wanted.name == "fraction" and bool(rest) != bool(spread_rest):
        _require_clear_percent(before, after, wanted)
    may_share = wanted.name == "fraction" if is_percent else wanted.name != "count"
    if not rest and ":" not in before and may_share and spread_rest and _find_unit(spread_rest, spread_kind):
        before = f"{before} {spread_rest}"
    value = _bounded(_read(before, wanted), wanted)
    if is_percent and wanted.name != "fraction":
        if wanted.name == "temperature":
            raise Refusal("a percentage of a temperature has no meaning", _plus_minus_example(wanted))
        spread = abs(value) * float(split_number(after)[0]) / 100.0
    else:
        spread = float(_read(after, spread_kind, whole=False))
    if spread < 0.0:
        raise Refusal("an uncertainty cannot be negative", _plus_minus_example(wanted))
    return value, spread


def _require_clear_percent(before: str, after: str, wanted: Kind) -> None:
    """Refuse a fraction and its uncertainty with one % between them, unless it plainly serves both."""
    number, rest = split_number(before)
    if rest or abs(number) <= 1:
        allowed = f'"{before}" and "{after}" need % on both or neither'
        raise Refusal(allowed, _plus_minus_example(wanted))


def _checked_text(text: object, wanted: Kind) -> str:
    """Return plain text; a bare number (from a file) is refused with the way to write it."""
    if not isinstance(text, str):
        raise Refusal(f"it must be text: {wanted.words} with its unit, in quotes", _examples(wanted))
    return plain_text(text)


def _shown(text: object) -> str:
    """Return the text for a message: in quotes, without control characters, at most 40 characters."""
    shown = "".join(character if character.isprintable() else " " for character in str(text))
    return f'"{shown[:40]}..."' if len(shown) > 40 else f'"{shown}"'


def _examples(wanted: Kind) -> str:
    """Return "Write for example ..." for a kind."""
    quoted = [f'"{example}"' for example in wanted.examples]
    return f"Write for example {', '.join(quoted[:-1])} or {quoted[-1]}."


def _plus_minus_example(wanted: Kind) -> str:
    """Return an example with ± for a kind."""
    return f'Write for example "{wanted.plus_minus_example}".'


def _bounded(exact: Fraction, wanted: Kind) -> float:
    """Return the nearest float, refusing what cannot exist."""
    value = float(exact)
    if wanted.lowest is not None and exact < wanted.lowest:
        raise Refusal(wanted.lowest_words)
    return value


def _read(text: str, wanted: Kind, *, whole: bool = True) -> Fraction:
    """Return the exact SI value of plain text; ``whole`` False lets a count have decimals."""
    if ":" in text:
        if "duration" not in wanted.dimensions:
            raise Refusal(f"a time with a colon is a duration; {wanted.words} is wanted", _examples(wanted))
        return read_clock(text)
    number, rest = split_number(text)
    if not rest:
        exact = _without_unit(number, wanted)
    else:
        unit = _find_unit(rest, wanted)
        compound = None if unit else _read_compound(text, wanted)
        if compound is not None:
            return compound
        if unit is None:
            raise _unknown_unit(rest, wanted)
        exact = number * unit.factor + unit.offset
    if wanted.name == "count" and whole and exact.denominator != 1:
        raise Refusal("a count must be a whole number", _examples(wanted))
    return exact


def _without_unit(number: Fraction, wanted: Kind) -> Fraction:
    """Return a number typed alone, for the kinds that allow it."""
    if wanted.name == "fraction" and abs(number) > 1:
        raise Refusal("a fraction without % must be -1 to 1", _examples(wanted))
    if wanted.name not in ("fraction", "count"):
        raise Refusal(f"the unit is missing; {wanted.words} needs one", _examples(wanted))
    return number


def _find_unit(spelling: str, wanted: Kind) -> Unit | None:
    """Return the unit spelled, None when no unit is spelled so, and refuse a unit of another kind."""
    if re.search(r"\s[0-9]", spelling):  # "ft 2" is the start of something else, not ft2
        return None
    key = unit_key(spelling)
    found = UNITS_BY_KEY.get(key, ()) + UNITS_BY_FOLDED_KEY.get(key.casefold(), ())
    for dimension in wanted.dimensions:
        exact = [unit for unit in UNITS_BY_KEY.get(key, ()) if unit.dimension == dimension]
        folded = [unit for unit in UNITS_BY_FOLDED_KEY.get(key.casefold(), ()) if unit.dimension == dimension]
        if exact:
            return exact[0]
        if len(folded) == 1:
            return folded[0]
        if folded:
            labels = " or ".join(f'"{unit.label}"' for unit in folded)
            raise Refusal(f'capitals decide what "{spelling}" is', f"Write {labels}.")
    if found:
        raise _wrong_kind(spelling, found[0], wanted)
    return None


def _wrong_kind(spelling: str, found: Unit, wanted: Kind) -> Refusal:
    """Say what the unit is, and what is wanted."""
    allowed = f'"{spelling}" is a unit of {_bare(found)}; {wanted.words} is wanted'
    hint = wanted.hints.get(found.dimension, "")
    if wanted.name == "head" and found.dimension in ("pressure", "gauge_pressure"):
        metres = float(found.factor / CONVENTIONAL_WATER)
        hint = (
            f"1 {found.label} is {metres:.4g} m ({metres / float(FOOT):.4g} ft) of water at "
            "1000 kg/m3 and standard gravity: write the height, or give the reading where pressure is asked."
        )
    return Refusal(allowed, hint or _examples(wanted))


def _bare(unit: Unit) -> str:
    """Return the dimension in words without its article."""
    return DIMENSION_WORDS[unit.dimension].split(" ", 1)[1]


def _unknown_unit(spelling: str, wanted: Kind) -> Refusal:
    """Name the nearest known unit, of the wanted kind when one is near."""
    if "±" in spelling or re.search(r"\+\s*/?\s*-", spelling):
        return Refusal("one value is wanted here, without an uncertainty", _examples(wanted))
    if re.match(r"(-|\.\.|to\b)\s*[0-9]", spelling):
        return Refusal("one value is wanted here, not a range", _examples(wanted))
    unknown = f"{_shown(spelling)} is not a unit known here"
    key = unit_key(spelling).casefold()
    own = [name for name, units in UNITS_BY_FOLDED_KEY.items() if _fits(units, wanted)]
    near = difflib.get_close_matches(key, own, n=1, cutoff=0.6)
    if near:
        unit = next(unit for unit in UNITS_BY_FOLDED_KEY[near[0]] if unit.dimension in wanted.dimensions)
        return Refusal(unknown, f'Did you mean "{unit.label}"? {_examples(wanted)}')
    near = difflib.get_close_matches(key, list(UNITS_BY_FOLDED_KEY), n=1, cutoff=0.7)
    if near:
        other = UNITS_BY_FOLDED_KEY[near[0]][0]
        nearest = f'The nearest known is "{other.label}", {DIMENSION_WORDS[other.dimension]}. '
    else:
        nearest = ""
    return Refusal(unknown, nearest + _examples(wanted))


def _fits(units: tuple[Unit, ...], wanted: Kind) -> bool:
    """Tell whether a spelling has a unit of the wanted kind."""
    return any(unit.dimension in wanted.dimensions for unit in units)


def _read_compound(text: str, wanted: Kind) -> Fraction | None:
    """Return "6' 2 1/2\"", "3 min 30 s" exactly, None when the text is not of that form."""
    sign = -1 if text.startswith("-") else 1
    parts: list[tuple[Fraction, Unit]] = []
    rest = text.lstrip("+- ")
    while rest:
        number, rest = split_number(rest)
        match = _COMPOUND_START.fullmatch(rest)
        spelling, rest = (match["unit"], match["rest"]) if match else (rest, "")
        if not spelling:
            raise Refusal("the last number has no unit", _examples(wanted))
        unit = _find_unit(spelling, wanted)
        if unit is None:
            return None
        parts.append((number, unit))
    return sign * _sum_parts(parts, wanted)


def _sum_parts(parts: list[tuple[Fraction, Unit]], wanted: Kind) -> Fraction:
    """Add the parts of a compound, each smaller than one of the unit before it."""
    labels = [unit.label for _, unit in parts]
    for order in COMPOUNDS:
        if all(label in order for label in labels):
            places = [order.index(label) for label in labels]
            break
    else:
        raise Refusal(f"{' and '.join(labels)} do not go together in one value", _examples(wanted))
    if any(later <= earlier for earlier, later in pairwise(places)):
        raise Refusal("the parts must run from the largest unit to the smallest", _examples(wanted))
    for (number, unit), (next_number, next_unit) in pairwise(parts):
        if number.denominator != 1:
            raise Refusal(f"only the last part may have a fraction, not the {unit.label}", _examples(wanted))
        if next_number * next_unit.factor >= unit.factor or next_number < 0:
            raise Refusal(f"the {next_unit.label} must be less than one {unit.label}", _examples(wanted))
    return sum((number * unit.factor for number, unit in parts), Fraction(0))
