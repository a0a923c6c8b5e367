"""Workbooks in and out of a book, and the book's own records read as a workbook."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import sqlalchemy as sa

from clackwork.book import writing
from clackwork.book.kinds import LISTED, Around, instruments_apart, table_of
from clackwork.book.records import Record, fetch, fetch_many, fetch_named, plain, scope_of
from clackwork.book.tables import record
from clackwork.book.toml_text import table_lines, toml_key
from clackwork.book.writing import Hand
from clackwork.errors import InputError
from clackwork.workbook import Workbook, load_workbook, workbook_from_tables
from clackwork.workbook_reader import MOST_BYTES, WorkbookError, checked_name, parse_toml, read_source

_LONGEST_NAME = 80
OF_WORKSHOP = ("prices", "stock")
"""Tables of a workbook that are the workshop's and not of one pump."""
_OF_THE_BOOK = ("instrument", "rig", "site")
"""Kinds of a workbook that belong to no pump."""


@dataclass(frozen=True)
class Taken:
    """What came of taking a workbook into a book.

    Attributes
    ----------
    pump : Record
    added : tuple of Record
        Made now, the pump among them when it is new.
    same : tuple of Record
        Stood in the book already, word for word.
    renamed : mapping of str to str
        "run 'flap 3'" to the name it got because another run of that name says something else.
    prices_left, stock_left : bool
        Whether the workbook's price list or stock was left aside because the workshop has another, which stays.
    """

    pump: Record
    added: tuple[Record, ...]
    same: tuple[Record, ...]
    renamed: Mapping[str, str]
    prices_left: bool = False
    stock_left: bool = False


@dataclass
class _Taking:
    """A workbook on its way in."""

    hand: Hand
    added: list[Record] = field(default_factory=list)
    same: list[Record] = field(default_factory=list)
    renamed: dict[str, str] = field(default_factory=dict)

    def place(self, kind: str, name: str, table: Mapping[str, Any], links: Mapping[str, int]) -> Record:
        """Put one thing into the book, unless it is there; under another name when its own is taken."""
        entered = plain(table, f"{kind} '{name}'")
        scope = scope_of(kind, links)
        free, number = name, 1
        while (there := fetch_named(self.hand.connection, kind, scope, free)) is not None:
            if there.entered == entered and dict(there.links) == dict(links):
                self.same.append(there)
                return there
            number += 1
            ending = f" ({number})"
            free = name[: _LONGEST_NAME - len(ending)] + ending
        if free != name:
            self.renamed[f"{kind} '{name}'"] = free
        made = writing.add(self.hand, kind, free, entered, links)
        self.added.append(made)
        return made


def take_workbook(hand: Hand, text: str, pump_name: str | None) -> Taken:
    """Take a workbook's text into the book, under one pump.

    What stands there word for word is left alone, so taking the same file twice adds nothing; a thing whose name is
    taken by another gets a number behind its name.

    Raises
    ------
    WorkbookError, InputError
        As for `clackwork.workbook.load_workbook`.
    """
    text = read_source(text if "\n" in text else f"{text}\n")  # a text, never the name of a file
    read = load_workbook(text)  # refuses what cannot be read, in a workbook's own words
    tables = parse_toml(text)
    taking = _Taking(hand)
    left = {key: _left_aside(hand, key, tables[key]) for key in OF_WORKSHOP if key in tables}
    pump = _take_pump(taking, tables, pump_name or read.pump or read.title)
    instruments = {
        name: taking.place("instrument", name, one, {}) for name, one in tables.get("instrument", {}).items()
    }
    rigs = {}
    for name, table in tables.get("rig", {}).items():
        entered, used = instruments_apart(table)
        rigs[name] = taking.place("rig", name, entered, {role: instruments[one].id for role, one in used.items()})
    builds = _take_builds(taking, tables.get("build", {}), pump)
    trials = {}
    for name, table in tables.get("trial", {}).items():
        old, new = (builds[one].id for one in table["builds"])
        links = {"pump": pump.id, "old_build": old, "new_build": new}
        trials[name] = taking.place("trial", name, _without(table, "builds"), links)
    for table in tables.get("run", []):
        links = {"pump": pump.id, "build": builds[table["build"]].id, "rig": rigs[table["rig"]].id}
        if "trial" in table:
            links["trial"] = trials[table["trial"]].id
        taking.place("run", table["name"], _without(table, "name", "build", "rig", "trial"), links)
    sites = {name: taking.place("site", name, table, {}) for name, table in tables.get("site", {}).items()}
    for table in tables.get("visit", []):
        links = {"site": sites[table["site"]].id}
        if "build" in table:
            links |= {"pump": pump.id, "build": builds[table["build"]].id}
        taking.place("visit", table["name"], _without(table, "name", "build", "site"), links)
    for table in tables.get("part", []):
        links = {"pump": pump.id, "build": builds[table["build"]].id}
        links |= {role: there[table[role]].id for role, there in (("site", sites), ("rig", rigs)) if role in table}
        taking.place("part", table["name"], _without(table, "name", "build", "site", "rig"), links)
    for name, table in tables.get("switch", {}).items():
        _take_switch(taking, name, table, builds)
    return Taken(
        pump,
        tuple(taking.added),
        tuple(taking.same),
        taking.renamed,
        left.get("prices", False),
        left.get("stock", False),
    )


