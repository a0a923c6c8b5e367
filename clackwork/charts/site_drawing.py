"""The site in elevation, to scale, as one SVG text for page and paper; it computes no physics.

Readable in grey: stretches of pipe differ by hatching, lines by dash. The narrow variant, for a phone, puts numbers on
the drawing and their words under it; so does the wide one where words beside the drawing would not fit.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from html import escape
from itertools import pairwise

from clackwork.charts.label_places import LINE, Label, PlacedLabel, place_labels, spread, text_width, wrap_to
from clackwork.charts.site_scene import Point, Scene, Stretch, site_scene
from clackwork.charts.vega import DARK, FONT, MIDDLE, PALE
from clackwork.quantities import from_display
from clackwork.site.design import Choice
from clackwork.site.site import Site
from clackwork.site.survey import Survey
from clackwork.words import Words, load_words

_STRETCHES = (2, 3, 4, 5, 6, 8, 10, 12, 15, 20, 25, 30, 40, 50, 60, 80, 100, 150, 200, 300, 500, 1000)
"""Times that heights may be drawn taller than lengths."""
_MOST_NOTES = 6
"""Notes of the survey that are drawn."""
_ROUND_STEPS = (1.0, 2.0, 5.0)
_HATCHES = 4
"""Hatchings of the delivery line's zones, in turn."""
_ROOMS = (0.18, 0.21, 0.24, 0.28, 0.33)
"""Widest labels tried, as shares of the drawing's width."""


@dataclass(frozen=True)
class _Look:
    """Measures of a variant [px]."""

    width: float
    size: float
    margin: float
    least_height: float
    most_height: float
    numbered: bool


_WIDE = _Look(760.0, 13.0, 112.0, 170.0, 330.0, False)
_NARROW = _Look(340.0, 12.5, 44.0, 150.0, 300.0, True)
_BESIDE = 32.0
"""From what is drawn to scale out to the dimensions: clear of the tank."""
_SHORT_DIMENSION = 16.0
"""Below this a dimension ends in strokes, as arrows would run into one another."""


@dataclass
class _Page:
    """A drawing as it grows: from metres to its own units, and its pieces so far."""

    scene: Scene
    look: _Look
    words: Words
    units: str
    prefix: str
    across: float = 1.0
    up: float = 1.0
    stretch: int = 1
    left: float = 0.0
    pieces: list[str] = field(default_factory=list)
    key: list[str] = field(default_factory=list)
    top: float = 0.0
    bottom: float = 0.0

    def x(self, across: float) -> float:
        """Place of a level distance [m]."""
        return self.left + (across - self.scene.ends[0]) * self.across

    def y(self, height: float) -> float:
        """Place of a height [m]; 0 is the top of what is drawn."""
        return (self.scene.heights[1] - height) * self.up

    def at(self, point: Point) -> tuple[float, float]:
        """Place of a point [m]."""
        return self.x(point[0]), self.y(point[1])

    @property
    def height(self) -> float:
        """Of what is drawn to scale."""
        low, high = self.scene.heights
        return (high - low) * self.up

    @property
    def ends(self) -> tuple[float, float]:
        """Left and right of what is drawn to scale."""
        left, right = self.scene.ends
        return self.x(left), self.x(right)

    def metres(self, value: float) -> str:
        """A length with its unit."""
        return _metres(value, self.words, self.units)


def _metres(value: float, words: Words, units: str) -> str:
    """A length with its unit; nothing at all without decimals."""
    return words.quantity(value, "length", units, figures=3 if value else 1)


