"""Candidates with all their pipes laid: line in zones, supply pipe and standpipe, at their operating points."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from clackwork.errors import ModelError
from clackwork.pipes import Pipe
from clackwork.ram.engine import BeatResult, RamCase
from clackwork.ram.parts import SupplyPipe
from clackwork.ram.shared import settle_alike
from clackwork.site.candidates import Asked, Candidate
from clackwork.site.costing import Bill, quote
from clackwork.site.design import Zone
from clackwork.site.laying import LINE_FITTINGS, size_line, size_supply
from clackwork.site.line_checks import zone_line
from clackwork.site.line_heads import LineDuty, line_in_one
from clackwork.site.place import Place
from clackwork.site.prices import PriceList
from clackwork.site.site import Site
from clackwork.site.standpipe import beat_volume, size_standpipe
from clackwork.site.stock import Stock
from clackwork.site.tried import retuned_twin
from clackwork.twin.fit import with_parameters
from clackwork.twin.twin import Twin

WIDER_BRINGS = 1.02
"""A wider delivery pipe is taken where it brings so much more water: common practice, no published source."""
_HIGH_FLOW = 1.2
"""Flow over the best value's that a line is made safe for before the promise is known."""
_NO_PRICE = 1e9
"""Taken for each line that the price list has no price for."""
_MOUTH_OVER_FALL = 0.2
"""Depth of the drive pipe's mouth in a standpipe over the fall: common practice, no published source."""

LaidCost = Callable[["Laid"], float]


@dataclass(frozen=True)
class Laid:
    """A candidate on all its pipes.

    Attributes
    ----------
    candidate : Candidate
        Its flows those at the operating point, by best values.
    site : Site
    zones : tuple of Zone
    standpipe_diameter : float
        [m]; 0 for none.
    point : BeatResult or None
        Of one pump at the operating point; None before it was solved.
    """

    candidate: Candidate
    site: Site
    zones: tuple[Zone, ...]
    standpipe_diameter: float
    point: BeatResult | None = None

    @property
    def twin(self) -> Twin:
        """The twin with this tuning."""
        return retuned_twin(self.candidate.twin, self.candidate.stroke, self.candidate.mass)

    @property
    def case(self) -> RamCase:
        """One pump with the whole line, best values."""
        return case_of(self.twin, self.site)


def case_of(twin: Twin, site: Site) -> RamCase:
    """A twin's best values at a site."""
    build = with_parameters(twin.build, twin.best)
    return RamCase(build, site.drive_pipe, site.supply, site.surroundings, line=site.line)


def lay_all(
    place: Place,
    stock: Stock,
    candidates: Sequence[Candidate],
    asked: Asked,
    cost: LaidCost | None,
    workers: int | None,
) -> tuple[list[Laid], int]:
    """Every candidate on the delivery pipe that serves its aim, of three sizes tried at their operating points.

    Returns
    -------
    laid : list of Laid
        One for each candidate, in order.
    runs : int
        Operating points solved.
    """
    options = [(at, laid) for at, each in enumerate(candidates) for laid in _options(place, stock, each)]
    points = settle_alike(
        [laid.case for _, laid in options], [laid.candidate.pumps for _, laid in options], workers=workers
    )
    by_candidate: dict[int, list[Laid]] = {}
    for (at, laid), point in zip(options, points, strict=True):
        delivers = point.is_beating and point.delivered_flow > 0.0
        candidate = replace(
            laid.candidate,
            delivered_flow=point.delivered_flow if delivers else 0.0,
            drawn_flow=point.drawn_flow,
            beat_rate=point.beat_rate,
        )
        by_candidate.setdefault(at, []).append(replace(laid, candidate=candidate, point=point))
    return [_best_line(by_candidate[at], asked, cost) for at in range(len(candidates))], len(options)


def _best_line(options: Sequence[Laid], asked: Asked, cost: LaidCost | None) -> Laid:
    """Of rising sizes the cheapest where cost is the aim, else the narrowest than which no wider one brings much more."""
    if options[0].candidate.aim == "cost" and cost is not None:
        wanted = asked.wanted_flow is not None

        def merit(laid: Laid) -> tuple[bool, float]:
            delivered = laid.candidate.all_delivered
            yearly = cost(laid)
            worth = -yearly if wanted else -yearly / delivered if delivered > 0.0 else -math.inf
            return asked.gives_enough(laid.candidate), worth

        return max(options, key=merit)
    best = options[0]
    for laid in options[1:]:
        if laid.candidate.all_delivered > WIDER_BRINGS * best.candidate.all_delivered:
            best = laid
    return best


