"""A twin that was never fitted, of the demo's flap, good enough to run the engine with; and what it does."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
from workshop_books import demo_text

from clackwork.ram.parts import Build
from clackwork.shop.performance import (
    MeasuredPoint,
    Performance,
    Provenance,
    find_performance,
    measured_points,
)
from clackwork.twin.fit import with_parameters
from clackwork.twin.forward import parameters_of
from clackwork.twin.twin import NextRun, Pinned, Residual, Rig, Twin
from clackwork.workbook import Workbook, load_workbook

DRAWS = 20
PROVENANCE = Provenance(7, "fit 1 of flap", "2031-05-03", 11, "0.0", "0123456789abcdef")


@lru_cache
def demo() -> Workbook:
    """The demo's workbook, read."""
    return load_workbook(demo_text())


def rig() -> Rig:
    """The rig on which the demo's flap delivered."""
    return demo().rigs["yard"]


def measured() -> tuple[MeasuredPoint, ...]:
    """The demo's delivering runs of the flap."""
    return measured_points(demo().runs_of("flap"), rig())


def twin_of(build: Build, *, draws: int = DRAWS, spread: float = 0.04, seed: int = 5) -> Twin:
    """Values about the first guesses, as if fitted."""
    parameters = parameters_of(build)
    rng = np.random.default_rng(seed)
    names = tuple(one.name for one in parameters)
    medians = np.array([one.median for one in parameters])
    values = medians * np.exp(spread * rng.standard_normal((draws, len(names))))
    best = dict(zip(names, (float(value) for value in medians), strict=True))
    return Twin(
        build=with_parameters(build, best),
        parameter_names=names,
        best=best,
        low={name: 0.9 * value for name, value in best.items()},
        high={name: 1.1 * value for name, value in best.items()},
        draws=values,
        correlation=np.eye(len(names)),
        pinned=tuple(
            Pinned(
                name, 0.2, 0.05 if place else 0.19, "flap 3" if place else None, f"{name.replace('_', ' ')}: so and so"
            )
            for place, name in enumerate(names)
        ),
        residuals=(
            Residual("flap 3", "delivered_flow", 6.5e-5, 1.0e-6, 6.6e-5, 0.8),
            Residual("flap 3", "beat_rate", 0.97, 0.01, 0.90, -4.2),
        ),
        model_form_spread=0.02,
        model_form_draws=np.full(draws, 0.02),
        effective_draws=0.9 * draws,
        next_runs=(
            NextRun("dead head read on the gauge", 0.31, "dead head read on the gauge would narrow it by about 31 %"),
        ),
        warnings=("The model does not meet run flap 3: check what was written down, or repeat it.",),
        seed=seed,
        engine_runs=1234,
    )


@lru_cache
def performance() -> Performance:
    """What that twin does at two falls, found by the engine."""
    return find_performance(
        twin_of(demo().builds["flap"]), rig(), (1.5, 2.1), measured=measured(), provenance=PROVENANCE, draws=DRAWS
    )


def with_stalls() -> Performance:
    """The same with a point that may not beat and one that does not, at its lower fall."""
    found = performance()
    first, second, *rest = found.points
    never = {name: None for name in ("delivered_flow", "drawn_flow", "daubuisson_efficiency", "rankine_efficiency")}
    never |= dict.fromkeys(("beat_rate", "peak_head", "surge_head"))
    stalled = replace(first, **never, share_beating=0.0, share_open=0.0)
    doubtful = replace(second, share_beating=0.86, share_open=0.14)
    return replace(found, points=(stalled, doubtful, *rest))
