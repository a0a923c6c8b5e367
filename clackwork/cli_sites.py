"""Commands on places: take them from a table by the hundred, list those of a book or a workbook."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from clackwork.cli_book import BookArgument, Into, book_place, counted, warn_of
from clackwork.cli_frame import Units, guarded, json_text, say, show_lines
from clackwork.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from clackwork.shop.readings import Choices
    from clackwork.workbook import Workbook

sites_app = typer.Typer(name="sites", help="Take places into a book from a table, or list them.", no_args_is_help=True)

_ERRORS_SHOWN = 20


@sites_app.command()
@guarded
def take(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A table of places (CSV, XLSX).", show_default=False)],
    into: Into,
    column: Annotated[
        list[str] | None,
        typer.Option("--column", metavar="'HEADER=FIELD'", help="What a column is; nothing after = leaves it out."),
    ] = None,
    unit: Annotated[
        list[str] | None, typer.Option("--unit", metavar="'HEADER=UNIT'", help="The unit of a column's figures.")
    ] = None,
    answer: Annotated[
        list[str] | None, typer.Option("--answer", metavar="'KEY=ANSWER'", help="To a question that was asked.")
    ] = None,
    only_good: Annotated[bool, typer.Option("--only-good", help="Leave out rows with an error.")] = False,
    look: Annotated[bool, typer.Option("--look", help="Only say what would be taken.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
) -> None:
    """Take a table of places into a book, one a row; what is there word for word is left alone."""
    from clackwork.book import open_book
    from clackwork.shop.site_tables import look_at_sites, take_site_table

    raw = _bytes_of(file)
    choices = _choices(column or [], unit or [], answer or [])
    warn_of(into)
    with open_book(into) as book:
        seen = look_at_sites(book, raw, file.name, choices)
        if look and as_json:
            print(json_text({"format": "clackwork 1", **seen}))
            return
        for line in _seen_lines(seen):
            say(line)
        if look:
            return
        taken = take_site_table(book, raw, file.name, choices, only_good=only_good)
    if as_json:
        names = [one.name for one in taken.sites]
        print(json_text({"format": "clackwork 1", "taken": names, "there": list(taken.same)}))
        return
    there = f"; {len(taken.same)} were there already" if taken.same else ""
    print(f"Took {counted({'site': len(taken.sites)}) if taken.sites else 'nothing new'}{there}.")


def _bytes_of(file: Path) -> bytes:
    """At most one byte more than is read."""
    from clackwork.book.raw_table import MOST_BYTES

    try:
        with file.open("rb") as stream:
            return stream.read(MOST_BYTES + 1)
    except OSError as error:
        raise InputError("FILE", file, f"it cannot be read: {error.strerror or error}", "Check its name.") from error


def _choices(columns: list[str], units: list[str], answers: list[str]) -> Choices:
    """What was chosen by options, as a page would send it."""
    from clackwork.book.run_columns import ColumnUse
    from clackwork.shop.readings import Choices

    fields, given = _pairs("--column", columns), _pairs("--unit", units)
    uses = {header: ColumnUse(header, field, given.get(header, "")) for header, field in fields.items()}
    told = {f"unit:{header}": text for header, text in given.items() if header not in uses}
    return Choices(columns=uses, answers={**_pairs("--answer", answers), **told})


def _pairs(option: str, texts: list[str]) -> dict[str, str]:
    found = {}
    for text in texts:
        before, mark, after = text.rpartition("=")
        if not mark:
            raise InputError(option, f'"{text}"', "it needs an = between the two", 'Such as "Fall=fall".')
        found[before.strip()] = after.strip()
    return found


def _seen_lines(seen: Mapping[str, Any]) -> list[str]:
    """What was seen in a file, for the error stream."""
    lines = [f"{one['header']}: {one['field'] or 'not read'} {one['unit']}".rstrip() for one in seen["columns"]]
    lines += list(seen["notes"])
    for question in seen["questions"]:
        choices = ", ".join(one["answer"] for one in question["choices"])
        key = question["key"]
        option = f"--unit '{key[5:]}=...'" if key.startswith("unit:") else f"--answer '{key}=...'"
        lines.append(f"{question['words']} One of {choices}: {option}.")
    errors = [error["sentence"] for row in seen["rows"] for error in row["errors"]]
    lines += errors[:_ERRORS_SHOWN]
    if len(errors) > _ERRORS_SHOWN:
        lines.append(f"And {len(errors) - _ERRORS_SHOWN} more errors.")
    if seen["refused"]:
        lines.append(seen["refused"])
    lines.append(f"{seen['rows_new']} new, {seen['rows_there']} there already, {seen['rows_bad']} with an error.")
    return lines


@sites_app.command("list")
@guarded
def list_sites(
    where: BookArgument = None,
    units: Annotated[Units | None, typer.Option("--units", help="Of the answer.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
) -> None:
    """List the places of a book, or of a workbook: fall, lift, source, length of line, designed or not."""
    from clackwork.site_list import site_json, site_lines

    workbook = _workbook_at(where)
    system = units.value if units else workbook.units
    if as_json:
        print(json_text({"format": "clackwork 1", "units": system, "sites": site_json(workbook, system)}))
        return
    show_lines(site_lines(workbook, system) or ["No places yet: clackwork sites take FILE --into FOLDER."])


def _workbook_at(where: str | None) -> Workbook:
    """The workbook in a file, or that of a whole book."""
    from clackwork.workbook import load_workbook

    if where is not None and Path(where).is_file():
        return load_workbook(Path(where))
    from clackwork.book import open_book

    with open_book(book_place(where)) as book:
        return book.workbook(None)
