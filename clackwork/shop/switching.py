"""A switch of the book studied: asked for as work, done by the worker, kept in words with what it rests on."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from clackwork._cache import kernel_key
from clackwork.book import Book, Record
from clackwork.book.twins import engine_version
from clackwork.errors import InputError
from clackwork.quantities import SYSTEMS
from clackwork.shop.designing import mark_of
from clackwork.shop.job_rows import Job, ask_for, last_job, refuse_draws
from clackwork.switch_job import builds_needed, study_of_workbook, with_spread
from clackwork.switch_report import switch_json
from clackwork.switch_words import switch_words
from clackwork.twin.twin import Twin
from clackwork.workbook import Workbook

if TYPE_CHECKING:
    from clackwork.shop.jobs import Task

DRAWS = 100
"""Cases drawn at each place unless others are asked for."""
_LEAST_DRAWS, _MOST_DRAWS = 20, 1000
_CHANGED = {
    "switch": "What is asked was changed after it.",
    "sites": "A site was entered, changed or taken away after it.",
    "parts": "A part in service was entered, looked at or taken away after it.",
    "twins": "A build was fitted again after it.",
    "currency": "The workshop's currency was changed after it.",
    "engine": "Another engine made it.",
    "kernel": "The engine has been changed since.",
}


@dataclass(frozen=True)
class KeptStudy:
    """The last study of a switch, and whether it still stands.

    Attributes
    ----------
    job : Job
        The work it came from.
    words : mapping
        By system of units, as :func:`clackwork.switch_words.switch_words` has them.
    plain : mapping
        By system of units, as :func:`clackwork.switch_report.switch_json` has it.
    reasons : tuple of str
        Why it should be worked out again, one sentence each; empty when it stands.
    """

    job: Job
    words: Mapping[str, Mapping[str, Any]]
    plain: Mapping[str, Mapping[str, Any]]
    reasons: tuple[str, ...]


@dataclass(frozen=True)
class SwitchShown:
    """A switch with its last study, and the work that is making the next.

    Attributes
    ----------
    switch : Record
    kept : KeptStudy or None
    job : Job or None
        Work that waits or runs; or the last of it, when it failed or was cancelled.
    to_fit : tuple of (str, int)
        Builds it rests on that have no twin yet, with their numbers.
    """

    switch: Record
    kept: KeptStudy | None
    job: Job | None
    to_fit: tuple[tuple[str, int], ...]


def _builds_of(book: Book, switch: Record, workbook: Workbook) -> dict[str, Record]:
    """The builds a study rests on, by name."""
    needed = builds_needed(workbook, workbook.switches[switch.name])
    found = book.list("build", links={"pump": switch.links["pump"]}, limit=500).records
    return {one.name: one for one in found if one.name in needed}


def ask_switch(
    book: Book, switch_id: int, *, draws: int = DRAWS, seed: int = 1, by: str = "", request_id: str | None = None
) -> Job:
    """Queue the study of a switch.

    Raises
    ------
    InputError
        A build has no twin, there is no designed site, or draws cannot be used.
    NotThere
        No such switch.
    """
    switch = book.get("switch", switch_id)
    refuse_draws(draws, seed, least=_LEAST_DRAWS, most=_MOST_DRAWS)
    workbook = book.workbook(switch.links["pump"])
    for name, number in _to_fit(book, _builds_of(book, switch, workbook)):
        raise InputError("build", name, f"it has no twin yet (build {number})", "Fit it to its runs first.")
    if not workbook.sites:
        raise InputError("sites", "none", "a study needs a designed site at least", "Design a surveyed site first.")
    arguments = {"switch_id": switch_id, "draws": draws, "seed": seed}
    return ask_for(book, "switch", arguments, title=f"Study of switch {switch.name}", by=by, request_id=request_id)


def _to_fit(book: Book, builds: Mapping[str, Record]) -> tuple[tuple[str, int], ...]:
    fitted = book.counts("twin", "build")
    return tuple((name, one.id) for name, one in builds.items() if one.id not in fitted)


def switch_work(book: Book, task: Task) -> Mapping[str, Any]:
    """Work a switch out; the work behind `ask_switch`."""
    task.progress(0, 1000)
    switch = book.get("switch", int(task.arguments["switch_id"]))
    workbook = book.workbook(switch.links["pump"])
    builds = _builds_of(book, switch, workbook)
    rests_on = basis_of_study(book, switch, builds)
    asked = with_spread(workbook, workbook.switches[switch.name])
    found = study_of_workbook(
        workbook,
        asked,
        _twins(book, builds),
        today=datetime.date.today(),
        draws=int(task.arguments["draws"]),
        seed=int(task.arguments["seed"]),
        progress=task.progress,
    )
    currency = workbook.prices.currency if workbook.prices else ""
    return {
        "words": {system: switch_words(found, asked, currency, system) for system in SYSTEMS},
        "plain": {system: switch_json(found, asked, currency, system) for system in SYSTEMS},
        "rests_on": rests_on,
    }


def _twins(book: Book, builds: Mapping[str, Record]) -> dict[str, Twin]:
    found = {}
    for name, build in builds.items():
        kept = book.twin_of(build.id)
        if kept is None:
            raise InputError("build", name, "it has no twin", "Fit it to its runs first.")
        found[name] = kept.twin
    return found


def basis_of_study(book: Book, switch: Record, builds: Mapping[str, Record]) -> dict[str, Any]:
    """What a study is made from, with the marks by which a later change of it is seen."""
    pump = {"pump": switch.links["pump"]}
    kept = {name: book.twin_of(build.id) for name, build in builds.items()}

    def marked(kind: str, links: Mapping[str, int] | None = None) -> str:
        offset = 0
        marks: dict[str, list[Any]] = {}
        while (found := book.list(kind, links=links, offset=offset, limit=500)).records:
            marks |= {str(one.id): [one.name, one.entered, dict(one.links)] for one in found.records}
            offset += len(found.records)
        return mark_of(marks)

    return {
        "switch": mark_of({"entered": switch.entered, "links": dict(switch.links)}),
        "sites": marked("site"),
        "parts": marked("part", pump),
        "twins": [[name, one.record.id if one else 0] for name, one in sorted(kept.items())],
        "currency": book.workshop().entered.get("prices", {}).get("currency", ""),
        "engine": engine_version(),
        "kernel": kernel_key(),
    }


def switch_shown(book: Book, switch_id: int) -> SwitchShown:
    """A switch with its last study and the work on it.

    Raises
    ------
    NotThere
        No such switch.
    """
    switch = book.get("switch", switch_id)
    last = last_job(book, "switch", "switch_id", switch_id)
    done = last_job(book, "switch", "switch_id", switch_id, states=("done",))
    job = None if last is None or last.state == "done" else last
    if switch.removed:
        return SwitchShown(switch, None, job, ())
    builds = _builds_of(book, switch, book.workbook(switch.links["pump"]))
    kept = None
    if done is not None and done.result is not None:
        then, now = done.result["rests_on"], basis_of_study(book, switch, builds)
        reasons = tuple(words for key, words in _CHANGED.items() if then.get(key) != now[key])
        kept = KeptStudy(done, done.result["words"], done.result["plain"], reasons)
    return SwitchShown(switch, kept, job, _to_fit(book, builds))
