"""One part in service, from the day it was fitted: every look at it, and how its life came out."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from types import MappingProxyType

from clackwork.errors import InputError, require_range
from clackwork.life.exposures import Exposure
from clackwork.life.wear import WearReading
from clackwork.site.visit import PARTS

MEASURES: Mapping[str, str] = MappingProxyType({"wear": "small_length", "weight_loss": "mass", "leak": "volume_flow"})
"""How wear is measured, with the kind of quantity: depth of wear, weight lost, leak past the seat."""
OUTCOMES = ("runs on", "failed", "renewed sound", "taken out")
"""What a look ended in. Parts renewed or taken out before they failed are lives cut short, not failures."""
DAY = 86400.0
A_MONTH = 1.0 / (DAY * 365.25 / 12.0)
"""One in a month of the calendar [1/s]."""


@dataclass(frozen=True)
class Look:
    """One inspection.

    Attributes
    ----------
    date : datetime.date
    outcome : str
        Of :data:`OUTCOMES`.
    beats : float or None
        Counted since it was fitted; None where they follow from the days and the beat rate.
    wear, wear_uncertainty : float or None
        Depth of wear and its standard uncertainty [m]; a wear of 0 is no mark.
    weight_loss, weight_loss_uncertainty : float or None
        Since it was fitted [kg].
    leak, leak_uncertainty : float or None
        Past the shut valve [m3/s].
    seen_failing : bool
        Whether a failure was seen when it happened; else it came some time since the look before.
    cause : str
        Of a failure.
    found : str
        How it looked.
    """

    date: datetime.date
    outcome: str
    beats: float | None = None
    wear: float | None = None
    wear_uncertainty: float | None = None
    weight_loss: float | None = None
    weight_loss_uncertainty: float | None = None
    leak: float | None = None
    leak_uncertainty: float | None = None
    seen_failing: bool = False
    cause: str = ""
    found: str = ""

    def measured(self, measure: str) -> tuple[float | None, float | None]:
        """Value and standard uncertainty of one of :data:`MEASURES`; None where it was not measured."""
        return getattr(self, measure), getattr(self, f"{measure}_uncertainty")


@dataclass(frozen=True)
class PartRecord:
    """A part and its looks, in order of date.

    Attributes
    ----------
    name : str
    part : str
        A key of :data:`clackwork.site.visit.PARTS`.
    material : str
        A key of :data:`clackwork.life.stress.MATERIALS`.
    build : str
        The build it is fitted to.
    place : str
        Name of the site or rig where it runs.
    on_rig : bool
        Whether ``place`` is a rig.
    fitted : datetime.date
    looks : tuple of Look
    running_share : float
        Share of the time that the pump runs.
    wear_limit, weight_loss_limit, leak_limit : float or None
        Wear, weight lost and leak at which it is renewed [m], [kg], [m3/s].
    """

    name: str
    part: str
    material: str
    build: str
    place: str
    on_rig: bool
    fitted: datetime.date
    looks: tuple[Look, ...] = ()
    running_share: float = 1.0
    wear_limit: float | None = None
    weight_loss_limit: float | None = None
    leak_limit: float | None = None

    def __post_init__(self) -> None:
        if self.part not in PARTS:
            raise InputError(f"part '{self.name}', part", self.part, f"it must be one of {', '.join(PARTS)}")
        require_range(f"part '{self.name}', running_share", self.running_share, 1e-3, 1.0, "")
        if self.looks and self.looks[0].date < self.fitted:
            raise InputError(
                f"part '{self.name}', look of {self.looks[0].date}",
                self.looks[0].date,
                f"it must not be before it was fitted, on {self.fitted}",
                "Look at both dates.",
            )
        for before, after in pairwise(self.looks):
            self._check_order(before, after)
        for look in self.looks:
            self._check_look(look)

    def _check_order(self, before: Look, after: Look) -> None:
        if after.date < before.date:
            raise InputError(
                f"part '{self.name}', look of {after.date}",
                after.date,
                f"it must not be before the look of {before.date}",
            )
        if before.outcome != "runs on":
            raise InputError(
                f"part '{self.name}', look of {after.date}",
                after.date,
                f"its life ended on {before.date} ({before.outcome})",
                "What was fitted then is another part: enter it by itself.",
            )
        if before.beats is not None and after.beats is not None and after.beats < before.beats:
            raise InputError(
                f"part '{self.name}', look of {after.date}, beats",
                f"{after.beats:g}",
                f"beats do not go backwards: {before.beats:g} were counted on {before.date}",
                "Was the counter reset? Enter beats since the part was fitted.",
            )

    def _check_look(self, look: Look) -> None:
        if look.outcome not in OUTCOMES:
            raise InputError(
                f"part '{self.name}', look of {look.date}, outcome",
                look.outcome,
                f"it must be one of {', '.join(OUTCOMES)}",
            )
        for measure in MEASURES:
            value, spread = look.measured(measure)
            if value is not None and (value < 0.0 or not (spread or 0.0) > 0.0):
                raise InputError(
                    f"part '{self.name}', look of {look.date}, {measure}",
                    f"{value:g} (SI)" if value < 0.0 else "without its uncertainty",
                    "it cannot be negative" if value < 0.0 else "it needs what it may be off by",
                    "Of no mark, give the smallest you would have seen.",
                )
        if look.outcome == "failed" and look.date == self.fitted and not look.beats:
            raise InputError(
                f"part '{self.name}', look of {look.date}",
                "failed",
                "a failure comes after some beats, and it was fitted on that day",
                "Give the beats it had run; or was it the part before that failed on the day this one was fitted?",
            )
        if look.cause and look.outcome != "failed":
            raise InputError(
                f"part '{self.name}', look of {look.date}, cause",
                look.cause,
                "only a failure has a cause",
                "Or say failed.",
            )

    def beats_at(self, look: Look, beat_rate: float) -> float:
        """Beats from fitting to a look: counted, or from days, the share of running and the beat rate [1/s]."""
        if look.beats is not None:
            return look.beats
        return (look.date - self.fitted).days * DAY * self.running_share * beat_rate

    def exposure(self, beat_rate: float, today: datetime.date) -> Exposure:
        """Its life in beats, censored as it is known.

        Parameters
        ----------
        beat_rate : float
            Of the pump at its place [1/s].
        today : datetime.date
            A part that was never looked at is taken to run still only up to its last look; one without a look shows nothing.

        Raises
        ------
        InputError
            When a failure comes out at no life at all, or a look lies after ``today``.
        """
        for look in self.looks:
            if look.date > today:
                raise InputError(f"part '{self.name}', look of {look.date}", look.date, f"today is {today}")
        lived = [self.beats_at(look, beat_rate) for look in self.looks]
        if not lived:
            return Exposure(0.0, part=self.name)
        last = self.looks[-1]
        if last.outcome != "failed":
            return Exposure(lived[-1], part=self.name)
        if not lived[-1] > 0.0:
            raise InputError(
                f"part '{self.name}', look of {last.date}",
                "failed",
                "a failure comes after some beats",
                "Was it the part before that failed on the day this one was fitted?",
            )
        if last.seen_failing:
            return Exposure(lived[-1], lived[-1], part=self.name, cause=last.cause)
        earlier = lived[-2] if len(lived) > 1 else 0.0
        return Exposure(min(earlier, lived[-1]), lived[-1], part=self.name, cause=last.cause)

    def months_lived(self, today: datetime.date) -> Exposure:
        """The same in months of the calendar (of 30.44 days); a failure on the day of fitting came within that day."""
        last = self.looks[-1] if self.looks else None
        if last is not None and last.outcome == "failed" and last.date == self.fitted:
            return Exposure(0.0, DAY * A_MONTH, part=self.name, cause=last.cause)
        return replace(self, looks=_uncounted(self.looks), running_share=1.0).exposure(A_MONTH, today)

    def wear_by_month(self, measure: str = "wear") -> tuple[WearReading, ...]:
        """Its wear over months of the calendar, by one of :data:`MEASURES`."""
        by_days = replace(self, looks=tuple(look for look in _uncounted(self.looks) if look.date > self.fitted))
        return replace(by_days, running_share=1.0).wear_readings(A_MONTH, measure)

    def wear_readings(self, beat_rate: float, measure: str = "wear") -> tuple[WearReading, ...]:
        """Its wear over beats; looks on the day it was fitted say nothing."""
        found = []
        for look in self.looks:
            beats, (value, spread) = self.beats_at(look, beat_rate), look.measured(measure)
            if value is not None and spread is not None and beats > 0.0:
                found.append(WearReading(self.name, beats, value, spread))
        return tuple(found)


def _uncounted(looks: Sequence[Look]) -> tuple[Look, ...]:
    """Looks as if nothing had been counted: the days between are the life."""
    return tuple(replace(look, beats=None) for look in looks)


def count_outcomes(records: Sequence[PartRecord]) -> dict[str, int]:
    """How many parts ended how; those without a look run on."""
    found = dict.fromkeys(OUTCOMES, 0)
    for record in records:
        found[record.looks[-1].outcome if record.looks else "runs on"] += 1
    return found


def causes(records: Sequence[PartRecord]) -> dict[str, int]:
    """Failures by cause, most frequent first; "not said" where none was."""
    found: dict[str, int] = {}
    for record in records:
        if record.looks and record.looks[-1].outcome == "failed":
            cause = record.looks[-1].cause or "not said"
            found[cause] = found.get(cause, 0) + 1
    return dict(sorted(found.items(), key=lambda item: (-item[1], item[0])))
