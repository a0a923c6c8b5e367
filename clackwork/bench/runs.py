"""Runs on the rig: what was read, and the figures with their uncertainty that follow."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum

from clackwork.bench.gum import Component, Estimate, propagate
from clackwork.bench.instruments import Instruments
from clackwork.errors import InputError, require_range

STANDARD_GRAVITY = 9.80665
"""[m/s2] (ISO 80000-3)."""


class RunKind(str, Enum):
    """What was done."""

    HELD_OPEN = "held_open"
    SHUT_BEATING = "shut_beating"
    DEAD_HEAD = "dead_head"
    DELIVERING = "delivering"


@dataclass(frozen=True)
class Run:
    """One set of readings, SI; None where nothing was read.

    Attributes
    ----------
    name, build, rig : str
    kind : RunKind
    order : int or None
        Place in the day's order.
    duration : float or None
        [s]
    drawn_volume, waste_volume, delivered_volume : float or None
        Taken from the supply vessel; caught at the waste valve; caught at the outlet [m3].
    beats : int or None
        Counted in ``duration``.
    gauge_head : float or None
        Head read at the vessel, above the datum [m].
    fall_start, fall_end : float or None
        Supply surface above the datum at start and end [m]; end None when it stood still or is worked out from the
        vessel's plan area.
    water_temperature : float or None
        [K]
    tilt : float or None
        Of the body, when not the build's own [rad].
    note : str
    """

    name: str
    build: str
    rig: str
    kind: RunKind
    order: int | None = None
    duration: float | None = None
    drawn_volume: float | None = None
    waste_volume: float | None = None
    delivered_volume: float | None = None
    beats: int | None = None
    gauge_head: float | None = None
    fall_start: float | None = None
    fall_end: float | None = None
    water_temperature: float | None = None
    tilt: float | None = None
    note: str = ""

    def __post_init__(self) -> None:
        place = f"run {self.name!r}"
        for name in ("duration", "drawn_volume", "waste_volume", "delivered_volume", "fall_start", "fall_end"):
            value = getattr(self, name)
            if value is not None and not (math.isfinite(value) and value > 0.0):
                raise InputError(f"{place}, {name}", f"{value:g}", "it must be above zero", "Leave it out if not read.")
        if self.beats is not None and self.beats < 1:
            raise InputError(f"{place}, beats", self.beats, "it must be a whole number of 1 or more")
        if self.gauge_head is not None:
            require_range(f"{place}, gauge_head", self.gauge_head, 0.0, 600.0, "m")
        self._require_readings(place)

    def _require_readings(self, place: str) -> None:
        volume = self.drawn_volume or self.waste_volume
        if self.kind is RunKind.DEAD_HEAD:
            if self.gauge_head is None:
                raise InputError(f"{place}, gauge", "nothing", "a dead-head run needs the gauge's highest reading")
            return
        if self.duration is None:
            raise InputError(f"{place}, duration", "nothing", f"a {self.kind.value} run needs a time")
        if self.kind is RunKind.HELD_OPEN and volume is None:
            raise InputError(f"{place}, drawn_volume", "nothing", "a held-open run needs a volume drawn or caught")
        if self.kind is RunKind.SHUT_BEATING and volume is None and self.beats is None:
            raise InputError(f"{place}, drawn_volume", "nothing", "a run with the delivery shut needs a volume or beats")
        if self.kind is RunKind.DELIVERING and self.gauge_head is None:
            raise InputError(f"{place}, back_pressure", "nothing", "a delivering run needs its back-pressure")
        if self.kind is RunKind.DELIVERING and self.delivered_volume is None:
            raise InputError(f"{place}, delivered_volume", "nothing", "a delivering run needs the volume delivered")


@dataclass(frozen=True)
class RunFigures:
    """Figures of one run; None where the readings do not give them. Flows [m3/s], rates [1/s], heads [m]."""

    run: str
    waste_flow: Estimate | None = None
    delivered_flow: Estimate | None = None
    drawn_flow: Estimate | None = None
    beat_rate: Estimate | None = None
    water_per_beat: Estimate | None = None
    back_pressure_head: Estimate | None = None
    effective_fall: Estimate | None = None
    daubuisson_efficiency: Estimate | None = None
    rankine_efficiency: Estimate | None = None


def effective_fall(start: float, end: float, exponent: float = 0.5) -> float:
    """The constant fall [m] that draws in the same time what a fall sinking from ``start`` to ``end`` draws.

    For a vessel of even plan area and a flow that goes as the fall to ``exponent``, dh/dt = -k h^n integrates to
    (start^(1-n) - end^(1-n)) / (1-n) = k t, so the fall is ((1-n) (start - end) / (start^(1-n) - end^(1-n)))^(1/n).
    """
    if abs(start - end) < 1e-9 * start:
        return start
    if exponent == 0.0:
        return 0.5 * (start + end)
    rest = 1.0 - exponent
    mean_power = rest * (start - end) / (start**rest - end**rest)
    return float(mean_power ** (1.0 / exponent))


def _flow(volume: float, run: Run, instruments: Instruments, what: str) -> Estimate:
    """A volume over the run's time."""
    assert run.duration is not None
    return propagate(
        lambda v: v["volume"] / v["time"],
        (
            Component("volume", volume, instruments.bucket.standard_uncertainty, source=f"bucket mark, {what}"),
            Component("time", run.duration, instruments.stopwatch.start_stop_sd, source="start and stop by hand"),
        ),
    )


