"""A visit's readings held against the promise of that day, and turned into a run of the twin.

Measured and promised are compared at nine chances in ten of both: the promise's range from 5 to 95 % to the side on which
the reading lies, and the reading's own uncertainty, as independent parts.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

from clackwork.bench.gum import Component, Estimate, coverage_factor, propagate
from clackwork.bench.instruments import Bucket, Gauge, Instruments, Stopwatch
from clackwork.bench.runs import Run, RunKind, reduce_run
from clackwork.errors import InputError, ModelError
from clackwork.ram.batch import Progress
from clackwork.ram.operating import line_head
from clackwork.ram.parts import DeliveryLine
from clackwork.site.promise import SITE_FRICTION_SPREAD, make_promise
from clackwork.site.site import Promise, Range, Reason, Site
from clackwork.site.standing import Standing
from clackwork.site.told import FLOW_SPREAD, told_estimate
from clackwork.site.visit import SiteReadings, Visit
from clackwork.twin.twin import Rig, Twin
from clackwork.water import STANDARD_GRAVITY, water_at

LEVEL = 0.90
"""Of promise and reading alike."""
KINDS: Mapping[str, str] = MappingProxyType(
    {
        "delivered_flow": "volume_flow",
        "waste_flow": "volume_flow",
        "water_needed": "volume_flow",
        "beat_rate": "beat_rate",
        "vessel_head": "head",
        "water_there": "volume_flow",
    }
)
"""Figures of a promise that a visit may measure, with the kind of quantity each is."""
OFF = {
    "above": "{measured} measured; {low} to {high} promised for that day: {widths} half-widths above the middle",
    "below": "{measured} measured; {low} to {high} promised for that day: {widths} half-widths below the middle",
    "in": "{measured} measured; {low} to {high} promised for that day",
}
"""Words of a comparison."""
DOUBTS = {
    "more_work_out_than_in": "more work comes out than goes in: {lifted} lifted by {lift} against {drawn} falling {fall}; "
    "a bucket, a time or a height is wrong",
    "gauge_below_the_lift": "the gauge shows {head} of head while water runs out {lift} up: gauge, lift, or where the "
    "water was caught is wrong",
    "more_drawn_than_there": "the pump drew {drawn} and the source was read as {source}: one of the two is wrong",
}
"""Words of readings that contradict each other; they are said, and nothing is dropped for them."""
_STANDS_OUT = 3.0
"""Standard uncertainties beyond which readings are said to contradict each other: as in the bench's own notes."""


@dataclass(frozen=True)
class SiteFigures:
    """What a visit's readings make, each with its uncertainty; None where they do not give it.

    Attributes
    ----------
    waste_flow, delivered_flow, drawn_flow : Estimate or None
        [m3/s]
    beat_rate : Estimate or None
        [1/s]
    vessel_head : Estimate or None
        At the gauge [m above the spill level].
    source_flow : Estimate or None
        [m3/s]
    """

    waste_flow: Estimate | None = None
    delivered_flow: Estimate | None = None
    drawn_flow: Estimate | None = None
    beat_rate: Estimate | None = None
    vessel_head: Estimate | None = None
    source_flow: Estimate | None = None

    def of_promise(self) -> dict[str, Estimate]:
        """Those given, by the names they have in a promise."""
        named = {
            "delivered_flow": self.delivered_flow,
            "waste_flow": self.waste_flow,
            "water_needed": self.drawn_flow,
            "beat_rate": self.beat_rate,
            "vessel_head": self.vessel_head,
            "water_there": self.source_flow,
        }
        return {name: read for name, read in named.items() if read is not None}


@dataclass(frozen=True)
class Compared:
    """One figure measured against what was promised.

    Attributes
    ----------
    figure : str
        A key of :data:`KINDS`.
    measured : Estimate
        SI.
    promised : Range
        SI.
    widths : float
        Distance from the promise's middle over half the width that nine readings in ten fill, with its sign: at 1 the
        reading stands on the edge of the band.
    """

    figure: str
    measured: Estimate
    promised: Range
    widths: float

    @property
    def is_in(self) -> bool:
        """Whether it lies within its band; a source that gives more than in its driest months breaks no promise."""
        return self.widths >= -1.0 if self.figure == "water_there" else abs(self.widths) <= 1.0

    @property
    def side(self) -> str:
        """ "in", "above" or "below" its band."""
        return "in" if self.is_in else "above" if self.widths > 0.0 else "below"

    @property
    def reason(self) -> Reason:
        """The comparison in words, its figures as data."""
        kind = KINDS[self.figure]
        values = {
            "measured": (self.measured.value, kind),
            "low": (self.promised.low, kind),
            "high": (self.promised.high, kind),
            "widths": (round(abs(self.widths), 1), "count"),
        }
        return Reason(f"{self.figure}_{self.side}", "note", OFF[self.side], values)


