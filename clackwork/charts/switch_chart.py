"""What switching changes at each place, the lowest fall first: bars with their ranges."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Literal

from clackwork.charts.vega import DARK, MIDDLE, PALE, Spec, layer, nominal, quantitative, title, whole

Changed = Literal["worth", "delivery"]
HEADINGS: Mapping[str, str] = {"worth": "Change of worth a year", "delivery": "Change of delivery"}
CAPTION = (
    "New build less old, lowest fall first. Bar: the middle, grey where the place gets the new build, white where it keeps "
    "the old. Line: nine chances in ten."
)
_UNNAMED = 600.0
"""Height of rows without names, all together [px]."""
MOST_NAMED = 40
"""Places beyond which rows are thin and without names."""


def switch_chart(
    bars: Sequence[Mapping[str, Any]],
    changed: Changed,
    unit: str,
    *,
    width: int | str = 520,
    heading: bool = True,
    narrow: bool = False,
) -> Spec:
    """The change at every place.

    Parameters
    ----------
    bars : sequence of mapping
        "bars" of :func:`clackwork.switch_words.switch_words`.
    changed : {"worth", "delivery"}
    unit : str
        Of the figures; empty for none.
    width : int or "container", optional
    heading : bool, optional
        Whether title and caption stand in it.
    narrow : bool, optional
        For a phone: names above their bars.
    """
    rows = [_row(one, changed, place) for place, one in enumerate(bars)]
    named = len(rows) <= MOST_NAMED
    axis_words = f"{HEADINGS[changed].lower()} ({unit})" if unit else HEADINGS[changed].lower()
    x = quantitative("middle", axis_words, axis={"tickCount": 5})
    reach = [row[end] for row in rows for end in ("low", "high")] + [0.0]
    room = 0.04 * (max(reach) - min(reach) or 1.0)
    x["scale"] = {"domain": [min(reach) - room, max(reach) + room], "nice": False, "zero": True}
    axis: Spec | None = {"labelLimit": 220, "labelOverlap": False, "grid": False} if named and not narrow else None
    scale = {"paddingInner": 0.62 if narrow else 0.35}
    y = nominal("place", None, axis=axis, scale=scale)
    fill = {"condition": {"test": "datum.new", "value": MIDDLE}, "value": "white"}
    span: Spec = {"x": {**x, "field": "low"}, "x2": {"field": "high"}, "y": y}
    layers = [
        layer({"type": "bar", "stroke": DARK, "strokeWidth": 1}, {"x": x, "x2": {"datum": 0}, "y": y, "fill": fill}),
        layer({"type": "rule", "color": "white", "strokeWidth": 4}, span),
        layer({"type": "rule", "color": DARK, "strokeWidth": 2}, span),
        layer({"type": "rule", "color": DARK, "strokeWidth": 1}, {"x": {"datum": 0}}),
    ]
    if named and narrow:
        words = {"type": "text", "align": "left", "x": 0, "dy": -15, "fontSize": 12}
        layers.append(layer(words, {"y": y, "text": {"field": "place", "type": "nominal"}}))
    step = (40 if narrow else 26) if named else _UNNAMED / len(rows)
    body: Spec = {
        "data": {"values": rows},
        "width": width,
        "height": max(1, len(rows)) * step,
        "layer": layers,
        "view": {"stroke": PALE},
    }
    if heading:
        body["title"] = title(HEADINGS[changed], CAPTION, width=width if isinstance(width, int) else 520)
    said = "; ".join(
        f"{row['place']}: {row['middle']:.0f} ({row['low']:.0f} to {row['high']:.0f})" for row in rows[:MOST_NAMED]
    )
    return whole(body, description=f"{HEADINGS[changed]}, new build less old: {said}")


def _row(one: Mapping[str, Any], changed: str, place: int) -> Spec:
    low, middle, high = one[changed]
    return {
        "place": f"{one['place']}, {one['fall']}",
        "new": one["new"],
        "low": low,
        "middle": middle,
        "high": high,
        "order": place,
    }
