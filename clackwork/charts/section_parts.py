"""Pieces of the section drawing, each a pure function of measures in millimetres.

Millimetres, x to the right, y down the page, the origin at the middle of the waste valve's chamber. A piece that
turns with the waste valve's housing is given upright, with the angle it stands at beside it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from clackwork.ram.parts import GuidedPoppet, HingedFlap, WasteValve

MILLIMETRES = 1e3
"""Millimetres in a metre."""


@dataclass(frozen=True)
class Shape:
    """One outline of the drawing.

    Attributes
    ----------
    id : str
    layer : {"wall", "space", "piece", "moving", "ghost"}
        Walls that are cut, hollows in them, fixed pieces, moving pieces, and where a moving piece goes.
    member : str
        Part of the pump it belongs to; walls of one member are hatched alike and drawn as one.
    material : {"metal", "water", "air", "spill", "rubber", "spring", "pin"}
        Spill is a hollow that holds water up to the spill level.
    path : str
        Outline [mm], as SVG path data.
    motion : str
        Name of the :class:`Motion` it follows, "" when it stands still.
    turn : float
        It stands turned by this about the origin, clockwise [degrees].
    """

    id: str
    layer: str
    member: str
    material: str
    path: str
    motion: str = ""
    turn: float = 0.0


@dataclass(frozen=True)
class Motion:
    """How a moving part moves, in its own frame.

    Attributes
    ----------
    name : str
    kind : {"slide", "turn", "stretch", "lift"}
        Slide: moves down by ``per_metre`` [mm]; turn: clockwise about (x, y) by ``per_metre`` [degrees]; stretch: grows
        from y by a share of ``per_metre``; each for a metre of waste valve opening. Lift: moves down by ``per_metre``
        [mm] as long as water passes the delivery valve.
    per_metre : float
    x, y : float
        Where it turns or stretches from [mm].
    """

    name: str
    kind: str
    per_metre: float
    x: float = 0.0
    y: float = 0.0


@dataclass(frozen=True)
class ValveDrawing:
    """The waste valve in its housing, upright.

    Attributes
    ----------
    shapes : tuple of Shape
    motions : tuple of Motion
    chamber_radius, housing_radius, wall, seat_height, rim_height, rim_radius, top : float
        Inside of chamber and housing, wall of the housing, seat, rim and highest piece above the chamber's middle [mm].
    tips : dict of str to (float, float)
        Points that labels speak of, upright [mm].
    """

    shapes: tuple[Shape, ...]
    motions: tuple[Motion, ...]
    chamber_radius: float
    housing_radius: float
    wall: float
    seat_height: float
    rim_height: float
    rim_radius: float
    top: float
    tips: dict[str, tuple[float, float]]


def box(left: float, top: float, right: float, bottom: float) -> str:
    """Path of a rectangle."""
    return f"M{left:.2f} {top:.2f}H{right:.2f}V{bottom:.2f}H{left:.2f}Z"


def disc(x: float, y: float, radius: float) -> str:
    """Path of a circle."""
    arc = f"a{radius:.2f} {radius:.2f} 0 1 0 "
    return f"M{x - radius:.2f} {y:.2f}{arc}{2 * radius:.2f} 0{arc}{-2 * radius:.2f} 0Z"


def rounded_box(left: float, top: float, right: float, bottom: float, radius: float) -> str:
    """Path of a rectangle with round corners."""
    r = min(radius, 0.5 * (right - left), 0.5 * (bottom - top))
    arc = f"a{r:.2f} {r:.2f} 0 0 1 "
    return (
        f"M{left + r:.2f} {top:.2f}H{right - r:.2f}{arc}{r:.2f} {r:.2f}V{bottom - r:.2f}{arc}{-r:.2f} {r:.2f}"
        f"H{left + r:.2f}{arc}{-r:.2f} {-r:.2f}V{top + r:.2f}{arc}{r:.2f} {-r:.2f}Z"
    )


def coil(x: float, top: float, bottom: float, radius: float, turns: int) -> str:
    """Path of a helical spring seen from its side."""
    pitch = (bottom - top) / turns
    points = [f"M{x - radius:.2f} {top:.2f}"]
    for turn in range(turns):
        y = top + turn * pitch
        points.append(f"L{x + radius:.2f} {y + 0.5 * pitch:.2f}L{x - radius:.2f} {y + pitch:.2f}")
    return "".join(points)


def capsule(x: float, top: float, radius: float, cylinder: float, head: float) -> str:
    """Path of an upright cylinder with dished ends of height ``head``, its upper end at ``top``."""
    bend = f"A{radius:.2f} {head:.2f} 0 0 1 "
    return (
        f"M{x - radius:.2f} {top + head:.2f}{bend}{x + radius:.2f} {top + head:.2f}v{cylinder:.2f}"
        f"{bend}{x - radius:.2f} {top + head + cylinder:.2f}Z"
    )


def broken_pipe(left: float, right: float, y: float, radius: float) -> str:
    """Path of a pipe's outline whose left end is broken off."""
    wave = 0.35 * radius
    return (
        f"M{left:.2f} {y - radius:.2f}H{right:.2f}V{y + radius:.2f}H{left:.2f}"
        f"C{left + wave:.2f} {y + 0.4 * radius:.2f} {left - wave:.2f} {y - 0.4 * radius:.2f} {left:.2f} {y - radius:.2f}Z"
    )


