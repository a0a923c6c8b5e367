"""Fit a build's unknown parameters to its bench runs, by the engine itself.

Best values by damped Gauss-Newton on wide differences (beats are counted whole, so the misfit is slightly rough),
then the posterior by adaptive importance sampling: batches of draws from a heavy-tailed proposal, every one run
through the engine, weighted, and the proposal moved to them. The model-form term is a relative spread common to all
figures, with a half-normal prior, summed out on a grid for each draw.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from clackwork.bench.runs import Run, reduce_run
from clackwork.errors import ModelError
from clackwork.ram.batch import Progress
from clackwork.ram.parts import Build
from clackwork.twin.forward import Forward, build_forward
from clackwork.twin.report import next_runs, pinned_by, residuals_of
from clackwork.twin.twin import Rig, Twin, find_rig

FloatArray = NDArray[np.float64]

MODEL_FORM_PRIOR = 0.02
"""Scale of the half-normal prior of the model-form spread: common practice, no published source."""
_STALL_PENALTY = 25.0
_DIFFERENCE_STEP = 0.04
_DEGREES = 5.0
_GRID = np.geomspace(0.001, 0.3, 24)


@dataclass(frozen=True)
class _Misfit:
    """Posterior density of the logarithms, for batches."""

    forward: Forward
    median: FloatArray
    spread: FloatArray
    measured: FloatArray
    error: FloatArray

    def log_ratios(self, logs: FloatArray, progress: Progress | None = None) -> FloatArray:
        """ln(modelled / measured), float64[draws, targets]; nan where stalled."""
        return np.log(self.forward.figures(logs, progress)) - np.log(self.measured)

    def log_density(self, logs: FloatArray, ratios: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Log posterior summed over the model-form grid, and its log terms float64[draws, grid]."""
        prior = -0.5 * np.sum(((logs - self.median) / self.spread) ** 2, axis=1)
        variance = self.error**2 + _GRID[:, np.newaxis] ** 2
        stalled = np.isnan(ratios)
        square = np.where(stalled, 0.0, ratios) ** 2
        terms = -0.5 * np.sum(square[:, np.newaxis] / variance + np.log(variance), axis=2)
        terms = terms - 0.5 * (_GRID / MODEL_FORM_PRIOR) ** 2 + np.log(_GRID)
        terms = terms - 0.5 * _STALL_PENALTY**2 * stalled.sum(axis=1)[:, np.newaxis] + prior[:, np.newaxis]
        top = terms.max(axis=1)
        return top + np.log(np.exp(terms - top[:, np.newaxis]).sum(axis=1)), terms


