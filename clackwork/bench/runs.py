"""One set of bench readings, and the figures it gives with their uncertainty.

Heads are metres of water above the datum, the level at which the waste valve spills.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import StrEnum

from clackwork.bench.falling import ORIFICE_EXPONENT, effective_fall
from clackwork.bench.gum import Component, Estimate, half_width, propagate
from clackwork.bench.instruments import BEAT_HALF_WIDTH, Instruments
from clackwork.errors import InputError, Limits
from clackwork.water import HIGHEST_TEMPERATURE, LOWEST_TEMPERATURE, STANDARD_GRAVITY, water_at

VOLUMES = ("drawn_volume", "waste_volume", "delivered_volume")
FIGURES = (
    "waste_flow",
    "delivered_flow",
    "drawn_flow",
    "beat_rate",
    "water_per_beat",
    "back_pressure_head",
    "shut_off_head",
    "effective_fall",
    "daubuisson_efficiency",
    "rankine_efficiency",
)
_UNREAD_TEMPERATURE = 283.15  # [K] a usual spring; common practice, no published source
_UNREAD_TEMPERATURE_HALF_WIDTH = 10.0  # [K] from freezing to a warm yard
_LEVELS_DISAGREE = 3.0  # standard uncertainties
_LOW_ON_THE_DIAL = 0.10  # the gauge's class error against its reading beyond which it is said


class RunKind(StrEnum):
    """What was done in a run."""

    HELD_OPEN = "held_open"
    SHUT_BEATING = "shut_beating"
    DEAD_HEAD = "dead_head"
    DELIVERING = "delivering"


@dataclass(frozen=True, kw_only=True)
class Run:
    """One set of readings, as taken; None where nothing was read.

    Attributes
    ----------
    name, build, rig : str
    kind : RunKind
        ``held_open``: waste valve held open; ``shut_beating``: beating with the delivery shut; ``dead_head``:
        delivery shut, gauge at its highest; ``delivering``: beating against a set back-pressure.
    order : int
        Place in the trial, in the order in which the runs were made.
    fall_start, fall_end : float, float or None
        Supply surface above the datum at start and end [m].
    duration : float or None
        [s]
    drawn_volume, waste_volume, delivered_volume : float or None
        Drawn from the supply, caught at the waste valve, caught at the delivery [m3].
    beats : int or None
        Counted in the duration.
    pressure_gauge : float or None
        Reading of the gauge [Pa].
    gauge_head : float or None
        The same as a head above the datum [m], from a standpipe or a gauge marked in metres; give only one.
    water_temperature : float or None
        [K]
    tilt : float or None
        Of the pump against upright [rad].
    stroke, mass : float or None
        Tuning it was made with, where that is not the build's own [m], [kg].
    note : str
    """

    name: str
    build: str
    rig: str
    kind: RunKind
    fall_start: float
    order: int = 0
    fall_end: float | None = None
    duration: float | None = None
    drawn_volume: float | None = None
    waste_volume: float | None = None
    delivered_volume: float | None = None
    beats: int | None = None
    pressure_gauge: float | None = None
    gauge_head: float | None = None
    water_temperature: float | None = None
    tilt: float | None = None
    stroke: float | None = None
    mass: float | None = None
    note: str = ""

    def __post_init__(self) -> None:
        kinds = ", ".join(kind.value for kind in RunKind)
        if self.kind not in list(RunKind):
            raise InputError(self._field("kind"), self.kind, f"it must be one of {kinds}")
        object.__setattr__(self, "kind", RunKind(self.kind))
        self._check("fall_start", self.fall_start, 0.05, 60.0, "m", "Fall ends at the spill level.")
        self._check("fall_end", self.fall_end, 0.01, 60.0, "m", "A vessel that ran dry ends the run.")
        self._check("duration", self.duration, 0.5, 1e6, "s", "Time the run from start to stop.")
        for volume in VOLUMES:
            self._check(volume, getattr(self, volume), 0.0, 1e4, "m3", "Was it litres?")
        self._check("beats", self.beats, 0, 1e8, "beats", "Count whole beats.")
        self._check("pressure_gauge", self.pressure_gauge, 0.0, 1e8, "Pa", "It counts from the open air.")
        self._check("gauge_head", self.gauge_head, 0.0, 1e4, "m", "Was it a pressure?")
        self._check(
            "water_temperature",
            self.water_temperature,
            LOWEST_TEMPERATURE,
            HIGHEST_TEMPERATURE,
            "K",
            "Was it typed in degC or degF?",
        )
        self._check("tilt", self.tilt, -math.pi / 2, math.pi / 2, "rad", "Was it degrees?")
        if self.pressure_gauge is not None and self.gauge_head is not None:
            raise InputError(
                self._field("gauge_head"),
                self.gauge_head,
                "pressure_gauge is given as well",
                "Give only the one that was read.",
            )

    def _field(self, name: str) -> str:
        return f"run {self.name}: {name}"

    def _check(self, field: str, value: float | None, low: float, high: float, unit: str, next_step: str) -> None:
        if value is not None and not (math.isfinite(value) and low <= value <= high):
            raise InputError(
                self._field(field),
                f"{value:g} {unit}",
                f"it must be {low:g} to {high:g} {unit}",
                next_step,
                limits=Limits(value, low, high, unit),
            )


@dataclass(frozen=True)
class RunFigures:
    """The figures of one run; None where the readings do not give one.

    Attributes
    ----------
    run : Run
    waste_flow, delivered_flow, drawn_flow : Estimate or None
        Means over the run [m3/s].
    beat_rate : Estimate or None
        [1/s]
    water_per_beat : Estimate or None
        Wasted per beat [m3].
    back_pressure_head : Estimate or None
        At the gauge [m above datum].
    shut_off_head : Estimate or None
        The same, of a dead-head run.
    effective_fall : Estimate or None
        Constant fall that gives the same volume in the same time [m].
    daubuisson_efficiency, rankine_efficiency : Estimate or None
        q h/(Q H) and q (h - H)/(Qw H) with h the back-pressure head [-].
    notes : tuple of str
        What the reader of these figures should know.
    """

    run: Run
    waste_flow: Estimate | None = None
    delivered_flow: Estimate | None = None
    drawn_flow: Estimate | None = None
    beat_rate: Estimate | None = None
    water_per_beat: Estimate | None = None
    back_pressure_head: Estimate | None = None
    shut_off_head: Estimate | None = None
    effective_fall: Estimate | None = None
    daubuisson_efficiency: Estimate | None = None
    rankine_efficiency: Estimate | None = None
    notes: tuple[str, ...] = ()

    def figure(self, name: str) -> Estimate | None:
        """The figure of that name, one of `FIGURES`, or None when the run does not give it.

        Raises
        ------
        InputError
            When there is no such figure.
        """
        if name not in FIGURES:
            raise InputError("figure", name, f"it must be one of {', '.join(FIGURES)}")
        found: Estimate | None = getattr(self, name)
        return found


# What each kind must have read; a volume or a gauge reading in either form counts as one.
_NEEDS: Mapping[RunKind, tuple[str, ...]] = {
    RunKind.HELD_OPEN: ("duration", "drawn or waste volume"),
    RunKind.SHUT_BEATING: ("duration", "beats or volume"),
    RunKind.DEAD_HEAD: ("gauge",),
    RunKind.DELIVERING: ("duration", "delivered_volume", "gauge"),
}
_CURES = {
    "duration": "Time the run.",
    "drawn or waste volume": "Catch what is wasted, or read what left the supply.",
    "beats or volume": "Count the beats, and catch what is wasted.",
    "delivered_volume": "Catch what is delivered.",
    "gauge": "Read the gauge as pressure_gauge or gauge_head.",
}


def _has(run: Run, need: str) -> bool:
    caught = run.drawn_volume is not None or run.waste_volume is not None
    return {
        "duration": run.duration is not None,
        "drawn or waste volume": caught,
        "beats or volume": caught or run.beats is not None,
        "delivered_volume": run.delivered_volume is not None,
        "gauge": run.pressure_gauge is not None or run.gauge_head is not None,
    }[need]


def check_run(run: Run, instruments: Instruments) -> None:
    """Raise `InputError` when a run's readings do not make sense together.

    Raises
    ------
    InputError
        When its kind needs a reading it lacks or rules out one it has, when the supply would have emptied
        before the end, when more came out than went in, or when the gauge was read above its full scale.
    """
    field = f"run {run.name}"
    for need in _NEEDS[run.kind]:
        if not _has(run, need):
            raise InputError(f"{field}: {need}", "nothing", f"a {run.kind} run needs it", _CURES[need])
    if run.kind is RunKind.HELD_OPEN and run.beats:
        raise InputError(f"{field}: beats", run.beats, "a held-open run has no beats", "Was it shut_beating?")
    if run.kind is not RunKind.DELIVERING and run.delivered_volume:
        raise InputError(
            f"{field}: delivered_volume",
            f"{run.delivered_volume:g} m3",
            f"a {run.kind} run delivers nothing",
            "Was it delivering?",
        )
    _check_supply(run, instruments)
    if run.kind is not RunKind.HELD_OPEN or _has(run, "gauge"):
        _check_gauge(run, instruments)


def _check_supply(run: Run, instruments: Instruments) -> None:
    vessel, drawn = instruments.bucket, run.drawn_volume
    out = run.delivered_volume
    slack = 2.0 * (vessel.mark_uncertainty + instruments.bucket_for("delivered_volume").mark_uncertainty)
    if drawn is not None and out is not None and out > drawn + slack:
        raise InputError(
            f"run {run.name}: delivered_volume",
            f"{out:g} m3",
            f"it cannot be more than the {drawn:g} m3 drawn",
            "No more comes out than was drawn: check which bucket was which.",
            limits=Limits(out, 0.0, drawn, "m3"),
        )
    if vessel.plan_area is None or drawn is None:
        return
    most = vessel.plan_area * run.fall_start
    if vessel.capacity is not None:
        most = min(most, vessel.capacity)
    if drawn > most + vessel.mark_uncertainty:
        raise InputError(
            f"run {run.name}: drawn_volume",
            f"{drawn:g} m3",
            f"the vessel of {vessel.plan_area:g} m2 would be empty after {most:g} m3",
            "Stop the watch before it runs dry, or leave plan_area out when the supply is refilled.",
            limits=Limits(drawn, 0.0, most, "m3"),
        )
    if run.fall_end is not None and run.fall_end > run.fall_start + 2.0 * instruments.level_rule.half_width:
        raise InputError(
            f"run {run.name}: fall_end",
            f"{run.fall_end:g} m",
            f"a vessel that drains cannot end above its start of {run.fall_start:g} m",
            "Were the levels at start and end swapped?",
            limits=Limits(run.fall_end, 0.01, run.fall_start, "m"),
        )


def _check_gauge(run: Run, instruments: Instruments) -> None:
    if run.pressure_gauge is None and run.gauge_head is None:
        return
    gauge = instruments.gauge
    density = water_at(run.water_temperature or _UNREAD_TEMPERATURE).density
    pressure = _pressure(run, instruments, density)
    if pressure > gauge.full_scale:
        raise InputError(
            f"run {run.name}: gauge",
            f"{pressure:g} Pa",
            f"it must be 0 to {gauge.full_scale:g} Pa",
            "No gauge reads past its full scale, and gauges burst: fit one rated for several times the lift.",
            limits=Limits(pressure, 0.0, gauge.full_scale, "Pa"),
        )
    if pressure < 0.0 and run.gauge_head is not None:
        highest = gauge.height_above_datum + gauge.full_scale / (density * STANDARD_GRAVITY)
        raise InputError(
            f"run {run.name}: gauge_head",
            f"{run.gauge_head:g} m",
            f"it is below the gauge itself, {gauge.height_above_datum:g} m above the datum",
            "Heads count from the level at which the waste valve spills, and the gauge stands above that.",
            limits=Limits(run.gauge_head, gauge.height_above_datum, highest, "m"),
        )


def _pressure(run: Run, instruments: Instruments, density: float) -> float:
    if run.pressure_gauge is not None:
        return run.pressure_gauge
    assert run.gauge_head is not None
    return density * STANDARD_GRAVITY * (run.gauge_head - instruments.gauge.height_above_datum)


def _density(run: Run, instruments: Instruments, density: float | None) -> Component:
    """Density of the water [kg/m3] from its temperature, or as given."""
    if density is not None:
        return Component("density", density, 0.0, source="given")
    temperature = run.water_temperature
    width, source = instruments.thermometer.half_width, "thermometer"
    if temperature is None:
        temperature, width = _UNREAD_TEMPERATURE, _UNREAD_TEMPERATURE_HALF_WIDTH
        source = "temperature not read: taken as 10 degC within 10 K"
    cold = water_at(max(temperature - half_width(width), LOWEST_TEMPERATURE)).density
    warm = water_at(min(temperature + half_width(width), HIGHEST_TEMPERATURE)).density
    return Component("density", water_at(temperature).density, 0.5 * abs(cold - warm), source=source)


def _components(run: Run, instruments: Instruments, density: float | None) -> list[Component]:
    """Every reading of the run and every error that can enter, as components of one budget."""
    rule, rig = instruments.level_rule, run.rig
    rule_key = rule.name or f"rule of {rig}"
    found = [
        Component(
            "datum",
            0.0,
            half_width(rule.datum_half_width),
            source="zero of the rule",
            shared_as=f"{rule_key}: datum",
        ),
        Component("fall_start", run.fall_start, half_width(rule.half_width), source="rule read"),
    ]
    if run.fall_end is not None:
        found.append(Component("fall_end", run.fall_end, half_width(rule.half_width), source="rule read"))
    if run.duration is not None:
        found.append(
            Component("duration", run.duration, instruments.stopwatch.start_stop_sd, source="start and stop by hand")
        )
    for name in VOLUMES:
        volume, bucket = getattr(run, name), instruments.bucket_for(name)
        if volume is not None:
            key = f"{bucket.name or f'bucket of {rig}'}: mark, {name}"
            found.append(
                Component(name, volume, bucket.standard_uncertainty(volume), source="bucket's mark", shared_as=key)
            )
    if run.beats is not None:
        found.append(Component("beats", float(run.beats), half_width(BEAT_HALF_WIDTH), source="whole beats counted"))
    if run.pressure_gauge is not None or run.gauge_head is not None:
        found += _gauge_components(run, instruments, density)
    return found


def _gauge_components(run: Run, instruments: Instruments, density: float | None) -> list[Component]:
    gauge, water = instruments.gauge, _density(run, instruments, density)
    key = gauge.name or f"gauge of {run.rig}"
    return [
        water,
        Component(
            "pressure",
            _pressure(run, instruments, water.value),
            gauge.reading_uncertainty,
            source="dial read",
        ),
        Component("gauge_error", 0.0, gauge.class_uncertainty, source="gauge's class", shared_as=f"{key}: class"),
        Component(
            "gauge_height",
            gauge.height_above_datum,
            half_width(gauge.height_half_width),
            source="height of the gauge",
            shared_as=f"{key}: height",
        ),
    ]


_Formula = Callable[[Mapping[str, float]], float]


def _volume_formula(wanted: str, run: Run) -> _Formula | None:
    """A volume as read, or by the balance drawn = wasted + delivered from the two that were."""
    if getattr(run, wanted) is not None:
        return lambda v: v[wanted]
    read = {name for name in VOLUMES if getattr(run, name) is not None}
    delivers = run.kind is RunKind.DELIVERING
    if wanted == "drawn_volume" and "waste_volume" in read:
        return (lambda v: v["waste_volume"] + v["delivered_volume"]) if delivers else (lambda v: v["waste_volume"])
    if wanted == "waste_volume" and "drawn_volume" in read:
        return (lambda v: v["drawn_volume"] - v["delivered_volume"]) if delivers else (lambda v: v["drawn_volume"])
    return None


def _is_positive(run: Run, *volumes: _Formula) -> bool:
    """Whether the volumes are above 0 as read: nothing is divided by one that is not."""
    read = {name: volume for name in VOLUMES if (volume := getattr(run, name)) is not None}
    return all(volume(read) > 0.0 for volume in volumes)


def _fall_formula(run: Run, instruments: Instruments, flow_exponent: float) -> _Formula:
    """The effective fall from both levels, from one level and the water drawn, or from the one level held."""
    area = instruments.bucket.plan_area
    if run.fall_end is not None:
        return lambda v: effective_fall(v["fall_start"] + v["datum"], v["fall_end"] + v["datum"], flow_exponent)
    if area is not None and run.drawn_volume is not None:
        return lambda v: effective_fall(
            v["fall_start"] + v["datum"],
            # A level within the rule's error of the datum must not stop the propagation.
            max(v["fall_start"] - v["drawn_volume"] / area + v["datum"], 1e-6),
            flow_exponent,
        )
    return lambda v: v["fall_start"] + v["datum"]


def _head(v: Mapping[str, float]) -> float:
    return (v["pressure"] + v["gauge_error"]) / (v["density"] * STANDARD_GRAVITY) + v["gauge_height"]


def _formulas(run: Run, instruments: Instruments, flow_exponent: float) -> dict[str, _Formula]:
    """How each figure the run can give follows from its readings."""
    fall = _fall_formula(run, instruments, flow_exponent)
    found: dict[str, _Formula] = {"effective_fall": fall}
    if run.pressure_gauge is not None or run.gauge_head is not None:
        found["back_pressure_head"] = _head
        if run.kind is RunKind.DEAD_HEAD:
            found["shut_off_head"] = _head
    if run.duration is None:
        return found
    drawn, waste, delivered = (_volume_formula(name, run) for name in VOLUMES)
    for name, volume in (("drawn_flow", drawn), ("waste_flow", waste), ("delivered_flow", delivered)):
        if volume is not None:
            found[name] = lambda v, volume=volume: volume(v) / v["duration"]  # type: ignore[misc]
    if run.beats is not None:
        found["beat_rate"] = lambda v: v["beats"] / v["duration"]
        if waste is not None and run.beats > 1:
            found["water_per_beat"] = lambda v: waste(v) / v["beats"]
    if run.kind is RunKind.DELIVERING and drawn and waste and delivered and _is_positive(run, drawn, waste):
        # Written out, as clackwork.rigid refuses the readings just below zero that propagation may try.
        found["daubuisson_efficiency"] = lambda v: delivered(v) * _head(v) / (drawn(v) * fall(v))
        found["rankine_efficiency"] = lambda v: delivered(v) * (_head(v) - fall(v)) / (waste(v) * fall(v))
    return found


def reduce_run(
    run: Run,
    instruments: Instruments,
    *,
    density: float | None = None,
    flow_exponent: float = ORIFICE_EXPONENT,
) -> RunFigures:
    """Turn one run's readings into figures, each with a full budget.

    Parameters
    ----------
    run : Run
    instruments : Instruments
        Of the rig it was made on.
    density : float, optional
        Of the water [kg/m3]; from its temperature when not given.
    flow_exponent : float, optional
        n of the drawn flow against the fall, Q = k h^n, for a supply that fell during the run. 0.5 is right
        for a valve held open; a beating pump may differ, and its engine can tell by how much.

    Returns
    -------
    RunFigures

    Raises
    ------
    InputError
        When the readings do not make sense together; see `check_run`.
    """
    check_run(run, instruments)
    if density is not None and not 900.0 <= density <= 1100.0:
        raise InputError("density", f"{density:g} kg/m3", "water has 900 to 1100 kg/m3")
    components = _components(run, instruments, density)
    formulas = _formulas(run, instruments, flow_exponent)
    estimates = {name: propagate(formula, components) for name, formula in formulas.items()}
    return RunFigures(run=run, notes=tuple(_notes(run, instruments, estimates, components)), **estimates)


def _notes(
    run: Run, instruments: Instruments, estimates: Mapping[str, Estimate], components: list[Component]
) -> list[str]:
    said = []
    values = {component.name: component.value for component in components}
    area = instruments.bucket.plan_area
    if area is not None and run.drawn_volume is not None and run.fall_end is not None:
        missing = propagate(lambda v: v["drawn_volume"] - area * (v["fall_start"] - v["fall_end"]), components)
        if abs(missing.value) > _LEVELS_DISAGREE * missing.standard_uncertainty:
            said.append(
                f"Run {run.name}: the levels give {1.0 - missing.value / run.drawn_volume:.2f} times the volume "
                "read; check the plan area, the marks and for water added."
            )
    if all(getattr(run, name) is not None for name in VOLUMES):
        missing = propagate(lambda v: v["drawn_volume"] - v["waste_volume"] - v["delivered_volume"], components)
        if abs(missing.value) > _LEVELS_DISAGREE * missing.standard_uncertainty:
            said.append(
                f"Run {run.name}: {100.0 * (missing.value / values['drawn_volume']):+.1f} % of the water drawn "
                "is not accounted for; look for a leak or a bucket misread."
            )
    pressure = values.get("pressure", 0.0)
    gauge = instruments.gauge
    if "pressure" in values and gauge.accuracy_class * gauge.full_scale > _LOW_ON_THE_DIAL * pressure:
        said.append(
            f"Run {run.name}: read this low on its dial the gauge may be wrong by more than "
            f"{100.0 * _LOW_ON_THE_DIAL:.0f} %; a smaller range would tell more, if it stands the peaks."
        )
    head, fall = estimates.get("back_pressure_head"), estimates["effective_fall"]
    if run.kind is RunKind.DELIVERING and head is not None and head.value <= fall.value:
        said.append(
            f"Run {run.name}: the back-pressure is not above the fall; water runs there by itself "
            "and the efficiencies say nothing."
        )
    return said
