"""What holds for every tank, every source and every row of a form."""

from __future__ import annotations

import datetime
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from clackwork.route_files import MOST_POINTS, TrackPoint, flat_distance, read_route
from clackwork.site.heights import typed_height
from clackwork.site.needs import Need, Needs
from clackwork.site.source_flow import driest, flow_by_month, flow_by_notch, typed_flow
from clackwork.site.storage import simulate_tank, size_tank, smallest_never_empty
from clackwork.site.survey import SourceReading, Survey
from clackwork.web.field_lists import forms
from clackwork.web.rows import rows_of, text_of_rows

months = st.lists(st.floats(0.0, 50.0), min_size=12, max_size=12)
volumes = st.floats(0.0, 500.0)


@settings(deadline=None, max_examples=40)
@given(volumes, months, months, st.floats(0.0, 500.0))
def test_water_is_neither_made_nor_lost(volume: float, supply: list[float], need: list[float], start: float) -> None:
    year = simulate_tank(volume, supply, need, start)
    days = np.repeat(supply, (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31))
    came, left = days.sum() + year.start, year.used.sum() + year.spilled_volume + year.level[-1]
    assert came == pytest.approx(left, rel=1e-9, abs=1e-9)
    assert np.all(year.level >= -1e-9) and np.all(year.level <= volume + 1e-9)
    assert np.all(year.used + year.missing <= np.repeat(need, (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)) + 1e-9)


@settings(deadline=None, max_examples=40)
@given(volumes, st.floats(0.0, 100.0), months, months)
def test_a_bigger_tank_is_never_empty_more_often(
    volume: float, more: float, supply: list[float], need: list[float]
) -> None:
    smaller, bigger = (simulate_tank(size, supply, need) for size in (volume, volume + more))
    assert bigger.empty_days <= smaller.empty_days
    assert bigger.missing_volume <= smaller.missing_volume + 1e-6


@settings(deadline=None, max_examples=40)
@given(months, months, st.floats(0.0, 10.0), st.floats(0.0, 20.0))
def test_the_tank_advised_never_runs_empty(supply: list[float], need: list[float], cover: float, fire: float) -> None:
    needs = Needs(
        tuple(Need("a", 1.0, daily, months=(month,)) for month, daily in enumerate(need, start=1) if daily > 0.0),
        fire,
        cover,
    )
    smallest = smallest_never_empty(supply, need)
    advised = size_tank(supply, needs)
    if math.isfinite(smallest):
        assert simulate_tank(smallest + 1e-6, supply, need).empty_days == 0
        assert advised == pytest.approx(smallest + fire + cover * max(need), abs=1e-6)
    else:
        assert advised == math.inf and sum(need) > 0.0


@settings(deadline=None)
@given(st.floats(0.03, 0.37), st.floats(math.radians(20), math.radians(100)))
def test_more_head_over_a_notch_is_more_water(head: float, angle: float) -> None:
    low, high = flow_by_notch([head], angle), flow_by_notch([head + 0.005], angle)
    assert 0.0 < low.value < high.value and low.standard_uncertainty > 0.0


@settings(deadline=None)
@given(
    st.lists(st.tuples(st.floats(1e-5, 1e-2), st.integers(1, 12)), min_size=1, max_size=5),
    st.none() | st.lists(st.floats(0.1, 5.0), min_size=12, max_size=12),
    st.floats(0.0, 1e-2),
)
def test_the_driest_month_is_the_lowest_of_all(
    readings: list[tuple[float, int]], shares: list[float] | None, keeps: float
) -> None:
    source = tuple(SourceReading(typed_flow(flow), "typed", datetime.date(2031, month, 1)) for flow, month in readings)
    survey = Survey(
        "a", typed_height(3.0), typed_height(20.0), source, 90.0,
        monthly_share=None if shares is None else tuple(shares), stream_keeps=keeps,
    )  # fmt: skip
    found = driest(survey)
    assert found.value >= 0.0
    assert found.value == pytest.approx(min(one.value for one in flow_by_month(survey)))
    if shares is None:
        assert found.value == pytest.approx(max(0.0, min(flow for flow, _ in readings) - keeps))


@settings(deadline=None)
@given(st.floats(-80.0, 80.0), st.floats(-179.9, 179.9), st.floats(-2e-3, 2e-3), st.floats(-2e-3, 2e-3))
def test_distances_are_the_same_both_ways_and_near_those_of_a_sphere(
    latitude: float, longitude: float, north: float, east: float
) -> None:
    one, other = TrackPoint(latitude, longitude, 0.0), TrackPoint(latitude + north, longitude + east, 0.0)
    found = flat_distance(one, other)
    assert found == pytest.approx(flat_distance(other, one))
    to_east = math.radians(east) * math.cos(math.radians(latitude + 0.5 * north))
    sphere = 6371008.8 * math.hypot(math.radians(north), to_east)  # the flattening is 1 in 298
    assert found == pytest.approx(sphere, rel=0.007, abs=1e-6)


@settings(deadline=None, max_examples=25)
@given(
    st.lists(st.tuples(st.floats(-1e-3, 1e-3), st.floats(-1e-3, 1e-3), st.floats(0.0, 60.0)), min_size=2, max_size=150),
    st.floats(1.0, 80.0),
)
def test_a_simplified_track_keeps_its_ends(steps: list[tuple[float, float, float]], lift: float) -> None:
    points = "".join(f'<trkpt lat="{50 + a}" lon="{8 + b}"><ele>{up}</ele></trkpt>' for a, b, up in steps)
    raw = f'<gpx><trk><trkseg><trkpt lat="49.9" lon="8"><ele>0</ele></trkpt>{points}</trkseg></trk></gpx>'.encode()
    found = read_route(raw, "a.gpx", lift=lift, backwards=False).route
    assert found is not None and 2 <= len(found.points) <= MOST_POINTS
    assert found.points[0].height == 0.0 and found.lift == pytest.approx(lift)
    assert found.level_distance > 1000.0  # the first step alone is eleven kilometres


texts = st.text(st.characters(exclude_categories=("Cs", "Cc"), exclude_characters="\\|"), min_size=1, max_size=20)
plain = texts.map(lambda text: " ".join(text.split())).filter(lambda text: text and "=" not in text)


@settings(deadline=None)
@given(st.lists(st.fixed_dictionaries({"distance": plain, "height": plain}, optional={"note": plain}), max_size=6))
def test_rows_come_back_through_a_form(rows: list[dict[str, str]]) -> None:
    field = forms()["site"].field("route")
    assert field is not None
    assert rows_of(field, text_of_rows(field, rows)) == rows