def site_drawing(
    survey: Survey | None,
    design: Choice | Site | None = None,
    *,
    units: str = "metric",
    words: Words | None = None,
    grade_line: Sequence[Point] = (),
    air_points: Sequence[float] = (),
    drain_points: Sequence[float] = (),
    narrow: bool = False,
    prefix: str = "site",
) -> str:
    """The site from the side as SVG text.

    Parameters
    ----------
    survey : Survey or None
        With the way of the line, if it was surveyed; None for a place known only by its design.
    design : Choice, Site or None
        None for a place not designed yet.
    units : {"metric", "us"}
    words : Words, optional
        Language; English when left out.
    grade_line : sequence of (float, float), optional
        Hydraulic grade line of the delivery line: distance from the pump, head above the spill level [m].
    air_points, drain_points : sequence of float, optional
        Places of air valves and drains: distances along the line from the pump [m].
    narrow : bool, optional
        For a phone.
    prefix : str, optional
        Begins every id, so that several drawings may stand on one page.
    """
    scene = site_scene(survey, design, grade_line=grade_line, air_points=air_points, drain_points=drain_points)
    page = _Page(scene, _NARROW if narrow else _WIDE, words or load_words("en"), units, prefix)
    _set_scale(page)
    page.pieces += [_ground(page), _levels(page), _pipes(page), _grade(page), _signs(page), _strip(page)]
    page.pieces += [_dimension(page, "fall"), _dimension(page, "lift")]
    page.bottom = page.height + 46.0
    _labels(page)
    _key(page)
    _foot(page)
    return _svg(page)


def _svg(page: _Page) -> str:
    """All pieces in their frame."""
    look, words, scene = page.look, page.words, page.scene
    frame = f"0 {page.top:.1f} {look.width:.0f} {page.bottom - page.top:.1f}"
    names = f"{page.prefix}-title {page.prefix}-words"
    hatches = "".join(
        f'<pattern id="{page.prefix}-hatch{number}" width="6" height="6" patternUnits="userSpaceOnUse" '
        f'patternTransform="rotate({angle})"><path d="{path}" stroke="{DARK}" stroke-width="1"/></pattern>'
        for number, (angle, path) in enumerate(
            ((45, "M0 0V6"), (90, "M0 0V6M3 0V6"), (0, "M0 0V6"), (45, "M0 0V6M0 0H6"))
        )
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="site-drawing" viewBox="{frame}" role="img" '
        f'aria-labelledby="{names}" font-family="{FONT}, sans-serif" font-size="{look.size:g}" fill="none" '
        f'stroke="{DARK}" stroke-linejoin="round">'
        f'<title id="{page.prefix}-title">{escape(words("drawing.title", place=scene.name))}</title>'
        f'<desc id="{page.prefix}-words">{escape(site_drawing_words(scene, words, page.units))}</desc>'
        f"<defs>{hatches}</defs>{''.join(page.pieces)}</svg>"
    )


def site_drawing_words(scene: Scene, words: Words, units: str) -> str:
    """What the drawing shows, for who cannot see it."""
    stretches = "; ".join(_stretch_words(each, words, units) for each in scene.stretches)
    return words(
        "drawing.description",
        place=scene.name,
        fall=words.quantity(scene.fall, "length", units),
        lift=words.quantity(scene.lift, "length", units),
        stretches=stretches,
    )


def _set_scale(page: _Page) -> None:
    """Metres to the drawing's own units; heights taller than lengths where the place is flat."""
    look, scene = page.look, page.scene
    left, right = scene.ends
    low, high = scene.heights
    across, tall = max(right - left, 1.0), max(high - low, 0.5)
    room = look.width - 2.0 * look.margin
    page.across = min(room / across, look.most_height / tall)
    if tall * page.across < look.least_height:
        page.stretch = next((n for n in _STRETCHES if tall * page.across * n >= look.least_height), _STRETCHES[-1])
    page.up = page.across * page.stretch
    page.left = 0.5 * (look.width - across * page.across)


def _path(points: Sequence[tuple[float, float]], attributes: str) -> str:
    """A line through points."""
    steps = "L".join(f"{x:.1f} {y:.1f}" for x, y in points)
    return f'<path d="M{steps}" {attributes}/>'


def _text(x: float, y: float, words: str, anchor: str = "start", more: str = "") -> str:
    """One line of text."""
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" fill="{DARK}" stroke="none"{more}>{escape(words)}</text>'
    )


def _block(x: float, y: float, lines: Sequence[str], size: float, anchor: str = "start") -> str:
    """Lines of text, the first with its foot at ``y``."""
    return "".join(_text(x, y + LINE * size * number, line, anchor) for number, line in enumerate(lines))


