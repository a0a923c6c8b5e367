"""The section drawing as SVG text: for the page, where its moving parts have names, and for print."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

from clackwork.charts.label_places import spread
from clackwork.charts.section_drawing import Label, SectionDrawing
from clackwork.charts.section_parts import Motion, Shape, capsule
from clackwork.charts.vega import DARK, FONT, MIDDLE, wrap
from clackwork.quantities import from_display, unit_label

WATER = "#d5e3ea"
"""Fill of water: a pale blue that is a pale grey in print; air is paper white."""
METAL = "#f4f2ee"
RUBBER = "#3d3d3d"
_HATCHES = {"body": 45, "drive pipe": -45, "air vessel": -45, "delivery outlet": 45, "seat": -45, "delivery valve": 45,
            "waste valve": 45}  # fmt: skip
"""Part -> direction of its hatching [degrees]: parts that touch are hatched crosswise, as is usual in drawing."""


def moved(motion: Motion, opening: float, passing: bool = False) -> str:
    """SVG transform of a part at an opening of the waste valve [m], with water passing the delivery valve or not."""
    if motion.kind == "turn":
        return f"rotate({motion.per_metre * opening:.3f} {motion.x:.2f} {motion.y:.2f})"
    if motion.kind == "stretch":
        share = 1.0 + motion.per_metre * opening
        return f"matrix(1 0 0 {share:.5f} 0 {motion.y * (1.0 - share):.4f})"
    way = motion.per_metre * (float(passing) if motion.kind == "lift" else opening)
    return f"translate(0 {way:.3f})"


def section_svg(
    drawing: SectionDrawing,
    *,
    opening: float = 0.0,
    water_volume: float = 0.0,
    passing: bool = False,
    labels: bool = True,
    prefix: str = "section",
) -> str:
    """The drawing as an SVG text.

    Parameters
    ----------
    drawing : SectionDrawing
    opening : float, optional
        Of the waste valve [m].
    water_volume : float, optional
        Water in the air vessel [m3].
    passing : bool, optional
        Whether water passes the delivery valve.
    labels : bool, optional
        With the parts' names and a scale bar, for print.
    prefix : str, optional
        Begins every id, so that two drawings may stand on one page.
    """
    left, top, width, height = drawing.bounds
    size = max(width / 30.0, height / 31.0)
    words = _placed(drawing, size) if labels else []
    margin = 14.5 * size if labels else 0.0
    foot = 3.4 * size if labels else 0.0
    view = (left - margin, top, width + 2.0 * margin, height + foot)
    frame = " ".join(f"{number:.1f}" for number in view)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="section-drawing" viewBox="{frame}" role="img" '
        f'aria-label="{escape(_spoken(drawing))}" font-family="{FONT}, sans-serif" font-size="{size:.2f}" '
        f'fill="none" stroke="{DARK}" stroke-linejoin="round">'
        f"<title>The pump in section, to scale</title>{_definitions(drawing, prefix)}"
        f"{_walls(drawing, prefix)}{_spaces(drawing, prefix, water_volume)}"
        f"{_pieces(drawing, prefix, opening, passing)}{_datum(drawing, size)}"
        f"{''.join(words)}{_scale_bar(drawing, size) if labels else ''}</svg>"
    )


def _spoken(drawing: SectionDrawing) -> str:
    """What a screen reader says."""
    return "The pump in vertical section: " + ", ".join(label.words for label in drawing.labels)


def _definitions(drawing: SectionDrawing, prefix: str) -> str:
    """Hatchings, the inside of the vessel, and all that lies below the spill level."""
    vessel = drawing.vessel
    left, _, width, height = drawing.bounds
    patterns = "".join(
        f'<pattern id="{prefix}-hatch{angle}" width="4.2" height="4.2" patternUnits="userSpaceOnUse" '
        f'patternTransform="rotate({angle})"><path d="M0 0V4.2" stroke="{MIDDLE}" stroke-width="0.9"/></pattern>'
        for angle in (45, -45)
    )
    inside = capsule(vessel.x, vessel.top, vessel.radius, vessel.cylinder, vessel.head)
    below = f'<rect x="{left:.2f}" y="{drawing.spill_level:.2f}" width="{width:.2f}" height="{height:.2f}"/>'
    return (
        f'<defs>{patterns}<clipPath id="{prefix}-vessel-inside"><path d="{inside}"/></clipPath>'
        f'<clipPath id="{prefix}-below-spill">{below}</clipPath></defs>'
    )


def _placed_path(shape: Shape, attributes: str) -> str:
    """One outline, turned as it stands."""
    turn = f' transform="rotate({shape.turn:.3f})"' if shape.turn else ""
    return f'<path d="{shape.path}"{turn} {attributes}/>'


def _union(shapes: Iterable[Shape], fills: list[str], width: float) -> str:
    """Shapes drawn as one: all their outlines first, then all their fills over what of these lies inside."""
    found = list(shapes)
    outline = "".join(_placed_path(shape, f'stroke-width="{2 * width}"') for shape in found)
    filled = "".join(_placed_path(shape, f'fill="{fill}" stroke="none"') for fill in fills for shape in found)
    return outline + filled


def _walls(drawing: SectionDrawing, prefix: str) -> str:
    """Walls cut by the section, hatched, one part after the other."""
    walls = [shape for shape in drawing.shapes if shape.layer == "wall"]
    return "".join(
        f'<g id="{prefix}-{member.replace(" ", "-")}">'
        + _union(
            [shape for shape in walls if shape.member == member],
            [METAL, f"url(#{prefix}-hatch{_HATCHES[member]})"],
            0.7,
        )
        + "</g>"
        for member in ("body", "drive pipe", "air vessel", "delivery outlet")
    )


def _spaces(drawing: SectionDrawing, prefix: str, water_volume: float) -> str:
    """Hollows: water everywhere but in the vessel, which holds water up to its level and air above."""
    spaces = [shape for shape in drawing.shapes if shape.layer == "space"]
    vessel = drawing.vessel
    level = vessel.water_level(water_volume)
    outline = "".join(_placed_path(shape, 'stroke-width="1.4"') for shape in spaces)
    dry = "".join(_placed_path(each, 'fill="white" stroke="none"') for each in spaces if each.material != "water")
    fill = f'fill="{WATER}" stroke="none"'
    wet = "".join(_placed_path(each, fill) for each in spaces if each.material == "water")
    spill = "".join(_placed_path(each, fill) for each in spaces if each.material == "spill")
    left, across = vessel.x - vessel.radius, 2.0 * vessel.radius
    return (
        f'<g id="{prefix}-water">{outline}{dry}{wet}<g clip-path="url(#{prefix}-below-spill)">{spill}</g>'
        f'<g clip-path="url(#{prefix}-vessel-inside)">'
        f'<rect id="{prefix}-level" x="{left:.2f}" y="{level:.2f}" width="{across:.2f}" '
        f'height="{vessel.bottom - vessel.top:.2f}" fill="{WATER}" stroke="{DARK}" stroke-width="0.7"/>'
        f"</g></g>"
    )


def _pieces(drawing: SectionDrawing, prefix: str, opening: float, passing: bool) -> str:
    """Fixed and moving pieces, the moving ones in groups that carry their motion's name."""
    motions = {motion.name: motion for motion in drawing.motions}
    drawn = []
    for shape in drawing.shapes:
        if shape.layer not in ("piece", "moving", "ghost"):
            continue
        inner = _piece(shape, prefix)
        if shape.layer == "moving":
            now = moved(motions[shape.motion], opening, passing)
            inner = f'<g data-motion="{shape.motion}" transform="{now}">{inner}</g>'
        elif shape.layer == "ghost":
            inner = f'<g transform="{moved(motions[shape.motion], drawing.stroke)}">{inner}</g>'
        turn = f' transform="rotate({shape.turn:.3f})"' if shape.turn else ""
        drawn.append(f"<g{turn}>{inner}</g>")
    return "".join(drawn)


