"""What a design of a site is: pumps, tuning, pipes, and what was found about them."""

from __future__ import annotations

from dataclasses import dataclass

from clackwork.pipes import Pipe
from clackwork.ram.parts import Build, DrivePipe, SupplyPipe
from clackwork.site.prices import Quotation
from clackwork.site.site import Promise, Reason, Site

AIMS = ("delivery", "least_water", "cost")
"""What a choice is best for."""


LEAST_SHARE = 0.02
"""Share of the spread from which a reading is named: common practice, no published source."""


@dataclass(frozen=True)
class Zone:
    """A stretch of the delivery line with one pipe.

    Attributes
    ----------
    pipe : Pipe
    start, end : float
        Along the line from the pump [m].
    highest_head : float
        Highest head of the water in it, surge included, above the pipe itself [m].
    lowest_head : float
        Lowest [m]; under 0 it sucks.
    rating_head : float
        Rating of the pipe at the temperature of its wall, as a head [m].
    """

    pipe: Pipe
    start: float
    end: float
    highest_head: float
    lowest_head: float
    rating_head: float

    @property
    def margin(self) -> float:
        """Rating over highest head."""
        return self.rating_head / self.highest_head


@dataclass(frozen=True)
class FatigueLaw:
    """What one law says of a plastic pipe under the beats.

    Attributes
    ----------
    law : str
        Its author: "Vinson", "Bowman".
    source : str
    cycles : float
        Beats to failure.
    years : float
        At the beat rate of the design.
    inside : bool
        Whether its cycles, and the beats of a year, lie inside what its tests covered.
    at_least : bool
        True for a test that ended without a failure: what comes after its cycles is not known.
    """

    law: str
    source: str
    cycles: float
    years: float
    inside: bool
    at_least: bool = False


@dataclass(frozen=True)
class PipeCheck:
    """One pipe against what it bears.

    Attributes
    ----------
    where : str
        "drive pipe", "supply pipe" or "delivery line".
    pipe : Pipe
    highest_head, lowest_head : float
        Of the water in it, at its lowest and highest place, above the pipe itself [m].
    swing_head : float
        Range of head in each beat [m].
    rating_head : float
        At the temperature of its wall [m].
    fatigue : tuple of FatigueLaw
        Empty for a pipe that is not plastic or sees no beats.
    reasons : tuple of Reason
    stretch : (float, float) or None
        Of the delivery line: from where to where along it from the pump [m].
    """

    where: str
    pipe: Pipe
    highest_head: float
    lowest_head: float
    swing_head: float
    rating_head: float
    fatigue: tuple[FatigueLaw, ...]
    reasons: tuple[Reason, ...]
    stretch: tuple[float, float] | None = None


@dataclass(frozen=True)
class RuleOfThumb:
    """What an author's rule would have chosen, beside the engine's own.

    Attributes
    ----------
    topic : str
        "drive pipe length".
    author : str
    low, high : float
        SI, of kind ``kind``.
    kind : str
        Kind of quantity.
    """

    topic: str
    author: str
    low: float
    high: float
    kind: str


@dataclass(frozen=True)
class MonthPlan:
    """What to do in one month.

    Attributes
    ----------
    month : int
        1 to 12.
    source_flow : float
        Middle of what the source gives, what the stream keeps taken off [m3/s].
    pumps : int
        Pumps that run.
    stroke, mass : float
        Their tuning [m], [kg].
    delivered_daily : float
        All pumps together [m3/day].
    needed_daily : float
        [m3/day]
    water_drawn : float
        All pumps together [m3/s].
    words : str
        Id of what to do: "as designed", "shorter stroke", "one pump off", "all off".
    """

    month: int
    source_flow: float
    pumps: int
    stroke: float
    mass: float
    delivered_daily: float
    needed_daily: float
    water_drawn: float
    words: str


