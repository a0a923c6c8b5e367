"""Work in progress: what waits to be done at the bench and at the desk."""

from __future__ import annotations

from collections import Counter

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from clackwork.book import Book
from clackwork.shop.planning import FEWEST_ADVISED
from clackwork.web.pages import page
from clackwork.web.record_pages import book_of
from clackwork.web.summaries import Line, path_of

router = APIRouter(include_in_schema=False)

_TRIALS, _BUILDS, _RUNS = 30, 200, 100
"""Records looked at, the last changed first."""


def waiting_trials(book: Book) -> list[Line]:
    """Trials of which a build has too few runs of their sort, with how many are there."""
    linked = book.counts("run", "trial")
    kinds: dict[int, tuple[str, Counter[str]]] = {}
    lines = []
    for trial in book.list("trial", order="changed", limit=_TRIALS).records:
        if linked.get(trial.id, 0) >= 2 * FEWEST_ADVISED:
            continue
        sort = str(trial.entered.get("kind"))
        runs = []
        for number in (trial.links["old_build"], trial.links["new_build"]):
            if number not in kinds:
                kinds[number] = _runs_of(book, number)
            runs.append((kinds[number][0], kinds[number][1][sort]))
        if any(count < FEWEST_ADVISED for _, count in runs):
            words = ", ".join(f"{name}: {count} of {FEWEST_ADVISED} runs" for name, count in runs)
            lines.append(Line(path_of(trial), trial.name, words))
    return lines


def _runs_of(book: Book, number: int) -> tuple[str, Counter[str]]:
    """A build's name, and how many of its runs there are of each sort."""
    runs = book.list("run", links={"build": number}, limit=_RUNS, order="changed").records
    return book.get("build", number).name, Counter(str(run.entered.get("kind")) for run in runs)


def builds_without_runs(book: Book) -> list[Line]:
    """Builds that were never run."""
    runs = book.counts("run", "build")
    builds = book.list("build", order="changed", limit=_BUILDS).records
    idle = [build for build in builds if build.id not in runs]
    pumps = {number: book.get("pump", number).name for number in {build.links["pump"] for build in idle}}
    return [Line(path_of(build), build.name, pumps[build.links["pump"]]) for build in idle]


@router.get("/progress")
def work(request: Request) -> Response:
    """What waits."""
    book = book_of(request)
    return page(request, "work.html", trials=waiting_trials(book), builds=builds_without_runs(book))
