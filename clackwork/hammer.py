"""Water hammer in closed form: wave speed, sudden and gradual closing, the first vapour cavity.

The engine works these out step by step; the closed forms are here for quick bounds and as its outside check.
Heads are metres of water, velocities are positive towards the pump.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, get_args

import numpy as np

from clackwork.errors import InputError, require_not_negative, require_positive, require_range
from clackwork.water import STANDARD_GRAVITY

if TYPE_CHECKING:
    from clackwork.pipes import Pipe
    from clackwork.water import Water

Anchoring = Literal["throughout", "one_end", "joints"]

_STANDARD_ATMOSPHERE = 101325.0  # [Pa]
_ALLIEVI_OFFSETS = 4001  # starting instants tried within one reflection; moves the highest head < 1e-5
_HIGHEST_CLOSING_PHASES = 1_000.0  # slower closing is no hammer at all


def restraint_factor(bore: float, wall: float, poisson: float, anchoring: Anchoring = "joints") -> float:
    """Return how the pipe's fixing changes its give, for a wall of any thickness.

    Parameters
    ----------
    bore, wall : float
        Inside diameter and wall [m], above 0.
    poisson : float
        Poisson's ratio of the wall, 0 to 0.5.
    anchoring : {"throughout", "one_end", "joints"}
        Held along its whole length; held at the upper end only; free to slide at joints throughout.

    Returns
    -------
    float
        The factor c1 of the Korteweg equation.

    Raises
    ------
    InputError
        When a value is out of range or the anchoring is not known.

    Notes
    -----
    Wylie & Streeter, Fluid Transients in Systems (1993), section 1-3; from memory.
    """
    require_positive("bore", bore, "m")
    require_positive("wall", wall, "m")
    require_range("poisson", poisson, 0.0, 0.5, "")
    fixing = {"throughout": 1.0 - poisson**2, "one_end": 1.0 - poisson / 2.0, "joints": 1.0}
    if anchoring not in fixing:
        raise InputError("anchoring", anchoring, f"it must be one of {', '.join(get_args(Anchoring))}")
    return 2.0 * wall / bore * (1.0 + poisson) + bore / (bore + wall) * fixing[anchoring]


def korteweg_speed(
    bore: float,
    wall: float,
    youngs_modulus: float,
    density: float,
    bulk_modulus: float,
    restraint: float = 1.0,
    gas_fraction: float = 0.0,
    pressure_abs: float = _STANDARD_ATMOSPHERE,
) -> float:
    """Return the wave speed for a restraint factor already known.

    Parameters
    ----------
    bore, wall : float
        Inside diameter and wall [m], above 0.
    youngs_modulus : float
        Of the wall, under quick loading [Pa]; infinite for a rigid wall.
    density, bulk_modulus : float
        Of the water [kg/m3], [Pa].
    restraint : float, optional
        Factor c1, see `restraint_factor`.
    gas_fraction : float, optional
        Free gas by volume, at ``pressure_abs``, 0 up to but not including 1.
    pressure_abs : float, optional
        Pressure at which the gas fraction holds [Pa].

    Returns
    -------
    float
        [m/s]

    Raises
    ------
    InputError
        When a value is out of range.

    Notes
    -----
    1/(density a2) = the compliance of water, gas and wall added together. The gas is taken as isothermal,
    which suits fine bubbles; quicker, larger bubbles are stiffer by up to 1.4 times.
    Wylie & Streeter (1993), equations 1-25 and 1-33; from memory.
    """
    for field, value, unit in (
        ("bore", bore, "m"),
        ("wall", wall, "m"),
        ("density", density, "kg/m3"),
        ("bulk_modulus", bulk_modulus, "Pa"),
        ("pressure_abs", pressure_abs, "Pa"),
    ):
        require_positive(field, value, unit)
    if not youngs_modulus > 0.0:
        raise InputError("youngs_modulus", f"{youngs_modulus:g} Pa", "it must be above 0 Pa")
    if not 0.0 <= gas_fraction < 1.0:
        raise InputError(
            "gas_fraction",
            f"{gas_fraction:g}",
            "it must be 0 or more and below 1",
            "Was it typed in percent?",
        )
    water_give = (1.0 - gas_fraction) / bulk_modulus
    gas_give = gas_fraction / pressure_abs
    wall_give = restraint * bore / (wall * youngs_modulus)
    return 1.0 / math.sqrt(density * (1.0 - gas_fraction) * (water_give + gas_give + wall_give))


def wave_speed(
    bore: float,
    wall: float,
    youngs_modulus: float,
    poisson: float,
    density: float,
    bulk_modulus: float,
    anchoring: Anchoring = "joints",
    gas_fraction: float = 0.0,
    pressure_abs: float = _STANDARD_ATMOSPHERE,
) -> float:
    """Return the speed of a pressure wave in a full pipe.

    Parameters
    ----------
    bore, wall : float
        Inside diameter and wall [m], above 0.
    youngs_modulus, poisson : float
        Of the wall, under quick loading [Pa], [-].
    density, bulk_modulus : float
        Of the water [kg/m3]; isentropic [Pa].
    anchoring : {"throughout", "one_end", "joints"}, optional
        See `restraint_factor`.
    gas_fraction, pressure_abs : float, optional
        Free gas by volume at that absolute pressure [-], [Pa].

    Returns
    -------
    float
        [m/s]

    Raises
    ------
    InputError
        When a value is out of range.
    """
    restraint = restraint_factor(bore, wall, poisson, anchoring)
    return korteweg_speed(bore, wall, youngs_modulus, density, bulk_modulus, restraint, gas_fraction, pressure_abs)


def pipe_wave_speed(pipe: Pipe, water: Water, anchoring: Anchoring = "joints", gas_fraction: float = 0.0) -> float:
    """Return the speed of a pressure wave in a catalogue pipe full of that water [m/s].

    Parameters
    ----------
    pipe : Pipe
    water : Water
    anchoring : {"throughout", "one_end", "joints"}, optional
        See `restraint_factor`.
    gas_fraction : float, optional
        Free gas by volume at the air pressure of the site [-].

    Raises
    ------
    InputError
        When a value is out of range.
    """
    return wave_speed(
        pipe.bore,
        pipe.wall,
        pipe.youngs_modulus,
        pipe.poisson,
        water.density,
        water.bulk_modulus,
        anchoring,
        gas_fraction,
        water.atmospheric_pressure_abs,
    )


def reflection_time(length: float, wave_speed: float) -> float:
    """Return the time a wave takes to the far end and back, 2L/a [s], from [m] and [m/s]."""
    return 2.0 * require_positive("length", length, "m") / require_positive("wave_speed", wave_speed, "m/s")


def joukowsky_head(wave_speed: float, velocity_change: float, gravity: float = STANDARD_GRAVITY) -> float:
    """Return the head rise [m] when a velocity [m/s] is stopped within one reflection.

    Carries the sign of ``velocity_change``. Joukowsky 1898: a dV/g.
    """
    require_positive("wave_speed", wave_speed, "m/s")
    return wave_speed * velocity_change / gravity


def michaud_head(
    length: float,
    velocity: float,
    closing_time: float,
    wave_speed: float,
    gravity: float = STANDARD_GRAVITY,
) -> float:
    """Return Michaud's head rise for a gradual closing, never above Joukowsky's.

    Parameters
    ----------
    length : float
        [m], above 0.
    velocity : float
        Stopped velocity [m/s], 0 or more.
    closing_time : float
        [s], 0 or more.
    wave_speed : float
        [m/s], above 0.

    Returns
    -------
    float
        Head rise [m].

    Raises
    ------
    InputError
        When a value is out of range.

    Notes
    -----
    2 L V/(g T), Michaud 1878, which is a V/g times (2 L/a)/T; a V/g for anything quicker. No upper bound
    on a slow closing: an evenly closed gate exceeds it once L V/(g H T) passes about 1.5 (Allievi); use
    `allievi_highest_head` where the closing is known.
    """
    require_not_negative("velocity", velocity, "m/s")
    require_not_negative("closing_time", closing_time, "s")
    period = reflection_time(length, wave_speed)
    share = period / closing_time if closing_time > period else 1.0
    return joukowsky_head(wave_speed, velocity, gravity) * share


def allievi_highest_head(rho: float, theta: float) -> float:
    """Return the highest head at a gate closed at an even rate, as a multiple of the still head.

    Parameters
    ----------
    rho : float
        Pipe number a V0/(2 g H0) [-], 0 or more.
    theta : float
        Closing time in reflections, T/(2L/a) [-], 0 or more, up to 1000.

    Returns
    -------
    float
        Highest H/H0 at the gate.

    Raises
    ------
    InputError
        When a value is out of range.

    Notes
    -----
    Allievi's interlocking equations (1903, 1913), z2 = H/H0 and n the opening, one reflection apart:
    z[i]^2 + z[i-1]^2 - 2 = 2 rho (n[i-1] z[i-1] - n[i] z[i]). No friction, horizontal pipe, discharge
    into air at the datum. The highest head may fall between whole reflections, so every starting
    instant within the first reflection is followed.
    """
    require_not_negative("rho", rho, "")
    require_range("theta", theta, 0.0, _HIGHEST_CLOSING_PHASES, "")
    if theta <= 1.0:
        return 1.0 + 2.0 * rho
    instant = np.linspace(0.0, 1.0, _ALLIEVI_OFFSETS)
    head = np.ones_like(instant)
    opening = np.ones_like(instant)
    highest = 1.0
    for phase in range(math.ceil(theta) + 2):
        next_opening = np.clip(1.0 - (instant + phase) / theta, 0.0, 1.0)
        # A shut gate may stand below the datum, where no root is wanted: its opening is 0.
        given = 2.0 - head + 2.0 * rho * opening * np.sqrt(np.maximum(head, 0.0))
        half = rho * next_opening
        root = -half + np.sqrt(np.maximum(half**2 + given, 0.0))
        head = np.where(next_opening > 0.0, root**2, given)
        opening = next_opening
        highest = max(highest, float(head.max()))
    return highest


@dataclass(frozen=True)
class FirstCavity:
    """What a suddenly shut, frictionless, horizontal pipe does around its first vapour cavity.

    Heads [m] at the valve on the datum of the still head; times [s] from the closing.
    """

    first_head: float
    opening_time: float
    collapse_time: float
    head_after_collapse: float
    pulse_head: float
    pulse_start: float
    pulse_end: float


def first_cavity(
    velocity: float,
    still_head: float,
    vapour_head: float,
    wave_speed: float,
    length: float,
    gravity: float = STANDARD_GRAVITY,
) -> FirstCavity:
    """Return the first cavity at a valve shut at once, and the short pulse that follows its collapse.

    Parameters
    ----------
    velocity : float
        Before closing [m/s], above 0.
    still_head, vapour_head : float
        Head of the supply and head at which water boils, same datum [m].
    wave_speed, length : float
        [m/s], [m], above 0.

    Returns
    -------
    FirstCavity

    Raises
    ------
    InputError
        When the closing draws no cavity, or the cavity outlasts its second reflection (velocity head
        a V/g above twice the still head over vapour head), where this closed form no longer holds.

    Notes
    -----
    Follows from the wave equations with the valve head held at ``vapour_head`` while the cavity is open;
    pulse = 5 H0 - 4 Hv - a V0/g. The pulse exceeds the first rise: collapse is what breaks pipes.
    """
    require_positive("velocity", velocity, "m/s")
    period = reflection_time(length, wave_speed)
    rise = joukowsky_head(wave_speed, velocity, gravity)
    room = still_head - vapour_head
    require_positive("still_head less vapour_head", room, "m")
    if not room < rise <= 2.0 * room:
        raise InputError(
            "velocity",
            f"{velocity:g} m/s",
            f"it must be above {gravity * room / wave_speed:.3g} m/s (or no cavity opens) and at most "
            f"{2 * gravity * room / wave_speed:.3g} m/s (or the cavity outlasts this closed form)",
            "Use the engine for any other velocity.",
        )
    opening_rate = rise - room  # a/g times the velocity at which the cavity grows [m]
    closing_rate = 2.0 * room - opening_rate
    collapse_time = 2.0 * period + period * opening_rate / closing_rate
    return FirstCavity(
        first_head=still_head + rise,
        opening_time=period,
        collapse_time=collapse_time,
        head_after_collapse=2.0 * still_head - vapour_head - opening_rate,
        pulse_head=2.0 * still_head - vapour_head + closing_rate,
        pulse_start=3.0 * period,
        pulse_end=collapse_time + period,
    )
