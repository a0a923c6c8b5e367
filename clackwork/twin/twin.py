"""What a fitted pump is: its parameters, how far each is known, and from which runs."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from clackwork.bench.instruments import Instruments
from clackwork.errors import InputError, require_range
from clackwork.ram.parts import Build, DrivePipe, Supply, Surroundings
from clackwork.ram.source import require_submergence

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Rig:
    """Where a build is tested.

    Attributes
    ----------
    name : str
    drive_pipe : DrivePipe
    supply : Supply
        Its plan area is that of the vessel the pump draws from; infinite for a head that is held.
    surroundings : Surroundings
    instruments : Instruments
    source_flow : float
        What comes into the supply while it is held [m3/s]; infinite for enough. Fits do not use it: a run's own fall
        says what the supply did.
    submergence : float
        Depth of the drive pipe's mouth under the full level [m].
    """

    name: str
    drive_pipe: DrivePipe
    supply: Supply
    surroundings: Surroundings = Surroundings()
    instruments: Instruments = field(default_factory=Instruments)
    source_flow: float = math.inf
    submergence: float = 0.0

    def __post_init__(self) -> None:
        if self.source_flow < math.inf:
            require_range("rig.source_flow", self.source_flow, 1e-6, 1.0, "m3/s")
        require_submergence("rig.submergence", self.submergence, self.supply.fall)


@dataclass(frozen=True)
class Pinned:
    """How far the runs pinned one parameter.

    Attributes
    ----------
    parameter : str
    prior_spread, posterior_spread : float
        Standard deviations of the natural logarithm.
    pinned_by : str or None
        The run whose removal would widen it most; None when it stayed at its prior.
    sentence : str
        The same in words.
    """

    parameter: str
    prior_spread: float
    posterior_spread: float
    pinned_by: str | None
    sentence: str


@dataclass(frozen=True)
class Residual:
    """One figure of one run, measured against modelled, in SI."""

    run: str
    figure: str
    measured: float
    standard_uncertainty: float
    modelled: float
    normalised: float


@dataclass(frozen=True)
class NextRun:
    """A run that could be made next and what it would do for the promise."""

    description: str
    narrowing: float
    sentence: str


@dataclass(frozen=True)
class Twin:
    """A build's fitted parameters with their uncertainty.

    Attributes
    ----------
    build : Build
        With the best values set.
    parameter_names : tuple of str
    best : mapping of str to float
        Best values (SI).
    low, high : mapping of str to float
        5 % and 95 % points.
    draws : float64[draws, parameters]
        Equal-weight posterior draws (SI).
    correlation : float64[parameters, parameters]
        Of the logarithms.
    pinned : tuple of Pinned
    residuals : tuple of Residual
    model_form_spread : float
        Relative standard deviation of what the model misses, learnt from the residuals.
    model_form_draws : float64[draws]
        Its posterior draws.
    effective_draws : float
        Draws as good as independent: all of them less what their walks still remember of the way.
    next_runs : tuple of NextRun
        Most useful first.
    warnings : tuple of str
    seed : int
    engine_runs : int
    """

    build: Build
    parameter_names: tuple[str, ...]
    best: Mapping[str, float]
    low: Mapping[str, float]
    high: Mapping[str, float]
    draws: FloatArray
    correlation: FloatArray
    pinned: tuple[Pinned, ...]
    residuals: tuple[Residual, ...]
    model_form_spread: float
    model_form_draws: FloatArray
    effective_draws: float
    next_runs: tuple[NextRun, ...]
    warnings: tuple[str, ...]
    seed: int
    engine_runs: int


def find_rig(rigs: Mapping[str, Rig], name: str) -> Rig:
    """The rig called ``name``.

    Raises
    ------
    InputError
        When there is none.
    """
    if name not in rigs:
        raise InputError("run.rig", name, f"it must be one of {', '.join(sorted(rigs)) or 'the rigs described'}")
    return rigs[name]
