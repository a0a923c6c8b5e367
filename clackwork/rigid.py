"""The drive column as one rigid slug: closed forms for quick bounds, first guesses and checks.

Heads are metres of water. Fall and lift are both measured from the level at which the waste valve spills.
Symbols in the notes: H fall, h lift, V velocity, V8 velocity the open ram tends to, M loss factor,
Q drawn = q delivered + Qw wasted, r = h/H.
"""

from __future__ import annotations

import math

from clackwork.errors import InputError, require_not_negative, require_positive, require_range
from clackwork.water import STANDARD_GRAVITY


def _require_lift_above_fall(fall: float, lift: float) -> None:
    require_positive("fall", fall, "m")
    if not lift > fall or math.isinf(lift):
        raise InputError(
            "lift",
            f"{lift:g} m",
            f"it must be above the fall, {fall:g} m",
            "Lift counts from the pump, not from the supply.",
        )


def bore_area(bore: float) -> float:
    """Return the flow area of a round pipe [m2] from its bore [m]."""
    return math.pi / 4.0 * require_positive("bore", bore, "m") ** 2


def loss_factor(
    length: float, bore: float, friction_factor: float, open_valve_loss: float, entry_loss: float = 0.5
) -> float:
    """Return all losses of the open ram in velocity heads of the drive pipe.

    Parameters
    ----------
    length, bore : float
        Of the drive pipe [m].
    friction_factor : float
        Darcy's [-].
    open_valve_loss : float
        Of pump body and open waste valve, in velocity heads of the drive pipe beyond the one that
        leaves with the water [-].
    entry_loss : float, optional
        Pipe entry [-]; 0.5 is a square edge (common handbook value).

    Returns
    -------
    float
        M = 1 + entry + f L/D + open valve [-]; the 1 is the velocity head carried out.

    Raises
    ------
    InputError
        When a value is out of range.
    """
    require_positive("length", length, "m")
    require_positive("bore", bore, "m")
    for field, value in (
        ("friction_factor", friction_factor),
        ("open_valve_loss", open_valve_loss),
        ("entry_loss", entry_loss),
    ):
        require_not_negative(field, value, "")
    return 1.0 + entry_loss + friction_factor * length / bore + open_valve_loss


def terminal_velocity(fall: float, loss_factor: float, gravity: float = STANDARD_GRAVITY) -> float:
    """Return the velocity [m/s] the open ram tends to, sqrt(2 g H/M); infinite without losses.

    Parameters
    ----------
    fall : float
        [m], above 0.
    loss_factor : float
        See `loss_factor`; 0 for no loss at all [-].

    Raises
    ------
    InputError
        When a value is out of range.
    """
    require_positive("fall", fall, "m")
    if require_not_negative("loss_factor", loss_factor, "") == 0.0:
        return math.inf
    return math.sqrt(2.0 * gravity * fall / loss_factor)


def time_constant(length: float, fall: float, terminal_velocity: float, gravity: float = STANDARD_GRAVITY) -> float:
    """Return the time scale of starting up [s], L V8/(g H), from [m], [m], [m/s].

    At this time the water has 76 % of its terminal velocity.
    """
    require_positive("length", length, "m")
    require_positive("fall", fall, "m")
    return length * require_positive("terminal_velocity", terminal_velocity, "m/s") / (gravity * fall)


def velocity_at(time: float, terminal_velocity: float, time_constant: float) -> float:
    """Return the velocity [m/s] a time [s] after starting from rest, V8 tanh(t/T).

    Exact for losses that go with the square of the velocity.
    """
    require_not_negative("time", time, "s")
    require_positive("terminal_velocity", terminal_velocity, "m/s")
    return terminal_velocity * math.tanh(time / require_positive("time_constant", time_constant, "s"))


def time_to_velocity(velocity: float, terminal_velocity: float, time_constant: float) -> float:
    """Return the time [s] from rest to a velocity [m/s]; infinite at and above the terminal velocity."""
    require_not_negative("velocity", velocity, "m/s")
    require_positive("terminal_velocity", terminal_velocity, "m/s")
    require_positive("time_constant", time_constant, "s")
    if velocity >= terminal_velocity:
        return math.inf
    return time_constant * math.atanh(velocity / terminal_velocity)


