"""The pump in vertical section, to scale from its parts: plain shapes in millimetres, and the same as SVG for print.

Bores, walls, seat, stroke, weight and volumes are those of the parts. What a build does not say (how long the body is,
how thick its walls, how the vessel is proportioned) is drawn in usual proportions of our own; the drawing says so.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from clackwork.charts.section_parts import (
    MILLIMETRES,
    Motion,
    Shape,
    ValveDrawing,
    box,
    broken_pipe,
    capsule,
    disc,
    draw_waste_valve,
    rounded_box,
)
from clackwork.quantities import format_quantity
from clackwork.ram.parts import Build, DrivePipe, HingedFlap

_VESSEL_LENGTH = 2.0
"""Length of the air vessel's cylinder in its own bores, its ends dished to a quarter of the bore: our choice."""
_OUTLET_SHARE = 0.5
"""Bore of the delivery outlet as a share of the drive pipe's, the usual upper end (trade rule of a third to a half)."""


@dataclass(frozen=True)
class VesselPlace:
    """Where the air vessel stands in the drawing.

    Attributes
    ----------
    x, top : float
        Its axis, and its highest point inside [mm].
    radius, cylinder, head : float
        Inside radius, length of the cylinder, height of each dished end [mm].
    volume : float
        Whole volume inside [m3].
    """

    x: float
    top: float
    radius: float
    cylinder: float
    head: float
    volume: float

    @property
    def bottom(self) -> float:
        """Lowest point inside [mm]."""
        return self.top + self.cylinder + 2.0 * self.head

    def water_level(self, water_volume: float) -> float:
        """Height in the drawing of the surface of ``water_volume`` [m3] in it [mm]; full or empty beyond its ends."""
        wanted = min(max(water_volume / self.volume, 0.0), 1.0) * self._within(2.0 * self.head + self.cylinder)
        low, high = 0.0, 2.0 * self.head + self.cylinder
        for _ in range(40):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if self._within(middle) < wanted else (low, middle)
        return self.bottom - 0.5 * (low + high)

    def _within(self, depth: float) -> float:
        """Volume below a depth of water [mm3]: half ellipsoids at the ends, a cylinder between."""
        area = math.pi * self.radius**2

        def dished(height: float) -> float:
            share = height / self.head
            return area * self.head * (share**2 - share**3 / 3.0)

        lower = dished(min(depth, self.head))
        middle = area * min(max(depth - self.head, 0.0), self.cylinder)
        over = max(depth - self.head - self.cylinder, 0.0)
        upper = 2.0 / 3.0 * area * self.head - dished(self.head - over) if over > 0.0 else 0.0
        return lower + middle + upper


@dataclass(frozen=True)
class Label:
    """Words, what they point at [mm], and the side on which they stand."""

    words: str
    x: float
    y: float
    side: str


@dataclass(frozen=True)
class SectionDrawing:
    """A pump in section.

    Attributes
    ----------
    shapes : tuple of Shape
        In the order in which they are painted within each layer.
    motions : tuple of Motion
    labels : tuple of Label
    vessel : VesselPlace
    tilt : float
        Of the waste valve's housing, clockwise [degrees].
    stroke : float
        [m]
    rim : (float, float, float)
        Upright: half width and height of the rim the waste water leaves by [mm]; and the rim's inner half width.
    pipe_axis : (float, float, float, float)
        Left end, right end, height and radius of the water in the drive pipe [mm].
    gauge : (float, float, float)
        Middle and radius of a pressure gauge's dial, which is not to scale [mm].
    spill_level : float
        Height in the drawing at which the waste valve spills, the datum of all heads [mm].
    bounds : (float, float, float, float)
        Left, top, width and height of all but the labels [mm].
    system : str
        Units of the labels, "metric" or "us".
    """

    shapes: tuple[Shape, ...]
    motions: tuple[Motion, ...]
    labels: tuple[Label, ...]
    vessel: VesselPlace
    tilt: float
    stroke: float
    rim: tuple[float, float, float]
    pipe_axis: tuple[float, float, float, float]
    gauge: tuple[float, float, float]
    spill_level: float
    bounds: tuple[float, float, float, float]
    system: str


@dataclass(frozen=True)
class _Layout:
    """Measures that several pieces share [mm]."""

    valve: ValveDrawing
    tilt: float
    bore: float
    outside: float
    delivery: float
    run: float
    body_wall: float
    neck_x: float
    neck_half: float
    foot_half: float
    neck_height: float
    plate: float
    foot_height: float
    vessel: VesselPlace
    vessel_wall: float
    outlet: float
    left: float
    mouth: float

    @property
    def plate_top(self) -> float:
        """Upper face of the plate that holds the delivery valve's seat."""
        return -self.run - self.neck_height - self.plate


