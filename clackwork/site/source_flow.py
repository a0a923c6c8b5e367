"""What a source gives, from readings by bucket, notch or float, each with its budget; and what it gives when driest.

Flows are in m3/s, lengths in m, times in s.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import pairwise

from clackwork.bench.gum import (
    Component,
    Estimate,
    half_width,
    propagate,
    scatter_beyond,
    typed_estimate,
    weighted_sum,
)
from clackwork.bench.instruments import Bucket, Stopwatch
from clackwork.errors import InputError, require_range
from clackwork.site.survey import SourceReading, Survey
from clackwork.site.told import FLOW_SPREAD, told_estimate
from clackwork.water import STANDARD_GRAVITY

METHODS = ("bucket", "notch", "float", "typed")
"""How a source may be read."""

MOST_READINGS = 100
"""Times, heads or depths in one reading."""

NARROWEST_NOTCH = math.radians(20.0)
WIDEST_NOTCH = math.radians(100.0)
"""Angles for which the Kindsvater-Shen figures are given: Shen 1981 by way of the documentation of fluids 1.3."""
LOWEST_NOTCH_HEAD = 0.03
"""Under this the water clings to the plate [m]: common practice, no published source."""
HIGHEST_NOTCH_HEAD = 0.38
"""[m] Bureau of Reclamation, Water Measurement Manual, chapter 7 (from memory, 1.25 ft)."""
SURE_NOTCH_HEAD = 0.05
"""From here up the coefficient is as sure as the standard says [m]: Shen 1981 by way of the documentation of fluids 1.3."""
NOTCH_COEFFICIENT_SPREAD = 0.005
"""Relative standard uncertainty of the coefficient: ISO 1438 gives about 1 % at 95 % (from memory)."""
LOW_NOTCH_COEFFICIENT_SPREAD = 0.03
"""The same for heads under `SURE_NOTCH_HEAD`: common practice, no published source."""
NOTCH_ANGLE_HALF_WIDTH = math.radians(1.0)
"""Of a notch sawn by hand: common practice, no published source."""
NOTCH_HEAD_HALF_WIDTH = 0.002
"""Water surface against a rule behind the plate, and its zero against the point of the notch [m]: common practice."""

FLOAT_COEFFICIENTS: Mapping[str, tuple[float, float]] = {"smooth": (0.85, 0.05), "rough": (0.75, 0.10)}
"""Mean over surface velocity and its half width, by the bed.