def _ground(page: _Page) -> str:
    """What lies under the pipes."""
    left, right = page.ends
    scene = page.scene
    points = [(left - _BESIDE, page.y(scene.fall) + 6.0), (left, page.y(scene.fall) + 6.0)]
    if scene.standpipe is not None:
        points.append((page.x(scene.standpipe[0]), page.y(scene.fall) + 12.0))
    points += [(x, y + 5.0) for x, y in (page.at(point) for point in scene.line)]
    points.append((right + _BESIDE, points[-1][1]))
    floor = page.height + 12.0
    return _path([*points, (right + _BESIDE, floor), (left - _BESIDE, floor)], f'fill="{PALE}" stroke="none"')


def _levels(page: _Page) -> str:
    """Spill level and the levels of source and outlet, out to the dimensions."""
    left, right = page.ends
    scene, thin = page.scene, f'stroke="{MIDDLE}" stroke-width="0.7" stroke-dasharray="5 3"'
    zero, source, outlet = page.y(0.0), page.y(scene.fall), page.at(scene.line[-1])
    near = left - _BESIDE, right + _BESIDE
    return (
        _path([(near[0], zero), (near[1], zero)], thin)
        + _path([(near[0], source), (left, source)], thin)
        + _path([outlet, (near[1], outlet[1])], thin)
    )


def _pipes(page: _Page) -> str:
    """Supply, drive and delivery pipe, the joints between zones ticked."""
    scene = page.scene
    drive = next(each for each in scene.stretches if each.kind in ("drive", "ground"))
    head = page.x(drive.left)
    sunk = 5.0 if drive.kind == "drive" else 0.0
    look = (
        'stroke-width="5"' if drive.kind == "drive" else f'stroke="{MIDDLE}" stroke-width="1.2" stroke-dasharray="2 3"'
    )
    drawn = _path([(head, page.y(scene.fall) + sunk), page.at((0.0, 0.0))], f"{look}")
    if scene.standpipe is not None:
        start = (page.x(scene.source[0]), page.y(scene.fall) + 5.0)
        drawn += _path([start, (head, page.y(scene.fall) + 9.0)], 'stroke-width="3.2"')
    line = [page.at(point) for point in scene.line]
    drawn += _path(line, 'stroke-width="2.4"')
    return drawn


def _grade(page: _Page) -> str:
    """The hydraulic grade line."""
    points = [page.at(point) for point in page.scene.grade]
    return _path(points, 'stroke-width="1.1" stroke-dasharray="9 3 2 3"') if len(points) > 1 else ""


def _signs(page: _Page) -> str:
    """Water at the source, standpipe, pump, tank, air valves and drains."""
    scene = page.scene
    x, y = page.at(scene.source)
    drawn = (
        f'<path d="M{x - 18:.1f} {y:.1f}H{x:.1f}" stroke-width="1.6"/>'
        f'<path d="M{x - 9:.1f} {y - 1:.1f}l-5 -8h10Z" fill="white" stroke-width="1"/>'
        f'<path d="M{x - 14:.1f} {y + 3.5:.1f}h10m-7.5 3h5" stroke-width="0.9"/>'
    )
    if scene.standpipe is not None:
        x, y = page.at(scene.standpipe)
        drawn += (
            f'<path d="M{x - 5:.1f} {y - 12:.1f}V{y + 14:.1f}H{x + 5:.1f}V{y - 12:.1f}" fill="white" '
            f'stroke-width="1.5"/><path d="M{x - 5:.1f} {y:.1f}h10" stroke-width="1"/>'
        )
    x, y = page.at((0.0, 0.0))
    drawn += (
        f'<path d="M{x - 7:.1f} {y + 4:.1f}v-8h4v-4a4.5 5 0 0 1 9 0v12Z" fill="{DARK}" stroke-width="1"/>'
        if scene.pumps
        else f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4" fill="white" stroke-width="1.4"/>'
    )
    x, y = page.at(scene.line[-1])
    drawn += (
        f'<path d="M{x:.1f} {y:.1f}v16h24v-20h-24Z" fill="white" stroke-width="1.5"/>'
        f'<path d="M{x:.1f} {y + 3:.1f}h24" stroke-width="1"/>'
    )
    for _, point in scene.air:
        x, y = page.at(point)
        drawn += f'<circle cx="{x:.1f}" cy="{y - 5:.1f}" r="4" fill="white" stroke-width="1.3"/>'
    for _, point in scene.drains:
        x, y = page.at(point)
        drawn += f'<path d="M{x:.1f} {y + 2:.1f}l-4 7h8Z" fill="white" stroke-width="1.3"/>'
    return drawn