def _layout(build: Build, drive_pipe: DrivePipe) -> _Layout:
    """Where everything stands."""
    pipe = drive_pipe.pipe
    bore, outside = pipe.bore * MILLIMETRES, pipe.outside_diameter * MILLIMETRES
    delivery = build.delivery_valve.bore * MILLIMETRES
    valve = draw_waste_valve(build.waste_valve, bore)
    run = min(0.5 * max(1.1 * bore, 1.1 * delivery), 0.95 * valve.chamber_radius)
    body_wall = max(0.13 * bore, 3.5)
    volume = build.air_vessel.volume
    radius = 0.5 * (12.0 * volume / (7.0 * math.pi)) ** (1.0 / 3.0) * MILLIMETRES
    vessel_wall = max(0.05 * radius, 2.0)
    gap = 8.0 + 0.3 * build.waste_valve.seat_bore * MILLIMETRES
    housing = max(valve.housing_radius + valve.wall, valve.rim_radius + valve.wall, valve.chamber_radius + body_wall)
    neck_half, foot_half = 0.65 * delivery, 0.85 * delivery
    flange = foot_half + body_wall + 0.35 * delivery
    neck_x = -(housing + gap + max(radius + vessel_wall, flange))
    neck_height, plate = max(0.7 * delivery, 10.0), max(0.16 * delivery, 3.0)
    foot_height = 0.95 * delivery
    head = 0.5 * radius
    top = -run - neck_height - plate - foot_height - 2.0 * head - 2.0 * _VESSEL_LENGTH * radius + 0.4 * head
    vessel = VesselPlace(neck_x, top, radius, 2.0 * _VESSEL_LENGTH * radius, head, volume)
    outlet = _OUTLET_SHARE * bore
    mouth = neck_x - flange - 0.2 * outside
    left = min(mouth - 3.0 * outside, neck_x - radius - vessel_wall - 2.4 * outlet - 8.0)
    return _Layout(
        valve, math.degrees(build.waste_valve.tilt), bore, outside, delivery, run, body_wall, neck_x, neck_half,
        foot_half, neck_height, plate, foot_height, vessel, vessel_wall, outlet, left, mouth,
    )  # fmt: skip


def section_shapes(build: Build, drive_pipe: DrivePipe, system: str = "metric") -> SectionDrawing:
    """The pump in vertical section, to scale from its parts.

    Parameters
    ----------
    build : Build
    drive_pipe : DrivePipe
        Its lower end is drawn.
    system : {"metric", "us"}
        Units of the labels.
    """
    at = _layout(build, drive_pipe)
    lift = 0.25 * at.delivery
    shapes = (*_body(at), *_pipes(at), *_vessel(at), *at.valve.shapes, *_delivery_valve(at, lift), *_snifter(at, build))
    motions = (*at.valve.motions, Motion("delivery-valve", "lift", -lift))
    spill = _turned(at.tilt, -at.valve.rim_radius, -at.valve.rim_height)[1]
    other = _turned(at.tilt, at.valve.rim_radius, -at.valve.rim_height)[1]
    bounds = _bounds(at)
    gauge = _gauge(at)
    return SectionDrawing(
        shapes=shapes,
        motions=motions,
        labels=_labels(build, drive_pipe, at, system),
        vessel=at.vessel,
        tilt=at.tilt,
        stroke=build.waste_valve.stroke,
        rim=(at.valve.rim_radius, at.valve.rim_height, 0.78 * build.waste_valve.seat_bore * MILLIMETRES),
        pipe_axis=(at.left, 0.0, 0.0, 0.5 * at.bore),
        gauge=gauge,
        spill_level=max(spill, other),
        bounds=bounds,
        system=system,
    )


def _turned(degrees: float, x: float, y: float) -> tuple[float, float]:
    """A point turned clockwise about the origin, y down the page."""
    angle = math.radians(degrees)
    return (x * math.cos(angle) - y * math.sin(angle), x * math.sin(angle) + y * math.cos(angle))