def _piece(shape: Shape, prefix: str) -> str:
    """One piece: metal hatched, rubber dark, a spring as a line, the open stop as a broken line."""
    name = f'id="{prefix}-{shape.id}" d="{shape.path}"'
    if shape.layer == "ghost":
        return f'<path {name} stroke="{MIDDLE}" stroke-width="0.8" stroke-dasharray="4 1.6 1 1.6"/>'
    if shape.material == "spring":
        return f'<path {name} stroke-width="1.5"/>'
    if shape.material == "metal":
        hatch = f"url(#{prefix}-hatch{_HATCHES[shape.member]})"
        return f'<path {name} fill="{METAL}" stroke-width="1"/><path d="{shape.path}" fill="{hatch}" stroke="none"/>'
    fill = RUBBER if shape.material == "rubber" else "white"
    return f'<path {name} fill="{fill}" stroke-width="0.8"/>'


def _datum(drawing: SectionDrawing, size: float) -> str:
    """The level from which all heads are counted."""
    left, _, width, _ = drawing.bounds
    right, y = left + width, drawing.spill_level
    start = drawing.rim[0] if drawing.tilt < 45.0 else 0.0
    return (
        f'<g class="section-datum"><path d="M{start + 3:.2f} {y:.2f}H{right:.2f}" stroke="{MIDDLE}" stroke-width="0.6" '
        f'stroke-dasharray="6 2 1 2"/><path d="M{right - 1.6 * size:.2f} {y:.2f}l{-0.4 * size:.2f} {-0.6 * size:.2f}'
        f'h{0.8 * size:.2f}Z" stroke-width="0.7"/></g>'
    )


