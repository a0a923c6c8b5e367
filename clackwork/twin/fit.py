"""Fit a build's unknown parameters to its bench runs, by the engine itself.

Beats are counted whole, so the misfit is slightly rough: a population method in batches, not derivatives. An
ensemble is moved from the prior to the readings; quadratic surfaces are fitted to engine runs about where it ends, with
what they miss kept as an uncertainty; Metropolis walks on the surfaces give the posterior. The model-form term is a
relative spread common to all figures, with a half-normal prior, drawn along with the parameters.
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
from clackwork.twin.engine_runs import EngineRuns, Pieces
from clackwork.twin.forward import Forward, build_forward
from clackwork.twin.report import next_runs, not_fitted_sentences, pinned_by, residuals_of
from clackwork.twin.twin import Residual, Rig, Twin, find_rig

FloatArray = NDArray[np.float64]

MODEL_FORM_PRIOR = 0.03
"""Scale of the half-normal prior of the model-form spread: common practice, no published source."""
_MEMBERS = 140
_INFLATIONS = (16.0, 8.0, 4.7, 4.0, 3.0)
"""Noise inflation of the steps; their inverses add up to one."""
_SLOPE_MEMBERS = 24
_SURFACE_RUNS = 240
_WALK_STEPS = 600
_WALK_SHARE = 0.01
"""The walks' share of a fit's work: about a second of a minute's."""


@dataclass(frozen=True)
class _Problem:
    """What is fitted: the engine's runs with the errors of the readings, priors of the logarithms, readings."""

    forward: Forward
    runs: EngineRuns
    median: FloatArray
    spread: FloatArray
    measured: FloatArray

    def log_ratios(self, logs: FloatArray) -> FloatArray:
        """ln(modelled / measured), float64[draws, targets]; nan where stalled."""
        return np.asarray(np.log(self.runs.figures(self.forward, logs)) - np.log(self.measured))


def _refill(logs: FloatArray, ratios: FloatArray, rng: np.random.Generator) -> tuple[FloatArray, FloatArray]:
    """Replace members that stall somewhere by copies of members that beat everywhere."""
    good = ~np.isnan(ratios).any(axis=1)
    if good.sum() < 8:
        return logs[:0], ratios[:0]
    picks = np.where(good, np.arange(len(logs)), rng.choice(np.flatnonzero(good), len(logs)))
    return logs[picks], ratios[picks]


def _assimilate(problem: _Problem, rng: np.random.Generator) -> tuple[FloatArray, FloatArray]:
    """Move an ensemble from the prior to the readings in inflated steps; returns its mean and covariance.

    Ensemble smoother with multiple data assimilation (Emerick and Reynolds 2013; from memory): the ensemble's own
    covariances stand for derivatives, so the roughness of counted beats averages out.
    """
    logs = problem.median + problem.spread * rng.standard_normal((_MEMBERS, len(problem.median)))
    error = problem.forward.covariance + 0.5 * MODEL_FORM_PRIOR**2 * np.eye(len(problem.measured))
    root = np.linalg.cholesky(error)
    for inflation in _INFLATIONS:
        logs, ratios = _refill(logs, problem.log_ratios(logs), rng)
        if not len(logs):
            raise ModelError(
                f"Build {problem.forward.build_name!r} hardly ever beats as its runs say it did, whatever its parameters: "
                "check mass, stroke, seat bore and fall as written down."
            )
        gaps, figures = logs - logs.mean(axis=0), ratios - ratios.mean(axis=0)
        cross = gaps.T @ figures / (len(logs) - 1)
        inner = figures.T @ figures / (len(logs) - 1) + inflation * error
        noise = math.sqrt(inflation) * rng.standard_normal(ratios.shape) @ root.T
        step = np.linalg.solve(inner, (noise - ratios).T)
        logs = logs + np.clip((cross @ step).T, -2.0 * problem.spread, 2.0 * problem.spread)
        logs = np.clip(logs, problem.median - 4.0 * problem.spread, problem.median + 4.0 * problem.spread)
    return np.asarray(logs.mean(axis=0)), np.cov(logs.T) + np.diag((0.02 * problem.spread) ** 2)


