"""Speed, accuracy and memory of the engine on one core, beside the plain method of characteristics.

    .venv/bin/python benchmarks/engine_speed.py

The parts are invented. Neither scheme validates the other: both are ours and solve the same stated model.
"""

from __future__ import annotations

import gc
import math
import tracemalloc
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from common import MEGABYTE, against_goal, best_of, machine, peak_memory, rounded, show
from numpy.typing import NDArray

from clackwork.pipes import find_pipe
from clackwork.ram import kernel
from clackwork.ram.batch import run_packed
from clackwork.ram.characteristics import ORACLE_RESULTS, simulate_plain
from clackwork.ram.engine import RamCase, choose_resolution, pack
from clackwork.ram.parts import AirVessel, Build, DeliveryValve, DrivePipe, GuidedPoppet, Supply

FloatArray = NDArray[np.float64]

NO_TRACE = np.zeros((0, len(kernel.TRACE_COLUMNS)))
SPEED_BEATS = 400
ACCURACY_BEATS = 160
ORACLE_SPEED_BEATS = 60
GRIDS = (6, 8, 12, 16, 24, 32, 48, 64)
"""Reaches the oracle is tried at."""
LIMIT_GRID = 128
"""Reaches of the oracle's own fine limit."""
LIMIT_REFINE = 8
"""Refinement of the engine's own fine limit."""
ROUNDS = 5
MEMORY_CASES = 2000


@dataclass(frozen=True)
class Group:
    """One pipe and pump at several falls [m]."""

    name: str
    cases: tuple[RamCase, ...]


@dataclass(frozen=True)
class Means:
    """Beat period [s], waste, delivered and drawn flow [m3/s]."""

    period: float
    waste: float
    delivered: float
    drawn: float


def plastic() -> Group:
    """12 m of half-inch PVC at 0.9 to 2 m of fall, 8 m held in the vessel."""
    poppet = GuidedPoppet(mass=0.020, stroke=0.004, seat_bore=0.016)
    build = Build("half inch", poppet, DeliveryValve(0.012), AirVessel(1e-3))
    pipe = DrivePipe(find_pipe("pvc-sch40", "1/2 in"), 12.0)
    falls = (0.9, 1.2, 1.5, 1.8, 2.0)
    return Group("PVC 1/2 in, 12 m", tuple(RamCase(build, pipe, Supply(fall), vessel_head=8.0) for fall in falls))


def steel() -> Group:
    """40 m of one-inch steel at 2.1 to 6 m of fall, 30 m held in the vessel."""
    poppet = GuidedPoppet(mass=0.080, stroke=0.007, seat_bore=0.030)
    build = Build("one inch", poppet, DeliveryValve(0.020), AirVessel(1e-3))
    pipe = DrivePipe(find_pipe("steel-sch40", "1 in"), 40.0)
    falls = (2.1, 3.0, 4.0, 5.0, 6.0)
    return Group("steel 1 in, 40 m", tuple(RamCase(build, pipe, Supply(fall), vessel_head=30.0) for fall in falls))


def run_engine(case: RamCase, beats: int, refine: int = 1) -> FloatArray:
    """A kernel result over so many beats; no settling ends it early."""
    packed = pack(case, resolution=choose_resolution(case, refine), most_beats=beats, most_time=1e5)
    packed[kernel.P["settle_tolerance"]] = 0.0
    out = np.zeros(len(kernel.RESULTS))
    kernel.simulate(packed, out, NO_TRACE, 1)
    return out


def run_oracle(case: RamCase, reaches: int, beats: int) -> FloatArray:
    """An oracle result over so many beats."""
    out = np.zeros(len(ORACLE_RESULTS))
    simulate_plain(pack(case), reaches, beats, 1e5, out)
    return out


def engine_means(case: RamCase, refine: int) -> Means:
    """Means by the engine; raises RuntimeError when it stalls."""
    out = run_engine(case, ACCURACY_BEATS, refine)
    if out[kernel.R["beats"]] == 0.0:
        raise RuntimeError(f"The engine stalls at {case.supply.fall} m of fall: the benchmark needs a beating pump.")
    names = ("beat_period", "waste_flow", "delivered_flow", "drawn_flow")
    return Means(*(float(out[kernel.R[name]]) for name in names))


def oracle_means(case: RamCase, reaches: int) -> Means:
    """Means by the oracle; on few reaches it may stall where the pump beats: its flows are then nan."""
    out = run_oracle(case, reaches, ACCURACY_BEATS)
    if out[ORACLE_RESULTS.index("state")] != 0.0:
        return Means(math.nan, math.nan, math.nan, math.nan)
    names = ("beat_period", "waste_flow", "delivered_flow", "drawn_flow")
    return Means(*(float(out[ORACLE_RESULTS.index(name)]) for name in names))


def miss(means: Means, limit: Means) -> float:
    """Largest relative miss of beat period, waste and delivered flow [-]; infinite for a stall."""
    if math.isnan(means.period):
        return math.inf
    return max(
        abs(means.period / limit.period - 1.0),
        abs(means.waste / limit.waste - 1.0),
        abs(means.delivered / limit.delivered - 1.0),
    )