def _jacobian(misfit: _Misfit, logs: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Ratios at ``logs`` and their derivatives by central differences, stalled figures as zero slope."""
    count = len(logs)
    batch = np.repeat(logs[np.newaxis], 2 * count + 1, axis=0)
    for k in range(count):
        batch[1 + k, k] += _DIFFERENCE_STEP
        batch[1 + count + k, k] -= _DIFFERENCE_STEP
    ratios = misfit.log_ratios(batch)
    up, down = ratios[1 : 1 + count], ratios[1 + count :]
    slope = (up - down) / (2.0 * _DIFFERENCE_STEP)
    one_sided = np.where(np.isnan(up), (ratios[0] - down) / _DIFFERENCE_STEP, (up - ratios[0]) / _DIFFERENCE_STEP)
    slope = np.where(np.isnan(slope), one_sided, slope)
    return ratios[0], np.nan_to_num(slope).T


def _start(misfit: _Misfit, rng: np.random.Generator) -> FloatArray:
    """A place where every run of the build beats: the prior median or the best of a scan of the prior."""
    batch = misfit.median + misfit.spread * rng.standard_normal((96, len(misfit.median)))
    batch[0] = misfit.median
    density, _ = misfit.log_density(batch, misfit.log_ratios(batch))
    return batch[int(np.argmax(density))]


def _climb(misfit: _Misfit, logs: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Damped Gauss-Newton to the best values; returns them and the Jacobian there."""
    damping = 1e-2
    error = np.sqrt(misfit.error**2 + 0.01**2)

    def cost(at: FloatArray, ratios: FloatArray) -> float:
        misses = np.where(np.isnan(ratios), _STALL_PENALTY, ratios / error)
        return float(np.sum(misses**2) + np.sum(((at - misfit.median) / misfit.spread) ** 2))

    ratios, slopes = _jacobian(misfit, logs)
    present = cost(logs, ratios)
    for _ in range(12):
        weighted = slopes / error[:, np.newaxis]
        normal = weighted.T @ weighted + np.diag(misfit.spread**-2.0)
        gradient = weighted.T @ (np.nan_to_num(ratios) / error) + (logs - misfit.median) / misfit.spread**2
        trials = [damping * factor for factor in (0.1, 1.0, 10.0, 100.0)]
        steps = [np.linalg.solve(normal + d * np.diag(np.diag(normal)), -gradient) for d in trials]
        batch = logs + np.clip(np.array(steps), -0.5, 0.5)
        tried = misfit.log_ratios(batch)
        costs = [cost(at, ratio) for at, ratio in zip(batch, tried, strict=True)]
        best = int(np.argmin(costs))
        if costs[best] >= present - 1e-3:
            break
        logs, present, damping = batch[best], costs[best], trials[best]
        ratios, slopes = _jacobian(misfit, logs)
    return logs, slopes


def _student_log(logs: FloatArray, centre: FloatArray, covariance: FloatArray) -> FloatArray:
    """Log density of the multivariate Student proposal, without its constant."""
    factor = np.linalg.cholesky(covariance)
    z = np.linalg.solve(factor, (logs - centre).T)
    dimension = len(centre)
    scale = -np.log(np.diag(factor)).sum()
    return np.asarray(scale - 0.5 * (_DEGREES + dimension) * np.log1p((z**2).sum(axis=0) / _DEGREES))


def _sample(
    misfit: _Misfit, centre: FloatArray, covariance: FloatArray, rng: np.random.Generator, progress: Progress | None
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Rounds of weighted draws: their logarithms, log terms over the grid, and normalised weights."""
    rounds = (300, 500, 700)
    done = 0
    all_logs: list[FloatArray] = []
    all_density: list[FloatArray] = []
    all_terms: list[FloatArray] = []
    proposals: list[tuple[FloatArray, FloatArray, int]] = []
    weights = np.ones(1)
    for count in rounds:
        factor = np.linalg.cholesky(covariance)
        normal = rng.standard_normal((count, len(centre))) @ factor.T
        chi = rng.chisquare(_DEGREES, count) / _DEGREES
        logs = centre + normal / np.sqrt(chi)[:, np.newaxis]
        logs = np.clip(logs, misfit.median - 4.0 * misfit.spread, misfit.median + 4.0 * misfit.spread)
        density, terms = misfit.log_density(logs, misfit.log_ratios(logs))
        proposals.append((centre, covariance, count))
        all_logs.append(logs)
        all_density.append(density)
        all_terms.append(terms)
        stacked = np.concatenate(all_logs)
        mixture = np.array([_student_log(stacked, c, s) + math.log(n) for c, s, n in proposals])
        top = mixture.max(axis=0)
        proposal_log = top + np.log(np.exp(mixture - top).sum(axis=0))
        log_weights = np.concatenate(all_density) - proposal_log
        weights = np.exp(log_weights - log_weights.max())
        weights /= weights.sum()
        done += count
        if progress:
            progress(done, sum(rounds))
        tempered = np.minimum(weights, np.sort(weights)[-max(10, len(weights) // 20)])
        tempered = tempered / tempered.sum()
        centre = tempered @ stacked
        gap = stacked - centre
        covariance = 1.2 * (gap * tempered[:, np.newaxis]).T @ gap + 1e-8 * np.eye(len(centre))
    return np.concatenate(all_logs), np.concatenate(all_terms), weights


def fit_twin(
    build: Build,
    rigs: Mapping[str, Rig],
    runs: Sequence[Run],
    *,
    seed: int = 1,
    draws: int = 400,
    progress: Progress | None = None,
) -> Twin:
    """Fit a build to its bench runs.

    Parameters
    ----------
    build : Build
    rigs : mapping of str to Rig
    runs : sequence of Run
        Runs of this build; runs of others are passed over.
    seed : int
        The same seed gives the same twin.
    draws : int
        Equal-weight posterior draws kept.
    progress : callable, optional
        Called with (done, all); it may raise to stop.

    Raises
    ------
    ModelError
        When no run of the build can be used, or no parameters make the pump beat as it did.
    """
    mine = [run for run in runs if run.build == build.name]
    if not mine:
        raise ModelError(f"Build {build.name!r} has no runs: test it on a rig and enter at least one run.")
    reduced = [reduce_run(run, find_rig(rigs, run.rig).instruments) for run in mine]
    forward = build_forward(build, rigs, mine, reduced)
    if not forward.targets:
        raise ModelError(f"No run of build {build.name!r} gives a flow, a beat rate or a pressure: nothing to fit.")
    misfit = _Misfit(
        forward,
        np.log([p.median for p in forward.parameters]),
        np.array([p.spread for p in forward.parameters]),
        np.array([t.measured for t in forward.targets]),
        np.array([t.spread for t in forward.targets]),
    )
    rng = np.random.default_rng(seed)
    best, slopes = _climb(misfit, _start(misfit, rng))
    weighted = slopes / np.sqrt(misfit.error**2 + 0.01**2)[:, np.newaxis]
    covariance = np.linalg.inv(weighted.T @ weighted + np.diag(misfit.spread**-2.0))
    logs, terms, weights = _sample(misfit, best, 1.3 * covariance, rng, progress)
    ratios = misfit.log_ratios(best[np.newaxis])[0]
    if np.isnan(ratios).all():
        raise ModelError(
            f"No parameters make build {build.name!r} beat as its runs say: check mass, stroke, seat bore and fall."
        )
    return _assemble(build, misfit, mine, logs, terms, weights, rng, draws, seed, slopes)


def _assemble(
    build: Build,
    misfit: _Misfit,
    runs: Sequence[Run],
    logs: FloatArray,
    terms: FloatArray,
    weights: FloatArray,
    rng: np.random.Generator,
    draws: int,
    seed: int,
    slopes: FloatArray,
) -> Twin:
    """Put the weighted draws into a :class:`Twin`."""
    forward = misfit.forward
    places = np.searchsorted(np.cumsum(weights), (np.arange(draws) + rng.random()) / draws)
    chosen = logs[np.minimum(places, len(logs) - 1)]
    chosen_terms = terms[np.minimum(places, len(logs) - 1)]
    shares = np.exp(chosen_terms - chosen_terms.max(axis=1, keepdims=True))
    shares = np.cumsum(shares / shares.sum(axis=1, keepdims=True), axis=1)
    form = _GRID[np.minimum((rng.random(draws)[:, np.newaxis] > shares).sum(axis=1), len(_GRID) - 1)]
    names = tuple(p.name for p in forward.parameters)
    values = np.exp(chosen)
    middle, low, high = (np.quantile(values, level, axis=0) for level in (0.5, 0.05, 0.95))
    spread = chosen.std(axis=0)
    centred = chosen - chosen.mean(axis=0)
    scale = np.where(spread > 0.0, spread, 1.0)
    correlation = centred.T @ centred / draws / np.outer(scale, scale)
    effective = float(1.0 / np.sum(weights**2))
    modelled = forward.figures(np.log(middle)[np.newaxis])[0]
    best = dict(zip(names, (float(v) for v in middle), strict=True))
    warnings = []
    if effective < 60.0:
        warnings.append(
            f"The fit rests on only {effective:.0f} independent draws: its ranges are rough; "
            "look for runs that contradict each other."
        )
    residuals = residuals_of(forward.targets, modelled, float(np.median(form)))
    far = sorted({r.run for r in residuals if abs(r.normalised) > 3.0 or not math.isfinite(r.normalised)})
    if far:
        warnings.append(f"The model does not meet run {', '.join(far)}: check what was written down, or repeat it.")
    return Twin(
        build=with_parameters(build, best),
        parameter_names=names,
        best=best,
        low=dict(zip(names, (float(v) for v in low), strict=True)),
        high=dict(zip(names, (float(v) for v in high), strict=True)),
        draws=values,
        correlation=correlation,
        pinned=pinned_by(forward, slopes, misfit.error, spread),
        residuals=residuals,
        model_form_spread=float(np.median(form)),
        model_form_draws=form,
        effective_draws=effective,
        next_runs=next_runs(forward, np.log(middle), slopes, misfit.error, runs),
        warnings=tuple(warnings),
        seed=seed,
        engine_runs=len(logs) * sum(kind != "held_open" for kind in forward.kinds),
    )


def with_parameters(build: Build, values: Mapping[str, float]) -> Build:
    """A build with its fitted values set; those of the rig's pipe are left out."""
    valve = replace(
        build.waste_valve,
        discharge_coefficient=values["discharge_coefficient"],
        closing_coefficient=values["closing_coefficient"],
    )
    delivery = replace(
        build.delivery_valve, loss_coefficient=values["delivery_loss"], slip_volume=values["slip_volume"]
    )
    return replace(build, waste_valve=valve, delivery_valve=delivery, body_air=values["body_air"])
