"""``clackwork visits`` and ``clackwork due``: what was read where pumps stand, and what is to be done there."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from clackwork.cli_frame import EXIT_FAILED, Units, guarded, json_text, progress_bar, say, show_lines
from clackwork.errors import ClackworkError, InputError

if TYPE_CHECKING:
    from clackwork.book import Book
    from clackwork.shop.visits import Comparison
    from clackwork.site.due import Due
    from clackwork.site.visit import Visit
    from clackwork.twin.twin import Twin
    from clackwork.workbook import Workbook

Where = Annotated[
    str,
    typer.Argument(metavar="FILE", help="A workbook (TOML), or a book: its folder or address.", show_default=False),
]
SiteOption = Annotated[str | None, typer.Option("--site", metavar="NAME", help="Only this site.")]
UnitsOption = Annotated[Units | None, typer.Option("--units", help="Units of the answer; else the workbook's own.")]
JsonOption = Annotated[bool, typer.Option("--json", help="Print JSON, the unit in every key.")]


@dataclass(frozen=True)
class _Found:
    """Visits with their comparisons, what is due, and the units to answer in."""

    visits: list[tuple[Visit, Comparison]]
    due: list[Due]
    units: str


@guarded
def visits(where: Where, site: SiteOption = None, units: UnitsOption = None, as_json: JsonOption = False) -> None:
    """Hold every visit's readings against the promise of its day, and say why they differ."""
    from clackwork.visits_report import comparison_lines, visit_json

    found = _find(where, site, None, 0, with_due=False)
    system = units.value if units else found.units
    if not found.visits:
        raise ClackworkError("There is no visit: write a table [[visit]], or enter one on the page of the site.")
    if as_json:
        _print_json(system, visits=[visit_json(visit, made, system) for visit, made in found.visits])
    else:
        show_lines([line for visit, made in found.visits for line in comparison_lines(visit, made, system)])
    failed = [visit for visit, made in found.visits if made.why_not and not visit.readings.is_empty]
    for visit in failed:
        say(f"Visit '{visit.name}' was not compared.")
    if failed:
        raise typer.Exit(EXIT_FAILED)


@guarded
def due(
    where: Where,
    site: SiteOption = None,
    on: Annotated[str | None, typer.Option("--on", metavar="DATE", help="As on this day; else today.")] = None,
    ahead: Annotated[int, typer.Option("--ahead", metavar="DAYS", help="Days ahead.", min=0, max=3650)] = 30,
    units: UnitsOption = None,
    as_json: JsonOption = False,
) -> None:
    """List what is due where pumps stand, the most urgent first."""
    from clackwork.visits_report import due_json, due_lines

    found = _find(where, site, on, ahead, with_due=True)
    system = units.value if units else found.units
    if as_json:
        _print_json(system, due=[due_json(one, system) for one in found.due])
    else:
        show_lines(due_lines(found.due, system))


def _print_json(system: str, **data: Any) -> None:
    from clackwork.answers_json import FORMAT

    print(json_text({"format": FORMAT, "units": system, **data, "failures": []}))


def day_asked(text: str | None) -> datetime.date:
    """The day asked for; today when none was."""
    if text is None:
        return datetime.date.today()
    try:
        return datetime.date.fromisoformat(text)
    except ValueError:
        raise InputError("--on", f'"{text}"', "it must be a day written year-month-day, such as 2026-05-03") from None


def _find(where: str, site: str | None, on: str | None, ahead: int, *, with_due: bool) -> _Found:
    """Everything out of a workbook or a book."""
    from clackwork.workbook import load_workbook

    today = day_asked(on)
    if Path(where).is_file():
        return _in_workbook(load_workbook(Path(where)), site, today, ahead, with_due)
    if "://" not in where and not Path(where).is_dir():
        raise ClackworkError(f"There is no workbook and no book {where}; check the name and the folder.")
    from clackwork.book import open_book

    with open_book(where) as book:
        return _in_book(book, site, today, ahead, with_due)


def _in_workbook(workbook: Workbook, site: str | None, today: datetime.date, ahead: int, with_due: bool) -> _Found:
    """A workbook's: twins are fitted for it, as nothing is kept between commands."""
    from clackwork.life_rates import counted_rates, dates_of_workbook
    from clackwork.shop.sites_due import part_due
    from clackwork.site.due import Place, what_is_due
    from clackwork.workbook import pick

    names = list(pick(workbook.surveys, site, "site"))
    chosen = [visit for visit in workbook.visits if visit.site in names]
    compared, twins = _compared(workbook, chosen)
    made = list(zip(chosen, compared, strict=True))
    places, counted = [], counted_rates(workbook.visits)
    dates = dates_of_workbook(workbook, twins, today) if with_due else {}
    for name in names if with_due else ():
        here = [(visit, one) for visit, one in made if visit.site == name]
        promised = [one.beat_rate for _, one in here if one.beat_rate]
        beat_rate = counted.get(name) or (promised[-1] if promised else None)
        out = tuple(visit.name for visit, one in here if not one.is_in)
        visited = tuple(visit for visit, _ in here)
        parts = tuple(part_due(one) for one in dates.get(name, ()))
        places.append(Place(name, workbook.as_built.get(name), visited, beat_rate, out, parts=parts))
    due = what_is_due(places, today, care=workbook.care, ahead=ahead)
    return _Found(made, list(due), workbook.units)


def _compared(workbook: Workbook, chosen: list[Visit]) -> tuple[list[Comparison], dict[str, Twin]]:
    """The comparison of each visit of a workbook, by twins fitted now, and these twins."""
    from clackwork.shop.visits import compare_visit
    from clackwork.workbook_jobs import Done, fit_builds

    done = Done()
    standing = workbook.as_built
    builds = [visit.build or (standing[visit.site].build if visit.site in standing else "") for visit in chosen]
    with progress_bar("Fitting") as progress:
        fit_builds(workbook, dict.fromkeys(name for name in builds if name in workbook.builds), done, progress)
    for failure in done.failures:
        say(failure)
    found = []
    with progress_bar("Comparing") as progress:
        for place, (visit, build) in enumerate(zip(chosen, builds, strict=True), start=1):
            site = workbook.sites.get(visit.site)
            found.append(compare_visit(visit, site, standing.get(visit.site), build, done.twins.get(build)))
            progress(place, len(chosen))
    return found, done.twins


def _in_book(book: Book, site: str | None, today: datetime.date, ahead: int, with_due: bool) -> _Found:
    """A book's, by the twins kept in it."""
    from clackwork.shop.all_records import all_records
    from clackwork.shop.sites_due import sites_due
    from clackwork.shop.visits import comparison_of, find_visit
    from clackwork.workbook_reader import nearest

    units = str(book.workshop().entered.get("units", "metric"))
    chosen = None
    if site is not None:
        chosen = book.find("site", site)
        if chosen is None:
            names = [one.name for one in all_records(book, "site")]
            raise InputError("--site", f'"{site}"', "the book has no site of that name", nearest(site, names))
    number = chosen.id if chosen else None
    if with_due:
        return _Found([], [one.due for one in sites_due(book, today, site_id=number, ahead=ahead)], units)
    made = []
    records = list(all_records(book, "visit", {"site": number} if number else None))
    with progress_bar("Comparing") as progress:
        for place, record in enumerate(records, start=1):
            made.append((find_visit(book, record.id).visit, comparison_of(book, record.id)))
            progress(place, len(records))
    return _Found(made, [], units)