@dataclass(frozen=True)
class Assumed:
    """One thing that was not said and had to be taken for granted.

    Attributes
    ----------
    what : str
        Its name: "drive_length".
    value : float or str
        SI, or the series and size of a pipe; "" where there is no figure.
    kind : str
        Kind of quantity; "pipe" for a pipe, "words" where there is no figure.
    why : str
    """

    what: str
    value: float | str
    kind: str
    why: str


@dataclass(frozen=True)
class Choice:
    """One sensible design of a site.

    Attributes
    ----------
    best_for : tuple of str
        Of :data:`AIMS`; empty for one shown as a middle way.
    build : Build
        With the tuning that is asked for (stroke and mass of its waste valve).
    twin_name : str
        Build whose twin it rests on.
    pumps : int
        Side by side, each on a drive pipe of its own, on one delivery line.
    drive_pipe : DrivePipe
    feed : SupplyPipe or None
        With a standpipe of ``standpipe_diameter`` [m].
    standpipe_diameter : float
    zones : tuple of Zone
        Of the delivery line, from the pump.
    site : Site
        The place with these pipes, the line and the source whole, as :func:`clackwork.site.promise.make_promise` takes it
        with the number of pumps.
    promise : Promise
        Of all pumps together: flows are sums. Its answer takes in what the checks say.
    stroke_band, mass_band : (float, float)
        Tuning that holds within 95 % of the best [m], [kg].
    vessel_volume : float
        Least vessel advised for one pump [m3].
    tank_volume : float or None
        Advised [m3]; None when the need was not said.
    checks : tuple of PipeCheck
    rules : tuple of RuleOfThumb
    months : tuple of MonthPlan
        Empty when only one flow of the source is known.
    quotation : Quotation or None
        None without a price list.
    reasons : tuple of Reason
        Those of the promise and of the checks, hardest first.
    by_length : tuple of (float, float, float)
        Length of the drive pipe [m], what all pumps would deliver on it at the best tuning that the source feeds [m3/day],
        and the beats of that tuning [1/s], by the engine's best values; 0 and 0 where no tuning serves. Where shorter pipes
        deliver more, it is the rate of the beats that rules them out.
    """

    best_for: tuple[str, ...]
    build: Build
    twin_name: str
    pumps: int
    drive_pipe: DrivePipe
    feed: SupplyPipe | None
    standpipe_diameter: float
    zones: tuple[Zone, ...]
    site: Site
    promise: Promise
    stroke_band: tuple[float, float]
    mass_band: tuple[float, float]
    vessel_volume: float
    tank_volume: float | None
    checks: tuple[PipeCheck, ...]
    rules: tuple[RuleOfThumb, ...]
    months: tuple[MonthPlan, ...]
    quotation: Quotation | None
    reasons: tuple[Reason, ...]
    by_length: tuple[tuple[float, float, float], ...] = ()


@dataclass(frozen=True)
class Design:
    """The choices for a site.

    Attributes
    ----------
    site : str
    answer : str
        "yes", "only if" or "no", that of the best choice.
    choices : tuple of Choice
        Two to five, best for delivery first; one at least, even where the answer is no.
    limit : Reason
        The one thing that limits the place most.
    measure_again : tuple of (str, float)
        Readings of the survey and the share of the promise's spread that each brings, largest first.
    engine_runs : int
    assumed : tuple of Assumed
        What the survey does not say.
    """

    site: str
    answer: str
    choices: tuple[Choice, ...]
    limit: Reason | None
    measure_again: tuple[tuple[str, float], ...]
    engine_runs: int
    assumed: tuple[Assumed, ...] = ()

    @property
    def readings_worth(self) -> tuple[tuple[str, float], ...]:
        """Those of ``measure_again`` that bring enough of the spread to be named."""
        return tuple(one for one in self.measure_again if one[1] >= LEAST_SHARE)

    @property
    def told_readings(self) -> frozenset[str]:
        """Readings as in ``measure_again`` of which no limits were given, so that they are assumed."""
        ends = (one.what for one in self.assumed if one.what.endswith("_spread"))
        return frozenset(what.removesuffix("_spread").replace("_", " ") for what in ends)
