"""A visit to a pump that stands at a place: what was read, what was changed, what was found."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from clackwork.bench.instruments import Instruments
from clackwork.errors import InputError, require_positive, require_range
from clackwork.water import HIGHEST_TEMPERATURE, LOWEST_TEMPERATURE

PURPOSES = ("commissioning", "service", "fault", "change")
"""Why somebody went there."""
CAUGHT_AT = ("tank", "pump")
"""Where delivered water was caught: at the end of the line, or at the pump against a throttle and a gauge."""
CONDITIONS = ("sound", "worn", "failed")
"""How a part was when it was replaced."""
PARTS: Mapping[str, str] = MappingProxyType(
    {
        "waste_rubber": "rubber or face of the waste valve",
        "waste_seat": "seat of the waste valve",
        "waste_guide": "guide or hinge of the waste valve",
        "waste_spring": "spring of the waste valve",
        "delivery_rubber": "rubber or face of the delivery valve",
        "delivery_seat": "seat of the delivery valve",
        "vessel": "air vessel",
        "snifter": "snifter",
        "bolts": "bolts and seals",
        "strainer": "strainer",
    }
)
"""Parts that wear, by the key under which their replacement is kept."""

_BUCKETS = ("waste", "delivered")


@dataclass(frozen=True, kw_only=True)
class SiteReadings:
    """What was read on one visit; None where nothing was.

    Each bucket and the beats have a time of their own: on a site they are seldom taken together.

    Attributes
    ----------
    waste_volume, waste_duration : float or None
        Caught at the waste valve [m3], in how long [s].
    delivered_volume, delivered_duration : float or None
        Caught of what is delivered [m3], in how long [s].
    caught_at : str
        Of :data:`CAUGHT_AT`; "pump" needs the gauge, which then is the back-pressure.
    beats, beats_duration : int, float or None
        Counted, in how long [s].
    pressure_gauge : float or None
        At the pump [Pa].
    fall, fall_spread : float or None
        Measured again [m], standard uncertainty [m]; without a spread that of the survey stands.
    lift, lift_spread : float or None
        Outlet above the pump, measured again [m].
    source_flow, source_flow_spread : float or None
        [m3/s]
    water_temperature : float or None
        [K]
    stroke, mass : float or None
        Tuning with which it was read [m], [kg]; None for that written down before.
    instruments : Instruments
    """

    waste_volume: float | None = None
    waste_duration: float | None = None
    delivered_volume: float | None = None
    delivered_duration: float | None = None
    caught_at: str = "tank"
    beats: int | None = None
    beats_duration: float | None = None
    pressure_gauge: float | None = None
    fall: float | None = None
    fall_spread: float | None = None
    lift: float | None = None
    lift_spread: float | None = None
    source_flow: float | None = None
    source_flow_spread: float | None = None
    water_temperature: float | None = None
    stroke: float | None = None
    mass: float | None = None
    instruments: Instruments = field(default_factory=Instruments)

    def __post_init__(self) -> None:
        ranges = (
            ("fall", 0.1, 60.0, "m"),
            ("lift", 0.1, 400.0, "m"),
            ("source_flow", 1e-6, 1.0, "m3/s"),
            ("water_temperature", LOWEST_TEMPERATURE, HIGHEST_TEMPERATURE, "K"),
            ("pressure_gauge", 0.0, self.instruments.gauge.full_scale, "Pa"),
            *((f"{name}_volume", 0.0, 100.0, "m3") for name in _BUCKETS),
            *((f"{name}_duration", 0.5, 1e6, "s") for name in (*_BUCKETS, "beats")),
        )
        for name, low, high, unit in ranges:
            value = getattr(self, name)
            if value is not None:
                require_range(f"visit.{name}", value, low, high, unit)
        for name, unit in (("stroke", "m"), ("mass", "kg"), ("waste_volume", "m3"), ("beats", "")):
            value = getattr(self, name)
            if value is not None:
                require_positive(f"visit.{name}", value, unit, "Leave it out when it was not read.")
        if self.caught_at not in CAUGHT_AT:
            raise InputError("visit.caught_at", self.caught_at, f"it must be one of {', '.join(CAUGHT_AT)}")
        self._check_pairs()

    def _check_pairs(self) -> None:
        """Refuse half of a pair of readings, and a bucket at the pump against nobody knows what."""
        pairs = [(f"{name}_volume", f"{name}_duration", "a bucket") for name in _BUCKETS]
        for one, other, what in (*pairs, ("beats", "beats_duration", "a count")):
            for there, missing in ((one, other), (other, one)):
                if getattr(self, there) is not None and getattr(self, missing) is None:
                    raise InputError(
                        f"visit.{missing}",
                        "(nothing)",
                        f"{what} needs both {one} and {other}",
                        "Time it by the watch." if missing == other else "Leave the time out when nothing was read.",
                    )
        if self.delivered_volume is not None and self.caught_at == "pump" and self.pressure_gauge is None:
            raise InputError(
                "visit.gauge_pressure",
                "(nothing)",
                "water caught at the pump needs the pressure it was held against",
                "Throttle until the gauge stands where the line held it, or catch the water at the tank.",
            )

    @property
    def is_empty(self) -> bool:
        """Whether nothing was read that can be held against a promise."""
        return all(
            one is None
            for one in (self.waste_volume, self.delivered_volume, self.beats, self.pressure_gauge, self.source_flow)
        )


@dataclass(frozen=True)
class ReplacedPart:
    """A part replaced, for a later study of wear.

    Attributes
    ----------
    part : str
        A key of :data:`PARTS`.
    condition : str
        Of the old one, of :data:`CONDITIONS`.
    beats : float or None
        It had run, by count or from rate and days.
    run_time : float or None
        [s]
    """

    part: str
    condition: str
    beats: float | None = None
    run_time: float | None = None


@dataclass(frozen=True, kw_only=True)
class Visit:
    """One visit.

    Attributes
    ----------
    name, site : str
    date : datetime.date
    purpose : str
        Of :data:`PURPOSES`.
    build : str or None
        The build that stands there; None when it was not said.
    who : str
    readings : SiteReadings
        With the tuning as it was left.
    stroke_before, mass_before : float or None
        Tuning as found, where it was changed [m], [kg].
    parts : tuple of ReplacedPart
    care : tuple of str
        Ids of the care done, of :data:`clackwork.site.due.CARE`.
    for_twin : bool
        Whether its readings shall feed the twin of the build.
    found, note : str
    """

    name: str
    site: str
    date: datetime.date
    purpose: str
    build: str | None = None
    who: str = ""
    readings: SiteReadings = field(default_factory=SiteReadings)
    stroke_before: float | None = None
    mass_before: float | None = None
    parts: tuple[ReplacedPart, ...] = ()
    care: tuple[str, ...] = ()
    for_twin: bool = False
    found: str = ""
    note: str = ""