Smooth: about 0.86 (Mazi et al., abstract, who hold it for smooth beds in deep water and find less over coarse beds in
shallow water). Rough: 0.65 to 0.85; the Bureau of Reclamation's manual gives 0.66 at one foot of depth rising to 0.80 (from
memory).
"""
FLOAT_DISTANCE_HALF_WIDTH = 0.05
FLOAT_WIDTH_HALF_WIDTH = 0.02
FLOAT_DEPTH_HALF_WIDTH = 0.005
"""Tape and stick in running water [m]: common practice, no published source."""

SHARE_HALF_WIDTH = 0.15
"""Relative half width of a flow carried from one month to another: common practice, no published source."""


def _checked(field: str, values: Sequence[float], low: float, high: float, unit: str, next_step: str) -> list[float]:
    """Readings one to `MOST_READINGS` in number, each within its range."""
    if not 1 <= len(values) <= MOST_READINGS:
        raise InputError(field, f"{len(values)} readings", f"it takes 1 to {MOST_READINGS}", next_step)
    return [require_range(field, float(value), low, high, unit, next_step) for value in values]


def _repeated(name: str, values: Sequence[float], each: float, source: str) -> list[Component]:
    """The mean of readings with the known error of each, and what they scatter beyond it."""
    count = len(values)
    mean = Component(name, sum(values) / count, each / math.sqrt(count), source=source)
    beyond, freedom = scatter_beyond(values, each)
    if not beyond:
        return [mean]
    return [mean, Component(f"scatter of {name}", 0.0, beyond, freedom, "A", f"{count} readings")]


def _mean(read: Mapping[str, float], name: str) -> float:
    return read[name] + read.get(f"scatter of {name}", 0.0)


def flow_by_bucket(
    volume: float, times: Sequence[float], *, bucket: Bucket | None = None, stopwatch: Stopwatch | None = None
) -> Estimate:
    """Flow from the times in which a bucket filled.

    Parameters
    ----------
    volume : float
        Of one filling, to the mark [m3].
    times : sequence of float
        Of each filling [s].
    bucket, stopwatch : optional
        What it was read with; the usual ones when left out.

    Returns
    -------
    Estimate
        [m3/s]; the mark's error is the same in every filling and does not average out.

    Raises
    ------
    InputError
    """
    bucket, stopwatch = bucket or Bucket(), stopwatch or Stopwatch()
    require_range("volume", volume, 1e-4, 10.0, "m3", "Was it litres?")
    read = _checked("times", times, 0.5, 86400.0, "s", "Time how long the bucket takes to fill.")
    mark = bucket.standard_uncertainty(volume)
    if mark > 0.1 * volume:
        raise InputError(
            "volume", f"{volume:g} m3", "its mark is worth more than a tenth of it", "Use a larger bucket."
        )
    components = [
        Component("volume", volume, mark, source="the bucket's mark"),
        *_repeated("time", read, stopwatch.start_stop_sd, "started and stopped by hand"),
    ]
    return propagate(lambda values: values["volume"] / _mean(values, "time"), components)


def notch_coefficient(angle: float) -> float:
    """Effective coefficient Ce [-] of a fully contracted triangular notch of an angle [rad].

    Curve through the figure of Shen 1981 (U.S. Geological Survey Water-Supply Paper 1617-B), which ISO 1438 gives as well;
    the curve's coefficients are from memory and are held against that paper's points in the tests.
    """
    degrees = math.degrees(angle)
    return 0.607165052 - 0.000874466963 * degrees + 6.10393334e-6 * degrees**2


def notch_head_correction(angle: float) -> float:
    """Head k [m] added for viscosity and surface tension; source as :func:`notch_coefficient`."""
    degrees = math.degrees(angle)
    in_feet = 0.0144902648 - 0.00033955535 * degrees + 3.29819003e-6 * degrees**2 - 1.06215442e-8 * degrees**3
    return 0.3048 * in_feet


def notch_flow(head: float, angle: float = 0.5 * math.pi) -> float:
    """Flow [m3/s] over a fully contracted triangular thin-plate notch.

    Parameters
    ----------
    head : float
        Water surface above the point of the notch, read upstream at four times that head or more [m].
    angle : float, optional
        Whole angle of the notch [rad].

    Notes
    -----
    Kindsvater and Shen, as in ISO 1438: (8/15) Ce sqrt(2 g) tan(angle/2) (h + k)^2.5.
    """
    effective = head + notch_head_correction(angle)
    slope = math.tan(0.5 * angle)
    return 8.0 / 15.0 * notch_coefficient(angle) * math.sqrt(2.0 * STANDARD_GRAVITY) * slope * effective**2.5


def flow_by_notch(
    heads: Sequence[float],
    angle: float = 0.5 * math.pi,
    *,
    head_half_width: float = NOTCH_HEAD_HALF_WIDTH,
    angle_half_width: float = NOTCH_ANGLE_HALF_WIDTH,
) -> Estimate:
    """Flow from heads over a triangular notch.

    Parameters
    ----------
    heads : sequence of float
        Water surface above the point of the notch [m], 0.03 to 0.38.
    angle : float, optional
        Whole angle of the notch [rad], 20 to 100 degrees; a right angle when left out.
    head_half_width, angle_half_width : float, optional
        Half widths of their errors [m], [rad]; both the same at each reading (the rule's zero, the plate).

    Returns
    -------
    Estimate
        [m3/s]

    Raises
    ------
    InputError
        Outside the ranges.
    """
    next_step = "Read it upstream of the plate, from the point of the notch."
    read = _checked("heads", heads, LOWEST_NOTCH_HEAD, HIGHEST_NOTCH_HEAD, "m", next_step)
    require_range("angle", angle, NARROWEST_NOTCH, WIDEST_NOTCH, "rad", "Was it degrees?")
    low = sum(read) / len(read) < SURE_NOTCH_HEAD
    coefficient = LOW_NOTCH_COEFFICIENT_SPREAD if low else NOTCH_COEFFICIENT_SPREAD
    beyond, freedom = scatter_beyond(read, 0.0)
    components = [
        Component("head", sum(read) / len(read), half_width(head_half_width), source="rule and its zero"),
        Component("scatter of head", 0.0, beyond, freedom, "A", f"{len(read)} readings"),
        Component("angle", angle, half_width(angle_half_width), source="the notch as cut"),
        Component("coefficient", 1.0, coefficient, source="ISO 1438" if not low else "low head, water may cling"),
    ]
    return propagate(
        lambda values: values["coefficient"] * notch_flow(values["head"] + values["scatter of head"], values["angle"]),
        components,
    )


def flow_by_float(
    distance: float, times: Sequence[float], width: float, depths: Sequence[float], *, bed: str = "rough"
) -> Estimate:
    """Flow from floats timed over a straight reach and its cross-section.

    Parameters
    ----------
    distance : float
        The floats went [m].
    times : sequence of float
        Of each float [s].
    width : float
        Of the water surface [m].
    depths : sequence of float
        At equal steps across, the two banks left out [m].
    bed : str, optional
        Of `FLOAT_COEFFICIENTS`.

    Returns
    -------
    Estimate
        [m3/s]; the coefficient of the surface velocity usually rules it.

    Raises
    ------
    InputError

    Notes
    -----
    The area is that of triangles and trapezia between depths at equal steps with none at the banks: width times the sum of
    the depths over their number plus one.
    """
    if bed not in FLOAT_COEFFICIENTS:
        raise InputError("bed", f'"{bed}"', f"it must be one of {', '.join(FLOAT_COEFFICIENTS)}")
    require_range("distance", distance, 0.5, 1000.0, "m", "Mark a straight reach of a few metres.")
    require_range("width", width, 0.02, 100.0, "m", "Of the water surface.")
    read = _checked("times", times, 0.5, 86400.0, "s", "Time several floats.")
    deep = _checked("depths", depths, 0.001, 20.0, "m", "Measure depths at equal steps across.")
    coefficient, reach = FLOAT_COEFFICIENTS[bed]
    count = len(deep)
    # Depths differ across the bed as it does: what they scatter is shape. Halving the steps moves the area by about this.
    shape = max((abs(after - before) for before, after in pairwise([0.0, *deep, 0.0])), default=0.0) / (
        4.0 * (count + 1)
    )
    components = [
        Component("distance", distance, half_width(FLOAT_DISTANCE_HALF_WIDTH), source="tape"),
        *_repeated("time", read, Stopwatch().start_stop_sd, "started and stopped by hand"),
        Component("width", width, half_width(FLOAT_WIDTH_HALF_WIDTH), source="tape"),
        Component("depth", sum(deep) / count, half_width(FLOAT_DEPTH_HALF_WIDTH), source="stick"),
        Component("shape of the bed", 0.0, shape, source=f"{count} depths across"),
        Component("coefficient", coefficient, half_width(reach), source=f"mean over surface velocity, {bed} bed"),
    ]

    def flow(values: Mapping[str, float]) -> float:
        depth = values["depth"] * count / (count + 1) + values["shape of the bed"]
        return values["coefficient"] * values["distance"] / _mean(values, "time") * values["width"] * depth

    return propagate(flow, components)


def typed_flow(flow: float, width: float | None = None) -> Estimate:
    """A flow [m3/s] as somebody gave it, with limits of plus or minus ``width``; as told without limits when left out."""
    require_range("flow", flow, 1e-7, 100.0, "m3/s", "Time how long it takes to fill a bucket.")
    return told_estimate(flow, width, "flow", FLOW_SPREAD)


def _carried(reading: SourceReading, share: Sequence[float], month: int) -> Estimate:
    """A reading carried to another month by the shares of both; an undated one stands for a share of 1."""
    own = share[reading.date.month - 1] if reading.date is not None else 1.0
    if own <= 0.0:
        raise InputError(
            "monthly_share",
            f"{own:g} in month {reading.date.month if reading.date else 0}",
            "the source was read in that month, so it ran",
            "Give each month's flow as a share of that of the month it was read in.",
        )
    factor = share[month - 1] / own
    if factor == 1.0:
        return reading.flow
    shared = typed_estimate(
        0.0, SHARE_HALF_WIDTH * factor * reading.flow.value, "share of the month", "the year's course"
    )
    return weighted_sum([(factor, reading.flow), (1.0, shared)])


def _after_stream(flow: Estimate, keeps: float) -> Estimate:
    """What is left when the stream keeps its share; never under nothing."""
    return replace(flow, value=max(0.0, flow.value - keeps))


def _lowest(flows: Sequence[Estimate]) -> Estimate:
    return min(flows, key=lambda flow: flow.value)


def driest(survey: Survey, month: int | None = None) -> Estimate:
    """What the source gives when driest, or in a month, what the stream keeps taken off.

    Parameters
    ----------
    survey : Survey
    month : int, optional
        1 to 12; the driest of the year when left out.

    Returns
    -------
    Estimate
        [m3/s], 0 where the stream keeps all. The lowest that any reading says. With shares of the months each reading is
        carried to the month by them; without, a month that was read is what was read in it, and any other is the lowest of
        all readings.

    Raises
    ------
    InputError
        No reading, no such month, or a share of 0 in a month that was read.
    """
    if not survey.source:
        raise InputError("source", "no readings", "it takes one at least", "Time how long it takes to fill a bucket.")
    if month is not None and month not in range(1, 13):
        raise InputError("month", month, "it must be 1 to 12")
    if survey.monthly_share is not None:
        months = range(1, 13) if month is None else (month,)
        flows = [_carried(reading, survey.monthly_share, one) for one in months for reading in survey.source]
    else:
        flows = [one.flow for one in survey.source if month is not None and one.date and one.date.month == month]
        flows = flows or [one.flow for one in survey.source]
    return _after_stream(_lowest(flows), survey.stream_keeps)


def months_known(survey: Survey) -> bool:
    """Whether the course of the year is known: by shares, or by readings in more than one month."""
    return survey.monthly_share is not None or len({one.date.month for one in survey.source if one.date}) > 1


def flow_by_month(survey: Survey) -> tuple[Estimate, ...]:
    """What the source gives in each month from January on [m3/s], as :func:`driest` has it."""
    return tuple(driest(survey, month) for month in range(1, 13))
