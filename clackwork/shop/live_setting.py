"""How a pump on the screen is set: from a build and a place as typed, and the sliders moved since, to an engine case."""

from __future__ import annotations

import copy
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from clackwork.errors import InputError, require_range
from clackwork.pipes import catalogue, find_pipe
from clackwork.quantities import parse
from clackwork.ram.engine import RamCase
from clackwork.ram.parts import Build, DrivePipe, Supply, Surroundings
from clackwork.ram.sensitivity import with_input
from clackwork.shop.live import SLIDERS
from clackwork.workbook_parts import read_build, read_drive_pipe
from clackwork.workbook_reader import Table, parse_toml
from clackwork.workbook_sites import read_place as read_site

if TYPE_CHECKING:
    from clackwork.book import Book, Record

PARTS = ("stroke", "mass", "tilt")
"""Of the sliders, those that change the build and not the place."""
LIFT_TO_FALL = 6.0
"""Lift shown first where a place has none of its own, in falls."""
DEFAULT_PLACE: Mapping[str, Any] = {
    "name": "a place of 2 m fall",
    "fall": "2 m",
    "drive_pipe": {"series": "steel-sch40", "size": "1 in", "length": "12 m"},
}
"""Where a build is set up when the book has no rig and no site."""


@dataclass(frozen=True)
class LivePlace:
    """Where a pump can be set up: a rig or a site.

    Attributes
    ----------
    name : str
    fall, lift : float
        [m]
    drive_pipe : mapping
        As typed, the table of a workbook.
    surroundings : Surroundings
    source_flow : float or None
        What the source gives [m3/s].
    """

    name: str
    fall: float
    lift: float
    drive_pipe: Mapping[str, Any]
    surroundings: Surroundings = Surroundings()
    source_flow: float | None = None


@dataclass(frozen=True)
class LiveStart:
    """What the page begins with.

    Attributes
    ----------
    build_name : str
    build : mapping
        As typed, the table of a workbook.
    places : tuple of LivePlace
        At least one.
    """

    build_name: str
    build: Mapping[str, Any]
    places: tuple[LivePlace, ...] = field(default_factory=tuple)


@lru_cache(maxsize=1)
def _demo() -> dict[str, Any]:
    """The tables of the invented workbook."""
    text = files("clackwork").joinpath("demo", "workshop.toml").read_text(encoding="utf-8")
    return parse_toml(text)


def demo_start() -> LiveStart:
    """The first build of the invented workbook, at its rigs and sites."""
    tables = _demo()
    name = next(iter(tables["build"]))
    rigs = [read_place(one, table) for one, table in tables["rig"].items()]
    sites = [_site_place(one, table) for one, table in tables["site"].items()]
    return LiveStart(name, copy.deepcopy(tables["build"][name]), (*rigs, *(one for one in sites if one is not None)))


def book_start(book: Book, build_id: int) -> LiveStart:
    """A build of the book, at the book's rigs, and at its sites that have a drive pipe."""
    build = book.get("build", build_id)
    rigs = [read_place(one.name, one.entered) for one in book.list("rig", limit=50).records]
    sites = [_site_place(one.name, one.entered) for one in book.list("site", limit=50).records]
    places = [*rigs, *(one for one in sites if one is not None)]
    return LiveStart(
        build.name, build.entered, tuple(places) or (read_place(str(DEFAULT_PLACE["name"]), DEFAULT_PLACE),)
    )


def _site_place(name: str, entered: Mapping[str, Any]) -> LivePlace | None:
    """A site as surveyed and designed, by the readers of a workbook; None while it has no drive pipe."""
    site = read_site(Table(copy.deepcopy(dict(entered)), f"site '{name}'", f"site.{name}", {}), name).site
    if site is None:
        return None
    return LivePlace(name, site.fall, site.line.lift, dict(entered["drive_pipe"]), site.surroundings, site.source_flow)


