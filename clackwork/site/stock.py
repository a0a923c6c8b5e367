"""What a workshop has to build a site from: pipes, tuning of its pumps, and what is usual where nothing was said."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache

from clackwork.errors import InputError, require_range
from clackwork.pipes import Pipe, catalogue
from clackwork.ram.parts import Build, HingedFlap
from clackwork.ram.tuning import TuningBounds

STROKE_SHARES = (0.6, 1.6)
"""Least and most stroke over the build's own: common practice, no published source."""
MASS_SHARES = (0.5, 2.0)
"""Least and most moving mass over the build's own: common practice, no published source."""
BEATS_A_MINUTE = (20.0, 120.0)
"""Ends of the published bands: 20-100 (NC State EBAE 161-92) and 40-120 (Ethiopian hydram paper)."""
STANDPIPE_DIAMETERS = (0.15, 0.20, 0.30, 0.40, 0.60)
"""Pipe and drums that make a standpipe [m]: common practice, no published source."""
_STEEPEST_FLAP = 1.2
"""Most stroke of a flap over its hinge to seat distance, as :class:`clackwork.ram.parts.HingedFlap` allows."""


def usual_bounds(build: Build) -> TuningBounds:
    """Tuning that a build is taken to stand, about its own, at beats within the published bands."""
    valve = build.waste_valve
    most = STROKE_SHARES[1] * valve.stroke
    if isinstance(valve, HingedFlap):
        most = max(min(most, 0.99 * _STEEPEST_FLAP * valve.seat_distance), valve.stroke)
    return TuningBounds(
        least_stroke=max(STROKE_SHARES[0] * valve.stroke, valve.held_open / 0.9, 1e-4),
        most_stroke=min(most, 0.2),
        least_mass=max(MASS_SHARES[0] * valve.mass, 1e-4),
        most_mass=min(MASS_SHARES[1] * valve.mass, 50.0),
        lowest_beat_rate=BEATS_A_MINUTE[0] / 60.0,
        highest_beat_rate=BEATS_A_MINUTE[1] / 60.0,
    )


@dataclass(frozen=True)
class Stock:
    """What a workshop builds with.

    Attributes
    ----------
    drive_pipes, supply_pipes, delivery_pipes : tuple of Pipe
        Sizes that it uses, each with a pressure rating.
    bounds : mapping of str to TuningBounds
        Tuning allowed, by the name of the build; :func:`usual_bounds` for one that is not named.
    most_pumps : int
        Side by side on one line.
    standpipe_diameters : tuple of float
        [m]
    """

    drive_pipes: tuple[Pipe, ...]
    supply_pipes: tuple[Pipe, ...]
    delivery_pipes: tuple[Pipe, ...]
    bounds: Mapping[str, TuningBounds] = field(default_factory=dict)
    most_pumps: int = 4
    standpipe_diameters: tuple[float, ...] = STANDPIPE_DIAMETERS

    def __post_init__(self) -> None:
        for name in ("drive_pipes", "supply_pipes", "delivery_pipes"):
            pipes: tuple[Pipe, ...] = getattr(self, name)
            if not pipes:
                raise InputError(f"stock.{name}", "(nothing)", "it takes one size at least", "Name a series.")
            unrated = next((pipe for pipe in pipes if pipe.rating_gauge is None), None)
            if unrated is not None:
                raise InputError(
                    f"stock.{name}",
                    f"{unrated.series} {unrated.size}",
                    "a design holds pressures against the rating of every pipe",
                    "Give the maker's rating.",
                )
        require_range("stock.most_pumps", float(self.most_pumps), 1.0, 20.0, "pumps")
        if not self.standpipe_diameters:
            raise InputError("stock.standpipe_diameters", "(nothing)", "it takes one at least")

    def bounds_of(self, build: Build) -> TuningBounds:
        """Tuning allowed for a build."""
        return self.bounds.get(build.name) or usual_bounds(build)


def pipes_of(*names: str) -> tuple[Pipe, ...]:
    """All sizes of some series of the catalogue, narrowest first."""
    found = [pipe for series in catalogue() if series.name in names for pipe in series.pipes]
    return tuple(sorted(found, key=lambda pipe: pipe.bore))


@lru_cache(maxsize=1)
def usual_stock() -> Stock:
    """Steel and PVC to drive, PVC and polyethylene to feed, polyethylene and steel to deliver: whatever is listed."""
    return Stock(
        drive_pipes=pipes_of("steel-sch40", "pvc-sch40"),
        supply_pipes=pipes_of("pvc-sch40", "pe100-sdr11"),
        delivery_pipes=pipes_of("pe100-sdr11", "steel-sch40"),
    )


def fitting_bores(build: Build, pipes: tuple[Pipe, ...], count: int = 1) -> tuple[Pipe, ...]:
    """The ``count`` sizes of each series whose bore is nearest to that of the build's waste valve seat, best first."""
    seat = build.waste_valve.seat_bore

    def miss(pipe: Pipe) -> float:
        return max(pipe.bore / seat, seat / pipe.bore)

    chosen: dict[str, list[Pipe]] = {}
    for pipe in sorted(pipes, key=miss):
        chosen.setdefault(pipe.series, []).append(pipe)
    return tuple(sorted((pipe for sizes in chosen.values() for pipe in sizes[:count]), key=miss))
