"""``clackwork life`` and ``clackwork switch``: what the parts in service show, and whether to change to new ones."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import Annotated

import typer

from clackwork.cli_frame import EXIT_FAILED, Units, guarded, json_text, progress_bar, say, show_lines
from clackwork.cli_visits import day_asked
from clackwork.errors import ClackworkError

File = Annotated[Path, typer.Argument(metavar="FILE", help="A workbook (TOML).", show_default=False)]
UnitsOption = Annotated[Units | None, typer.Option("--units", help="Units of the answer; else the workbook's own.")]
JsonOption = Annotated[bool, typer.Option("--json", help="Print JSON, the unit in every key.")]
OnOption = Annotated[str | None, typer.Option("--on", metavar="DATE", help="As on this day; else today.")]


@guarded
def life(
    file: File,
    part: Annotated[str | None, typer.Option("--part", metavar="PART", help="Only this part.")] = None,
    on: OnOption = None,
    units: UnitsOption = None,
    as_json: JsonOption = False,
) -> None:
    """Show what the parts in service have lasted, and what that shows at 90 %: in months, and by wear."""
    from clackwork.answers_json import FORMAT
    from clackwork.life_report import life_groups, life_json, life_lines
    from clackwork.workbook import load_workbook

    workbook = load_workbook(file)
    system = units.value if units else workbook.units
    groups = life_groups(workbook, part, day_asked(on))
    if as_json:
        print(
            json_text(
                {"format": FORMAT, "units": system, "parts": [life_json(one, system) for one in groups], "failures": []}
            )
        )
    else:
        show_lines([line for one in groups for line in life_lines(one, system)])


@guarded
def switch(
    file: File,
    name: Annotated[str | None, typer.Option("--name", metavar="NAME", help="This [switch.NAME].")] = None,
    draws: Annotated[int, typer.Option("--draws", min=20, max=1000, help="Cases drawn at each place.")] = 100,
    on: OnOption = None,
    units: UnitsOption = None,
    as_json: JsonOption = False,
) -> None:
    """Judge whether to switch to a new build: over all sites, by size, with lives, warranty, spares and what to measure."""
    from clackwork.answers_json import FORMAT
    from clackwork.switch_job import builds_needed, study_of_workbook
    from clackwork.switch_report import switch_json, switch_lines
    from clackwork.workbook import load_workbook, pick
    from clackwork.workbook_jobs import Done, attempt, fit_builds

    today = day_asked(on)
    workbook = load_workbook(file)
    system = units.value if units else workbook.units
    asked = pick(workbook.switches, name, "switch")
    if not asked:
        raise ClackworkError("The workbook has no switch to study: write a table [switch.NAME].")
    currency = workbook.prices.currency if workbook.prices else ""
    done = Done()
    found = []
    for study in asked.values():
        needed = builds_needed(workbook, study)
        with progress_bar("Fitting") as progress:
            fit_builds(workbook, needed, done, progress)
        if any(build not in done.twins for build in needed):
            continue
        with progress_bar("Drawing sites") as progress:
            work = partial(study_of_workbook, workbook, study, done.twins, today=today, draws=draws, progress=progress)
            result = attempt(done, f"Switch {study.name}", work)
        if result is not None:
            found.append((study, result))
    if as_json:
        data = [switch_json(result, study, currency, system) for study, result in found]
        print(json_text({"format": FORMAT, "units": system, "switches": data, "failures": done.failures}))
    else:
        for study, result in found:
            show_lines([f"{study.name}:", *switch_lines(result, study, currency, system)])
    for failure in done.failures:
        say(failure)
    if done.failures:
        raise typer.Exit(EXIT_FAILED)
