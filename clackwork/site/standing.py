"""What is chosen for a place, or what stands there: the parts of a design that are kept with it."""

from __future__ import annotations

import calendar
import datetime
from dataclasses import dataclass

from clackwork.errors import InputError
from clackwork.pipes import Pipe
from clackwork.ram.parts import DrivePipe


@dataclass(frozen=True)
class LaidPipe:
    """A stretch of the delivery line with one pipe, from ``start`` to ``end`` along it from the pump [m]."""

    pipe: Pipe
    start: float
    end: float


@dataclass(frozen=True)
class Standing:
    """A design as chosen, or a plant as built.

    Attributes
    ----------
    build : str
        Name of the build; empty when not said.
    pumps : int
        Side by side.
    stroke, mass : float or None
        Tuning of the waste valve [m], [kg]; None for that of the build.
    drive_pipe : DrivePipe or None
        None for that of the site.
    zones : tuple of LaidPipe
        Of the delivery line; empty for one pipe all along.
    vessel_volume, tank_volume : float or None
        [m3]
    date : datetime.date or None
        Of the choice, or of the day it was built.
    warranty_months : int
        From ``date`` on; 0 for none promised.
    serial : str
        What is stamped on the pump.
    note : str
    """

    build: str = ""
    pumps: int = 1
    stroke: float | None = None
    mass: float | None = None
    drive_pipe: DrivePipe | None = None
    zones: tuple[LaidPipe, ...] = ()
    vessel_volume: float | None = None
    tank_volume: float | None = None
    date: datetime.date | None = None
    warranty_months: int = 0
    serial: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        at = 0.0
        for zone in self.zones:
            if zone.start != at or zone.end <= zone.start:
                raise InputError(
                    "zones",
                    f"{zone.start:g} to {zone.end:g} m",
                    f"it must begin at {at:g} m, where the one before ends, and end further on",
                    "List the zones from the pump to the outlet.",
                )
            at = zone.end

    @property
    def warranty_ends(self) -> datetime.date | None:
        """Day on which the warranty ends; None where none was promised or nobody wrote down since when."""
        if self.date is None or not self.warranty_months:
            return None
        return months_after(self.date, self.warranty_months)


def months_after(day: datetime.date, months: int) -> datetime.date:
    """The same day of the month some months later, or the last of a month too short for it."""
    years, month = divmod(day.month - 1 + months, 12)
    year = day.year + years
    return day.replace(year=year, month=month + 1, day=min(day.day, calendar.monthrange(year, month + 1)[1]))
