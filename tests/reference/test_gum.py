"""The GUM's own example, and a bucket against a watch."""

from __future__ import annotations

from collections.abc import Callable

from clackwork.bench.gum import Component, coverage_factor, propagate

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


def test_bucket_and_watch(record_case: Callable[..., None]) -> None:
    # 20 L known to 0.05 L in 30 s timed by hand, sd 0.10 s. The 0.417 % holds with 0.05 L taken as the standard
    # uncertainty; taken as the half width of a rectangle, as for a bucket's mark, it is 0.363 %
    # (tests/unit/test_bench_runs.py).
    parts = [Component("volume", 20.0, 0.05), Component("time", 30.0, 0.10)]
    found = propagate(lambda v: v["volume"] / v["time"], parts)
    source = "sd of hand timing: Am. J. Phys. 87(2), 110 (2019); joined by JCGM 100:2008, equation 10"
    record_case("20 L in 30 s", source, 0.417, 100.0 * found.relative_uncertainty, 1e-3, "%", "COMP")