def _body(at: _Layout) -> tuple[Shape, ...]:
    """Body: socket, run, chamber, neck and lower flange; and the feet it stands on."""
    wall, chamber, half = at.body_wall, at.valve.chamber_radius, 0.5 * at.outside
    flange = at.foot_half + wall + 0.35 * at.delivery
    neck_top = -at.run - at.neck_height
    ground = chamber + wall + 14.0

    def cut(id: str, path: str, layer: str = "wall", material: str = "metal") -> Shape:
        return Shape(id, layer, "body", material, path)

    socket = at.mouth - 0.9 * at.outside
    shapes = [
        cut("socket", rounded_box(socket, -half - wall, at.mouth + wall, half + wall, 2.0)),
        cut("run", box(at.mouth, -at.run - wall, 0.0, at.run + wall)),
        cut("chamber", disc(0.0, 0.0, chamber + wall)),
        cut("neck", box(at.neck_x - at.neck_half - wall, neck_top, at.neck_x + at.neck_half + wall, -at.run)),
        cut("lower-flange", box(at.neck_x - flange, neck_top, at.neck_x + flange, neck_top + 0.9 * at.plate + 3.0)),
        cut("run-space", box(at.mouth, -at.run, 0.0, at.run), "space", "water"),
        cut("chamber-space", disc(0.0, 0.0, chamber), "space", "water"),
        cut(
            "neck-space", box(at.neck_x - at.neck_half, neck_top - 1.0, at.neck_x + at.neck_half, 0.0), "space", "water"
        ),
    ]
    feet = [at.neck_x, *([0.0] if at.tilt < 100.0 else [])]
    for place, x in enumerate(feet):
        upper = at.run if place == 0 else 0.8 * chamber
        shapes.insert(
            0, cut(f"foot-{place}", f"M{x - 9:.2f} {upper:.2f}L{x - 15:.2f} {ground:.2f}h30L{x + 9:.2f} {upper:.2f}Z")
        )
    return tuple(shapes)


def _pipes(at: _Layout) -> tuple[Shape, ...]:
    """Drive pipe and delivery outlet, broken off at the left."""
    vessel, wall = at.vessel, max(0.1 * at.outlet, 1.5)
    y = _outlet_height(at)
    end = vessel.x - 0.9 * vessel.radius
    left = vessel.x - vessel.radius - at.vessel_wall - 2.2 * at.outlet - 6.0
    return (
        Shape("drive-pipe-wall", "wall", "drive pipe", "metal", broken_pipe(at.left, at.mouth, 0.0, 0.5 * at.outside)),
        Shape("drive-pipe-space", "space", "drive pipe", "water",
              broken_pipe(at.left, at.mouth + 1.0, 0.0, 0.5 * at.bore)),
        Shape("outlet-wall", "wall", "delivery outlet", "metal", broken_pipe(left, end, y, 0.5 * at.outlet + wall)),
        Shape("outlet-space", "space", "delivery outlet", "water", broken_pipe(left, end, y, 0.5 * at.outlet)),
    )  # fmt: skip


def _outlet_height(at: _Layout) -> float:
    """Of the delivery outlet's axis."""
    return at.vessel.top + at.vessel.head + at.vessel.cylinder - 0.75 * at.outlet


def _vessel(at: _Layout) -> tuple[Shape, ...]:
    """Air vessel, its foot and upper flange; its inside is air until the water is painted over it."""
    vessel, wall = at.vessel, at.vessel_wall
    flange = at.foot_half + at.body_wall + 0.35 * at.delivery
    outer = capsule(vessel.x, vessel.top - wall, vessel.radius + wall, vessel.cylinder, vessel.head + wall)
    inner = capsule(vessel.x, vessel.top, vessel.radius, vessel.cylinder, vessel.head)
    bottom = vessel.bottom

    def cut(id: str, layer: str, path: str, material: str = "metal") -> Shape:
        return Shape(id, layer, "air vessel", material, path)

    return (
        cut("vessel-wall", "wall", outer),
        cut("vessel-foot", "wall", box(vessel.x - at.foot_half - at.body_wall, bottom - 0.3 * vessel.head,
                                       vessel.x + at.foot_half + at.body_wall, at.plate_top)),
        cut("upper-flange", "wall", box(vessel.x - flange, at.plate_top - 0.9 * at.plate - 3.0,
                                        vessel.x + flange, at.plate_top)),
        cut("vessel-foot-space", "space", box(vessel.x - at.foot_half, bottom - 0.25 * vessel.head,
                                              vessel.x + at.foot_half, at.plate_top), "water"),
        cut("vessel-space", "space", inner, "air"),
    )  # fmt: skip


def _delivery_valve(at: _Layout, lift: float) -> tuple[Shape, ...]:
    """Seat plate between the flanges, a disc on it, and the pin and stop that hold the disc."""
    x, top, half = at.neck_x, at.plate_top, 0.5 * at.delivery
    flange = at.foot_half + at.body_wall + 0.35 * at.delivery
    thick, pin = max(0.14 * at.delivery, 2.0), max(0.05 * at.delivery, 1.0)
    stop = top - thick - lift
    bore = box(x - half, top - 1, x + half, top + at.plate + 1)
    return (
        Shape("delivery-seat-space", "space", "delivery valve", "water", bore),
        Shape("delivery-seat-left", "piece", "delivery valve", "metal", box(x - flange, top, x - half, top + at.plate)),
        Shape("delivery-seat-right", "piece", "delivery valve", "metal", box(x + half, top, x + flange, top + at.plate)),
        Shape("delivery-pin", "piece", "delivery valve", "pin", box(x - pin, stop, x + pin, top + at.plate)),
        Shape("delivery-stop", "piece", "delivery valve", "pin", box(x - 4 * pin, stop - 2 * pin, x + 4 * pin, stop)),
        Shape("delivery-disc", "moving", "delivery valve", "rubber",
              rounded_box(x - 1.3 * half, top - thick, x + 1.3 * half, top, 0.4 * thick), "delivery-valve"),
    )  # fmt: skip


