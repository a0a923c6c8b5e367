"""What both benchmarks need: the package on the path, best times, peak memory, printed tables.

Run from anywhere with the environment's Python; POSIX only (peak memory comes from ``resource``).
"""

from __future__ import annotations

import json
import os
import platform
import resource
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

MEGABYTE = 1e6
"""Bytes in a megabyte."""


@dataclass(frozen=True)
class Timing:
    """Best of several calls, each clock by itself.

    Attributes
    ----------
    wall : float
        Wall-clock time [s].
    own : float
        Processor time of the calling thread [s]; other programs on the core count less in it.
    """

    wall: float
    own: float


def best_of(rounds: int, work: Callable[[], object]) -> Timing:
    """Shortest wall and thread time of ``rounds`` calls [s]."""
    walls, owns = [], []
    for _ in range(rounds):
        wall, own = time.perf_counter(), time.thread_time()
        work()
        walls.append(time.perf_counter() - wall)
        owns.append(time.thread_time() - own)
    return Timing(min(walls), min(owns))


def peak_memory() -> float:
    """Highest resident memory of this process so far [bytes]."""
    unit = 1 if sys.platform == "darwin" else 1024
    return float(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit)


def machine() -> dict[str, object]:
    """Cores, load, processor family and Python version: what a time means nothing without."""
    return {
        "cores": os.cpu_count(),
        "load_one_minute": round(os.getloadavg()[0], 2),
        "processor": platform.machine(),
        "python": platform.python_version(),
    }


def rounded(value: float, digits: int = 3) -> float:
    """A figure to so many significant digits."""
    return float(f"{value:.{digits}g}")


def show(title: str, table: object) -> None:
    """Print one table as JSON under its title, each row on a line of its own."""
    rows = table if isinstance(table, list) else [table]
    print(f"\n{title}")
    for row in rows:
        print("  " + json.dumps(row, ensure_ascii=False))
    sys.stdout.flush()


def against_goal(name: str, value: float, goal: float, *, at_least: bool) -> dict[str, object]:
    """One row of a table of goals."""
    met = value >= goal if at_least else value <= goal
    return {"what": name, "seen": rounded(value), "goal": f"{'>=' if at_least else '<='} {goal:g}", "met": met}
