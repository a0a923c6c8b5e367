"""``clackwork tune``: the stroke and moving mass that serve a place best."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from clackwork.cli_frame import EXIT_FAILED, Units, guarded, json_text, progress_bar, say, show_lines


@guarded
def tune(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A workbook (TOML).", show_default=False)],
    build: Annotated[str | None, typer.Option("--build", metavar="NAME", help="This build.")] = None,
    rig: Annotated[str | None, typer.Option("--rig", metavar="NAME", help="On this rig.")] = None,
    site: Annotated[str | None, typer.Option("--site", metavar="NAME", help="At this site.")] = None,
    head: Annotated[str | None, typer.Option("--head", metavar="HEAD", help="Held in the vessel.")] = None,
    stroke: Annotated[str | None, typer.Option("--stroke", metavar="SPAN", help='Such as "4 mm..12 mm".')] = None,
    mass: Annotated[str | None, typer.Option("--mass", metavar="SPAN", help='Such as "30 g..300 g".')] = None,
    beats: Annotated[str | None, typer.Option("--beats", metavar="SPAN", help='"40 beats/min..90 beats/min".')] = None,
    water: Annotated[str | None, typer.Option("--water", metavar="FLOW", help="There; else the source's.")] = None,
    wanted: Annotated[str | None, typer.Option("--wanted", metavar="FLOW", help="Delivered; else the site's.")] = None,
    units: Annotated[
        Units | None, typer.Option("--units", help="Units of the answer; else the workbook's own.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON, the unit in every key.")] = False,
) -> None:
    """Find the tuning that delivers most, and the one that needs least water, of a build as described."""
    from clackwork.answers_json import FORMAT
    from clackwork.beat_case import beat_case, source_of
    from clackwork.quantities import parse
    from clackwork.tune_report import asked_for, find_tunings, tuning_json, tuning_lines
    from clackwork.workbook import load_workbook

    workbook = load_workbook(file)
    system = units.value if units else workbook.units
    case, title = beat_case(workbook, build, rig, site, head)
    there = parse(water, "volume_flow", field="--water").value if water else source_of(workbook, rig, site)[0]
    flow = parse(wanted, "daily_volume_flow", field="--wanted").value if wanted else None
    if flow is None and site is not None:
        flow = workbook.sites[site].wanted_flow
    asked = asked_for(case, there, flow, stroke, mass, beats)
    with progress_bar("Tuning") as progress:
        found, failures = find_tunings(asked, progress)
    if as_json:
        data = {
            "build": case.build.name,
            "place": title,
            "tunings": [tuning_json(*one, system) for one in found.items()],
        }
        print(json_text({"format": FORMAT, "units": system, **data, "failures": failures}))
    else:
        show_lines([f"{title}:", *(line for one in found.items() for line in tuning_lines(*one, system))])
    for failure in failures:
        say(failure)
    if failures:
        raise typer.Exit(EXIT_FAILED)
