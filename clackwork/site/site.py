"""A customer's place, and what is promised there."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from clackwork.errors import InputError, require_range
from clackwork.ram.parts import DeliveryLine, DrivePipe, Supply, SupplyPipe, Surroundings
from clackwork.ram.source import require_submergence


@dataclass(frozen=True)
class Site:
    """A customer's place as surveyed.

    Attributes
    ----------
    name : str
    fall : float
        Source surface above the pump's spill level [m].
    fall_spread : float
        Its standard uncertainty [m].
    source_flow : float
        Water the source gives [m3/s].
    source_flow_spread : float
        Its standard uncertainty [m3/s].
    drive_pipe : DrivePipe
    line : DeliveryLine
        Its ``lift`` is measured from the pump; :func:`lift_from_source` turns the other reading into it.
    lift_spread : float
        Standard uncertainty of the lift [m].
    lift_with_fall : float
        The part of it that is the fall's own, where the lift was measured from the source and the fall added [m]: what the
        fall is off by, the lift is off by as well.
    surroundings : Surroundings
    wanted_flow : float or None
        Delivered flow the customer wants [m3/s].
    feed : SupplyPipe or None
        Brings the water from the source into a standpipe at the head of the drive pipe.
    standpipe_area : float
        Plan area of that standpipe [m2].
    submergence : float
        Depth of the drive pipe's mouth under the full level [m]; 0 when it was not measured.
    told : tuple of str
        Those of "fall", "lift" and "source flow" of which no limits were given: their spreads are assumed.
    """

    name: str
    fall: float
    source_flow: float
    drive_pipe: DrivePipe
    line: DeliveryLine
    fall_spread: float = 0.0
    source_flow_spread: float = 0.0
    lift_spread: float = 0.0
    lift_with_fall: float = 0.0
    surroundings: Surroundings = Surroundings()
    wanted_flow: float | None = None
    feed: SupplyPipe | None = None
    standpipe_area: float = math.inf
    submergence: float = 0.0
    told: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        require_range("site.fall", self.fall, 0.1, 60.0, "m", "Fall is from the source down to the pump.")
        require_range(
            "site.source_flow", self.source_flow, 1e-6, 1.0, "m3/s", "Time how long it takes to fill a bucket."
        )
        require_submergence("site.submergence", self.submergence, self.fall)
        if self.feed is not None and not self.standpipe_area < math.inf:
            raise InputError(
                "site.standpipe_area", "none", "a supply pipe fills a standpipe", "Measure its inside diameter."
            )
        require_range(
            "site.lift_with_fall", self.lift_with_fall, 0.0, self.lift_spread * (1.0 + 1e-9), "m", "A part of it."
        )
        if self.wanted_flow is not None:
            require_range(
                "site.wanted_flow", self.wanted_flow, 1e-9, 1.0, "m3/s", "Leave it out when nothing was asked."
            )
        if self.line.lift <= self.fall:
            raise InputError(
                "site.lift_from_pump",
                f"{self.line.lift:g} m",
                f"it must be above the fall of {self.fall:g} m, else water runs there by itself",
                "Lift from pump is the height of the outlet above the pump; give lift_from_source if you measured "
                "from the spring.",
            )

    @property
    def supply(self) -> Supply:
        """The source with its supply pipe, if it has one."""
        return Supply(self.fall, self.standpipe_area, self.feed)


def lift_from_source(height_above_source: float, fall: float) -> float:
    """Lift from the pump [m], of an outlet ``height_above_source`` [m] above the source."""
    return height_above_source + fall


@dataclass(frozen=True)
class Range:
    """5, 50 and 95 % points of a figure, SI."""

    low: float
    middle: float
    high: float


@dataclass(frozen=True)
class Reason:
    """One reason for an answer, as data: the edge writes its values in the units asked for.

    Attributes
    ----------
    id : str
        A key of :data:`clackwork.site.promise.REASONS`.
    hardness : str
        "no" when it forbids the pump there, "only if" when it is a condition, "note" when it is to be known and changes
        nothing about the answer.
    words : str
        A template for ``str.format``, the values' names in braces.
    values : mapping of str to (float, str)
        SI value and kind of quantity of every name in ``words``.
    """

    id: str
    hardness: str
    words: str
    values: Mapping[str, tuple[float, str]]


@dataclass(frozen=True)
class Promise:
    """What a build will do at a site, with ranges.

    Attributes
    ----------
    site, build : str
    answer : str
        "yes", "only if" or "no".
    reasons : tuple of Reason
        Why not, on what condition, and what else is to be known, hardest first.
    state_shares : dict of str to float
        Share of draws in each state.
    daily_delivery : Range
        [m3/day]; draws that do not beat count as nothing delivered.
    delivered_flow, waste_flow, water_needed : Range
        [m3/s]; ``water_needed`` is all that the drive pipe draws.
    beat_rate : Range
        [1/s]
    daubuisson_efficiency, rankine_efficiency : Range
        With the lift itself for h, so line friction counts against them.
    vessel_head : Range
        [m]
    peak_head : Range
        In the body of a pump that beats, as modelled [m]; 0 when no draw beats.
    surge_head : Range
        Supply head plus full water-hammer rise of the closing velocity [m]. Where the pump stalls there is no such closing:
        then it is the surge of the full flow, as when the waste valve is shut by hand.
    rating_head : float
        Rating of the drive pipe at the water's temperature [m of water].
    pressure_margin : float
        Rating over the highest of peak and surge at 95 %.
    stall_margin : float
        Closing velocity over the steady one, best values: at 1 the pump stands open.
    water_there : Range
        [m3/s]
    share_enough_water : float
        Share of draws in which the source gives what the pump draws.
    draws : int
    seed : int
    cautions : tuple of str
        Ids of the cautions that apply.
    vessel_air : (float, float) or None
        How long the vessel's air lasts, best values, its water stirred and gently moved [s]; None where it lasts for
        good or nothing is delivered.
    source_state : str
        With the best values and the source as surveyed: "enough", "drawn down", "starved", or the state of a pump that
        does not beat.
    drawdown : float
        Fall of the source's level then [m].
    pumps : int
        Like pumps side by side on one delivery line; flows are of all together, beats, heads and efficiencies of each.
    """

    site: str
    build: str
    answer: str
    reasons: tuple[Reason, ...]
    state_shares: dict[str, float]
    daily_delivery: Range
    delivered_flow: Range
    waste_flow: Range
    water_needed: Range
    beat_rate: Range
    daubuisson_efficiency: Range
    rankine_efficiency: Range
    vessel_head: Range
    peak_head: Range
    surge_head: Range
    rating_head: float
    pressure_margin: float
    stall_margin: float
    water_there: Range
    share_enough_water: float
    draws: int
    seed: int
    cautions: tuple[str, ...]
    vessel_air: tuple[float, float] | None = None
    source_state: str = "enough"
    drawdown: float = 0.0
    pumps: int = 1

    @property
    def share_beating(self) -> float:
        """Share of draws that beat, evenly or not."""
        return 1.0 - self.state_shares.get("stalled open", 0.0) - self.state_shares.get("stalled shut", 0.0)

    @property
    def is_beating(self) -> bool:
        """Whether most draws beat."""
        return self.share_beating > 0.5
