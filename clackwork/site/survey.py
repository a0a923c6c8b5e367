"""What is known of a customer's place before anything is designed: heights, source, way of the line, needs."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

from clackwork.bench.gum import Estimate
from clackwork.errors import InputError, require_range
from clackwork.ram.parts import Surroundings
from clackwork.site.needs import Needs
from clackwork.site.route import Route

CARRIED = ("sand", "silt", "leaves", "iron", "lime")
"""What water may carry that a pump minds."""
DRINKERS = ("nobody", "animals", "people")
"""Who drinks what is delivered."""
FALLS = (0.1, 60.0)
"""Least and most fall [m]."""
FLOWS = (1e-6, 1.0)
"""Least and most that a source gives [m3/s]."""


@dataclass(frozen=True)
class SourceReading:
    """One reading of what the source gives.

    Attributes
    ----------
    flow : Estimate
        [m3/s]
    method : str
        "bucket", "notch", "float" or "typed".
    date : datetime.date or None
        None when it was not said.
    """

    flow: Estimate
    method: str
    date: datetime.date | None = None


@dataclass(frozen=True)
class Survey:
    """A place as surveyed.

    Attributes
    ----------
    name : str
    fall : Estimate
        Source surface above the pump's spill level [m].
    fall_method : str
        "level", "hose", "gauge", "map" or "typed".
    lift : Estimate
        Outlet above the pump's spill level [m].
    lift_method : str
        As ``fall_method``.
    source : tuple of SourceReading
        One at least; the flow to design for is that of the driest (:func:`clackwork.site.source_flow.driest`).
    monthly_share : tuple of 12 floats or None
        Flow of each month from January on over that of the month of the reading it was scaled from; None when only
        the readings are known.
    ground_to_source : float or None
        From the pump up to the source along the ground [m]: the shortest drive pipe, or drive and supply pipe, that reaches.
    route : Route or None
        The way of the delivery line; None when only its length is known.
    line_length : float
        Of the delivery line [m].
    surroundings : Surroundings
    frost_depth : float
        Depth to which the ground freezes [m]; 0 for none.
    carries : tuple of str
        Of :data:`CARRIED`.
    drinkers : str
        Of :data:`DRINKERS`.
    stream_keeps : float
        Flow that has to stay in the stream [m3/s].
    needs : Needs or None
    wanted_flow : float or None
        Delivered flow the customer wants [m3/s]; None when nothing was said.
    wall_temperature : float or None
        Highest temperature of a pipe's wall in the sun [K]; None for that of the water.
    """

    name: str
    fall: Estimate
    lift: Estimate
    source: tuple[SourceReading, ...]
    line_length: float
    fall_method: str = "typed"
    lift_method: str = "typed"
    monthly_share: tuple[float, ...] | None = None
    ground_to_source: float | None = None
    route: Route | None = None
    surroundings: Surroundings = Surroundings()
    frost_depth: float = 0.0
    carries: tuple[str, ...] = ()
    drinkers: str = "nobody"
    stream_keeps: float = 0.0
    needs: Needs | None = None
    wanted_flow: float | None = None
    wall_temperature: float | None = None

    def __post_init__(self) -> None:
        require_range("survey.fall", self.fall.value, *FALLS, "m", "Fall is from the source down to the pump.")
        require_range("survey.lift", self.lift.value, 0.1, 400.0, "m", "Lift is from the pump up to the outlet.")
        require_range("survey.line_length", self.line_length, 0.1, 20000.0, "m", "Along the pipe.")
        if self.lift.value <= self.fall.value:
            raise InputError(
                "survey.lift",
                f"{self.lift.value:g} m",
                f"it must be above the fall of {self.fall.value:g} m, else water runs there by itself",
                "Lift counts from the pump, not from the source.",
            )
        if not self.source:
            raise InputError("survey.source", "no readings", "it takes one at least", "Time how a bucket fills.")
        for reading in self.source:
            flow = reading.flow.value
            require_range("survey.source_flow", flow, *FLOWS, "m3/s", "Time how long it takes to fill a bucket.")
