"""The four phases of one beat, read from a trace of the engine."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from clackwork.errors import ModelError

FloatArray = NDArray[np.float64]

_NEAR = 0.02
"""Share of the stroke within which the valve counts as at its stop or seat: a rebound is no phase of its own."""


@dataclass(frozen=True)
class BeatPhases:
    """When the phases of one beat begin and end, as times of its trace [s].

    Attributes
    ----------
    accelerate : float
        The waste valve comes to its open stop: the column gathers speed.
    close : float
        It leaves the stop for its seat.
    deliver : float
        It is shut: pressure rises, and water passes into the vessel.
    recoil : float
        The last water has passed (with the delivery shut: as soon as the valve is shut): what still moves runs back
        and the valve drops open.
    end : float
        The valve is at its stop again.
    """

    accelerate: float
    close: float
    deliver: float
    recoil: float
    end: float

    @property
    def spans(self) -> dict[str, tuple[float, float]]:
        """Name of each phase, in order, and its begin and end [s]."""
        marks = (self.accelerate, self.close, self.deliver, self.recoil, self.end)
        names = ("accelerate", "close", "deliver", "recoil")
        return {name: (marks[i], marks[i + 1]) for i, name in enumerate(names)}


def last_phases(trace: Mapping[str, FloatArray]) -> BeatPhases:
    """Phases of the last whole beat of a trace.

    Parameters
    ----------
    trace : mapping of str to float64[rows]
        As from `engine.run_trace`: ``time`` [s], ``opening`` [m] and ``delivered_flow`` [m3/s] are read.

    Returns
    -------
    BeatPhases

    Raises
    ------
    ModelError
        When the trace holds no whole beat, from open stop to open stop.
    """
    time, opening, delivered = trace["time"], trace["opening"], trace["delivered_flow"]
    shut, stop = float(np.min(opening, initial=0.0)), float(np.max(opening, initial=0.0))
    at_stop = opening >= stop - _NEAR * (stop - shut)
    at_seat = opening <= shut + _NEAR * (stop - shut)
    seatings = _first_after(at_seat, at_stop)
    arrivals = _first_after(at_stop, at_seat)
    if len(seatings) < 1 or len(arrivals) < 2:
        raise ModelError(
            f"A trace of {time[-1] if time.size else 0.0:.3g} s holds no whole beat: "
            "keep more seconds, or see whether the pump stalls."
        )
    begin, end = int(arrivals[-2]), int(arrivals[-1])
    seated = int(seatings[(seatings > begin) & (seatings < end)][-1])
    leaves = begin + int(np.flatnonzero(at_stop[begin:seated])[-1])
    passing = np.flatnonzero(delivered[seated:end] > 0.0)
    last_passed = seated + (int(passing[-1]) + 1 if passing.size else 0)
    marks = (begin, leaves, seated, last_passed, end)
    return BeatPhases(*(float(time[place]) for place in marks))


def _first_after(there: NDArray[np.bool_], other: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Rows at which the valve comes to a place for the first time since it was at the other one."""
    rows = np.flatnonzero(there | other)
    changes = np.flatnonzero(there[rows][1:] & ~there[rows][:-1]) + 1
    return np.asarray(rows[changes], dtype=np.int64)
