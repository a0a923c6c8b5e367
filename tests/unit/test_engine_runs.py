"""The engine runs of a fit: counted finely, kept in pieces, and taken up again to the same twin."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from test_twin_forward import BUILD, GIVING, NOTHING, OPEN, RIG, laid_out, run

from clackwork.twin import engine_runs
from clackwork.twin.engine_runs import PIECE, EngineRuns
from clackwork.twin.fit import fit_twin

RUNS = [run("a", OPEN), run("b", NOTHING)]


class Kept(dict[str, bytes]):
    """Pieces in memory."""

    put = dict.__setitem__


class Stopped(Exception):
    """What a progress raises to stop a fit."""


def test_a_fit_broken_off_goes_on_and_comes_to_the_same_twin() -> None:
    seen: list[tuple[int, int]] = []
    kept = Kept()

    def stop_at_half(done: int, total: int) -> None:
        seen.append((done, total))
        if done > total // 2:
            raise Stopped

    with pytest.raises(Stopped):
        fit_twin(BUILD, {"yard": RIG}, RUNS, draws=40, progress=stop_at_half, pieces=kept)
    (total,) = {total for _, total in seen}
    counts = [done for done, _ in seen]
    assert counts == sorted(counts) and max(np.diff(counts)) <= PIECE  # a fiftieth of the whole at most
    before = len(kept)
    assert before == (total // 2) // PIECE
    again = fit_twin(
        BUILD, {"yard": RIG}, RUNS, draws=40, progress=lambda done, total: seen.append((done, total)), pieces=kept
    )
    assert seen[-1] == (total, total)
    assert sum(len(content) for content in kept.values()) < 100_000
    plain = fit_twin(BUILD, {"yard": RIG}, RUNS, draws=40)
    assert np.array_equal(again.draws, plain.draws) and again.best == plain.best
    assert again.residuals == plain.residuals and again.engine_runs == plain.engine_runs


def test_figures_kept_are_of_their_own_inputs_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    forward, kept = laid_out(run("b", GIVING)), Kept()
    logs = np.log([[parameter.median for parameter in forward.parameters]] * 2)
    first = EngineRuns(10, pieces=kept)
    found = first.figures(forward, logs)
    assert first.done == 2 and len(kept) == 1
    for other in (replace(forward, packed=forward.packed * 1.01), replace(forward, targets=forward.targets[:2])):
        EngineRuns(10, pieces=kept).figures(other, logs)
    EngineRuns(10, pieces=kept).figures(forward, logs + 0.01)
    assert len(kept) == 4
    monkeypatch.setattr(engine_runs, "kernel_key", lambda: "another engine")
    assert np.array_equal(EngineRuns(10, pieces=kept).figures(forward, logs), found)
    assert len(kept) == 5
    kept[next(iter(kept))] = b"half of it"
    monkeypatch.undo()
    assert np.array_equal(EngineRuns(10, pieces=kept).figures(forward, logs), found)