def as_it_stands(site: Site, standing: Standing | None) -> Site:
    """The place with the pipes that stand there, as designed where nothing else was written down.

    A line of several pipes is taken as one whose bore gives the same friction (as length over the fifth power of the
    bore, at one friction factor).

    Raises
    ------
    ModelError
        Several pumps stand there: what each of them draws is not known from readings of the line.
    """
    if standing is None:
        return site
    if standing.pumps > 1:
        raise ModelError(
            f"At {site.name} {standing.pumps} pumps stand on one line: readings there cannot be held against the promise "
            "of one of them. Shut the others and read one by itself."
        )
    line = site.line
    if standing.zones:
        lengths = [(zone.end - zone.start, zone.pipe) for zone in standing.zones]
        _, longest = max(lengths, key=lambda one: one[0])
        whole = standing.zones[-1].end
        bore = (whole / math.fsum(length / pipe.bore**5 for length, pipe in lengths)) ** 0.2
        line = replace(line, pipe=replace(longest, bore=bore), length=whole)
    return replace(site, drive_pipe=standing.drive_pipe or site.drive_pipe, line=line)


def site_on_day(site: Site, readings: SiteReadings, standing: Standing | None = None) -> Site:
    """The place as it stood on the day: pipes as built, fall, lift and temperature as read.

    The source stays as surveyed: what it gave on the day is held against that.

    Water caught at the pump stands against the gauge and not against the line: then a stub that takes that head stands in
    for the line.

    Raises
    ------
    InputError
        The fall or lift read cannot be, such as a lift below the fall.
    ModelError
        As for :func:`as_it_stands`.
    """
    stands = as_it_stands(site, standing)
    surroundings = stands.surroundings
    if readings.water_temperature is not None:
        surroundings = replace(surroundings, temperature=readings.water_temperature)
    line, lift_spread = stands.line, stands.lift_spread
    if readings.lift is not None:
        line = replace(line, lift=readings.lift)
        lift_spread = stands.lift_spread if readings.lift_spread is None else readings.lift_spread
    if readings.caught_at == "pump":
        head = _gauge_head(readings)
        line = DeliveryLine(line.pipe, 0.1, head.value)
        lift_spread = head.standard_uncertainty
    fall, fall_spread = readings.fall, readings.fall_spread
    return replace(
        stands,
        fall=stands.fall if fall is None else fall,
        fall_spread=stands.fall_spread if fall is None or fall_spread is None else fall_spread,
        line=line,
        lift_spread=lift_spread,
        lift_with_fall=stands.lift_with_fall if line == stands.line and fall is None else 0.0,
        surroundings=surroundings,
    )


def tuning_on_day(readings: SiteReadings, standing: Standing | None) -> dict[str, float | None]:
    """Stroke [m] and mass [kg] of the day: as read, else as it was left; None for those of the build."""
    left = (standing.stroke, standing.mass) if standing else (None, None)
    return {"stroke": readings.stroke or left[0], "mass": readings.mass or left[1]}


def twin_on_day(twin: Twin, readings: SiteReadings, standing: Standing | None = None) -> Twin:
    """The twin with the tuning of the day."""
    return replace(twin, build=twin.build.retuned(**tuning_on_day(readings, standing)))


def promise_on_day(
    twin: Twin,
    site: Site,
    readings: SiteReadings,
    standing: Standing | None = None,
    *,
    draws: int = 200,
    seed: int = 1,
    progress: Progress | None = None,
) -> Promise:
    """The promise made again for the fall, lift, water and tuning found on the day.

    Parameters
    ----------
    twin : Twin
    site : Site
        As designed.
    readings : SiteReadings
    standing : Standing, optional
        What stands there.
    draws, seed, progress
        As for :func:`clackwork.site.promise.make_promise`.

    Raises
    ------
    InputError, ModelError
        As for :func:`site_on_day` and :func:`clackwork.site.promise.make_promise`.
    """
    day = site_on_day(site, readings, standing)
    return make_promise(twin_on_day(twin, readings, standing), day, draws=draws, seed=seed, progress=progress)


def _bench_run(kind: RunKind, **read: object) -> Run:
    """A reading as the bench knows it; the fall plays no part in the figure taken from it."""
    return Run(name="visit", build="", rig="", kind=kind, fall_start=1.0, **read)  # type: ignore[arg-type]


def _bucket_flow(volume: float | None, duration: float | None, bucket: Bucket, used: Instruments) -> Estimate | None:
    """Flow of a timed bucket [m3/s]."""
    if volume is None:
        return None
    run = _bench_run(RunKind.HELD_OPEN, waste_volume=volume, duration=duration)
    return reduce_run(run, replace(used, bucket=replace(bucket, plan_area=None))).waste_flow