def draw_waste_valve(valve: WasteValve, pipe_bore: float) -> ValveDrawing:
    """The waste valve, upright, in a housing of our own around its seat; ``pipe_bore`` in [mm]."""
    if isinstance(valve, HingedFlap):
        return _draw_flap(valve, pipe_bore)
    return _draw_poppet(valve, pipe_bore)


def _volume(valve: WasteValve) -> float:
    """Of the moving part [mm3]."""
    return valve.mass / valve.material_density * MILLIMETRES**3


def _housing(seat: float, housing: float, height: float, cup: float, turn: float) -> tuple[list[Shape], float, float]:
    """Walls, hollows and seat ring; with the wall's thickness and the height of the rim."""
    wall, ring = max(0.13 * seat, 3.0), max(0.2 * seat, 4.0)
    rim = height + ring + 0.5 * seat
    half = 0.5 * seat

    def made(id: str, layer: str, path: str, material: str = "metal") -> Shape:
        return Shape(id, layer, "body" if layer != "piece" else "seat", material, path, turn=turn)

    shapes = [
        made("housing-wall", "wall", box(-housing - wall, -height - ring, housing + wall, 0.0)),
        made("cup-wall", "wall", box(-cup - wall, -rim, cup + wall, -height)),
        made("housing-space", "space", box(-housing, -height, housing, 0.0), "water"),
        made("seat-space", "space", box(-half, -height - ring - 1.0, half, -height + 1.0), "water"),
        made("cup-space", "space", box(-cup, -rim, cup, -height - ring), "spill"),
        made("seat-left", "piece", box(-min(cup, 0.75 * seat), -height - ring, -half, -height)),
        made("seat-right", "piece", box(half, -height - ring, min(cup, 0.75 * seat), -height)),
    ]
    return shapes, wall, rim


def _draw_flap(valve: HingedFlap, pipe_bore: float) -> ValveDrawing:
    """A flap under its seat, hinged at the left, its weight bolted below it."""
    seat, stroke = valve.seat_bore * MILLIMETRES, valve.stroke * MILLIMETRES
    arm, turn = valve.seat_distance * MILLIMETRES, math.degrees(valve.tilt)
    chamber = max(1.5 * seat, 0.75 * pipe_bore)
    housing = min(max(0.92 * seat, arm + 0.2 * seat), 0.95 * chamber)
    height = chamber + 0.2 * seat
    shapes, wall, rim = _housing(seat, housing, height, 0.78 * seat, turn)
    plate = 0.12 * seat
    plate_volume = 0.25 * math.pi * (1.3 * seat) ** 2 * plate
    left = max(_volume(valve) - plate_volume, 0.0)
    across = min((left / (0.15 * math.pi)) ** (1.0 / 3.0), 1.75 * housing)
    tall = left / (0.25 * math.pi * across**2) if across > 0.0 else 0.0
    tall = min(tall, 1.9 * chamber)
    middle = valve.mass_distance * MILLIMETRES
    if left > 0.0:
        # the weight stands where it brings the whole part's centre of mass to the distance measured
        middle = (_volume(valve) * middle - plate_volume * arm) / left
    middle = min(max(middle - arm, -0.4 * seat), 0.4 * seat)
    weight = rounded_box(
        middle - 0.5 * across, -height + plate, middle + 0.5 * across, -height + plate + tall, 0.06 * seat
    )
    leaf = rounded_box(-arm - 0.08 * seat, -height, 0.65 * seat, -height + plate, 0.5 * plate)

    def moving(id: str, material: str, path: str, layer: str = "moving") -> Shape:
        return Shape(id, layer, "waste valve", material, path, "waste-valve", turn)

    shapes += [
        Shape("hinge-lug", "piece", "seat", "metal", box(-arm - 0.1 * seat, -height - 1, -arm + 0.1 * seat, -height),
              turn=turn),
        moving("valve-weight", "metal", weight),
        moving("valve-leaf", "rubber", leaf),
        Shape("hinge-pin", "piece", "seat", "pin", disc(-arm, -height, 0.09 * seat), turn=turn),
        moving("valve-open", "metal", leaf, "ghost"),
    ]  # fmt: skip
    motion = Motion("waste-valve", "turn", math.degrees(1.0 / valve.seat_distance), -arm, -height)
    tips = {
        "valve": (middle, -height + plate + 0.5 * tall) if tall > plate else (0.3 * seat, -height + 0.5 * plate),
        "seat": (0.62 * seat, -height - 0.1 * seat),
        "hinge": (-arm, -height),
        "stroke": (0.0, -height + 0.5 * stroke),
    }
    return ValveDrawing(
        tuple(shapes), (motion,), chamber, housing, wall, height, rim, 0.78 * seat, rim, tips
    )  # fmt: skip


