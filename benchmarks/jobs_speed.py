"""How long the jobs of a workbook take: twins and promises of the demo, and the memory they need.

.venv/bin/python benchmarks/jobs_speed.py
"""

from __future__ import annotations

import time
from importlib.resources import files

from common import MEGABYTE, against_goal, best_of, machine, peak_memory, rounded, show

from clackwork.site.promise import make_promise
from clackwork.twin.fit import fit_twin
from clackwork.twin.twin import Twin
from clackwork.workbook import Workbook, load_workbook

DRAWS = 200
ROUNDS = 3
LEAST_RUNS = 8


def fit_builds(workbook: Workbook) -> tuple[list[dict[str, object]], list[Twin], float]:
    """Fit each build once, on all cores: a table, the twins and the longest time [s]."""
    rows: list[dict[str, object]] = []
    twins, longest = [], 0.0
    for name, build in workbook.builds.items():
        runs = workbook.runs_of(name)
        if len(runs) < LEAST_RUNS:
            raise RuntimeError(f"Build {name!r} has {len(runs)} runs; the benchmark wants {LEAST_RUNS} or more.")
        start = time.perf_counter()
        twin = fit_twin(build, workbook.rigs, runs)
        took = time.perf_counter() - start
        longest = max(longest, took)
        twins.append(twin)
        rows.append(
            {
                "build": name,
                "runs": len(runs),
                "wall_s": rounded(took),
                "engine_runs": twin.engine_runs,
                "engine_runs_per_s": rounded(twin.engine_runs / took),
                "peak_memory_mb": rounded(peak_memory() / MEGABYTE),
            }
        )
    return rows, twins, longest


def promise_sites(workbook: Workbook, twins: list[Twin]) -> tuple[list[dict[str, object]], float]:
    """Promise every twin at every site, warmed up first: a table and the longest of the best times [s]."""
    rows: list[dict[str, object]] = []
    longest = 0.0
    for name, site in workbook.sites.items():
        for twin in twins:
            answer = make_promise(twin, site, draws=DRAWS).answer
            took = best_of(ROUNDS, lambda twin=twin, site=site: make_promise(twin, site, draws=DRAWS)).wall
            longest = max(longest, took)
            rows.append(
                {
                    "site": name,
                    "build": twin.build.name,
                    "answer": answer,
                    "draws": DRAWS,
                    "wall_s": rounded(took),
                    "peak_memory_mb": rounded(peak_memory() / MEGABYTE),
                }
            )
    return rows, longest


def main() -> None:
    """Print every table."""
    show("machine", machine())
    text = (files("clackwork") / "demo" / "workshop.toml").read_text(encoding="utf-8")
    workbook = load_workbook(text)
    rows, twins, longest_fit = fit_builds(workbook)
    show("twins, all cores", rows)
    rows, longest_promise = promise_sites(workbook, twins)
    show(f"promises, all cores, best of {ROUNDS} after one to warm up", rows)
    show(
        "goals",
        [
            against_goal("twin, slowest build [s]", longest_fit, 60.0, at_least=False),
            against_goal(f"promise of {DRAWS} draws, slowest [s]", longest_promise, 2.0, at_least=False),
            against_goal("peak memory [MB]", peak_memory() / MEGABYTE, 1000.0, at_least=False),
        ],
    )
    show("machine", machine())


if __name__ == "__main__":
    main()
