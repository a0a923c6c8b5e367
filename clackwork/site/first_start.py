"""What an installer reads at the first start to see whether a pump runs as promised: bands from the promise."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from clackwork.ram.parts import STANDARD_GRAVITY, DrivePipe
from clackwork.site.design import Choice
from clackwork.site.site import Range
from clackwork.water import water_at

START_PRESSURE = 10.0 * 6894.757293168
"""Pressure held back at the pump by the throttled delivery while it is started [Pa]: about 10 psi (Clemson University
extension, home-made hydraulic ram pump)."""
LEAST_TIMING = 20.0
"""Shortest filling worth timing by hand [s]: the hand's own 0.3 s or so is then under 2 %. Common practice, no published
source."""
INTAKE_DEPTH = 0.30
"""Depth of the intake's mouth under the lowest level [m] (Globo Rural, 2023)."""
LITRE_BUCKETS = (0.001, 0.002, 0.005, 0.010, 0.020)
"""Vessels at hand where litres are used [m3]: common practice, no published source."""
GALLON_BUCKETS = tuple(gallons * 3.785411784e-3 for gallons in (0.25, 0.5, 1.0, 2.0, 5.0))
"""Vessels at hand where US gallons are used [m3]: common practice, no published source."""


@dataclass(frozen=True)
class FirstStart:
    """Bands of the readings of one pump at its first start, 5 to 95 % of the promise.

    Attributes
    ----------
    beat_rate : Range
        [1/s]
    waste_bucket, delivery_bucket : float
        Vessels to fill [m3]; the delivery's is held at the outlet of the line, where all pumps come together.
    waste_time, delivery_time : Range
        To fill them [s]; infinite where nothing may come.
    vessel_pressure : Range
        Steady gauge pressure at the vessel [Pa].
    start_pressure : float
        Gauge pressure to throttle the delivery to at the start [Pa].
    line_volume : float
        Water that fills the delivery line [m3].
    line_filled : Range
        How long until water comes at the outlet [s], at the promised flow; sooner in truth, as the line fills from below.
    pipe_force : float
        Push along the drive pipe on the pump at the highest head promised [N].
    highest_pressure : float
        Highest gauge pressure promised for the drive pipe [Pa].
    pipe_slope : float
        Length of the drive pipe for each metre of fall [-].
    """

    beat_rate: Range
    waste_bucket: float
    delivery_bucket: float
    waste_time: Range
    delivery_time: Range
    vessel_pressure: Range
    start_pressure: float
    line_volume: float
    line_filled: Range
    pipe_force: float
    highest_pressure: float
    pipe_slope: float


def filling_time(volume: float, flow: Range) -> Range:
    """How long a flow [m3/s] takes to fill a volume [m3], shortest, middle and longest [s]."""

    def lasts(rate: float) -> float:
        return volume / rate if rate > 0.0 else math.inf

    return Range(lasts(flow.high), lasts(flow.middle), lasts(flow.low))


def pick_bucket(flow: float, buckets: Sequence[float]) -> float:
    """The smallest vessel [m3] that a flow [m3/s] takes long enough to fill; the largest where none is."""
    ordered = sorted(buckets)
    return next((volume for volume in ordered if volume >= flow * LEAST_TIMING), ordered[-1])


def shared(whole: Range, pumps: int) -> Range:
    """One pump's part of what ``pumps`` alike do together."""
    return Range(whole.low / pumps, whole.middle / pumps, whole.high / pumps)


def first_start(choice: Choice, *, buckets: Sequence[float] = LITRE_BUCKETS) -> FirstStart:
    """Bands of an installer's readings for a design.

    Parameters
    ----------
    choice : Choice
        Its promise is of all pumps together.
    buckets : sequence of float
        Vessels that may be at hand [m3].
    """
    promise, surroundings = choice.promise, choice.site.surroundings
    unit_weight = water_at(surroundings.temperature, surroundings.altitude).density * STANDARD_GRAVITY
    waste = shared(promise.waste_flow, choice.pumps)
    waste_bucket = pick_bucket(waste.middle, buckets)
    delivery_bucket = pick_bucket(promise.delivered_flow.middle, buckets)
    line_volume = sum(_volume(zone.pipe.bore, zone.end - zone.start) for zone in choice.zones) or _volume(
        choice.site.line.pipe.bore, choice.site.line.length
    )
    head = promise.vessel_head
    highest = unit_weight * max(promise.peak_head.high, promise.surge_head.high)
    return FirstStart(
        beat_rate=promise.beat_rate,
        waste_bucket=waste_bucket,
        delivery_bucket=delivery_bucket,
        waste_time=filling_time(waste_bucket, waste),
        delivery_time=filling_time(delivery_bucket, promise.delivered_flow),
        vessel_pressure=Range(unit_weight * head.low, unit_weight * head.middle, unit_weight * head.high),
        start_pressure=START_PRESSURE,
        line_volume=line_volume,
        line_filled=filling_time(line_volume, promise.delivered_flow),
        pipe_force=highest * 0.25 * math.pi * choice.drive_pipe.pipe.bore**2,
        highest_pressure=highest,
        pipe_slope=whole_length(choice.drive_pipe) / choice.site.fall,
    )


def _volume(bore: float, length: float) -> float:
    """Of a pipe's inside [m3]."""
    return 0.25 * math.pi * bore**2 * length


def whole_length(drive_pipe: DrivePipe) -> float:
    """Of all drive pipes in series [m]."""
    return drive_pipe.length + (whole_length(drive_pipe.upstream) if drive_pipe.upstream else 0.0)
