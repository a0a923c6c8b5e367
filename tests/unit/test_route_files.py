"""Routes out of tables and GPX files: units, decimal commas, noise, direction, and files that mean harm."""

from __future__ import annotations

import math
import time

import numpy as np
import pytest

from clackwork.book.raw_table import TableError
from clackwork.errors import InputError
from clackwork.route_files import MOST_POINTS, RouteError, read_route, route_rows
from clackwork.workbook_reader import Table
from clackwork.workbook_sites import read_place

HEAD = (
    '<?xml version="1.0" encoding="UTF-8"?><gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>'
)
TAIL = "</trkseg></trk></gpx>"


def gpx(points: list[tuple[float, float, float]], tag: str = "trkpt") -> bytes:
    """A file with points (latitude, longitude, height)."""
    made = "".join(f'<{tag} lat="{lat:.7f}" lon="{lon:.7f}"><ele>{up:.2f}</ele></{tag}>' for lat, lon, up in points)
    head = HEAD if tag == "trkpt" else HEAD.replace("trk><trkseg", "rte")
    return (head + made + (TAIL if tag == "trkpt" else "</rte></gpx>")).encode()


def uphill(count: int = 200, noise: float = 0.0) -> list[tuple[float, float, float]]:
    """Straight north, 1.11 m and 0.1 m up at each step."""
    rng = np.random.default_rng(4)
    return [(50.0 + 1e-5 * step, 8.0, 200.0 + 0.1 * step + noise * rng.standard_normal()) for step in range(count)]


def test_a_table_with_decimal_commas() -> None:
    found = read_route(b"distance (m);height (m);note\n0;0;pump\n30,5;4,2;gate\n90;21;tank\n", "way.csv")
    assert found.route is not None and found.height_spread == 0.0
    assert [(one.distance, one.height, one.note) for one in found.route.points] == [
        (0.0, 0.0, "pump"),
        (30.5, 4.2, "gate"),
        (90.0, 21.0, "tank"),
    ]


def test_a_table_in_feet_by_another_name() -> None:
    found = read_route(b"along [ft],elevation [ft]\n0,0\n100,20\n", "way.csv")
    assert found.route is not None and found.route.length == pytest.approx(30.48)


def test_a_unit_that_is_not_told_is_asked_for() -> None:
    raw = b"distance,height\n0,0\n100,20\n"
    asked = read_route(raw, "way.csv")
    assert asked.route is None and [one.key for one in asked.questions] == ["unit:distance", "unit:height"]
    told = read_route(raw, "way.csv", answers={"unit:distance": "m", "unit:height": "ft"})
    assert told.route is not None and told.route.lift == pytest.approx(20 * 0.3048)


@pytest.mark.parametrize(
    ("raw", "said"),
    [
        (b"distance (m),note\n0,a\n9,b\n", 'no column "height"'),
        (b"distance (m),height (m)\n0,0\n9,\n", "row 3, height"),
        (b"distance (m),height (m)\n0,0\n9,lots\n", "row 3, height"),
        (b"distance (m),height (m)\n0,0\n9,1\n5,2\n", "distances rise"),
        (b"distance (m),height (m)\n0,0\n9,90\n", "cannot climb"),
        (b"distance (m),height (m)\n0,0\n", "two at least"),
    ],
)
def test_tables_that_are_no_route(raw: bytes, said: str) -> None:
    with pytest.raises((InputError, TableError), match=said):
        read_route(raw, "way.csv")


def test_a_track_is_simplified_and_ends_at_the_measured_lift() -> None:
    found = read_route(gpx(uphill(noise=0.4)), "walk.gpx", lift=22.0)
    assert found.route is not None and found.route.lift == pytest.approx(22.0)
    assert len(found.route.points) < 8 and found.height_spread > 5.0
    assert found.route.length == pytest.approx(math.hypot(199 * 1.1119, 22.0), rel=0.01)
    said = " ".join(found.notes)
    assert "noise" in said and "off the measured lift" in said and "poor" in said


def test_a_track_walked_down_is_turned_round() -> None:
    up, down = (read_route(gpx(points), "walk.gpx").route for points in (uphill(), uphill()[::-1]))
    assert up is not None and down is not None and down.lift == pytest.approx(up.lift) and up.lift > 0.0
    forced = read_route(gpx(uphill()[::-1]), "walk.gpx", backwards=False).route
    assert forced is not None and forced.lift < 0.0


def test_a_gpx_route_is_read_where_there_is_no_track() -> None:
    found = read_route(gpx(uphill(30), "rtept"), "plan.gpx").route
    assert found is not None and found.lift == pytest.approx(2.9)


def test_a_wild_track_keeps_few_points_soon() -> None:
    rng = np.random.default_rng(2)
    wild = [(50 + 1e-3 * a, 8 + 1e-3 * b, 200 + 30 * c) for a, b, c in rng.random((20_000, 3))]
    started = time.process_time()
    found = read_route(gpx(wild), "wild.gpx").route
    assert found is not None and len(found.points) <= MOST_POINTS
    assert time.process_time() - started < 10.0


ENTITIES = '<!DOCTYPE gpx [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;">]>'


@pytest.mark.parametrize(
    ("raw", "said"),
    [
        ((HEAD.replace("<gpx", ENTITIES + "<gpx") + "&b;" + TAIL).encode(), "document type"),
        (b'<!DOCTYPE gpx SYSTEM "file:///etc/passwd"><gpx/>', "document type"),
        (b"<gpx><trk><trkseg>", "not XML"),
        (b"<html>hello</html>", "no track"),
        (gpx(uphill(1)), "two points"),
        (gpx([(50.0, 8.0, 1.0)] * 3), "does not move"),
        (gpx([(95.0, 8.0, 1.0)] * 3), "lat"),
        (gpx(uphill(3)).replace(b"<ele>200.10</ele>", b""), "no height"),
        (gpx(uphill(3)).replace(b"200.10", b"nan"), "height"),
        (gpx(uphill(3)).replace(b"</trk>", b"</trk><trk></trk>"), "2 tracks"),
        (b"<a>" * 50 + b"</a>" * 50, "nested"),
        (b"<" + b" " * 5_000_001, "larger than 5 MB"),
    ],
)
def test_files_that_are_no_walk(raw: bytes, said: str) -> None:
    with pytest.raises(RouteError, match=said):
        read_route(raw, "walk.gpx")


def test_a_route_found_can_be_kept_in_a_place() -> None:
    found = read_route(gpx(uphill()), "walk.gpx", lift=22.0).route
    assert found is not None
    rows = route_rows(found)
    entered = {"fall": "3 m", "source_flow": "30 L/min", "lift_from_pump": "22 m", "route": rows}
    place = read_place(Table(entered, "site 'a'", "site.a", {}), "a")
    assert place.survey.route is not None and place.survey.line_length == pytest.approx(found.length, abs=0.01)