@dataclass(frozen=True)
class _Surface:
    """Quadratic surfaces of all targets about the ensemble, fitted to engine runs there.

    ``rough`` is what they miss: the roughness of counted beats, kept as an uncertainty of its own.
    """

    centre: FloatArray
    factor: FloatArray
    weights: FloatArray
    rough: FloatArray

    def features(self, z: FloatArray) -> FloatArray:
        """1, z and products of z, float64[draws, terms]."""
        count = z.shape[1]
        pairs = [z[:, i] * z[:, j] for i in range(count) for j in range(i, count)]
        return np.column_stack([np.ones(len(z)), z, *pairs])

    def ratios(self, z: FloatArray) -> FloatArray:
        """ln(modelled / measured) at standardised places."""
        return np.asarray(self.features(z) @ self.weights)

    def logs(self, z: FloatArray) -> FloatArray:
        """Logarithms of the parameters at standardised places."""
        return np.asarray(self.centre + z @ self.factor.T)

    @property
    def slopes(self) -> FloatArray:
        """d ratio / d log at the centre, float64[targets, parameters]."""
        count = len(self.centre)
        return np.asarray(np.linalg.solve(self.factor.T, self.weights[1 : 1 + count]).T)


def _fit_surface(
    problem: _Problem, centre: FloatArray, covariance: FloatArray, rng: np.random.Generator
) -> tuple[_Surface, int]:
    """Run the engine about the ensemble, a little wider than it, and fit the surfaces."""
    factor = np.asarray(np.linalg.cholesky(covariance), dtype=np.float64)
    empty = _Surface(centre, factor, np.zeros((1, 1)), np.zeros(1))
    z = 1.4 * rng.standard_normal((_SURFACE_RUNS, len(centre)))
    ratios = problem.log_ratios(empty.logs(z))
    good = ~np.isnan(ratios).any(axis=1)
    features = empty.features(z)
    if good.sum() < 1.5 * features.shape[1]:
        raise ModelError(
            f"Build {problem.forward.build_name!r} stands too close to stalling in its own runs to be fitted: "
            "add a run at more fall or less weight."
        )
    design = features[good]
    ridge = 1e-3 * good.sum() * np.diag([0.0] + [1.0] * (design.shape[1] - 1))
    weights = np.linalg.solve(design.T @ design + ridge, design.T @ ratios[good])
    left = ratios[good] - design @ weights
    rough = np.sqrt((left**2).sum(axis=0) / max(good.sum() - design.shape[1], 1))
    return _Surface(centre, factor, weights, rough), int((~good).sum())


def _walk(
    problem: _Problem, surface: _Surface, rng: np.random.Generator, draws: int
) -> tuple[FloatArray, FloatArray, float]:
    """Independent Metropolis walks on the surfaces; the last place of each is one posterior draw.

    Returns logarithms of the parameters float64[draws, parameters], model-form spreads float64[draws] and the number of
    draws as good as independent: all less the share of the half-way place that the last place remembers.
    """
    count = len(surface.centre)
    # the model-form variance adds the same to each principal variance of the readings and of what the surfaces miss
    variances, axes = np.linalg.eigh(problem.forward.covariance + np.diag(surface.rough**2))
    z = rng.standard_normal((draws, count))
    form = np.log(MODEL_FORM_PRIOR) + 0.5 * rng.standard_normal(draws)

    def density(at: FloatArray, log_form: FloatArray) -> FloatArray:
        logs = surface.logs(at)
        spread = np.exp(log_form)
        variance = variances + spread[:, np.newaxis] ** 2
        misfit = ((surface.ratios(at) @ axes) ** 2 / variance + np.log(variance)).sum(axis=1)
        prior = (((logs - problem.median) / problem.spread) ** 2).sum(axis=1) + (spread / MODEL_FORM_PRIOR) ** 2
        inside = (np.abs(at) < 5.0).all(axis=1)
        return np.where(inside, -0.5 * (misfit + prior) + log_form, -np.inf)

    now = density(z, form)
    half_way = z
    for turn in range(_WALK_STEPS):
        if turn == _WALK_STEPS // 2:
            half_way = z.copy()
        scale = (0.25, 0.6, 1.2)[turn % 3] / math.sqrt(count) * 2.0
        z_new = z + scale * rng.standard_normal(z.shape)
        form_new = form + 0.5 * rng.standard_normal(draws)
        new = density(z_new, form_new)
        take = np.log(rng.random(draws)) < new - now
        z[take], form[take], now[take] = z_new[take], form_new[take], new[take]
    remembered = max(abs(float(np.corrcoef(half_way[:, k], z[:, k])[0, 1])) for k in range(count))
    return surface.logs(z), np.exp(form), draws * (1.0 - remembered)


