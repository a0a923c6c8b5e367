"""Charts of a designed site and the bars of the quick answer: they fit the schema, read in grey, keep the units asked."""

from __future__ import annotations

import json
import re
from xml.etree import ElementTree

import altair
import numpy as np
import pytest
from invented_design import choice

from clackwork.charts.site_charts import lengths_chart, months_chart, source_chart, tank_chart
from clackwork.charts.vega import Spec, to_svg
from clackwork.charts.water_bars import water_bars
from clackwork.site.site import Range
from clackwork.site.storage import simulate_tank

POINTS = ((6.0, 1.2, 1.6), (12.0, 1.5, 1.1), (18.0, 1.45, 0.9), (30.0, 0.0, 0.0))


def every_chart(system: str) -> dict[str, Spec]:
    one = choice()
    year = simulate_tank(2.0, [plan.delivered_daily for plan in one.months], [1.6] * 12)
    return {
        "months": months_chart(one.months, system=system),
        "source": source_chart(one.months, system=system),
        "lengths": lengths_chart(POINTS, 18.0, one.rules, system=system),
        "tank": tank_chart(year, system=system),
    }


@pytest.mark.parametrize("system", ["metric", "us"])
@pytest.mark.parametrize("name", list(every_chart("metric")))
def test_a_chart_fits_the_schema_and_draws_in_grey(name: str, system: str) -> None:
    spec = every_chart(system)[name]
    json.dumps(spec, allow_nan=False)
    altair.Chart.from_dict(spec)
    svg = to_svg(spec)
    assert "NaN" not in svg and not re.search(r"(href|src)=", svg)
    for colour in re.findall(r"#([0-9a-fA-F]{6})\b", svg):
        assert colour[:2] == colour[2:4] == colour[4:], colour


def test_days_without_water_are_marked() -> None:
    dry = simulate_tank(1.0, [2.0] * 8 + [0.0] * 4, [1.0] * 12)
    spec = tank_chart(dry)
    marked = [one for one in spec["layer"] if one["mark"]["type"] == "rect"]
    assert len(marked[0]["data"]["values"]) == dry.empty_days > 0
    assert len(tank_chart(simulate_tank(1.0, [2.0] * 12, [1.0] * 12))["layer"]) == 1


def test_months_keep_their_units() -> None:
    month = choice().months[0]
    values = months_chart([month], system="us")["data"]["values"][0]
    litres = 1000.0 * month.delivered_daily
    assert values["delivered_gal_day"] == pytest.approx(litres / 3.785411784)  # NIST Handbook 44, appendix C


def test_bars_are_as_long_as_what_they_show() -> None:
    svg = water_bars(Range(1e-4, 2e-4, 3e-4), Range(4e-4, 5e-4, 6e-4), system="metric")
    root = ElementTree.fromstring(svg)
    widths = [float(one.attrib["width"]) for one in root.iter() if one.tag.endswith("rect")]
    assert widths[1] / widths[0] == pytest.approx(2.5, rel=1e-3)
    assert "12.0 L/min" in root.attrib["aria-label"] and "30.0 L/min" in root.attrib["aria-label"]
    assert "gpm" in water_bars(Range(0.0, 0.0, 0.0), Range(0.0, 0.0, 0.0), system="us")
    assert np.isfinite(widths).all()
