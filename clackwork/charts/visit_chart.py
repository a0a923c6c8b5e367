"""A visit's readings against their bands, all on one scale: hundredths of what was promised."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from clackwork.charts.vega import DARK, LIGHT, MIDDLE, Spec, layer, nominal, quantitative, title, whole
from clackwork.visits_report import FIGURES, measured_words, promised_words, side_words

if TYPE_CHECKING:
    from clackwork.site.commissioning import Compared

SHAPES = {"in its band": "circle", "out of its band": "diamond"}
_LEAST_REACH = 10.0
"""Hundredths to either side that are always shown."""
_ROW = 56


def visit_chart(
    compared: Sequence[Compared], *, system: str = "metric", width: int = 520, narrow: bool = False
) -> Spec:
    """Every figure read against its band: a grey bar for the band, a tick for its middle, a mark for the reading.

    Parameters
    ----------
    compared : sequence of Compared
        One at least, with a promise above zero.
    system : {"metric", "us"}
    width : int, optional
        Of the plot [px].
    narrow : bool, optional
        For a phone: no words beside the plot.
    """
    rows = [_row(one, system) for one in compared if one.promised.middle > 0.0]
    reach = max([_LEAST_REACH, *(abs(row[key] - 100.0) for row in rows for key in ("read", "low", "high"))]) * 1.08
    domain = (100.0 - reach, 100.0 + reach)
    axis = {"tickCount": 5, "labelExpr": "datum.value + ' %'"}
    x = quantitative("read", "of the middle promised", domain=domain, axis=axis)
    scale = {"paddingInner": 0.4}
    y = nominal("figure", None, axis=None, scale=scale)

    def at(field: str, **more: object) -> Spec:
        return {"x": {**x, "field": field}, "y": y, **more}

    out = {"field": "place", "type": "nominal", "title": None, "scale": _shape_scale(), "legend": None}
    words = {"type": "text", "align": "left", "x": 0, "baseline": "bottom", "fontSize": 12}
    layers = [
        layer(
            {"type": "text", "align": "left", "x": 0, "dy": -16, "fontWeight": "bold"}, {"y": y, "text": _text("said")}
        ),
        layer({"type": "rule", "strokeWidth": 12, "color": LIGHT}, at("low", x2={"field": "high"})),
        layer({"type": "tick", "color": MIDDLE, "thickness": 2, "size": 14}, at("middle")),
        layer({"type": "rule", "strokeWidth": 1.5, "color": DARK}, at("from", x2={"field": "to"})),
        layer(
            {"type": "point", "size": 130, "color": DARK, "strokeWidth": 2, "opacity": 1},
            at("read", shape=out, fill=_fill()),
        ),
    ]
    if not narrow:
        layers.append(
            layer({**words, "dy": 24, "color": MIDDLE, "baseline": "middle"}, {"y": y, "text": _text("detail")})
        )
    return whole(
        {
            "title": title(
                "Measured against promised",
                "Grey: the promise for that day, nine chances in ten. Mark: the reading, full inside its band.",
                width=width,
            ),
            "data": {"values": rows},
            "width": width,
            "height": max(1, len(rows)) * (_ROW if narrow else _ROW + 12),
            "layer": layers,
        },
        description="Readings against the promise: " + "; ".join(f"{row['said']}, {row['detail']}" for row in rows),
    )


def _row(one: Compared, system: str) -> Spec:
    """One figure in hundredths of its middle."""
    middle = one.promised.middle / 100.0
    spread = 1.645 * one.measured.standard_uncertainty
    return {
        "figure": one.figure,
        "said": f"{FIGURES[one.figure]}: {measured_words(one, system)}",
        "detail": f"promised {promised_words(one, system)}; {side_words(one)}",
        "place": "in its band" if one.is_in else "out of its band",
        "read": one.measured.value / middle,
        "from": (one.measured.value - spread) / middle,
        "to": (one.measured.value + spread) / middle,
        "low": one.promised.low / middle,
        "high": one.promised.high / middle,
        "middle": 100.0,
        "full": one.is_in and math.isfinite(one.widths),
    }


def _text(field: str) -> Spec:
    return {"field": field, "type": "nominal"}


def _shape_scale() -> Spec:
    return {"domain": list(SHAPES), "range": list(SHAPES.values())}


def _fill() -> Spec:
    return {"condition": {"test": "datum.full", "value": DARK}, "value": "white"}
