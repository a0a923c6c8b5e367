"""What a bench is read with, and how far each reading can be trusted.

Defaults are what a workshop usually has; a calibrated instrument deserves its own figures.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from clackwork.bench.gum import half_width
from clackwork.errors import InputError

# Standard deviation of an interval started and stopped by hand: Am. J. Phys. 87(2), 110 (2019).
START_STOP_SD = 0.10  # [s]
# A line drawn in a 20 L bucket filled on scales, read by eye: common practice, no published source.
MARK_HALF_WIDTH = 5e-5  # [m3]
# Water surface against a rule, ripples stilled: common practice, no published source.
LEVEL_HALF_WIDTH = 0.002  # [m]
# Spill level carried over to the rule's zero with a water tube: common practice, no published source.
DATUM_HALF_WIDTH = 0.003  # [m]
# Dial gauge of 10 bar and class 1.6: a class of EN 837-1 (from memory), error as a share of full scale.
GAUGE_FULL_SCALE = 1.0e6  # [Pa]
GAUGE_CLASS = 0.016  # [-]
# Smallest step read on such a dial, a tenth of a bar: common practice, no published source.
GAUGE_RESOLUTION = 1.0e4  # [Pa]
# Height of the gauge's centre by a rule: common practice, no published source.
GAUGE_HEIGHT_HALF_WIDTH = 0.005  # [m]
# Glass or probe thermometer held in the stream: common practice, no published source.
TEMPERATURE_HALF_WIDTH = 0.5  # [K]
# Whole beats counted against a watch: up to one beat too many or too few at the ends.
BEAT_HALF_WIDTH = 1.0  # [-]


def _not_negative(owner: str, **values: float | None) -> None:
    for name, value in values.items():
        if value is not None and not (math.isfinite(value) and value >= 0.0):
            raise InputError(f"{owner}.{name}", value, "it must be 0 or more")


def _positive(owner: str, **values: float | None) -> None:
    for name, value in values.items():
        if value is not None and not (math.isfinite(value) and value > 0.0):
            raise InputError(f"{owner}.{name}", value, "it must be above 0", "Leave it out when unknown.")


@dataclass(frozen=True)
class Bucket:
    """A vessel with a mark, caught in or drained.

    Attributes
    ----------
    mark_uncertainty : float
        Half width of what the mark may be wrong by [m3]; rectangular, the same at each filling.
    plan_area : float or None
        Of the water surface of a vessel the pump drains [m2]; None when the supply is held or not known.
    capacity : float or None
        Most it holds [m3]. More than that caught means several fillings, each with the mark's error; more
        than that drawn from a vessel of known plan area cannot be.
    name : str
        Two rigs that share one bucket give it the same name; without a name it belongs to its rig alone.
    """

    mark_uncertainty: float = MARK_HALF_WIDTH
    plan_area: float | None = None
    capacity: float | None = None
    name: str = ""

    def __post_init__(self) -> None:
        _not_negative("bucket", mark_uncertainty=self.mark_uncertainty)
        _positive("bucket", plan_area=self.plan_area, capacity=self.capacity)

    def standard_uncertainty(self, volume: float) -> float:
        """Of a caught volume [m3]; several fillings carry the mark's error several times."""
        fillings = 1 if self.capacity is None else max(1, math.ceil(volume / self.capacity))
        return half_width(self.mark_uncertainty) * fillings


@dataclass(frozen=True)
class Stopwatch:
    """A watch started and stopped by hand.

    Attributes
    ----------
    start_stop_sd : float
        Standard deviation of an interval [s], drawn anew in each run.
    """

    start_stop_sd: float = START_STOP_SD

    def __post_init__(self) -> None:
        _not_negative("stopwatch", start_stop_sd=self.start_stop_sd)


@dataclass(frozen=True)
class Gauge:
    """A pressure gauge at the pump or its vessel.

    Attributes
    ----------
    full_scale : float
        [Pa]
    accuracy_class : float
        Half width of its error as a fraction of full scale (0.016 for class 1.6); rectangular, the same
        in each run.
    resolution : float
        Smallest step read [Pa]; rectangular, half of it to either side, drawn anew in each run.
    height_above_datum : float
        Of the gauge's centre above the level at which the waste valve spills [m].
    height_half_width : float
        Half width of what that height may be wrong by [m].
    name : str
        As for a bucket.
    """

    full_scale: float = GAUGE_FULL_SCALE
    accuracy_class: float = GAUGE_CLASS
    resolution: float = GAUGE_RESOLUTION
    height_above_datum: float = 0.0
    height_half_width: float = GAUGE_HEIGHT_HALF_WIDTH
    name: str = ""

    def __post_init__(self) -> None:
        _positive("gauge", full_scale=self.full_scale)
        _not_negative("gauge", resolution=self.resolution, height_half_width=self.height_half_width)
        if not 0.0 <= self.accuracy_class <= 0.2:
            raise InputError(
                "gauge.accuracy_class",
                self.accuracy_class,
                "it must be 0 to 0.2 of full scale",
                "Write 0.016 for class 1.6.",
            )
        if not abs(self.height_above_datum) <= 50.0:
            raise InputError("gauge.height_above_datum", self.height_above_datum, "it must be -50 to 50 m")

    @property
    def class_uncertainty(self) -> float:
        """Standard uncertainty of the gauge's own error [Pa]."""
        return half_width(self.accuracy_class * self.full_scale)

    @property
    def reading_uncertainty(self) -> float:
        """Standard uncertainty of reading its dial [Pa]."""
        return half_width(0.5 * self.resolution)


@dataclass(frozen=True)
class LevelRule:
    """A rule at the supply's water surface.

    Attributes
    ----------
    half_width : float
        Half width of one reading's error [m]; rectangular, drawn anew at each reading.
    datum_half_width : float
        Half width of the error of its zero against the datum [m]; the same in each run.
    name : str
        As for a bucket.
    """

    half_width: float = LEVEL_HALF_WIDTH
    datum_half_width: float = DATUM_HALF_WIDTH
    name: str = ""

    def __post_init__(self) -> None:
        _not_negative("level_rule", half_width=self.half_width, datum_half_width=self.datum_half_width)


@dataclass(frozen=True)
class Thermometer:
    """For the water; ``half_width`` is that of its error [K]."""

    half_width: float = TEMPERATURE_HALF_WIDTH

    def __post_init__(self) -> None:
        _not_negative("thermometer", half_width=self.half_width)


@dataclass(frozen=True)
class Instruments:
    """What one rig is read with.

    Attributes
    ----------
    bucket : Bucket
        Of drawn and wasted water.
    delivery_bucket : Bucket or None
        Of delivered water; None when the same bucket is used.
    stopwatch : Stopwatch
    gauge : Gauge
    level_rule : LevelRule
    thermometer : Thermometer
    """

    bucket: Bucket = field(default_factory=Bucket)
    delivery_bucket: Bucket | None = None
    stopwatch: Stopwatch = field(default_factory=Stopwatch)
    gauge: Gauge = field(default_factory=Gauge)
    level_rule: LevelRule = field(default_factory=LevelRule)
    thermometer: Thermometer = field(default_factory=Thermometer)

    def bucket_for(self, reading: str) -> Bucket:
        """The bucket of ``"drawn_volume"``, ``"waste_volume"`` or ``"delivered_volume"``."""
        if reading == "delivered_volume" and self.delivery_bucket is not None:
            return self.delivery_bucket
        return self.bucket
