"""What is kept of the oracle's runs is what the oracle finds."""

from __future__ import annotations

import pytest
from kept_oracle import digest, kept_runs, run_anew
from test_engine_oracle import random_ram

from clackwork.ram.engine import pack

LONG = 2000.0


def test_kept_runs_are_found_again() -> None:
    """A dozen random rams run again; uneven beats carry last bits further, so three in four is asked for."""
    same = 0
    for seed in range(0, 240, 20):
        row = pack(random_ram(seed))
        kept = kept_runs().get(digest(row, 48, 40, LONG))
        assert kept is not None, "run the reference tests with KEEP_ORACLE=1 and commit what they add"
        same += run_anew(row, 48, 40, LONG) == pytest.approx(kept, rel=1e-5, abs=1e-9)
    assert same >= 9


def test_another_case_or_grid_is_another_run() -> None:
    row = pack(random_ram(0))
    other = row.copy()
    other[0] *= 1.0 + 1e-6
    assert len({digest(row, 48, 40, LONG), digest(row, 96, 40, LONG), digest(row, 48, 160, LONG)}) == 3
    assert digest(other, 48, 40, LONG) != digest(row, 48, 40, LONG)
    assert digest(row * (1.0 + 1e-13), 48, 40, LONG) == digest(row, 48, 40, LONG)
