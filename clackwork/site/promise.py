"""What a fitted build will do at a customer's site: every draw of the twin run at its own operating point."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from clackwork.ram import kernel
from clackwork.ram.batch import Progress
from clackwork.ram.engine import STATES, RamCase, pack, set_waits, unpack
from clackwork.ram.operating import line_head, operating_rows
from clackwork.ram.parts import STANDARD_GRAVITY, DeliveryLine, Supply
from clackwork.site.site import Promise, Range, Reason, Site
from clackwork.twin.fit import with_parameters
from clackwork.twin.twin import Twin
from clackwork.water import Water

FloatArray = NDArray[np.float64]

SECONDS_A_DAY = 86400.0
SITE_FRICTION_SPREAD = 0.10
"""Relative spread of the Darcy factor of a pipe not yet laid: common practice, no published source."""
SITE_WAVE_SPREAD = 0.08
"""Relative spread of the wave speed of a pipe not yet laid: common practice, no published source."""
MOST_STALLS = 0.05
"""Share of draws that may fail to beat before the answer is no longer a plain yes."""
_PLASTICS = ("PVC", "PE100")
"""Materials of :mod:`clackwork.pipes` that sun and repeated surges wear out below their rating."""
REASONS = {
    "stands_open": "in {cases} of 100 cases the waste valve stands open: the flow cannot reach the speed that shuts it; "
    "less weight or stroke, or more fall",
    "stays_shut": "in {cases} of 100 cases the waste valve shuts and stays shut: too little recoil to drop it; more weight "
    "or a higher back-pressure",
    "delivers_nothing": "it beats but delivers nothing: the lift is above the head at which this pump stops delivering",
    "may_deliver_nothing": "at the low end of its range it delivers nothing: the lift is close to where this pump gives up",
    "too_little_water": "needs {needed} ({needed_high} at most); the source gives {source_flow}: a shorter stroke or less "
    "weight needs less",
    "pipe_too_weak": "the drive pipe can see {highest_head} of head and is rated for {rating_head}: a stronger pipe",
    "less_than_wanted": "{counted_on} can be counted on; {wanted} are wanted",
}
"""Words of every reason by id; names in braces are its values."""
_BATCH = 16
"""Draws solved between two reports of progress."""


def _range(values: FloatArray) -> Range:
    low, middle, high = np.quantile(values, (0.05, 0.5, 0.95)) if len(values) else (0.0, 0.0, 0.0)
    return Range(float(low), float(middle), float(high))


def _draw_rows(
    twin: Twin, site: Site, draws: int, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray, NDArray[np.intp]]:
    """Packed rows of the draws, their lifts [m] and which twin draw each is."""
    picks = np.arange(draws) % len(twin.draws)
    base = pack(RamCase(twin.build, site.drive_pipe, Supply(site.fall), site.surroundings, vessel_head=site.line.lift))
    rows = np.repeat(base[np.newaxis], draws, axis=0)
    place = kernel.P
    for name, column in (
        ("discharge_coefficient", "discharge_coefficient"),
        ("closing_coefficient", "closing_coefficient"),
        ("delivery_loss", "delivery_loss"),
        ("slip_volume", "slip_volume"),
        ("body_air", "body_air"),
    ):
        rows[:, place[column]] = twin.draws[picks, twin.parameter_names.index(name)]
    rows[:, place["friction_factor_scale"]] = np.exp(SITE_FRICTION_SPREAD * rng.standard_normal(draws))
    rows[:, place["wave_speed"]] *= np.exp(SITE_WAVE_SPREAD * rng.standard_normal(draws))
    falls = site.fall + site.fall_spread * rng.standard_normal(draws)
    rows[:, place["fall"]] = np.maximum(falls, 0.2 * site.fall)
    lifts = np.maximum(site.line.lift + site.lift_spread * rng.standard_normal(draws), 1.01 * rows[:, place["fall"]])
    set_waits(rows)
    return rows, np.asarray(lifts, dtype=np.float64), picks.astype(np.intp)


def _solve(rows: FloatArray, site: Site, lifts: FloatArray, water: Water, progress: Progress | None) -> FloatArray:
    """Operating points of all rows, a batch at a time; changes the vessel heads in place."""
    found = []
    for start in range(0, len(rows), _BATCH):
        lines = [replace(site.line, lift=float(lift)) for lift in lifts[start : start + _BATCH]]

        def head(row: int, flow: float, lines: list[DeliveryLine] = lines) -> float:
            return line_head(lines[row], flow, water)

        found.append(operating_rows(rows[start : start + _BATCH], head))
        if progress:
            progress(min(start + _BATCH, len(rows)), len(rows))
    return np.concatenate(found)


def make_promise(
    twin: Twin, site: Site, *, draws: int = 200, seed: int = 1, progress: Progress | None = None
) -> Promise:
    """Promise a build at a site.

    Parameters
    ----------
    twin : Twin
    site : Site
    draws : int
        Posterior draws run, each with its own pipe, fall, lift and model-form error.
    seed : int
        The same seed gives the same promise.
    progress : callable, optional
        Called with (draws done, all draws) as they are solved; may raise to stop.
    """
    rng = np.random.default_rng(seed)
    rows, lifts, picks = _draw_rows(twin, site, draws, rng)
    water = RamCase(twin.build, site.drive_pipe, Supply(site.fall), site.surroundings).water
    out = _solve(rows, site, lifts, water, progress)
    place = kernel.R
    form = twin.model_form_draws[picks]
    noise = np.exp(form[:, np.newaxis] * rng.standard_normal((draws, 3)))
    moving = np.isin(out[:, place["state"]], (kernel.BEATING, kernel.IRREGULAR)) & (out[:, place["beat_period"]] > 0)
    falls = rows[:, kernel.P["fall"]]
    drawn = out[:, place["drawn_flow"]] * noise[:, 0]
    delivered = np.where(moving, out[:, place["delivered_flow"]] * noise[:, 1], 0.0)
    delivered = np.clip(delivered, 0.0, np.maximum(drawn, 0.0) * falls / lifts)
    with np.errstate(divide="ignore", invalid="ignore"):
        beat_rate = np.where(moving, noise[:, 2] / out[:, place["beat_period"]], 0.0)
        daubuisson = np.where(moving, delivered * lifts / (drawn * falls), 0.0)
        wasted = drawn - delivered
        rankine = np.where(moving, delivered * (lifts - falls) / (wasted * falls), 0.0)
    surge = falls + rows[:, kernel.P["wave_speed"]] * out[:, place["closing_velocity"]] / STANDARD_GRAVITY
    rating = site.drive_pipe.pipe.rating_at(site.surroundings.temperature) / (water.density * STANDARD_GRAVITY)
    there = np.maximum(site.source_flow + site.source_flow_spread * rng.standard_normal(draws), 0.0)
    states: dict[str, float] = {}
    for value in out[:, place["state"]]:
        states[STATES[value]] = states.get(STATES[value], 0.0) + 1.0 / draws
    peak = _range(out[:, place["peak_head"]])
    surge_range = _range(surge)
    best = replace(
        RamCase(with_parameters(twin.build, twin.best), site.drive_pipe, Supply(site.fall), site.surroundings),
        vessel_head=site.line.lift,
    )
    best_row = pack(best)
    best_out = operating_rows(best_row[np.newaxis], lambda _, flow: line_head(site.line, flow, water), workers=1)
    promise = Promise(
        site=site.name,
        build=twin.build.name,
        answer="yes",
        reasons=(),
        state_shares=states,
        daily_delivery=_range(delivered * SECONDS_A_DAY),
        delivered_flow=_range(delivered),
        waste_flow=_range(wasted),
        water_needed=_range(drawn),
        beat_rate=_range(beat_rate),
        daubuisson_efficiency=_range(daubuisson),
        rankine_efficiency=_range(rankine),
        vessel_head=_range(rows[:, kernel.P["vessel_head"]]),
        peak_head=peak,
        surge_head=surge_range,
        rating_head=rating,
        pressure_margin=rating / max(peak.high, surge_range.high),
        stall_margin=unpack(best, best_row, best_out[0]).velocity_ratio,
        water_there=_range(there),
        share_enough_water=float(np.mean(there >= drawn)),
        draws=draws,
        seed=seed,
        cautions=_cautions(site),
    )
    answer, reasons = _judge(promise, site)
    return replace(promise, answer=answer, reasons=reasons)


def _cautions(site: Site) -> tuple[str, ...]:
    """Ids of the cautions that apply, most serious first."""
    plastic = any(pipe.material in _PLASTICS for pipe in (site.drive_pipe.pipe, site.line.pipe))
    pressure = ("peak_pressure", "dead_head", *(("plastic_pipe",) if plastic else ()))
    return (*pressure, "untreated_water", "water_rights", "moving_valve", "frost")


def _reason(name: str, no: bool, **values: tuple[float, str]) -> Reason:
    return Reason(name, "no" if no else "only if", REASONS[name], values)


def _judge(promise: Promise, site: Site) -> tuple[str, tuple[Reason, ...]]:
    """The answer and its reasons, hardest first."""
    stalled_open = promise.state_shares.get("stalled open", 0.0)
    stalled_shut = promise.state_shares.get("stalled shut", 0.0)
    reasons = []
    for name, share in (("stands_open", stalled_open), ("stays_shut", stalled_shut)):
        if share > MOST_STALLS:
            reasons.append(_reason(name, share > 0.5, cases=(float(round(100.0 * share)), "count")))
    beats = 1.0 - stalled_open - stalled_shut > 0.5
    if beats:
        reasons += _water_reasons(promise, site)
    if promise.pressure_margin < 1.0:
        highest = max(promise.peak_head.high, promise.surge_head.high)
        figures = {"highest_head": (highest, "head"), "rating_head": (promise.rating_head, "head")}
        reasons.append(_reason("pipe_too_weak", True, **figures))
    if site.wanted_flow is not None and beats and promise.delivered_flow.low < site.wanted_flow:
        counted_on, wanted = ((flow, "daily_volume_flow") for flow in (promise.delivered_flow.low, site.wanted_flow))
        reasons.append(_reason("less_than_wanted", False, counted_on=counted_on, wanted=wanted))
    hardest_first = tuple(sorted(reasons, key=lambda reason: reason.hardness != "no"))
    return (hardest_first[0].hardness if hardest_first else "yes"), hardest_first


def _water_reasons(promise: Promise, site: Site) -> list[Reason]:
    """What a pump that beats lacks in delivery or in water."""
    reasons = []
    if promise.delivered_flow.middle <= 0.0:
        reasons.append(_reason("delivers_nothing", True))
    elif promise.delivered_flow.low <= 0.0:
        reasons.append(_reason("may_deliver_nothing", False))
    if promise.share_enough_water < 0.95:
        reasons.append(
            _reason(
                "too_little_water",
                promise.share_enough_water < 0.05,
                needed=(promise.water_needed.middle, "volume_flow"),
                needed_high=(promise.water_needed.high, "volume_flow"),
                source_flow=(site.source_flow, "volume_flow"),
            )
        )
    return reasons