def _strip(page: _Page) -> str:
    """A bar under the ground with the stretches of pipe, each hatched its own way."""
    y = page.height + 22.0
    drawn, zone = "", 0
    for each in page.scene.stretches:
        left, right = page.x(each.left), page.x(each.right)
        fill = "white" if each.kind in ("supply", "ground") or each.pipe is None else DARK
        if each.kind == "line" and each.pipe is not None:
            fill = f"url(#{page.prefix}-hatch{zone % _HATCHES})"
            zone += 1
        box = f'x="{left:.1f}" y="{y:.1f}" width="{max(right - left, 0.5):.1f}" height="9"'
        drawn += f'<rect {box} fill="white" stroke="none"/><rect {box} fill="{fill}" stroke-width="1"/>'
        if each.kind == "line" and each.start > 0.0:
            top = page.y(_height_at(page.scene, each.left)) - 5.0
            drawn += f'<path d="M{left:.1f} {top:.1f}V{y:.1f}" stroke="{MIDDLE}" stroke-width="0.8"/>'
    return drawn


def _height_at(scene: Scene, across: float) -> float:
    """Height of the line at a level distance [m]."""
    for (x, z), (x_next, z_next) in pairwise(scene.line):
        if across <= x_next:
            return z + (z_next - z) * (across - x) / (x_next - x)
    return scene.line[-1][1]


def _dimension(page: _Page, which: str) -> str:
    """Fall at the left, lift at the right, with words or, in a numbered drawing, a number."""
    left, right = page.ends
    scene, look = page.scene, page.look
    value, sign, x = (scene.fall, -1.0, left) if which == "fall" else (scene.lift, 1.0, right)
    x += sign * _BESIDE
    top, foot = page.y(value), page.y(0.0)
    slant = 6.0 if foot - top > _SHORT_DIMENSION else 0.0
    drawn = _path([(x, top), (x, foot)], 'stroke-width="0.8"') + "".join(
        _path([(x - 3.0, end + turn * slant), (x, end), (x + 3.0, end + turn * slant)], 'stroke-width="0.8"')
        for end, turn in ((top, 1.0), (foot, -1.0))
    )
    text = page.words(f"drawing.{which}", height=page.metres(value))
    if look.numbered:
        page.key.append(text)
        return drawn + _number(x, 0.5 * (top + foot), len(page.key), look.size)
    edge = x + sign * 6.0
    room = (edge if sign < 0.0 else look.width - edge) - 2.0
    lines = wrap_to(text, room, look.size)
    tall = LINE * look.size * len(lines)
    middle = min(max(0.5 * (top + foot), 0.5 * tall), page.height + 12.0 - 0.5 * tall)
    start = middle - 0.5 * tall + look.size
    return drawn + _block(edge, start, lines, look.size, "end" if sign < 0.0 else "start")


def _number(x: float, y: float, number: int, size: float) -> str:
    """A number in a ring."""
    return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{0.72 * size:.1f}" fill="white" stroke-width="1"/>' + _text(
        x, y + 0.3 * size, str(number), "middle", f' font-size="{0.82 * size:.1f}" font-weight="bold"'
    )


def _stretch_words(each: Stretch, words: Words, units: str) -> str:
    """A stretch of pipe in words."""
    start, end, length = (_metres(value, words, units) for value in (each.start, each.end, each.end - each.start))
    if each.pipe is None:
        return words(f"drawing.{'ground' if each.kind == 'ground' else 'line_open'}", length=length)
    pipe = words.pipe(each.pipe, units)
    if each.kind != "line":
        return words(f"drawing.{each.kind}", length=length, pipe=pipe)
    if each.rating_head is None:
        return words("drawing.line", length=length, pipe=pipe)
    rating = words.quantity(each.rating_head, "head", units)
    return words("drawing.zone", start=start, end=end, pipe=pipe, rating=rating)