def _snifter(at: _Layout, build: Build) -> tuple[Shape, ...]:
    """The snifter, just below the delivery valve, when the build has one."""
    if build.snifter is None:
        return ()
    half = 0.5 * build.snifter.bore * MILLIMETRES
    y = -at.run - 0.45 * at.neck_height
    inside = at.neck_x - at.neck_half
    path = box(inside - at.body_wall - 0.5, y - half, inside + 0.5, y + half)
    return (Shape("snifter", "space", "snifter", "water", path),)


def _gauge(at: _Layout) -> tuple[float, float, float]:
    """Dial of the gauge: right of the vessel, over the waste valve and clear of its spray."""
    radius = max(0.32 * (at.valve.chamber_radius + at.vessel.radius), 24.0)
    highest = max(at.valve.top, at.valve.rim_height) if at.tilt < 80.0 else at.valve.housing_radius + at.valve.wall
    y = -highest * max(math.cos(math.radians(at.tilt)), 0.3) - 1.1 * at.valve.chamber_radius - radius
    return (at.valve.chamber_radius * 0.55 + 0.4 * radius, y, radius)


def _bounds(at: _Layout) -> tuple[float, float, float, float]:
    """Left, top, width and height around everything, with room for the spray."""
    valve, wall = at.valve, at.body_wall
    half = valve.rim_radius + valve.wall
    corners = [
        _turned(at.tilt, x, -y)
        for x in (-half, half)
        for y in (max(valve.top, valve.rim_height), -valve.chamber_radius)
    ]
    gauge_x, gauge_y, gauge_radius = _gauge(at)
    spray = 1.6 * valve.rim_radius + 12.0
    right = max(*(x for x, _ in corners), valve.chamber_radius + wall, gauge_x + gauge_radius) + spray
    top = min(*(y for _, y in corners), at.vessel.top - at.vessel_wall, gauge_y - gauge_radius) - 8.0
    bottom = max(*(y for _, y in corners), valve.chamber_radius + wall + 14.0) + 6.0
    left = at.left - 4.0
    return (left, top, right - left, bottom - top)


def _labels(build: Build, drive_pipe: DrivePipe, at: _Layout, system: str) -> tuple[Label, ...]:
    """The parts in trade words, with the measures that are to scale."""

    def small(value: float) -> str:
        return format_quantity(value, "small_length", system)

    valve, vessel, tips = build.waste_valve, at.vessel, at.valve.tips
    kind = "hinged flap" if isinstance(valve, HingedFlap) else "guided poppet"
    length = format_quantity(drive_pipe.length, "length", system)
    upper, lower = vessel.top + vessel.head, at.plate_top
    labels = [
        Label("air", vessel.x - 0.4 * vessel.radius, upper, "left"),
        Label(f"air vessel, {format_quantity(vessel.volume, 'volume', system)}",
              vessel.x - vessel.radius, upper + 0.25 * vessel.cylinder, "left"),
        Label("delivery outlet", vessel.x - vessel.radius - at.vessel_wall - at.outlet, _outlet_height(at), "left"),
        Label(f"delivery valve, {small(build.delivery_valve.bore)}", vessel.x - 0.5 * at.delivery, lower, "left"),
        Label(f"drive pipe, bore {small(drive_pipe.pipe.bore)}, {length} long", at.mouth - 1.6 * at.outside,
              -0.5 * at.bore, "left"),
        Label(f"waste valve: {kind}, {format_quantity(valve.mass, 'mass', system)}", *_turned(at.tilt, *tips["valve"]),
              "right"),
        Label(f"seat, bore {small(valve.seat_bore)}", *_turned(at.tilt, *tips["seat"]), "right"),
        Label(f"stroke {small(valve.stroke)}", *_turned(at.tilt, *tips["stroke"]), "right"),
        Label("body", at.neck_x - 0.5 * at.neck_half, at.run + 0.5 * at.body_wall, "left"),
    ]  # fmt: skip
    for name in ("hinge", "spring", "weight"):
        if name in tips:
            labels.append(Label(name, *_turned(at.tilt, *tips[name]), "right"))
    if build.snifter is not None:
        labels.append(
            Label(
                f"snifter, {small(build.snifter.bore)}",
                at.neck_x - at.neck_half,
                -at.run - 0.45 * at.neck_height,
                "left",
            )
        )
    return tuple(labels)
