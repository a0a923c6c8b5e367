"""The fields of a form: what a workbook's readers accept for each kind of record, with words for people."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass


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
class Field:
    """One field of a form.

    Attributes
    ----------
    key : str
        Its place in what was typed: "waste_valve.stroke".
    label : str
    kind : str
        A kind of quantity, or "text", "note", "number" (without a unit), "whole" or "choice".
    help : str
        One short line under the label.
    needed : bool
    choices : tuple of Choice
        Of a "choice"; the first is chosen when nothing is.
    only_for : OnlyFor or None
    suggestions : tuple of str
        Offered while typing.
    """

    key: str
    label: str
    kind: str
    help: str = ""
    needed: bool = False
    choices: tuple[Choice, ...] = ()
    only_for: OnlyFor | None = None
    suggestions: tuple[str, ...] = ()


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
