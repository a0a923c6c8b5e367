"""Small functions that build Vega-Lite charts as plain dicts, and turn them into SVG.

Charts read in grey print: shape, dash and fill carry the meaning, never colour alone. Text comes in as data.
Every spec validates against the Vega-Lite schema (a test holds it) and is drawn without any outside request.
"""

from __future__ import annotations

import functools
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from clackwork.quantities import unit_label

Spec = dict[str, Any]
"""A Vega-Lite chart, or a part of one."""

FONT = "Lato"
FONT_FOLDER = Path(__file__).resolve().parents[1] / "sheets" / "fonts"

DARK = "#1a1a1a"
MIDDLE = "#6b6b6b"
LIGHT = "#b9b9b9"
PALE = "#e6e6e6"

CONFIG: Spec = {
    "font": f"{FONT}, sans-serif",
    "background": "white",
    "view": {"stroke": None},
    "axis": {
        "labelFontSize": 12,
        "titleFontSize": 12,
        "titleFontWeight": "normal",
        "labelColor": DARK,
        "titleColor": DARK,
        "gridColor": PALE,
        "domainColor": MIDDLE,
        "tickColor": MIDDLE,
        "labelLimit": 240,
        "titlePadding": 8,
    },
    "axisQuantitative": {"labelExpr": "replace(datum.label, /,/g, '\u00a0')"},
    "legend": {
        "labelFontSize": 12,
        "titleFontSize": 12,
        "titleFontWeight": "normal",
        "symbolSize": 110,
        "labelLimit": 300,
    },
    "title": {
        "fontSize": 14,
        "anchor": "start",
        "fontWeight": "bold",
        "color": DARK,
        "offset": 12,
        "subtitleFontSize": 12,
        "subtitleColor": MIDDLE,
        "subtitlePadding": 5,
    },
    "text": {"fontSize": 12, "color": DARK},
}


def axis_title(words: str, kind: str, system: str) -> str:
    """Words with the unit of ``kind`` in brackets: "delivered flow (L/min)"; a count has none."""
    label = unit_label(kind, system) if kind != "count" else ""
    return f"{words} ({label})" if label else words


def title(words: str, caption: str = "", *, width: int = 520) -> Spec:
    """Heading and caption of a chart, the caption broken into lines that fit ``width`` [px]."""
    return {"text": words, "subtitle": wrap(caption, max(20, width // 6))} if caption else {"text": words}


def wrap(text: str, columns: int) -> list[str]:
    """Text in lines of at most ``columns`` characters."""
    import textwrap

    return textwrap.wrap(text, columns) or [""]


def quantitative(field: str, words: str | None, *, domain: Sequence[float] | None = None, **more: Any) -> Spec:
    """Encoding of a number; ``domain`` fixes the scale, else it follows the data without forcing zero."""
    scale: Spec = {"zero": False} if domain is None else {"domain": list(domain), "nice": False, "zero": False}
    return {"field": field, "type": "quantitative", "title": words, "scale": scale, **more}


def nominal(field: str, words: str | None, **more: Any) -> Spec:
    """Encoding of a name, in the order of the data."""
    return {"field": field, "type": "nominal", "title": words, "sort": None, **more}


def layer(mark: Spec, encoding: Spec, rows: Iterable[Mapping[str, Any]] | None = None) -> Spec:
    """One layer; without rows it uses the data around it."""
    made: Spec = {"mark": mark, "encoding": encoding}
    if rows is not None:
        made["data"] = {"values": [dict(row) for row in rows]}
    return made


def whole(body: Spec, *, description: str) -> Spec:
    """A finished chart: look and the words a screen reader speaks."""
    return {"description": description, "config": CONFIG, "padding": 8, **body}


@functools.cache
def _register_font() -> None:
    """Make the vendored face known to the converter, once."""
    import vl_convert

    vl_convert.register_font_directory(str(FONT_FOLDER))


def to_svg(spec: Spec) -> str:
    """The chart as SVG text, drawn without browser or network.

    Parameters
    ----------
    spec : dict
        As made by :func:`whole`.
    """
    import vl_convert

    _register_font()
    return str(vl_convert.vegalite_to_svg(spec, allowed_base_urls=[]))
