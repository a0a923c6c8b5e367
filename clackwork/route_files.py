"""The way of a delivery line out of a file: a table with distances and heights, or a GPX track that was walked.

A track gives the shape of the ground. Its heights are poor, so where the lift was measured the end is set to it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from types import MappingProxyType
from xml.parsers import expat

import numpy as np
from numpy.typing import NDArray

from clackwork.book.raw_table import Question, RawTable, TableError, read_table, shown_name
from clackwork.book.run_columns import TableFields, suggest_mapping
from clackwork.book.table_columns import columns_read
from clackwork.errors import ClackworkError, InputError
from clackwork.quantities import parse
from clackwork.site.route import Route, RoutePoint

FloatArray = NDArray[np.float64]

MOST_BYTES = 5_000_000
MOST_TRACK_POINTS = 50_000
MOST_POINTS = 100
"""Points a route keeps: a drawing and a pipe need no more, and a record holds no longer list."""
TRACK_HEIGHT_SPREAD = 15.0 / 1.96
"""Standard uncertainty of a height by satellite [m]: the GPS Standard Positioning Service Performance Standard of 2020
commits to 15 m at 95 % (as quoted); barometers drift with the weather by as much."""
TRACK_FLAT_NOISE = 4.0
"""Bends smaller than this are taken for noise of the receiver [m]: common practice, no published source."""
TRACK_HEIGHT_NOISE = 2.0
"""Humps smaller than this are taken for noise of the receiver [m]: common practice, no published source."""
_WIDEN = 1.4

_EQUATOR_RADIUS = 6378137.0
_FLATTENING = 1.0 / 298.257223563
"""Ellipsoid of WGS 84 [m], [-]: National Imagery and Mapping Agency TR8350.2 (from memory)."""

FIELDS = TableFields(
    order=("distance", "height", "note"),
    quantities=MappingProxyType({"distance": "length", "height": "length"}),
    also_called=MappingProxyType(
        {
            "distance": ("distance along", "along", "length", "chainage", "from pump", "x"),
            "height": ("elevation", "level", "lift", "rise", "z", "h", "above pump"),
            "note": ("notes", "remark", "what", "place", "point", "name"),
        }
    ),
)
"""What the columns of a table of points can be."""


class RouteError(ClackworkError):
    """A file from which no route can be read; the sentence says what to do."""


@dataclass(frozen=True)
class FoundRoute:
    """A route out of a file.

    Attributes
    ----------
    route : Route or None
        None while a question is open.
    height_spread : float
        Standard uncertainty of one height [m]; 0 where they were typed.
    notes : tuple of str
        What was done on the way.
    questions : tuple of Question
    """

    route: Route | None
    height_spread: float = 0.0
    notes: tuple[str, ...] = ()
    questions: tuple[Question, ...] = ()


def read_route(
    raw: bytes,
    filename: str,
    *,
    lift: float | None = None,
    backwards: bool | None = None,
    answers: Mapping[str, str] | None = None,
) -> FoundRoute:
    """Read a route.

    Parameters
    ----------
    raw : bytes
        A table (CSV, XLSX) of distances from the pump and heights, or a GPX 1.1 file.
    filename : str
        For messages; the content alone decides how it is read.
    lift : float, optional
        Of the outlet above the pump as measured [m]; heights of a track are tilted so that their end lies there.
    backwards : bool, optional
        Whether a track was walked from the outlet down; the lower end is the pump when left out.
    answers : mapping, optional
        To the questions of an earlier reading of a table.

    Raises
    ------
    RouteError, TableError
        Too large, neither a table nor GPX, or with too few points.
    InputError
        A point of a table cannot be used.
    """
    name = shown_name(filename)
    if len(raw) > MOST_BYTES:
        raise RouteError(f"{name} is larger than {MOST_BYTES // 1_000_000} MB; keep the way of this line only.")
    if raw.lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"<"):
        return _route_of_track(_read_gpx(raw, name), name, lift, backwards)
    return _route_of_table(read_table(raw, name, answers), answers)


def _route_of_table(table: RawTable, answers: Mapping[str, str] | None) -> FoundRoute:
    """The route of a table's rows, as typed."""
    mapping = replace(suggest_mapping(table, None, FIELDS), answers=MappingProxyType(dict(answers or {})))
    units = {one.header: (answers or {}).get(f"unit:{one.header}", one.unit) for one in mapping.columns}
    mapping = replace(mapping, columns=tuple(replace(one, unit=units[one.header]) for one in mapping.columns))
    found = columns_read(table, mapping, FIELDS)
    for field in ("distance", "height"):
        if field not in found.places:
            raise TableError(f'{table.filename} has no column "{field}"; name one so, with its unit: "{field} (m)".')
    if found.questions:
        return FoundRoute(None, 0.0, found.notes, found.questions)
    points = []
    for number, row in zip(table.row_numbers, table.rows, strict=True):
        figures = {}
        for field in ("distance", "height"):
            cell = found.cell(row, field)
            text = found.figure(field, cell) if cell is not None else ""
            place = f"row {number}, {found.columns[field].header}"
            if cell is None or cell.fault:
                raise InputError(place, text or "(nothing)", "each point has a distance and a height")
            figures[field] = parse(text, "length", field=place).value
        note = found.cell(row, "note")
        points.append(RoutePoint(figures["distance"], figures["height"], "" if note is None else note.text.strip()))
    return FoundRoute(Route(tuple(points)), 0.0, found.notes)


