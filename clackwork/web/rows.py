"""Lists and tables in tables as lines of a text field: one row a line, its parts between semicolons.

"2026-08-14; bucket; 10 L; 31.2 s, 31.0 s" is a table; what its columns do not name stands behind them as "note = in
drought".
Nothing of a row is lost on the way through a form.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from clackwork.errors import InputError
from clackwork.web.fields import Column, Field

_PARTS = re.compile(r"(?<!\\);")
_ITEMS = re.compile(r",(?=\s)|\|")
_NAMED = re.compile(r"([a-z_]+(?:\.[a-z_]+)*)\s*=\s*(.*)", re.DOTALL)
_PLAIN = re.compile(r"[+-]?[0-9]+(?:\.[0-9]+)?(?:e[+-]?[0-9]+)?")


def list_of(text: str) -> list[Any]:
    """Items between semicolons or on lines of their own; plain numbers are numbers."""
    return [_plain(part.strip()) for part in re.split(r"[;\n]", text) if part.strip()]


def text_of_list(value: object) -> str:
    """A list as it stands in its field."""
    items = value if isinstance(value, list | tuple) else [value]
    return "; ".join(_shown(one) for one in items)


def rows_of(field: Field, text: str) -> list[dict[str, Any]]:
    """The tables in a text, one a line.

    Raises
    ------
    InputError
        More parts than there are columns, or one that is no number where a number stands.
    """
    return [_row(field, line, place) for place, line in enumerate(_lines(text), start=1)]


def text_of_rows(field: Field, value: object) -> str:
    """A list of tables as the lines of its field."""
    rows = value if isinstance(value, list | tuple) else [value]
    return "\n".join(_line(field, row) if isinstance(row, Mapping) else str(row) for row in rows)


def _lines(text: str) -> Iterator[str]:
    return (line.strip() for line in text.split("\n") if line.strip())


def _row(field: Field, line: str, place: int) -> dict[str, Any]:
    """One line as a table."""
    parts = [part.strip().replace("\\;", ";").replace("\\n", "\n") for part in _PARTS.split(line)]
    row: dict[str, Any] = {}
    columns = list(field.columns)
    while parts:
        part = parts.pop(0)
        named = _NAMED.fullmatch(part)
        if named is not None:
            _put(row, named[1], named[2] if named[1] == "note" else _plain(named[2]))
        elif columns:
            column = columns.pop(0)
            if part:
                row[column.key] = _value(field, column, part, place)
            columns += field.sorts.get(part, ()) if column.key == field.sort_key else ()
        elif part:
            wanted = "; ".join(
                column.key for column in (*field.columns, *field.sorts.get(str(row.get(field.sort_key)), ()))
            )
            raise InputError(
                field.key,
                f'line {place}, "{part[:40]}"',
                f"a line holds {wanted}",
                "Other things stand as note = words.",
            )
    return row


def _value(field: Field, column: Column, part: str, place: int) -> Any:
    """A part as its column keeps it."""
    if column.is_list:
        return [item.strip() for item in _ITEMS.split(part) if item.strip()]
    if column.is_number:
        number = _plain(part.replace(",", "."))
        if isinstance(number, str):
            raise InputError(field.key, f'line {place}, "{part[:40]}"', f"{column.key} must be a plain number")
        return number
    return part


def _line(field: Field, row: Mapping[str, Any]) -> str:
    """One table as a line: its columns in order, then what they do not name."""
    sort = row.get(field.sort_key, "")
    columns = [*field.columns, *(field.sorts.get(sort, ()) if isinstance(sort, str) else ())]
    fits = {column.key for column in columns if _fits(column, row.get(column.key))}
    parts = [_escaped(_part(row[column.key])) if column.key in fits else "" for column in columns]
    while parts and not parts[-1]:
        parts.pop()
    more = [f"{key} = {_escaped(_shown(value))}" for key, value in _flat(row) if key.partition(".")[0] not in fits]
    return "; ".join([*parts, *more])


def _fits(column: Column, value: object) -> bool:
    """Whether a value can stand in a column and come back as it was."""
    if column.is_list:
        return isinstance(value, list | tuple) and all(isinstance(one, str) and not _ITEMS.search(one) for one in value)
    if column.is_number:
        return isinstance(value, int | float)
    return isinstance(value, str)


def _part(value: Any) -> str:
    return ", ".join(value) if isinstance(value, list | tuple) else _shown(value)


def _escaped(text: str) -> str:
    return text.replace(";", "\\;").replace("\n", "\\n")


def _plain(text: str) -> Any:
    """A plain number as a number, anything else as text."""
    if not _PLAIN.fullmatch(text):
        return text
    return int(text) if text.lstrip("+-").isdecimal() else float(text)


def _shown(value: object) -> str:
    return repr(value) if isinstance(value, float) else str(value)


def _flat(row: Mapping[str, Any], path: str = "") -> Iterator[tuple[str, Any]]:
    """Every value of a row with its dotted place; a list counts as its items."""
    for key, value in row.items():
        if isinstance(value, Mapping):
            yield from _flat(value, f"{path}{key}.")
        else:
            yield f"{path}{key}", text_of_items(value)


def text_of_items(value: Any) -> Any:
    """A list as items between commas, anything else as it is."""
    return ", ".join(str(one) for one in value) if isinstance(value, Sequence) and not isinstance(value, str) else value


def _put(row: dict[str, Any], place: str, value: Any) -> None:
    """Put a value at a dotted place of a row."""
    *tables, key = place.split(".")
    for table in tables:
        inner = row.setdefault(table, {})
        row = inner if isinstance(inner, dict) else {}
    row[key] = value


def lines_of(table: object) -> str:
    """A table whose fields are names of one's own as lines, "steel-sch40 1 in = 7.50"."""
    pairs = table.items() if isinstance(table, Mapping) else ()
    return "\n".join(
        f"{name} = {value:g}" if isinstance(value, float) else f"{name} = {value}" for name, value in pairs
    )


def table_of_lines(one: Field, text: str) -> dict[str, str]:
    """The table that lines stand for, values as typed; the last sign of equality in a line parts name and value.

    Raises
    ------
    InputError
        A line without a name or a value, or a name that stands there twice.
    """
    found: dict[str, str] = {}
    for line in (line.strip() for line in text.split("\n")):
        name, sign, value = (part.strip() for part in line.rpartition("="))
        if not line:
            continue
        if not sign or not name or not value:
            raise InputError(one.key, f'"{line}"', f'"{line}" is no name, sign of equality and figure', one.help)
        if name in found:
            raise InputError(one.key, f'"{line}"', f'"{name}" stands there twice')
        found[name] = value
    return found


def table_at(entered: Mapping[str, Any], place: str) -> Mapping[str, Any]:
    """The table at a dotted place; an empty one where there is none."""
    for key in place.split("."):
        inner = entered.get(key)
        entered = inner if isinstance(inner, Mapping) else {}
    return entered
