"""Water needed against water there, as two bars: small enough to be drawn again while somebody types."""

from __future__ import annotations

from html import escape

from clackwork.charts.vega import DARK, LIGHT, MIDDLE
from clackwork.quantities import format_quantity
from clackwork.site.site import Range

_WIDTH, _BAR, _LEFT = 320.0, 18.0, 4.0


def water_bars(needed: Range, there: Range, *, system: str = "metric") -> str:
    """What the pumps draw and what the source gives, each with its range, as SVG text.

    Parameters
    ----------
    needed, there : Range
        [m3/s]
    system : {"metric", "us"}
    """
    span = _WIDTH - 2.0 * _LEFT
    scale = span / (1.02 * max(needed.high, there.high, 1e-9))
    rows = (("The pumps draw", needed, DARK), ("The source gives", there, LIGHT))
    pieces, top = [], 0.0
    for words, shown, fill in rows:
        middle = format_quantity(shown.middle, "volume_flow", system)
        pieces.append(_row(f"{words} {middle}", shown, fill, scale, top))
        top += 44.0
    described = " ".join(f"{words} {format_quantity(shown.middle, 'volume_flow', system)}." for words, shown, _ in rows)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH:g} {top:g}" role="img" aria-label="{escape(described)}" class="water-bars">'
        + "".join(pieces)
        + "</svg>"
    )


def _row(words: str, shown: Range, fill: str, scale: float, top: float) -> str:
    """One bar to the middle, a stroke from its low to its high end, words over it."""
    at = top + 18.0
    low, middle, high = (_LEFT + scale * value for value in (shown.low, shown.middle, shown.high))
    centre = at + 0.5 * _BAR
    ends = f"M{low:.1f} {centre:g}H{high:.1f}M{low:.1f} {centre - 5:g}v10M{high:.1f} {centre - 5:g}v10"
    return (
        f'<text x="{_LEFT:g}" y="{top + 13:g}" font-size="13">{escape(words)}</text>'
        f'<rect x="{_LEFT:g}" y="{at:g}" width="{max(middle - _LEFT, 0.0):.1f}" height="{_BAR:g}" fill="{fill}" '
        f'stroke="{DARK}"/>'
        f'<path d="{ends}" fill="none" stroke="white" stroke-width="5"/>'
        f'<path d="{ends}" fill="none" stroke="{MIDDLE}" stroke-width="2.5"/>'
    )
