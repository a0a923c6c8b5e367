"""The SI figures of records read again from what was typed, and held against those kept."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

import sqlalchemy as sa

from clackwork.book.kinds import Around, read_entered, rig_of
from clackwork.book.records import Record, as_json, from_row
from clackwork.book.tables import record
from clackwork.book.writing import KEPT_BY_PROGRAM, around_rig
from clackwork.errors import ClackworkError

Figures = Mapping[str, float | None]


def all_records(connection: sa.Connection) -> Iterator[Record]:
    """Every record, removed ones too, in the order made."""
    return map(from_row, connection.execute(sa.select(record).order_by(record.c.id)))


def is_read(one: Record, everything: Mapping[int, Record]) -> bool:
    """Whether a record has figures that are read from what a person typed, and all that it is linked to."""
    there = all(number in everything for number in one.links.values())
    return there and not one.removed and one.kind not in KEPT_BY_PROGRAM


def figures_of(one: Record, everything: Mapping[int, Record]) -> Figures:
    """The SI figures in what was typed of a record.

    Parameters
    ----------
    one : Record
    everything : mapping of int to Record
        Every record of the book by its number.

    Raises
    ------
    ClackworkError, KeyError
        It cannot be read.
    """
    return read_entered(one.kind, one.name, one.entered, _around(one, everything))


def _around(one: Record, everything: Mapping[int, Record]) -> Around:
    """What the readers need to know of the records one is linked to."""
    linked = {role: everything[number] for role, number in one.links.items()}
    if one.kind == "rig":
        return around_rig(linked)
    names = {role: other.name for role, other in linked.items()}
    if one.kind != "run":
        return Around(names)
    rig = linked["rig"]
    with_instruments = around_rig({role: everything[number] for role, number in rig.links.items()})
    return Around(names, rig_of(rig.name, rig.entered, with_instruments))


def same_figures(read: Figures, kept: Figures) -> bool:
    """Whether figures are the same but for the last bits."""
    return read.keys() == kept.keys() and all(
        value == kept[key] or (value is not None and (held := kept[key]) is not None and math.isclose(value, held))
        for key, value in read.items()
    )


def read_all_again(connection: sa.Connection) -> int:
    """Write the figures that this version reads in what was typed, after a migration; how many records had others.

    What was typed stays as it is, so the journal has nothing to say. A record that cannot be read keeps its figures, and
    `clackwork doctor` tells of it.
    """
    everything = {one.id: one for one in all_records(connection)}
    changed = 0
    for one in everything.values():
        if not is_read(one, everything):
            continue
        try:
            figures = figures_of(one, everything)
        except (ClackworkError, KeyError):
            continue
        if not same_figures(figures, one.si):
            values = {"si": as_json(dict(figures))}
            connection.execute(sa.update(record).where(record.c.id == one.id).values(**values))
            changed += 1
    return changed
