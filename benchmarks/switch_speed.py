"""How long a switch study takes: two builds over likely sites with draws of both, on all cores; and its memory.

    .venv/bin/python benchmarks/switch_speed.py [SITES] [DRAWS]

Pumps and places are invented. SITES is 300 and DRAWS 100 when not given; with fewer the time is carried to 300 and 100
in proportion, and said to be.
"""

from __future__ import annotations

import datetime
import sys
import time
from dataclasses import replace
from types import MappingProxyType

from common import ROOT, against_goal, machine, peak_memory, rounded, show

sys.path.insert(0, str(ROOT / "tests"))

from invented_twin import demo, twin_of

from clackwork.switch_job import study_of_workbook

SITES, DRAWS = 300, 100
GOAL = 180.0
"""[s] of wall time on two cores that do nothing else."""
MEMORY_GOAL = 1.0
"""[GB]"""


def time_study(sites: int, draws: int) -> tuple[dict[str, object], float, float]:
    """One study over so many sites, all likely but the first: its row, wall and processor time [s]."""
    twins = {name: twin_of(build, draws=draws) for name, build in demo().builds.items()}
    name, first = next(iter(demo().sites.items()))
    workbook = replace(demo(), sites=MappingProxyType({name: first}), parts=())
    asked = replace(demo().switches["poppet"], likely=sites - 1)
    wall, own = time.perf_counter(), time.process_time()
    found = study_of_workbook(workbook, asked, twins, today=datetime.date(2024, 1, 1), draws=draws)
    wall, own = time.perf_counter() - wall, time.process_time() - own
    row = {"sites": len(found.study.places), "draws": draws, "builds": 2, "retuned": len(found.retuned)}
    return row | {"wall_s": rounded(wall), "processor_s": rounded(own)}, wall, own


def main() -> None:
    """Measure once, carry to the whole where fewer were asked for, print every table."""
    given = [int(one) for one in sys.argv[1:3]]
    sites, draws = (*given, *(SITES, DRAWS)[len(given) :])
    show("machine", machine())
    time_study(2, 20)  # to warm up
    row, wall, own = time_study(sites, draws)
    show("switch study", row)
    share = SITES * DRAWS / (sites * draws)
    carried = "" if share == 1.0 else f", carried from {sites} sites of {draws} draws"
    goals = [
        against_goal(f"wall time [s]{carried}", share * wall, GOAL, at_least=False),
        against_goal(f"processor time over two cores [s]{carried}", share * own / 2.0, GOAL, at_least=False),
        against_goal("peak memory [GB]", 1e-9 * peak_memory(), MEMORY_GOAL, at_least=False),
    ]
    show("goals", goals)
    show("machine", machine())


if __name__ == "__main__":
    main()
