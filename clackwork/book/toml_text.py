"""Plain tables written as TOML: texts, numbers, lists and tables in tables, nothing else."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

_BARE = re.compile(r"[A-Za-z0-9_-]+")
_ESCAPES = {'"': '\\"', "\\": "\\\\", "\n": "\\n", "\r": "\\r", "\t": "\\t", "\b": "\\b", "\f": "\\f"}


def toml_key(key: str) -> str:
    """A key, in quotes where it needs them."""
    return key if _BARE.fullmatch(key) else toml_value(key)


def toml_value(value: Any) -> str:
    """A value on one line; reading it gives the value back exactly."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return '"' + "".join(_character(character) for character in value) + '"'
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, Mapping):
        inner = ", ".join(f"{toml_key(key)} = {toml_value(one)}" for key, one in value.items())
        return f"{{ {inner} }}" if inner else "{}"
    if isinstance(value, Sequence):
        return "[" + ", ".join(toml_value(one) for one in value) + "]"
    raise TypeError(f"TOML has no {type(value).__name__}")


def _character(character: str) -> str:
    if character in _ESCAPES:
        return _ESCAPES[character]
    code = ord(character)
    return f"\\u{code:04x}" if code < 0x20 or code == 0x7F else character


def table_lines(head: str, table: Mapping[str, Any]) -> list[str]:
    """Lines of one table under its head, "[rig.yard]" or "[[run]]"; a table of plain values inside stands on one line.

    Parameters
    ----------
    head : str
        With its brackets.
    table : mapping
        Plain values, and tables that hold plain values or tables of them.
    """
    lines = [head]
    deep = {key: value for key, value in table.items() if isinstance(value, Mapping) and _is_deep(value)}
    lines += [f"{toml_key(key)} = {toml_value(value)}" for key, value in table.items() if key not in deep]
    for key, value in deep.items():
        lines += ["", *table_lines(f"[{head.strip('[]')}.{toml_key(key)}]", value)]
    return lines


def _is_deep(table: Mapping[str, Any]) -> bool:
    """Whether a table reads better under a head of its own."""
    return len(table) > 6 or any(isinstance(value, Mapping) for value in table.values())
