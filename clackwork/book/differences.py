"""What differs between two builds, with both values as typed."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from clackwork.book.records import Record

_PLAIN_PART = "waste_valve"
"""The part whose fields are known without its name."""
_NOTHING = "(not given)"


def differences_between(old: Record, new: Record) -> tuple[str, ...]:
    """What differs in the parts of two builds: "stroke 7 mm -> 8 mm".

    The same size in two spellings ("7 mm", "0.7 cm") is no difference; nor is a note. Where the waste valves are of two
    kinds, fields that only one kind has are left out.
    """
    before, after = (dict(_fields(one.entered, ())) for one in (old, new))
    figures = [_figures(one) for one in (old, new)]
    kind = (_PLAIN_PART, "kind")
    of_two_kinds = before.get(kind) != after.get(kind)
    lines = []
    for path in [*before, *(path for path in after if path not in before)]:
        values = before.get(path), after.get(path)
        if path == ("note",) or values[0] == values[1] or _same(path, figures):
            continue
        if of_two_kinds and path[0] == _PLAIN_PART and None in values:
            continue
        shown = (_NOTHING if value is None else str(value) for value in values)
        lines.append(f"{_label(path)} {' -> '.join(shown)}")
    return tuple(lines)


def _fields(table: Mapping[str, Any], path: tuple[str, ...]) -> Iterator[tuple[tuple[str, ...], Any]]:
    """Every field with its path."""
    for key, value in table.items():
        if isinstance(value, Mapping):
            yield from _fields(value, (*path, key))
        else:
            yield (*path, key), value


def _figures(one: Record) -> dict[tuple[str, ...], float]:
    """SI value of every field that has one, by its path."""
    found = {}
    for path, _ in _fields(one.entered, ()):
        stem = "_".join(path)
        key = next((key for key in one.si if key == stem or key.startswith(f"{stem}_")), None)
        value = None if key is None else one.si[key]
        if value is not None:
            found[path] = value
    return found


def _same(path: tuple[str, ...], figures: list[dict[tuple[str, ...], float]]) -> bool:
    values = [side.get(path) for side in figures]
    return None not in values and abs(values[0] - values[1]) <= 1e-9 * abs(values[0])  # type: ignore[operator, arg-type]


def _label(path: tuple[str, ...]) -> str:
    """A field in words: the waste valve's by their own names, the others' with their part."""
    if path == (_PLAIN_PART, "kind"):
        return "waste valve"
    named = path[1:] if path[0] == _PLAIN_PART else path
    return " ".join(named).replace("_", " ")
