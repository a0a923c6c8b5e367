"""Tunings of pumps at a place, tried on the engine at their best values, all in one batch with the head held."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from clackwork.ram import kernel
from clackwork.ram.batch import Progress, run_packed
from clackwork.ram.engine import RamCase, pack
from clackwork.ram.parts import STANDARD_GRAVITY, DrivePipe, Supply, Surroundings
from clackwork.ram.sensitivity import opening_load
from clackwork.ram.tuning import TuningBounds
from clackwork.twin.fit import with_parameters
from clackwork.twin.twin import Twin


@dataclass(frozen=True)
class Layout:
    """A pump on its drive pipe at a place, all but its tuning.

    Attributes
    ----------
    twin : Twin
    drive_pipe : DrivePipe
    fall : float
        [m]
    vessel_head : float
        Held [m].
    surroundings : Surroundings
    """

    twin: Twin
    drive_pipe: DrivePipe
    fall: float
    vessel_head: float
    surroundings: Surroundings

    def case(self, stroke: float, mass: float) -> RamCase:
        """The engine's case with a tuning [m], [kg]."""
        build = with_parameters(self.twin.build.retuned(stroke=stroke, mass=mass), self.twin.best)
        return RamCase(build, self.drive_pipe, Supply(self.fall), self.surroundings, vessel_head=self.vessel_head)


@dataclass(frozen=True)
class Tried:
    """What one tuning of a layout does.

    Attributes
    ----------
    layout : Layout
    stroke, mass : float
        [m], [kg]
    state : int
        Of :data:`clackwork.ram.engine.STATES`.
    delivered_flow, drawn_flow : float
        Of one pump [m3/s].
    beat_rate : float
        [1/s]
    highest_head : float
        The higher of peak and surge [m].
    ripple_volume : float
        Delivered in one beat [m3].
    """

    layout: Layout
    stroke: float
    mass: float
    state: int
    delivered_flow: float
    drawn_flow: float
    beat_rate: float
    highest_head: float
    ripple_volume: float

    @property
    def delivers(self) -> bool:
        """Whether it beats, evenly or not, and delivers."""
        return self.state not in (kernel.STALLED_OPEN, kernel.STALLED_SHUT) and self.delivered_flow > 0.0

    def serves(self, bounds: TuningBounds) -> bool:
        """Whether it delivers on even beats of a rate within the bounds."""
        even = self.delivers and self.state == kernel.BEATING
        return even and bounds.lowest_beat_rate <= self.beat_rate <= bounds.highest_beat_rate


def along(low: float, high: float, share: float) -> float:
    """A value a share of the way between two, even in its logarithm."""
    return low * (high / low) ** share


def try_tunings(
    asked: Sequence[tuple[Layout, float, float]], *, workers: int | None = None, progress: Progress | None = None
) -> list[Tried]:
    """Run layouts with tunings (stroke [m], mass [kg]); one that nothing opens counts as shut.

    Returns
    -------
    list of Tried
        In the order asked, the same for any number of workers.
    """
    cases = [layout.case(stroke, mass) for layout, stroke, mass in asked]
    opens = [place for place, case in enumerate(cases) if opening_load(case) > 0.0]
    out = np.zeros((len(cases), len(kernel.RESULTS)))
    out[:, kernel.R["state"]] = kernel.STALLED_SHUT
    if opens:
        packed = np.array([pack(cases[place]) for place in opens])
        out[opens] = run_packed(packed, workers=workers, progress=progress)
    return [
        _tried(layout, stroke, mass, case, dict(zip(kernel.RESULTS, row, strict=True)))
        for (layout, stroke, mass), case, row in zip(asked, cases, out, strict=True)
    ]


def _tried(layout: Layout, stroke: float, mass: float, case: RamCase, row: dict[str, float]) -> Tried:
    period = float(row["beat_period"])
    surge = case.supply.fall + case.wave_speed * float(row["closing_velocity"]) / STANDARD_GRAVITY
    delivered = float(row["delivered_flow"])
    return Tried(
        layout=layout,
        stroke=stroke,
        mass=mass,
        state=int(row["state"]),
        delivered_flow=delivered,
        drawn_flow=float(row["drawn_flow"]),
        beat_rate=1.0 / period if period > 0.0 else 0.0,
        highest_head=max(float(row["peak_head"]), surge),
        ripple_volume=delivered * period,
    )


def retuned_twin(twin: Twin, stroke: float, mass: float) -> Twin:
    """The twin of the same build with another tuning [m], [kg]."""
    return replace(twin, build=twin.build.retuned(stroke=stroke, mass=mass))


def most_delivered(tried: Iterable[Tried], bounds: TuningBounds, drawn_at_most: float) -> Tried | None:
    """Of those that serve and draw no more than so much [m3/s], the one that delivers most."""
    served = [each for each in tried if each.serves(bounds) and each.drawn_flow <= drawn_at_most]
    return max(served, key=lambda each: each.delivered_flow, default=None)
