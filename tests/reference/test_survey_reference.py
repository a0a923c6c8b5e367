"""Readings of a survey against published values: weirs, floats, heights, distances on the ground, needs and lift."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest

from clackwork.bench.instruments import Bucket, Gauge
from clackwork.route_files import TrackPoint, flat_distance
from clackwork.site.heights import height_by_gauge, lift_above_pump, typed_height
from clackwork.site.needs import PUBLISHED_NEEDS, SELDOM_INSPECTED_COVER, Needs, published_need
from clackwork.site.source_flow import flow_by_bucket, notch_coefficient, notch_flow, notch_head_correction
from clackwork.site.storage import size_tank

PART = "Sites"
FOOT = 0.3048
SHEN = "Kindsvater-Shen, ISO 1438, Ce 0.578 and k 0.88 mm at 90 degrees"
SHEN_POINTS = "Shen 1981 after Blevins 1984, points in the documentation of fluids 1.3 (weir of Shen)"
CONE = "Cone's weir, Q = 2.49 h^2.48 in feet; Bureau of Reclamation, Water Measurement Manual, chapter 7"


@pytest.mark.parametrize(("head", "litres"), [(0.05, 0.7972), (0.10, 4.4128), (0.20, 24.6913)])
def test_right_angled_notch(record_case: Callable[..., None], head: float, litres: float) -> None:
    record_case(f"V-notch of 90 degrees, head {head:g} m", SHEN, litres, 1e3 * notch_flow(head), 5e-4, "L/s", "COMP")


@pytest.mark.parametrize(
    ("degrees", "coefficient", "millimetres"),
    [(20, 0.59, 2.8), (40, 0.58, 1.7), (60, 0.575, 1.2), (80, 0.575, 1.0), (100, 0.58, 1.0)],
)
def test_notch_figures_by_angle(
    record_case: Callable[..., None], degrees: int, coefficient: float, millimetres: float
) -> None:
    angle = math.radians(degrees)
    record_case(f"Ce at {degrees} degrees", SHEN_POINTS, coefficient, notch_coefficient(angle), 0.005)
    # read off a small figure in tenths of a millimetre: 0.1 mm is 0.5 % of the flow at a head of 5 cm
    found = 1e3 * notch_head_correction(angle)
    record_case(f"k at {degrees} degrees", SHEN_POINTS, (millimetres - 0.13, millimetres + 0.13), found, 0.0, "mm")


@pytest.mark.parametrize("feet", [0.2, 0.5, 1.0])
def test_notch_beside_another_formula(record_case: Callable[..., None], feet: float) -> None:
    """The manual calls the two comparable for a fully contracted notch of 90 degrees."""
    published = 2.49 * feet**2.48 * FOOT**3 * 1e3
    case = f"V-notch of 90 degrees, head {feet:g} ft"
    record_case(case, CONE, published, 1e3 * notch_flow(feet * FOOT), 0.02, "L/s", "MEM")


def test_bucket(record_case: Callable[..., None]) -> None:
    flow = flow_by_bucket(0.020, [30.0], bucket=Bucket(mark_uncertainty=0.05e-3 * math.sqrt(3.0)))
    source = "JCGM 100:2008, equation 10; sd of timing Am. J. Phys. 87(2), 110 (2019)"
    found = 100.0 * flow.relative_uncertainty
    record_case("source by bucket, 20 L in 30 s: standard uncertainty", source, 0.417, found, 1e-3, "%", "COMP")


def test_static_pressure(record_case: Callable[..., None]) -> None:
    """1 bar of still water at 10 degrees; density by IAPWS-95."""
    gauge = Gauge(full_scale=4e5, resolution=0.0, height_half_width=0.0)
    found = height_by_gauge([1e5], gauge, temperature=283.15).value
    source = "IAPWS-95 by CoolProp 8, 999.702 kg/m3; standard gravity, CGPM 1901"
    record_case("head of 1 bar of still water at 10 degC", source, 1e5 / (999.702 * 9.80665), found, 1e-5, "m", "COMP")


def test_lift_from_the_spring(record_case: Callable[..., None]) -> None:
    """The exercise's wrong answer, 1,440 gallons, comes of taking the lift from the spring for that from the pump."""
    fall = typed_height(20 * FOOT)
    lift = lift_above_pump(from_source=typed_height(100 * FOOT), fall=fall)
    source = "Peace Corps 1981, exercise 5A: ram 20 ft under the spring, tank 100 ft over it, 10 gpm, 50 %"
    record_case("lift of the exercise from the pump", source, 120.0, lift.value / FOOT, 1e-9, "ft")
    gallons = 0.5 * 10.0 * 1440.0 * fall.value / lift.value
    record_case("water of the exercise a day", source, 1200.0, gallons, 1e-9, "gal/day")


