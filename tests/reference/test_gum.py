"""The GUM's own example, and a bucket against a watch."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest

from clackwork.bench.gum import Component, coverage_factor, propagate
from clackwork.bench.instruments import Bucket, Instruments, Stopwatch
from clackwork.bench.runs import Run, RunKind, reduce_run

PART = "Measuring"
GUM = "JCGM 100:2008 (GUM), H.1, table H.1"
# Standard uncertainties [nm] and degrees of freedom of the end-gauge example.
END_GAUGE = [(25.0, 18.0), (16.599, 2.0), (6.7, 8.0), (5.8, 24.0), (3.9, 5.0), (2.887, 50.0)]


def test_end_gauge(record_case: Callable[..., None]) -> None:
    parts = [Component(f"c{i}", 0.0, u, freedom) for i, (u, freedom) in enumerate(END_GAUGE)]
    found = propagate(lambda v: sum(v.values()), parts)
    record_case("end gauge, combined uncertainty", GUM, 31.66, found.standard_uncertainty, 2e-4, "nm")
    record_case("end gauge, degrees of freedom", GUM, 16.75, found.degrees_of_freedom, 1e-3)
    # The GUM cuts 16.75 down to 16 and rounds u to 32 nm; the interval here does neither.
    whole = coverage_factor(0.99, 16.0) * round(found.standard_uncertainty)
    record_case("end gauge, U99 with the GUM's rounding", GUM, 93.0, whole, 0.006, "nm")
    low, high = found.interval(0.99)
    record_case("end gauge, U99 unrounded", GUM, 93.0, 0.5 * (high - low), 0.015, "nm")


TIMING = "Am. J. Phys. 87(2), 110 (2019)"


def test_timing_by_hand(record_case: Callable[..., None]) -> None:
    record_case("interval timed by hand, standard deviation", TIMING, 0.10, Stopwatch().start_stop_sd, 1e-9, "s")


@pytest.mark.parametrize(
    ("reading", "half_width", "published"),
    [
        # The published figure takes 0.05 L as a standard uncertainty; a half width sqrt(3) times as large is one.
        ("0.05 L a standard uncertainty", 0.05e-3 * math.sqrt(3.0), 0.417),
        # A bucket's mark is known to a half width, and a rectangle's standard uncertainty is 1/sqrt(3) of it.
        ("0.05 L a half width", 0.05e-3, 0.363),
    ],
)
def test_bucket_and_watch(record_case: Callable[..., None], reading: str, half_width: float, published: float) -> None:
    bench = Instruments(bucket=Bucket(mark_uncertainty=half_width))
    run = Run(
        name="1", build="A", rig="yard", kind=RunKind.HELD_OPEN, fall_start=1.0, duration=30.0, drawn_volume=20e-3
    )
    flow = reduce_run(run, bench).drawn_flow
    assert flow is not None
    source = f"JCGM 100:2008, 4.3.7 and equation 10; sd of timing {TIMING}"
    case = f"20 L in 30 s, {reading}: standard uncertainty"
    record_case(case, source, published, 100.0 * flow.relative_uncertainty, 1e-3, "%", "FORM")