def _left_aside(hand: Hand, key: str, table: Mapping[str, Any]) -> bool:
    """Put prices or stock into the workshop that has none; whether it has others, which stay."""
    workshop = _workshop(hand.connection)
    there = workshop.entered.get(key)
    if there is None:
        content = writing.content_of(workshop)
        writing.change(hand, workshop, replace(content, entered={**content.entered, key: table}))
    return there is not None and there != plain(table, key)


def _take_pump(taking: _Taking, tables: Mapping[str, Any], name: str) -> Record:
    """The pump of that name, made when it is new."""
    name = name if len(name) <= _LONGEST_NAME else f"{name[: _LONGEST_NAME - 3].rstrip()}..."
    name = checked_name("".join(one if one.isprintable() else " " for one in name), "name of the pump")
    there = fetch_named(taking.hand.connection, "pump", 0, name)
    if there is not None:
        taking.same.append(there)
        return there
    return taking.place("pump", name, _without(tables.get("workbook", {}), "pump"), {})


def _take_builds(taking: _Taking, tables: Mapping[str, Any], pump: Record) -> dict[str, Record]:
    """Builds in the order written, save that one comes after the one it is a revision of."""
    builds: dict[str, Record] = {}
    waiting = dict(tables)
    while waiting:
        name = next(name for name, table in waiting.items() if table.get("revision_of") not in waiting)
        table = waiting.pop(name)
        links = {"pump": pump.id}
        if "revision_of" in table:
            links["revision_of"] = builds[table["revision_of"]].id
        builds[name] = taking.place("build", name, _without(table, "revision_of"), links)
    return builds


def _take_switch(taking: _Taking, name: str, table: Mapping[str, Any], builds: Mapping[str, Record]) -> None:
    """A switch: the builds of its first pair are links, those of further sizes stand in it by name."""
    pairs = [{which: builds[pair[which]] for which in ("old", "new")} for pair in table["pair"]]
    first, *more = pairs
    entered = _without(table, "pair")
    if more:
        entered["pair"] = [{which: build.name for which, build in pair.items()} for pair in more]
    links = {"pump": first["old"].links["pump"], "old_build": first["old"].id, "new_build": first["new"].id}
    taking.place("switch", name, entered, links)


def _without(table: Mapping[str, Any], *keys: str) -> dict[str, Any]:
    return {key: value for key, value in table.items() if key not in keys}


def workbook_tables(connection: sa.Connection, pump_id: int | None, with_sites: bool = True) -> dict[str, Any]:
    """The tables of a workbook with one pump's builds, runs and trials (all pumps' for None), all else of the book."""
    of_the_book = [kind for kind in _OF_THE_BOOK if with_sites or kind != "site"]
    kinds = ("build", "trial", "run")
    where: list[sa.ColumnElement[bool]] = [record.c.kind.in_(kinds)]
    if pump_id is not None:
        where.append(record.c.pump_id == pump_id)
    chosen = fetch_many(connection, *where)
    places = fetch_many(connection, record.c.kind.in_(of_the_book))
    at_sites = record.c.kind.in_(("visit", "part", "switch"))
    visits = fetch_many(connection, at_sites, *_of_pump_or_none(pump_id)) if with_sites else ()
    names = _names(connection, chosen, (*places, *visits), pump_id)
    head = _head(connection, pump_id)
    tables: dict[str, Any] = {
        "workbook": head,
        "instrument": {},
        "rig": {},
        "build": {},
        "trial": {},
        "site": {},
        "run": [],
        "visit": [],
        "part": [],
        "switch": {},
    }
    if "care" in head:
        tables["care"] = head.pop("care")
    for one in (*places, *chosen, *visits):
        around = Around({role: names[number] for role, number in one.links.items() if number in names})
        entered = one.entered if one.kind != "switch" else _with_builds_there(one, chosen, names)
        table = table_of(one.kind, names[one.id], entered, around)
        if one.kind in LISTED:
            tables[one.kind].append(table)
        else:
            tables[one.kind][names[one.id]] = table
    workshop = _workshop(connection).entered
    return {**tables, **{key: workshop[key] for key in OF_WORKSHOP if key in workshop}}


