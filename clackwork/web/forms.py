"""Between a form and what was typed: nested tables from flat fields and back, and errors beside their field."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from clackwork.book.errors import NameTaken
from clackwork.errors import ClackworkError, InputError
from clackwork.web.fields import Field, Form, Group
from clackwork.web.figures import example
from clackwork.web.rows import lines_of, list_of, rows_of, table_at, table_of_lines, text_of_list, text_of_rows

NAME = "name"
VERSION = "version"
REQUEST = "request_id"
LINK = "link."
"""Begins the names of fields that are links."""

_LONGEST = 2000
_LONGEST_ROWS = 20_000
_LIST_PLACE = re.compile(r",? (?:number \d+|'[^']*')(?:, .*)?$")


@dataclass
class Filled:
    """A form with what was typed in it, and what is wrong with it.

    Attributes
    ----------
    form : Form
    values : dict of str to str
        By name of the field; the record's own name under "name", links under "link.ROLE".
    errors : dict of str to str
        Sentences by the same names; "" is for what belongs to no field.
    """

    form: Form
    values: dict[str, str] = field(default_factory=dict)
    errors: dict[str, str] = field(default_factory=dict)

    def value(self, name: str) -> str:
        """What stands in a field."""
        return self.values.get(name, "")

    def error(self, name: str) -> str:
        """What is wrong with a field; empty when nothing is."""
        return self.errors.get(name, "")

    def counts(self, one: Field) -> bool:
        """Whether a field belongs to the choices made."""
        return one.only_for is None or self.value(one.only_for.key) in one.only_for.values

    def is_open(self, group: Group) -> bool:
        """Whether a folded group is shown open: something stands in it, or something is wrong in it."""
        names = [one.key for one in group.fields]
        names += [LINK + link.role for link in self.form.links if link.group == group.title]
        return not group.folded or any(self.value(name) or self.error(name) for name in names)

    def example(self, one: Field, system: str) -> str:
        """What may be typed in a field, in a system of units."""
        return example(one.kind, system)


def filled_from(form: Form, typed: Mapping[str, Any]) -> Filled:
    """A form with what a browser sent; other fields of the request are left aside."""
    names = dict.fromkeys((NAME, VERSION, REQUEST, *(LINK + link.role for link in form.links)), _LONGEST)
    names |= {one.key: _LONGEST_ROWS if one.kind in ("rows", "lines") else _LONGEST for one in form.fields()}
    values = {}
    for name, longest in names.items():
        text = typed.get(name, "")
        values[name] = text.replace("\r\n", "\n").strip()[:longest] if isinstance(text, str) else ""
    return Filled(form, values)


def filled_of(form: Form, name: str, entered: Mapping[str, Any], links: Mapping[str, int]) -> Filled:
    """A form with what a record holds."""
    values = {key: _in_field(form.field(key), value) for key, value in _flat(entered) if not _in_lines(form, key)}
    values |= {one.key: lines_of(table_at(entered, one.key)) for one in form.fields() if one.kind == "lines"}
    values |= {LINK + role: str(number) for role, number in links.items()}
    return Filled(form, {**values, NAME: name})


def entered_of(filled: Filled, kept: Mapping[str, Any] | None = None) -> dict[str, Any]:
    """What was typed as the nested table a workbook has; fields left empty, or of other choices, are left out.

    Parameters
    ----------
    filled : Filled
    kept : mapping, optional
        What the record holds: of that, what the form has no field for stays.

    Raises
    ------
    InputError
        A number that is none.
    """
    entered: dict[str, Any] = {}
    for one in filled.form.fields():
        text = filled.value(one.key)
        if text and filled.counts(one):
            _put(entered, one.key, _kept(one, text))
    for place, value in _flat(kept or {}):
        if filled.form.field(place) is None and not _in_lines(filled.form, place):
            _put(entered, place, value)
    _keep_needed_tables(filled.form, entered)
    return entered


def _kept(one: Field, text: str) -> Any:
    """What a record keeps of a field's text."""
    if one.kind in ("number", "whole"):
        return _number(one, text)
    if one.kind == "list":
        return list_of(text)
    if one.kind == "lines":
        return table_of_lines(one, text)
    return rows_of(one, text) if one.kind == "rows" else text


def _in_lines(form: Form, place: str) -> bool:
    """Whether a dotted place belongs to a field of lines."""
    return any(place.startswith(f"{one.key}.") for one in form.fields() if one.kind == "lines")