@dataclass(frozen=True)
class TrackPoint:
    """A point of a track: latitude and longitude [degrees], height above the sea [m] or none."""

    latitude: float
    longitude: float
    height: float | None


class _Track:
    """The points of a GPX file while it is parsed."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.found: dict[str, list[TrackPoint]] = {"trkpt": [], "rtept": []}
        self.tracks = 0
        self._at: tuple[str, float, float] | None = None
        self._height: float | None = None
        self._text: list[str] | None = None
        self._depth = 0

    def start(self, tag: str, attributes: Mapping[str, str]) -> None:
        """An element begins."""
        self._depth += 1
        if self._depth > 30:
            raise RouteError(f"{self.name} is nested too deep to be a track.")
        tag = tag.rpartition(" ")[2]
        self.tracks += tag in ("trk", "rte")
        if tag in self.found:
            latitude, longitude = (_degrees(attributes, key, self.name) for key in ("lat", "lon"))
            self._at, self._height = (tag, latitude, longitude), None
        elif tag == "ele" and self._at is not None:
            self._text = []

    def text(self, data: str) -> None:
        """Characters inside an element."""
        if self._text is not None and len(self._text) < 20:
            self._text.append(data)

    def end(self, tag: str) -> None:
        """An element ends."""
        self._depth -= 1
        tag = tag.rpartition(" ")[2]
        if tag == "ele" and self._text is not None:
            self._height, self._text = _number("".join(self._text), -500.0, 9000.0, self.name, "height"), None
        elif self._at is not None and tag == self._at[0]:
            points = self.found[tag]
            points.append(TrackPoint(self._at[1], self._at[2], self._height))
            self._at = None
            if len(points) > MOST_TRACK_POINTS:
                raise RouteError(
                    f"{self.name} has more than {MOST_TRACK_POINTS} points; keep the way of this line only."
                )


def _degrees(attributes: Mapping[str, str], key: str, name: str) -> float:
    most = 90.0 if key == "lat" else 180.0
    return _number(attributes.get(key, ""), -most, most, name, key)


def _number(text: str, low: float, high: float, name: str, what: str) -> float:
    try:
        number = float(text)
    except ValueError:
        number = math.nan
    if not low <= number <= high:
        raise RouteError(f'{name}: {what} "{text[:20]}" is not a number from {low:g} to {high:g}.')
    return number


def _read_gpx(raw: bytes, name: str) -> list[TrackPoint]:
    """The points of the track, or of the route where there is none. No document type, so no entity, is accepted."""

    def refuse(*about: object) -> None:
        raise RouteError(f"{name} declares a document type, which GPX does not; save it anew from your device.")

    track = _Track(name)
    parser = expat.ParserCreate(namespace_separator=" ")
    parser.StartDoctypeDeclHandler = refuse
    parser.EntityDeclHandler = refuse
    parser.StartElementHandler = track.start
    parser.CharacterDataHandler = track.text
    parser.EndElementHandler = track.end
    try:
        parser.Parse(raw, True)
    except expat.ExpatError as error:
        raise RouteError(f"{name} is not XML that can be read (line {error.lineno}); save it as GPX 1.1.") from error
    points = track.found["trkpt"] or track.found["rtept"]
    if len(points) < 2:
        raise RouteError(f"{name} holds no track and no route of two points or more; save the walk as GPX 1.1.")
    if track.tracks > 1:
        raise RouteError(f"{name} holds {track.tracks} tracks or routes; keep the one of this line.")
    return points


def flat_distance(one: TrackPoint, other: TrackPoint) -> float:
    """Distance on the flat between two near points [m].

    Notes
    -----
    Arcs of the WGS 84 ellipsoid's two radii of curvature at the middle latitude. Against a worked example of 55 km it is off
    by less than 1 in 10 000 (see the tests); a pipe is far shorter.
    """
    east, north = _offset(one, other)
    return math.hypot(east, north)


def _offset(one: TrackPoint, other: TrackPoint) -> tuple[float, float]:
    """Metres east and north from one point to another."""
    middle = math.radians(0.5 * (one.latitude + other.latitude))
    eccentricity = _FLATTENING * (2.0 - _FLATTENING)
    shape = 1.0 - eccentricity * math.sin(middle) ** 2
    along_meridian = _EQUATOR_RADIUS * (1.0 - eccentricity) / shape**1.5
    across = _EQUATOR_RADIUS / math.sqrt(shape)
    turn = (other.longitude - one.longitude + 180.0) % 360.0 - 180.0
    return across * math.cos(middle) * math.radians(turn), along_meridian * math.radians(other.latitude - one.latitude)


def _route_of_track(points: list[TrackPoint], name: str, lift: float | None, backwards: bool | None) -> FoundRoute:
    """A track as the way of a line: turned to begin at the pump, freed of noise, its end at the lift."""
    notes = [f"{len(points)} points of a track were read."]
    heights = [point.height for point in points if point.height is not None]
    if len(heights) < len(points):
        raise RouteError(f"{name}: {len(points) - len(heights)} points have no height; save it with elevations.")
    if backwards if backwards is not None else heights[0] > heights[-1]:
        points, heights = points[::-1], heights[::-1]
        notes.append("It was turned round, so that it begins at the pump.")
    corners = np.array([(*_offset(points[0], point), high) for point, high in zip(points, heights, strict=True)])
    kept, bends, humps = _simplified(corners)
    notes.append(
        f"Bends under {bends:.0f} m and humps under {humps:.0f} m were taken for noise; {len(kept)} points are left."
    )
    rises = [float(corner[2] - kept[0][2]) for corner in kept]
    flats = [0.0]
    for before, after in pairwise(kept):
        flats.append(flats[-1] + math.dist(before[:2], after[:2]))
    if flats[-1] == 0.0:
        raise RouteError(f"{name} does not move; save the walk along the line.")
    if lift is not None:
        off = lift - rises[-1]
        rises = [rise + off * flat / flats[-1] for rise, flat in zip(rises, flats, strict=True)]
        notes.append(f"Its end lay {off:+.1f} m off the measured lift; the heights were tilted to end there.")
    notes.append(
        f"Heights by satellite are poor, {TRACK_HEIGHT_SPREAD:.0f} m as a standard uncertainty: measure the lift by level, "
        "hose or gauge."
    )
    return FoundRoute(_route_along(flats, rises), TRACK_HEIGHT_SPREAD, tuple(notes))


def _route_along(flats: Sequence[float], rises: Sequence[float]) -> Route:
    """A route whose distances run along the slope; places hardly apart are put together."""
    along, points = 0.0, [RoutePoint(0.0, 0.0)]
    for place in range(1, len(flats)):
        step = math.hypot(flats[place] - flats[place - 1], rises[place] - rises[place - 1])
        along += step
        if step > 0.0:
            points.append(RoutePoint(along, rises[place]))
    return Route(tuple(points))


def _simplified(corners: FloatArray) -> tuple[FloatArray, float, float]:
    """The corners that matter, and the widths of bends and humps left out [m]; wider where too many would be left.

    Notes
    -----
    Douglas and Peucker 1973, a corner kept where it lies further from the chord than either width.
    """
    bends, humps = TRACK_FLAT_NOISE, TRACK_HEIGHT_NOISE
    while True:
        kept = _corners_kept(corners, bends, humps)
        if len(kept) <= MOST_POINTS:
            return corners[kept], bends, humps
        bends, humps = bends * _WIDEN, humps * _WIDEN


def _corners_kept(corners: FloatArray, bends: float, humps: float) -> list[int]:
    """Places of the corners kept; given up as soon as there are more than a route keeps."""
    keep, open_spans = {0, len(corners) - 1}, [(0, len(corners) - 1)]
    while open_spans and len(keep) <= MOST_POINTS:
        first, last = open_spans.pop()
        if last - first < 2:
            continue
        off = _off_chord(corners[first : last + 1], bends, humps)
        at = first + int(np.argmax(off))
        if off[at - first] > 1.0:
            keep.add(at)
            open_spans += [(first, at), (at, last)]
    return sorted(keep)


def _off_chord(span: FloatArray, bends: float, humps: float) -> FloatArray:
    """How far each corner of a span lies off the chord of its ends, in widths."""
    chord, to = span[-1] - span[0], span - span[0]
    flat = float(chord[0] ** 2 + chord[1] ** 2)
    share = np.clip((to[:, 0] * chord[0] + to[:, 1] * chord[1]) / flat, 0.0, 1.0) if flat else np.zeros(len(span))
    aside = np.hypot(to[:, 0] - share * chord[0], to[:, 1] - share * chord[1])
    return np.maximum(aside / bends, np.abs(to[:, 2] - share * chord[2]) / humps)


def route_rows(route: Route) -> list[dict[str, str]]:
    """A route as the rows a site's ``route`` keeps, to the centimetre."""
    rows = []
    for point in route.points:
        row = {"distance": f"{point.distance:.2f} m", "height": f"{point.height:.2f} m"}
        rows.append(row | ({"note": point.note} if point.note else {}))
    return rows
