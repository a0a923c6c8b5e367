"""How pipes are laid out at a place before the engine has its say: lengths, standpipe, and sizes by friction."""

from __future__ import annotations

import math
from collections.abc import Iterable

from clackwork.pipes import Pipe
from clackwork.ram.parts import STANDARD_GRAVITY, DeliveryLine, SupplyPipe
from clackwork.ram.steady_loss import steady_loss
from clackwork.water import Water

GOOD_FALLS = (3.0, 12.0)
"""Drive pipe over fall that is used as the ground gives it: what the engine bears out for pumps kept to the published
beats, and the upper end of the rule of 5-12 falls (Globo Rural 2023)."""
USUAL_FALLS = 5.0
"""Drive pipe over fall where the ground leaves the choice: the engine delivers most on the shortest pipe on which the
beats stay within the published band, which is near this (the lower end of Globo Rural 2023)."""
TRIED_FALLS = (3.0, 4.5, 6.5, 9.5, 14.0)
"""Drive pipe over fall at which a search tries every pump."""
LEAST_DRIVE_LENGTH, MOST_DRIVE_LENGTH = 6.0, 100.0
"""[m]; common practice, no published source."""
ENTRY_LOSS = 0.8
"""Of a screened mouth, in velocity heads (sharp edge 0.5, handbook value, and as much again for screen and bend less
what is lost with the velocity head; common practice, no published source)."""
SUPPLY_FITTINGS = 2.5
"""Screened mouth, exit and bends of a supply pipe in velocity heads: common practice, no published source."""
LINE_FITTINGS = 6.0
"""Check valve, gate valve, bends and exit of a delivery line in velocity heads: common practice, no published source."""
FRICTION_SHARE = 0.10
"""Most of the lift that a delivery line is sized to lose: common practice, no published source."""
HEAD_OVER_LIFT = 1.0 + 0.5 * FRICTION_SHARE
"""Head held against which tunings are tried, over the lift: half of the friction that a line is sized for."""
SUPPLY_SHARE = 0.03
"""Most of the fall that a supply pipe is sized to lose: common practice, no published source."""
_LONGEST_TRIED = 300.0
"""Longest drive pipe tried [m]: beyond it a standpipe is the only way tried."""
_WORTH_A_STANDPIPE = 1.3
"""Way to the source over drive pipe from which a standpipe is tried: common practice, no published source."""
RATING_SPARE = 1.2
"""Rating of a delivery line over its head at the pump, at least, before its surges are looked at: common practice."""
LEVEL_SHARE = 0.02
"""Most of the fall by which one beat may lower a standpipe: common practice, no published source."""


def laid_length(fall: float, ground: float | None) -> tuple[float, float]:
    """Drive pipe and supply pipe [m] for a fall and the way along the ground to the source (None: not known)."""
    usual = min(max(USUAL_FALLS * fall, LEAST_DRIVE_LENGTH), MOST_DRIVE_LENGTH)
    if ground is None or ground < min(GOOD_FALLS[0] * fall, usual):
        return usual, 0.0
    if ground <= min(max(GOOD_FALLS[1] * fall, usual), MOST_DRIVE_LENGTH):
        return ground, 0.0
    return usual, ground - usual


def tried_lengths(fall: float, ground: float | None) -> tuple[tuple[float, float], ...]:
    """Drive pipe and supply pipe [m] that a search tries.

    Where the source is further off than a good drive pipe, shorter ones from a standpipe as well as one all the way; where
    it is nearer, also longer ones that lie in bends.
    """
    lengths = {min(max(falls * fall, LEAST_DRIVE_LENGTH), MOST_DRIVE_LENGTH) for falls in TRIED_FALLS}
    if ground is None:
        return tuple((length, 0.0) for length in sorted(lengths))
    whole = min(max(ground, LEAST_DRIVE_LENGTH), _LONGEST_TRIED)
    found = {(whole, max(ground - whole, 0.0))}
    if ground > _WORTH_A_STANDPIPE * min(lengths):
        found |= {(length, ground - length) for length in lengths if length < ground / _WORTH_A_STANDPIPE}
    if ground < GOOD_FALLS[0] * fall:
        found |= {(length, 0.0) for length in sorted(lengths) if length > ground}
    return tuple(sorted(found))


def narrowest_pipe(
    pipes: Iterable[Pipe], length: float, fittings_loss: float, flow: float, head: float, water: Water
) -> Pipe:
    """The narrowest that loses no more than ``head`` [m] at a flow [m3/s]; the widest when none does."""
    rising = sorted(pipes, key=lambda pipe: pipe.bore)
    fits = (pipe for pipe in rising if steady_loss(pipe, length, fittings_loss, flow, water) <= head)
    return next(fits, rising[-1])


def size_line(
    pipes: Iterable[Pipe], length: float, lift: float, flow: float, water: Water, temperature: float
) -> DeliveryLine:
    """The delivery line of the narrowest pipe that bears the head and loses no more than a tenth of the lift.

    Parameters
    ----------
    pipes : iterable of Pipe
    length, lift : float
        [m]
    flow : float
        Of all pumps together [m3/s].
    water : Water
    temperature : float
        Of the pipe's wall [K].

    Returns
    -------
    DeliveryLine
        Of the strongest pipes where none bears the head; a check of the line then says so.
    """
    known = list(pipes)
    needed = RATING_SPARE * (1.0 + FRICTION_SHARE) * lift * water.density * STANDARD_GRAVITY
    strong = [pipe for pipe in known if _rating(pipe, temperature) >= needed]
    if not strong:
        highest = max(_rating(pipe, temperature) for pipe in known)
        strong = [pipe for pipe in known if _rating(pipe, temperature) >= 0.99 * highest]
    plastic = [pipe for pipe in strong if pipe.plastic]
    pipe = narrowest_pipe(plastic or strong, length, LINE_FITTINGS, flow, FRICTION_SHARE * lift, water)
    return DeliveryLine(pipe, length, lift, LINE_FITTINGS)


def _rating(pipe: Pipe, temperature: float) -> float:
    """Rating at a temperature within what is listed for it; nothing above [Pa]."""
    if temperature > pipe.temperature_factors[-1][0]:
        return 0.0
    return pipe.rating_at(max(temperature, 273.15))


def size_supply(pipes: Iterable[Pipe], length: float, fall: float, flow: float, water: Water) -> SupplyPipe | None:
    """The supply pipe of the narrowest pipe that loses little of the fall [m] at a flow [m3/s]; None for no length."""
    if length <= 0.0:
        return None
    pipe = narrowest_pipe(pipes, length, SUPPLY_FITTINGS, flow, SUPPLY_SHARE * fall, water)
    return SupplyPipe(pipe, max(length, 0.5), SUPPLY_FITTINGS)


def usual_standpipe(diameters: Iterable[float], fall: float, flow: float, beat_rate: float) -> float:
    """The narrowest standpipe [m] that a beat of all pumps lowers little; the widest when none is wide enough."""
    rising = sorted(diameters)
    area = flow / max(beat_rate, 0.1) / (LEVEL_SHARE * fall)
    return next((each for each in rising if 0.25 * math.pi * each**2 >= area), rising[-1])
