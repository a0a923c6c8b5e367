"""How long a plastic pipe stands the beats: what published laws say, which is little and far apart.

Laws of PVC were fitted to tests of up to some ten million cycles; a ram at 60 beats a minute makes three times that in a
year. Their answers are shown side by side and never as one number. No law is shown for steel: see
:data:`clackwork.site.check_reasons.CHECK_REASONS`.
"""

from __future__ import annotations

import math
from typing import Literal

from clackwork.errors import InputError, require_not_negative
from clackwork.pipes import Pipe
from clackwork.ram.parts import STANDARD_GRAVITY
from clackwork.site.design import FatigueLaw
from clackwork.water import Water

SECONDS_A_YEAR = 365.25 * 86400.0
_PSI = 6894.757293168  # [Pa] from 0.45359237 kg, 9.80665 m/s2 and 0.0254 m, all exact

TESTED_CYCLES = 1e7
"""Where published tests of PVC end: the axes of Moser and Folkman's figures 4.9 and 4.10 (read)."""
FEWEST_CYCLES = 1e3
"""Where they begin, by the same figures."""
POLYETHYLENE_CYCLES = 4.2e6
"""Cycles borne without failure, the test going on: Crabtree and Oliphant, Resistance of PE4710 Piping to Pressure Surge
Events in Force Main Applications (read in its abstract; PE4710 is the American name of a grade like PE100)."""
POLYETHYLENE_SHARE = 1.5
"""Of the rated pressure, from 0 up to it, in that test."""
VINSON = "Vinson 1981, N = 5.05e21 S^-4.906, peak stress in psi (Moser and Folkman, Buried Pipe Design, equation 4.17)"
BOWMAN = (
    "Bowman 1990, N = 2.85e8 S^-3.35, range of stress in MPa (Moser and Folkman, Buried Pipe Design, equation 4.18)"
)
POLYETHYLENE = "Crabtree and Oliphant, PE4710: no failure in 4.2 million cycles between 0 and 1.5 times the rating"

Wall = Literal["thin", "thick"]


def hoop_stress(pipe: Pipe, pressure_gauge: float, wall: Wall = "thin") -> float:
    """Stress around a pipe under a pressure.

    Parameters
    ----------
    pipe : Pipe
    pressure_gauge : float
        Inside, above the air outside [Pa].
    wall : {"thin", "thick"}
        "thin" takes the wall as one at its mean diameter, P (D - t) / (2 t), as the standards of plastic pipe and the
        laws of fatigue do; "thick" is Lame's stress at the bore, P (D^2 + d^2) / (D^2 - d^2).

    Returns
    -------
    float
        [Pa]

    Raises
    ------
    InputError
        When the sort of wall is not known.
    """
    outside, bore = pipe.outside_diameter, pipe.bore
    if wall == "thin":
        return pressure_gauge * (outside - pipe.wall) / (2.0 * pipe.wall)
    if wall == "thick":
        return pressure_gauge * (outside**2 + bore**2) / (outside**2 - bore**2)
    raise InputError("wall", wall, 'it must be "thin" or "thick"')


def vinson_cycles(peak_stress: float) -> float:
    """Cycles to failure of PVC by Vinson's law, from the peak hoop stress [Pa]; without end at no stress."""
    return 5.05e21 * (peak_stress / _PSI) ** -4.906 if peak_stress > 0.0 else math.inf


def bowman_cycles(stress_range: float) -> float:
    """Cycles to failure of PVC by Bowman's law, from the range of hoop stress [Pa]; without end at no swing."""
    return 2.85e8 * (stress_range / 1e6) ** -3.35 if stress_range > 0.0 else math.inf


def fatigue_of(
    pipe: Pipe, mean_head: float, swing_head: float, beat_rate: float, water: Water
) -> tuple[FatigueLaw, ...]:
    """What published laws say of a plastic pipe under the beats.

    Parameters
    ----------
    pipe : Pipe
    mean_head, swing_head : float
        Middle of each beat's highest and lowest head, and the range between them [m].
    beat_rate : float
        [1/s]
    water : Water

    Returns
    -------
    tuple of FatigueLaw
        Of PVC two, with all the room between them; of polyethylene the longest test found, which ended without a
        failure (``at_least``) and says nothing beyond itself; of other pipe none, and none where nothing swings.

    Notes
    -----
    Stress is that of a thin wall, as in the tests, at some 20 degC: a warm pipe tires sooner. Joints tire before
    the wall. A law is ``inside`` when its cycles, and the beats of one year, lie within what was tested.
    """
    require_not_negative("swing_head", swing_head, "m")
    require_not_negative("beat_rate", beat_rate, "1/s")
    if not pipe.plastic or swing_head <= 0.0 or beat_rate <= 0.0:
        return ()
    weight = water.density * STANDARD_GRAVITY
    peak = hoop_stress(pipe, weight * (mean_head + 0.5 * swing_head))
    swing = hoop_stress(pipe, weight * swing_head)
    if pipe.material == "PVC":
        return (
            _law("Vinson", VINSON, vinson_cycles(peak), beat_rate),
            _law("Bowman", BOWMAN, bowman_cycles(swing), beat_rate),
        )
    rating = pipe.rating_gauge
    if rating is None or weight * (mean_head + 0.5 * swing_head) > POLYETHYLENE_SHARE * rating:
        return ()
    years = POLYETHYLENE_CYCLES / (beat_rate * SECONDS_A_YEAR)
    inside = beat_rate * SECONDS_A_YEAR <= POLYETHYLENE_CYCLES
    return (FatigueLaw("Crabtree and Oliphant", POLYETHYLENE, POLYETHYLENE_CYCLES, years, inside, at_least=True),)


def _law(author: str, source: str, cycles: float, beat_rate: float) -> FatigueLaw:
    """A law of PVC with its years."""
    beats_a_year = beat_rate * SECONDS_A_YEAR
    inside = FEWEST_CYCLES <= cycles <= TESTED_CYCLES and beats_a_year <= TESTED_CYCLES
    return FatigueLaw(author, source, cycles, cycles / beats_a_year, inside)