def waste_volume_per_beat(
    bore: float,
    length: float,
    fall: float,
    loss_factor: float,
    closing_velocity: float,
    gravity: float = STANDARD_GRAVITY,
) -> float:
    """Return the water spilled while the column gathers speed.

    Parameters
    ----------
    bore, length, fall : float
        Of the drive pipe [m], above 0.
    loss_factor : float
        See `loss_factor`; 0 for no loss at all [-].
    closing_velocity : float
        At which the waste valve shuts [m/s], 0 or more.

    Returns
    -------
    float
        [m3]; infinite when the closing velocity is at or above the terminal velocity: the valve never
        closes and the pump stalls open.

    Raises
    ------
    InputError
        When a value is out of range.

    Notes
    -----
    -(A L/M) ln(1 - (Vc/V8)^2), written as the lossless A L Vc^2/(2 g H) times -ln(1 - x)/x with
    x = (Vc/V8)^2, which is smooth down to x = 0.
    """
    require_positive("length", length, "m")
    require_positive("fall", fall, "m")
    require_not_negative("loss_factor", loss_factor, "")
    require_not_negative("closing_velocity", closing_velocity, "m/s")
    lossless = bore_area(bore) * length * closing_velocity**2 / (2.0 * gravity * fall)
    share = closing_velocity**2 * loss_factor / (2.0 * gravity * fall)
    if share >= 1.0:
        return math.inf
    return lossless * (-math.log1p(-share) / share if share > 0.0 else 1.0)


def ideal_beat_rate(
    fall: float, lift: float, length: float, closing_velocity: float, gravity: float = STANDARD_GRAVITY
) -> float:
    """Return the beats per second of a ram without losses, g H (h - H)/(L Vc h).

    Parameters
    ----------
    fall, lift : float
        [m]; the lift above the fall.
    length : float
        Of the drive pipe [m].
    closing_velocity : float
        [m/s]

    Returns
    -------
    float
        [1/s]

    Raises
    ------
    InputError
        When a value is out of range.
    """
    _require_lift_above_fall(fall, lift)
    require_positive("length", length, "m")
    require_positive("closing_velocity", closing_velocity, "m/s")
    return gravity * fall * (lift - fall) / (length * closing_velocity * lift)


def ideal_drawn_flow(bore: float, closing_velocity: float) -> float:
    """Return the flow drawn by a ram without losses [m3/s], A Vc/2, from [m] and [m/s]."""
    return bore_area(bore) * require_not_negative("closing_velocity", closing_velocity, "m/s") / 2.0


def ideal_delivered_flow(bore: float, closing_velocity: float, fall: float, lift: float) -> float:
    """Return the flow delivered by a ram without losses [m3/s], A Vc H/(2 h).

    Parameters
    ----------
    bore : float
        Of the drive pipe [m].
    closing_velocity : float
        [m/s]
    fall, lift : float
        [m]; the lift above the fall.

    Raises
    ------
    InputError
        When a value is out of range.
    """
    _require_lift_above_fall(fall, lift)
    return ideal_drawn_flow(bore, closing_velocity) * fall / lift


def lift_from_rise(fall: float, rise_above_supply: float) -> float:
    """Return the lift above the pump [m] of an outlet whose rise above the supply [m] is known.

    The pump stands the fall lower than the supply, so the lift is the two together. Taking the rise for
    the lift is a common slip and promises too much water.

    Raises
    ------
    InputError
        When the fall is not above 0, or the outlet is not above the supply.
    """
    require_positive("fall", fall, "m")
    hint = "Water runs to an outlet below its supply without a pump."
    return fall + require_positive("rise_above_supply", rise_above_supply, "m", hint)


def daubuisson_efficiency(delivered_flow: float, lift: float, drawn_flow: float, fall: float) -> float:
    """Return d'Aubuisson's efficiency q h/(Q H) [-].

    Parameters
    ----------
    delivered_flow : float
        q [m3/s], 0 or more.
    lift : float
        h, outlet above the waste valve's spill [m].
    drawn_flow : float
        Q, all that leaves the source [m3/s].
    fall : float
        H, source above the waste valve's spill [m].

    Raises
    ------
    InputError
        When a value is out of range. A figure above 1 is returned as it is: it tells of a misreading.
    """
    require_not_negative("delivered_flow", delivered_flow, "m3/s")
    require_positive("lift", lift, "m")
    require_positive("drawn_flow", drawn_flow, "m3/s")
    require_positive("fall", fall, "m")
    return delivered_flow * lift / (drawn_flow * fall)


