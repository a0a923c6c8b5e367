"""What a fitted build will do at a customer's site: every draw of the twin run at its own operating point."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from clackwork.errors import InputError
from clackwork.ram import kernel
from clackwork.ram.batch import Progress
from clackwork.ram.engine import STATES, BeatResult, RamCase, pack, scale_wave_speeds, set_waits
from clackwork.ram.operating import operating_rows
from clackwork.ram.parts import STANDARD_GRAVITY, DeliveryLine
from clackwork.ram.shared import line_share, run_at_level, settle_alike, share_supply, supply_loss
from clackwork.ram.source import LimitedRun, run_limited
from clackwork.ram.vessel_air import TRANSFER_RANGE, air_budget
from clackwork.site.site import Promise, Range, Reason, Site
from clackwork.twin.fit import with_parameters
from clackwork.twin.twin import Twin

FloatArray = NDArray[np.float64]

SECONDS_A_DAY = 86400.0
SITE_FRICTION_SPREAD = 0.10
"""Relative spread of the Darcy factor of a pipe not yet laid: common practice, no published source."""
SITE_WAVE_SPREAD = 0.08
"""Relative spread of the wave speed of a pipe not yet laid: common practice, no published source."""
MOST_STALLS = 0.05
"""Share of draws that may fail to beat before the answer is no longer a plain yes."""
AIR_LOOKED_AT = 30.0 * 86400.0
"""How often the air of a vessel is looked at [s], monthly: common practice, no published source."""
ENOUGH = 0.95
"""Share of draws in which there has to be enough water for a plain yes."""
MOST_IRREGULAR = 0.25
"""Share of draws that may beat irregularly before it is said: common practice, no published source."""
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
    "beats_unevenly": "in {cases} of 100 cases it beats unevenly, or never settles into one rhythm: every flow and rate "
    "here is an average over many beats; another weight, stroke or length of drive pipe may even it out",
    "surge_if_shut_by_hand": "it does not beat, so there is no running peak; but if the waste valve is shut by hand, or by "
    "grit, with the pipe in full flow, the surge reaches {surge_head}",
    "source_drawn_down": "as the source gives less than the full draw, its level falls by {drawdown}, where the pump draws "
    "what comes",
    "pipe_draws_air": "as the source gives less than the pump draws, its level falls to the mouth of the drive pipe, which "
    "then draws air",
    "told_fall": "no limits were given with the fall: a standard uncertainty of {spread} is assumed",
    "told_lift": "no limits were given with the lift: a standard uncertainty of {spread} is assumed",
    "told_source_flow": "no limits were given with what the source gives: a standard uncertainty of {flow_spread} is "
    "assumed",
    "air_goes": "the air of the vessel is gone after about {gently_moved}, or {stirred} where its water is stirred, and a "
    "vessel full of water hammers: drain it before, or fit a snifter that keeps it",
}
"""Words of every reason by id; names in braces are its values."""
HARDNESS = ("no", "only if", "note")
"""Of reasons, hardest first."""
_BATCH = 16
"""Draws solved between two reports of progress."""


def _range(values: FloatArray) -> Range:
    low, middle, high = np.quantile(values, (0.05, 0.5, 0.95)) if len(values) else (0.0, 0.0, 0.0)
    return Range(float(low), float(middle), float(high))


def site_rows(
    twin: Twin, site: Site, draws: int, rng: np.random.Generator, pumps: int
) -> tuple[FloatArray, FloatArray, NDArray[np.intp]]:
    """Packed rows of the draws, their lifts [m] and which twin draw each is."""
    picks = np.arange(draws) % len(twin.draws)
    base = pack(RamCase(twin.build, site.drive_pipe, site.supply, site.surroundings, vessel_head=site.line.lift))
    share_supply(base, pumps)
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
    scale_wave_speeds(rows, np.exp(SITE_WAVE_SPREAD * rng.standard_normal(draws)))
    off = rng.standard_normal(draws)
    rows[:, place["fall"]] = np.maximum(site.fall + site.fall_spread * off, 0.2 * site.fall)
    own = math.sqrt(max(site.lift_spread**2 - site.lift_with_fall**2, 0.0))
    lifts = site.line.lift + site.lift_with_fall * off + own * rng.standard_normal(draws)
    lifts = np.maximum(lifts, 1.01 * rows[:, place["fall"]])
    set_waits(rows)
    return rows, np.asarray(lifts, dtype=np.float64), picks.astype(np.intp)


def _solve(
    rows: FloatArray,
    best: RamCase,
    lifts: FloatArray,
    pumps: int,
    drawn_flow: float,
    workers: int | None = None,
    progress: Progress | None = None,
) -> FloatArray:
    """Operating points of all rows, a batch at a time; changes the vessel heads in place, and the fall to the level kept."""
    assert best.line is not None
    line, loss, found = line_share(best.line, pumps), supply_loss(best, pumps), []
    for start in range(0, len(rows), _BATCH):
        lines = [replace(line, lift=float(lift)) for lift in lifts[start : start + _BATCH]]

        def run(some: FloatArray, places: NDArray[np.intp], lines: list[DeliveryLine] = lines) -> FloatArray:
            return operating_rows(some, [lines[at] for at in places], best.water, workers=workers)

        batch = rows[start : start + _BATCH]
        found.append(run_at_level(batch, [loss] * len(batch), run, drawn_flow))
        if progress:
            progress(min(start + _BATCH, len(rows)), len(rows))
    return np.concatenate(found)


def make_promise(
    twin: Twin,
    site: Site,
    *,
    pumps: int = 1,
    draws: int = 200,
    seed: int = 1,
    workers: int | None = None,
    progress: Progress | None = None,
) -> Promise:
    """Promise a build at a site.

    Parameters
    ----------
    twin : Twin
    site : Site
    pumps : int
        Like pumps side by side, each on such a drive pipe, that share source, standpipe and delivery line; every draw
        takes them as alike in what is not known of them, so that nothing averages out between them.
    draws : int
        Posterior draws run, each with its own pipe, fall, lift and model-form error.
    seed : int
        The same seed gives the same promise.
    workers : int, optional
        Threads; all cores when not given. The promise is the same for any number.
    progress : callable, optional
        Called with (draws done, all draws) as they are solved; may raise to stop.

    Raises
    ------
    InputError
        When the drive pipe has no pressure rating, or none at the water's temperature, or several pumps share a line
        that leaks.
    """
    build = with_parameters(twin.build, twin.best)
    best = RamCase(build, site.drive_pipe, site.supply, site.surroundings, line=site.line)
    rating = drive_rating_head(best)
    run = settle_alike([best], [pumps], workers=1)[0]
    rng = np.random.default_rng(seed)
    rows, lifts, picks = site_rows(twin, site, draws, rng, pumps)
    falls = rows[:, kernel.P["fall"]].copy()
    out = _solve(rows, best, lifts, pumps, run.drawn_flow, workers, progress)
    rows[:, kernel.P["fall"]] = falls
    noise = np.exp(twin.model_form_draws[picks][:, np.newaxis] * rng.standard_normal((draws, 3)))
    there = np.maximum(site.source_flow + site.source_flow_spread * rng.standard_normal(draws), 0.0)
    ranges = _ranges(rows, out, lifts, noise, pumps)
    limited = _on_source(best, site, pumps, run)
    promise = Promise(
        site=site.name,
        build=twin.build.name,
        answer="yes",
        reasons=(),
        state_shares=_state_shares(out),
        rating_head=rating,
        pressure_margin=rating / max(ranges["peak_head"].high, ranges["surge_head"].high),
        stall_margin=run.velocity_ratio,
        water_there=_range(there),
        share_enough_water=float(np.mean(there >= pumps * out[:, kernel.R["drawn_flow"]] * noise[:, 0])),
        draws=draws,
        seed=seed,
        cautions=_cautions(best),
        vessel_air=_vessel_air(best, run),
        source_state=limited.state,
        drawdown=limited.drawdown,
        pumps=pumps,
        **ranges,
    )
    answer, reasons = _judge(promise, site)
    return replace(promise, answer=answer, reasons=reasons)


def _on_source(best: RamCase, site: Site, pumps: int, run: BeatResult) -> LimitedRun:
    """One of the pumps, whose beats are ``run`` where there is enough, on its share of what the source gives."""
    share = site.source_flow / pumps
    if run.drawn_flow > share:
        if best.supply.feed is None:
            return run_limited(replace(best, line=line_share(site.line, pumps)), share, site.submergence)
        return LimitedRun("starved", 0.0, run)
    return LimitedRun("enough" if run.is_beating else run.state, 0.0, run)


def _ranges(rows: FloatArray, out: FloatArray, lifts: FloatArray, noise: FloatArray, pumps: int) -> dict[str, Range]:
    """Ranges of all figures of the draws, by their names in :class:`Promise`; ``noise`` is the model-form error."""
    place, falls = kernel.R, rows[:, kernel.P["fall"]]
    moving = np.isin(out[:, place["state"]], (kernel.BEATING, kernel.IRREGULAR)) & (out[:, place["beat_period"]] > 0)
    drawn = pumps * out[:, place["drawn_flow"]] * noise[:, 0]
    delivered = np.where(moving, pumps * out[:, place["delivered_flow"]] * noise[:, 1], 0.0)
    delivered = np.clip(delivered, 0.0, np.maximum(drawn, 0.0) * falls / lifts)
    wasted = drawn - delivered
    with np.errstate(divide="ignore", invalid="ignore"):
        beat_rate = np.where(moving, noise[:, 2] / out[:, place["beat_period"]], 0.0)
        daubuisson = np.where(moving, delivered * lifts / (drawn * falls), 0.0)
        rankine = np.where(moving, delivered * (lifts - falls) / (wasted * falls), 0.0)
    return {
        "daily_delivery": _range(delivered * SECONDS_A_DAY),
        "delivered_flow": _range(delivered),
        "waste_flow": _range(wasted),
        "water_needed": _range(drawn),
        "beat_rate": _range(beat_rate),
        "daubuisson_efficiency": _range(daubuisson),
        "rankine_efficiency": _range(rankine),
        "vessel_head": _range(rows[:, kernel.P["vessel_head"]]),
        "peak_head": _range(out[moving, place["peak_head"]]),
        "surge_head": _range(surge_heads(rows, out)),
    }


def _state_shares(out: FloatArray) -> dict[str, float]:
    """Share of the draws in each state."""
    found = [STATES[value] for value in out[:, kernel.R["state"]]]
    return {state: found.count(state) / len(found) for state in dict.fromkeys(found)}


def _vessel_air(case: RamCase, result: BeatResult) -> tuple[float, float] | None:
    """How long the vessel's air lasts, stirred and gently moved [s]; None where it lasts for good."""
    if not result.is_beating or result.delivered_flow <= 0.0:
        return None
    gentle = air_budget(case, result).lasts
    stirred = air_budget(case, result, transfer_velocity=TRANSFER_RANGE[1]).lasts
    return (stirred, gentle) if gentle < math.inf else None


