"""The command line: every command parses, calls the jobs, and shows the answer first."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from clackwork.cli_book import add_commands
from clackwork.cli_design import design, quick
from clackwork.cli_frame import (
    EXIT_FAILED,
    Paper,
    Units,
    guarded,
    json_text,
    progress_bar,
    say,
    show_lines,
    write_text,
)
from clackwork.cli_life import endurance, life, switch
from clackwork.cli_sites import sites_app
from clackwork.cli_tune import tune
from clackwork.cli_visits import due, visits
from clackwork.errors import ClackworkError

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from clackwork.sheets.promise_sheet import Trace
    from clackwork.workbook import Workbook
    from clackwork.workbook_jobs import Done

app = typer.Typer(
    name="clackwork",
    help="Bench readings of a hydraulic ram pump, carried to every site.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)

File = Annotated[Path, typer.Argument(metavar="FILE", help="A workbook (TOML).", show_default=False)]
UnitsOption = Annotated[Units | None, typer.Option("--units", help="Units of the answer; else the workbook's own.")]
JsonOption = Annotated[bool, typer.Option("--json", help="Print JSON, the unit in every key.")]
BuildOption = Annotated[str | None, typer.Option("--build", metavar="NAME", help="Only this build.")]
SiteOption = Annotated[str | None, typer.Option("--site", metavar="NAME", help="Only this site.")]
HeadOption = Annotated[str | None, typer.Option("--head", metavar="HEAD", help='Held in the vessel, such as "12 m".')]
TraceOption = Annotated[Path | None, typer.Option("--trace", metavar="CSV", help="Write the first seconds as CSV.")]
OutOption = Annotated[Path, typer.Option("--out", metavar="DIR", help="Folder for what is written.")]
PaperOption = Annotated[Paper, typer.Option("--paper", help="Size of the sheets.")]
PapersOption = Annotated[
    list[str] | None,
    typer.Option(
        "--papers",
        metavar="KIND",
        help="Of every surveyed site, designed now: all, proposal, materials, installation, care, as-built, drawing.",
    ),
]


def _open(file: Path, units: Units | None) -> tuple[Workbook, str]:
    """The workbook, and the units to answer in."""
    from clackwork.workbook import load_workbook

    workbook = load_workbook(file)
    return workbook, units.value if units else workbook.units


def _show(done: Done, lines: list[str], data: dict[str, Any], units: str, as_json: bool) -> None:
    """Print an answer in either form, then what could not be done; failures end with code 2."""
    from clackwork.answers_json import FORMAT

    if as_json:
        print(json_text({"format": FORMAT, "units": units, **data, "failures": done.failures}))
    else:
        show_lines(lines)
    for failure in done.failures:
        say(failure)
    if done.failures:
        raise typer.Exit(EXIT_FAILED)


@app.command()
@guarded
def judge(
    file: File,
    trial: Annotated[str | None, typer.Option("--trial", metavar="NAME", help="Only this trial.")] = None,
    units: UnitsOption = None,
    as_json: JsonOption = False,
) -> None:
    """Say of each trial: different, the same within the margin, or not yet known."""
    from clackwork.workbook import pick
    from clackwork.workbook_jobs import Done, judge_trials
    from clackwork.workbook_trials import judgement_json, judgement_lines

    workbook, system = _open(file, units)
    chosen = pick(workbook.trials, trial, "trial")
    if not chosen:
        raise ClackworkError("The workbook has no trial to judge: write a table [trial.NAME].")
    done = Done()
    judge_trials(workbook, chosen, done)
    data = {"judgements": [judgement_json(workbook.trials[n], j, system) for n, j in done.judgements.items()]}
    lines = [line for n, j in done.judgements.items() for line in judgement_lines(workbook.trials[n], j, system)]
    _show(done, lines, data, system, as_json)


def _builds(workbook: Workbook, build: str | None) -> list[str]:
    """The build asked for, or all that have runs."""
    from clackwork.workbook import pick
    from clackwork.workbook_jobs import names_with_runs

    chosen = list(pick(workbook.builds, build, "build")) if build else names_with_runs(workbook, workbook.builds)
    if not chosen:
        raise ClackworkError("No build of the workbook has runs to fit: write at least one table [[run]].")
    return chosen


@app.command()
@guarded
def twin(file: File, build: BuildOption = None, units: UnitsOption = None, as_json: JsonOption = False) -> None:
    """Fit each build to its runs and say what they pinned down."""
    from clackwork.answers_json import twin_json
    from clackwork.answers_text import twin_lines
    from clackwork.workbook_jobs import Done, fit_builds

    workbook, system = _open(file, units)
    done = Done()
    with progress_bar("Fitting") as progress:
        fit_builds(workbook, _builds(workbook, build), done, progress)
    data = {"twins": [twin_json(one, system) for one in done.twins.values()]}
    lines = [line for one in done.twins.values() for line in twin_lines(one, system)]
    _show(done, lines, data, system, as_json)


@app.command()
@guarded
def promise(
    file: File,
    site: SiteOption = None,
    build: BuildOption = None,
    units: UnitsOption = None,
    as_json: JsonOption = False,
) -> None:
    """Promise what each build will do at each site: yes, only if, or no, and why."""
    from clackwork.answers_json import promise_json
    from clackwork.answers_text import all_promise_lines
    from clackwork.workbook import pick_sites
    from clackwork.workbook_jobs import Done, fit_builds, promise_sites

    workbook, system = _open(file, units)
    sites = pick_sites(workbook, site)
    if not sites:
        raise ClackworkError("The workbook has no designed site to promise at: write a table [site.NAME].")
    done = Done()
    with progress_bar("Fitting") as progress:
        fit_builds(workbook, _builds(workbook, build), done, progress)
    with progress_bar("Promising") as progress:
        promise_sites(workbook, sites, done, progress)
    for place in workbook.surveys if site is None else ():
        if place not in sites:
            say(f"{place} is surveyed and not designed yet: clackwork design finds its pipes and pump.")
    data = {"promises": [promise_json(one, system) for one in done.promises.values()]}
    lines = all_promise_lines(done.promises.values(), system)
    _show(done, lines, data, system, as_json)


@app.command()
@guarded
def beat(
    file: File,
    build: BuildOption = None,
    rig: Annotated[str | None, typer.Option("--rig", metavar="NAME", help="On this rig.")] = None,
    site: Annotated[str | None, typer.Option("--site", metavar="NAME", help="At this site.")] = None,
    head: HeadOption = None,
    trace: TraceOption = None,
    units: UnitsOption = None,
    as_json: JsonOption = False,
) -> None:
    """Run one build, as described and not fitted, until its beats settle."""
    from clackwork.answers_json import beat_json
    from clackwork.answers_text import beat_lines
    from clackwork.beat_case import beat_case, source_of, trace_csv
    from clackwork.beat_report import report_json, report_lines, source_json, source_lines
    from clackwork.ram.engine import run_trace
    from clackwork.ram.source import run_limited
    from clackwork.workbook_jobs import Done

    workbook, system = _open(file, units)
    case, title = beat_case(workbook, build, rig, site, head)
    with progress_bar("Beating"):
        source_flow, submergence = source_of(workbook, rig, site)
        limited = run_limited(case, source_flow, submergence)
        result = limited.result
        if trace is not None:
            at_level = case.supply.at_level(case.supply.fall - limited.drawdown)
            write_text(trace, trace_csv(run_trace(replace(case, supply=at_level))[1], system))
    data = {"build": case.build.name, "place": title, "beat": beat_json(result, system)}
    data |= source_json(limited, source_flow, system) | report_json(case, result, system)
    lines = beat_lines(result, title, system) + source_lines(limited, source_flow, system)
    _show(Done(), lines + report_lines(case, result), data, system, as_json)
    if trace is not None:
        say(f"Wrote {trace}.")


app.command()(tune)
app.command()(quick)
app.command()(design)
app.command()(visits)
app.command()(due)
app.command()(life)
app.command()(endurance)
app.command()(switch)


@app.command()
@guarded
def sheet(
    file: File,
    out: OutOption,
    paper: PaperOption = Paper.a4,
    papers: PapersOption = None,
    language: Annotated[str, typer.Option("--language", help="Of the papers of sites: en, es.")] = "en",
    units: UnitsOption = None,
    as_json: JsonOption = False,
) -> None:
    """Judge, fit and promise a workbook and write its sheets; with --papers design its sites and print them as well."""
    from clackwork.cli_papers import design_papers, kinds_asked
    from clackwork.words import load_words

    load_words(language)  # an unknown one, or an unknown paper, is refused before the work
    kinds = kinds_asked(papers or [])
    workbook, system = _open(file, units)
    if kinds and not workbook.surveys:
        raise ClackworkError("The workbook has no site to print papers of: write a table [site.NAME].")

    def of_sites(done: Done) -> list[Path]:
        return design_papers(workbook, done, kinds, out, system, paper, language) if kinds else []

    _do_all(workbook, system, out, paper.value, as_json, of_sites)


@app.command()
@guarded
def demo(
    out: OutOption = Path("out"),
    paper: PaperOption = Paper.a4,
    units: UnitsOption = None,
    as_json: JsonOption = False,
) -> None:
    """Work through an invented workshop: judge, fit, promise, print; and say what to do next."""
    from importlib.resources import files

    from clackwork.workbook import load_workbook

    text = (files("clackwork") / "demo" / "workshop.toml").read_text(encoding="utf-8")
    workbook = load_workbook(text)
    write_text(out / "workshop.toml", text)
    _do_all(workbook, units.value if units else workbook.units, out, paper.value, as_json)
    copy = out / "workshop.toml"
    say(
        f"All of it is invented. Next: open the sheets in {out}; change {copy} into your own workbook; "
        f'then run clackwork promise "{copy}".'
    )


@app.command()
@guarded
def serve(
    folder: Annotated[
        str | None, typer.Argument(metavar="FOLDER", help="Where the book is kept; else your own.", show_default=False)
    ] = None,
    host: Annotated[
        str, typer.Option("--host", metavar="ADDRESS", help="Address to share on.", show_default=False)
    ] = "",
    port: Annotated[int, typer.Option("--port", help="Port; another when it is taken.")] = 8765,
    share: Annotated[bool, typer.Option("--share", help="Let paired devices on the local network in.")] = False,
    browser: Annotated[bool, typer.Option("--browser", help="Show the page at once.")] = False,
) -> None:
    """Open the page: pumps, bench and book, for this machine and, shared, for a phone at the bench."""
    from clackwork.web.serve import serve as run
    from clackwork.web.settings import settings_for

    run(settings_for(folder, host=host, port=port), share=share, open_browser=browser)


def _do_all(
    workbook: Workbook,
    system: str,
    out: Path,
    paper: str,
    as_json: bool,
    more: Callable[[Done], list[Path]] | None = None,
) -> None:
    """Every job of a workbook; each result is written as soon as it is there."""
    from clackwork.workbook_jobs import Done, beat_traces, fit_builds, judge_trials, names_with_runs, promise_sites
    from clackwork.workbook_results import all_json, all_lines, write_results

    done = Done()
    try:
        judge_trials(workbook, workbook.trials, done)
        with progress_bar("Fitting") as progress:
            fit_builds(workbook, names_with_runs(workbook, workbook.builds), done, progress)
        with progress_bar("Promising") as progress:
            promise_sites(workbook, workbook.sites, done, progress)
    finally:
        written = write_results(workbook, done, out, system)
    with progress_bar("Tracing") as progress:
        traces = beat_traces(workbook, done, progress)
    with progress_bar("Printing"):
        written += _sheets(workbook, done, traces, out, system, paper)
    if more is not None:
        written += more(done)
    for path in written:
        say(f"Wrote {path}.")
    _show(done, all_lines(workbook, done, system), all_json(workbook, done, system), system, as_json)


def _sheets(
    workbook: Workbook, done: Done, traces: Mapping[str, Trace], out: Path, system: str, paper: str
) -> list[Path]:
    """The sheets and charts of all that was worked out."""
    import datetime

    from clackwork.sheets import write_sheets

    return write_sheets(
        workbook,
        done.judgements,
        done.twins,
        done.promises,
        out,
        units=system,
        paper="us-letter" if paper == "letter" else paper,
        date=datetime.date.today(),
        traces=traces,
    )


add_commands(app)
app.add_typer(sites_app)


def main() -> int:
    """Run the command line; the code to exit with."""
    app()
    return 0
