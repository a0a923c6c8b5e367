"""Chart of a trial: every run of both builds, the means with their interval, and the margin."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from clackwork.charts.vega import (
    DARK,
    MIDDLE,
    PALE,
    Spec,
    axis_title,
    layer,
    nominal,
    quantitative,
    title,
    whole,
)
from clackwork.quantities import key_name, to_display


@dataclass(frozen=True)
class RunPoint:
    """One run as drawn: build, place in the order made, figure and standard uncertainty (SI)."""

    name: str
    build: str
    order: int
    value: float
    standard_uncertainty: float


@dataclass(frozen=True)
class MeanPoint:
    """Mean of a build's runs with its interval (SI)."""

    build: str
    low: float
    middle: float
    high: float


Domain = tuple[float, float]


def trial_chart(
    runs: Sequence[RunPoint],
    means: Sequence[MeanPoint],
    *,
    figure: str,
    kind: str,
    margin: float | None = None,
    system: str = "metric",
    level: float = 0.95,
    width: int = 360,
) -> Spec:
    """Runs in the order they were made, and beside them the mean of each build.

    Parameters
    ----------
    runs : sequence of RunPoint
    means : sequence of MeanPoint
        The first is the one compared against; the margin lies about it.
    figure : str
        What was compared, in words.
    kind : str
        Its kind of quantity.
    margin : float or None, optional
        Half-width of the band within which builds count as the same (SI).
    system : {"metric", "us"}
    level : float, optional
        Of the means' intervals.
    width : int, optional
        Of the plot of runs [px].
    """
    field = key_name("value", kind, system)
    y_title = axis_title(figure, kind, system)
    run_rows = [run_row(run, field, kind, system) for run in runs]
    mean_rows = [_mean_row(mean, field, kind, system) for mean in means]
    band = margin_band(means, margin, kind, system)
    domain = _domain([*run_rows, *mean_rows, *band])
    builds = [mean.build for mean in means]
    runs_x = quantitative("order", "order made", axis={"tickMinStep": 1, "format": "d", "grid": False})
    runs_x["scale"] = {"domain": [0.4, max((run.order for run in runs), default=1) + 0.6], "nice": False}
    left = _panel(runs_x, run_rows, field, y_title, domain, builds, band, thick=1.2, size=80)
    right = _panel(
        nominal("build", "mean", axis={"labelAngle": 0, "labelLimit": 90}),
        mean_rows,
        field,
        None,
        domain,
        builds,
        band,
        thick=4.0,
        size=130,
    )
    caption = f"Bars: one standard uncertainty of a run; {100.0 * level:g} % interval of a mean."
    if band:
        caption += f" Grey band: within the margin of the mean of {builds[0]}."
    return whole(
        {
            "title": title(f"{figure[:1].upper()}{figure[1:]} of every run", caption, width=width + 200),
            "hconcat": [
                {"width": width, "height": 260, "layer": left},
                {"width": 90 * max(1, len(means)), "height": 260, "layer": right},
            ],
            "spacing": 16,
        },
        description=f"{figure} of {len(runs)} runs of {' and '.join(builds)}, with the mean of each",
    )


def _panel(
    x: Spec,
    rows: Sequence[Spec],
    field: str,
    y_title: str | None,
    domain: Domain,
    builds: Sequence[str],
    band: Sequence[Spec],
    *,
    thick: float,
    size: int,
) -> list[Spec]:
    """Band, bars and points of one panel; only the first has an axis title and labels on its y axis."""
    y = quantitative(field, y_title, domain=domain)
    if y_title is None:
        y["axis"] = {"labels": False, "ticks": False, "domain": False}
    shape = nominal(
        "build",
        "build",
        scale={"domain": list(builds), "range": ["circle", "square"]},
        legend={"orient": "bottom", "title": None} if y_title else None,
    )
    fill = nominal(
        "build",
        "build",
        scale={"domain": list(builds), "range": [DARK, "white"]},
        legend={"orient": "bottom", "title": None} if y_title else None,
    )
    points = layer(
        {"type": "point", "size": size, "stroke": DARK, "strokeWidth": 1.5, "opacity": 1},
        {"x": x, "y": y, "shape": shape, "fill": fill},
        rows,
    )
    bars = layer(
        {"type": "rule", "strokeWidth": thick, "color": DARK},
        {"x": x, "y": {**y, "field": "low"}, "y2": {"field": "high"}},
        rows,
    )
    drawn = [bars, points]
    if band:
        low = {**y, "field": "low"}
        drawn.insert(0, layer({"type": "rect", "color": PALE}, {"y": low, "y2": {"field": "high"}}, band))
        drawn.insert(
            1,
            layer({"type": "rule", "color": MIDDLE, "strokeDash": [5, 4]}, {"y": {**y, "field": "middle"}}, band),
        )
    return drawn


def run_row(run: RunPoint, field: str, kind: str, system: str) -> Spec:
    """Row of one run in the units shown."""
    low, high = run.value - run.standard_uncertainty, run.value + run.standard_uncertainty
    return {
        "name": run.name,
        "build": run.build,
        "order": run.order,
        field: to_display(run.value, kind, system),
        "low": to_display(low, kind, system),
        "high": to_display(high, kind, system),
    }


def _mean_row(mean: MeanPoint, field: str, kind: str, system: str) -> Spec:
    """Row of one mean in the units shown."""
    return {
        "build": mean.build,
        field: to_display(mean.middle, kind, system),
        "low": to_display(mean.low, kind, system),
        "high": to_display(mean.high, kind, system),
    }


def margin_band(means: Sequence[MeanPoint], margin: float | None, kind: str, system: str) -> list[Spec]:
    """The margin about the first mean, or nothing."""
    if margin is None or not means or not math.isfinite(margin):
        return []
    middle = means[0].middle
    ends = {"low": middle - margin, "middle": middle, "high": middle + margin}
    return [{name: to_display(value, kind, system) for name, value in ends.items()}]


def _domain(rows: Sequence[Spec]) -> Domain:
    """Span of all bars with a tenth of room, never of no width."""
    low = min((row["low"] for row in rows), default=0.0)
    high = max((row["high"] for row in rows), default=1.0)
    room = 0.1 * (high - low) or max(0.1 * abs(high), 1.0)
    return low - room, high + room
