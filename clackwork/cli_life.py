"""``clackwork life``, ``endurance`` and ``switch``: what parts show, how to show a life, whether to change to new ones."""

from __future__ import annotations

import datetime
from collections.abc import Collection
from functools import partial
from pathlib import Path
from typing import Annotated

import typer

from clackwork.cli_frame import EXIT_FAILED, Units, guarded, json_text, progress_bar, say, show_lines
from clackwork.cli_visits import day_asked
from clackwork.errors import ClackworkError, InputError

File = Annotated[Path, typer.Argument(metavar="FILE", help="A workbook (TOML).", show_default=False)]
UnitsOption = Annotated[Units | None, typer.Option("--units", help="Units of the answer; else the workbook's own.")]
JsonOption = Annotated[bool, typer.Option("--json", help="Print JSON, the unit in every key.")]
OnOption = Annotated[str | None, typer.Option("--on", metavar="DATE", help="As on this day; else today.")]


@guarded
def life(
    file: File,
    part: Annotated[str | None, typer.Option("--part", metavar="PART", help="Only this part.")] = None,
    on: OnOption = None,
    risk: Annotated[float, typer.Option("--risk", help="Of running out of spares within twelve months.")] = 0.05,
    units: UnitsOption = None,
    as_json: JsonOption = False,
) -> None:
    """Show what parts have lasted, what that shows at 90 %, and the service and spares of those that run on at sites."""
    from clackwork.answers_json import FORMAT
    from clackwork.life.stocking import stock_of_parts
    from clackwork.life_rates import engine_rates, parts_of_workbook
    from clackwork.life_report import life_groups, life_json, life_lines
    from clackwork.stock_report import stock_json, stock_lines
    from clackwork.workbook import load_workbook

    workbook = load_workbook(file)
    system = units.value if units else workbook.units
    today = day_asked(on)
    groups = life_groups(workbook, part, today, engine_rates(workbook, workbook.parts))
    stock = stock_of_parts(
        [one for one in parts_of_workbook(workbook, {}) if part in (None, one.part.part)], today, risk=risk
    )
    if as_json:
        data = {"parts": [life_json(one, system) for one in groups], "service": stock_json(stock, system)}
        print(json_text({"format": FORMAT, "units": system, **data, "failures": []}))
    else:
        show_lines([*(line for one in groups for line in life_lines(one, system)), *stock_lines(stock, system)])


@guarded
def endurance(
    file: File,
    site: Annotated[str, typer.Option("--site", metavar="NAME", help="Where the life is to hold.")],
    build: Annotated[str | None, typer.Option("--build", metavar="NAME", help="Else the only one.")] = None,
    rig: Annotated[
        str | None, typer.Option("--rig", metavar="NAME", help="Where parts run; else where it ran most.")
    ] = None,
    part: Annotated[str | None, typer.Option("--part", metavar="PART", help='Such as "waste_rubber".')] = None,
    material: Annotated[str | None, typer.Option("--material", metavar="MATERIAL", help="What it is made of.")] = None,
    months: Annotated[float | None, typer.Option("--months", help="Life to be shown, of running at the site.")] = None,
    beats: Annotated[float | None, typer.Option("--beats", help="Life to be shown, in place of months.")] = None,
    fall: Annotated[
        list[str] | None,
        typer.Option("--fall", metavar="FALL", help="At the rig; may be repeated. Else its own, x 1.5, x 2."),
    ] = None,
    reliability: Annotated[float, typer.Option("--reliability", help="Share of parts that is to last so long.")] = 0.9,
    confidence: Annotated[float, typer.Option("--confidence", help="How sure it is to be.")] = 0.9,
    shape: Annotated[float, typer.Option("--shape", help="Of the life: 1 is chance, 2 to 4 usual of wear.")] = 1.0,
    exponent: Annotated[
        tuple[float, float] | None,
        typer.Option("--exponent", metavar="LOW HIGH", help="Of stress; else prior and records."),
    ] = None,
    most_parts: Annotated[int, typer.Option("--most-parts", help="Parts that can be had.")] = 8,
    units: UnitsOption = None,
    as_json: JsonOption = False,
) -> None:
    """Plan an endurance test: how many parts, how many beats, at which fall, to show a life, and how long that takes."""
    from clackwork.answers_json import FORMAT
    from clackwork.endurance_job import (
        EnduranceAsked,
        check_names,
        kinds_seen,
        plan_of_workbook,
        records_for,
        rigs_used,
    )
    from clackwork.endurance_report import endurance_json, endurance_lines
    from clackwork.quantities import parse
    from clackwork.workbook import load_workbook
    from clackwork.workbook_jobs import Done, fit_builds

    workbook = load_workbook(file)
    system = units.value if units else workbook.units
    chosen = only("--build", build, workbook.builds)
    seen = kinds_seen(workbook, chosen)
    asked = EnduranceAsked(
        build=chosen,
        part=part or only("--part", None, dict.fromkeys(one for one, _ in seen)),
        material=material or only("--material", None, dict.fromkeys(one for _, one in seen)),
        site=site,
        rig=rig or only("--rig", None, rigs_used(workbook, chosen)[:1]),
        months=12.0 if months is None and beats is None else months,
        beats=beats,
        falls=tuple(parse(one, "head", field="--fall").value for one in fall or ()),
        reliability=reliability,
        level=confidence,
        shape=shape,
        exponents=exponent,
        most_parts=most_parts,
    )
    check_names(workbook, asked)
    done = Done()
    needed = dict.fromkeys([chosen, *(one.build for one in records_for(workbook, asked.part, asked.material))])
    with progress_bar("Fitting") as progress:
        fit_builds(workbook, needed, done, progress)
    if chosen not in done.twins:
        raise ClackworkError(" ".join(done.failures))
    plan = plan_of_workbook(workbook, asked, done.twins, today=datetime.date.today())
    if as_json:
        print(json_text({"format": FORMAT, "units": system, **endurance_json(plan, system), "failures": done.failures}))
    else:
        show_lines(endurance_lines(plan, system))
    for failure in done.failures:
        say(failure)
    if done.failures:
        raise typer.Exit(EXIT_FAILED)


def only(flag: str, given: str | None, known: Collection[str]) -> str:
    """What was named, else the only one there is.

    Raises
    ------
    InputError
        None was named, and there is none or more than one.
    """
    if given is None and len(known) == 1:
        return next(iter(known))
    if given is None:
        allowed = f"it must be one of {', '.join(known)}" if known else "there is none in the workbook to take it from"
        raise InputError(flag, "(nothing)", allowed)
    return given


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
    from clackwork.switch_job import builds_needed, study_of_workbook, with_spread
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
    for study in (with_spread(workbook, one) for one in asked.values()):
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