def _callouts(page: _Page) -> tuple[list[tuple[float, float, str]], list[tuple[float, float, str]]]:
    """What is named over the drawing and under it: place and words."""
    scene, words = page.scene, page.words
    x, y = page.at(scene.source)
    over = [(x - 9.0, y - 9.0, words("drawing.source"))]
    if scene.standpipe is not None:
        x, y = page.at(scene.standpipe)
        diameter = words.quantity(scene.standpipe_diameter, "small_length", page.units)
        over.append((x, y - 12.0, words("drawing.standpipe", diameter=diameter)))
    for distance, point in scene.air:
        x, y = page.at(point)
        over.append((x, y - 9.0, words("drawing.air_point", distance=page.metres(distance))))
    for distance, point in scene.drains:
        over.append((*page.at(point), words("drawing.drain_point", distance=page.metres(distance))))
    on_the_way = [each for each in scene.notes if each[1] not in (scene.line[0], scene.line[-1])]
    over += [(*page.at(point), note) for note, point in on_the_way[:_MOST_NOTES]]
    if len(scene.grade) > 1:
        (x, y), (x_next, y_next) = (page.at(point) for point in _grade_middle(scene))
        over.append((0.5 * (x + x_next), 0.5 * (y + y_next), words("drawing.grade_line")))
    x, y = page.at(scene.line[-1])
    outlet = next((note for note, point in scene.notes if point == scene.line[-1]), words("drawing.outlet"))
    over.append((x + 12.0, y - 4.0, outlet))
    under = [(*page.at((0.0, 0.0)), words("drawing.pump" if scene.pumps else "drawing.pump_place", number=scene.pumps))]
    strip = page.height + 31.0
    for each in scene.stretches:
        middle = 0.5 * (page.x(each.left) + page.x(each.right))
        under.append((middle, strip, _stretch_words(each, words, page.units)))
    return over, under


