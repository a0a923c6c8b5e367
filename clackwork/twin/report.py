"""What the runs pinned, what they missed, and which run to make next."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from clackwork.ram import kernel
from clackwork.twin.forward import Forward, Target
from clackwork.twin.twin import NextRun, Pinned, Residual

FloatArray = NDArray[np.float64]
_AT_PRIOR = 0.85
_READING_SPREAD = 0.015
_STEP = 0.05


def residuals_of(targets: Sequence[Target], modelled: FloatArray, form_spread: float) -> tuple[Residual, ...]:
    """Measured against modelled for every figure; ``normalised`` in standard deviations of reading and model form."""
    found = []
    for target, value in zip(targets, modelled, strict=True):
        gap = math.log(value / target.measured) if value > 0.0 else math.nan
        spread = math.hypot(target.spread, form_spread)
        found.append(
            Residual(
                target.run, target.figure, target.measured, target.spread * target.measured, float(value), gap / spread
            )
        )
    return tuple(found)


def not_fitted_sentences(not_fitted: Sequence[tuple[str, str]]) -> tuple[str, ...]:
    """A sentence for every figure that some runs read as nothing; ``not_fitted`` holds run and figure of each."""
    found = []
    for figure in dict.fromkeys(figure for _, figure in not_fitted):
        runs = [run for run, of in not_fitted if of == figure]
        sentence = (
            f"Run{'s' if len(runs) > 1 else ''} {', '.join(runs)} read the {figure.replace('_', ' ')} as nothing. The fit "
            "compares by ratio and leaves that figure out"
        )
        cure = {
            "delivered_flow": "; a run at less back-pressure would tell where the pump stops delivering",
            "beat_rate": "; leave a count out when it was not made",
        }.get(figure, "")
        found.append(f"{sentence}{cure}.")
    return tuple(found)


def _known(slopes: FloatArray, error: FloatArray, prior: FloatArray) -> FloatArray:
    """Information on the logarithms: from linearised rows, whose errors have the covariance ``error``, and the prior."""
    return np.asarray(slopes.T @ np.linalg.solve(error, slopes) + np.diag(prior**-2.0))


def _spreads(slopes: FloatArray, error: FloatArray, prior: FloatArray) -> FloatArray:
    """Standard deviations of the logarithms."""
    return np.sqrt(np.diag(np.linalg.inv(_known(slopes, error, prior))))


def pinned_by(forward: Forward, slopes: FloatArray, error: FloatArray, posterior: FloatArray) -> tuple[Pinned, ...]:
    """For every parameter: how far it was narrowed, and the run whose removal would widen it most."""
    prior = np.array([p.spread for p in forward.parameters])
    whole = _spreads(slopes, error, prior)
    runs = sorted({t.run for t in forward.targets})
    without = {}
    for run in runs:
        keep = np.array([t.run != run for t in forward.targets])
        without[run] = _spreads(slopes[keep], error[np.ix_(keep, keep)], prior)
    found = []
    for k, parameter in enumerate(forward.parameters):
        reach = max(abs(slopes[:, k]), default=0.0)
        if posterior[k] > _AT_PRIOR * prior[k]:
            why = (
                "no run here depends on it"
                if reach < 0.01
                else "the runs here cannot tell it from the other parameters"
            )
            sentence = f"{parameter.words}: stayed at its first guess, as {why}"
            found.append(Pinned(parameter.name, float(prior[k]), float(posterior[k]), None, sentence))
            continue
        run = max(runs, key=lambda name: without[name][k] / whole[k])
        sentence = (
            f"{parameter.words}: known to {100 * posterior[k]:.0f} % (first guess {100 * prior[k]:.0f} %), "
            f"most by run {run!r}"
        )
        found.append(Pinned(parameter.name, float(prior[k]), float(posterior[k]), run, sentence))
    return tuple(found)


def _candidates(forward: Forward) -> list[tuple[str, FloatArray, str, tuple[str, ...]]]:
    """Runs that could be made next on the same rig: description, packed row, kind, figures it reads."""
    base = forward.packed[-1].copy()
    place = kernel.P
    fall = base[place["fall"]]
    base[place["delivery_shut"]] = 0.0
    found: list[tuple[str, FloatArray, str, tuple[str, ...]]] = []
    shut = base.copy()
    shut[place["delivery_shut"]] = 1.0
    found.append(("waste valve held open, bucket drained", base, "held_open", ("drawn_flow",)))
    found.append(("beating with the delivery shut", shut, "shut_beating", ("drawn_flow", "beat_rate")))
    found.append(("dead head read on the gauge", shut, "dead_head", ("shut_off_head",)))
    for ratio in (3.0, 6.0, 10.0):
        row = base.copy()
        row[place["vessel_head"]] = ratio * fall
        words = f"delivering against {ratio:g} times the fall"
        found.append((words, row, "delivering", ("drawn_flow", "beat_rate", "delivered_flow")))
    return found


def next_runs(forward: Forward, best: FloatArray, slopes: FloatArray, error: FloatArray) -> tuple[NextRun, ...]:
    """Rank runs by how much each would narrow the delivered flow at six times the fall on this rig.

    The promise is linearised about the best values, so the gain is that of a small step, not a full refit.
    """
    prior = np.array([p.spread for p in forward.parameters])
    options = _candidates(forward)
    targets, rows, kinds = [], [], []
    for setting, (words, row, kind, figures) in enumerate(options):
        rows.append(row)
        kinds.append(kind)
        targets += [Target(words, figure, 1.0, _READING_SPREAD, setting) for figure in figures]
    probe = replace(forward, packed=np.array(rows), kinds=tuple(kinds), targets=tuple(targets))
    count = len(best)
    batch = np.concatenate([best + _STEP * np.eye(count), best - _STEP * np.eye(count)])
    logs = np.log(probe.figures(batch))
    gradient = np.nan_to_num((logs[:count] - logs[count:]) / (2.0 * _STEP)).T
    goal = next(
        i for i, t in enumerate(targets) if t.figure == "delivered_flow" and t.run.startswith("delivering against 6")
    )
    known = _known(slopes, error, prior)
    carried = np.array([1.0 if p.carried else 0.0 for p in forward.parameters])
    direction = gradient[goal] * carried
    before = math.sqrt(max(direction @ np.linalg.solve(known, direction), 1e-12))
    found = []
    for words, _, _, _ in options:
        own = np.array([t.run == words for t in targets])
        extra = gradient[own] / _READING_SPREAD
        after = math.sqrt(max(direction @ np.linalg.solve(known + extra.T @ extra, direction), 1e-12))
        gain = 1.0 - after / before
        found.append(
            NextRun(words, gain, f"{words} would narrow the pump's part of the promise by about {100 * gain:.0f} %")
        )
    return tuple(sorted(found, key=lambda option: -option.narrowing))
