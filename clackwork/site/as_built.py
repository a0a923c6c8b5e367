"""What stands at a place: pipes and tuning as built, since when, and how long the workshop answers for it."""

from __future__ import annotations

import calendar
import datetime
from dataclasses import dataclass

from clackwork.errors import require_positive, require_range
from clackwork.ram.parts import Build, DeliveryLine, DrivePipe


@dataclass(frozen=True)
class AsBuilt:
    """What stands at a place; what was not written down is as designed.

    Attributes
    ----------
    date : datetime.date or None
        Day it was put in.
    drive_pipe : DrivePipe or None
    line : DeliveryLine or None
        Its lift is that of the place.
    stroke, mass : float or None
        Tuning it was left at [m], [kg].
    warranty_months : int or None
        From ``date`` on; None for none promised.
    serial : str
        What is stamped on the pump.
    """

    date: datetime.date | None = None
    drive_pipe: DrivePipe | None = None
    line: DeliveryLine | None = None
    stroke: float | None = None
    mass: float | None = None
    warranty_months: int | None = None
    serial: str = ""

    def __post_init__(self) -> None:
        for name, value, unit in (("stroke", self.stroke, "m"), ("mass", self.mass, "kg")):
            if value is not None:
                require_positive(f"as_built.{name}", value, unit)
        if self.warranty_months is not None:
            require_range("as_built.warranty_months", self.warranty_months, 0, 600, "")

    @property
    def warranty_ends(self) -> datetime.date | None:
        """Day on which the warranty ends; None where none was promised or nobody wrote down since when."""
        if self.date is None or not self.warranty_months:
            return None
        return months_after(self.date, self.warranty_months)

    def tuned(self, build: Build) -> Build:
        """A build with the stroke and mass it was left at."""
        return build.retuned(stroke=self.stroke, mass=self.mass)


def months_after(day: datetime.date, months: int) -> datetime.date:
    """The same day of the month some months later, or the last of a month too short for it."""
    years, month = divmod(day.month - 1 + months, 12)
    year = day.year + years
    return day.replace(year=year, month=month + 1, day=min(day.day, calendar.monthrange(year, month + 1)[1]))