def _cautions(case: RamCase) -> tuple[str, ...]:
    """Ids of the cautions that apply, most serious first."""
    pipes = [each.pipe for each in (case.drive_pipe, *case.pipes_above, case.line) if each is not None]
    plastic = any(pipe.plastic for pipe in pipes)
    pressure = ("peak_pressure", "dead_head", *(("plastic_pipe",) if plastic else ()))
    return (*pressure, "untreated_water", "water_rights", "moving_valve", "frost")


def drive_rating_head(case: RamCase) -> float:
    """Rating of the weakest of the drive pipes in series at the water's temperature, as a head of that water [m]."""
    pipes = (case.drive_pipe, *case.pipes_above)
    unrated = next((place for place, each in enumerate(pipes) if each.pipe.rating_gauge is None), None)
    if unrated is not None:
        raise InputError(
            "drive_pipe, " + "upstream, " * unrated + "rating",
            "(nothing)",
            "the promise holds the surge against the pressure rating of the drive pipe",
            'Give the maker\'s rating, such as "10 bar" or "150 psi".',
        )
    lowest = min(each.pipe.rating_at(case.surroundings.temperature) for each in pipes)
    return lowest / (case.water.density * STANDARD_GRAVITY)


def surge_heads(rows: FloatArray, out: FloatArray) -> FloatArray:
    """Supply head plus full water-hammer rise of every draw [m].

    Of the closing velocity where the pump beats and of the flow through a valve that stands open. A valve that stays shut
    closes nothing: the steady flow stands for it, which somebody reaches who holds the valve open and lets go.
    """
    place, results = kernel.P, kernel.R
    velocities = out[:, results["closing_velocity"]].copy()
    for row in np.flatnonzero(out[:, results["state"]] == kernel.STALLED_SHUT):
        velocities[row] = kernel.terminal_velocity(rows[row])
    return np.asarray(rows[:, place["fall"]] + rows[:, place["wave_speed"]] * velocities / STANDARD_GRAVITY)


