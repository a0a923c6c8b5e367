"""The engine runs of a fit: counted as they end, and kept in pieces, so that a fit broken off goes on from there."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from clackwork._cache import kernel_key
from clackwork.ram.batch import Progress
from clackwork.twin.forward import Forward

FloatArray = NDArray[np.float64]

PIECE = 20
"""Members of an ensemble whose figures are kept together: about a second of engine runs for a dozen bench runs."""


class Pieces(Protocol):
    """Where results are kept on the way; a key says of which inputs and which engine they are."""

    def get(self, key: str) -> bytes | None:
        """What is kept under a key; None when nothing is."""

    def put(self, key: str, content: bytes) -> None:
        """Keep something under a key."""


@dataclass
class EngineRuns:
    """Counts the engine runs of a fit, and keeps their figures.

    Attributes
    ----------
    total : int
        Engine runs of the whole fit.
    progress : callable or None
        Called with (engine runs done, total); it may raise to stop.
    pieces : Pieces or None
        None keeps nothing.
    done : int
    """

    total: int
    progress: Progress | None = None
    pieces: Pieces | None = None
    done: int = 0

    def figures(self, forward: Forward, logs: FloatArray) -> FloatArray:
        """As :meth:`Forward.figures`, the same to the last bit whether run now or kept from before."""
        parts = [self._piece(forward, logs[start : start + PIECE]) for start in range(0, len(logs), PIECE)]
        return np.concatenate(parts)

    def _piece(self, forward: Forward, logs: FloatArray) -> FloatArray:
        before, runs = self.done, len(logs) * forward.beating
        key = _key_of(forward, logs)
        kept = None if self.pieces is None else self.pieces.get(key)
        if kept is not None and len(kept) == 8 * len(logs) * len(forward.targets):
            found = np.frombuffer(kept, dtype="<f8").reshape(len(logs), len(forward.targets)).copy()
        else:
            found = forward.figures(logs, progress=lambda done, _: self._report(before + done))
            if self.pieces is not None:
                self.pieces.put(key, found.astype("<f8").tobytes())
        self._report(before + runs)
        return found

    def _report(self, done: int) -> None:
        self.done = done
        if self.progress:
            self.progress(min(done, self.total), self.total)


def _key_of(forward: Forward, logs: FloatArray) -> str:
    """Says of which engine, pump, runs and parameters figures are."""
    digest = hashlib.sha256(kernel_key().encode())
    columns = [parameter.column for parameter in forward.parameters]
    figures = [(target.figure, target.setting) for target in forward.targets]
    digest.update(repr((columns, figures, forward.kinds, forward.cracking_head)).encode())
    digest.update(forward.packed.tobytes() + b"\0" + logs.tobytes())
    return digest.hexdigest()
