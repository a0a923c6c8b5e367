"""A lift measured from the source is off by whatever the fall is off by: the draws of a place share that."""

from __future__ import annotations

import numpy as np
import pytest
from invented_twin import demo, twin_of

from clackwork.bench.gum import Estimate
from clackwork.errors import InputError
from clackwork.pipes import find_pipe
from clackwork.ram import kernel
from clackwork.ram.parts import DeliveryLine, DrivePipe
from clackwork.site.heights import fall_in_lift, lift_above_pump, typed_height
from clackwork.site.promise import site_rows
from clackwork.site.site import Site

FALL = typed_height(3.0, 0.30)
ABOVE = typed_height(9.0, 0.10)
DRAWS = 4000


def draws_at(lift: Estimate) -> tuple[np.ndarray, np.ndarray]:
    """Falls and lifts drawn [m]."""
    site = Site(
        "made up", FALL.value, 1e-3, DrivePipe(find_pipe("steel-sch40", "1 in"), 12.0),
        DeliveryLine(find_pipe("pe100-sdr11", "25 mm"), 60.0, lift.value),
        fall_spread=FALL.standard_uncertainty, lift_spread=lift.standard_uncertainty, lift_with_fall=fall_in_lift(lift),
    )  # fmt: skip
    rows, lifts, _ = site_rows(twin_of(demo().builds["flap"]), site, DRAWS, np.random.default_rng(3), 1)
    return rows[:, kernel.P["fall"]], lifts


def test_from_the_source_what_is_lifted_above_it_is_as_sure_as_its_own_reading() -> None:
    """u(lift - fall) is that of the height above the source alone: JCGM 100:2008, 5.2.2, with the covariance of the fall."""
    lift = lift_above_pump(from_source=ABOVE, fall=FALL)
    falls, lifts = draws_at(lift)
    assert np.std(lifts) == pytest.approx(np.hypot(FALL.standard_uncertainty, ABOVE.standard_uncertainty), rel=0.05)
    assert np.std(lifts - falls) == pytest.approx(ABOVE.standard_uncertainty, rel=0.05)
    assert np.cov(falls, lifts)[0, 1] == pytest.approx(FALL.standard_uncertainty**2, rel=0.07)


def test_from_the_pump_they_are_apart() -> None:
    lift = lift_above_pump(from_pump=typed_height(12.0, 0.30), fall=FALL)
    assert fall_in_lift(lift) == 0.0
    falls, lifts = draws_at(lift)
    assert abs(np.corrcoef(falls, lifts)[0, 1]) < 0.06


def test_no_more_of_the_lift_can_be_the_falls_than_there_is() -> None:
    with pytest.raises(InputError, match="lift_with_fall"):
        Site(
            "made up", 3.0, 1e-3, DrivePipe(find_pipe("steel-sch40", "1 in"), 12.0),
            DeliveryLine(find_pipe("pe100-sdr11", "25 mm"), 60.0, 12.0), lift_spread=0.1, lift_with_fall=0.2,
        )  # fmt: skip
