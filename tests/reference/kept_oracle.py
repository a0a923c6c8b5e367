"""What the method of characteristics found is kept, so that a check of many rams does not run it anew each time.

A kept run stands under a digest of the case's numbers, to nine figures, of the grid and of the oracle's own source: a change
in any of them asks for a new run, which is then done. `test_kept_oracle.py` runs some again and holds them against
what is kept. With ``KEEP_ORACLE=1`` in the environment a run of the tests adds what is not there, and notes what was asked
for; ``python tests/reference/kept_oracle.py`` then drops all else.
"""

from __future__ import annotations

import hashlib
import inspect
import json
import os
from functools import cache
from pathlib import Path

import numpy as np

from clackwork.ram import characteristics, kernel, pipe_losses
from clackwork.ram.characteristics import ORACLE_RESULTS, simulate_plain
from clackwork.ram.engine import RamCase, pack

KEPT = Path(__file__).resolve().parents[1] / "data" / "oracle_runs.jsonl"
ASKED = KEPT.with_suffix(".asked")
FIGURES = 9
"""Of the numbers of a case in its digest: other machines differ in the last bits."""
KEEP_NEW = bool(os.environ.get("KEEP_ORACLE"))
"""Whether new runs are added to those kept."""


@cache
def source() -> bytes:
    """The oracle's own source, and that of the two functions it takes from elsewhere."""
    shared = (kernel.terminal_velocity, pipe_losses.darcy_friction)
    texts = [inspect.getsource(characteristics), *(inspect.getsource(one.py_func) for one in shared)]
    return "\n".join(texts).encode()


@cache
def kept_runs() -> dict[str, list[float]]:
    """The kept runs by their digest."""
    if not KEPT.exists():
        return {}
    lines = KEPT.read_text(encoding="utf-8").splitlines()
    return {key: figures for key, figures in map(json.loads, lines)}


def digest(row: np.ndarray, reaches: int, beats: int, most_time: float) -> str:
    """Of one run: its case as packed, shape (parameters,), its grid and how long it is."""
    numbers = " ".join(f"{value:.{FIGURES}g}" for value in (*row, reaches, beats, most_time))
    return hashlib.sha256(source() + numbers.encode()).hexdigest()[:20]


def run_anew(row: np.ndarray, reaches: int, beats: int, most_time: float) -> list[float]:
    """Run the oracle; its results in their order."""
    out = np.zeros(len(ORACLE_RESULTS))
    simulate_plain(row, reaches, beats, most_time, out)
    return [float(value) for value in out]


def oracle_run(case: RamCase, reaches: int, beats: int, most_time: float) -> dict[str, float]:
    """Means of the second half of so many beats by characteristics, as kept or run now."""
    row = pack(case)
    key = digest(row, reaches, beats, most_time)
    figures = kept_runs().get(key)
    if KEEP_NEW:
        with ASKED.open("a", encoding="utf-8") as asked:
            asked.write(key + "\n")
    if figures is None:
        figures = run_anew(row, reaches, beats, most_time)
        if KEEP_NEW:
            with KEPT.open("a", encoding="utf-8") as lines:
                lines.write(json.dumps([key, [float(f"{value:.12g}") for value in figures]]) + "\n")
    return dict(zip(ORACLE_RESULTS, figures, strict=True))


def drop_unasked() -> None:
    """Keep only the runs that were asked for, in the order of their digests."""
    asked = set(ASKED.read_text(encoding="utf-8").split())
    found = sorted(item for item in kept_runs().items() if item[0] in asked)
    KEPT.write_text("".join(json.dumps(list(item)) + "\n" for item in found), encoding="utf-8", newline="\n")
    ASKED.unlink()
    print(f"{len(found)} runs kept")


if __name__ == "__main__":
    drop_unasked()
