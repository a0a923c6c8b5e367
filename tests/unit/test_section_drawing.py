"""The section drawing: what a build says is drawn to scale, and moves as its valve moves."""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ElementTree
from dataclasses import replace

import pytest

from clackwork.charts.section_drawing import SectionDrawing, section_shapes
from clackwork.charts.section_parts import Motion, Shape, coil, disc
from clackwork.charts.section_svg import moved, section_svg
from clackwork.pipes import find_pipe
from clackwork.ram.parts import AirVessel, Build, DeliveryValve, DrivePipe, GuidedPoppet, HingedFlap, Snifter

PIPE = DrivePipe(find_pipe("steel-sch40", "1 in"), 12.0)
FLAP = Build(
    "flap",
    HingedFlap(
        mass=0.14, stroke=0.007, seat_bore=0.03, mass_distance=0.022, seat_distance=0.022, material_density=4200.0
    ),
    DeliveryValve(bore=0.02),
    AirVessel(volume=3e-3),
)
POPPET = Build(
    "poppet",
    GuidedPoppet(
        mass=0.06, stroke=0.008, seat_bore=0.03, spring_rate=150.0, spring_preload=0.55, material_density=1800.0
    ),
    DeliveryValve(bore=0.02),
    AirVessel(volume=3e-3),
)
BUILDS = [FLAP, POPPET, FLAP.retuned(tilt=0.4), POPPET.retuned(tilt=math.pi / 2), POPPET.retuned(tilt=math.pi)]


def shape(drawing: SectionDrawing, id: str) -> Shape:
    [found] = [each for each in drawing.shapes if each.id == id]
    return found


def motion(drawing: SectionDrawing, name: str) -> Motion:
    [found] = [each for each in drawing.motions if each.name == name]
    return found


def box_of(path: str) -> tuple[float, float, float, float]:
    """Left, top, right and bottom of a rectangle drawn with M, H and V."""
    x, y = (float(number) for number in re.match(r"M(\S+) (\S+?)[HaC]", path).groups())  # type: ignore[union-attr]
    across = [x, *(float(number) for number in re.findall(r"H([-\d.]+)", path))]
    down = [y, *(float(number) for number in re.findall(r"V([-\d.]+)", path))]
    return min(across), min(down), max(across), max(down)


def test_bores_and_seat_are_to_scale() -> None:
    drawing = section_shapes(FLAP, PIPE)
    left, _, right, _ = box_of(shape(drawing, "seat-space").path)
    assert right - left == pytest.approx(30.0, abs=0.02)
    _, top, _, bottom = box_of(shape(drawing, "drive-pipe-space").path)
    assert bottom - top == pytest.approx(1e3 * PIPE.pipe.bore, abs=0.02)
    _, top, _, bottom = box_of(shape(drawing, "drive-pipe-wall").path)
    assert bottom - top == pytest.approx(1e3 * PIPE.pipe.outside_diameter, abs=0.02)
    left, _, right, _ = box_of(shape(drawing, "delivery-seat-space").path)
    assert right - left == pytest.approx(20.0, abs=0.02)


def test_vessel_holds_its_volume() -> None:
    # by hand: a cylinder and two half ellipsoids of half its radius in height
    vessel = section_shapes(FLAP, PIPE).vessel
    cylinder = math.pi * vessel.radius**2 * vessel.cylinder
    ends = 4.0 / 3.0 * math.pi * vessel.radius**2 * vessel.head
    assert (cylinder + ends) / 1e9 == pytest.approx(3e-3, rel=1e-9)


def test_water_stands_where_its_volume_fills_the_vessel() -> None:
    vessel = section_shapes(FLAP, PIPE).vessel
    assert vessel.water_level(0.0) == pytest.approx(vessel.bottom, abs=1e-6)
    assert vessel.water_level(3e-3) == pytest.approx(vessel.top, abs=1e-6)
    assert vessel.water_level(1.5e-3) == pytest.approx(0.5 * (vessel.top + vessel.bottom), abs=1e-6)
    # one millimetre of the cylinder
    slice_volume = math.pi * vessel.radius**2 / 1e9
    assert vessel.water_level(1.4e-3) - vessel.water_level(1.4e-3 + slice_volume) == pytest.approx(1.0, rel=1e-6)
    levels = [vessel.water_level(share * 3e-3) for share in (0.02, 0.1, 0.3, 0.9, 0.99)]
    assert levels == sorted(levels, reverse=True)
    assert vessel.water_level(1.0) == vessel.water_level(3e-3), "more than it holds"