def _fall(run: Run, instruments: Instruments, exponent: float) -> Estimate | None:
    """Effective fall, the sinking supply solved."""
    if run.fall_start is None:
        return None
    end, area = run.fall_end, instruments.bucket.plan_area
    if end is None and area is not None and run.drawn_volume is not None:
        end = run.fall_start - run.drawn_volume / area
        if end <= 0.0:
            raise InputError(
                f"run {run.name!r}, drawn_volume",
                f"{run.drawn_volume * 1000:.4g} L",
                f"the vessel holds only {run.fall_start * area * 1000:.4g} L above the spill level: it would have emptied "
                "before the time given",
                "Check the volume, the plan area and the fall.",
            )
    u = instruments.level_rule.standard_uncertainty
    parts = [Component("start", run.fall_start, u, source="level read at the start", shared=True)]
    if end is None:
        return propagate(lambda v: v["start"], parts)
    drop = Component("drop", run.fall_start - end, u if run.fall_end is not None else 0.0, source="drop of the level")
    return propagate(lambda v: effective_fall(v["start"], max(v["start"] - v["drop"], 1e-6), exponent), [*parts, drop])


def _gauge(run: Run, instruments: Instruments, density: float) -> Estimate | None:
    """Head at the gauge."""
    if run.gauge_head is None:
        return None
    gauge, weight = instruments.gauge, density * STANDARD_GRAVITY
    if run.gauge_head * weight > gauge.full_scale * 1.0001:
        raise InputError(
            f"run {run.name!r}, gauge",
            f"{run.gauge_head * weight / 1e5:.3g} bar",
            f"the gauge ends at {gauge.full_scale / 1e5:.3g} bar",
            "Check the reading or describe the gauge that was used.",
        )
    return propagate(
        lambda v: v["reading"] + v["class"] + v["height"],
        (
            Component("reading", run.gauge_head, gauge.reading_uncertainty / weight, source="between gauge divisions"),
            Component("class", 0.0, gauge.class_uncertainty / weight, source="gauge class", shared=True),
            Component("height", 0.0, instruments.level_rule.standard_uncertainty, source="gauge height", shared=True),
        ),
    )


def _beats(run: Run, instruments: Instruments) -> Estimate | None:
    """Beats per second; the count may miss a part of a beat at either end."""
    if run.beats is None or run.duration is None:
        return None
    return propagate(
        lambda v: v["beats"] / v["time"],
        (
            Component("beats", float(run.beats), 0.5 / math.sqrt(3.0), source="part of a beat at either end"),
            Component("time", run.duration, instruments.stopwatch.start_stop_sd, source="start and stop by hand"),
        ),
    )


def _combined(function: str, **parts: Estimate) -> Estimate:
    """A figure of other figures, taken as independent."""
    formulas = {
        "sum": lambda v: v["a"] + v["b"],
        "difference": lambda v: v["a"] - v["b"],
        "quotient": lambda v: v["a"] / v["b"],
        "daubuisson": lambda v: v["q"] * v["h"] / (v["Q"] * v["H"]),
        "rankine": lambda v: v["q"] * (v["h"] - v["H"]) / (v["W"] * v["H"]),
    }
    components = [
        Component(name, part.value, part.standard_uncertainty, part.degrees_of_freedom, source=name)
        for name, part in parts.items()
    ]
    return propagate(formulas[function], components)


def reduce_run(run: Run, instruments: Instruments, *, flow_exponent: float = 0.5, density: float = 999.7) -> RunFigures:
    """Figures of a run with their budgets.

    Parameters
    ----------
    run : Run
    instruments : Instruments
    flow_exponent : float
        How flow goes with a sinking fall; 0.5 for a valve held open.
    density : float
        Of the water [kg/m3].

    Raises
    ------
    InputError
        When the readings cannot be: a vessel emptied before its time, a gauge past its end.
    """
    timed = run.duration is not None
    delivered = _flow(run.delivered_volume, run, instruments, "delivered") if timed and run.delivered_volume else None
    waste = _flow(run.waste_volume, run, instruments, "wasted") if timed and run.waste_volume else None
    drawn = _flow(run.drawn_volume, run, instruments, "drawn") if timed and run.drawn_volume else None
    if run.kind is RunKind.DELIVERING and delivered:
        if drawn is None and waste is not None:
            drawn = _combined("sum", a=waste, b=delivered)
        elif waste is None and drawn is not None:
            waste = _combined("difference", a=drawn, b=delivered)
    elif run.kind is not RunKind.DELIVERING:
        waste, drawn = waste or drawn, drawn or waste
    beats = _beats(run, instruments)
    fall, head = _fall(run, instruments, flow_exponent), _gauge(run, instruments, density)
    daubuisson = rankine = None
    if run.kind is RunKind.DELIVERING and delivered and drawn and waste and fall and head:
        daubuisson = _combined("daubuisson", q=delivered, h=head, Q=drawn, H=fall)
        rankine = _combined("rankine", q=delivered, h=head, W=waste, H=fall)
    return RunFigures(
        run=run.name,
        waste_flow=waste,
        delivered_flow=delivered,
        drawn_flow=drawn,
        beat_rate=beats,
        water_per_beat=_combined("quotient", a=waste, b=beats) if waste and beats else None,
        back_pressure_head=head,
        effective_fall=fall,
        daubuisson_efficiency=daubuisson,
        rankine_efficiency=rankine,
    )
