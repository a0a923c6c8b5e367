"""Design a site of the book: asked for as work, done by the worker, kept with what it rests on, one choice taken."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from clackwork._cache import kernel_key
from clackwork.book import Book, Record
from clackwork.book.records import as_json
from clackwork.book.twins import engine_version
from clackwork.errors import ClackworkError, InputError, require_range
from clackwork.quantities import format_quantity, parse
from clackwork.shop.design_text import design_from, design_text
from clackwork.shop.fitted import FittedTwin, fitted_twins, require_twin
from clackwork.shop.glances import keep_glance
from clackwork.shop.job_rows import Job, ask_for, last_job, refuse_draws
from clackwork.shop.part_service import keep_landings
from clackwork.shop.visits import place_of
from clackwork.shop.workshop_prices import prices_of, stock_of
from clackwork.site.design import Design
from clackwork.site.prices import Alternative

if TYPE_CHECKING:
    from clackwork.shop.jobs import Task

DRAWS = 200
"""Draws of each promise unless others are asked for."""
_LEAST_DRAWS, _MOST_DRAWS = 20, 2000
_MOST_ALTERNATIVES = 8
NOT_SURVEYED = ("note", "drive_pipe", "delivery_line", "supply_pipe", "design", "as_built")
"""Fields of a site that a design does not read: what it makes itself, and what stands there."""


@dataclass(frozen=True)
class KeptDesign:
    """The last design of a site, and whether it still stands.

    Attributes
    ----------
    job : Job
        The work it came from.
    design : Design
    rests_on : mapping
        "site" and "twins" (number, version or twin, name and mark of each), "prices", "engine", "kernel".
    reasons : tuple of str
        Why it should be made again, one sentence each; empty when it stands.
    """

    job: Job
    design: Design
    rests_on: Mapping[str, Any]
    reasons: tuple[str, ...]


@dataclass(frozen=True)
class SiteDesign:
    """A site with its last design, and the work that is making the next.

    Attributes
    ----------
    site : Record
    kept : KeptDesign or None
    job : Job or None
        Work that waits or runs; or the last of it, when it failed or was cancelled.
    """

    site: Record
    kept: KeptDesign | None
    job: Job | None


def ask_design(
    book: Book,
    site_id: int,
    *,
    draws: int = DRAWS,
    seed: int = 1,
    alternatives: Sequence[Alternative] = (),
    by: str = "",
    request_id: str | None = None,
) -> Job:
    """Queue the design of a site, from all twins of the book.

    Raises
    ------
    InputError
        No build has a twin, draws or seed cannot be used, or too many alternatives are given.
    NotThere
        No such site.
    """
    site = book.get("site", site_id)
    refuse_draws(draws, seed, least=_LEAST_DRAWS, most=_MOST_DRAWS)
    if len(alternatives) > _MOST_ALTERNATIVES:
        raise InputError("alternatives", len(alternatives), f"it must be {_MOST_ALTERNATIVES} at most")
    require_twin(book)
    others = [[one.name, one.first_cost, one.yearly_cost, one.life, one.daily] for one in alternatives]
    arguments = {"site_id": site_id, "draws": draws, "seed": seed, "alternatives": others}
    return ask_for(book, "design", arguments, title=f"Design of {site.name}", by=by, request_id=request_id)


def design_work(book: Book, task: Task) -> Mapping[str, Any]:
    """Search the designs of a site; the work behind `ask_design`."""
    from clackwork.site.search import search_designs

    task.progress(0, 1000)
    site = book.get("site", int(task.arguments["site_id"]))
    twins = fitted_twins(book)
    if not twins:
        raise ClackworkError("No build has a twin: fit a build to its runs first.")
    rests_on = basis_of_design(book, site, twins)
    found = search_designs(
        place_of(site).survey,
        tuple(one.twin for one in twins),
        stock_of(book),
        prices=prices_of(book),
        alternatives=tuple(Alternative(*one) for one in task.arguments["alternatives"]),
        draws=int(task.arguments["draws"]),
        seed=int(task.arguments["seed"]),
        progress=task.progress,
    )
    keep_glance(book, site, found)
    keep_landings(book)
    return {"design": design_text(found), "rests_on": rests_on}


def read_alternatives(text: str) -> tuple[Alternative, ...]:
    """Other ways to the same water, one a line: name; first cost; cost a year; life in years; water a day.

    Raises
    ------
    InputError
        A line that cannot be read.
    """
    return tuple(_read_alternative(line.strip()) for line in text.splitlines() if line.strip())


def _read_alternative(line: str) -> Alternative:
    field, parts = "alternatives", [part.strip() for part in line.split(";")]
    if len(parts) != 5 or not parts[0]:
        allowed = "a line is name; first cost; cost a year; life in years; water a day"
        raise InputError(field, line[:60], allowed, "Such as electric pump; 900; 160; 10; 1400 L/day.")
    numbers = []
    for part, words in zip(parts[1:4], ("first cost", "cost a year", "life"), strict=True):
        try:
            number = float(part.replace(",", "."))
        except ValueError:
            raise InputError(field, part[:60], f"the {words} must be a plain number") from None
        numbers.append(require_range(f"alternatives, {words}", number, 0.0, 1e9, "", "Leave units away."))
    if numbers[2] <= 0.0:
        raise InputError(field, parts[3], "the life must be above 0 years")
    daily = parse(parts[4], "daily_volume_flow", field=field).value * 86400.0
    if daily <= 0.0:
        raise InputError(field, parts[4], "the water a day must be above 0")
    return Alternative(parts[0][:80], numbers[0], numbers[1], numbers[2], daily)


def alternatives_text(rows: Sequence[Sequence[Any]], system: str) -> str:
    """Alternatives of a job as they may be typed again."""
    lines = []
    for name, first, yearly, life, daily in rows:
        shown = format_quantity(daily / 86400.0, "daily_volume_flow", system).replace("\u00a0", " ")
        lines.append(f"{name}; {first:g}; {yearly:g}; {life:g}; {shown}")
    return "\n".join(lines)


def basis_of_design(book: Book, site: Record, twins: tuple[FittedTwin, ...]) -> dict[str, Any]:
    """What a design is made from, with the marks by which a later change of it is seen."""
    return {
        "site": [
            site.id,
            site.version,
            site.name,
            mark_of({k: v for k, v in site.entered.items() if k not in NOT_SURVEYED}),
        ],
        "twins": [[one.build.id, one.kept.record.id, one.name, one.build.name] for one in twins],
        "prices": mark_of(book.workshop().entered.get("prices", {})),
        "stock": mark_of(book.workshop().entered.get("stock", {})),
        "engine": engine_version(),
        "kernel": kernel_key(),
    }


def mark_of(entered: Mapping[str, Any]) -> str:
    """A mark of what was typed, whatever the order of its fields."""
    return hashlib.sha256(as_json(_in_order(entered)).encode()).hexdigest()[:16]


def _in_order(value: Any) -> Any:
    if isinstance(value, Mapping):
        return [[key, _in_order(inner)] for key, inner in sorted(value.items())]
    if isinstance(value, list | tuple):
        return [_in_order(one) for one in value]
    return value


def site_design(book: Book, site_id: int) -> SiteDesign:
    """A site with its last design and the work on it.

    Raises
    ------
    NotThere
        No such site.
    """
    site = book.get("site", site_id)
    last = last_job(book, "design", "site_id", site_id)
    done = last_job(book, "design", "site_id", site_id, states=("done",))
    kept = None if done is None else kept_design(book, done, site)
    job = None if last is None or last.state == "done" else last
    return SiteDesign(site, kept, job)


def kept_design(book: Book, job: Job, site: Record) -> KeptDesign | None:
    """The design a job found; None when it cannot be read any more."""
    if job.result is None:
        return None
    try:
        design = design_from(str(job.result["design"]))
        rests_on: Mapping[str, Any] = job.result["rests_on"]
    except (ClackworkError, KeyError):
        return None
    return KeptDesign(job, design, rests_on, _reasons(rests_on, basis_of_design(book, site, fitted_twins(book)), book))


def _reasons(then: Mapping[str, Any], now: Mapping[str, Any], book: Book) -> tuple[str, ...]:
    """What has changed between a design and now, one sentence each."""
    reasons = []
    if then["engine"] != now["engine"]:
        reasons.append(f"Engine {then['engine']} made it; this is {now['engine']}.")
    elif then["kernel"] != now["kernel"]:
        reasons.append("The engine has been changed since.")
    if then["site"][3] != now["site"][3]:
        reasons.append("The survey or the needs of the site were changed after it.")
    if then["prices"] != now["prices"]:
        reasons.append("The workshop's prices were changed after it.")
    if then.get("stock", mark_of({})) != now["stock"]:
        reasons.append("What the workshop builds with was changed after it.")
    before, after = ({one[0]: one for one in side["twins"]} for side in (then, now))
    for number, (_, twin, name, _) in before.items():
        if number not in after:
            reasons.append(f"Build '{name}' has no twin any more.")
        elif after[number][1] != twin:
            reasons.append(f"Build '{name}' was fitted again after it.")
    reasons += [f"Build '{one[2]}' was fitted after it." for number, one in after.items() if number not in before]
    return tuple(reasons)