def _reason(name: str, hardness: str, **values: tuple[float, str]) -> Reason:
    return Reason(name, hardness, REASONS[name], values)


def _cases(share: float) -> tuple[float, str]:
    """A share of the draws as cases out of a hundred."""
    return float(round(100.0 * share)), "count"


def _judge(promise: Promise, site: Site) -> tuple[str, tuple[Reason, ...]]:
    """The answer and its reasons, hardest first."""
    reasons = _state_reasons(promise)
    if promise.is_beating:
        reasons += _water_reasons(promise, site)
    if promise.pressure_margin < 1.0:
        highest = max(promise.peak_head.high, promise.surge_head.high)
        figures = {"highest_head": (highest, "head"), "rating_head": (promise.rating_head, "head")}
        reasons.append(_reason("pipe_too_weak", "no", **figures))
    if site.wanted_flow is not None and promise.is_beating and promise.delivered_flow.low < site.wanted_flow:
        counted_on, wanted = ((flow, "daily_volume_flow") for flow in (promise.delivered_flow.low, site.wanted_flow))
        reasons.append(_reason("less_than_wanted", "only if", counted_on=counted_on, wanted=wanted))
    reasons += _told_reasons(site)
    hardest_first = tuple(sorted(reasons, key=lambda reason: HARDNESS.index(reason.hardness)))
    answers = [reason.hardness for reason in hardest_first if reason.hardness != "note"]
    return (answers[0] if answers else "yes"), hardest_first


