"""A workbook: one readable TOML file with the rigs, builds, runs, trials and sites of a job.

Quantities are texts with units ("2.1 m", "1.4 gpm", "3:30"); each is kept as typed in `Workbook.typed`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import Any, TypeVar

from clackwork.bench.runs import Run, reduce_run
from clackwork.errors import InputError
from clackwork.life.part_record import PartRecord
from clackwork.quantities import SYSTEMS, Quantity
from clackwork.ram.parts import Build
from clackwork.site.commissioning import visit_run
from clackwork.site.due import CareItem, care_items
from clackwork.site.prices import PriceList
from clackwork.site.site import Site
from clackwork.site.standing import Standing
from clackwork.site.stock import Stock, usual_stock
from clackwork.site.survey import Survey
from clackwork.site.visit import Visit
from clackwork.twin.twin import Rig
from clackwork.workbook_instruments import read_instrument
from clackwork.workbook_life import SwitchAsked, read_part, read_switch
from clackwork.workbook_parts import read_build
from clackwork.workbook_prices import read_prices
from clackwork.workbook_reader import Table, nearest, parse_toml, read_source
from clackwork.workbook_runs import Trial, read_rig, read_run, read_trial
from clackwork.workbook_sites import read_place, undesigned
from clackwork.workbook_stock import read_stock
from clackwork.workbook_visits import read_care, read_visit

__all__ = ["Trial", "Workbook", "load_workbook", "workbook_from_tables", "pick", "pick_sites"]

Thing = TypeVar("Thing")

SET_POINT_SHARE = 0.1
"""How far a run may lie from a trial's back-pressure to be compared: common practice, no published source."""


@dataclass(frozen=True)
class Workbook:
    """Everything in one workbook, in SI.

    Attributes
    ----------
    title, note : str
    units : str
        "metric" or "us": how its answers are shown unless asked otherwise.
    rigs, builds, trials : mapping by name, in the order written
    sites : mapping by name
        Of the places that are designed: those with a drive pipe and a delivery line.
    instruments : mapping of str to instrument
        Those described by themselves, of any class in `clackwork.bench.instruments`.
    runs : tuple of Run
        In the order written.
    typed : mapping of str to Quantity
        Every quantity as typed, by its place: "run.flap 3.duration".
    text : str
        The workbook itself; empty when it came from a book.
    pump : str
        The pump whose builds these are; empty when not said.
    revision_of : mapping of str to str
        The earlier build by name, of builds that say which they are a revision of.
    trial_of : mapping of str to str
        The trial by name, of runs that say which they were made for.
    surveys : mapping by name
        Of every place.
    designs, as_built : mapping by name of place
        What was chosen for it, and what stands there, where that is kept.
    visits : tuple of Visit
        In the order written.
    care : tuple of CareItem
        The workshop's care with its intervals.
    prices : PriceList or None
        The workshop's; None where none is written.
    stock : Stock
        What it builds with; the usual one where none is written.
    parts : tuple of PartRecord
        Parts in service, in the order written.
    switches : mapping by name
        Switches to a new build that are to be studied.
    """

    title: str
    note: str
    units: str
    rigs: Mapping[str, Rig]
    builds: Mapping[str, Build]
    runs: tuple[Run, ...]
    trials: Mapping[str, Trial]
    sites: Mapping[str, Site]
    typed: Mapping[str, Quantity]
    text: str
    pump: str = ""
    revision_of: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    trial_of: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    instruments: Mapping[str, Any] = field(default_factory=lambda: MappingProxyType({}))
    surveys: Mapping[str, Survey] = field(default_factory=lambda: MappingProxyType({}))
    designs: Mapping[str, Standing] = field(default_factory=lambda: MappingProxyType({}))
    as_built: Mapping[str, Standing] = field(default_factory=lambda: MappingProxyType({}))
    visits: tuple[Visit, ...] = ()
    care: tuple[CareItem, ...] = field(default_factory=care_items)
    prices: PriceList | None = None
    stock: Stock = field(default_factory=usual_stock)
    parts: tuple[PartRecord, ...] = ()
    switches: Mapping[str, SwitchAsked] = field(default_factory=lambda: MappingProxyType({}))

    def runs_of(self, build: str) -> tuple[Run, ...]:
        """The runs of one build, in the order made."""
        return tuple(sorted((run for run in self.runs if run.build == build), key=lambda run: run.order))

    def fitted_to(self, build: str) -> tuple[dict[str, Rig], tuple[Run, ...]]:
        """Rigs and runs that the twin of a build is fitted to: those of the bench, then the visits meant for it.

        Raises
        ------
        InputError
            A visit meant for it lacks what a fit needs.
        """
        rigs, runs = dict(self.rigs), list(self.runs_of(build))
        for visit in self.visits:
            if visit.for_twin and visit.build == build:
                if visit.site not in self.sites:
                    raise undesigned(visit.site)
                rig, run = visit_run(visit, self.sites[visit.site], self.as_built.get(visit.site))
                rigs[rig.name] = rig
                runs.append(run)
        return rigs, tuple(runs)

    def runs_of_trial(self, trial: Trial) -> tuple[Run, ...]:
        """The runs a trial compares: of its two builds, kind and back-pressure, in the order made.

        A run made for another trial is left out; one that says no trial counts wherever it fits.
        """
        chosen = [run for run in self.runs if run.build in trial.builds and run.kind == trial.kind]
        chosen = [run for run in chosen if self.trial_of.get(run.name, trial.name) == trial.name]
        if trial.back_pressure_head is not None:
            chosen = [run for run in chosen if self._stood_near(run, trial.back_pressure_head)]
        return tuple(sorted(chosen, key=lambda run: run.order))

    def _stood_near(self, run: Run, head: float) -> bool:
        """Whether a run stood against about the back-pressure asked for."""
        found = reduce_run(run, self.rigs[run.rig].instruments).back_pressure_head
        return found is not None and abs(found.value - head) <= SET_POINT_SHARE * head


