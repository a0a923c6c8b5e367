"""``clackwork quick`` answers a call, ``clackwork design`` designs a surveyed site; both from a workbook or a book."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from clackwork.cli_frame import Paper, Units, guarded, json_text, progress_bar, say, show_lines
from clackwork.cli_papers import write_papers
from clackwork.errors import ClackworkError, InputError

if TYPE_CHECKING:
    from clackwork.site.stock import Stock
    from clackwork.site.survey import Survey
    from clackwork.twin.twin import Twin
    from clackwork.workbook import Workbook

Progress = Callable[[int, int], None]
FromArgument = Annotated[
    str | None,
    typer.Argument(
        metavar="FROM", help="A workbook (TOML), a book's folder or its PostgreSQL address.", show_default=False
    ),
]
UnitsOption = Annotated[Units | None, typer.Option("--units", help="Units of the answer.")]
JsonOption = Annotated[bool, typer.Option("--json", help="Print JSON, the unit in every key.")]
BuildOption = Annotated[str | None, typer.Option("--build", metavar="NAME", help="Only this build.")]


def _is_workbook(source: str | None) -> bool:
    """Whether a source is a workbook's file and not a book."""
    return source is not None and source.endswith(".toml")


def twins_from(source: str | None, build: str | None) -> tuple[list[Twin], Stock, str]:
    """Twins of a workbook, fitted now, or of a book, fitted before; its stock and its units.

    Raises
    ------
    ClackworkError
        There is none; the message says what to do first.
    """
    if source is not None and _is_workbook(source):
        from clackwork.workbook import load_workbook

        workbook = load_workbook(Path(source))
        return fitted_now(workbook, build), workbook.stock, workbook.units
    from clackwork.book import open_book
    from clackwork.shop.fitted import fitted_twins
    from clackwork.shop.workshop_prices import stock_of

    with open_book(book_at(source)) as book:
        twins = [one.twin for one in fitted_twins(book) if build is None or build in (one.name, one.build.name)]
        units = str(book.workshop().entered.get("units", "metric"))
        stock = stock_of(book)
    if not twins:
        raise InputError(
            "--build" if build else "FROM",
            build or "the book",
            "it has no fitted build",
            "Fit one on its page (clackwork serve), or give a workbook with runs.",
        )
    return twins, stock, units


def book_at(source: str | None) -> str | Path:
    """The place of a book that is there: given, else one's own.

    Raises
    ------
    InputError
        There is no book.
    """
    from clackwork.book.places import FILE_NAME, find_place
    from clackwork.cli_book import book_place

    place = book_place(source)
    folder = find_place(place).folder
    if folder is not None and not (folder / FILE_NAME).is_file():
        next_step = "Give a workbook (a file ending in .toml) or a book's folder; clackwork serve begins a book."
        raise InputError("FROM", place, "there is no book", next_step)
    return place


def fitted_now(workbook: Workbook, build: str | None) -> list[Twin]:
    """Twins of a workbook's builds that have runs.

    Raises
    ------
    ClackworkError
        No build has runs, or none could be fitted.
    """
    from clackwork.workbook import pick
    from clackwork.workbook_jobs import Done, fit_builds, names_with_runs

    names = list(pick(workbook.builds, build, "build")) if build else names_with_runs(workbook, workbook.builds)
    if not names:
        raise ClackworkError("No build of the workbook has runs to fit: write at least one table [[run]].")
    done = Done()
    with progress_bar("Fitting") as progress:
        fit_builds(workbook, names, done, progress)
    for failure in done.failures:
        say(failure)
    if not done.twins:
        raise ClackworkError("No build could be fitted.")
    return list(done.twins.values())


@guarded
def quick(
    source: FromArgument = None,
    fall: Annotated[str, typer.Option("--fall", metavar="HEIGHT", help='Source down to pump: "2 m".')] = "",
    flow: Annotated[str, typer.Option("--flow", metavar="FLOW", help='The source gives: "20 L/min".')] = "",
    lift_from_pump: Annotated[
        str, typer.Option("--lift-from-pump", metavar="HEIGHT", help="Outlet above the pump.")
    ] = "",
    lift_from_source: Annotated[
        str, typer.Option("--lift-from-source", metavar="HEIGHT", help="Outlet above the source.")
    ] = "",
    distance: Annotated[str, typer.Option("--distance", metavar="LENGTH", help="Of the delivery pipe.")] = "",
    wanted: Annotated[str, typer.Option("--wanted", metavar="FLOW", help='Wanted: "800 L/day".')] = "",
    to_source: Annotated[str, typer.Option("--to-source", metavar="LENGTH", help="Pump to source on the ground.")] = "",
    assume: Annotated[
        list[str] | None,
        typer.Option("--set", metavar="'NAME=VALUE'", help="Of what is assumed; the answer lists the names."),
    ] = None,
    build: BuildOption = None,
    units: UnitsOption = None,
    as_json: JsonOption = False,
) -> None:
    """Answer a call: yes, only if or no; litres a day, which pump and how many, what limits it, what was assumed."""
    from clackwork.answers_json import FORMAT
    from clackwork.quick_report import quick_json, quick_lines
    from clackwork.shop.quick import answer_typed, read_typed

    if bool(lift_from_pump) == bool(lift_from_source):
        given = "both" if lift_from_pump else "neither"
        raise InputError("--lift-from-pump and --lift-from-source", given, "give exactly one of them")
    texts = {"fall": fall, "flow": flow, "lift": lift_from_pump or lift_from_source, "distance": distance}
    texts |= {"wanted": wanted, "to_source": to_source} | _assumed(assume or [])
    lift_from = "pump" if lift_from_pump else "source"
    _refuse(read_typed(texts, lift_from, ()), lift_from)  # before a workbook is fitted
    twins, stock, own = twins_from(source, build)
    typed = read_typed(texts, lift_from, twins, stock)
    _refuse(typed, lift_from)
    system = units.value if units else own
    with progress_bar("Answering"):
        answer = answer_typed(typed, twins)
    assert answer is not None  # nothing is missing and nothing is wrong
    if as_json:
        data = {"quick": quick_json(typed, answer, system)}
        print(json_text({"format": FORMAT, "units": system, **data, "failures": []}))
    else:
        show_lines(quick_lines(typed, answer, system))


