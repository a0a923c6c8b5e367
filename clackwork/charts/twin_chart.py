"""Charts of a fitted twin: measured against modelled, and what the runs pinned down."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from clackwork.answers_text import figure_words
from clackwork.charts.vega import DARK, MIDDLE, PALE, Spec, layer, nominal, quantitative, title, whole

if TYPE_CHECKING:
    from clackwork.twin.twin import Pinned, Residual, Twin

SHAPES = ("circle", "square", "triangle-up", "diamond", "cross", "triangle-down")
ROW_HEIGHT = 24


def plain(name: str) -> str:
    """A field name as words: "delivered_flow" -> "delivered flow"."""
    return name.replace("_", " ").replace(".", ", ")


def normalised_extent(residuals: Sequence[Residual]) -> float:
    """Half-width of the axis: at least 3, else the largest normalised difference with room beside it."""
    return max(
        [
            3.0,
            *(1.1 * abs(residual.normalised) for residual in residuals if math.isfinite(residual.normalised)),
        ]
    )


def residual_chart(twin: Twin, *, width: int = 420) -> Spec:
    """Modelled against measured, each figure of each run, in uncertainties of both.

    Parameters
    ----------
    twin : Twin
    width : int, optional
        Of the plot [px].
    """
    rows = [
        {"run": r.run, "figure": figure_words(r.figure), "normalised_difference": r.normalised}
        for r in twin.residuals
        if math.isfinite(r.normalised)
    ]
    missed = len(twin.residuals) - len(rows)
    caption = "Grey band: within twice the uncertainty." + (
        f" {missed} not drawn: the model gave none." if missed else ""
    )
    extent = normalised_extent(twin.residuals)
    x = quantitative(
        "normalised_difference",
        "modelled against measured, in uncertainties (right: model higher)",
        domain=(-extent, extent),
    )
    figures = list(dict.fromkeys(row["figure"] for row in rows))
    shape = nominal(
        "figure",
        "figure",
        scale={"domain": figures, "range": [SHAPES[i % 6] for i in range(len(figures))]},
        legend={"orient": "bottom", "columns": 3},
    )
    band = layer(
        {"type": "rect", "color": PALE},
        {"x": quantitative("from", x["title"], domain=(-extent, extent)), "x2": {"field": "to"}},
        [{"from": -2.0, "to": 2.0}],
    )
    middle = layer(
        {"type": "rule", "color": MIDDLE},
        {"x": quantitative("at", x["title"], domain=(-extent, extent))},
        [{"at": 0.0}],
    )
    mark = {"type": "point", "filled": False, "size": 80, "color": DARK, "strokeWidth": 1.6, "opacity": 1}
    y = nominal("run", "run", axis={"grid": True})
    points = layer(mark, {"x": x, "y": y, "shape": shape}, rows)
    runs = len({row["run"] for row in rows})
    return whole(
        {
            "title": title("Measured against modelled", caption, width=width),
            "width": width,
            "height": max(1, runs) * ROW_HEIGHT,
            "layer": [band, middle, points],
        },
        description=f"Modelled against measured figures of {runs} runs of {twin.build.name}",
    )


def spread_chart(twin: Twin, *, width: int = 420) -> Spec:
    """Spread of each parameter before and after the runs: a hollow bar with a solid one inside it.

    Parameters
    ----------
    twin : Twin
    width : int, optional
        Of the plot [px].
    """
    top = max([0.1, *(100.0 * max(p.prior_spread, p.posterior_spread) for p in twin.pinned)])
    x = quantitative("spread_percent", "spread of the value (%, one standard deviation)", domain=(0.0, 1.05 * top))
    y = nominal("parameter", None)
    names = ["before the runs", "after the runs"]
    fill = nominal(
        "when",
        None,
        scale={"domain": names, "range": ["white", MIDDLE]},
        legend={"orient": "bottom", "symbolStrokeColor": DARK, "symbolType": "square"},
    )
    before = layer(
        {"type": "bar", "stroke": DARK, "strokeDash": [4, 2], "height": 16},
        {"x": x, "y": y, "fill": fill},
        [_spread_row(p, p.prior_spread, names[0]) for p in twin.pinned],
    )
    after = layer(
        {"type": "bar", "stroke": DARK, "height": 8},
        {"x": x, "y": y, "fill": fill},
        [_spread_row(p, p.posterior_spread, names[1]) for p in twin.pinned],
    )
    return whole(
        {
            "title": title(
                "What the runs pinned down", "The shorter the solid bar, the better it is known.", width=width
            ),
            "width": width,
            "height": max(1, len(twin.pinned)) * 30,
            "layer": [before, after],
        },
        description=f"Spread of {len(twin.pinned)} parameters of {twin.build.name} before and after the runs",
    )


def _spread_row(pinned: Pinned, spread: float, when: str) -> Spec:
    """One bar of the spread chart."""
    return {"parameter": plain(pinned.parameter), "spread_percent": 100.0 * spread, "when": when}


__all__ = ["residual_chart", "spread_chart", "plain"]
