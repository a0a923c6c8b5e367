"""A workbook: one readable TOML file with the rigs, builds, runs, trials and sites of a job.

Quantities are texts with units ("2.1 m", "1.4 gpm", "3:30"); each is kept as typed in `Workbook.typed`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import TypeVar

from clackwork.bench.runs import Run, reduce_run
from clackwork.errors import InputError
from clackwork.quantities import SYSTEMS, Quantity
from clackwork.ram.parts import Build
from clackwork.site.site import Site
from clackwork.twin.twin import Rig
from clackwork.workbook_parts import read_build, read_site
from clackwork.workbook_reader import Table, nearest, parse_toml, read_source
from clackwork.workbook_runs import Trial, read_rig, read_run, read_trial

__all__ = ["Trial", "Workbook", "load_workbook", "pick"]

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
    rigs, builds, trials, sites : mapping by name, in the order written
    runs : tuple of Run
        In the order written.
    typed : mapping of str to Quantity
        Every quantity as typed, by its place: "run.flap 3.duration".
    text : str
        The workbook itself.
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

    def runs_of(self, build: str) -> tuple[Run, ...]:
        """The runs of one build, in the order made."""
        return tuple(sorted((run for run in self.runs if run.build == build), key=lambda run: run.order))

    def runs_of_trial(self, trial: Trial) -> tuple[Run, ...]:
        """The runs a trial compares: of its two builds, kind and back-pressure, in the order made."""
        chosen = [run for run in self.runs if run.build in trial.builds and run.kind == trial.kind]
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
    typed: dict[str, Quantity] = {}
    root = Table(parse_toml(text), "", "", typed)
    head = root.table("workbook")
    title, units, note = _read_head(head)
    tables = {key: root.named_tables(key) for key in ("rig", "build", "trial", "site")}
    run_tables = root.listed_tables("run")
    root.finish()
    rigs = {name: read_rig(table, name) for name, table in tables["rig"].items()}
    builds = {name: read_build(table, name) for name, table in tables["build"].items()}
    runs = tuple(read_run(table, place, builds, rigs) for place, table in enumerate(run_tables, start=1))
    _refuse_repeats([run.name for run in runs])
    trials = {name: read_trial(table, name, builds) for name, table in tables["trial"].items()}
    sites = {name: read_site(table, name) for name, table in tables["site"].items()}
    if not builds:
        raise InputError("the workbook", "(nothing)", "it needs at least one build", "Write a table [build.NAME].")
    return Workbook(
        title=title,
        note=note,
        units=units,
        rigs=MappingProxyType(rigs),
        builds=MappingProxyType(builds),
        runs=runs,
        trials=MappingProxyType(trials),
        sites=MappingProxyType(sites),
        typed=MappingProxyType(typed),
        text=text,
    )


def _read_head(table: Table | None) -> tuple[str, str, str]:
    """Title, units and note from [workbook]."""
    if table is None:
        return "Workbook", "metric", ""
    title = table.text("title") or "Workbook"
    units = table.choice("units", SYSTEMS, "how answers are shown") if "units" in table else "metric"
    note = table.text("note") or ""
    table.finish()
    return title, units, note


def _refuse_repeats(names: Iterable[str]) -> None:
    """Refuse two runs of one name."""
    seen: set[str] = set()
    for name in names:
        if name in seen:
            raise InputError(
                f"run '{name}', name",
                f'"{name}"',
                "another run has that name already",
                "Give each run a name of its own.",
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
