"""Invented surveys and designs for the tests of drawings and papers; no place, pump or figure here is real."""

from __future__ import annotations

import datetime
import math
from dataclasses import replace

from invented_results import promise

from clackwork.bench.gum import Estimate
from clackwork.pipes import find_pipe
from clackwork.ram.parts import (
    AirVessel,
    Build,
    DeliveryLine,
    DeliveryValve,
    DrivePipe,
    GuidedPoppet,
    SupplyPipe,
    Surroundings,
)
from clackwork.site.design import Choice, Design, FatigueLaw, MonthPlan, PipeCheck, RuleOfThumb, Zone
from clackwork.site.needs import Need, Needs
from clackwork.site.prices import Alternative, CostLine, Quotation
from clackwork.site.promise import REASONS
from clackwork.site.route import Route, RoutePoint
from clackwork.site.site import Reason, Site
from clackwork.site.survey import SourceReading, Survey

PLACE = "Upper terrace (invented)"
FALL, LIFT = 3.0, 21.0
ROUTE = Route(
    (
        RoutePoint(0.0, 0.0),
        RoutePoint(22.0, 4.5, "crosses the track"),
        RoutePoint(60.0, 12.0),
        RoutePoint(85.0, 10.2, "dip at the old wall"),
        RoutePoint(130.0, 17.0),
        RoutePoint(160.0, LIFT, "tank"),
    )
)


def estimate(value: float, spread: float) -> Estimate:
    """A figure with its standard uncertainty, no budget behind it."""
    return Estimate(value, spread, math.inf, ())


def survey(**changes: object) -> Survey:
    """A terrace over a spring that never was."""
    found = Survey(
        name=PLACE,
        fall=estimate(FALL, 0.015),
        lift=estimate(LIFT, 0.12),
        source=(
            SourceReading(estimate(9.2e-4, 2.0e-5), "bucket", datetime.date(2031, 3, 20)),
            SourceReading(estimate(6.4e-4, 2.0e-5), "notch", datetime.date(2031, 8, 30)),
        ),
        line_length=ROUTE.length,
        fall_method="level",
        lift_method="hose",
        ground_to_source=17.0,
        route=ROUTE,
        surroundings=Surroundings(285.15, 640.0),
        frost_depth=0.4,
        carries=("sand", "leaves"),
        drinkers="people",
        stream_keeps=1.0e-4,
        needs=Needs(
            (Need("person", 9, 0.05, "typed"), Need("lactating cow", 6, 0.09, "typed")),
            fire_reserve=1.0,
            days_of_cover=2.0,
        ),
        wanted_flow=1.4e-5,
    )
    return replace(found, **changes)  # type: ignore[arg-type]


def build() -> Build:
    """A pump nobody made."""
    return Build("Two-inch C (invented)", GuidedPoppet(0.42, 0.011, 0.042), DeliveryValve(0.035), AirVessel(0.006))


def place(**changes: object) -> Site:
    """The terrace with pipes."""
    found = Site(
        name=PLACE,
        fall=FALL,
        source_flow=6.4e-4,
        drive_pipe=DrivePipe(find_pipe("steel-sch40", "2 in"), 18.0, anchoring="throughout"),
        line=DeliveryLine(find_pipe("pe100-sdr11", "32 mm"), ROUTE.length, LIFT, 6.0),
        fall_spread=0.015,
        source_flow_spread=2.0e-5,
        lift_spread=0.12,
        surroundings=Surroundings(285.15, 640.0),
        wanted_flow=1.4e-5,
    )
    return replace(found, **changes)  # type: ignore[arg-type]


def zones() -> tuple[Zone, ...]:
    """A strong pipe low down, a lighter one above."""
    return (
        Zone(find_pipe("pe100-sdr11", "32 mm"), 0.0, 60.0, 48.0, 6.0, 163.0),
        Zone(find_pipe("pe100-sdr17", "32 mm"), 60.0, 160.0, 31.0, 1.2, 102.0),
    )


def quotation(priced: bool = True) -> Quotation:
    """What it would cost in a currency of its own."""
    lines = (
        CostLine("pump", 1, "each", 420.0, build().name),
        CostLine("drive pipe", 18.0, "m", 14.5, "steel-sch40 2 in"),
        CostLine("delivery pipe", 60.0, "m", 2.2, "pe100-sdr11 32 mm"),
        CostLine("delivery pipe", 100.0, "m", 1.7, "pe100-sdr17 32 mm"),
        CostLine("strainer", 1, "each", 24.0),
        CostLine("tank, each m3", 4.2, "m3", 85.0),
        CostLine("work", 3.0, "h", 30.0, "set out"),
        CostLine("gate valve", 2, "each", None),
    )
    cost = sum(line.cost for line in lines)
    others = (
        (Alternative("electric pump", 900.0, 160.0, 10.0, 1.4), 0.49),
        (Alternative("carried by hand", 20.0, 700.0, 5.0, 0.6), 3.2),
    )
    if not priced:
        return Quotation(
            "EUR",
            tuple(replace(line, price=None) for line in lines),
            0.0,
            0.0,
            tuple(line.name for line in lines),
            0.0,
            0.0,
        )
    return Quotation("EUR", lines, cost, 1.2 * cost, ("gate valve",), 96.0, 0.19, others)