def _gauge_head(readings: SiteReadings) -> Estimate:
    """Head at the gauge [m above the spill level]."""
    run = _bench_run(
        RunKind.DEAD_HEAD, pressure_gauge=readings.pressure_gauge, water_temperature=readings.water_temperature
    )
    head = reduce_run(run, readings.instruments).back_pressure_head
    assert head is not None
    return head


def reduce_readings(readings: SiteReadings) -> SiteFigures:
    """Figures of a visit's readings with their budgets, each worked out as the bench does.

    Raises
    ------
    InputError
        Readings that make no figure.
    """
    used = readings.instruments
    waste = _bucket_flow(readings.waste_volume, readings.waste_duration, used.bucket_for("waste_volume"), used)
    delivered = _bucket_flow(
        readings.delivered_volume, readings.delivered_duration, used.bucket_for("delivered_volume"), used
    )
    drawn = None
    if waste is not None and delivered is not None:
        parts = [Component(n, e.value, e.standard_uncertainty) for n, e in (("waste", waste), ("delivered", delivered))]
        drawn = propagate(lambda v: v["waste"] + v["delivered"], parts)
    beat_rate = source = None
    if readings.beats is not None:
        run = _bench_run(RunKind.SHUT_BEATING, beats=readings.beats, duration=readings.beats_duration)
        beat_rate = reduce_run(run, used).beat_rate
    if readings.source_flow is not None:
        spread = readings.source_flow_spread
        width = None if spread is None else math.sqrt(3.0) * spread
        source = told_estimate(readings.source_flow, width, "source flow", FLOW_SPREAD)
    head = None if readings.pressure_gauge is None else _gauge_head(readings)
    return SiteFigures(waste, delivered, drawn, beat_rate, head, source)


def _widths(measured: Estimate, promised: Range) -> float:
    """Distance from the middle over half the band on that side."""
    off = measured.value - promised.middle
    if off == 0.0:
        return 0.0
    edge = promised.high if off > 0.0 else promised.low
    reach = coverage_factor(LEVEL, measured.degrees_of_freedom) * measured.standard_uncertainty
    half = math.hypot(edge - promised.middle, reach)
    return off / half if half > 0.0 else math.copysign(math.inf, off)


def compare_with_promise(promise: Promise, readings: SiteReadings) -> tuple[Compared, ...]:
    """Each figure read against the promise.

    Parameters
    ----------
    promise : Promise
        For the day, as :func:`promise_on_day` makes it.
    readings : SiteReadings

    Returns
    -------
    tuple of Compared
        In the order of :data:`KINDS`; empty when nothing was read that a promise says. The gauge is left out where it set
        the back-pressure of water caught at the pump.
    """
    found = reduce_readings(readings).of_promise()
    if readings.caught_at == "pump":
        found.pop("vessel_head", None)
    compared = []
    for figure in KINDS:
        if figure in found:
            promised: Range = getattr(promise, figure)
            compared.append(Compared(figure, found[figure], promised, _widths(found[figure], promised)))
    return tuple(compared)


def contradictions(site: Site, readings: SiteReadings, standing: Standing | None = None) -> tuple[Reason, ...]:
    """Readings that cannot all be right, whatever the pump."""
    figures, day = reduce_readings(readings), site_on_day(site, readings, standing)
    drawn, lifted, said = figures.drawn_flow, figures.delivered_flow, []
    if drawn is not None and lifted is not None:
        gain = Component("gain", lifted.value * day.line.lift, lifted.standard_uncertainty * day.line.lift)
        spent = Component("spent", drawn.value * day.fall, drawn.standard_uncertainty * day.fall)
        heights = math.hypot(lifted.value * day.lift_spread, drawn.value * day.fall_spread)
        left = propagate(lambda v: v["spent"] - v["gain"], [gain, spent])
        if left.value < -_STANDS_OUT * math.hypot(left.standard_uncertainty, heights):
            values = {
                "lifted": (lifted.value, "volume_flow"),
                "lift": (day.line.lift, "head"),
                "drawn": (drawn.value, "volume_flow"),
                "fall": (day.fall, "head"),
            }
            said.append(_doubt("more_work_out_than_in", **values))
    head = figures.vessel_head
    reaches_tank = lifted is not None and lifted.value > 0.0 and readings.caught_at == "tank"
    if head is not None and reaches_tank:
        slack = _STANDS_OUT * math.hypot(head.standard_uncertainty, day.lift_spread)
        if head.value < day.line.lift - slack:
            said.append(_doubt("gauge_below_the_lift", head=(head.value, "head"), lift=(day.line.lift, "head")))
    source = figures.source_flow
    if drawn is not None and source is not None:
        slack = _STANDS_OUT * math.hypot(drawn.standard_uncertainty, source.standard_uncertainty)
        if drawn.value > source.value + max(slack, 0.02 * source.value):
            both = {"drawn": (drawn.value, "volume_flow"), "source": (source.value, "volume_flow")}
            said.append(_doubt("more_drawn_than_there", **both))
    return tuple(said)