def _grade_middle(scene: Scene) -> tuple[Point, Point]:
    """Two points of the grade line about a third of the way along it."""
    place = max(1, len(scene.grade) // 3)
    return scene.grade[place - 1], scene.grade[place]


def _labels(page: _Page) -> None:
    """Words over and under the drawing, or numbers there and words in the key."""
    look = page.look
    over, under = _callouts(page)
    placed = [_least_tall(page, band) for band in (over, under)]
    if look.numbered or any(each is None for each in placed):
        _numbers(page, over, True)
        _numbers(page, under, False)
        return
    for labels, above in zip(placed, (True, False), strict=True):
        _rows(page, labels or [], above)


def _least_tall(page: _Page, band: list[tuple[float, float, str]]) -> list[PlacedLabel] | None:
    """Labels broken and placed so that they take the least height; None where they do not fit."""
    look, size = page.look, page.look.size
    found = []
    for room in () if look.numbered else _ROOMS:
        labels = [Label(x, y, wrap_to(text, room * look.width, size)) for x, y, text in band]
        placed = place_labels(labels, 4.0, look.width - 4.0, size)
        if placed is not None:
            found.append(placed)
    return min(found, key=lambda labels: sum(_row_heights(labels, size)), default=None)


def _row_heights(labels: Sequence[PlacedLabel], size: float) -> list[float]:
    """Of every row, as tall as its longest label."""
    tall = [0.0] * (1 + max(each.row for each in labels))
    for each in labels:
        tall[each.row] = max(tall[each.row], LINE * size * len(each.label.lines) + 6.0)
    return tall


def _rows(page: _Page, labels: Sequence[PlacedLabel], above: bool) -> None:
    """Draw labels in their rows."""
    size, edge = page.look.size, -8.0 if above else page.height + 36.0
    tall = _row_heights(labels, size)
    for each in labels:
        before = sum(tall[: each.row])
        y = edge - before if above else edge + before
        first = y - 4.0 - LINE * size * (len(each.label.lines) - 1) if above else y + size
        page.pieces.append(_leader((each.label.x, each.label.y), each.foot, edge, y))
        page.pieces.append(_block(each.left, first, each.label.lines, size))
    if above:
        page.top = min(page.top, edge - sum(tall) - 2.0)
    else:
        page.bottom = max(page.bottom, edge + sum(tall))


def _leader(point: tuple[float, float], foot: float, edge: float, end: float) -> str:
    """From a point of the drawing to its words."""
    x, y = point
    return _path([point, (foot, edge), (foot, end)], f'stroke="{MIDDLE}" stroke-width="0.6"') + (
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="1.5" fill="{DARK}" stroke="none"/>'
    )


def _numbers(page: _Page, band: list[tuple[float, float, str]], above: bool) -> None:
    """Numbers in a row over or under the drawing, their words kept for the key."""
    size = page.look.size
    ordered = sorted(band)
    feet = spread([x for x, _, _ in ordered], 1.7 * size, size, page.look.width - size)
    edge = -8.0 if above else page.height + 40.0
    for (x, y, text), foot in zip(ordered, feet, strict=True):
        page.key.append(text)
        page.pieces.append(_leader((x, y), foot, edge, edge))
        page.pieces.append(_number(foot, edge + (-0.72 if above else 0.72) * size, len(page.key), size))
    if above:
        page.top = min(page.top, edge - 1.6 * size)
    else:
        page.bottom = max(page.bottom, edge + 1.8 * size)


def _key(page: _Page) -> None:
    """Words of the numbers, under the drawing."""
    size = page.look.size
    y = page.bottom
    for number, text in enumerate(page.key, 1):
        lines = wrap_to(text, page.look.width - 2.6 * size - 4.0, size)
        page.pieces.append(_text(1.8 * size, y + size, str(number), "end", ' font-weight="bold"'))
        page.pieces.append(_block(2.4 * size, y + size, lines, size))
        y += LINE * size * len(lines) + 2.0
    page.bottom = y + 4.0 if page.key else y


def _foot(page: _Page) -> None:
    """Scales: a bar along, a bar up, and in words how the two compare and what is no scale drawing."""
    look, size, words = page.look, page.look.size, page.words
    y = page.bottom + 8.0
    across, across_words = _round_length(page, page.across, 0.3 * look.width)
    up, up_words = _round_length(page, page.up, 2.6 * size)
    left, foot = 6.0, y + 2.8 * size
    page.pieces.append(
        f'<path d="M{left:.1f} {foot - up:.1f}V{foot:.1f}H{left + across:.1f}m0 -3v6M{left - 3:.1f} {foot - up:.1f}h6" '
        f'stroke-width="1.1"/>'
    )
    page.pieces.append(_text(left + 6.0, foot - 0.5 * up + 0.2 * size, up_words))
    page.pieces.append(_text(left + across + 6.0, foot + 0.35 * size, across_words))
    said = [
        words("drawing.one_scale") if page.stretch == 1 else words("drawing.stretched", times=page.stretch),
        words("drawing.signs"),
        *([] if page.scene.surveyed_way else [words("drawing.straight")]),
    ]
    if look.numbered:
        start, top = 6.0, foot + 1.9 * size
    else:
        start, top = left + across + 12.0 + text_width(across_words, size) + 16.0, y + size
    lines = wrap_to(" ".join(said), look.width - start - 4.0, size)
    page.pieces.append(_block(start, top, lines, size))
    page.bottom = max(foot + 0.9 * size, top + LINE * size * (len(lines) - 1) + 0.5 * size) + 4.0


def _round_length(page: _Page, scale: float, longest: float) -> tuple[float, str]:
    """The longest round length that fits, in the drawing's own units, and its words."""
    metre = from_display(1.0, "length", page.units)
    fits = longest / (scale * metre)
    power = 10.0 ** math.floor(math.log10(fits))
    number = max(step for step in _ROUND_STEPS if step * power <= fits * (1.0 + 1e-9)) * power
    label = page.words.quantity(number * metre, "length", page.units)
    plain = f"{number:g} {label.rpartition(' ')[2]}"
    return number * metre * scale, page.words.written(plain)
