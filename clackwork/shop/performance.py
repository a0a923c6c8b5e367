"""What a build does against lift, for chosen falls, on the pipe it was tested on or on another: its twin's draws run.

The lift is the head the pump works against, above the level at which its waste valve spills. A delivery pipe's friction
comes on top of the height of the outlet; it belongs to a site and is not in these figures.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from clackwork.bench.gum import Estimate
from clackwork.bench.runs import Run, RunKind, reduce_run
from clackwork.errors import InputError
from clackwork.ram import kernel
from clackwork.ram.batch import Progress, run_packed
from clackwork.ram.engine import RamCase, pack, scale_wave_speeds, set_waits
from clackwork.ram.parts import STANDARD_GRAVITY
from clackwork.site.promise import SITE_FRICTION_SPREAD, SITE_WAVE_SPREAD
from clackwork.site.site import Range, Site
from clackwork.twin.twin import Rig, Twin

FloatArray = NDArray[np.float64]

DRAWS = 200
"""Posterior draws run at each point unless others are asked for: the 5 % point then rests on ten of them."""
MOST_DRAWS = 400
MOST_FALLS = 5
LEAST_RISE = 1.5
"""Smallest lift drawn, over the fall: below it water is better led there by itself."""
MOST_RISE = 20.0
"""Highest lift drawn, over the middle fall: common practice, no published source."""
SAME_FALL = 0.05
"""How far a run's fall may lie from a chosen one to be shown with it, as a share of it."""
LEAST_BEATING = 0.5
"""Share of the draws that must beat for a pump to be called beating."""
MOST_STALLS = 0.05
"""Share of draws that may fail to beat before it is said."""
_OTHER_FALLS = (0.7, 1.0, 1.4)
"""Falls drawn unless others are chosen, over that of the runs."""
_STEPS = (1.0, 1.2, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0)
"""Round numbers of a decade, about equally far apart by ratio."""

_CARRIED = ("discharge_coefficient", "closing_coefficient", "delivery_loss", "slip_volume", "body_air")
"""Fitted parameters whose name is the engine's own."""


@dataclass(frozen=True)
class PerformancePoint:
    """What the pump does at one fall and lift: 5, 50 and 95 % points of the draws that beat there.

    The ranges are None where no draw beats.

    Attributes
    ----------
    fall, lift : float
        [m]
    delivered_flow, drawn_flow : Range or None
        [m3/s]
    daubuisson_efficiency, rankine_efficiency : Range or None
        q h / (Q H) and q (h - H) / (Qw H), with h the lift.
    beat_rate : Range or None
        [1/s]
    peak_head : Range or None
        Highest in the body [m above datum].
    surge_head : Range or None
        Fall plus the full water-hammer rise of the closing velocity [m above datum].
    share_beating : float
        Share of the draws that beat, evenly or not.
    share_open : float
        Share of the draws whose waste valve stands open; in the rest of those that do not beat it stays shut.
    """

    fall: float
    lift: float
    delivered_flow: Range | None
    drawn_flow: Range | None
    daubuisson_efficiency: Range | None
    rankine_efficiency: Range | None
    beat_rate: Range | None
    peak_head: Range | None
    surge_head: Range | None
    share_beating: float
    share_open: float

    @property
    def is_beating(self) -> bool:
        """Whether most draws beat."""
        return self.share_beating > LEAST_BEATING

    @property
    def is_doubtful(self) -> bool:
        """Whether it beats, but more of the draws fail to than are let pass."""
        return self.is_beating and self.share_beating < 1.0 - MOST_STALLS


@dataclass(frozen=True)
class MeasuredPoint:
    """One delivering run of the build; the spreads are standard uncertainties.

    Attributes
    ----------
    run : str
    fall, lift : float
        Effective fall and back-pressure head [m].
    delivered_flow, delivered_flow_spread : float
        [m3/s]
    drawn_flow, drawn_flow_spread : float or None
        [m3/s]; None where only the delivery was caught.
    daubuisson_efficiency, daubuisson_efficiency_spread : float or None
    """

    run: str
    fall: float
    lift: float
    delivered_flow: float
    delivered_flow_spread: float
    drawn_flow: float | None
    drawn_flow_spread: float | None
    daubuisson_efficiency: float | None
    daubuisson_efficiency_spread: float | None


@dataclass(frozen=True)
class Provenance:
    """What a performance came from.

    Attributes
    ----------
    twin_id : int
        Number of the twin's record.
    twin_name, fitted_at : str
        Its name, and the day it was fitted.
    runs : int
        Runs it was fitted to.
    engine, kernel : str
        Version of the package, and mark of the engine's sources, that ran the draws.
    """

    twin_id: int
    twin_name: str
    fitted_at: str
    runs: int
    engine: str
    kernel: str


