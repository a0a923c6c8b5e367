"""Whether to switch to a new build: at every place, by size of pump, and as one rule that a workshop can follow."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

import numpy as np
from numpy.typing import NDArray

from clackwork.errors import InputError
from clackwork.life.renewals import YEAR
from clackwork.life.site_draws import PlaceDraws
from clackwork.life.worth import PartTerms, WaterTerms, serves, yearly_cost, yearly_renewals, yearly_worth
from clackwork.site.site import Range, Site

FloatArray = NDArray[np.float64]

OUTCOMES = ("gains", "about the same", "loses", "needs more water", "too much pressure", "stalls")
"""What switching does at a place, best first."""
RISK = 0.10
"""Chance of trouble with the new build, more than with the old, from which on a customer must be told: common practice, no
published source."""
_LIKELY = 0.75
"""Chance of a gain or loss from which on it is called one."""
_THRESHOLD_GAIN = 0.02
"""A rule with a limit of fall must beat a plain one by this share of what is at stake, or the plain one stands."""


@dataclass(frozen=True)
class SwitchPlace:
    """A place where both builds were drawn.

    Attributes
    ----------
    site : Site
    size : str
        Of its pump: "25 mm".
    number : float
        Customers it stands for; 1 for one of the book.
    old, new : PlaceDraws
    """

    site: Site
    size: str
    number: float
    old: PlaceDraws
    new: PlaceDraws


@dataclass(frozen=True)
class PlaceVerdict:
    """What switching does at one place.

    Attributes
    ----------
    place, size : str
    fall : float
        [m]
    number : float
    outcome : str
        Of :data:`OUTCOMES`.
    switch : bool
        Whether the workshop's rule gives it the new build.
    told : bool
        Whether the customer must be told before the new build goes there.
    stalls, lacks_water, too_strong : (float, float)
        Chance with the old and the new build.
    delivery_change, drawn_change : Range
        Of the middle build's flow, new less old [m3/s].
    pressure_change : Range
        Of the highest head [m].
    renewals : (Range, Range)
        A year, old and new.
    yearly_cost : (Range, Range)
        What the part costs the customer in a year, old and new: renewals, and the first cost spread [currency].
    volume_cost : (Range or None, Range or None)
        The same for each cubic metre lifted [currency/m3]; None where more than half of the draws lift nothing.
    worth_change : Range
        Of a year, new less old [currency].
    mean_worth_change : float
    """

    place: str
    size: str
    fall: float
    number: float
    outcome: str
    switch: bool
    told: bool
    stalls: tuple[float, float]
    lacks_water: tuple[float, float]
    too_strong: tuple[float, float]
    delivery_change: Range
    drawn_change: Range
    pressure_change: Range
    renewals: tuple[Range, Range]
    yearly_cost: tuple[Range, Range]
    volume_cost: tuple[Range | None, Range | None]
    worth_change: Range
    mean_worth_change: float


@dataclass(frozen=True)
class SizeRule:
    """What to do with one size of pump.

    Attributes
    ----------
    size : str
    switch : str
        "all", "none" or "above".
    fall : float
        Least fall that gets the new build [m]; 0 unless ``switch`` is "above".
    places, switched : float
        Customers, and how many of them get the new build.
    worth : float
        Expected gain a year over keeping the old build everywhere [currency].
    chance : float
        That it does gain.
    """

    size: str
    switch: str
    fall: float
    places: float
    switched: float
    worth: float
    chance: float


@dataclass(frozen=True)
class SwitchStudy:
    """The whole study.

    Attributes
    ----------
    old, new : str
        Builds.
    rules : tuple of SizeRule
        Smallest size first.
    places : tuple of PlaceVerdict
        In the order given.
    worth : Range
        A year of following the rules over keeping the old build, all customers together [currency].
    always, never : float
        Expected gain of switching everywhere, and of nowhere (0).
    gains : float64[draws, sizes]
        Of switching by each size's rule, and of switching all of a size whose rule is none: what
        :mod:`clackwork.life.knowing` asks about.
    told : float
        Customers who must be told.
    """

    old: str
    new: str
    rules: tuple[SizeRule, ...]
    places: tuple[PlaceVerdict, ...]
    worth: Range
    always: float
    never: float
    gains: FloatArray
    told: float


def study_switch(
    places: Sequence[SwitchPlace], old: PartTerms, new: PartTerms, water: WaterTerms, *, seed: int = 1
) -> SwitchStudy:
    """Judge a switch over many places.

    The rule of a size is the one that gains most, on the mean over all draws, among: all, none, and those above a fall.

    Parameters
    ----------
    places : sequence of SwitchPlace
    old, new : PartTerms
    water : WaterTerms
    seed : int

    Raises
    ------
    InputError
        Without a place.
    """
    if not places:
        raise InputError("sites", "none", "it takes one at least", "Enter sites, or ask for a spread of likely ones.")
    changes = np.stack([place.number * _worth_change(place, old, new, water, seed) for place in places])
    rules, gains, followed, switched = [], [], np.zeros(changes.shape[1]), np.zeros(len(places), dtype=bool)
    by_size = sorted(range(len(places)), key=lambda i: (_size_key(places[i].size), places[i].size))
    for size, members in groupby(by_size, key=lambda i: places[i].size):
        of_size = list(members)
        rule, chosen = _rule(size, of_size, places, changes)
        rules.append(rule)
        gains.append(changes[chosen or of_size].sum(axis=0))
        followed += changes[chosen].sum(axis=0)
        switched[chosen] = True
    verdicts = tuple(
        _verdict(place, bool(switched[i]), old, new, water, changes[i] / place.number, seed)
        for i, place in enumerate(places)
    )
    return SwitchStudy(
        places[0].old.build,
        places[0].new.build,
        tuple(rules),
        verdicts,
        range_of(followed),
        float(changes.mean(axis=1).sum()),
        0.0,
        np.stack(gains, axis=1),
        sum(one.number for one in verdicts if one.told),
    )


def range_of(values: FloatArray) -> Range:
    """5, 50 and 95 % points."""
    low, middle, high = np.quantile(values, (0.05, 0.5, 0.95))
    return Range(float(low), float(middle), float(high))


def _worth_change(place: SwitchPlace, old: PartTerms, new: PartTerms, water: WaterTerms, seed: int) -> FloatArray:
    wanted = place.site.wanted_flow
    after = yearly_worth(place.new, new, water, wanted, seed + 1)
    return after - yearly_worth(place.old, old, water, wanted, seed)


def _size_key(size: str) -> float:
    """Sizes by the number they begin with: "25 mm" after "15 mm"."""
    head = size.split()[0] if size.split() else ""
    return float(head) if head.replace(".", "", 1).isdigit() else float("inf")


def _rule(
    size: str, members: list[int], places: Sequence[SwitchPlace], changes: FloatArray
) -> tuple[SizeRule, list[int]]:
    """The rule of one size and the places it switches."""
    falls = np.array([places[i].site.fall for i in members])
    order = np.argsort(falls, kind="stable")
    expected = changes[members].mean(axis=1)
    # gain of switching every place from a fall upwards; 0 places at the end
    from_here = np.append(np.cumsum(expected[order][::-1])[::-1], 0.0)
    plain = max((0, len(members)), key=lambda at: from_here[at])
    steps = [at for at in range(1, len(members)) if falls[order[at]] > falls[order[at - 1]]]
    best = max(steps, key=lambda at: from_here[at], default=plain)
    stake = float(np.abs(expected).sum())
    start = best if from_here[best] > from_here[plain] + _THRESHOLD_GAIN * stake else plain
    chosen = [members[i] for i in order[start:]]
    gain = changes[chosen].sum(axis=0)
    middle = 0.5 * float(falls[order[start - 1]] + falls[order[start]]) if 0 < start < len(members) else 0.0
    rule = SizeRule(
        size,
        "none" if start == len(members) else "all" if start == 0 else "above",
        middle,
        sum(places[i].number for i in members),
        sum(places[i].number for i in chosen),
        float(gain.mean()),
        float(np.mean(gain > 0.0)) if chosen else 1.0,
    )
    return rule, chosen


def _verdict(
    place: SwitchPlace,
    switch: bool,
    old: PartTerms,
    new: PartTerms,
    water: WaterTerms,
    change: FloatArray,
    seed: int,
) -> PlaceVerdict:
    builds, parts = (place.old, place.new), (old, new)
    renewals = [
        yearly_renewals(drawn, part.life, seed + at) for at, (drawn, part) in enumerate(zip(builds, parts, strict=True))
    ]
    costs = [yearly_cost(each, part, water.years) for each, part in zip(renewals, parts, strict=True)]
    stalls = tuple(float(np.mean(~one.beating)) for one in builds)
    lacks = tuple(float(np.mean(one.beating & ~one.enough)) for one in builds)
    strong = tuple(float(np.mean(one.too_strong)) for one in builds)
    outcome = _outcome(place, stalls, lacks, strong, change)
    return PlaceVerdict(
        place=place.site.name,
        size=place.size,
        fall=place.site.fall,
        number=place.number,
        outcome=outcome,
        switch=switch,
        told=switch and outcome in ("loses", "needs more water", "too much pressure", "stalls"),
        stalls=(stalls[0], stalls[1]),
        lacks_water=(lacks[0], lacks[1]),
        too_strong=(strong[0], strong[1]),
        delivery_change=range_of(place.new.delivered_flow - place.old.delivered_flow),
        drawn_change=range_of(place.new.drawn_flow - place.old.drawn_flow),
        pressure_change=range_of(place.new.highest_head - place.old.highest_head),
        renewals=(range_of(renewals[0]), range_of(renewals[1])),
        yearly_cost=(range_of(costs[0]), range_of(costs[1])),
        volume_cost=(_of_a_volume(costs[0], place.old), _of_a_volume(costs[1], place.new)),
        worth_change=range_of(change),
        mean_worth_change=float(change.mean()),
    )


def _of_a_volume(cost: FloatArray, drawn: PlaceDraws) -> Range | None:
    """A year's cost over the year's water [currency/m3], of the draws that lift any."""
    lifts = serves(drawn) & (drawn.delivered_flow > 0.0)
    return range_of(cost[lifts] / (drawn.delivered_flow[lifts] * YEAR)) if np.mean(lifts) >= 0.5 else None


def _outcome(
    place: SwitchPlace, stalls: Sequence[float], lacks: Sequence[float], strong: Sequence[float], change: FloatArray
) -> str:
    """What switching does, troubles first."""
    for name, (before, after) in (("stalls", stalls), ("too much pressure", strong), ("needs more water", lacks)):
        if after - before > RISK:
            return name
    both = serves(place.old) & serves(place.new)
    delivered = place.new.delivered_flow[both] - place.old.delivered_flow[both]
    if len(delivered) and np.mean(delivered < 0.0) > _LIKELY and change.mean() < 0.0:
        return "loses"
    if np.mean(change > 0.0) > _LIKELY:
        return "gains"
    return "loses" if np.mean(change < 0.0) > _LIKELY else "about the same"