def load_workbook(source: Path | str) -> Workbook:
    """Read a workbook.

    Parameters
    ----------
    source : Path or str
        A file's path; a string with a line break in it is the text of a workbook.

    Raises
    ------
    WorkbookError
        The file as a whole cannot be read.
    InputError
        A field is missing, unknown or not usable; the message names its table.
    """
    text = read_source(source)
    workbook = workbook_from_tables(parse_toml(text), text)
    if not workbook.builds:
        raise InputError("the workbook", "(nothing)", "it needs at least one build", "Write a table [build.NAME].")
    return workbook


def workbook_from_tables(tables: Mapping[str, Any], text: str = "") -> Workbook:
    """Read a workbook from its tables as TOML gives them.

    Parameters
    ----------
    tables : mapping
        "workbook", "prices", "stock", "care", "instrument", "rig", "build", "trial", "site", "switch" (tables by name),
        "run", "visit" and "part" (lists of tables).
    text : str, optional
        What they were read from.

    Raises
    ------
    InputError
        A field is missing, unknown or not usable; the message names its table.
    """
    typed: dict[str, Quantity] = {}
    root = Table(dict(tables), "", "", typed)
    title, units, note, pump = _read_head(root.table("workbook"))
    named = {key: root.named_tables(key) for key in ("instrument", "rig", "build", "trial", "site", "switch")}
    run_tables, visit_tables, part_tables = (root.listed_tables(key) for key in ("run", "visit", "part"))
    care = read_care(root.table("care"))
    price_table, stock_table = root.table("prices"), root.table("stock")
    root.finish()
    instruments = {name: read_instrument(table, name) for name, table in named["instrument"].items()}
    rigs = {name: read_rig(table, name, instruments) for name, table in named["rig"].items()}
    revision_of = _read_revisions(named["build"])
    builds = {name: read_build(table, name) for name, table in named["build"].items()}
    asked = [_read_trial_named(table, named["trial"]) for table in run_tables]
    runs = tuple(read_run(table, place, builds, rigs) for place, table in enumerate(run_tables, start=1))
    _refuse_repeats("run", [run.name for run in runs])
    trials = {name: read_trial(table, name, builds) for name, table in named["trial"].items()}
    trial_of = {run.name: trial for run, trial in zip(runs, asked, strict=True) if trial is not None}
    _refuse_strangers(runs, trials, trial_of)
    places = {name: read_place(table, name) for name, table in named["site"].items()}
    visits = tuple(read_visit(table, builds, places) for table in visit_tables)
    _refuse_repeats("visit", [visit.name for visit in visits])
    designed = {name: one.site for name, one in places.items() if one.site is not None}
    parts = tuple(read_part(table, builds, places, rigs) for table in part_tables)
    _refuse_repeats("part", [part.name for part in parts])
    return Workbook(
        title=title,
        note=note,
        units=units,
        rigs=MappingProxyType(rigs),
        builds=MappingProxyType(builds),
        runs=runs,
        trials=MappingProxyType(trials),
        sites=MappingProxyType(designed),
        typed=MappingProxyType(typed),
        text=text,
        pump=pump,
        revision_of=MappingProxyType(revision_of),
        trial_of=MappingProxyType(trial_of),
        instruments=MappingProxyType(instruments),
        surveys=MappingProxyType({name: one.survey for name, one in places.items()}),
        designs=MappingProxyType({name: one.design for name, one in places.items() if one.design is not None}),
        as_built=MappingProxyType({name: one.as_built for name, one in places.items() if one.as_built is not None}),
        visits=visits,
        care=care,
        prices=read_prices(price_table) if price_table is not None else None,
        stock=read_stock(stock_table),
        parts=parts,
        switches=MappingProxyType({name: read_switch(table, name, builds) for name, table in named["switch"].items()}),
    )


