"""Charts: they fit the schema, keep the units asked, read in grey and draw to SVG by themselves."""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace
from xml.etree import ElementTree

import altair
import numpy as np
import pytest
from invented_results import promise, site, trace, twin

from clackwork.charts.promise_chart import beat_chart, delivery_chart, elevation_chart, last_beat
from clackwork.charts.switch_chart import switch_chart
from clackwork.charts.trial_chart import MeanPoint, RunPoint, trial_chart
from clackwork.charts.twin_chart import residual_chart, spread_chart
from clackwork.charts.vega import Spec, axis_title, to_svg, wrap

RUNS = [RunPoint(f"run {n}", "old flap" if n % 2 else "new flap", n, 2.0e-5 + 1e-7 * n, 4.0e-7) for n in range(1, 9)]
MEANS = [MeanPoint("old flap", 1.94e-5, 2.0e-5, 2.06e-5), MeanPoint("new flap", 2.1e-5, 2.16e-5, 2.22e-5)]


BARS = [
    {"place": name, "fall": "2.0 m", "new": new, "worth": [-9.0, 3.0, 20.0], "delivery": [-60.0, 20.0, 90.0]}
    for name, new in (("A", True), ("B", False))
]


def trial(system: str = "metric") -> Spec:
    return trial_chart(RUNS, MEANS, figure="delivered flow", kind="volume_flow", margin=1.0e-6, system=system)


def every_chart(system: str) -> dict[str, Spec]:
    return {
        "trial": trial(system),
        "residuals": residual_chart(twin()),
        "spread": spread_chart(twin()),
        "delivery": delivery_chart({"A": promise("A"), "B": promise("B", "no", 0.3)}, system=system),
        "beat": beat_chart(trace(), name="A", system=system),
        "elevation": elevation_chart(site(), system=system),
        **{f"switch, {name}": switch_chart(BARS, name, "EUR", narrow=system == "us") for name in ("worth", "delivery")},
        "switch, many places": switch_chart(50 * BARS, "worth", ""),
    }


@pytest.mark.parametrize("system", ["metric", "us"])
@pytest.mark.parametrize("name", list(every_chart("metric")))
def test_chart_fits_the_schema_and_draws(name: str, system: str) -> None:
    spec = every_chart(system)[name]
    json.dumps(spec, allow_nan=False)
    altair.Chart.from_dict(spec)
    svg = to_svg(spec)
    root = ElementTree.fromstring(svg)
    assert float(root.attrib["width"]) > 300
    assert float(root.attrib["height"]) > 80
    assert spec["description"]
    assert "NaN" not in svg
    assert not re.search(r"(href|src)=", svg)


@pytest.mark.parametrize("name", list(every_chart("metric")))
def test_every_colour_is_grey(name: str) -> None:
    for colour in re.findall(r'"#([0-9a-fA-F]{6})"', json.dumps(every_chart("metric")[name])):
        assert colour[:2] == colour[2:4] == colour[4:]
    svg = to_svg(every_chart("metric")[name])
    for colour in re.findall(r"#([0-9a-fA-F]{6})\b", svg):
        assert colour[:2] == colour[2:4] == colour[4:], colour


def values(spec: object, key: str) -> list[float]:
    """Every number under ``key`` anywhere in a chart's rows."""
    if isinstance(spec, dict):
        own = [spec[key]] if isinstance(spec.get(key), float) else []
        return own + [v for inner in spec.values() for v in values(inner, key)]
    if isinstance(spec, list):
        return [v for inner in spec for v in values(inner, key)]
    return []


def test_litres_a_day_in_both_units() -> None:
    one = {"A": promise("A")}
    assert values(delivery_chart(one), "daily_delivery_l_day") == [pytest.approx(2310.0)]
    assert values(delivery_chart(one, system="us"), "daily_delivery_gal_day") == [pytest.approx(2310.0 / 3.785411784)]
    words = "".join(ElementTree.fromstring(to_svg(delivery_chart(one, system="us"))).itertext())
    assert "(gal/day)" in words
    assert "(L/day)" not in words


