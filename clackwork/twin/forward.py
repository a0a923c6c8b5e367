"""From parameters to figures: the engine run as the bench ran the pump."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from clackwork.bench.gum import Estimate
from clackwork.bench.runs import Run, RunFigures
from clackwork.ram import kernel
from clackwork.ram.batch import Progress, run_packed
from clackwork.ram.engine import RamCase, pack, scale_wave_speeds, set_waits
from clackwork.ram.parts import Build
from clackwork.twin.reading_errors import IDEAL_SLOPES, ReadingErrors, reading_errors
from clackwork.twin.twin import Rig

FloatArray = NDArray[np.float64]

_SLOPE_STEP = 0.03
_STEEPEST = 8.0
"""Slopes by fall and back-pressure are taken over so large a step, and none beyond this is believed."""


@dataclass(frozen=True)
class Parameter:
    """An unknown of the fit, with its prior: lognormal about ``median`` with spread ``spread``.

    Attributes
    ----------
    name : str
    column : str
        The kernel parameter it sets.
    median : float
        SI.
    spread : float
        Standard deviation of the natural logarithm.
    carried : bool
        Whether it belongs to the build and goes to every site; the others belong to the rig's pipe.
    words : str
        As a pump maker would say it.
    """

    name: str
    column: str
    median: float
    spread: float
    carried: bool
    words: str


def parameters_of(build: Build) -> tuple[Parameter, ...]:
    """The unknowns of a build and the pipe it was tested on, with their priors.

    The medians are the build's own values where it states them. The spreads are common practice, no published
    source: discharge coefficients of plate and flap valves lie mostly within 0.45 to 0.9; loads on an open disc and
    losses of small check valves scatter widely; Colebrook's friction and Korteweg's wave speed are good to about a
    tenth on pipe of nominal roughness and modulus.
    """
    valve, delivery = build.waste_valve, build.delivery_valve
    # a disc that lifts a sixteenth of its bore before it seats; a five-hundredth of the body's volume, six bores long
    slip = delivery.slip_volume or math.pi * delivery.bore**3 / 64.0
    air = build.body_air or 0.01 * valve.seat_bore**3
    return (
        Parameter("discharge_coefficient", "discharge_coefficient", valve.discharge_coefficient, 0.2, True,
                  "how freely water leaves the open waste valve"),
        Parameter("closing_coefficient", "closing_coefficient", valve.closing_coefficient, 0.35, True,
                  "how hard the flow draws the waste valve shut"),
        Parameter("delivery_loss", "delivery_loss", delivery.loss_coefficient, 0.7, True,
                  "what the delivery valve costs"),
        Parameter("slip_volume", "slip_volume", slip, 1.0, True, "water slipping back through the delivery valve"),
        Parameter("body_air", "body_air", air, 1.0, True, "air trapped in the body"),
        Parameter("friction_scale", "friction_factor_scale", 1.0, 0.10, False, "friction of the rig's drive pipe"),
        Parameter("wave_speed_scale", "wave_speed", 1.0, 0.08, False, "wave speed in the rig's drive pipe"),
    )  # fmt: skip


@dataclass(frozen=True)
class Target:
    """One measured figure the engine must meet.

    Attributes
    ----------
    run, figure : str
    measured : float
        SI.
    spread : float
        Relative standard uncertainty, that of the set point included.
    setting : int
        Row of :attr:`Forward.packed` that models it.
    """

    run: str
    figure: str
    measured: float
    spread: float
    setting: int


@dataclass(frozen=True)
class Forward:
    """Engine runs that model the bench runs of one build, ready for batches of parameters.

    Attributes
    ----------
    build_name : str
    parameters : tuple of Parameter
    packed : float64[settings, len(PARAMETERS)]
    kinds : tuple of str
        Of the settings' runs.
    cracking_head : float
        [m]
    targets : tuple of Target
    covariance : float64[targets, targets]
        Of ln(modelled / measured) by the readings' errors, those of set points and those shared by runs included.
    errors : ReadingErrors
    not_fitted : tuple of (str, str)
        Run and figure of readings of nothing: a ratio to them has no logarithm, so the fit does without.
    """

    build_name: str
    parameters: tuple[Parameter, ...]
    packed: FloatArray
    kinds: tuple[str, ...]
    cracking_head: float
    targets: tuple[Target, ...]
    covariance: FloatArray
    errors: ReadingErrors
    not_fitted: tuple[tuple[str, str], ...] = ()

    @property
    def beating(self) -> int:
        """Settings that the engine runs; a valve held open needs none."""
        return sum(kind != "held_open" for kind in self.kinds)

    def figures(self, logs: FloatArray, progress: Progress | None = None) -> FloatArray:
        """Modelled figures.

        Parameters
        ----------
        logs : float64[draws, parameters]
            Natural logarithms of the parameters.

        Returns
        -------
        float64[draws, targets]
            SI; nan where the pump stalls.
        """
        draws, settings = len(logs), len(self.packed)
        rows = np.repeat(self.packed[np.newaxis], draws, axis=0)
        for k, parameter in enumerate(self.parameters):
            place = kernel.P[parameter.column]
            values = np.exp(logs[:, k])[:, np.newaxis]
            if parameter.name == "wave_speed_scale":
                scale_wave_speeds(rows, values)
            else:
                rows[:, :, place] = values
        flat = rows.reshape(draws * settings, -1)
        set_waits(flat)
        beating = np.array([kind != "held_open" for kind in self.kinds])
        out = np.full((draws, settings, len(kernel.RESULTS)), np.nan)
        chosen = np.tile(beating, draws)
        flat_out = out.reshape(draws * settings, -1)
        flat_out[chosen] = run_packed(flat[chosen], progress=progress)
        result = np.full((draws, len(self.targets)), np.nan)
        for t, target in enumerate(self.targets):
            if self.kinds[target.setting] == "held_open":
                area = 0.25 * math.pi * rows[0, target.setting, kernel.P["pipe_bore"]] ** 2
                result[:, t] = [area * kernel.terminal_velocity(row) for row in rows[:, target.setting]]
                continue
            result[:, t] = self._figure(target.figure, out[:, target.setting])
        return result

    def with_engine_slopes(self, logs: FloatArray, figures: Callable[[Forward, FloatArray], FloatArray]) -> Forward:
        """The same with the errors of set points carried by the engine's own slopes, means over ``logs``.

        ``figures`` runs the engine: :meth:`figures`, or one that counts.
        """
        by_fall, by_head = (self._slopes(logs, column, figures) for column in ("fall", "vessel_head"))
        ideal = np.array([IDEAL_SLOPES[target.figure] for target in self.targets])
        covariance = self.errors.covariance(
            np.where(np.isfinite(by_fall), by_fall, ideal[:, 0]), np.where(np.isfinite(by_head), by_head, ideal[:, 1])
        )
        spreads = np.sqrt(np.diag(covariance))
        targets = tuple(replace(each, spread=float(u)) for each, u in zip(self.targets, spreads, strict=True))
        return replace(self, targets=targets, covariance=covariance)

    def _slopes(
        self, logs: FloatArray, column: str, figures: Callable[[Forward, FloatArray], FloatArray]
    ) -> FloatArray:
        """d ln(figure) / d ln(a set point), float64[targets]; nan where the pump stalls too often to tell."""
        sides = []
        for factor in (1.0 + _SLOPE_STEP, 1.0 - _SLOPE_STEP):
            packed = self.packed.copy()
            packed[:, kernel.P[column]] *= factor
            sides.append(np.log(figures(replace(self, packed=packed), logs)))
        slopes = (sides[0] - sides[1]) / (math.log1p(_SLOPE_STEP) - math.log1p(-_SLOPE_STEP))
        known = np.isfinite(slopes)
        mean = np.where(known, slopes, 0.0).sum(axis=0) / np.maximum(known.sum(axis=0), 1)
        return np.where(known.mean(axis=0) > 0.5, np.clip(mean, -_STEEPEST, _STEEPEST), np.nan)

    def _figure(self, figure: str, out: FloatArray) -> FloatArray:
        """One figure from result rows of shape (draws, results)."""
        place = kernel.R
        state = out[:, place["state"]]
        moving = (state == kernel.BEATING) | (state == kernel.IRREGULAR)
        period = out[:, place["beat_period"]]
        with np.errstate(divide="ignore", invalid="ignore"):
            values = {
                "beat_rate": lambda: 1.0 / period,
                "waste_flow": lambda: out[:, place["waste_flow"]],
                "drawn_flow": lambda: out[:, place["drawn_flow"]],
                "delivered_flow": lambda: out[:, place["delivered_flow"]],
                "shut_off_head": lambda: out[:, place["peak_head"]] - self.cracking_head,
            }[figure]()
        return np.where(moving & (period > 0.0) & (values > 0.0), values, np.nan)


def _case(build: Build, rig: Rig, run: Run, figures: RunFigures) -> RamCase:
    """The engine case of a run at its effective fall and set point."""
    fall = figures.effective_fall.value if figures.effective_fall else rig.supply.fall
    supply = rig.supply.at_level(fall)
    surroundings = rig.surroundings
    if run.water_temperature is not None:
        surroundings = replace(surroundings, temperature=run.water_temperature)
    build = build.retuned(stroke=run.stroke, mass=run.mass, tilt=run.tilt)
    head = None
    if str(getattr(run.kind, "value", run.kind)) == "delivering":
        assert figures.back_pressure_head is not None
        head = figures.back_pressure_head.value
    return RamCase(build, rig.drive_pipe, supply, surroundings, vessel_head=head)


def _readings(kind: str, figures: RunFigures) -> list[tuple[str, Estimate]]:
    """Figures a run of a kind is fitted to."""
    head = figures.back_pressure_head
    flow_name = "waste_flow" if figures.waste_flow else "drawn_flow"
    beating = ("shut_beating", "delivering")
    wanted = (
        (flow_name, figures.waste_flow or figures.drawn_flow, kind in ("held_open", *beating)),
        ("beat_rate", figures.beat_rate, kind in beating),
        ("delivered_flow", figures.delivered_flow, kind == "delivering" and head is not None),
        ("shut_off_head", head, kind == "dead_head"),
    )
    return [(name, read) for name, read, is_fitted in wanted if is_fitted and read is not None]


def build_forward(build: Build, rigs: Mapping[str, Rig], runs: Sequence[Run], reduced: Sequence[RunFigures]) -> Forward:
    """Lay out the engine runs and targets of a build's bench runs.

    The uncertainty of a set point (fall, back-pressure) is carried into the figures at the ideal ram's slopes, until
    :meth:`Forward.with_engine_slopes`. A figure read as nothing is left out, and said to be.
    """
    rows: list[FloatArray] = []
    kinds: list[str] = []
    fitted: list[tuple[str, str, Estimate, int]] = []
    not_fitted: list[tuple[str, str]] = []
    for run, figures in zip(runs, reduced, strict=True):
        kind = str(getattr(run.kind, "value", run.kind))
        setting = len(rows)
        rows.append(pack(_case(build, rigs[run.rig], run, figures)))
        kinds.append(kind)
        for name, read in _readings(kind, figures):
            if read.value > 0.0:
                fitted.append((run.name, name, read, setting))
            else:
                not_fitted.append((run.name, name))
    places = [setting for *_, setting in fitted]
    errors = reading_errors(
        [run for run, *_ in fitted],
        [read for _, _, read, _ in fitted],
        [reduced[at].effective_fall for at in places],
        [reduced[at].back_pressure_head if kinds[at] == "delivering" else None for at in places],
    )
    slopes = np.array([IDEAL_SLOPES[name] for _, name, _, _ in fitted]).reshape(len(fitted), 2)
    covariance = errors.covariance(slopes[:, 0], slopes[:, 1])
    targets = tuple(
        Target(run, name, read.value, float(math.sqrt(covariance[t, t])), setting)
        for t, (run, name, read, setting) in enumerate(fitted)
    )
    return Forward(
        build.name,
        parameters_of(build),
        np.array(rows),
        tuple(kinds),
        build.delivery_valve.cracking_head,
        targets,
        covariance,
        errors,
        tuple(not_fitted),
    )
