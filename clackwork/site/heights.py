"""Fall and lift from readings: level and staff, water-filled hose, pressure gauge, map; each with its budget.

Heights are in m; a rise counts positive. What a lift was measured from is always said by name: the pump, or the source.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from clackwork.bench.gum import Component, Estimate, half_width, propagate, scatter_beyond, weighted_sum
from clackwork.bench.instruments import TEMPERATURE_HALF_WIDTH, Gauge
from clackwork.errors import InputError, require_range
from clackwork.site.told import FALL_PART, FALL_SPREAD, told_estimate
from clackwork.water import STANDARD_GRAVITY, water_at

METHODS = ("level", "hose", "gauge", "map", "typed")
"""How a height may be read."""

MOST_SETUPS = 200
"""Set-ups of a level, or steps of a hose, in one way."""
STAFF_HALF_WIDTH = 0.003
"""One reading of a staff through a level a few tens of metres away [m]: common practice, no published source."""
SIGHT_HALF_WIDTH = 0.001
"""What a level points up or down [m per m of sight], left over where back and fore sights differ: common practice for a hand
level, no published source."""
HOSE_HALF_WIDTH = 0.005
"""Both ends of one step read with a water-filled hose, no bubbles in it [m]: common practice, no published source."""
GRAVITY_HALF_WIDTH = 0.026
"""[m/s2] From equator to pole gravity at sea level runs from 9.780 to 9.832 (WGS 84, from memory)."""
MAP_SHARE = 0.5 / 1.645
"""Standard uncertainty of a height off a map over its contour interval: nine heights in ten are within half an interval, the
United States National Map Accuracy Standards of 1947 (from memory), taken as normal."""
HIGHEST = 500.0
"""Most that a height here may be [m]."""


@dataclass(frozen=True)
class Setup:
    """One set-up of a level: the staff read behind at the lower place and ahead at the higher.

    Attributes
    ----------
    back, fore : float
        [m]; back less fore is the rise.
    sights_differ : float
        Length of the back sight less that of the fore sight, as paced [m]; its sign does not matter.
    """

    back: float
    fore: float
    sights_differ: float = 0.0

    def __post_init__(self) -> None:
        for name in ("back", "fore"):
            require_range(f"setup.{name}", getattr(self, name), 0.0, 10.0, "m", "Read the staff at the hair.")
        require_range("setup.sights_differ", abs(self.sights_differ), 0.0, 200.0, "m", "Pace both sights.")


def _height(field: str, estimate: Estimate) -> Estimate:
    """A height that is upwards and not absurd."""
    require_range(
        field, estimate.value, 0.01, HIGHEST, "m", "Start at the lower place: readings there are the back sights."
    )
    return estimate


def height_by_level(
    setups: Sequence[Setup], *, returned: Sequence[Setup] = (), staff_half_width: float = STAFF_HALF_WIDTH
) -> Estimate:
    """Height from the lower place to the higher by level and staff.

    Parameters
    ----------
    setups : sequence of Setup
        From the lower place up.
    returned : sequence of Setup, optional
        The way back down, read again: back sights are then at the higher places, so its rises are negative.
    staff_half_width : float, optional
        Half width of one reading's error [m].

    Returns
    -------
    Estimate
        Of both ways their mean; what they disagree by beyond their reading errors is a component of its own.

    Raises
    ------
    InputError
        No set-up, too many, a reading out of range, or a height that is not upwards.
    """
    for field, ways in (("setups", setups), ("returned", returned)):
        if len(ways) > MOST_SETUPS or (field == "setups" and not ways):
            raise InputError(field, f"{len(ways)} set-ups", f"it takes 1 to {MOST_SETUPS}")
    up = sum(one.back - one.fore for one in setups)
    down = sum(one.fore - one.back for one in returned)
    reading = half_width(staff_half_width)
    runs = [up, down] if returned else [up]
    readings = math.sqrt(2 * (len(setups) + len(returned))) * reading / len(runs)
    sights = abs(sum(abs(one.sights_differ) for one in (*setups, *returned))) / len(runs)
    one_way = math.sqrt(len(setups) + len(returned)) * reading  # of two ways about alike, the error of one
    beyond, freedom = scatter_beyond(runs, one_way)
    components = [
        Component("staff readings", sum(runs) / len(runs), readings, source=f"{len(setups) + len(returned)} set-ups"),
        Component("slope of the sight", 0.0, half_width(SIGHT_HALF_WIDTH) * sights, source="sights not alike"),
        Component("closing error", 0.0, beyond, freedom, "A", f"out and back differ by {abs(up - down):.3f} m"),
    ]
    return _height("setups", propagate(lambda values: sum(values.values()), components))


def closing_error(setups: Sequence[Setup], returned: Sequence[Setup]) -> float:
    """What a height levelled out and back again fails to close by [m]."""
    return sum(one.back - one.fore for one in (*setups, *returned))


def height_by_hose(steps: Sequence[float], *, step_half_width: float = HOSE_HALF_WIDTH) -> Estimate:
    """Height from steps measured one above the other with a water-filled hose.

    Parameters
    ----------
    steps : sequence of float
        Rise of each step [m].
    step_half_width : float, optional
        Half width of the error of one step [m].

    Raises
    ------
    InputError
    """
    if not 1 <= len(steps) <= MOST_SETUPS:
        raise InputError("steps", f"{len(steps)} steps", f"it takes 1 to {MOST_SETUPS}")
    total = sum(require_range("steps", step, -10.0, 10.0, "m", "One step of the hose.") for step in steps)
    error = half_width(step_half_width) * math.sqrt(len(steps))
    components = [Component("steps", total, error, source=f"{len(steps)} steps")]
    return _height("steps", propagate(lambda values: sum(values.values()), components))


def height_by_gauge(
    pressures: Sequence[float], gauge: Gauge, *, temperature: float = 283.15, altitude: float = 0.0
) -> Estimate:
    """Height of the water in a full pipe or hose above a gauge at its foot, the water standing still.

    Parameters
    ----------
    pressures : sequence of float
        Readings [Pa], gauge.
    gauge : Gauge
        Its ``height_above_datum`` is added: height of its centre above the lower place.
    temperature : float, optional
        Of the water [K].
    altitude : float, optional
        [m]

    Returns
    -------
    Estimate
        [m]; the gauge's class is the same in each reading and does not average out.

    Raises
    ------
    InputError
        No reading, one beyond the gauge's scale, or a temperature out of range.

    Notes
    -----
    Hydrostatics: h = p / (rho g).
    """
    if not 1 <= len(pressures) <= MOST_SETUPS:
        raise InputError("pressures", f"{len(pressures)} readings", f"it takes 1 to {MOST_SETUPS}")
    for pressure in pressures:
        require_range("pressures", pressure, 0.0, gauge.full_scale, "Pa", "The gauge reads no further.")
    count = len(pressures)
    beyond, freedom = scatter_beyond(pressures, gauge.reading_uncertainty)
    warmer = water_at(min(temperature + TEMPERATURE_HALF_WIDTH, 313.15), altitude).density
    density = water_at(temperature, altitude).density
    components = [
        Component("gauge", sum(pressures) / count, gauge.class_uncertainty, source="class of the gauge"),
        Component("dial", 0.0, gauge.reading_uncertainty / math.sqrt(count), source="step of its dial"),
        Component("scatter of readings", 0.0, beyond, freedom, "A", f"{count} readings"),
        Component("density", density, half_width(abs(density - warmer)), source="water temperature"),
        Component("gravity", STANDARD_GRAVITY, half_width(GRAVITY_HALF_WIDTH), source="place on the earth"),
        Component("gauge height", gauge.height_above_datum, half_width(gauge.height_half_width), source="rule"),
    ]
    return _height(
        "pressures",
        propagate(
            lambda v: (
                (v["gauge"] + v["dial"] + v["scatter of readings"]) / (v["density"] * v["gravity"]) + v["gauge height"]
            ),
            components,
        ),
    )


def height_by_map(lower: float, higher: float, contour_interval: float) -> Estimate:
    """Height between two places whose heights were read off a map.

    Parameters
    ----------
    lower, higher : float
        Heights read between the contours [m].
    contour_interval : float
        [m]

    Raises
    ------
    InputError
    """
    require_range("contour_interval", contour_interval, 0.1, 100.0, "m", "It stands in the map's margin.")
    error = MAP_SHARE * contour_interval
    components = [
        Component("higher", higher, error, source=f"contours {contour_interval:g} m apart"),
        Component("lower", lower, error, source=f"contours {contour_interval:g} m apart"),
    ]
    return _height("higher", propagate(lambda values: values["higher"] - values["lower"], components))


def typed_height(height: float, width: float | None = None) -> Estimate:
    """A height [m] as somebody gave it, with limits of plus or minus ``width``; as told without limits when left out."""
    return _height("height", told_estimate(height, width, "height", FALL_SPREAD))


def named(estimate: Estimate, what: str) -> Estimate:
    """The same estimate, what it is of put before each name in its budget: "fall: staff readings"."""
    return replace(estimate, budget=tuple(replace(part, name=f"{what}: {part.name}") for part in estimate.budget))


def fall_in_lift(lift: Estimate) -> float:
    """Standard uncertainty [m] that a lift of :func:`lift_above_pump` has from the fall added to it; 0 from the pump."""
    return math.sqrt(sum(part.amount**2 for part in lift.budget if part.name.startswith(FALL_PART)))


def lift_above_pump(
    *, from_pump: Estimate | None = None, from_source: Estimate | None = None, fall: Estimate
) -> Estimate:
    """Lift from the pump's spill level [m], out of the height that was measured.

    Parameters
    ----------
    from_pump : Estimate, optional
        Outlet above the pump.
    from_source : Estimate, optional
        Outlet above the source; the fall is added.
    fall : Estimate
        Source above the pump.

    Raises
    ------
    InputError
        Both or neither given, or an outlet no higher than the source.
    """
    if (from_pump is None) == (from_source is None):
        raise InputError(
            "lift_from_pump and lift_from_source",
            "both" if from_pump is not None else "neither",
            "give exactly one of them",
            "lift_from_pump is the outlet above the pump; lift_from_source is the outlet above the source.",
        )
    if from_source is not None:
        if from_source.value <= 0.0:
            raise InputError(
                "lift_from_source",
                f"{from_source.value:g} m",
                "the outlet must be above the source, else water runs there by itself",
                "Give lift_from_pump if you measured from the pump.",
            )
        return weighted_sum([(1.0, named(from_source, "above the source")), (1.0, named(fall, FALL_PART.rstrip(": ")))])
    assert from_pump is not None  # one of the two is given
    if from_pump.value <= fall.value:
        raise InputError(
            "lift_from_pump",
            f"{from_pump.value:g} m",
            f"it must be above the fall of {fall.value:g} m, else water runs there by itself",
            "Lift from pump is the height of the outlet above the pump; give lift_from_source if you measured from the "
            "spring.",
        )
    return from_pump
