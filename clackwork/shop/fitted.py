"""The twins of a whole book: what its builds were found to be, as a question about a site needs them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from clackwork.book import Book, KeptTwin, Record
from clackwork.errors import InputError
from clackwork.shop.job_rows import Job, list_jobs
from clackwork.twin.twin import Twin

_MOST_BUILDS = 500


@dataclass(frozen=True)
class FittedTwin:
    """A build with its twin.

    Attributes
    ----------
    build, pump : Record
    kept : KeptTwin
    twin : Twin
        Under a name that no other build of the book has.
    """

    build: Record
    pump: Record
    kept: KeptTwin
    twin: Twin

    @property
    def name(self) -> str:
        """Name of the build, alone in the book."""
        return self.twin.build.name


def fitted_twins(book: Book) -> tuple[FittedTwin, ...]:
    """The last twin of every build that has one, by pump and build.

    Where builds of two pumps have one name, the pump's is put behind it.
    """
    fitted = book.counts("twin", "build")
    builds = [one for one in book.list("build", limit=_MOST_BUILDS).records if one.id in fitted]
    names = [one.name for one in builds]
    return tuple(_fitted(book, builds, {name for name in names if names.count(name) > 1}))


def _fitted(book: Book, builds: list[Record], shared: set[str]) -> Iterator[FittedTwin]:
    """Each build with its twin; those of a shared name under a longer one."""
    for build in builds:
        kept = book.twin_of(build.id)
        if kept is None:
            continue
        pump = book.get("pump", build.links["pump"])
        name = f"{build.name} ({pump.name})" if build.name in shared else build.name
        yield FittedTwin(build, pump, kept, replace(kept.twin, build=replace(kept.twin.build, name=name)))


def require_twin(book: Book) -> None:
    """Refuse what rests on a twin where there is none, and none is being made.

    Raises
    ------
    InputError
    """
    if not book.counts("twin", "build") and not fits_at_work(book):
        raise InputError("build", "(none fitted)", "it rests on a build with a twin", "Fit a build to its runs first.")


def fits_at_work(book: Book) -> tuple[Job, ...]:
    """Fits that wait or run."""
    return tuple(job for job in list_jobs(book, limit=1) if job.is_open and job.kind == "fit")


def builds_to_fit(book: Book) -> tuple[Record, ...]:
    """Builds that have runs and no twin: what to fit first."""
    runs, fitted = book.counts("run", "build"), book.counts("twin", "build")
    builds = book.list("build", limit=_MOST_BUILDS, order="changed").records
    return tuple(one for one in builds if one.id in runs and one.id not in fitted)
