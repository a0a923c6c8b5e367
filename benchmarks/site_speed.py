"""How long the work on sites takes: a quick answer, the search of a site, and 500 sites promised anew.

    .venv/bin/python benchmarks/site_speed.py [SITES]

Pumps and places are invented. SITES is the number promised anew, 500 when not given; 0 leaves them out.
"""

from __future__ import annotations

import math
import sys
import time
from dataclasses import replace

import numpy as np
from common import ROOT, against_goal, machine, rounded, show

sys.path.insert(0, str(ROOT / "tests"))

from invented_twin import demo, twin_of

from clackwork.bench.gum import Estimate
from clackwork.site.promise import make_promise
from clackwork.site.quick import QuickAsk, quick_answer
from clackwork.site.search import search_designs
from clackwork.site.stock import usual_stock
from clackwork.site.survey import SourceReading, Survey
from clackwork.twin.twin import Twin

LITRES_A_MINUTE = 1e-3 / 60.0
DRAWS = 200
QUICK_GOAL, SEARCH_GOAL, PROMISES_GOAL = 1.0, 20.0, 180.0
"""[s] of wall time on two cores that do nothing else."""
PLACES = {
    "spring, near": (3.0, 30.0, 22.0, 90.0, None),
    "spring, far": (3.0, 30.0, 22.0, 90.0, 120.0),
    "low fall": (1.0, 60.0, 12.0, 300.0, None),
    "high lift": (6.0, 200.0, 60.0, 900.0, 40.0),
}
"""Fall [m], flow [L/min], lift [m], line [m], ground to the source [m]."""


def timed(work: object) -> tuple[float, float]:
    """Wall and processor time of one call [s]."""
    wall, own = time.perf_counter(), time.process_time()
    work()  # type: ignore[operator]
    return time.perf_counter() - wall, time.process_time() - own


def quick_rows(twins: list[Twin]) -> tuple[list[dict[str, object]], float]:
    """Quick answers after one to warm up: a table, and the longest [s of processor time]."""
    rows: list[dict[str, object]] = []
    longest = 0.0
    for name, (fall, litres, lift, line, ground) in PLACES.items():
        ask = QuickAsk(fall, litres * LITRES_A_MINUTE, lift, line, ground)
        answer = quick_answer(twins, ask)
        wall, own = timed(lambda ask=ask: quick_answer(twins, ask))
        longest = max(longest, own)
        rows.append(
            {
                "place": name,
                "answer": answer.answer,
                "engine_runs": answer.engine_runs,
                "wall_s": rounded(wall),
                "processor_s": rounded(own),
            }
        )
    return rows, longest


def survey(name: str) -> Survey:
    """One of the places as surveyed."""
    fall, litres, lift, line, ground = PLACES[name]

    def known(value: float, share: float) -> Estimate:
        return Estimate(value, share * value, math.inf)

    source = (SourceReading(known(litres * LITRES_A_MINUTE, 0.03), "bucket"),)
    return Survey(name, known(fall, 0.01), known(lift, 0.01), source, line, ground_to_source=ground)


def search_rows(twins: list[Twin]) -> tuple[list[dict[str, object]], float]:
    """Searches of every place: a table, and the longest [s of wall time]."""
    rows: list[dict[str, object]] = []
    longest = 0.0
    for name in PLACES:
        found = []
        wall, own = timed(
            lambda name=name, found=found: found.append(search_designs(survey(name), twins, usual_stock()))
        )
        longest = max(longest, wall)
        rows.append(
            {
                "place": name,
                "answer": found[0].answer,
                "choices": len(found[0].choices),
                "engine_runs": found[0].engine_runs,
                "wall_s": rounded(wall),
                "processor_s": rounded(own),
            }
        )
    return rows, longest


def promise_again(twins: list[Twin], count: int) -> tuple[dict[str, object], float]:
    """Sites about those of the demo promised anew with all draws: a row, and the time [s of wall time]."""
    rng = np.random.default_rng(500)
    sites = [site for site in demo().sites.values() if site.fall > 1.0]
    varied = []
    for number in range(count):
        site = sites[number % len(sites)]
        factor = float(np.exp(0.1 * rng.standard_normal()))
        varied.append((twins[number % len(twins)], replace(site, name=f"site {number}", fall=site.fall * factor)))

    def work() -> None:
        for twin, site in varied:
            make_promise(twin, site, draws=DRAWS)

    wall, own = timed(work)
    return {"sites": count, "draws": DRAWS, "wall_s": rounded(wall), "processor_s": rounded(own)}, wall


def main(count: int) -> None:
    """Print every table."""
    show("machine", machine())
    twins = [twin_of(build, draws=DRAWS) for build in demo().builds.values()]
    rows, quick = quick_rows(twins)
    show("quick answers, all cores, after one to warm up", rows)
    rows, search = search_rows(twins)
    show("searches of a site, all cores", rows)
    goals = [
        against_goal("quick answer, slowest [s of processor time]", quick, QUICK_GOAL, at_least=False),
        against_goal("search of a site, slowest [s]", search, SEARCH_GOAL, at_least=False),
    ]
    if count:
        row, took = promise_again(twins, count)
        show("sites promised anew, all cores", row)
        goals.append(against_goal(f"{count} sites promised anew [s]", took, PROMISES_GOAL, at_least=False))
    show("goals", goals)
    show("machine", machine())


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 500)