def checks() -> tuple[PipeCheck, ...]:
    """What two pipes were found to bear."""
    laws = (
        FatigueLaw("Vinson", "invented figures", 4.0e7, 1.3, True),
        FatigueLaw("Bowman", "invented figures", 3.0e8, 9.6, False),
    )
    return (
        PipeCheck("drive pipe", find_pipe("steel-sch40", "2 in"), 96.0, 0.4, 70.0, 640.0, (), ()),
        PipeCheck("delivery line", find_pipe("pe100-sdr11", "32 mm"), 48.0, 6.0, 4.0, 163.0, laws, (), (0.0, 60.0)),
    )


def months() -> tuple[MonthPlan, ...]:
    """A year with a dry end of summer."""
    plans = []
    for month in range(1, 13):
        dry = month in (8, 9)
        plans.append(
            MonthPlan(
                month,
                6.0e-4 if dry else 9.0e-4,
                1,
                0.008 if dry else 0.011,
                0.42,
                1.3 if dry else 1.75,
                0.99,
                4.1e-4 if dry else 5.2e-4,
                "shorter stroke" if dry else "as designed",
            )
        )
    return tuple(plans)


def choice(**changes: object) -> Choice:
    """One design of the terrace."""
    promised = replace(
        promise(PLACE, "only if"),
        build=build().name,
        water_there=replace(promise().water_there, low=6.1e-4, middle=6.4e-4, high=6.7e-4),
        reasons=(
            Reason(
                "too_little_water",
                "only if",
                REASONS["too_little_water"],
                {
                    "needed": (5.2e-4, "volume_flow"),
                    "needed_high": (5.7e-4, "volume_flow"),
                    "source_flow": (5.4e-4, "volume_flow"),
                },
            ),
        ),
        vessel_head=replace(promise().vessel_head, low=22.1, middle=22.6, high=23.2),
        cautions=(
            "peak_pressure",
            "dead_head",
            "plastic_pipe",
            "untreated_water",
            "water_rights",
            "moving_valve",
            "frost",
        ),
    )
    found = Choice(
        best_for=("delivery",),
        build=build(),
        twin_name=build().name,
        pumps=1,
        drive_pipe=place().drive_pipe,
        feed=None,
        standpipe_diameter=0.0,
        zones=zones(),
        site=place(),
        promise=promised,
        stroke_band=(0.009, 0.013),
        mass_band=(0.38, 0.47),
        vessel_volume=0.005,
        tank_volume=4.2,
        checks=checks(),
        rules=(
            RuleOfThumb("drive pipe length", "Building Trades Pocketbook", 7.62, 15.24, "length"),
            RuleOfThumb("drive pipe length", "Globo Rural", 15.0, 36.0, "length"),
        ),
        months=months(),
        quotation=quotation(),
        reasons=promised.reasons,
    )
    return replace(found, **changes)  # type: ignore[arg-type]


def standpipe_choice() -> Choice:
    """Two pumps behind a standpipe and a supply pipe."""
    feed = SupplyPipe(find_pipe("pvc-sch40", "2 in"), 40.0)
    site = place(feed=feed, standpipe_area=0.25 * math.pi * 0.3**2)
    return choice(best_for=("least_water",), pumps=2, feed=feed, standpipe_diameter=0.3, site=site, quotation=None)


def design(**changes: object) -> Design:
    """Two choices for the terrace."""
    found = Design(
        site=PLACE,
        answer="only if",
        choices=(choice(), standpipe_choice(), choice(best_for=("cost",))),
        limit=choice().reasons[0],
        measure_again=(("source flow", 0.54), ("lift", 0.22), ("fall", 0.07)),
        engine_runs=4210,
    )
    return replace(found, **changes)  # type: ignore[arg-type]


GRADE = ((0.0, 22.6), (60.0, 22.0), (85.0, 21.75), (130.0, 21.3), (160.0, 21.0))
"""A made-up hydraulic grade line: distance along the line, head above the spill level [m]."""
