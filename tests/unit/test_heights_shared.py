"""A lift measured from the source shares the fall's error, in its estimate and in the draws of a promise."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from invented_design import place
from invented_twin import demo, twin_of

from clackwork.bench.gum import Estimate, typed_estimate
from clackwork.ram import kernel
from clackwork.site.commissioning import site_on_day
from clackwork.site.heights import holds_fall, lift_above_pump
from clackwork.site.promise import site_rows
from clackwork.site.site import Site
from clackwork.site.visit import SiteReadings

DRAWS = 20000
FALL = typed_estimate(3.0, 0.3, "fall")
ABOVE = typed_estimate(18.0, 0.2, "above the source")


def surveyed(lift: Estimate) -> Site:
    """The terrace with a fall known poorly, and this lift."""
    line = replace(place().line, lift=lift.value)
    spreads = {"fall_spread": FALL.standard_uncertainty, "lift_spread": lift.standard_uncertainty}
    return place(line=line, lift_holds_fall=holds_fall(lift), **spreads)


def drawn(site: Site) -> tuple[np.ndarray, np.ndarray]:
    """Falls and lifts of many draws [m]."""
    rows, lifts, _ = site_rows(twin_of(demo().builds["flap"]), site, DRAWS, np.random.default_rng(5), 1)
    return rows[:, kernel.P["fall"]], lifts


def test_draws_of_a_lift_from_the_source_share_the_fall() -> None:
    """Lift less fall is the height above the source and varies as that alone; lift varies as both (GUM 5.1.2)."""
    lift = lift_above_pump(from_source=ABOVE, fall=FALL)
    falls, lifts = drawn(surveyed(lift))
    close = 4.0 / math.sqrt(2.0 * DRAWS)  # four standard errors of a standard deviation
    assert np.std(lifts - falls) == pytest.approx(ABOVE.standard_uncertainty, rel=close)
    assert np.std(falls) == pytest.approx(FALL.standard_uncertainty, rel=close)
    both = math.hypot(ABOVE.standard_uncertainty, FALL.standard_uncertainty)
    assert lift.standard_uncertainty == pytest.approx(both)
    assert np.std(lifts) == pytest.approx(both, rel=close)
    assert np.corrcoef(falls, lifts)[0, 1] == pytest.approx(FALL.standard_uncertainty / both, abs=0.02)


def test_draws_of_a_lift_from_the_pump_are_independent() -> None:
    lift = lift_above_pump(from_pump=typed_estimate(21.0, 0.2, "lift"), fall=FALL)
    assert not holds_fall(lift)
    falls, lifts = drawn(surveyed(lift))
    assert abs(np.corrcoef(falls, lifts)[0, 1]) < 4.0 / math.sqrt(DRAWS)
    both = math.hypot(lift.standard_uncertainty, FALL.standard_uncertainty)
    assert np.std(lifts - falls) == pytest.approx(both, rel=0.02)


def test_a_height_read_on_the_day_shares_nothing() -> None:
    site = surveyed(lift_above_pump(from_source=ABOVE, fall=FALL))
    assert site_on_day(site, SiteReadings()).lift_holds_fall
    assert not site_on_day(site, SiteReadings(fall=2.9, fall_spread=0.01)).lift_holds_fall
    assert not site_on_day(site, SiteReadings(lift=21.2, lift_spread=0.01)).lift_holds_fall
