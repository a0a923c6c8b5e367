"""Pipes of a design against what they bear: the delivery line by zones of class, and the drive pipe."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from clackwork.errors import InputError
from clackwork.pipes import Pipe, find_pipe
from clackwork.ram.engine import BeatResult, RamCase
from clackwork.ram.parts import STANDARD_GRAVITY
from clackwork.site.check_reasons import check_reason
from clackwork.site.design import FatigueLaw, PipeCheck, Zone
from clackwork.site.fatigue import SECONDS_A_YEAR, fatigue_of, hoop_stress
from clackwork.site.line_heads import FloatArray, HeadLine, LineDuty, head_line, heads_of_pipes, line_places
from clackwork.site.route import Route
from clackwork.site.site import Promise, Reason
from clackwork.water import Water

SHORTEST_ZONE = 10.0
"""A weaker pipe is not put in for less than this [m], as every change of class is a joint: common practice, no published
source."""
LIFE_ASKED = 10.0
"""Years that a plastic pipe is asked to stand the beats by every law before it is let pass with a note: common practice,
no published source."""
_WORTH_SAYING = 1.0
"""Surges lower than this are not told of [m]."""
_BOILS_WITHIN = 0.1
"""Of vapour head, at which a column is taken as parted [m]."""


def classes_of(series: Sequence[str], size: str) -> tuple[Pipe, ...]:
    """The pipes of one size in several series that join, as PE100 SDR 11 and SDR 17, weakest first.

    Series that do not list the size are left out.

    Raises
    ------
    InputError
        When none lists it, or one is not known.
    """
    found = []
    for name in series:
        try:
            found.append(find_pipe(name, size))
        except InputError as error:
            if error.field != "size":
                raise
    if not found:
        raise InputError("size", size, f"none of {', '.join(series)} lists it")
    return tuple(sorted(found, key=lambda pipe: (pipe.rating_gauge or 0.0, pipe.bore)))


def rating_head(pipe: Pipe, wall_temperature: float | None, water: Water) -> float:
    """Rating of a pipe as a head of the water [m] at its wall's temperature [K]; 0 where it has none left so hot.

    Raises
    ------
    InputError
        When the pipe has no rating at all.
    """
    temperature = water.temperature if wall_temperature is None else max(wall_temperature, water.temperature)
    if pipe.rating_gauge is not None and temperature > pipe.temperature_factors[-1][0]:
        return 0.0
    return pipe.rating_at(temperature) / (water.density * STANDARD_GRAVITY)


def zone_line(
    route: Route, pipes: Sequence[Pipe], duty: LineDuty, *, shortest: float = SHORTEST_ZONE
) -> tuple[Zone, ...]:
    """Choose the class of pipe along a line: the weakest whose rating holds what may come, stretch by stretch.

    Parameters
    ----------
    route : Route
    pipes : sequence of Pipe
        What may be laid, as from :func:`classes_of`.
    duty : LineDuty
    shortest : float, optional
        A weaker pipe is not put in for less than this [m].

    Returns
    -------
    tuple of Zone
        From the pump to the outlet, next ones of different pipe. Where no pipe holds, the strongest: its margin is
        then below 1, and :func:`check_line` says so.

    Raises
    ------
    InputError
        When there is no pipe, or one without a rating.
    """
    if not pipes:
        raise InputError("pipes", "none", "there must be one at least to choose from")
    ratings = {pipe: rating_head(pipe, duty.wall_temperature, duty.water) for pipe in pipes}
    ranked = sorted(set(pipes), key=lambda pipe: (ratings[pipe], pipe.bore))
    distances = line_places(route)
    # whatever is laid in the end, no stretch sees more than with one and the same pipe all the way
    cases = [heads_of_pipes(route, distances, [pipe] * (len(distances) - 1), duty) for pipe in ranked]
    borne = np.max([case.highest_heads - case.heights for case in cases], axis=0)
    borne = np.maximum(borne[:-1], borne[1:])
    rated = np.array([ratings[pipe] for pipe in ranked])
    chosen = np.minimum(np.searchsorted(rated, borne), len(ranked) - 1)
    runs = _runs(distances, _without_short(distances, chosen, shortest))
    laid = [Zone(ranked[place], start, end, 0.0, 0.0, ratings[ranked[place]]) for start, end, place in runs]
    return _with_heads(route, laid, duty)


def _runs(distances: FloatArray, chosen: Sequence[int]) -> list[tuple[float, float, int]]:
    """Stretches of one choice: start, end, choice."""
    runs: list[tuple[float, float, int]] = []
    for start, end, place in zip(distances[:-1], distances[1:], chosen, strict=True):
        if runs and runs[-1][2] == place:
            runs[-1] = (runs[-1][0], float(end), int(place))
        else:
            runs.append((float(start), float(end), int(place)))
    return runs


def _without_short(distances: FloatArray, chosen: FloatArray, shortest: float) -> list[int]:
    """The choice with short stretches made as strong as the weaker of their stronger neighbours, until none is left."""
    now = [int(place) for place in chosen]
    while True:
        runs = _runs(distances, now)
        short = [at for at, (start, end, _) in enumerate(runs) if end - start < shortest and _neighbours(runs, at)]
        if not short:
            return now
        at = min(short, key=lambda place: runs[place][1] - runs[place][0])
        start, end, _ = runs[at]
        new = min(_neighbours(runs, at))
        now = [
            new if start <= left < end else place
            for left, place in zip((float(one) for one in distances[:-1]), now, strict=True)
        ]


def _neighbours(runs: Sequence[tuple[float, float, int]], at: int) -> list[int]:
    """Choices beside a stretch that are stronger."""
    beside = [runs[place][2] for place in (at - 1, at + 1) if 0 <= place < len(runs)]
    return [place for place in beside if place > runs[at][2]]


def _with_heads(route: Route, zones: Sequence[Zone], duty: LineDuty) -> tuple[Zone, ...]:
    """The zones with what the water in them does."""
    line = head_line(route, zones, duty)
    made = []
    for zone in zones:
        here = _here(line, zone)
        highest = float((line.highest_heads - line.heights)[here].max())
        lowest = float((line.lowest_heads - line.heights)[here].min())
        rated = rating_head(zone.pipe, duty.wall_temperature, duty.water)
        made.append(Zone(zone.pipe, zone.start, zone.end, highest, lowest, rated))
    return tuple(made)


def _here(line: HeadLine, zone: Zone) -> np.ndarray:
    return (line.distances >= zone.start) & (line.distances <= zone.end)


def check_line(route: Route, zones: Sequence[Zone], duty: LineDuty) -> tuple[PipeCheck, ...]:
    """Hold every zone of a delivery line against what it bears at this duty.

    Parameters
    ----------
    route : Route
    zones : sequence of Zone
        Only their pipes and ends are read.
    duty : LineDuty

    Returns
    -------
    tuple of PipeCheck
        One for each zone, from the pump, with what is to be said of it; what concerns the whole line stands with the first.
    """
    line = head_line(route, zones, duty)
    checks = []
    for zone in _with_heads(route, zones, duty):
        here = _here(line, zone)
        over = (line.running_heads - line.heights)[here]
        laws = fatigue_of(zone.pipe, float(over.max()), duty.swing_head, duty.beat_rate, duty.water)
        reasons = [
            *_strength_reasons(line, zone, duty),
            *_suction_reasons(line, zone, duty),
            *_swing_reasons(laws, duty),
        ]
        if zone.start == 0.0:
            reasons += _whole_line_reasons(line, duty)
        bears = (zone.highest_head, zone.lowest_head, duty.swing_head, zone.rating_head)
        stretch = (zone.start, zone.end)
        checks.append(PipeCheck("delivery line", zone.pipe, *bears, laws, tuple(reasons), stretch))
    return tuple(checks)


def _strength_reasons(line: HeadLine, zone: Zone, duty: LineDuty) -> list[Reason]:
    """Whether its rating holds, running and with the outlet shut by hand."""
    rated = (zone.rating_head, "head")
    if zone.rating_head <= 0.0:
        hot = duty.wall_temperature if duty.wall_temperature is not None else duty.water.temperature
        return [check_reason("line_too_hot", "no", wall_temperature=(hot, "temperature"))]
    reasons = []
    here = np.flatnonzero(_here(line, zone))
    worst = int(here[(line.highest_heads - line.heights)[here].argmax()])
    if zone.highest_head > zone.rating_head:
        place = (float(line.distances[worst]), "length")
        highest = (zone.highest_head, "head")
        reasons.append(check_reason("line_too_weak", "no", highest_head=highest, distance=place, rating_head=rated))
    elif not duty.outlet_shuts and duty.shut_off_head is not None:
        shut = duty.shut_off_head - float(line.heights[here].min())
        if shut > zone.rating_head:
            reasons.append(check_reason("line_dead_head", "note", dead_head=(shut, "head"), rating_head=rated))
    return reasons


def _suction_reasons(line: HeadLine, zone: Zone, duty: LineDuty) -> list[Reason]:
    """Where it sucks as it runs, or in the surge."""
    here = np.flatnonzero(_here(line, zone))
    over = (line.running_heads - line.heights)[here]
    worst = int(here[over.argmin()])
    place, height = (float(line.distances[worst]), "length"), (float(line.heights[worst]), "length")
    if over.min() <= duty.water.vapour_head_gauge + _BOILS_WITHIN:
        return [check_reason("line_boils", "no", distance=place)]
    if over.min() < 0.0:
        suction = (-float(over.min()), "head")
        return [check_reason("line_sucks", "only if", height=height, distance=place, suction=suction)]
    under = (line.lowest_heads - line.heights)[here]
    if duty.outlet_shuts and under.min() < 0.0:
        place = (float(line.distances[int(here[under.argmin()])]), "length")
        return [check_reason("line_sucks_in_surge", "note", suction=(-float(under.min()), "head"), distance=place)]
    return []


def _whole_line_reasons(line: HeadLine, duty: LineDuty) -> list[Reason]:
    """What a shutting valve and a summit above the outlet bring."""
    reasons = []
    if line.surge_rise > _WORTH_SAYING:
        reasons.append(check_reason("line_surges", "note", surge=(line.surge_rise, "head")))
    summit = float(line.heights.max())
    if summit > float(line.heights[-1]):
        reasons.append(check_reason("pump_lifts_over_summit", "note", height=(summit, "length")))
    return reasons


def _beats_a_year(beat_rate: float) -> tuple[float, str]:
    return beat_rate * SECONDS_A_YEAR, "count"


def _lives(laws: Sequence[FatigueLaw]) -> dict[str, tuple[float, str]]:
    """Shortest and longest life of the laws, as values of a reason."""
    years = [law.years * SECONDS_A_YEAR for law in laws]
    return {"shortest": (min(years), "duration"), "longest": (max(years), "duration")}


def _swing_reasons(laws: Sequence[FatigueLaw], duty: LineDuty) -> list[Reason]:
    """What the beats do to a plastic delivery line."""
    known = [law for law in laws if not law.at_least]
    if not known or min(law.years for law in known) >= LIFE_ASKED:
        return []
    return [check_reason("plastic_in_line", "note", swing_head=(duty.swing_head, "head"), **_lives(known))]


def check_drive_pipe(
    case: RamCase, result: BeatResult, promise: Promise | None = None, *, wall_temperature: float | None = None
) -> PipeCheck:
    """Hold the drive pipe against the highest and lowest head of the beats, and against their number.

    Parameters
    ----------
    case : RamCase
        The pump as it stands at the place.
    result : BeatResult
        Its settled beats there.
    promise : Promise, optional
        Then the highest head is that of its 95 % ends, else that of ``result``: of peak and surge the higher.
    wall_temperature : float, optional
        Highest of the wall [K], as in the sun; that of the water when not given.

    Returns
    -------
    PipeCheck
        Of pipes in series that of the lowest rating; its fatigue that of the plastic one that tires first.

    Raises
    ------
    InputError
        When one of the pipes has no rating.
    """
    water, pipes = case.water, [one.pipe for one in (case.drive_pipe, *case.pipes_above)]
    rated = {pipe: rating_head(pipe, wall_temperature, water) for pipe in pipes}
    weakest = min(pipes, key=lambda pipe: rated[pipe])
    peak = max(result.peak_head, promise.peak_head.high) if promise else result.peak_head
    highest = max(peak, promise.surge_head.high if promise else result.surge_head)
    lowest = max(result.lowest_head, water.vapour_head_gauge)
    swing = max(peak - lowest, 0.0) if result.is_beating else 0.0
    laws = _first_to_tire(pipes, peak - 0.5 * swing, swing, result.beat_rate, water)
    reasons = []
    if rated[weakest] <= 0.0:
        hot = wall_temperature if wall_temperature is not None else water.temperature
        reasons.append(check_reason("drive_pipe_too_hot", "no", wall_temperature=(hot, "temperature")))
    elif highest > rated[weakest]:
        figures = {"highest_head": (highest, "head"), "rating_head": (rated[weakest], "head")}
        reasons.append(check_reason("drive_pipe_too_weak", "no", **figures))
    if result.is_beating and lowest <= water.vapour_head_gauge + _BOILS_WITHIN:
        reasons.append(check_reason("column_parts", "note", lowest_head=(lowest, "head")))
    reasons += _tiring_reasons(pipes, laws, swing, result.beat_rate, water)
    return PipeCheck("drive pipe", weakest, highest, lowest, swing, rated[weakest], laws, tuple(reasons))


def _first_to_tire(
    pipes: Sequence[Pipe], mean_head: float, swing_head: float, beat_rate: float, water: Water
) -> tuple[FatigueLaw, ...]:
    """Laws of the pipe in series that one of them gives the shortest life."""
    found = [fatigue_of(pipe, mean_head, swing_head, beat_rate, water) for pipe in pipes]
    return min((laws for laws in found if laws), key=lambda laws: min(law.cycles for law in laws), default=())


def _tiring_reasons(
    pipes: Sequence[Pipe], laws: Sequence[FatigueLaw], swing: float, beat_rate: float, water: Water
) -> list[Reason]:
    """What is to be said of a drive pipe under its beats."""
    if swing <= 0.0:
        return []
    beats = _beats_a_year(beat_rate)
    known = [law for law in laws if not law.at_least]
    if known:
        hardness = "only if" if min(law.years for law in known) < LIFE_ASKED else "note"
        return [check_reason("plastic_tires", hardness, beats_a_year=beats, **_lives(known))]
    if any(pipe.plastic for pipe in pipes):
        return [check_reason("plastic_untested", "only if", beats_a_year=beats)]
    steel = [pipe for pipe in pipes if pipe.material == "steel"]
    stress = max((hoop_stress(pipe, swing * water.density * STANDARD_GRAVITY) for pipe in steel), default=0.0)
    return [check_reason("steel_not_judged", "note", swing_stress=(stress, "modulus"))] if steel else []