@dataclass(frozen=True)
class Performance:
    """What a build does on one pipe, against lift, for chosen falls.

    Attributes
    ----------
    build, rig : str
        Names; of the site where it is drawn for one.
    pipe_words : str
        Size and material of the drive pipe.
    pipe_length : float
        [m]
    is_plastic : bool
        Whether the drive pipe is of plastic.
    temperature : float
        Of the water [K].
    unit_weight : float
        Of the water [N/m3]; turns heads into pressures.
    falls : tuple of float
        Those chosen, lowest first [m].
    points : tuple of PerformancePoint
        By fall, then by lift.
    measured : tuple of MeasuredPoint
    draws, seed : int
    whole : bool
        False when the work was stopped before its last fall.
    provenance : Provenance
    is_site : bool
        Whether the pipe is that of a site.
    place_mark : str
        Mark of what was read of the rig or site, where one was asked for.
    is_fitted : bool
        Whether the twin was fitted to runs on this pipe; the friction and wave speed of another are spread as of one not yet
        laid.
    """

    build: str
    rig: str
    pipe_words: str
    pipe_length: float
    is_plastic: bool
    temperature: float
    unit_weight: float
    falls: tuple[float, ...]
    points: tuple[PerformancePoint, ...]
    measured: tuple[MeasuredPoint, ...]
    draws: int
    seed: int
    whole: bool
    provenance: Provenance
    is_site: bool = False
    is_fitted: bool = True
    place_mark: str = ""

    def at_fall(self, fall: float) -> tuple[PerformancePoint, ...]:
        """The points of one of its falls, lowest lift first."""
        return tuple(point for point in self.points if point.fall == fall)

    def measured_at(self, fall: float) -> tuple[MeasuredPoint, ...]:
        """The runs made at about one of its falls."""
        return tuple(one for one in self.measured if abs(one.fall - fall) <= SAME_FALL * fall)

    @property
    def measured_elsewhere(self) -> tuple[MeasuredPoint, ...]:
        """The runs made at falls that are not among those chosen."""
        there = {one.run for fall in self.falls for one in self.measured_at(fall)}
        return tuple(one for one in self.measured if one.run not in there)


def round_heads(low: float, high: float, step: float = 1.0) -> tuple[float, ...]:
    """Round heads from ``low`` to ``high`` [m], about equally far apart by ratio.

    Parameters
    ----------
    low, high : float
        [m]
    step : float, optional
        Size of the unit in which they are round [m]: 1, or 0.3048 for feet.
    """
    first = math.floor(math.log10(low / step)) if low > 0.0 else 0
    last = math.ceil(math.log10(high / step))
    found = [number * 10.0**decade * step for decade in range(first, last + 1) for number in _STEPS]
    return tuple(head for head in found if low * (1.0 - 1e-9) <= head <= high * (1.0 + 1e-9))


def round_figure(value: float, step: float = 1.0) -> float:
    """A head [m] to two figures in a unit of ``step`` [m]."""
    return float(f"{value / step:.2g}") * step


def usual_falls(measured: Sequence[MeasuredPoint], place: Rig | Site, step: float = 1.0) -> tuple[float, ...]:
    """The fall of the runs, a lower and a higher one [m]; that of the place when nothing was delivered in any run there."""
    middle = float(np.median([one.fall for one in measured])) if measured else place.supply.fall
    return tuple(sorted({round_figure(share * middle, step) for share in _OTHER_FALLS}))


def checked_falls(falls: Iterable[float]) -> tuple[float, ...]:
    """Falls as they are drawn, lowest first.

    Raises
    ------
    InputError
        None, too many, or one that no ram pump works at.
    """
    found = tuple(sorted({float(fall) for fall in falls}))
    if not 1 <= len(found) <= MOST_FALLS:
        raise InputError("falls", f"{len(found)} of them", f"there must be 1 to {MOST_FALLS} different ones")
    for fall in found:
        if not 0.2 <= fall <= 60.0:
            raise InputError(
                "falls", f"{fall:g} m", "each must be 0.2 to 60 m", "Fall is from the source down to the pump."
            )
    return found


def checked_draws(draws: int) -> int:
    """How many draws are run at each point.

    Raises
    ------
    InputError
        Too few for a range, or too many to wait for.
    """
    if not 20 <= draws <= MOST_DRAWS:
        raise InputError("draws", draws, f"it must be 20 to {MOST_DRAWS}")
    return draws


