"""Commands on a book: keep a backup, restore one, examine it, take a workbook in and give one out."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from clackwork.cli_frame import EXIT_FAILED, guarded, json_text, progress_bar, say, show_lines, write_text
from clackwork.errors import ClackworkError, InputError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from clackwork.book.doctor import Finding

book_app = typer.Typer(name="book", help="Take a workbook (TOML) into a book, or give one out.", no_args_is_help=True)

BookArgument = Annotated[
    str | None,
    typer.Argument(metavar="FOLDER", help="The book's folder, or its PostgreSQL address.", show_default=False),
]
Into = Annotated[
    str,
    typer.Option("--into", metavar="FOLDER", help="The book's folder, or its PostgreSQL address.", show_default=False),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print JSON.")]

_MARKS = {"good": "ok", "warning": "LOOK", "bad": "BAD"}


def add_commands(app: typer.Typer) -> None:
    """Put the commands on a book beside the others."""
    for command in (backup, restore, doctor):
        app.command()(command)
    app.add_typer(book_app)


def book_place(folder: str | None) -> str | Path:
    """The place given, or the one `clackwork serve` uses when none is."""
    if folder is not None:
        return folder
    from clackwork.web.settings import user_folder

    return user_folder() / "book"


def counted(counts: Mapping[str, int]) -> str:
    """Counts in words: "2 builds, 1 pump"."""
    return ", ".join(f"{count} {kind}{'' if count == 1 else 's'}" for kind, count in counts.items())


def warn_of(place: str | Path) -> None:
    """Say what speaks against the folder of a book that is about to be written."""
    from clackwork.book.folders import folder_warnings
    from clackwork.book.places import find_place

    folder = find_place(place).folder
    for one in folder_warnings(folder) if folder is not None else ():
        say(f"Caution: {one.words} {one.next_step}")


@guarded
def backup(
    folder: BookArgument = None,
    to: Annotated[
        Path | None, typer.Option("--to", metavar="FILE", help="A new file, or a folder.", show_default=False)
    ] = None,
) -> None:
    """Keep a whole book in one file; it may be in use meanwhile."""
    from clackwork.book.backup import make_backup

    with progress_bar("Packing") as progress:
        made = make_backup(book_place(folder), to, progress=progress)
    print(f"Wrote {made.path}: {counted(made.counts)}.")


@guarded
def restore(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A backup.", show_default=False)],
    into: Into,
    yes: Annotated[bool, typer.Option("--yes", help="Do it without asking.")] = False,
) -> None:
    """Say what restoring a backup would do; then, on yes, keep a backup of the present book and do it."""
    from clackwork.book.restoring import look_into
    from clackwork.book.restoring import restore as put_back

    plan = look_into(file, into)
    show_lines(list(plan.lines))
    warn_of(into)
    if not yes and not (sys.stdin.isatty() and typer.confirm("Restore it?")):
        say("Nothing was changed. Run it again with --yes to restore the backup.")
        raise typer.Exit(EXIT_FAILED)
    with progress_bar("Restoring") as progress:
        done = put_back(plan, progress=progress)
    if done.before is not None:
        print(f"Kept the book as it was in {done.before.path}.")
    for path in done.put_aside:
        print(f"Put aside {path}.")
    print(f"Restored {counted(plan.backup.counts)}.")


@guarded
def doctor(folder: BookArgument = None, as_json: JsonOption = False) -> None:
    """Examine a book: its folder, tables, journal, files, backups and versions. Changes nothing."""
    from clackwork.book.doctor import BAD, examine

    with progress_bar("Reading") as progress:
        found = examine(book_place(folder), progress=progress)
    if as_json:
        print(json_text({"format": "clackwork 1", "findings": [_finding_data(one) for one in found]}))
    else:
        show_lines([f"{_MARKS[one.level]:5}{one.key}: {one.words} {one.next_step}".rstrip() for one in found])
    if any(one.level == BAD for one in found):
        raise typer.Exit(EXIT_FAILED)


def _finding_data(finding: Finding) -> dict[str, str]:
    return {"key": finding.key, "level": finding.level, "words": finding.words, "next_step": finding.next_step}


@book_app.command()
@guarded
def take(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A workbook (TOML).", show_default=False)],
    into: Into,
    pump: Annotated[
        str | None, typer.Option("--pump", metavar="NAME", help="The pump its builds are of.", show_default=False)
    ] = None,
) -> None:
    """Take a workbook into a book; what is there word for word is left alone."""
    from clackwork.book import open_book
    from clackwork.workbook_reader import read_source

    text = read_source(file)
    warn_of(into)
    with open_book(into) as book:
        taken = book.take_workbook(text, pump_name=pump)
    counts: dict[str, int] = {}
    for one in taken.added:
        counts[one.kind] = counts.get(one.kind, 0) + 1
    there = f"; {len(taken.same)} were there already" if taken.same else ""
    print(f"Took {counted(counts) or 'nothing new'} into pump {taken.pump.name}{there}.")
    for what, name in taken.renamed.items():
        say(f"{what} is called '{name}' in the book: another has its name and says something else.")
    if taken.prices_left:
        say("The workbook's price list was left aside: the workshop has one of its own in the book, which stays.")
    if taken.stock_left:
        say("The workbook's stock was left aside: the workshop has one of its own in the book, which stays.")


@book_app.command()
@guarded
def give(
    folder: Annotated[
        str, typer.Argument(metavar="FOLDER", help="The book's folder, or its PostgreSQL address.", show_default=False)
    ],
    pump: Annotated[
        str, typer.Option("--pump", metavar="NAME", help="Whose builds, trials and runs.", show_default=False)
    ],
    to: Annotated[
        Path | None, typer.Option("--to", metavar="FILE", help="A new file; else it is printed.", show_default=False)
    ] = None,
) -> None:
    """Give out a pump's builds, trials and runs, with the rigs used and all sites, as a workbook (TOML)."""
    from clackwork.book import open_book
    from clackwork.workbook_reader import nearest

    if to is not None and to.exists():
        raise ClackworkError(f"{to} is there already; name a new file.")
    with open_book(folder) as book:
        found = book.find("pump", pump)
        if found is None:
            names = [one.name for one in book.list("pump").records]
            raise InputError("--pump", f'"{pump}"', "the book has no pump of that name", nearest(pump, names))
        text = book.give_workbook(found.id)
    if to is None:
        print(text, end="")
        return
    write_text(to, text)
    print(f"Wrote {to}.")
