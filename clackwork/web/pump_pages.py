"""Pumps: the list, one pump with its builds side by side, one build with what differs from the one before."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from clackwork.web.drawings import section_of
from clackwork.web.field_lists import forms
from clackwork.web.figures import count_of
from clackwork.web.forms import flat_texts
from clackwork.web.lists import listing_of, offset_of, search_of
from clackwork.web.pages import page, units_of
from clackwork.web.record_pages import book_of, part_of, record_page, runs_part
from clackwork.web.summaries import Line, line_of, path_of, shown_value

if TYPE_CHECKING:
    from clackwork.book import Book

router = APIRouter(include_in_schema=False)

_BESIDE = 6
"""Builds shown side by side; more are listed under them."""
_BUILDS_SHOWN = 200
_PARTS_SHOWN = 12


@router.get("/pumps")
def pumps(request: Request) -> Response:
    """Every pump of the book."""
    book, search = book_of(request), search_of(request)
    found = book.list("pump", search=search, offset=offset_of(request))
    builds, runs = book.counts("build", "pump"), book.counts("run", "pump")
    lines = []
    for pump in found.records:
        words = f"{count_of(builds.get(pump.id, 0), 'build')}, {count_of(runs.get(pump.id, 0), 'run')}"
        lines.append(line_of(pump, units_of(request), end=words))
    listing = listing_of(
        found, lines, "Find a pump", "No pump of that name." if search else "No pump yet.", "/pumps/new", "Add a pump"
    )
    return page(request, "listing.html", title="Pumps", listings=[listing], search=search)


def side_by_side(builds: list[Any], system: str) -> list[dict[str, Any]]:
    """Rows of fields in which builds differ, or which any of them has: label, a value for each, whether they differ."""
    texts = [flat_texts(build.entered) for build in builds]
    rows = []
    for one in forms()["build"].fields():
        values = [text.get(one.key, "") for text in texts]
        if one.kind != "note" and any(values):
            shown = [shown_value(one, value, system).partition(":")[0] if value else "" for value in values]
            rows.append({"label": _label(one.key, one.label), "values": shown, "differs": len(set(shown)) > 1})
    return rows


def _label(key: str, label: str) -> str:
    """The label of a field with its part, since a seat's bore is on two valves."""
    table = key.partition(".")[0].replace("_", " ")
    return f"{table.capitalize()}: {label[:1].lower()}{label[1:]}" if "." in key else label


@router.get("/pumps/{number:int}")
def pump_page(request: Request, number: int) -> Response:
    """One pump."""
    book, system = book_of(request), units_of(request)
    pump = book.get("pump", number)
    builds = book.list("build", links={"pump": number}, limit=_BUILDS_SHOWN)
    beside = list(builds.records[:_BESIDE])
    trials = book.list("trial", links={"pump": number}, limit=_BUILDS_SHOWN)
    parts = [
        part_of(
            "Builds",
            [line_of(one, system, end=_made_from(one, builds.records)) for one in builds.records],
            "No build yet: a build is the pump with given parts.",
            f"/builds/new?pump={number}",
            "Add a build",
        ),
        part_of(
            "Trials",
            [line_of(one, system) for one in trials.records],
            "No trial yet: a trial asks whether one build does better than another.",
            f"/trials/new?old_build={beside[0].id}" if len(beside) > 1 else "",
            "Plan a trial",
        ),
        runs_part(book, request, {"pump": number}, f"/runs/new?build={beside[0].id}" if beside else ""),
        *_life_parts(book, number, beside, system),
    ]
    comparison = side_by_side(beside, system) if len(beside) > 1 else []
    drawings = {build.id: section_of(book, build, system, labels=False) for build in beside}
    return record_page(
        request,
        pump,
        parts=parts,
        template="pump.html",
        beside=beside,
        comparison=comparison,
        drawings=drawings,
        more_actions=[("Readings in and out", f"/pumps/{number}/readings")],
    )


def _life_parts(book: Book, pump: int, builds: list[Any], system: str) -> list[dict[str, Any]]:
    """Its parts in service, and the switches asked about."""
    served = book.list("part", links={"pump": pump}, limit=_PARTS_SHOWN, order="changed")
    lines = [line_of(one, system) for one in served.records]
    add = f"/parts/new?build={builds[0].id}" if builds else ""
    empty = "No part yet: enter one to learn how long such parts last."
    parts = part_of("Parts in service", lines, empty, add, "Enter a part")
    switches = [line_of(one, system) for one in book.list("switch", links={"pump": pump}, limit=_BUILDS_SHOWN).records]
    ask = f"/switches/new?old_build={builds[0].id}" if len(builds) > 1 else ""
    empty = "None yet: it asks whether pumps should be sold with a new build from now on."
    return [
        parts | {"all": "/parts", "all_words": "What all parts in service show"},
        part_of("Switches", switches, empty, ask, "Ask whether to switch"),
    ]


def _made_from(build: Any, builds: Any) -> str:
    """What a build was made from, in words."""
    before = next((one for one in builds if one.id == build.links.get("revision_of")), None)
    return f"made from {before.name}" if before else ""


@router.get("/builds/{number:int}")
def build_page(request: Request, number: int) -> Response:
    """One build."""
    from clackwork.book import differences

    book, system = book_of(request), units_of(request)
    build = book.get("build", number)
    before = book.get("build", build.links["revision_of"]) if "revision_of" in build.links else None
    trials = book.list("trial", links={"build": number}, limit=_BUILDS_SHOWN)
    revisions = book.list("build", links={"revision_of": number}, limit=_BUILDS_SHOWN)
    parts = [runs_part(book, request, {"build": number}, f"/runs/new?build={number}")]
    if trials.records:
        parts.append(part_of("Trials", [line_of(one, system) for one in trials.records]))
    if revisions.records:
        later = [
            Line(path_of(one), one.name, "; ".join(differences(book, number, one.id))) for one in revisions.records
        ]
        parts.append(part_of("Made from it", later))
    return record_page(
        request,
        build,
        template="build.html",
        drawing=section_of(book, build, system),
        bare_drawing=section_of(book, build, system, labels=False),
        parts=parts,
        before=before,
        differences=differences(book, before.id, number) if before else (),
        more_actions=_build_actions(build.links["pump"], number),
    )


def _build_actions(pump: int, number: int) -> list[tuple[str, str]]:
    """What else can be done with a build."""
    return [
        ("See it at work", f"/pumps/{pump}/builds/{number}/live"),
        ("Its twin", f"/builds/{number}/twin"),
        ("Performance", f"/builds/{number}/performance"),
        ("Make a revision", f"/builds/new?pump={pump}&revision_of={number}"),
    ]
