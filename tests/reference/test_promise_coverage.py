"""The stated ranges hold: 90 % promise bands at other sites against the oracle's truth, on made-up pumps."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import pytest
from made_up_pumps import Covered, study

pytestmark = pytest.mark.slow
PUMPS, SOME = 11, 3
"""Of the whole study, and of the part of it that every run does."""


def test_promise_bands_cover_about_nine_in_ten(whole: bool) -> None:
    """Between 80 and 97 % of 60 or more cases for each figure; pumps, readings and sites are invented.

    Without ``--whole`` the first three pumps only: of their 18 cases a sound band misses more than five once in a hundred.
    """
    with ThreadPoolExecutor(2) as pool:
        found: list[Covered] = [case for cases in pool.map(study, range(PUMPS if whole else SOME)) for case in cases]
    for figure in ("delivered_flow", "water_needed", "beat_rate"):
        mine = [case.held for case in found if case.figure == figure]
        if whole:
            assert len(mine) >= 60
            assert 0.80 <= sum(mine) / len(mine) <= 0.97, figure
        else:
            assert len(mine) >= 15
            assert sum(mine) >= len(mine) - 5, figure
