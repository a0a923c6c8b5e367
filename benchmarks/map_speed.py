"""How long a map of operating points takes: 30 falls x 30 lifts x 5 tunings, on one core and on all.

    .venv/bin/python benchmarks/map_speed.py

The parts are invented. Rows on one core and on all must be the same to the last bit.
"""

from __future__ import annotations

import time
from collections import Counter
from dataclasses import replace

import numpy as np
from common import MEGABYTE, against_goal, machine, peak_memory, rounded, show

from clackwork.pipes import find_pipe
from clackwork.ram import kernel
from clackwork.ram.engine import STATES, RamCase, pack
from clackwork.ram.operating import operating_rows
from clackwork.ram.parts import AirVessel, Build, DeliveryLine, DeliveryValve, DrivePipe, GuidedPoppet, Supply
from clackwork.water import water_at

FALLS = np.linspace(1.5, 8.0, 30)
RATIOS = np.linspace(3.0, 12.0, 30)
WEIGHTS = np.linspace(0.02, 0.05, 5)
"""Moving mass for each metre of fall [kg/m]."""


def cases() -> tuple[list[RamCase], list[DeliveryLine]]:
    """A one-inch ram on 25 m of steel at every fall, lift and tuning; each line 15 times as long as its lift."""
    rams, lines = [], []
    drive, delivery = find_pipe("steel-sch40", "1 in"), find_pipe("pe100-sdr11", "25 mm")
    build = Build("map", GuidedPoppet(mass=0.1, stroke=0.006, seat_bore=0.028), DeliveryValve(0.022), AirVessel(4e-3))
    base = RamCase(build, DrivePipe(drive, 25.0), Supply(2.0), vessel_head=20.0)
    for fall in map(float, FALLS):
        for lift in map(float, fall * RATIOS):
            for weight in map(float, fall * WEIGHTS):
                rams.append(replace(base, build=build.retuned(mass=weight), supply=Supply(fall), vessel_head=lift))
                lines.append(DeliveryLine(delivery, 15.0 * lift, lift))
    return rams, lines


def main() -> None:
    """Print every table."""
    show("machine", machine())
    rams, lines = cases()
    start = time.perf_counter()
    packed = np.array([pack(ram) for ram in rams])
    packing = time.perf_counter() - start
    water = water_at()
    operating_rows(packed[:8].copy(), lines[:8], water)
    rows, results, times = [], [], {}
    for workers in (None, 1):
        start = time.perf_counter()
        results.append(operating_rows(packed.copy(), lines, water, workers=workers))
        times[workers] = time.perf_counter() - start
        found = Counter(STATES[state] for state in results[-1][:, kernel.R["state"]])
        rows.append(
            {
                "cores": "all" if workers is None else workers,
                "operating_points": len(rams),
                "wall_s": rounded(times[workers]),
                "each_ms": rounded(1e3 * times[workers] / len(rams)),
                **{state.replace(" ", "_"): number for state, number in found.items()},
            }
        )
    show("map of operating points", rows)
    same = bool(np.array_equal(*results))
    show(
        "goals",
        [
            against_goal("map, all cores, packing counted [s]", times[None] + packing, 15.0, at_least=False),
            {"goal": "same on one core and on all", "met": same},
            against_goal("peak memory [MB]", peak_memory() / MEGABYTE, 1000.0, at_least=False),
        ],
    )


if __name__ == "__main__":
    main()