def _placed(drawing: SectionDrawing, size: float) -> list[str]:
    """Labels in a column at either side, apart from one another, each with a line to what it names."""
    left, top, width, height = drawing.bounds
    spill = Label("spill level: heads count from here", left + width - 3 * size, drawing.spill_level, "right")
    drawn = []
    for side in ("left", "right"):
        mine = sorted((each for each in (*drawing.labels, spill) if each.side == side), key=lambda each: each.y)
        heights = spread([each.y for each in mine], 2.4 * size, top + size, top + height - 1.6 * size)
        x = left - 0.6 * size if side == "left" else left + width + 0.6 * size
        anchor = "end" if side == "left" else "start"
        elbow = x + (size if side == "left" else -size)
        for each, y in zip(mine, heights, strict=True):
            drawn.append(
                f'<path d="M{x:.2f} {y:.2f}H{elbow:.2f}L{each.x:.2f} {each.y:.2f}" stroke="{DARK}" stroke-width="0.5"/>'
                f'<circle cx="{each.x:.2f}" cy="{each.y:.2f}" r="1.3" fill="{DARK}" stroke="none"/>'
                + _lines(each.words, x + (-0.3 if side == "left" else 0.3) * size, y, anchor, size)
            )
    return [f'<g class="section-labels">{"".join(drawn)}</g>']


def _lines(words: str, x: float, y: float, anchor: str, size: float) -> str:
    """Words in one line or two."""
    lines = wrap(words, 24)
    first = y + 0.35 * size - 0.55 * size * (len(lines) - 1)
    spans = "".join(
        f'<tspan x="{x:.2f}" y="{first + 1.1 * size * place:.2f}">{escape(line)}</tspan>'
        for place, line in enumerate(lines)
    )
    return f'<text text-anchor="{anchor}" fill="{DARK}" stroke="none">{spans}</text>'


def _scale_bar(drawing: SectionDrawing, size: float) -> str:
    """A bar of a round length in the units asked for, and what is to scale."""
    left, top, width, height = drawing.bounds
    longest = 0.28 * width
    steps = (1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0)
    in_units = [(step, 1e3 * from_display(step, "small_length", drawing.system)) for step in steps]
    number, long = [each for each in in_units if each[1] <= longest][-1]
    y = top + height + 0.9 * size
    words = f"{number:g} {unit_label('small_length', drawing.system)}"
    return (
        f'<g class="section-scale"><path d="M{left:.2f} {y:.2f}h{long:.2f}m0 -2v4m{-0.5 * long:.2f} -4v4'
        f'm{-0.5 * long:.2f} -4v4" stroke-width="0.9"/>'
        f'<text x="{left + long + size:.2f}" y="{y + 0.35 * size:.2f}" fill="{DARK}" stroke="none">{words}. '
        f"Bores, walls, seat, stroke, weight and vessel are to scale;</text>"
        f'<text x="{left + long + size:.2f}" y="{y + 1.6 * size:.2f}" fill="{DARK}" stroke="none">'
        f"the shape of the body and the length of pipe shown are not.</text></g>"
    )