def accuracy(group: Group) -> tuple[list[dict[str, object]], float, dict[int, float]]:
    """Misses over the falls of a group: a table, the engine's median and the oracle's median by reaches.

    Each scheme is held against its own fine limit, the kinder of two ways to the oracle; its misses against the
    engine's limit stand in the table too.
    """
    with ThreadPoolExecutor(2) as pool:
        limits = list(pool.map(lambda case: engine_means(case, LIMIT_REFINE), group.cases))
        plain_limits = list(pool.map(lambda case: oracle_means(case, LIMIT_GRID), group.cases))
        ours = list(pool.map(lambda case: engine_means(case, 1), group.cases))
        plain = {n: list(pool.map(lambda case, n=n: oracle_means(case, n), group.cases)) for n in GRIDS}
    own = [miss(a, b) for a, b in zip(ours, limits, strict=True)]
    rows: list[dict[str, object]] = [row("engine, own choice", own, own)]
    medians = {}
    for reaches, found in plain.items():
        to_own = [miss(a, b) for a, b in zip(found, plain_limits, strict=True)]
        rows.append(row(f"oracle, {reaches} reaches", to_own, [miss(a, b) for a, b in zip(found, limits, strict=True)]))
        medians[reaches] = float(np.median(to_own))
    apart = [miss(a, b) for a, b in zip(plain_limits, limits, strict=True)]
    rows.append(row(f"oracle, {LIMIT_GRID} reaches", [0.0] * len(apart), apart))
    return rows, float(np.median(own)), medians


def row(name: str, own: list[float], engine: list[float]) -> dict[str, object]:
    """One row of the table of misses [%]; "stalls" counts the falls at which the scheme stalls."""
    return {
        "scheme": name,
        "stalls": sum(math.isinf(value) for value in own),
        "median_miss_percent": rounded(100.0 * float(np.median(own))),
        "worst_miss_percent": rounded(100.0 * max(own)) if math.isfinite(max(own)) else None,
        "median_miss_of_engine_limit_percent": rounded(100.0 * float(np.median(engine))),
    }


def alike(engine_miss: float, oracle_misses: dict[int, float]) -> tuple[int, bool]:
    """Fewest reaches from which on the oracle misses no more than the engine; False when none tried does."""
    chosen, found = max(GRIDS), False
    for reaches in sorted(oracle_misses, reverse=True):
        if oracle_misses[reaches] > engine_miss:
            break
        chosen, found = reaches, True
    return chosen, found


def speed(case: RamCase, reaches: int) -> dict[str, float]:
    """Simulated seconds per second of both schemes on one case, timed in turn in the same run."""
    simulated = float(run_engine(case, SPEED_BEATS)[kernel.R["simulated_time"]])
    plain_simulated = float(run_oracle(case, reaches, ORACLE_SPEED_BEATS)[ORACLE_RESULTS.index("simulated_time")])
    engine = best_of(ROUNDS, lambda: run_engine(case, SPEED_BEATS))
    plain = best_of(2, lambda: run_oracle(case, reaches, ORACLE_SPEED_BEATS))
    return {
        "fall_m": case.supply.fall,
        "simulated_s": rounded(simulated),
        "engine_times_real": rounded(simulated / engine.wall),
        "engine_times_real_thread": rounded(simulated / engine.own),
        "oracle_times_real": rounded(plain_simulated / plain.wall),
        "ratio": rounded(simulated / engine.wall / (plain_simulated / plain.wall)),
        "ratio_thread": rounded(simulated / engine.own / (plain_simulated / plain.own)),
    }


def memory_per_simulation(case: RamCase) -> dict[str, float]:
    """What a batch of short runs on two threads adds to Python's and to the process's memory [bytes a run].

    The kernel's arrays depend on resolution and beats allowed, not on time simulated, so short runs show it.
    """
    packed = np.repeat(pack(case, most_time=1.0)[np.newaxis], MEMORY_CASES, axis=0)
    run_packed(packed[:20], workers=2)
    gc.collect()
    before = peak_memory()
    run_packed(packed, workers=2)
    rise = peak_memory() - before
    tracemalloc.start()
    run_packed(packed, workers=2)
    traced = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return {
        "simulations": MEMORY_CASES,
        "peak_rise_bytes_each": rounded(rise / MEMORY_CASES),
        "python_peak_bytes_each": rounded(traced / MEMORY_CASES),
        "row_in_and_out_bytes": float(packed[0].nbytes + 8 * len(kernel.RESULTS)),
    }


def main() -> None:
    """Print every table."""
    show("machine", machine())
    groups = (plastic(), steel())
    run_engine(groups[0].cases[0], 12)
    run_oracle(groups[0].cases[0], 8, 12)
    show("memory", memory_per_simulation(groups[0].cases[2]))
    goals = []
    for group in groups:
        table, engine_miss, oracle_misses = accuracy(group)
        show(f"{group.name}: misses over {len(group.cases)} falls, {ACCURACY_BEATS} beats", table)
        reaches, found = alike(engine_miss, oracle_misses)
        show(f"{group.name}: oracle alike", {"reaches": reaches, "as_exact_as_the_engine": found})
        rows = [speed(case, reaches) for case in group.cases]
        show(f"{group.name}: speed on one core, best of {ROUNDS}", rows)
        slowest = min(r["engine_times_real"] for r in rows)
        goals.append(against_goal(f"{group.name}: times real time, slowest fall", slowest, 5000.0, at_least=True))
        least = min(r["ratio"] for r in rows)
        goals.append(against_goal(f"{group.name}: times the oracle, least ratio", least, 30.0, at_least=True))
    goals.append(against_goal("peak memory [MB]", peak_memory() / MEGABYTE, 1000.0, at_least=False))
    show("goals", goals)
    show("machine", machine())


if __name__ == "__main__":
    main()