def degrees(whole: int, minutes: int, seconds: float) -> float:
    return whole + minutes / 60.0 + seconds / 3600.0


def test_distance_on_the_ground(record_case: Callable[..., None]) -> None:
    peak = TrackPoint(-degrees(37, 57, 3.72030), degrees(144, 25, 29.52440), 0.0)
    other = TrackPoint(-degrees(37, 39, 10.15610), degrees(143, 55, 35.38390), 0.0)
    source = "Geoscience Australia, worked example of Vincenty's formulae (Flinders Peak to Buninyong)"
    record_case("geodesic of 55 km", source, 54972.271, flat_distance(peak, other), 1e-4, "m", "MEM")


@pytest.mark.parametrize(
    ("latitude", "north", "east"), [(0.0, 110574.0, 111320.0), (45.0, 111132.0, 78847.0), (60.0, 111412.0, 55800.0)]
)
def test_length_of_a_degree(record_case: Callable[..., None], latitude: float, north: float, east: float) -> None:
    def at(up: float, along: float) -> TrackPoint:
        return TrackPoint(latitude + up, along, 0.0)

    source = "tables of the length of a degree, WGS 84"
    along_meridian = flat_distance(at(-0.5, 0.0), at(0.5, 0.0))
    record_case(f"degree of latitude at {latitude:g}", source, north, along_meridian, 2e-5, "m", "MEM")
    record_case(
        f"degree of longitude at {latitude:g}", source, east, 10 * flat_distance(at(0, 0), at(0, 0.1)), 2e-5, "m", "MEM"
    )


@pytest.mark.parametrize(
    ("what", "low", "high", "source"),
    [
        ("lactating cow", 77, 95, "Agriculture and Agri-Food Canada; University of Maine"),
        ("dry cow", 36, 55, "Agriculture and Agri-Food Canada; University of Maine"),
        ("horse", 36, 55, "Agriculture and Agri-Food Canada; University of Maine"),
        ("sheep", 4, 14, "Agriculture and Agri-Food Canada; University of Maine"),
        ("laying hen", 0.19, 0.28, "Agriculture and Agri-Food Canada; University of Maine"),
        ("person", 50, 100, "UNDP, Human Development Report 2006"),
        ("person, least", 20, 20, "UNDP, Human Development Report 2006"),
    ],
)
def test_needs(record_case: Callable[..., None], what: str, low: float, high: float, source: str) -> None:
    found = PUBLISHED_NEEDS[what]
    record_case(f"water for one {what}, low end", source, low, 1e3 * found.low, 1e-9, "L/day")
    record_case(f"water for one {what}, high end", source, high, 1e3 * found.high, 1e-9, "L/day")


@pytest.mark.parametrize(("days", "seldom"), [(2.0, False), (3.0, True)])
def test_days_of_cover(record_case: Callable[..., None], days: float, seldom: bool) -> None:
    """Ten cows on a source that never fails: the tank is the days of cover and nothing else."""
    each = (published_need("lactating cow", 10),)
    needs = Needs(each, days_of_cover=SELDOM_INSPECTED_COVER) if seldom else Needs(each)
    source = "Natural Resources Conservation Service, Technical Note SD2006-1"
    record_case(
        f"storage{' where seldom inspected' if seldom else ''}",
        source,
        days,
        size_tank([1.0] * 12, needs) / needs.highest_daily,
        1e-9,
        "days",
    )