def _read_revisions(tables: Mapping[str, Table]) -> dict[str, str]:
    """The earlier build of each build that names one.

    Raises
    ------
    InputError
        No such build, or a build that is a revision of itself by way of others.
    """
    earlier = {
        name: table.choice("revision_of", [other for other in tables if other != name], "the build it was made from")
        for name, table in tables.items()
        if "revision_of" in table
    }
    for name in earlier:
        seen, at = {name}, earlier[name]
        while at in earlier and at not in seen:
            seen.add(at)
            at = earlier[at]
        if at in seen:
            raise tables[name].error("revision_of", earlier[name], "a build cannot come from itself by way of others")
    return earlier


def _read_trial_named(table: Table, trials: Iterable[str]) -> str | None:
    """The trial a run says it was made for."""
    return table.choice("trial", trials, "the trial it was made for") if "trial" in table else None


def _refuse_strangers(runs: Iterable[Run], trials: Mapping[str, Trial], trial_of: Mapping[str, str]) -> None:
    """Refuse a run that names a trial of two other builds."""
    for run in runs:
        trial = trials.get(trial_of.get(run.name, ""))
        if trial is not None and run.build not in trial.builds:
            raise InputError(
                f"run '{run.name}', trial",
                f'"{trial.name}"',
                f"that trial compares {trial.builds[0]} and {trial.builds[1]}, not {run.build}",
                "Name a trial of the build that was on the rig, or leave it out.",
            )


def _read_head(table: Table | None) -> tuple[str, str, str, str]:
    """Title, units, note and the pump's name from [workbook]."""
    if table is None:
        return "Workbook", "metric", "", ""
    title = table.text("title") or "Workbook"
    units = table.choice("units", SYSTEMS, "how answers are shown") if "units" in table else "metric"
    note = table.text("note") or ""
    pump = table.name("pump", "the pump's name") if "pump" in table else ""
    table.finish()
    return title, units, note, pump


def _refuse_repeats(kind: str, names: Iterable[str]) -> None:
    """Refuse two runs, or two visits, of one name."""
    seen: set[str] = set()
    for name in names:
        if name in seen:
            raise InputError(
                f"{kind} '{name}', name",
                f'"{name}"',
                f"another {kind} has that name already",
                f"Give each {kind} a name of its own.",
            )
        seen.add(name)


def pick(things: Mapping[str, Thing], name: str | None, what: str) -> dict[str, Thing]:
    """The thing called ``name``, or all of them when it is None.

    Raises
    ------
    InputError
        No such thing; the nearest known is named.
    """
    if name is None:
        return dict(things)
    if name not in things:
        raise InputError(what, f'"{name}"', f"the workbook has no {what} of that name", nearest(name, things))
    return {name: things[name]}


def pick_sites(workbook: Workbook, name: str | None) -> dict[str, Site]:
    """The designed site called ``name``, or all of them when it is None.

    Raises
    ------
    InputError
        No such place, or one that is surveyed and not designed yet.
    """
    if name is not None and name not in workbook.sites and name in workbook.surveys:
        raise undesigned(name)
    return pick(workbook.sites, name, "site")