def _in_field(one: Field | None, value: object) -> str:
    """What a record keeps as it stands in its field."""
    if one is not None and one.kind in ("list", "rows"):
        return text_of_list(value) if one.kind == "list" else text_of_rows(one, value)
    return _as_text(value)


def _put(entered: dict[str, Any], place: str, value: Any) -> None:
    """Put a value at a dotted place."""
    *tables, key = place.split(".")
    for table in tables:
        entered = entered.setdefault(table, {})
    entered[key] = value


def _keep_needed_tables(form: Form, entered: dict[str, Any]) -> None:
    """Add tables that must be there, so that an empty form is told of its first field and not of a table."""
    for one in form.fields():
        table, _, key = one.key.partition(".")
        if one.needed and key and "." not in key:
            entered.setdefault(table, {})


def _number(one: Field, text: str) -> float | int:
    """A number without a unit; a comma may be its decimal mark."""
    try:
        number = float(text.replace(",", ".")) if one.kind == "number" else int(text)
    except ValueError as error:
        wanted = "it must be a plain number" if one.kind == "number" else "it must be a whole number"
        raise InputError(one.key, f'"{text}"', wanted, "Leave its unit away.") from error
    if number != number or abs(number) == float("inf"):
        raise InputError(one.key, f'"{text}"', "it must be a plain number")
    return number


def _flat(entered: Mapping[str, Any], path: str = "") -> Iterator[tuple[str, Any]]:
    """Every value with its dotted place."""
    for key, value in entered.items():
        if isinstance(value, Mapping):
            yield from _flat(value, f"{path}{key}.")
        else:
            yield f"{path}{key}", value


def flat_texts(entered: Mapping[str, Any]) -> dict[str, str]:
    """What was typed by dotted place, as text."""
    return {key: _as_text(value) for key, value in _flat(entered)}


def _as_text(value: object) -> str:
    """A typed value as a form shows it."""
    if isinstance(value, float):
        return f"{value:g}" if float(f"{value:g}") == value else repr(value)
    if isinstance(value, list | tuple):
        rows = any(isinstance(one, Mapping) for one in value)
        return ("\n" if rows else ", ").join(_as_text(one) for one in value)
    if isinstance(value, Mapping):
        return "; ".join(_as_text(one) for _, one in _flat(value))
    return str(value)


def place_error(filled: Filled, error: ClackworkError) -> None:
    """Put an error beside the field it is about, with what was typed left out of its words."""
    if not isinstance(error, InputError):
        filled.errors[""] = str(error)
        return
    names = [NAME] if isinstance(error, NameTaken) else _fields_meant(filled, error.field)
    sentence = f"{error.allowed[:1].upper()}{error.allowed[1:]}. {error.next_step}".strip()
    if isinstance(error, InputError) and (row := re.search(r" number (\d+)", error.field)):
        sentence = f"Line {row[1]}: {sentence}"
    for name in names:
        _, in_lines, line = error.field.partition(f"{name.replace('.', ', ')}, ")
        filled.errors[name] = f"{line}: {error.allowed}. {error.next_step}".strip() if in_lines else sentence
    if not names:
        filled.errors[""] = str(error)


def _fields_meant(filled: Filled, said: str) -> list[str]:
    """Names of the fields an error's field may mean: "build 'flap', waste_valve, stroke" is waste_valve.stroke."""
    form = filled.form
    known = {one.key for one in form.fields()}
    rest = said.removeprefix(f"{form.kind} '{filled.value(NAME)}'").removeprefix(",").strip()
    if rest in known:
        return [rest]
    if rest == NAME:
        return [NAME]
    if LINK + rest in {LINK + link.role for link in form.links}:
        return [LINK + rest]
    path = rest.replace(", ", ".")
    table, _, keys = path.rpartition(".")
    meant = [f"{table}.{key}" if table else key for key in keys.split(" and ")]
    found = [key for key in meant if key in known]
    outer = _LIST_PLACE.sub("", rest).replace(", ", ".")  # "source number 2, times" stands in the field "source"
    if found or outer in known:
        return found or [outer]
    lines = [one.key for one in form.fields() if one.kind == "lines" and path.startswith(f"{one.key}.")]
    if lines:
        return lines
    return [NAME] if rest in ("", form.kind) and not filled.value(NAME) else []
