"""Picture of a trial's runs for a narrow screen: every run in the order made, and each build's mean across it."""

from __future__ import annotations

from collections.abc import Sequence

from clackwork.charts.trial_chart import MeanPoint, RunPoint, margin_band, run_row
from clackwork.charts.vega import DARK, MIDDLE, PALE, Spec, axis_title, layer, nominal, quantitative, title, whole
from clackwork.quantities import key_name, to_display

_HEIGHT = 210
_DASHES = ((1, 0), (6, 4))
_ROOM = 0.1  # of the span, above and below


def runs_chart(
    runs: Sequence[RunPoint],
    means: Sequence[MeanPoint],
    *,
    figure: str,
    kind: str,
    margin: float | None = None,
    system: str = "metric",
    width: int = 250,
) -> Spec:
    """Runs as points, each build's mean as a line; the margin as a band about the first mean.

    Parameters
    ----------
    runs : sequence of RunPoint
    means : sequence of MeanPoint
        The first is the one compared against; only builds named here are drawn.
    figure : str
        What was compared, in words.
    kind : str
        Its kind of quantity.
    margin : float or None, optional
        Half-width of the band within which builds count as the same (SI).
    system : {"metric", "us"}
    width : int, optional
        Of the plot [px].
    """
    field = key_name("value", kind, system)
    builds = [mean.build for mean in means]

    points = [run_row(one, field, kind, system) for one in runs]
    band = margin_band(means, margin, kind, system)
    ends = [row[end] for row in (*points, *band) for end in ("low", "high")] or [0.0, 1.0]
    room = _ROOM * (max(ends) - min(ends)) or max(_ROOM * abs(max(ends)), 1e-9)
    y = quantitative(field, axis_title(figure, kind, system), domain=[min(ends) - room, max(ends) + room])
    last = max((one.order for one in runs), default=1)
    x = quantitative(
        "order", "order made", domain=[0.4, last + 0.6], axis={"tickMinStep": 1, "format": "d", "grid": False}
    )
    legend = {"orient": "bottom", "title": None}
    shape = nominal("build", "build", scale={"domain": builds, "range": ["circle", "square"]}, legend=legend)
    fill = nominal("build", "build", scale={"domain": builds, "range": [DARK, "white"]}, legend=legend)
    drawn = [
        *(
            layer(
                {"type": "rule", "strokeWidth": 2, "color": MIDDLE, "strokeDash": list(dash)},
                {"y": y},
                [{field: to_display(one.middle, kind, system)}],
            )
            for one, dash in zip(means, _DASHES, strict=False)
        ),
        layer({"type": "rule", "color": DARK}, {"x": x, "y": {**y, "field": "low"}, "y2": {"field": "high"}}, points),
        layer(
            {"type": "point", "size": 110, "stroke": DARK, "strokeWidth": 1.5, "opacity": 1},
            {"x": x, "y": y, "shape": shape, "fill": fill},
            points,
        ),
    ]
    if band:
        drawn.insert(
            0, layer({"type": "rect", "color": PALE}, {"y": {**y, "field": "low"}, "y2": {"field": "high"}}, band)
        )
    return whole(
        {
            "title": title("Every run so far", "Lines: means. Grey: counts as the same.", width=width + 60),
            "width": width,
            "height": _HEIGHT,
            "layer": drawn,
        },
        description=f"{figure} of {len(runs)} runs of {' and '.join(builds)}, in the order made",
    )
