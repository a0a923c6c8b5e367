"""The performance of a build of the book: asked for as work, done fall by fall, kept with the twin it came from."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from clackwork._cache import kernel_key
from clackwork.bench.runs import RunKind
from clackwork.book import Basis, Book, KeptTwin, Record
from clackwork.book.twins import mark_of
from clackwork.errors import ClackworkError, InputError
from clackwork.shop.job_rows import OPEN, Job, ask_for, last_job
from clackwork.shop.performance import (
    DRAWS,
    Performance,
    Provenance,
    checked_draws,
    checked_falls,
    find_performance,
    measured_points,
    usual_falls,
)
from clackwork.shop.performance_text import performance_from, performance_plain
from clackwork.site.site import Site
from clackwork.twin.twin import Rig, find_rig
from clackwork.workbook import Workbook
from clackwork.workbook_errors import errors_of_runs

if TYPE_CHECKING:
    from clackwork.shop.jobs import Task

STEPS = {"metric": 1.0, "us": 0.3048}
"""Unit in which falls and lifts are round, by system of units [m]."""


@dataclass(frozen=True)
class KeptPerformance:
    """The last performance of a build, and whether it still stands.

    Attributes
    ----------
    job : Job
        The work it came from.
    performance : Performance
    reasons : tuple of str
        Why it should be drawn again, one sentence each; empty when it stands.
    """

    job: Job
    performance: Performance
    reasons: tuple[str, ...]


@dataclass(frozen=True)
class BuildPerformance:
    """A build with its last performance, and the work that is making the next.

    Attributes
    ----------
    build, pump : Record
    twin : KeptTwin or None
    kept : KeptPerformance or None
    job : Job or None
        Work that waits or runs; or the last of it, when it failed or was cancelled.
    """

    build: Record
    pump: Record
    twin: KeptTwin | None
    kept: KeptPerformance | None
    job: Job | None


def tested_rig(workbook: Workbook, build: str) -> Rig:
    """The rig on which most of a build's delivering runs were made; most of any runs when none delivered.

    Raises
    ------
    InputError
        The build has no run.
    """
    runs = workbook.runs_of(build)
    delivering = [run for run in runs if run.kind is RunKind.DELIVERING]
    counts = Counter(run.rig for run in delivering or runs)
    if not counts:
        raise InputError("build", build, "it has no run, so no rig is known", "Enter at least one run of it.")
    return find_rig(workbook.rigs, counts.most_common(1)[0][0])


def ask_performance(
    book: Book,
    build_id: int,
    *,
    falls: Sequence[float] = (),
    rig_id: int | None = None,
    site_id: int | None = None,
    draws: int = DRAWS,
    seed: int = 1,
    system: str = "metric",
    by: str = "",
    request_id: str | None = None,
) -> Job:
    """Queue the performance of a build, from its twin.

    Parameters
    ----------
    book : Book
    build_id : int
    falls : sequence of float, optional
        [m]; none for that of the runs or of the site, a lower and a higher one.
    rig_id, site_id : int, optional
        Whose drive pipe it is drawn for, at most one of the two; none for the rig that most of the runs stood on.
    draws, seed : int, optional
    system : {"metric", "us"}, optional
        Lifts are round in its unit.
    by : str, optional
    request_id : str, optional
        Sent again, it gives the job already there.

    Raises
    ------
    InputError
        The build has no twin, or falls or draws cannot be drawn.
    NotThere
        No such build.
    """
    build, kept = book.get("build", build_id), book.twin_of(build_id)
    if kept is None:
        raise InputError("build", build.name, "it has no twin yet", "Fit it to its runs first.")
    if system not in STEPS:
        raise InputError("units", system, f"it must be one of {', '.join(STEPS)}")
    if rig_id is not None and site_id is not None:
        raise InputError("pipe", "a rig's and a site's", "it is drawn for one pipe", "Choose a rig or a site.")
    kind, number = ("site", site_id) if site_id is not None else ("rig", rig_id)
    if number is not None and book.get(kind, number).removed:
        raise InputError("pipe", book.get(kind, number).name, "it has been taken away", "Put it back first.")
    arguments = {
        "build_id": build_id,
        "falls_m": list(checked_falls(falls)) if falls else [],
        "draws": checked_draws(draws),
        "seed": seed,
        "units": system,
        "twin_id": kept.record.id,
        **({} if number is None else {"pipe_of": kind, "pipe_number": number}),
    }
    return ask_for(book, "performance", arguments, title=f"Performance of {build.name}", by=by, request_id=request_id)


def performance_work(book: Book, task: Task) -> Mapping[str, Any]:
    """Find a performance, keeping what is found after every fall; the work behind `ask_performance`."""
    build_id = int(task.arguments["build_id"])
    kept = book.twin_of(build_id)
    if kept is None:
        raise ClackworkError("The twin was taken away in the meantime: fit the build again.")
    basis = book.basis_of(build_id)
    workbook, name, step = basis.workbook, basis.build.name, STEPS[str(task.arguments["units"])]
    place, place_mark = _place_asked(book, basis, task.arguments)
    is_fitted = not isinstance(place, Site) and any(run.rig == place.name for run in workbook.runs_of(name))
    with errors_of_runs(workbook):
        measured = () if isinstance(place, Site) else measured_points(workbook.runs_of(name), place)
    falls = tuple(float(fall) for fall in task.arguments["falls_m"]) or usual_falls(measured, place, step)
    draws, seed = int(task.arguments["draws"]), int(task.arguments["seed"])
    provenance = provenance_of(kept)
    found = find_performance(
        kept.twin,
        place,
        falls,
        is_fitted=is_fitted,
        place_mark=place_mark,
        measured=measured,
        provenance=provenance,
        draws=draws,
        seed=seed,
        step=step,
        before=_usable(task.before, (place.name, place_mark), provenance, falls, draws, seed),
        progress=task.progress,
        keep=lambda part: task.keep(performance_plain(part)),
    )
    return performance_plain(found)


def provenance_of(kept: KeptTwin) -> Provenance:
    """Where figures made from a twin now come from."""
    from clackwork.book.twins import engine_version

    return Provenance(
        twin_id=kept.record.id,
        twin_name=kept.record.name,
        fitted_at=kept.record.made_at.date().isoformat(),
        runs=int(kept.record.entered["runs"]),
        engine=engine_version(),
        kernel=kernel_key(),
    )


def _place_asked(book: Book, basis: Basis, arguments: Mapping[str, Any]) -> tuple[Rig | Site, str]:
    """The rig or the site whose pipe was asked for, and its mark; the rig that most of the runs stood on when none was."""
    kind = arguments.get("pipe_of")
    if kind is None:
        return tested_rig(basis.workbook, basis.build.name), ""
    record = book.get(kind, int(arguments["pipe_number"]))
    if record.removed:
        raise ClackworkError(f"The {kind} '{record.name}' was taken away in the meantime: choose another pipe.")
    workbook = book.workbook(basis.build.links["pump"])
    if kind == "rig":
        return workbook.rigs[record.name], mark_of(record)
    if record.name not in workbook.sites:
        raise ClackworkError(f"Site '{record.name}' has no drive pipe yet: design it first, or choose another pipe.")
    return workbook.sites[record.name], mark_of(record)


def _usable(
    before: Mapping[str, Any] | None,
    place: tuple[str, str],
    provenance: Provenance,
    falls: tuple[float, ...],
    draws: int,
    seed: int,
) -> Performance | None:
    """What was found before an interruption, when it is part of the same work."""
    if before is None:
        return None
    try:
        part = performance_from(before)
    except ClackworkError:
        return None
    same = (part.rig, part.place_mark) == place and part.provenance == provenance
    return part if same and (part.falls, part.draws, part.seed) == (falls, draws, seed) else None


def build_performance(book: Book, build_id: int) -> BuildPerformance:
    """A build with its last performance and the work on it.

    Raises
    ------
    NotThere
        No such build.
    """
    build, twin = book.get("build", build_id), book.twin_of(build_id)
    last = last_job(book, "performance", "build_id", build_id)
    done = last_job(book, "performance", "build_id", build_id, states=("done",))
    shown = last if last is not None and last.result is not None else done
    kept = None if shown is None else _kept_performance(book, shown, twin)
    job = None if last is None or last.state == "done" else last
    return BuildPerformance(build, book.get("pump", build.links["pump"]), twin, kept, job)


def _kept_performance(book: Book, job: Job, twin: KeptTwin | None) -> KeptPerformance | None:
    """The performance a job found, or the part of it it has so far; None when it cannot be read any more."""
    if job.result is None:
        return None
    try:
        performance = performance_from(job.result)
    except ClackworkError:
        return None
    reasons: list[str] = []
    if not performance.whole and job.state not in OPEN:
        reasons.append("The work was stopped: some falls are missing.")
    if twin is not None and twin.record.id != performance.provenance.twin_id:
        reasons.append(f"The build was fitted again ({twin.record.name}) after this was drawn.")
    elif twin is not None and twin.stale:
        reasons += [f"Its twin is out of date: {reason}" for reason in twin.reasons]
    elif performance.provenance.kernel != kernel_key():
        reasons.append("The engine has changed since this was drawn.")
    if performance.place_mark:
        kind = str(job.arguments["pipe_of"])
        place = book.get(kind, int(job.arguments["pipe_number"]))
        if place.removed or mark_of(place) != performance.place_mark:
            done = "taken away" if place.removed else "changed"
            reasons.append(f"{kind.capitalize()} '{place.name}' was {done} after this was drawn.")
    return KeptPerformance(job, performance, tuple(reasons))
