"""A design that no engine found, of a place that never was: for the tests of what keeps and shows one."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import lru_cache

from invented_twin import demo

from clackwork.pipes import find_pipe
from clackwork.ram.parts import DeliveryLine, DrivePipe, SupplyPipe
from clackwork.site.design import Choice, Design, FatigueLaw, MonthPlan, PipeCheck, RuleOfThumb, Zone
from clackwork.site.prices import Alternative, CostLine, Quotation
from clackwork.site.promise import REASONS
from clackwork.site.site import Promise, Range, Reason, Site

STEEL, PLASTIC = find_pipe("steel-sch40", "1 in"), find_pipe("pe100-sdr11", "25 mm")
DAY = 86400.0


def around(middle: float, share: float) -> Range:
    """A range about a figure."""
    return Range(middle * (1.0 - share), middle, middle * (1.0 + share))


def promise(site: str, answer: str, delivered: float, drawn: float) -> Promise:
    """A promise of given flows [m3/s]."""
    short = {
        "counted_on": (0.86 * delivered, "daily_volume_flow"),
        "wanted": (1.2 * delivered, "daily_volume_flow"),
    }
    reasons = () if answer == "yes" else (Reason("less_than_wanted", answer, REASONS["less_than_wanted"], short),)
    return Promise(
        site=site,
        build="flap",
        answer=answer,
        reasons=reasons,
        state_shares={"beating": 1.0},
        daily_delivery=around(DAY * delivered, 0.14),
        delivered_flow=around(delivered, 0.14),
        waste_flow=around(drawn - delivered, 0.09),
        water_needed=around(drawn, 0.09),
        beat_rate=around(0.98, 0.06),
        daubuisson_efficiency=around(0.56, 0.08),
        rankine_efficiency=around(0.52, 0.09),
        vessel_head=around(24.0, 0.02),
        peak_head=around(52.0, 0.1),
        surge_head=around(96.0, 0.08),
        rating_head=1400.0,
        pressure_margin=13.5,
        stall_margin=0.62,
        water_there=around(5.3e-4, 0.06),
        share_enough_water=0.99,
        draws=200,
        seed=1,
        cautions=("peak_pressure", "moving_valve", "untreated_water", "water_rights", "work_in_water"),
    )


def place(name: str) -> Site:
    """The place with its pipes."""
    line = DeliveryLine(PLASTIC, 90.0, 22.0, 6.0)
    return Site(name, 3.0, 5.3e-4, DrivePipe(STEEL, 18.0, 0.8), line, 0.02, 3e-5, 0.12, wanted_flow=1.4e-5)


def checks() -> tuple[PipeCheck, ...]:
    """A steel drive pipe that bears it and a plastic line about which the laws disagree."""
    laws = (
        FatigueLaw("Vinson", "invented here", 3.0e9, 97.0, True),
        FatigueLaw("Bowman", "invented here", 2.0e8, 6.5, False),
    )
    weak = {"highest_head": (96.0, "head"), "rating_head": (163.0, "head")}
    reason = Reason("line_check", "note", "the line sees {highest_head} and is rated for {rating_head}", weak)
    return (
        PipeCheck("drive pipe", STEEL, 96.0, -1.2, 40.0, 1400.0, (), ()),
        PipeCheck("delivery line, 0 to 90 m", PLASTIC, 41.0, 1.1, 3.0, 163.0, laws, (reason,)),
    )


def months() -> tuple[MonthPlan, ...]:
    """A source that falls until August."""
    shares = (1.0, 1.0, 0.95, 0.9, 0.8, 0.7, 0.6, 0.42, 0.55, 0.7, 0.85, 0.95)
    words = {0.42: "all off", 0.55: "one pump off", 0.6: "shorter stroke"}
    return tuple(
        MonthPlan(
            month,
            8.8e-4 * share,
            0 if share == 0.42 else 1,
            0.007 if share > 0.6 else 0.005,
            0.14,
            0.0 if share == 0.42 else 1.9 * min(1.0, share + 0.2),
            1.2 if month in (6, 7, 8) else 0.8,
            0.0 if share == 0.42 else 4.2e-4,
            words.get(share, "as designed"),
        )
        for month, share in enumerate(shares, start=1)
    )


def quotation(price: float) -> Quotation:
    """A quotation with one price missing."""
    lines = (
        CostLine("pump flap", 1.0, "each", 0.5 * price),
        CostLine("steel-sch40, 1 in", 18.0, "m", 0.02 * price),
        CostLine("strainer", 1.0, "each", None),
    )
    other = Alternative("carried by hand (invented)", 0.0, 900.0, 1.0, 0.4)
    return Quotation("EUR", lines, 0.86 * price, price, ("strainer",), 0.12 * price, 0.34, ((other, 6.16),))


def choice(name: str, answer: str, best_for: tuple[str, ...], pumps: int = 1, price: float = 600.0) -> Choice:
    """One choice."""
    site = place(name)
    feed = None if pumps == 1 else SupplyPipe(find_pipe("pe100-sdr11", "63 mm"), 30.0)
    zones = (Zone(PLASTIC, 0.0, 40.0, 41.0, 12.0, 163.0), Zone(PLASTIC, 40.0, 90.0, 24.0, 1.1, 163.0))
    rules = (
        RuleOfThumb("drive pipe length", "Calvert", 4.0, 26.6, "length"),
        RuleOfThumb("drive pipe length", "Globo Rural", 15.0, 36.0, "length"),
        RuleOfThumb("beat rate", "NC State", 20.0 / 60.0, 100.0 / 60.0, "beat_rate"),
    )
    found = promise(name, answer, 2.2e-5 * pumps, 4.2e-4 * pumps)
    return Choice(
        best_for=best_for,
        build=demo().builds["flap"],
        twin_name="flap",
        pumps=pumps,
        drive_pipe=site.drive_pipe,
        feed=feed,
        standpipe_diameter=0.0 if feed is None else 0.4,
        zones=zones,
        site=site if feed is None else replace(site, feed=feed, standpipe_area=math.pi * 0.2**2),
        promise=found,
        stroke_band=(0.0062, 0.0081),
        mass_band=(0.12, 0.16),
        vessel_volume=0.0024,
        tank_volume=2.6,
        checks=checks(),
        rules=rules,
        months=months(),
        quotation=quotation(price),
        reasons=found.reasons,
    )


@lru_cache
def design(name: str = "Upper Hazel") -> Design:
    """Three choices."""
    counted = {"counted_on": (1.6e-5, "daily_volume_flow"), "wanted": (2.6e-5, "daily_volume_flow")}
    limit = Reason("less_than_wanted", "only if", REASONS["less_than_wanted"], counted)
    return Design(
        site=name,
        answer="yes",
        choices=(
            choice(name, "yes", ("delivery",), 2, 1100.0),
            choice(name, "yes", ("least_water",)),
            choice(name, "only if", ("cost",), price=480.0),
        ),
        limit=limit,
        measure_again=(("source_flow", 0.61), ("lift_from_pump", 0.2), ("fall", 0.1)),
        engine_runs=4321,
    )