def _draw_poppet(valve: GuidedPoppet, pipe_bore: float) -> ValveDrawing:
    """A disc under its seat on a stem, which a bridge over the rim guides; nut, spring and weight on the stem."""
    seat, stroke = valve.seat_bore * MILLIMETRES, valve.stroke * MILLIMETRES
    turn = math.degrees(valve.tilt)
    chamber = max(1.25 * seat, 0.75 * pipe_bore)
    housing = min(0.92 * seat, 0.95 * chamber)
    height = chamber + 0.2 * seat + max(0.0, stroke - 0.6 * seat)
    shapes, wall, rim = _housing(seat, housing, height, 0.78 * seat, turn)
    plate, stem = 0.16 * seat, max(0.08 * seat, 1.5)
    boss, nut = 0.3 * seat, 0.2 * seat
    guide = rim + 0.1 * seat  # underside of the guide above the chamber's middle
    nut_at = guide + boss + stroke  # underside of the nut with the valve shut

    def moving(id: str, material: str, path: str, layer: str = "moving") -> Shape:
        return Shape(id, layer, "waste valve", material, path, "waste-valve", turn)

    disc_path = rounded_box(-0.625 * seat, -height, 0.625 * seat, -height + plate, 0.3 * plate)
    stem_path = box(-stem, -nut_at - nut - 0.1 * seat, stem, -height + 0.5 * plate)
    shapes += [
        moving("valve-stem", "metal", stem_path),
        moving("valve-disc", "rubber", disc_path),
        moving("valve-nut", "metal", box(-2.4 * stem, -nut_at - nut, 2.4 * stem, -nut_at)),
        *_guide(seat, stem, guide, boss, rim, turn),
    ]
    stem_volume = math.pi * stem**2 * (nut_at - height)
    left = _volume(valve) - stem_volume - 0.25 * math.pi * (1.25 * seat) ** 2 * plate
    top = nut_at + nut + 0.1 * seat
    tips = {
        "valve": (0.45 * seat, -height + 0.5 * plate),
        "seat": (0.62 * seat, -height - 0.1 * seat),
        "stroke": (0.0, -nut_at + 0.5 * stroke),
    }
    if left > 0.0:
        across = min((left / (0.15 * math.pi)) ** (1.0 / 3.0), 1.6 * seat)
        tall = min(left / (0.25 * math.pi * across**2), 4.0 * seat)
        collar = rounded_box(-0.5 * across, -nut_at - nut - tall, 0.5 * across, -nut_at - nut, 0.05 * seat)
        shapes.append(moving("valve-weight", "metal", collar))
        top = nut_at + nut + tall
        tips["weight"] = (0.4 * across, -nut_at - nut - 0.5 * tall)
    shapes.append(moving("valve-open", "metal", disc_path, "ghost"))
    motions = [Motion("waste-valve", "slide", MILLIMETRES)]
    if valve.spring_rate > 0.0 or valve.spring_preload != 0.0:
        shape, motion, tip = _spring(valve, 2.1 * stem, height, guide, boss, nut_at, turn)
        shapes.append(shape)
        motions.append(motion)
        tips["spring"] = tip
    return ValveDrawing(tuple(shapes), tuple(motions), chamber, housing, wall, height, rim, 0.9 * seat, top, tips)


def _guide(seat: float, stem: float, guide: float, boss: float, rim: float, turn: float) -> tuple[Shape, ...]:
    """A boss the stem slides in, on a bridge over the rim; its underside at ``guide``."""
    pieces = (
        ("boss", 1.15 * stem, 2.6 * stem, -guide - boss, -guide),
        ("arm", 2.6 * stem, 0.9 * seat, -guide - 0.65 * boss, -guide - 0.35 * boss),
        ("post", 0.82 * seat, 0.9 * seat, -guide - 0.65 * boss, -rim),
    )
    found = []
    for side, sign in (("left", -1.0), ("right", 1.0)):
        for name, near, far, top, bottom in pieces:
            left, right = sorted((sign * near, sign * far))
            path = box(left, top, right, bottom)
            found.append(Shape(f"guide-{name}-{side}", "piece", "seat", "metal", path, turn=turn))
    return tuple(found)


def _spring(
    valve: GuidedPoppet, radius: float, height: float, guide: float, boss: float, nut_at: float, turn: float
) -> tuple[Shape, Motion, tuple[float, float]]:
    """A spring under the guide that pushes the disc open, or above it one that lifts the nut towards the seat."""
    if valve.spring_preload >= 0.0:
        top, bottom, sign, fixed = -guide, -height, 1.0, -guide
    else:
        top, bottom, sign, fixed = -nut_at, -guide - boss, -1.0, -guide - boss
    shape = Shape("valve-spring", "moving", "waste valve", "spring", coil(0.0, top, bottom, radius, 6), "spring", turn)
    motion = Motion("spring", "stretch", sign * MILLIMETRES / (bottom - top), 0.0, fixed)
    return shape, motion, (radius, 0.5 * (top + bottom))