def test_flap_opens_by_its_stroke_at_the_middle_of_the_seat() -> None:
    drawing = section_shapes(FLAP, PIPE)
    way = motion(drawing, "waste-valve")
    angle = math.radians(way.per_metre * FLAP.waste_valve.stroke)
    assert way.kind == "turn"
    assert angle * -way.x == pytest.approx(7.0, rel=1e-9), "turned about its hinge, 22 mm left of the middle"


def test_poppet_slides_by_its_opening_and_its_spring_follows() -> None:
    drawing = section_shapes(POPPET, PIPE)
    assert motion(drawing, "waste-valve").kind == "slide"
    assert motion(drawing, "waste-valve").per_metre * 0.008 == pytest.approx(8.0)
    spring = motion(drawing, "spring")
    points = [float(y) for y in re.findall(r"[ML]\S+? (-?[\d.]+)", shape(drawing, "valve-spring").path)]
    longer = (max(points) - min(points)) * spring.per_metre * 0.008
    assert longer == pytest.approx(8.0, abs=0.02), "its lower end goes with the disc"
    assert spring.y == pytest.approx(min(points), abs=0.01), "its upper end stays at the guide"


def test_a_spring_that_pulls_shut_stands_over_the_guide() -> None:
    pulled = replace(POPPET, waste_valve=replace(POPPET.waste_valve, spring_preload=-0.1))
    above, below = section_shapes(pulled, PIPE), section_shapes(POPPET, PIPE)
    assert motion(above, "spring").per_metre < 0.0 < motion(below, "spring").per_metre


def test_weight_has_the_volume_its_mass_asks_for() -> None:
    for mass in (0.14, 0.28):
        drawing = section_shapes(FLAP.retuned(mass=mass), PIPE)
        path = shape(drawing, "valve-weight").path
        # corners are rounded off on the drawing only: width from the first and last straight, height from the arcs between
        start_x, start_y = (float(number) for number in re.match(r"M(\S+) (\S+?)H", path).groups())  # type: ignore[union-attr]
        corner = float(re.search(r"a([\d.]+)", path).group(1))  # type: ignore[union-attr]
        right = float(re.search(r"H([-\d.]+)", path).group(1)) + corner  # type: ignore[union-attr]
        bottom = float(re.search(r"V([-\d.]+)", path).group(1)) + corner  # type: ignore[union-attr]
        across, tall = right - (start_x - corner), bottom - start_y
        plate = 0.25 * math.pi * 39.0**2 * 3.6
        assert 0.25 * math.pi * across**2 * tall + plate == pytest.approx(mass / 4200.0 * 1e9, rel=5e-3)


def test_snifter_is_drawn_only_when_there_is_one() -> None:
    assert not [each for each in section_shapes(FLAP, PIPE).shapes if each.id == "snifter"]
    drawing = section_shapes(replace(FLAP, snifter=Snifter(0.0015)), PIPE)
    _, top, _, bottom = box_of(shape(drawing, "snifter").path)
    assert bottom - top == pytest.approx(1.5, abs=0.02)
    assert any(label.words == "snifter, 1.50 mm" for label in drawing.labels)


def test_tilt_turns_the_waste_valve_alone() -> None:
    drawing = section_shapes(POPPET.retuned(tilt=math.pi / 2), PIPE)
    turned = {each.member for each in drawing.shapes if each.turn}
    assert "waste valve" in turned and not turned & {"drive pipe", "air vessel", "delivery valve"}
    upright = section_shapes(POPPET, PIPE)
    assert upright.spill_level < drawing.spill_level < section_shapes(POPPET.retuned(tilt=math.pi), PIPE).spill_level