def read_place(name: str, entered: Mapping[str, Any]) -> LivePlace:
    """A place out of the table of a rig; the lift is one that suits its fall.

    Raises
    ------
    InputError
        A figure that cannot be read.
    """

    def figure(key: str, kind: str) -> float | None:
        text = entered.get(key)
        return None if text is None else parse(str(text), kind, field=key).value

    fall = figure("fall", "head")
    if fall is None:
        raise InputError("fall", "(nothing)", "it is needed", "Give the supply surface above the spill level.")
    given = {
        name: value
        for name, value in (
            ("temperature", figure("water_temperature", "temperature")),
            ("altitude", figure("altitude", "length")),
        )
        if value is not None
    }
    return LivePlace(
        name,
        fall,
        LIFT_TO_FALL * fall,
        dict(entered["drive_pipe"]),
        Surroundings(**given),
        figure("source_flow", "volume_flow"),
    )


def read_build_table(entered: Mapping[str, Any], name: str = "build") -> Build:
    """A build out of the table of a workbook, as typed.

    Raises
    ------
    InputError
        A part that cannot be read; the message names the table and the field.
    """
    return read_build(Table(copy.deepcopy(dict(entered)), f"build '{name}'", f"build.{name}", {}), name)


def set_case(
    build: Build, place: LivePlace, moved: Mapping[str, float], *, series: str = "", size: str = "", shut: bool = False
) -> RamCase:
    """The engine case of a build at a place, with what has been moved.

    Parameters
    ----------
    build : Build
    place : LivePlace
    moved : mapping of str to float
        Of :data:`clackwork.shop.live.SLIDERS` [SI].
    series, size : str, optional
        Another drive pipe of the catalogue; empty keeps the one of the place.
    shut : bool, optional
        With the delivery shut.

    Raises
    ------
    InputError
        A value that a part cannot have.
    """
    lift = require_range(
        "lift", moved.get("lift", place.lift), 0.1, 600.0, "m", "Lift is counted from the spill level."
    )
    drive = read_drive_pipe_table(place.drive_pipe)
    if series or size:
        drive = replace(drive, pipe=find_pipe(series, size))
    case = RamCase(
        build,
        drive,
        Supply(place.fall),
        place.surroundings,
        vessel_head=None if shut else lift,
    )
    for name in SLIDERS:
        if name in moved and name != "lift":
            case = with_input(case, name, moved[name])
    return case


def read_drive_pipe_table(entered: Mapping[str, Any]) -> DrivePipe:
    """A drive pipe out of the table of a workbook, as typed."""
    return read_drive_pipe(Table(dict(entered), "drive_pipe", "drive_pipe", {}))


def pipe_choices() -> list[dict[str, Any]]:
    """Every series of the catalogue with its title and sizes."""
    return [
        {"series": series.name, "title": series.title, "sizes": [pipe.size for pipe in series.pipes]}
        for series in catalogue()
    ]


def changed_parts(entered: Mapping[str, Any], typed: Mapping[str, str]) -> dict[str, Any]:
    """The table of a build with other figures of its waste valve.

    Parameters
    ----------
    entered : mapping
        As typed, the table of a workbook.
    typed : mapping of str to str
        Of :data:`PARTS`, each as text with its unit.

    Raises
    ------
    InputError
        Another name, or a build that cannot have such a part.
    """
    unknown = [name for name in typed if name not in PARTS]
    if unknown:
        raise InputError("changes", unknown[0], f"of a build these can be moved: {', '.join(PARTS)}")
    changed = copy.deepcopy(dict(entered))
    changed["waste_valve"] = {**changed.get("waste_valve", {}), **typed}
    read_build_table(changed)
    return changed


def keep_revision(
    book: Book, build_id: int, name: str, typed: Mapping[str, str], *, by: str = "", request_id: str | None = None
) -> Record:
    """Keep what has been moved as a new build of the same pump, a revision of the one it came from.

    Parameters
    ----------
    book : Book
    build_id : int
    name : str
        Of the new build.
    typed : mapping of str to str
        As for :func:`changed_parts`.
    by : str, optional
        Who keeps it.
    request_id : str, optional
        The same one given twice makes one build.

    Raises
    ------
    InputError
        Nothing was changed, or a part cannot have such a figure.
    """
    if not typed:
        raise InputError("changes", "(nothing)", "stroke, weight and tilt stand as they are", "Move one of them first.")
    build = book.get("build", build_id)
    links = {"pump": build.links["pump"], "revision_of": build_id}
    return book.add("build", name, changed_parts(build.entered, typed), links=links, by=by, request_id=request_id)
