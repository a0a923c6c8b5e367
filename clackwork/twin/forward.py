"""From parameters to figures: the engine run as the bench ran the pump."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from clackwork.bench.gum import Estimate
from clackwork.bench.runs import Run, RunFigures
from clackwork.ram import kernel
from clackwork.ram.batch import Progress, run_packed
from clackwork.ram.engine import RamCase, pack, set_waits
from clackwork.ram.parts import Build
from clackwork.twin.twin import Rig

FloatArray = NDArray[np.float64]

LEAST_UNCERTAINTY = 2e-3
"""Relative floor of a figure's uncertainty: a settled mean of counted beats is no smoother than this."""


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
    not_fitted : tuple of (str, str)
        Run and figure of readings of nothing: a ratio to them has no logarithm, so the fit does without.
    """

    build_name: str
    parameters: tuple[Parameter, ...]
    packed: FloatArray
    kinds: tuple[str, ...]
    cracking_head: float
    targets: tuple[Target, ...]
    not_fitted: tuple[tuple[str, str], ...] = ()

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
            rows[:, :, place] = rows[:, :, place] * values if parameter.name == "wave_speed_scale" else values
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
    supply = replace(rig.supply, fall=fall, plan_area=math.inf)
    surroundings = rig.surroundings
    if run.water_temperature is not None:
        surroundings = replace(surroundings, temperature=run.water_temperature)
    if run.tilt is not None:
        build = build.retuned(tilt=run.tilt)
    head = None
    if str(getattr(run.kind, "value", run.kind)) == "delivering":
        assert figures.back_pressure_head is not None
        head = figures.back_pressure_head.value
    return RamCase(build, rig.drive_pipe, supply, surroundings, vessel_head=head)


def _relative(*terms: tuple[float, float]) -> float:
    """Root sum of squares of u/value pairs, with the floor."""
    return math.sqrt(LEAST_UNCERTAINTY**2 + sum((u / value) ** 2 for value, u in terms if value))


def _readings(kind: str, figures: RunFigures) -> list[tuple[str, float, float]]:
    """Figure, value and relative uncertainty of what a run of a kind is fitted to, its set point's included."""
    fall, head = figures.effective_fall, figures.back_pressure_head
    fall_term = (fall.value, fall.standard_uncertainty) if fall else (1.0, 0.0)
    half_fall = (fall_term[0], 0.5 * fall_term[1])
    head_term = (head.value, head.standard_uncertainty) if head else (1.0, 0.0)
    flow_name = "waste_flow" if figures.waste_flow else "drawn_flow"
    beating = ("shut_beating", "delivering")
    wanted: tuple[tuple[str, Estimate | None, bool, tuple[tuple[float, float], ...]], ...] = (
        (flow_name, figures.waste_flow or figures.drawn_flow, kind in ("held_open", *beating), (half_fall,)),
        ("beat_rate", figures.beat_rate, kind in beating, (fall_term,)),
        ("delivered_flow", figures.delivered_flow, kind == "delivering" and head is not None, (head_term, fall_term)),
        ("shut_off_head", head, kind == "dead_head", (half_fall,)),
    )
    return [
        (name, read.value, _relative((read.value, read.standard_uncertainty), *terms))
        for name, read, is_fitted, terms in wanted
        if is_fitted and read is not None
    ]


def build_forward(build: Build, rigs: Mapping[str, Rig], runs: Sequence[Run], reduced: Sequence[RunFigures]) -> Forward:
    """Lay out the engine runs and targets of a build's bench runs.

    The uncertainty of a set point (fall, back-pressure) is carried into the figures at the ideal ram's slopes:
    beats and flow as the fall, delivered flow inversely as the back-pressure. A figure read as nothing is left out,
    and said to be.
    """
    rows: list[FloatArray] = []
    kinds: list[str] = []
    targets: list[Target] = []
    not_fitted: list[tuple[str, str]] = []
    for run, figures in zip(runs, reduced, strict=True):
        kind = str(getattr(run.kind, "value", run.kind))
        setting = len(rows)
        rows.append(pack(_case(build, rigs[run.rig], run, figures)))
        kinds.append(kind)
        for name, value, spread in _readings(kind, figures):
            if value > 0.0:
                targets.append(Target(run.name, name, value, spread, setting))
            else:
                not_fitted.append((run.name, name))
    return Forward(
        build.name,
        parameters_of(build),
        np.array(rows),
        tuple(kinds),
        build.delivery_valve.cracking_head,
        tuple(targets),
        tuple(not_fitted),
    )