def rankine_efficiency(delivered_flow: float, lift: float, waste_flow: float, fall: float) -> float:
    """Return Rankine's efficiency q (h - H)/(Qw H) [-].

    Parameters
    ----------
    delivered_flow : float
        q [m3/s], 0 or more.
    lift : float
        h, outlet above the waste valve's spill [m]; above the fall.
    waste_flow : float
        Qw, spilled at the waste valve [m3/s].
    fall : float
        H, source above the waste valve's spill [m].

    Raises
    ------
    InputError
        When a value is out of range.
    """
    require_not_negative("delivered_flow", delivered_flow, "m3/s")
    require_positive("waste_flow", waste_flow, "m3/s")
    _require_lift_above_fall(fall, lift)
    return delivered_flow * (lift - fall) / (waste_flow * fall)


def delivered_flow_from_efficiency(daubuisson: float, drawn_flow: float, fall: float, lift: float) -> float:
    """Return the delivered flow [m3/s] that an efficiency by d'Aubuisson implies, eta Q H/h.

    Parameters
    ----------
    daubuisson : float
        0 to 1 [-].
    drawn_flow : float
        [m3/s], 0 or more.
    fall, lift : float
        [m] above the waste valve's spill; the lift above the fall. See `lift_from_rise`.

    Raises
    ------
    InputError
        When a value is out of range.
    """
    require_range("daubuisson", daubuisson, 0.0, 1.0, "", "Was it typed in percent?")
    require_not_negative("drawn_flow", drawn_flow, "m3/s")
    _require_lift_above_fall(fall, lift)
    return daubuisson * drawn_flow * fall / lift


def rankine_from_daubuisson(daubuisson: float, lift_ratio: float) -> float:
    """Return Rankine's efficiency from d'Aubuisson's, eta_d (r - 1)/(r - eta_d).

    Parameters
    ----------
    daubuisson : float
        0 to 1 [-].
    lift_ratio : float
        Lift over fall r, above 1 [-].

    Raises
    ------
    InputError
        When a value is out of range.
    """
    require_range("daubuisson", daubuisson, 0.0, 1.0, "", "Was it typed in percent?")
    _require_lift_ratio(lift_ratio)
    return daubuisson * (lift_ratio - 1.0) / (lift_ratio - daubuisson)


def daubuisson_from_rankine(rankine: float, lift_ratio: float) -> float:
    """Return d'Aubuisson's efficiency from Rankine's, eta_R r/(r - 1 + eta_R).

    Parameters
    ----------
    rankine : float
        0 to 1 [-].
    lift_ratio : float
        Lift over fall r, above 1 [-].

    Raises
    ------
    InputError
        When a value is out of range.
    """
    require_range("rankine", rankine, 0.0, 1.0, "", "Was it typed in percent?")
    _require_lift_ratio(lift_ratio)
    return rankine * lift_ratio / (lift_ratio - 1.0 + rankine)


def _require_lift_ratio(lift_ratio: float) -> None:
    if not lift_ratio > 1.0 or math.isinf(lift_ratio):
        raise InputError("lift_ratio", f"{lift_ratio:g}", "it must be above 1", "It is lift over fall.")


def stop_volume(
    bore: float, length: float, velocity: float, stopping_head: float, gravity: float = STANDARD_GRAVITY
) -> float:
    """Return the water a column pushes on while a steady head stops it, A V^2 L/(2 g dh).

    Parameters
    ----------
    bore, length : float
        Of the drive pipe [m].
    velocity : float
        When the stop begins [m/s], 0 or more.
    stopping_head : float
        Lift less fall, with what losses there are [m], above 0.

    Returns
    -------
    float
        [m3]

    Raises
    ------
    InputError
        When a value is out of range.

    Notes
    -----
    Newton's law for a rigid column; as used in Cornell AguaClara's ram pump report, Spring 2019.
    """
    require_positive("length", length, "m")
    require_not_negative("velocity", velocity, "m/s")
    require_positive("stopping_head", stopping_head, "m")
    return bore_area(bore) * velocity**2 * length / (2.0 * gravity * stopping_head)


def stop_time(length: float, velocity: float, stopping_head: float, gravity: float = STANDARD_GRAVITY) -> float:
    """Return the time [s] a steady head [m] takes to stop a column of [m] at [m/s], V L/(g dh).

    Raises
    ------
    InputError
        When a value is out of range.
    """
    require_positive("length", length, "m")
    require_not_negative("velocity", velocity, "m/s")
    require_positive("stopping_head", stopping_head, "m")
    return velocity * length / (gravity * stopping_head)
