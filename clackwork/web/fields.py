"""The fields of a form: what a workbook's readers accept for each kind of record, with words for people."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType


@dataclass(frozen=True)
class Choice:
    """One choice of a field: what is kept, and its words."""

    value: str
    words: str


@dataclass(frozen=True)
class OnlyFor:
    """A field that counts only while another one has one of these values."""

    key: str
    values: tuple[str, ...]


@dataclass(frozen=True)
class Column:
    """One part of a line of a field of rows: a text, a list of texts parted by commas, or a plain number."""

    key: str
    is_list: bool = False
    is_number: bool = False


@dataclass(frozen=True)
class Field:
    """One field of a form.

    Attributes
    ----------
    key : str
        Its place in what was typed: "waste_valve.stroke".
    label : str
    kind : str
        A kind of quantity, or "text", "note", "date", "number" (without a unit), "whole", "choice", "list" (texts between
        semicolons), "rows" (a table a line) or "lines" (one table whose fields are names of one's own, a line
        "name = value" for each); the last three in :mod:`clackwork.web.rows`.
    help : str
        One short line under the label.
    needed : bool
    choices : tuple of Choice
        Of a "choice"; the first is chosen when nothing is.
    only_for : OnlyFor or None
    suggestions : tuple of str
        Offered while typing.
    columns : tuple of Column
        Of "rows", in order.
    sort_key : str
        The column that says what sort of row it is; empty when all are of one.
    sorts : mapping of str to tuple of Column
        The columns behind those, by sort of row.
    """

    key: str
    label: str
    kind: str
    help: str = ""
    needed: bool = False
    choices: tuple[Choice, ...] = ()
    only_for: OnlyFor | None = None
    suggestions: tuple[str, ...] = ()
    columns: tuple[Column, ...] = ()
    sort_key: str = ""
    sorts: Mapping[str, tuple[Column, ...]] = field(default_factory=lambda: MappingProxyType({}))


@dataclass(frozen=True)
class Group:
    """Fields that belong together; a folded group is opened when one of its fields has a value or an error."""

    title: str
    fields: tuple[Field, ...]
    help: str = ""
    folded: bool = False


@dataclass(frozen=True)
class LinkField:
    """A link of a record, chosen in its form: at its head, or in the group of a title."""

    role: str
    label: str
    kind: str
    needed: bool = True
    help: str = ""
    group: str = ""


@dataclass(frozen=True)
class Form:
    """The form of one kind of record.

    Attributes
    ----------
    kind : str
    word : str
        As a person calls it.
    plural : str
    name_help : str
    links : tuple of LinkField
    groups : tuple of Group
    """

    kind: str
    word: str
    plural: str
    name_help: str
    links: tuple[LinkField, ...]
    groups: tuple[Group, ...]

    def fields(self) -> Iterator[Field]:
        """Every field, in order."""
        for group in self.groups:
            yield from group.fields

    def field(self, key: str) -> Field | None:
        """The field of a key, None when there is none."""
        return next((one for one in self.fields() if one.key == key), None)
