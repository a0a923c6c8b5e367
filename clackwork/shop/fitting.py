"""Fit a build of the book: asked for as work, done by the worker, kept as a twin with what it rests on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from clackwork.book import Book, KeptTwin, Record
from clackwork.errors import InputError
from clackwork.shop.job_rows import Job, ask_for, last_job, refuse_draws
from clackwork.shop.part_service import keep_landings
from clackwork.workbook_errors import errors_of_runs

if TYPE_CHECKING:
    from clackwork.shop.jobs import Task

DRAWS = 400
"""Posterior draws kept unless others are asked for."""
_LEAST_DRAWS, _MOST_DRAWS = 40, 4000


@dataclass(frozen=True)
class FittedBuild:
    """A build with its last twin, and the work that is making the next.

    Attributes
    ----------
    build, pump : Record
    kept : KeptTwin or None
    runs : int
        Runs of the build in the book now.
    job : Job or None
        The fit that waits or runs; or the last one, when it failed or was cancelled after the twin was kept.
    """

    build: Record
    pump: Record
    kept: KeptTwin | None
    runs: int
    job: Job | None


def ask_fit(
    book: Book,
    build_id: int,
    *,
    draws: int = DRAWS,
    seed: int = 1,
    by: str = "",
    request_id: str | None = None,
) -> Job:
    """Queue the fit of a build to its runs.

    Parameters
    ----------
    book : Book
    build_id : int
    draws : int, optional
        Posterior draws kept.
    seed : int, optional
        The same seed gives the same twin.
    by : str, optional
    request_id : str, optional
        Sent again, it gives the job already there.

    Raises
    ------
    InputError
        The build has no run, or draws or seed cannot be used.
    NotThere
        No such build.
    """
    refuse_draws(draws, seed, least=_LEAST_DRAWS, most=_MOST_DRAWS)
    build = book.get("build", build_id)
    if runs_of(book, build_id) == 0:
        raise InputError("build", build.name, "it has no run to be fitted to", "Enter at least one run of it.")
    arguments = {"build_id": build_id, "draws": draws, "seed": seed}
    return ask_for(book, "fit", arguments, title=f"Fit of {build.name}", by=by, request_id=request_id)


def runs_of(book: Book, build_id: int) -> int:
    """How many runs of a build the book holds."""
    return book.list("run", links={"build": build_id}, limit=1).total


def fit_work(book: Book, task: Task) -> Mapping[str, Any]:
    """Do a fit and keep its twin; the work behind `ask_fit`."""
    from clackwork.twin.fit import fit_twin

    build_id, draws, seed = (int(task.arguments[name]) for name in ("build_id", "draws", "seed"))
    basis = book.basis_of(build_id)
    workbook, name = basis.workbook, basis.build.name
    with errors_of_runs(workbook):
        twin = fit_twin(
            workbook.builds[name],
            *workbook.fitted_to(name),
            seed=seed,
            draws=draws,
            progress=task.progress,
            pieces=task,
        )
    kept = book.keep_twin(build_id, twin, rests_on=basis.rests_on, by=task.by)
    keep_landings(book)
    return {"twin_id": kept.id, "engine_runs": twin.engine_runs}


def fitted_build(book: Book, build_id: int) -> FittedBuild:
    """A build with its last twin and the work on it.

    Raises
    ------
    NotThere
        No such build.
    """
    build = book.get("build", build_id)
    kept = book.twin_of(build_id)
    job = last_job(book, "fit", "build_id", build_id)
    if job is not None and not job.is_open and (job.state == "done" or _is_older(job, kept)):
        job = None
    return FittedBuild(build, book.get("pump", build.links["pump"]), kept, runs_of(book, build_id), job)


def _is_older(job: Job, kept: KeptTwin | None) -> bool:
    """Whether a job ended before the twin was kept."""
    return kept is not None and job.ended_at is not None and job.ended_at < kept.record.made_at