def measured_points(runs: Iterable[Run], rig: Rig) -> tuple[MeasuredPoint, ...]:
    """The delivering runs made on one rig, as they stand in a chart."""
    found = []
    for run in runs:
        if run.kind is not RunKind.DELIVERING or run.rig != rig.name:
            continue
        figures = reduce_run(run, rig.instruments)
        fall, head, flow = figures.effective_fall, figures.back_pressure_head, figures.delivered_flow
        if fall is None or head is None or flow is None:
            continue
        found.append(
            MeasuredPoint(
                run.name,
                fall.value,
                head.value,
                flow.value,
                flow.standard_uncertainty,
                *_value_and_spread(figures.drawn_flow),
                *_value_and_spread(figures.daubuisson_efficiency),
            )
        )
    return tuple(found)


def _value_and_spread(estimate: Estimate | None) -> tuple[float | None, float | None]:
    return (None, None) if estimate is None else (estimate.value, estimate.standard_uncertainty)


def find_performance(
    twin: Twin,
    place: Rig | Site,
    falls: Sequence[float],
    *,
    is_fitted: bool = True,
    place_mark: str = "",
    measured: tuple[MeasuredPoint, ...],
    provenance: Provenance,
    draws: int = DRAWS,
    seed: int = 1,
    step: float = 1.0,
    before: Performance | None = None,
    progress: Progress | None = None,
    keep: Callable[[Performance], None] | None = None,
) -> Performance:
    """Run the twin's draws on the drive pipe of a rig or a site at every fall and lift.

    Parameters
    ----------
    twin : Twin
    place : Rig or Site
        Its drive pipe and water are used.
    falls : sequence of float
        [m]
    is_fitted : bool, optional
        Whether the twin was fitted to runs on this pipe: friction and wave speed are then those of the draws.
    place_mark : str, optional
        Kept with what is found.
    measured : tuple of MeasuredPoint
    provenance : Provenance
    draws : int, optional
    seed : int, optional
        The same seed gives the same figures.
    step : float, optional
        Unit in which the lifts are round [m].
    before : Performance, optional
        Part of the same work done earlier; its falls are not run again.
    progress : callable, optional
        Called with (engine runs done, all); may raise to stop.
    keep : callable, optional
        Called with what is found after every fall.

    Raises
    ------
    InputError
        Falls or draws that cannot be drawn.
    """
    falls, draws = checked_falls(falls), checked_draws(draws)
    nothing = _nothing_yet(twin, place, falls, measured, draws, seed, provenance)
    nothing = replace(nothing, is_fitted=is_fitted, place_mark=place_mark)
    found = nothing if before is None else replace(nothing, points=before.points)
    done = {fall: found.at_fall(fall) for fall in falls if found.at_fall(fall)}
    highest = max(MOST_RISE * falls[len(falls) // 2], 4.0 * falls[-1])
    lifts = {fall: round_heads(LEAST_RISE * fall, highest, step) for fall in falls if fall not in done}
    total, ended = draws * sum(len(some) for some in lifts.values()), 0
    noise, pipe = _noise(twin, draws, seed), _pipe_factors(twin, draws, seed, is_fitted)
    for fall, some in lifts.items():

        def report(runs: int, _: int, ended: int = ended) -> None:
            if progress:
                progress(ended + runs, total)

        rows = np.concatenate([_draw_rows(twin, place, fall, lift, pipe) for lift in some])
        out = run_packed(rows, progress=report)
        ended += len(rows)
        done[fall] = tuple(
            _point(fall, lift, rows[at : at + draws], out[at : at + draws], noise)
            for lift, at in zip(some, range(0, len(rows), draws), strict=True)
        )
        points = tuple(point for one in falls for point in done.get(one, ()))
        found = replace(found, points=points, whole=len(done) == len(falls))
        if keep:
            keep(found)
    return found


def _nothing_yet(
    twin: Twin,
    place: Rig | Site,
    falls: tuple[float, ...],
    measured: tuple[MeasuredPoint, ...],
    draws: int,
    seed: int,
    provenance: Provenance,
) -> Performance:
    """A performance before its first fall."""
    pipe = place.drive_pipe
    water = RamCase(twin.build, pipe, place.supply.at_level(falls[0]), place.surroundings).water
    return Performance(
        build=twin.build.name,
        rig=place.name,
        pipe_words=f"{pipe.pipe.size} {pipe.pipe.material}",
        pipe_length=pipe.length,
        is_plastic=pipe.pipe.plastic,
        temperature=place.surroundings.temperature,
        unit_weight=water.density * STANDARD_GRAVITY,
        falls=falls,
        points=(),
        measured=measured,
        draws=draws,
        seed=seed,
        whole=False,
        provenance=provenance,
        is_site=isinstance(place, Site),
    )


def _noise(twin: Twin, draws: int, seed: int) -> FloatArray:
    """Model-form error of every draw, float64[draws, 3]: factors on water drawn, water delivered and beats.

    A draw has the same error at every fall and lift, so that bands are smooth; over the draws each column is a
    permuted row of evenly spread normal values.
    """
    spread = _even_normals(draws, 3, np.random.default_rng(seed))
    return np.asarray(np.exp(twin.model_form_draws[_picks(twin, draws)][:, np.newaxis] * spread))


def _even_normals(draws: int, columns: int, rng: np.random.Generator) -> FloatArray:
    """Evenly spread normal values, each column in an order of its own, float64[draws, columns]."""
    from scipy.special import ndtri

    levels = ndtri((np.arange(draws) + 0.5) / draws)
    return np.column_stack([rng.permutation(levels) for _ in range(columns)])


def _pipe_factors(twin: Twin, draws: int, seed: int, is_fitted: bool) -> FloatArray:
    """Factors on friction and wave speed of every draw, float64[draws, 2]: as fitted, or as of a pipe not yet laid."""
    if is_fitted:
        columns = [twin.parameter_names.index(name) for name in ("friction_scale", "wave_speed_scale")]
        return np.asarray(twin.draws[_picks(twin, draws)][:, columns])
    spread = _even_normals(draws, 2, np.random.default_rng((seed, 1)))
    return np.asarray(np.exp(np.array([SITE_FRICTION_SPREAD, SITE_WAVE_SPREAD]) * spread))


def _picks(twin: Twin, draws: int) -> NDArray[np.intp]:
    """Which of the twin's draws are run."""
    return np.asarray(np.arange(draws) % len(twin.draws), dtype=np.intp)


def _draw_rows(twin: Twin, place: Rig | Site, fall: float, lift: float, pipe: FloatArray) -> FloatArray:
    """Packed rows of the draws at one fall and lift; ``pipe`` are the factors on friction and wave speed."""
    draws, supply = len(pipe), place.supply.at_level(fall)
    base = pack(RamCase(twin.build, place.drive_pipe, supply, place.surroundings, vessel_head=lift))
    rows = np.repeat(base[np.newaxis], draws, axis=0)
    chosen = twin.draws[_picks(twin, draws)]
    for name in _CARRIED:
        rows[:, kernel.P[name]] = chosen[:, twin.parameter_names.index(name)]
    rows[:, kernel.P["friction_factor_scale"]] = pipe[:, 0]
    scale_wave_speeds(rows, pipe[:, 1])
    set_waits(rows)
    return rows


def _point(fall: float, lift: float, rows: FloatArray, out: FloatArray, noise: FloatArray) -> PerformancePoint:
    """Ranges at one fall and lift from the results of all draws there."""
    place = kernel.R
    states = out[:, place["state"]]
    moving = np.isin(states, (kernel.BEATING, kernel.IRREGULAR)) & (out[:, place["beat_period"]] > 0.0)
    rows, out, noise = rows[moving], out[moving], noise[moving]
    drawn = out[:, place["drawn_flow"]] * noise[:, 0]
    delivered = np.clip(out[:, place["delivered_flow"]] * noise[:, 1], 0.0, np.maximum(drawn, 0.0) * fall / lift)
    wasted = drawn - delivered
    return PerformancePoint(
        fall=fall,
        lift=lift,
        delivered_flow=_range_of(delivered),
        drawn_flow=_range_of(drawn),
        daubuisson_efficiency=_range_of(_over(delivered * lift, drawn * fall)),
        rankine_efficiency=_range_of(_over(delivered * (lift - fall), wasted * fall)),
        beat_rate=_range_of(noise[:, 2] / out[:, place["beat_period"]]),
        peak_head=_range_of(out[:, place["peak_head"]]),
        surge_head=_range_of(
            fall + rows[:, kernel.P["wave_speed"]] * out[:, place["closing_velocity"]] / STANDARD_GRAVITY
        ),
        share_beating=float(np.mean(moving)),
        share_open=float(np.mean(states == kernel.STALLED_OPEN)),
    )


def _over(top: FloatArray, bottom: FloatArray) -> FloatArray:
    """A quotient; 0 where nothing is on top."""
    return np.divide(top, bottom, out=np.zeros_like(top), where=(top > 0.0) & (bottom > 0.0))


def _range_of(values: FloatArray) -> Range | None:
    """5, 50 and 95 % points; None of nothing."""
    if not len(values):
        return None
    low, middle, high = np.quantile(values, (0.05, 0.5, 0.95))
    return Range(float(low), float(middle), float(high))
