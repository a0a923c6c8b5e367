"""Draws of a place for a study: the same place as a promise sees it, behind a standpipe too."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from invented_twin import demo, twin_of

from clackwork.life.site_draws import draw_places
from clackwork.pipes import find_pipe
from clackwork.ram.parts import SupplyPipe
from clackwork.site.promise import make_promise
from clackwork.site.site import Site

DRAWS = 60


def behind_a_standpipe() -> Site:
    """A place of the demo, its source 80 m away through a pipe that loses some of the fall."""
    site = demo().sites["Upper Hazel"]
    feed = SupplyPipe(find_pipe("pe100-sdr11", "50 mm"), 80.0)
    return replace(site, feed=feed, standpipe_area=0.25 * math.pi * 0.3**2)


@pytest.mark.parametrize("fed", [False, True])
def test_flows_are_those_of_a_promise(fed: bool) -> None:
    site = behind_a_standpipe() if fed else demo().sites["Upper Hazel"]
    twin = twin_of(demo().builds["flap"], spread=0.02)
    promised = make_promise(twin, site, draws=DRAWS)
    (drawn,) = draw_places([(twin, site)], draws=DRAWS)
    assert drawn.beating.all()
    assert np.median(drawn.delivered_flow) == pytest.approx(promised.delivered_flow.middle, rel=0.03)
    assert np.median(drawn.drawn_flow) == pytest.approx(promised.water_needed.middle, rel=0.03)


def test_a_supply_pipe_takes_from_what_is_delivered() -> None:
    twin = twin_of(demo().builds["flap"], spread=0.02)
    straight, fed = draw_places([(twin, demo().sites["Upper Hazel"]), (twin, behind_a_standpipe())], draws=DRAWS)
    assert np.median(fed.delivered_flow) < 0.97 * np.median(straight.delivered_flow)