def _state_reasons(promise: Promise) -> list[Reason]:
    """What stalls and uneven beats have to say."""
    reasons = []
    for name, state in (("stands_open", "stalled open"), ("stays_shut", "stalled shut")):
        share = promise.state_shares.get(state, 0.0)
        if share > MOST_STALLS:
            reasons.append(_reason(name, "no" if share > 0.5 else "only if", cases=_cases(share)))
    irregular = promise.state_shares.get("irregular", 0.0)
    if irregular > MOST_IRREGULAR:
        reasons.append(_reason("beats_unevenly", "note", cases=_cases(irregular)))
    if not promise.is_beating:
        reasons.append(_reason("surge_if_shut_by_hand", "note", surge_head=(promise.surge_head.high, "head")))
    return reasons


def _told_reasons(site: Site) -> list[Reason]:
    """That spreads are assumed, where no limits were given."""
    spreads = {
        "fall": {"spread": (site.fall_spread, "head")},
        "lift": {"spread": (site.lift_spread, "head")},
        "source flow": {"flow_spread": (site.source_flow_spread, "volume_flow")},
    }
    return [_reason(f"told_{name.replace(' ', '_')}", "note", **spreads[name]) for name in site.told]


def _water_reasons(promise: Promise, site: Site) -> list[Reason]:
    """What a pump that beats lacks in delivery or in water."""
    reasons = []
    if promise.delivered_flow.middle <= 0.0:
        reasons.append(_reason("delivers_nothing", "no"))
    elif promise.delivered_flow.low <= 0.0:
        reasons.append(_reason("may_deliver_nothing", "only if"))
    if promise.share_enough_water < ENOUGH:
        reasons.append(
            _reason(
                "too_little_water",
                "no" if promise.share_enough_water < 0.05 else "only if",
                needed=(promise.water_needed.middle, "volume_flow"),
                needed_high=(promise.water_needed.high, "volume_flow"),
                source_flow=(site.source_flow, "volume_flow"),
            )
        )
    if promise.source_state == "drawn down":
        reasons.append(_reason("source_drawn_down", "note", drawdown=(promise.drawdown, "length")))
    elif promise.source_state == "starved":
        reasons.append(_reason("pipe_draws_air", "note"))
    if promise.vessel_air is not None and promise.vessel_air[1] < AIR_LOOKED_AT:
        stirred, gently_moved = ((lasts, "duration") for lasts in promise.vessel_air)
        reasons.append(_reason("air_goes", "note", stirred=stirred, gently_moved=gently_moved))
    return reasons
