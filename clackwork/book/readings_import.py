"""Runs of a table taken into a book, and runs of a book given out as a table."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import sqlalchemy as sa

from clackwork.book import writing
from clackwork.book.files import keep_file
from clackwork.book.readings_table import Known, RawTable, RunRow, TableMapping, remembered, runs_from
from clackwork.book.records import Record, fetch, fetch_many
from clackwork.book.store import Book
from clackwork.book.tables import record
from clackwork.book.writing import Hand

SETTING = "readings.columns"
"""Under which a book remembers what the columns of its tables are."""
MEDIA_TYPES = {
    "csv": "text/csv",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}
"""Of a table's file, by its form."""


@dataclass(frozen=True)
class TakenRuns:
    """What came of taking a table of readings.

    Attributes
    ----------
    runs : tuple of Record
        In the order of the rows.
    file : Record
        The file itself, as it was given.
    """

    runs: tuple[Record, ...]
    file: Record


def known_to(book: Book, pump_id: int) -> Known:
    """What rows of a table for one pump may name.

    Raises
    ------
    NotThere
        No such pump.
    """
    with book.reading() as connection:
        return _known(connection, pump_id)


def _known(connection: sa.Connection, pump_id: int) -> Known:
    fetch(connection, "pump", pump_id)
    of_pump = fetch_many(connection, record.c.pump_id == pump_id, record.c.kind.in_(("build", "trial", "run")))
    builds = {one.id: one.name for one in of_pump if one.kind == "build"}
    trials = {
        one.name: (builds[one.links["old_build"]], builds[one.links["new_build"]])
        for one in of_pump
        if one.kind == "trial"
    }
    hand = Hand(connection)
    rigs = {one.name: hand.rig(one) for one in fetch_many(connection, record.c.kind == "rig")}
    names = frozenset(one.name for one in of_pump if one.kind == "run")
    return Known(rigs, tuple(builds.values()), MappingProxyType(trials), names)


def take_runs(
    book: Book,
    pump_id: int,
    table: RawTable,
    mapping: TableMapping,
    raw: bytes,
    *,
    only_good: bool = False,
    by: str = "",
) -> TakenRuns:
    """Take the runs of a table into the book and keep the file with them: all of it in one action, or nothing.

    Parameters
    ----------
    book : Book
    pump_id : int
        Whose builds the runs are of.
    table, mapping
        As previewed.
    raw : bytes
        The file the table was read from.
    only_good : bool, optional
        Leave out rows with an error.
    by : str, optional
        Who takes them.

    Raises
    ------
    ImportRefused
        A question is open or a row has an error; the book may have changed since the preview.
    """
    with book.writing() as connection:
        hand = Hand(connection, by)
        rows = runs_from(table, mapping, _known(connection, pump_id), only_good=only_good)
        file = keep_file(
            hand, free_file_name(connection, table.filename), raw, MEDIA_TYPES[table.form], {"pump": pump_id}, None
        )
        numbers = _numbers(connection, pump_id)
        runs = tuple(_add(hand, row, numbers) for row in rows)
    book.remember(SETTING, remembered(mapping, kept_mapping(book)))
    return TakenRuns(runs, file)


def _numbers(connection: sa.Connection, pump_id: int) -> Mapping[tuple[str, str], int]:
    """Number of each build, trial and rig by kind and name."""
    of_pump = fetch_many(connection, record.c.pump_id == pump_id, record.c.kind.in_(("build", "trial")))
    rigs = fetch_many(connection, record.c.kind == "rig")
    return {(one.kind, one.name): one.id for one in (*of_pump, *rigs)}


def _add(hand: Hand, row: RunRow, numbers: Mapping[tuple[str, str], int]) -> Record:
    links = {role: numbers[role, name] for role in ("build", "rig", "trial") if (name := getattr(row, role))}
    return writing.add(hand, "run", row.name, row.entered, links)


def free_file_name(connection: sa.Connection, name: str) -> str:
    """A file's name, with a number when another kept file has it."""
    taken = {one.name for one in fetch_many(connection, record.c.kind == "file")}
    free, number = name, 1
    while free in taken:
        number += 1
        free = f"{name[:70]} ({number})"
    return free


def kept_mapping(book: Book) -> Mapping[str, Any]:
    """What the columns of the last tables were, for `suggest_mapping`."""
    found = book.setting(SETTING)
    return found if isinstance(found, dict) else {}


def run_rows(book: Book, pump_id: int, links: Mapping[str, int] | None = None) -> tuple[RunRow, ...]:
    """Runs of a pump as rows to export, in the order they were written down; fewer with links to a build or trial."""
    with book.reading() as connection:
        fetch(connection, "pump", pump_id)
        where = [record.c[f"{role}_id"] == number for role, number in (links or {}).items()]
        runs = fetch_many(connection, record.c.pump_id == pump_id, record.c.kind == "run", *where)
        names = {one.id: one.name for one in fetch_many(connection, record.c.kind.in_(("build", "trial", "rig")))}
    return tuple(
        RunRow(
            row=0,
            name=one.name,
            build=names[one.links["build"]],
            rig=names[one.links["rig"]],
            trial=names.get(one.links.get("trial", 0), ""),
            entered=one.entered,
        )
        for one in runs
    )