def _doubt(name: str, **values: tuple[float, str]) -> Reason:
    return Reason(name, "note", DOUBTS[name], values)


def visit_run(visit: Visit, site: Site, standing: Standing | None = None) -> tuple[Rig, Run]:
    """A visit as a run on a rig made of the place, so that :func:`clackwork.twin.fit.fit_twin` can take it.

    A run has one duration, and a visit times each reading by itself: volumes are carried over to the time of the beats at
    the rates read, and the instruments' errors with them, the watch's by the shortest time.

    Raises
    ------
    InputError
        What a fit needs was not read: delivered water, and water wasted or beats; or no build is named.
    """
    read, field = visit.readings, f"visit '{visit.name}'"
    if visit.build is None:
        raise InputError(f"{field}, build", "(nothing)", "a twin is fitted to a build", "Name the build there.")
    if not read.delivered_volume or (read.waste_volume is None and read.beats is None):
        raise InputError(
            f"{field}, for_twin",
            '"yes"',
            "the fit needs the water delivered, and water wasted or beats",
            "Read them, or leave it out of the twin.",
        )
    day = site_on_day(site, read, standing)
    time = read.beats_duration or read.delivered_duration
    assert time is not None
    instruments = _carried(read, time)
    head, gauge = _set_head(read, day)
    rig = Rig(
        name=f"{visit.site}, {visit.name}",
        drive_pipe=day.drive_pipe,
        supply=day.supply,
        surroundings=day.surroundings,
        instruments=replace(
            instruments,
            gauge=gauge,
            level_rule=replace(instruments.level_rule, half_width=day.fall_spread * math.sqrt(3.0), name=visit.site),
        ),
    )
    waste = None if read.waste_volume is None else read.waste_volume * time / _given(read.waste_duration)
    run = Run(
        name=f"visit '{visit.name}'",
        build=visit.build,
        rig=rig.name,
        kind=RunKind.DELIVERING,
        fall_start=day.fall,
        duration=time,
        waste_volume=waste,
        delivered_volume=read.delivered_volume * time / _given(read.delivered_duration),
        beats=read.beats,
        pressure_gauge=read.pressure_gauge,
        gauge_head=head,
        water_temperature=read.water_temperature,
        note=visit.note,
    )
    return rig, replace(run, **tuning_on_day(read, standing))  # type: ignore[arg-type]


def _given(duration: float | None) -> float:
    assert duration is not None  # a bucket without its time was refused
    return duration


def _carried(read: SiteReadings, time: float) -> Instruments:
    """Instruments whose errors, over ``time`` [s], are those the readings had over their own."""
    used, scales = read.instruments, []
    buckets = []
    for name, volume, duration in (
        ("waste_volume", read.waste_volume, read.waste_duration),
        ("delivered_volume", read.delivered_volume, read.delivered_duration),
    ):
        bucket = used.bucket_for(name)
        scale = 1.0 if duration is None else time / duration
        scales.append(scale)
        spread = bucket.standard_uncertainty(volume or 0.0) * math.sqrt(3.0) * scale
        buckets.append(Bucket(spread, name=f"{bucket.name}, {name}" if bucket.name else ""))
    if read.beats_duration is not None:
        scales.append(time / read.beats_duration)
    watch = Stopwatch(used.stopwatch.start_stop_sd * max(scales))
    return replace(used, bucket=buckets[0], delivery_bucket=buckets[1], stopwatch=watch)


def _set_head(read: SiteReadings, day: Site) -> tuple[float | None, Gauge]:
    """Head that stood against the pump, None where the gauge says it, and the gauge whose errors it has.

    Without a gauge it is the lift and the friction of what was delivered; its error is that of the lift and of a line
    whose roughness nobody measured.
    """
    if read.pressure_gauge is not None:
        return None, read.instruments.gauge
    water = water_at(day.surroundings.temperature, day.surroundings.altitude)
    head = line_head(day.line, _given(read.delivered_volume) / _given(read.delivered_duration), water)
    spread = math.hypot(day.lift_spread, SITE_FRICTION_SPREAD * (head - day.line.lift))
    scale = 2.0 * head * water.density * STANDARD_GRAVITY
    gauge = Gauge(full_scale=scale, accuracy_class=0.0, resolution=0.0, height_half_width=spread * math.sqrt(3.0))
    return head, gauge