def fit_twin(
    build: Build,
    rigs: Mapping[str, Rig],
    runs: Sequence[Run],
    *,
    seed: int = 1,
    draws: int = 400,
    progress: Progress | None = None,
    pieces: Pieces | None = None,
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
        Called with (engine runs done, all), the walks at the end counted as a few; it may raise to stop.
    pieces : Pieces, optional
        Keeps the engine's figures on the way: a fit broken off and begun again with the same goes on from there, and comes
        to the same twin.

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
    engine_runs = (len(_INFLATIONS) * _MEMBERS + 4 * _SLOPE_MEMBERS + _SURFACE_RUNS) * forward.beating
    runs_of_all = EngineRuns(max(1, round(engine_runs * (1.0 + _WALK_SHARE))), progress, pieces)
    problem = _Problem(
        forward,
        runs_of_all,
        np.log([p.median for p in forward.parameters]),
        np.array([p.spread for p in forward.parameters]),
        np.array([t.measured for t in forward.targets]),
    )
    rng = np.random.default_rng(seed)
    centre, covariance = _assimilate(problem, rng)
    near = centre + rng.standard_normal((_SLOPE_MEMBERS, len(centre))) @ np.linalg.cholesky(covariance).T
    problem = replace(problem, forward=forward.with_engine_slopes(near, runs_of_all.figures))
    surface, stalls = _fit_surface(problem, centre, covariance, rng)
    logs, form, independent = _walk(problem, surface, rng, draws)
    if progress:
        progress(runs_of_all.total, runs_of_all.total)
    return _assemble(build, problem, mine, surface, stalls, logs, form, independent, seed)


def _warnings(surface: _Surface, stalls: int, residuals: Sequence[Residual]) -> tuple[str, ...]:
    """Plain sentences on what is doubtful in a fit."""
    found = []
    far = sorted({r.run for r in residuals if abs(r.normalised) > 3.0 or not math.isfinite(r.normalised)})
    if far:
        found.append(f"The model does not meet run {', '.join(far)}: check what was written down, or repeat it.")
    if stalls > 0.1 * _SURFACE_RUNS:
        found.append("The pump stands close to stalling in its own runs: small changes of fall or weight may stop it.")
    if float(np.max(surface.rough)) > 0.03:
        found.append("Its beats are uneven in the model too: count more of them in each run.")
    return tuple(found)


def _assemble(
    build: Build,
    problem: _Problem,
    runs: Sequence[Run],
    surface: _Surface,
    stalls: int,
    logs: FloatArray,
    form: FloatArray,
    independent: float,
    seed: int,
) -> Twin:
    """Put the posterior draws into a :class:`Twin`."""
    forward = problem.forward
    names = tuple(p.name for p in forward.parameters)
    values = np.exp(logs)
    middle, low, high = (np.quantile(values, level, axis=0) for level in (0.5, 0.05, 0.95))
    spread = logs.std(axis=0)
    modelled = forward.figures(np.log(middle)[np.newaxis])[0]
    best = dict(zip(names, (float(v) for v in middle), strict=True))
    residuals = residuals_of(forward.targets, modelled, float(np.median(form)))
    error = forward.covariance + np.diag(surface.rough**2 + float(np.median(form)) ** 2)
    return Twin(
        build=with_parameters(build, best),
        parameter_names=names,
        best=best,
        low=dict(zip(names, (float(v) for v in low), strict=True)),
        high=dict(zip(names, (float(v) for v in high), strict=True)),
        draws=values,
        correlation=np.asarray(np.corrcoef(logs.T), dtype=np.float64),
        pinned=pinned_by(forward, surface.slopes, error, spread),
        residuals=residuals,
        model_form_spread=float(np.median(form)),
        model_form_draws=form,
        effective_draws=independent,
        next_runs=next_runs(forward, np.log(middle), surface.slopes, error),
        warnings=(*_warnings(surface, stalls, residuals), *not_fitted_sentences(forward.not_fitted)),
        seed=seed,
        engine_runs=(len(_INFLATIONS) * _MEMBERS + 4 * _SLOPE_MEMBERS + _SURFACE_RUNS + 1) * forward.beating,
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