def _assumed(given: Sequence[str]) -> dict[str, str]:
    """What --set sets.

    Raises
    ------
    InputError
        No such name, or no value.
    """
    from clackwork.shop.quick import ASSUMPTIONS
    from clackwork.workbook_reader import nearest

    found = {}
    for one in given:
        name, _, value = (part.strip() for part in one.partition("="))
        if name not in ASSUMPTIONS or not value:
            raise InputError(
                "--set", one[:60], "it is NAME=VALUE, the name one of what is assumed", nearest(name, ASSUMPTIONS)
            )
        found[name] = value
    return found


def _refuse(typed: object, lift_from: str) -> None:
    """Raise what is wrong or missing, under the option's own name.

    Raises
    ------
    InputError
    """
    from clackwork.shop.quick import Typed

    assert isinstance(typed, Typed)
    names = {"lift": f"--lift-from-{lift_from}", "to_source": "--to-source"}
    names |= {key: f"--{key}" for key in ("fall", "flow", "distance", "wanted")}
    for key, error in typed.errors.items():
        raise InputError(names.get(key, f"--set {key}"), error.value, error.allowed, error.next_step)
    if typed.missing:
        raise InputError(names[typed.missing[0]], "(nothing)", "it is needed")


@guarded
def design(
    source: FromArgument = None,
    site: Annotated[str | None, typer.Option("--site", metavar="NAME", help="This site.")] = None,
    build: BuildOption = None,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="DIR", help="Write its papers (PDF) and drawing (SVG) there.")
    ] = None,
    choice: Annotated[int, typer.Option("--choice", help="The choice that is printed.", min=1)] = 1,
    paper: Annotated[Paper, typer.Option("--paper", help="Size of the papers.")] = Paper.a4,
    language: Annotated[str, typer.Option("--language", help="Of the papers: en, es.")] = "en",
    alternative: Annotated[
        list[str] | None,
        typer.Option(
            "--alternative",
            metavar="'NAME; FIRST COST; YEARLY; LIFE; WATER A DAY'",
            help="Another way to the water, to compare its cost with.",
        ),
    ] = None,
    draws: Annotated[int, typer.Option("--draws", help="Of each promise.", min=20, max=2000)] = 200,
    units: UnitsOption = None,
    as_json: JsonOption = False,
) -> None:
    """Design a surveyed site: pumps, tuning and pipes searched on the engine, a few choices with their reasons."""
    from clackwork.answers_json import FORMAT
    from clackwork.design_report import design_json, design_lines
    from clackwork.shop.designing import read_alternatives
    from clackwork.site.search import search_designs
    from clackwork.words import load_words

    others = read_alternatives("\n".join(alternative or []))
    load_words(language)  # an unknown one is refused before the work
    survey, workbook, load = _site_from(source, site)
    system = units.value if units else workbook.units
    twins = load(build)
    with progress_bar(f"Designing {survey.name}") as progress:
        found = search_designs(
            survey,
            twins,
            workbook.stock,
            prices=workbook.prices,
            alternatives=others,
            draws=draws,
            progress=progress,
        )
    written = [] if out is None else write_papers(workbook, twins, survey, found, choice, out, system, paper, language)
    if as_json:
        data = {"design": design_json(found, system)}
        print(json_text({"format": FORMAT, "units": system, **data, "failures": []}))
    else:
        show_lines(design_lines(found, system))
    for path in written:
        say(f"Wrote {path}.")


def _site_from(source: str | None, name: str | None) -> tuple[Survey, Workbook, Callable[[str | None], list[Twin]]]:
    """A site's survey, the workbook it stands in or the book as one, and what gives the twins.

    Raises
    ------
    InputError
        No such site.
    """
    from clackwork.workbook import pick

    if source is not None and _is_workbook(source):
        from clackwork.workbook import load_workbook

        workbook = load_workbook(Path(source))
        survey = _the_one(pick(workbook.surveys, name, "site"))
        return survey, workbook, lambda build: fitted_now(workbook, build)
    from clackwork.book import open_book

    with open_book(book_at(source)) as book:
        whole = book.workbook()
    survey = _the_one(pick(whole.surveys, name, "site"))
    return survey, whole, lambda build: twins_from(source, build)[0]


def _the_one(found: dict[str, Survey]) -> Survey:
    """The only site there is.

    Raises
    ------
    InputError
        None, or several and none was named.
    """
    if len(found) != 1:
        names = ", ".join(list(found)[:12]) or "it has none"
        raise InputError("--site", "(nothing)", f"name one of the sites: {names}")
    return next(iter(found.values()))
