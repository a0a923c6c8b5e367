"""The drawing of a build in section, for the page that shows it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from clackwork.charts.section_drawing import section_shapes
from clackwork.charts.section_svg import section_svg
from clackwork.errors import ClackworkError
from clackwork.shop.live_setting import DEFAULT_PLACE, read_build_table, read_drive_pipe_table

if TYPE_CHECKING:
    from clackwork.book import Book, Record
    from clackwork.ram.parts import DrivePipe

_WATER_SHARE = 0.6
"""Of the air vessel, drawn full of water."""


def drive_pipe_shown(book: Book) -> DrivePipe:
    """The drive pipe drawn beside a build: that of the book's first rig, else a usual one."""
    rigs = book.list("rig", limit=1).records
    return read_drive_pipe_table((rigs[0].entered if rigs else DEFAULT_PLACE)["drive_pipe"])


def section_of(book: Book, record: Record, system: str, *, labels: bool = True) -> str:
    """A build in section as SVG, its waste valve open; empty when its parts cannot be drawn.

    Parameters
    ----------
    book : Book
    record : Record
        Of a build.
    system : {"metric", "us"}
    labels : bool, optional
        With the parts' names.
    """
    try:
        build = read_build_table(record.entered, record.name)
        drawing = section_shapes(build, drive_pipe_shown(book), system)
    except ClackworkError:
        return ""
    stroke = build.waste_valve.stroke
    water = _WATER_SHARE * build.air_vessel.volume
    return section_svg(
        drawing,
        opening=stroke,
        water_volume=water,
        labels=labels,
        prefix=f"build-{record.id}-{'full' if labels else 'bare'}",
    )
