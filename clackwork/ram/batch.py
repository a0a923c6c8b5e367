"""Batches over all cores: threads over the compiled kernel, which holds no lock."""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import numpy as np
from numpy.typing import NDArray

from clackwork.ram import kernel

FloatArray = NDArray[np.float64]
Progress = Callable[[int, int], None]


def run_packed(packed: FloatArray, *, workers: int | None = None, progress: Progress | None = None) -> FloatArray:
    """Simulate every row of ``packed``.

    Parameters
    ----------
    packed : float64[cases, len(PARAMETERS)]
    workers : int, optional
        Threads; all cores when not given.
    progress : callable, optional
        Called with (done, all) as chunks end; it may raise to stop the batch.

    Returns
    -------
    float64[cases, len(RESULTS)]
        Rows in the order given, the same for any number of workers.
    """
    count = len(packed)
    out = np.zeros((count, len(kernel.RESULTS)))
    no_trace = np.zeros((0, len(kernel.TRACE_COLUMNS)))
    workers = workers or os.cpu_count() or 1

    def run_one(row: int) -> None:
        kernel.simulate(packed[row], out[row], no_trace, 1)

    if workers == 1 or count == 1:
        for row in range(count):
            run_one(row)
            if progress:
                progress(row + 1, count)
        return out
    with ThreadPoolExecutor(workers) as pool:
        try:
            for done, _ in enumerate(pool.map(run_one, range(count)), start=1):
                if progress:
                    progress(done, count)
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)
            raise
    return out
