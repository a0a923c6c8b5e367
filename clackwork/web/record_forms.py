"""What a form page shows and takes: its choices of linked records, what goes into the book, a conflict side by side."""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from clackwork.book.errors import Conflict, NotThere
from clackwork.errors import InputError
from clackwork.web.fields import Form, LinkField
from clackwork.web.forms import LINK, NAME, REQUEST, VERSION, Filled, filled_of
from clackwork.workbook_instruments import ROLES as SORT_OF_ROLE

if TYPE_CHECKING:
    from clackwork.book import Book, Record

_MOST_OPTIONS = 500
OF_PUMP = ("build", "trial")
"""Kinds that are offered from one pump only, when it is known."""

Options = list[tuple[int, str]]


@dataclass(frozen=True)
class Difference:
    """One field in which two people's texts differ, and what stands in the form to be saved."""

    label: str
    mine: str
    theirs: str
    kept: str


@dataclass(frozen=True)
class Clash:
    """A conflict as a page shows it."""

    who: str
    rows: tuple[Difference, ...]


def fresh(form: Form) -> Filled:
    """An empty form with a number of its own, so that sending it twice makes one record."""
    return Filled(form, {REQUEST: secrets.token_urlsafe(18)})


def of_record(record: Record, form: Form) -> Filled:
    """A form with what a record holds."""
    filled = filled_of(form, record.name, record.entered, record.links)
    filled.values[VERSION] = str(record.version)
    return filled


def pump_of(book: Book, filled: Filled) -> int | None:
    """The pump a form is about, by its own link or that of a build chosen in it."""
    pump = number_in(filled.value(f"{LINK}pump"))
    for role in ("build", "old_build"):
        build = number_in(filled.value(LINK + role))
        if pump is None and build is not None:
            try:
                pump = book.get("build", build).links.get("pump")
            except NotThere:
                return None
    return pump


def link_options(book: Book, form: Form, pump: int | None, own: int | None = None) -> list[tuple[LinkField, Options]]:
    """For each link of a form the records it may point to: those of the pump, where it has one."""
    names: dict[int, str] = {}
    if pump is None:
        names = {one.id: one.name for one in book.list("pump", limit=_MOST_OPTIONS).records}
    offered = []
    for link in form.links:
        within = {"pump": pump} if pump is not None and link.kind in OF_PUMP else None
        found = book.list(link.kind, links=within, limit=_MOST_OPTIONS).records
        if link.kind == "instrument":
            found = tuple(one for one in found if one.entered["sort"] == SORT_OF_ROLE[link.role])
        options = [(one.id, _option_words(one, names)) for one in found if one.id != own or link.role != "revision_of"]
        offered.append((link, options))
    return offered


def _option_words(record: Record, pumps: Mapping[int, str]) -> str:
    """A record's name, its pump before it where there may be several."""
    pump = pumps.get(record.links.get("pump", 0), "") if record.kind in OF_PUMP else ""
    return f"{pump}: {record.name}" if pump else record.name


def number_in(text: str) -> int | None:
    """A record's number out of a form; None when there is none."""
    return int(text) if text.isascii() and text.isdigit() and len(text) < 12 else None


def links_of(filled: Filled) -> dict[str, int]:
    """The links chosen in a form.

    Raises
    ------
    InputError
        One that is needed was not chosen.
    """
    links = {}
    for link in filled.form.links:
        number = number_in(filled.value(LINK + link.role))
        if number is not None:
            links[link.role] = number
        elif link.needed:
            raise InputError(link.role, "(nothing)", f"it is needed: choose the {link.label.lower()}")
    return links


def version_in(filled: Filled) -> int:
    """The version a form was opened at.

    Raises
    ------
    InputError
        It is missing: the form is none of this page's.
    """
    version = number_in(filled.value(VERSION))
    if version is None:
        raise InputError("version", filled.value(VERSION), "it is the version the form was opened at", "Open it again.")
    return version


def version_before(book: Book, theirs: Record, version: int) -> Mapping[str, Any] | None:
    """A record as it stood at a version, from the journal; None when that is too long ago."""
    for change in book.changes(kind=theirs.kind, id=theirs.id, limit=50):
        if change.after.get("version") == version:
            return change.after
    return None


def merge(book: Book, filled: Filled, error: Conflict) -> Clash:
    """Take over what others changed where the form changes nothing, and list all that differs.

    The form keeps what was typed everywhere else and is set to the version now in the book, so that saving it again is
    a choice made with both in view.
    """
    theirs = of_record(error.theirs, filled.form)
    base_kept = version_before(book, error.theirs, version_in(filled))
    base = filled_of(filled.form, base_kept["name"], base_kept["entered"], base_kept["links"]) if base_kept else None
    rows = []
    for name, label in _labels(filled.form):
        mine, other = filled.value(name), theirs.value(name)
        if mine == other:
            continue
        untouched = base is not None and base.value(name) == mine
        if untouched:
            filled.values[name] = other
        rows.append(Difference(label, mine, other, "theirs" if untouched else "yours"))
    filled.values[VERSION] = str(error.theirs.version)
    who = error.theirs.changed_by or "another device"
    return Clash(who[:1].upper() + who[1:], tuple(rows))


def _labels(form: Form) -> list[tuple[str, str]]:
    """Every field's name and label; a label that several tables share gets its group."""
    named = [(NAME, "Name"), *((LINK + link.role, link.label) for link in form.links)]
    labels = [one.label for one in form.fields()]
    for group in form.groups:
        for one in group.fields:
            shared = labels.count(one.label) > 1
            named.append((one.key, f"{group.title}: {one.label.lower()}" if shared else one.label))
    return named
