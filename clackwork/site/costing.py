"""What a design costs: its bill of materials by a price list, the margin, and what a cubic metre comes to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from clackwork.errors import require_not_negative, require_positive, require_range
from clackwork.pipes import Pipe
from clackwork.ram.parts import DrivePipe, SupplyPipe
from clackwork.site.design import Choice, Zone
from clackwork.site.prices import Alternative, CostLine, PriceList, Quotation

DAYS_A_YEAR = 365.25

PARTS = (
    "strainer",
    "gate valve",
    "pressure gauge",
    "drive pipe fittings, each pump",
    "anchors, each pump",
    "standpipe",
    "vessel, each litre",
    "air valve",
    "drain valve",
    "line fittings, each change of pipe",
    "tank, each m3",
    "tank fittings",
)
"""Parts a bill of materials may ask for, by the names a price list uses. What else a list prices, such as transport,
stands once in every bill."""
HOURS = (
    "set out",
    "each pump",
    "each 10 m of drive pipe",
    "each 10 m of supply pipe",
    "standpipe",
    "each 100 m of line",
    "tank",
    "first start",
)
"""Work a bill may ask for, by the names a price list uses."""


@dataclass(frozen=True)
class Bill:
    """What a design is made of, as far as it is bought.

    Attributes
    ----------
    build : str
    pumps : int
    drive_pipe : DrivePipe
        Of one pump.
    feed : SupplyPipe or None
    zones : tuple of Zone
        Of the delivery line.
    vessel_volume : float
        Advised for one pump [m3]; counted only where the pump's own is smaller, so 0 for none.
    tank_volume : float or None
        [m3]
    air_valves, drains : int
    """

    build: str
    pumps: int
    drive_pipe: DrivePipe
    feed: SupplyPipe | None
    zones: tuple[Zone, ...]
    vessel_volume: float = 0.0
    tank_volume: float | None = None
    air_valves: int = 0
    drains: int = 1


def bill_of(choice: Choice, *, air_valves: int = 0, drains: int = 1) -> Bill:
    """The bill of a choice.

    Parameters
    ----------
    choice : Choice
    air_valves, drains : int, optional
        From :func:`clackwork.site.high_points.air_points` and :func:`clackwork.site.high_points.drain_points`.
    """
    more = max(choice.vessel_volume - choice.build.air_vessel.volume, 0.0)
    return Bill(
        choice.build.name, choice.pumps, choice.drive_pipe, choice.feed, choice.zones,
        vessel_volume=choice.vessel_volume if more > 0.0 else 0.0,
        tank_volume=choice.tank_volume, air_valves=air_valves, drains=drains,
    )  # fmt: skip


def bill_lines(bill: Bill, prices: PriceList) -> tuple[CostLine, ...]:
    """Every line of a bill with its price where the list has one, things first and then hours."""
    lines = [CostLine("pump", bill.pumps, "each", prices.pumps.get(bill.build), bill.build)]
    lines += _pipe_lines(bill, prices)
    changes = len(bill.zones) - 1
    amounts: dict[str, tuple[float, str]] = {
        "strainer": (1.0 if bill.feed else float(bill.pumps), "each"),
        "gate valve": (2.0 * bill.pumps, "each"),
        "pressure gauge": (1.0, "each"),
        "drive pipe fittings, each pump": (float(bill.pumps), "each"),
        "anchors, each pump": (float(bill.pumps), "each"),
        "standpipe": (1.0 if bill.feed else 0.0, "each"),
        "vessel, each litre": (1e3 * bill.vessel_volume * bill.pumps, "L"),
        "air valve": (float(bill.air_valves), "each"),
        "drain valve": (float(bill.drains), "each"),
        "line fittings, each change of pipe": (float(changes), "each"),
        "tank, each m3": (bill.tank_volume or 0.0, "m3"),
        "tank fittings": (1.0 if bill.tank_volume else 0.0, "each"),
    }
    lines += [CostLine(name, *amounts[name], prices.parts.get(name)) for name in PARTS if amounts[name][0] > 0.0]
    lines += [CostLine(name, 1.0, "each", price) for name, price in prices.parts.items() if name not in PARTS]
    return (*lines, *_hour_lines(bill, prices))


def _pipe_lines(bill: Bill, prices: PriceList) -> list[CostLine]:
    """Pipe by the metre: drive pipes and what they come from, supply pipe, zones of the line."""
    pipes: list[tuple[str, Pipe, float]] = []
    drive: DrivePipe | None = bill.drive_pipe
    while drive is not None:
        pipes.append(("drive pipe", drive.pipe, bill.pumps * drive.length))
        drive = drive.upstream
    if bill.feed is not None:
        pipes.append(("supply pipe", bill.feed.pipe, bill.feed.length))
    pipes += [("delivery pipe", zone.pipe, zone.end - zone.start) for zone in bill.zones]
    merged: dict[tuple[str, Pipe], float] = {}
    for what, pipe, length in pipes:
        merged[what, pipe] = merged.get((what, pipe), 0.0) + length
    return [
        CostLine(what, length, "m", prices.pipes.get((pipe.series, pipe.size)), f"{pipe.series} {pipe.size}")
        for (what, pipe), length in merged.items()
    ]


def _hour_lines(bill: Bill, prices: PriceList) -> list[CostLine]:
    """Hours of work. What the list has no hours for is left out where the list has any: its work is then in the others."""
    line = bill.zones[-1].end if bill.zones else 0.0
    times = {
        "set out": 1.0,
        "each pump": float(bill.pumps),
        "each 10 m of drive pipe": bill.pumps * bill.drive_pipe.length / 10.0,
        "each 10 m of supply pipe": bill.feed.length / 10.0 if bill.feed else 0.0,
        "standpipe": 1.0 if bill.feed else 0.0,
        "each 100 m of line": line / 100.0,
        "tank": 1.0 if bill.tank_volume else 0.0,
        "first start": 1.0,
    }
    if not prices.hours:
        return [CostLine("work", 0.0, "h", None)]
    rate = prices.hour if prices.hour > 0.0 else None
    return [
        CostLine("work", prices.hours[name] * times[name], "h", rate, name)
        for name in HOURS
        if name in prices.hours and times[name] > 0.0
    ]


def capital_recovery(interest: float, life: float) -> float:
    """Share of a first cost to be paid each year of a life so that it is paid back with interest.

    Parameters
    ----------
    interest : float
        Yearly rate, 0 to 1.
    life : float
        [years], above 0.

    Returns
    -------
    float
        i (1 + i)^n / ((1 + i)^n - 1), and 1 / n without interest (any text on engineering economy).
    """
    require_range("interest", interest, 0.0, 1.0, "a year", "Was it typed in percent?")
    require_positive("life", life, "years")
    if interest * life < 1e-9:
        return 1.0 / life
    grown = (1.0 + interest) ** life
    return float(interest * grown / (grown - 1.0))


def cost_of_volume(first_cost: float, yearly_cost: float, life: float, interest: float, daily: float) -> float:
    """Cost of a cubic metre over the life of what brings it; infinite when nothing comes.

    Parameters
    ----------
    first_cost, yearly_cost : float
    life : float
        [years]
    interest : float
        Yearly rate.
    daily : float
        Water a day [m3].
    """
    require_not_negative("first_cost", first_cost, "")
    require_not_negative("yearly_cost", yearly_cost, "")
    yearly = first_cost * capital_recovery(interest, life) + yearly_cost
    return yearly / (daily * DAYS_A_YEAR) if daily > 0.0 else float("inf")


def quote(bill: Bill, prices: PriceList, daily: float, alternatives: Sequence[Alternative] = ()) -> Quotation:
    """What a design costs, and its water against other ways to the same.

    Parameters
    ----------
    bill : Bill
    prices : PriceList
    daily : float
        Water a day that is promised [m3]: its middle, or its lower end to be on the safe side.
    alternatives : sequence of Alternative
        As the user describes them; with the same interest.

    Returns
    -------
    Quotation
        Lines without a price are named in ``missing`` and left out of every sum, which is then too low.
    """
    lines = bill_lines(bill, prices)
    cost = sum(line.cost for line in lines)
    price = cost * (1.0 + require_not_negative("margin", prices.margin, ""))
    care = prices.yearly_care * bill.pumps
    return Quotation(
        currency=prices.currency,
        lines=lines,
        cost=cost,
        price=price,
        missing=tuple(line.name for line in lines if line.price is None),
        yearly=price * capital_recovery(prices.interest, prices.life) + care,
        per_volume=cost_of_volume(price, care, prices.life, prices.interest, daily),
        alternatives=tuple(
            (one, cost_of_volume(one.first_cost, one.yearly_cost, one.life, prices.interest, one.daily))
            for one in alternatives
        ),
    )
