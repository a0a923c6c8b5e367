"""A workshop's prices, and what a design costs by them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

PIPE_KINDS = ("drive", "supply", "delivery")


@dataclass(frozen=True)
class PriceList:
    """What a workshop asks.

    Attributes
    ----------
    currency : str
        As printed: "EUR".
    pumps : mapping of str to float
        Price of a pump by the name of its build.
    pipes : mapping of (str, str) to float
        Price of a metre by series and size.
    parts : mapping of str to float
        Price of anything else by name: "strainer", "standpipe", "tank, each m3", "valve at the tank".
    hour : float
        Price of an hour of work.
    hours : mapping of str to float
        Hours of work by name: "set out", "each pump", "each 10 m of drive pipe", "each 100 m of line".
    margin : float
        Share put on top of cost.
    yearly_care : float
        Cost of care a year for each pump.
    life : float
        Years over which the cost of water is worked out.
    interest : float
        Yearly rate [-].
    """

    currency: str
    pumps: Mapping[str, float] = field(default_factory=dict)
    pipes: Mapping[tuple[str, str], float] = field(default_factory=dict)
    parts: Mapping[str, float] = field(default_factory=dict)
    hour: float = 0.0
    hours: Mapping[str, float] = field(default_factory=dict)
    margin: float = 0.0
    yearly_care: float = 0.0
    life: float = 15.0
    interest: float = 0.0


@dataclass(frozen=True)
class CostLine:
    """One line of a bill of materials.

    Attributes
    ----------
    what : str
        "pump", "drive pipe", "supply pipe", "delivery pipe", "work" or one of :data:`clackwork.site.costing.PARTS`.
    amount : float
    unit : str
        "each", "m", "h", "L" or "m3".
    price : float or None
        Of one unit; None when the price list has none, and then the whole is said to be incomplete.
    detail : str
        Which one: the build, the pipe's series and size, the sort of work; a name that no language changes, save that of
        work, one of :data:`clackwork.site.costing.HOURS`.
    """

    what: str
    amount: float
    unit: str
    price: float | None
    detail: str = ""

    @property
    def name(self) -> str:
        """What it is, and which one."""
        return f"{self.what}, {self.detail}" if self.detail else self.what

    @property
    def cost(self) -> float:
        """Amount times price; 0 while the price is not known."""
        return self.amount * (self.price or 0.0)


@dataclass(frozen=True)
class Alternative:
    """Another way to the same water, as the user describes it.

    Attributes
    ----------
    name : str
        "electric pump", "carried by hand".
    first_cost, yearly_cost : float
        In the currency of the price list.
    life : float
        [years]
    daily : float
        Water a day [m3].
    """

    name: str
    first_cost: float
    yearly_cost: float
    life: float
    daily: float


@dataclass(frozen=True)
class Quotation:
    """What a design costs.

    Attributes
    ----------
    currency : str
    lines : tuple of CostLine
    cost, price : float
        Without and with margin.
    missing : tuple of str
        Lines without a price: ``cost`` and ``price`` leave them out.
    yearly : float
        Capital spread over the life with interest, and care [a year].
    per_volume : float
        Cost of a cubic metre delivered [currency/m3].
    alternatives : tuple of (Alternative, float)
        Each with its cost of a cubic metre.
    """

    currency: str
    lines: tuple[CostLine, ...]
    cost: float
    price: float
    missing: tuple[str, ...]
    yearly: float
    per_volume: float
    alternatives: tuple[tuple[Alternative, float], ...] = ()