def _options(place: Place, stock: Stock, candidate: Candidate) -> list[Laid]:
    """The candidate on the size of line that loses a tenth of the lift, and on its neighbours."""
    sized = size_line(
        stock.delivery_pipes,
        place.route.length,
        place.lift,
        candidate.all_delivered,
        place.water,
        place.wall_temperature,
    ).pipe
    alike = sorted((pipe for pipe in stock.delivery_pipes if pipe.series == sized.series), key=lambda pipe: pipe.bore)
    at = alike.index(sized)
    feed, diameter, submergence = _feed_of(place, stock, candidate)
    found = []
    for pipe in alike[max(at - 1, 0) : at + 2]:
        zones, site = _site_with(place, stock, candidate, pipe)
        if feed is not None:
            area = 0.25 * math.pi * diameter**2
            site = replace(site, feed=feed, standpipe_area=area, submergence=submergence)
        found.append(Laid(candidate, site, zones, diameter))
    return found


def _site_with(place: Place, stock: Stock, candidate: Candidate, pipe: Pipe) -> tuple[tuple[Zone, ...], Site]:
    """Zones of a size of pipe along the way, and the place with the line that they are in one."""
    classes = [each for each in stock.delivery_pipes if (each.material, each.size) == (pipe.material, pipe.size)]
    duty = LineDuty(
        flow=_HIGH_FLOW * candidate.all_delivered,
        water=place.water,
        fittings_loss=LINE_FITTINGS,
        wall_temperature=place.survey.wall_temperature,
    )
    zones = zone_line(place.route, classes, duty)
    line, _ = line_in_one(place.route, zones, duty)
    return zones, place.site(candidate.layout.drive_pipe, replace(line, lift=place.lift))


def _feed_of(place: Place, stock: Stock, candidate: Candidate) -> tuple[SupplyPipe | None, float, float]:
    """Supply pipe, standpipe's diameter and depth of the drive pipe's mouth in it [m]."""
    feed = size_supply(stock.supply_pipes, candidate.supply_length, place.fall, candidate.all_drawn, place.water)
    if feed is None:
        return None, 0.0, place.submergence
    case = candidate.layout.case(candidate.stroke, candidate.mass)
    try:
        lent = candidate.pumps * beat_volume(case)
    except ModelError:
        return feed, max(stock.standpipe_diameters), place.submergence
    deep = min(max(place.submergence, _MOUTH_OVER_FALL * place.fall), 0.5 * place.fall)
    least = size_standpipe(feed, candidate.all_drawn, lent, deep, place.water)
    rising = sorted(stock.standpipe_diameters)
    diameter = next((each for each in rising if least is not None and each >= least.diameter), rising[-1])
    return feed, diameter, deep


def candidate_cost(place: Place, stock: Stock, prices: PriceList, candidate: Candidate) -> float:
    """Yearly cost of a candidate with its pipes sized by friction, its line of one pipe."""
    pipe = size_line(
        stock.delivery_pipes,
        place.route.length,
        place.lift,
        candidate.all_delivered,
        place.water,
        place.wall_temperature,
    ).pipe
    feed = size_supply(stock.supply_pipes, candidate.supply_length, place.fall, candidate.all_drawn, place.water)
    zone = Zone(pipe, 0.0, place.route.length, 0.0, 0.0, 0.0)
    layout = candidate.layout
    bill = Bill(layout.twin.build.name, candidate.pumps, layout.drive_pipe, feed, (zone,))
    return _yearly(bill, prices)


def laid_cost(prices: PriceList, laid: Laid) -> float:
    """Yearly cost of a laid candidate."""
    site = laid.site
    return _yearly(Bill(laid.twin.build.name, laid.candidate.pumps, site.drive_pipe, site.feed, laid.zones), prices)


def _yearly(bill: Bill, prices: PriceList) -> float:
    """Yearly cost; what has no price counts as dear, so that a gap in the list makes nothing the cheapest."""
    quotation = quote(bill, prices, 1.0)
    return quotation.yearly + _NO_PRICE * len(quotation.missing)