def _with_builds_there(switch: Record, chosen: tuple[Record, ...], names: Mapping[int, str]) -> dict[str, Any]:
    """A switch with further pairs as its pump's builds are called now; a pair whose builds are gone is left out."""
    there = {
        one.name: names[one.id] for one in chosen if one.kind == "build" and one.links["pump"] == switch.links["pump"]
    }
    pairs = [pair for pair in switch.entered.get("pair", []) if pair["old"] in there and pair["new"] in there]
    kept = {"pair": [{which: there[pair[which]] for which in ("old", "new")} for pair in pairs]} if pairs else {}
    return {**_without(switch.entered, "pair"), **kept}


def _workshop(connection: sa.Connection) -> Record:
    return fetch_many(connection, record.c.kind == "workshop")[0]


def _of_pump_or_none(pump_id: int | None) -> list[sa.ColumnElement[bool]]:
    """Records of one pump, and those of which nobody said of which pump they are."""
    return [] if pump_id is None else [sa.or_(record.c.pump_id == pump_id, record.c.pump_id.is_(None))]


def _head(connection: sa.Connection, pump_id: int | None) -> dict[str, Any]:
    """The table [workbook]: the pump's, with the workshop's units where it has none of its own, or the workshop's."""
    workshop = _workshop(connection)
    if pump_id is None:
        return {"title": workshop.name, **_without(workshop.entered, *OF_WORKSHOP)}
    pump = fetch(connection, "pump", pump_id)
    units = {"units": workshop.entered["units"]} if "units" in workshop.entered else {}
    return {"title": pump.name, **units, **pump.entered, "pump": pump.name}


def _names(
    connection: sa.Connection, chosen: tuple[Record, ...], places: tuple[Record, ...], pump_id: int | None
) -> dict[int, str]:
    """Name of each record by number; where two pumps have a build, trial or run of one name, the pump's name is added."""
    names = {one.id: one.name for one in (*chosen, *places)}
    if pump_id is not None:
        return names
    pumps = {one.id: one.name for one in fetch_many(connection, record.c.kind == "pump")}
    for kind in ("build", "trial", "run"):
        those = [one for one in chosen if one.kind == kind]
        seen = {one.name for one in those}
        first: set[str] = set()
        for one in those:
            if one.name not in first:
                first.add(one.name)
                continue
            name = f"{one.name} ({pumps[one.links['pump']]})"
            if len(name) > _LONGEST_NAME or name in seen:
                name = f"{one.name[: _LONGEST_NAME - 20]} (number {one.id})"
            seen.add(name)
            names[one.id] = name
    return names


def read_workbook(connection: sa.Connection, pump_id: int | None, with_sites: bool = True) -> Workbook:
    """A workbook of the book's records, read by the readers of a workbook."""
    return workbook_from_tables(workbook_tables(connection, pump_id, with_sites))


def give_workbook(connection: sa.Connection, pump_id: int) -> str:
    """A pump's builds, trials and runs with all instruments, rigs and sites and the price list, as the text of a workbook.

    Raises
    ------
    InputError
        The pump has no build: a workbook needs one.
    WorkbookError
        Larger than a workbook may be.
    """
    tables = workbook_tables(connection, pump_id)
    pump = fetch(connection, "pump", pump_id)
    tables["workbook"] = {**pump.entered, "pump": pump.name}
    if not tables["build"]:
        raise InputError("pump", pump.name, "it has no build yet, and a workbook needs one")
    blocks = [table_lines("[workbook]", tables["workbook"])]
    blocks += [table_lines(f"[{key}]", tables[key]) for key in OF_WORKSHOP if key in tables]
    for kind in ("instrument", "rig", "build", "trial"):
        blocks += [table_lines(f"[{kind}.{toml_key(name)}]", table) for name, table in tables[kind].items()]
    blocks += [table_lines("[[run]]", table) for table in tables["run"]]
    blocks += [table_lines(f"[site.{toml_key(name)}]", table) for name, table in tables["site"].items()]
    blocks += [table_lines(f"[[{kind}]]", table) for kind in ("visit", "part") for table in tables[kind]]
    blocks += [table_lines(f"[switch.{toml_key(name)}]", table) for name, table in tables["switch"].items()]
    text = "\n\n".join("\n".join(lines) for lines in blocks) + "\n"
    if len(text.encode()) > MOST_BYTES:
        raise WorkbookError(
            f"The workbook of pump '{pump.name}' would be larger than 2 MB; keep a backup of the book instead."
        )
    return text