def test_trial_rows_and_margin() -> None:
    shown = values(trial(), "value_l_min")
    assert pytest.approx(1.2) in shown  # the old mean, 2e-5 m3/s
    assert pytest.approx(1.2 - 0.06) in values(trial(), "low")
    assert pytest.approx(1.2 + 0.06) in values(trial(), "high")
    assert "Grey band" in json.dumps(trial())
    without = trial_chart(RUNS, MEANS, figure="delivered flow", kind="volume_flow", margin=None)
    assert "Grey band" not in json.dumps(without)


def test_builds_differ_in_shape_and_fill() -> None:
    shape = trial()["hconcat"][0]["layer"][-1]["encoding"]["shape"]
    assert shape["scale"] == {"domain": ["old flap", "new flap"], "range": ["circle", "square"]}


def test_one_run_without_scatter_still_has_a_scale() -> None:
    alone = [RunPoint("only", "old flap", 1, 2.0e-5, 0.0)]
    spec = trial_chart(alone, [MeanPoint("old flap", 2e-5, 2e-5, 2e-5)], figure="flow", kind="volume_flow")
    low, high = spec["hconcat"][0]["layer"][0]["encoding"]["y"]["scale"]["domain"]
    assert low < 1.2 < high
    to_svg(spec)


def test_residuals_without_a_modelled_value_are_counted() -> None:
    fitted = twin()
    gap = replace(fitted.residuals[0], normalised=math.nan)
    spec = residual_chart(replace(fitted, residuals=(gap, *fitted.residuals[1:])))
    assert "1 not drawn" in json.dumps(spec, allow_nan=False)


def test_residuals_are_named_as_they_are_spoken() -> None:
    fitted = twin()
    shut_off = replace(fitted.residuals[0], figure="shut_off_head")
    rows = residual_chart(replace(fitted, residuals=(shut_off,)))["layer"][-1]["data"]["values"]
    assert [row["figure"] for row in rows] == ["shut-off head"]


def test_far_residual_stays_on_the_chart() -> None:
    fitted = twin()
    far = replace(fitted.residuals[0], normalised=-9.0)
    low, high = residual_chart(replace(fitted, residuals=(far,)))["layer"][0]["encoding"]["x"]["scale"]["domain"]
    assert low < -9.0
    assert high > 9.0


def test_last_beat_runs_from_opening_to_opening() -> None:
    columns = trace()  # beats of 1 s
    kept = columns["time"][last_beat(columns)]
    assert kept[-1] - kept[0] == pytest.approx(1.1, abs=0.02)
    still = {name: column[:200] for name, column in columns.items()}
    assert last_beat(still) == slice(0, 200)
    assert last_beat({"opening": np.zeros(0)}) == slice(0, 0)


def test_elevation_says_its_scale() -> None:
    assert "to one scale" in json.dumps(elevation_chart(site(line_length=60.0, lift=50.0)))
    long = json.dumps(elevation_chart(site(line_length=1500.0, lift=40.0)))
    assert re.search(r"Heights drawn \d+ times the lengths", long)


def test_elevation_to_one_scale_is_to_scale() -> None:
    spec = elevation_chart(site(line_length=60.0, lift=50.0))
    encoding = spec["layer"][1]["encoding"]
    across = np.ptp(encoding["x"]["scale"]["domain"]) / spec["width"]
    up = np.ptp(encoding["y"]["scale"]["domain"]) / spec["height"]
    assert up == pytest.approx(across, rel=0.01)


def test_words() -> None:
    assert axis_title("delivered flow", "volume_flow", "us") == "delivered flow (gpm)"
    assert axis_title("beats", "count", "metric") == "beats"
    assert wrap("one two three", 8) == ["one two", "three"]
