"""Parts in service and switch studies out of a workbook's tables."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from clackwork.errors import InputError
from clackwork.life.likely import LikelySpread
from clackwork.life.part_record import MEASURES, OUTCOMES, Look, PartRecord
from clackwork.life.stress import MATERIALS
from clackwork.life.worth import WaterTerms
from clackwork.site.visit import PARTS
from clackwork.workbook_parts import errors_of, make
from clackwork.workbook_reader import Table
from clackwork.workbook_visits import past_day, said_yes


@dataclass(frozen=True)
class SwitchCosts:
    """What a part of one build costs.

    Attributes
    ----------
    material : str
        A key of :data:`clackwork.life.stress.MATERIALS`.
    first : float
        Of one pump with it, as far as the builds differ [currency].
    renewal : float
        Of one renewal: part, hours, way [currency].
    parts : float or None
        Of all parts of one whole pump [currency].
    hours : float or None
        Of work on one whole pump.
    """

    material: str
    first: float
    renewal: float
    parts: float | None = None
    hours: float | None = None


@dataclass(frozen=True)
class SwitchAsked:
    """A switch to be studied, from [switch.NAME].

    Attributes
    ----------
    name : str
    part : str
        That wears, a key of :data:`clackwork.site.visit.PARTS`.
    pairs : tuple of (str, str)
        Old and new build, one pair for each size of pump.
    old, new : SwitchCosts
    water : WaterTerms
    reserve : float or None
        To put by for each pump for its warranty [currency].
    price : float or None
        That one pump is sold for now [currency].
    margin : float or None
        Share of the price to be held; None for what the old build leaves.
    warranty_months : float
        Warranty given with it.
    hour_cost : float or None
        Of an hour of the workshop's work [currency].
    likely : int
        Likely sites to study besides those of the book.
    spread : LikelySpread or None
        What they are like; None for what the sites of the book are like.
    note : str
    """

    name: str
    part: str
    pairs: tuple[tuple[str, str], ...]
    old: SwitchCosts
    new: SwitchCosts
    water: WaterTerms
    reserve: float | None = None
    price: float | None = None
    margin: float | None = None
    warranty_months: float = 24.0
    hour_cost: float | None = None
    likely: int = 0
    spread: LikelySpread | None = None
    note: str = ""

    @property
    def making(self) -> tuple[float, float] | None:
        """What one whole pump costs to make, old and new; None while parts, hours or the cost of an hour are not given."""
        costs = []
        for one in (self.old, self.new):
            if one.parts is None or (one.hours and self.hour_cost is None):
                return None
            costs.append(one.parts + (one.hours or 0.0) * (self.hour_cost or 0.0))
        return costs[0], costs[1]


def read_part(table: Table, builds: Iterable[str], sites: Iterable[str], rigs: Iterable[str]) -> PartRecord:
    """A part in service, from [[part]] with its [[part.look]]."""
    name = table.name("name", "call the part something, such as 'Upper Hazel, first flap'")
    place, on_rig = _place(table, sites, rigs)
    fitted = past_day(table, "fitted", "the day it was fitted")
    with errors_of(table):
        record: PartRecord = make(
            table,
            PartRecord,
            name=name,
            part=table.choice("part", PARTS, "what wears"),
            material=table.choice("material", MATERIALS, "what it is made of"),
            build=table.choice("build", builds, "the build it is fitted to"),
            place=place,
            on_rig=on_rig,
            fitted=fitted,
            looks=tuple(_look(one) for one in table.listed_tables("look")),
            running_share=table.quantity("running_share", "fraction"),
            **{f"{measure}_limit": _limit(table, measure) for measure in MEASURES},
        )
    table.text("note")
    table.finish()
    return record


def _place(table: Table, sites: Iterable[str], rigs: Iterable[str]) -> tuple[str, bool]:
    """Where it runs, and whether that is a rig."""
    if ("site" in table) == ("rig" in table):
        raise table.error(
            "site and rig", "both" if "site" in table else "neither", "give exactly one", "Where does the part run?"
        )
    if "site" in table:
        return table.choice("site", sites, "the place where it runs"), False
    return table.choice("rig", rigs, "the rig it runs on"), True


def _limit(table: Table, measure: str) -> float | None:
    """How much of a measure is the end of a part."""
    value = table.quantity(f"{measure}_limit", MEASURES[measure])
    if value is not None and value <= 0.0:
        raise table.error(f"{measure}_limit", table.typed_text(f"{measure}_limit"), "it must be above 0")
    return value


def _look(table: Table) -> Look:
    date = past_day(table, "date", "the day of the look")
    measured: dict[str, float | None] = {}
    for measure, kind in MEASURES.items():
        value, spread = table.spread(measure, kind, "") if measure in table else (None, None)
        measured |= {measure: value, f"{measure}_uncertainty": spread}
    measured["wear_uncertainty"] = measured["wear_uncertainty"] or table.quantity("just_seen", "small_length")
    look = Look(
        date=date,
        outcome=table.choice("outcome", OUTCOMES, "how the look ended"),
        beats=table.quantity("beats", "count"),
        **measured,
        seen_failing=said_yes(table, "seen_failing", "whether the failure was seen as it happened"),
        cause=table.text("cause") or "",
        found=table.text("found") or "",
    )
    table.finish()
    return look


def read_switch(table: Table, name: str, builds: Iterable[str]) -> SwitchAsked:
    """A switch to be studied."""
    known, pairs = list(builds), []
    for one in table.listed_tables("pair"):
        pair = (one.choice("old", known, "the build now sold"), one.choice("new", known, "the build to switch to"))
        if pair[0] == pair[1]:
            raise one.error("new", pair[1], "it must be another build than the old one")
        one.finish()
        pairs.append(pair)
    if not pairs:
        raise table.missing("pair", f"old and new build, under a line [[switch.{name}.pair]]")
    water: WaterTerms = make(
        table,
        WaterTerms,
        value=_amount(table, "value_of_a_cubic_metre", "what a cubic metre delivered is worth"),
        trouble_cost=_amount(table, "cost_of_a_year_of_trouble", "what a pump that does not serve costs in a year"),
        years=table.number("years", 0.5, 60.0),
    )
    part = table.choice("part", PARTS, "the part that is changed and wears")
    old, new = (_costs(table.needed_table(key, "material, first_cost and renewal_cost")) for key in ("old", "new"))
    asked = SwitchAsked(
        name=name,
        part=part,
        pairs=tuple(pairs),
        old=old,
        new=new,
        water=water,
        reserve=table.amount("reserve", "to put by for each pump for its warranty"),
        price=_above_nothing(table, "price", "that one pump is sold for now"),
        margin=table.quantity("margin", "fraction"),
        warranty_months=table.number("warranty_months", 1.0, 180.0) or 24.0,
        hour_cost=table.amount("hour_cost", "of an hour of the workshop's work"),
        likely=table.whole("likely_sites", 0, 2000) or 0,
        spread=_spread(table.table("likely")),
        note=table.text("note") or "",
    )
    if asked.price is not None and asked.making is None:
        raise table.missing(
            "old.parts_cost, new.parts_cost and, with hours, hour_cost",
            "what one pump costs to make, as a price is given",
        )
    table.finish()
    return asked


def _above_nothing(table: Table, key: str, wanted: str) -> float | None:
    """An amount of money above 0."""
    value = table.amount(key, wanted)
    if value is not None and value <= 0.0:
        raise table.error(key, f"{value:g}", "it must be above 0")
    return value


def _amount(table: Table, key: str, wanted: str) -> float:
    """An amount of money that must be there."""
    value = table.amount(key, wanted)
    if value is None:
        raise table.missing(key, f"{wanted}, in the workshop's currency")
    return value


def _costs(table: Table) -> SwitchCosts:
    material = table.choice("material", MATERIALS, "what the part is made of")
    first = _amount(table, "first_cost", "of one pump with it, as far as the builds differ")
    renewal = _amount(table, "renewal_cost", "of one renewal: part, hours, way")
    parts = table.amount("parts_cost", "of all parts of one whole pump")
    hours = table.number("hours", 0.0, 1000.0)
    table.finish()
    return SwitchCosts(material, first, renewal, parts, hours)


_ENDS = {
    "fall": "head",
    "lift_over_fall": None,
    "drive_length_over_fall": None,
    "line_length_over_lift": None,
    "source_flow": "volume_flow",
    "line_loss_over_lift": None,
}


def _spread(table: Table | None) -> LikelySpread | None:
    """What likely sites are like, each figure by its two ends."""
    if table is None:
        return None
    given = {}
    for key, kind in _ENDS.items():
        if key not in table:
            continue
        ends = table.numbers(key, 2, 0.0, 1e6) if kind is None else table.quantities(key, kind, "both ends")
        if ends is None or len(ends) != 2:
            raise table.error(key, len(ends or ()), "it takes two ends, the lower one first")
        given[key] = (ends[0], ends[1])
    table.finish()
    try:
        return LikelySpread(**given)
    except InputError as error:
        raise table.error(error.field, error.value, error.allowed, error.next_step) from error