@pytest.mark.parametrize("build", BUILDS, ids=["flap", "poppet", "tilted flap", "level poppet", "poppet upside down"])
def test_svg_is_whole_and_keeps_to_the_strict_policy(build: Build) -> None:
    text = section_svg(section_shapes(build, PIPE), opening=0.004, water_volume=2e-3, prefix="one")
    root = ElementTree.fromstring(text)
    ids = [each.get("id") for each in root.iter() if each.get("id")]
    assert len(ids) == len(set(ids)) and all(name.startswith("one-") for name in ids)
    assert not [each for each in root.iter() if each.get("style") or each.tag.endswith(("script", "style", "image"))]
    assert {each.get("data-motion") for each in root.iter()} >= {"waste-valve", "delivery-valve"}


def test_print_reads_in_grey() -> None:
    text = section_svg(section_shapes(FLAP, PIPE))
    colours = set(re.findall(r'"#([0-9a-f]{6})"', text))
    spread = {colour: max(_channels(colour)) - min(_channels(colour)) for colour in colours}
    assert colours and max(spread.values()) <= 24, "hatching and outline carry the meaning, not colour"


def _channels(colour: str) -> list[int]:
    return [int(colour[place : place + 2], 16) for place in (0, 2, 4)]


def test_labels_speak_both_unit_systems() -> None:
    metric = {label.words for label in section_shapes(FLAP, PIPE).labels}
    us = {label.words for label in section_shapes(FLAP, PIPE, "us").labels}
    assert "stroke 7.00 mm" in metric and "stroke 0.276 in" in us
    assert "waste valve: hinged flap, 0.140 kg" in metric and "delivery outlet" in metric & us


def test_labels_stand_apart() -> None:
    text = section_svg(section_shapes(POPPET, PIPE))
    size = float(re.search(r'font-size="([\d.]+)"', text).group(1))  # type: ignore[union-attr]
    for anchor in ("end", "start"):
        blocks = re.findall(rf'<text text-anchor="{anchor}".*?</text>', text)
        tops = [float(re.findall(r'y="([-\d.]+)"', block)[0]) for block in blocks]
        bottoms = [float(re.findall(r'y="([-\d.]+)"', block)[-1]) for block in blocks]
        assert len(blocks) > 3
        assert all(after - before > 0.9 * size for after, before in zip(tops[1:], bottoms[:-1], strict=True))


@pytest.mark.parametrize("build", BUILDS)
def test_everything_lies_within_bounds(build: Build) -> None:
    drawing = section_shapes(build, PIPE)
    left, top, width, height = drawing.bounds
    vessel = drawing.vessel
    assert left < vessel.x - vessel.radius and top < vessel.top
    gauge_x, gauge_y, radius = drawing.gauge
    assert left < gauge_x - radius and gauge_x + radius < left + width and top < gauge_y - radius
    assert all(left <= label.x <= left + width and top <= label.y <= top + height for label in drawing.labels)


def test_motions_as_transforms() -> None:
    assert moved(Motion("a", "turn", 1000.0, -22.0, -50.0), 0.01) == "rotate(10.000 -22.00 -50.00)"
    assert moved(Motion("a", "slide", 1000.0), 0.004) == "translate(0 4.000)"
    assert moved(Motion("a", "lift", -5.0), 0.004, passing=False) == "translate(0 -0.000)"
    assert moved(Motion("a", "lift", -5.0), 0.0, passing=True) == "translate(0 -5.000)"
    # twice as long from y = 10: a point at 10 stays, one at 12 goes to 14
    assert moved(Motion("a", "stretch", 100.0, 0.0, 10.0), 0.01) == "matrix(1 0 0 2.00000 0 -10.0000)"


def test_paths_of_pieces() -> None:
    assert disc(1.0, 2.0, 3.0).startswith("M-2.00 2.00a3.00 3.00")
    assert coil(0.0, 0.0, 12.0, 2.0, 6).count("L") == 12
