"""Bills, quotations and price lists."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from workshop_books import demo_text

from clackwork.errors import InputError
from clackwork.pipes import find_pipe
from clackwork.ram.parts import DrivePipe, SupplyPipe
from clackwork.site.costing import Bill, bill_lines, capital_recovery, cost_of_volume, quote
from clackwork.site.design import Zone
from clackwork.site.prices import Alternative, PriceList
from clackwork.workbook import load_workbook
from clackwork.workbook_prices import read_prices
from clackwork.workbook_reader import Table

STEEL, STRONG, WEAK = (
    find_pipe("steel-sch40", "1 in"),
    find_pipe("pe100-sdr11", "32 mm"),
    find_pipe("pe100-sdr17", "32 mm"),
)
ZONES = (Zone(STRONG, 0.0, 60.0, 120.0, 30.0, 163.0), Zone(WEAK, 60.0, 200.0, 60.0, 1.0, 102.0))
BILL = Bill("flap", 2, DrivePipe(STEEL, 18.0), None, ZONES, tank_volume=2.0, air_valves=1, drains=2)
PRICES = PriceList(
    "EUR",
    pumps={"flap": 300.0},
    pipes={("steel-sch40", "1 in"): 7.5, ("pe100-sdr11", "32 mm"): 1.7, ("pe100-sdr17", "32 mm"): 1.2},
    parts={"strainer": 18.0, "tank, each m3": 180.0, "transport": 60.0},
    hour=30.0,
    hours={"set out": 3.0, "each pump": 4.0, "each 10 m of drive pipe": 1.5},
    margin=0.2,
    yearly_care=25.0,
    life=15.0,
)


def lines(bill: Bill = BILL, prices: PriceList = PRICES) -> dict[str, tuple[float, str, float]]:
    return {line.name: (line.amount, line.unit, line.cost) for line in bill_lines(bill, prices)}


def test_a_bill_counts_everything_once() -> None:
    found = lines()
    assert found["pump, flap"] == (2, "each", 600.0)
    assert found["drive pipe, steel-sch40 1 in"] == (36.0, "m", 270.0)
    assert found["delivery pipe, pe100-sdr11 32 mm"] == (60.0, "m", 102.0)
    assert found["delivery pipe, pe100-sdr17 32 mm"] == (140.0, "m", 168.0)
    assert found["strainer"] == (2.0, "each", 36.0)
    assert found["tank, each m3"] == (2.0, "m3", 360.0)
    assert found["transport"] == (1.0, "each", 60.0)
    assert found["air valve"][0] == 1.0 and found["drain valve"][0] == 2.0
    assert found["line fittings, each change of pipe"][0] == 1.0
    assert found["work, each pump"] == (8.0, "h", 240.0)
    assert found["work, each 10 m of drive pipe"] == (pytest.approx(5.4), "h", pytest.approx(162.0))
    assert "standpipe" not in found


def test_a_supply_pipe_brings_a_standpipe_and_one_strainer() -> None:
    feed = SupplyPipe(find_pipe("pe100-sdr11", "63 mm"), 40.0)
    drive = DrivePipe(STEEL, 18.0, upstream=DrivePipe(STEEL, 6.0))
    found = lines(replace(BILL, feed=feed, drive_pipe=drive))
    assert found["supply pipe, pe100-sdr11 63 mm"][:2] == (40.0, "m")
    assert found["standpipe"][0] == found["strainer"][0] == 1.0
    assert found["drive pipe, steel-sch40 1 in"][0] == 48.0  # both pipes of both pumps


def test_a_quotation_adds_up_and_names_what_is_missing() -> None:
    made = quote(BILL, PRICES, 2.0, (Alternative("electric pump", 900.0, 120.0, 10.0, 2.0),))
    assert made.cost == pytest.approx(sum(line.cost for line in made.lines))
    assert made.price == pytest.approx(1.2 * made.cost)
    assert made.yearly == pytest.approx(made.price / 15.0 + 50.0)
    assert made.per_volume == pytest.approx(made.yearly / (2.0 * 365.25))
    assert "air valve" in made.missing and "strainer" not in made.missing and "pump, flap" not in made.missing
    assert made.alternatives[0][1] == pytest.approx((90.0 + 120.0) / 730.5)
    unknown = quote(replace(BILL, build="poppet"), PRICES, 2.0)
    assert "pump, poppet" in unknown.missing and unknown.cost == pytest.approx(made.cost - 600.0)
    assert quote(BILL, PRICES, 0.0).per_volume == math.inf


def test_work_without_a_price_is_missing() -> None:
    assert "work, set out" in quote(BILL, replace(PRICES, hour=0.0), 2.0).missing
    assert "work" in quote(BILL, replace(PRICES, hours={}), 2.0).missing


def test_a_vessel_is_bought_only_where_the_pump_s_own_is_too_small() -> None:
    assert "vessel, each litre" not in lines()
    assert lines(replace(BILL, vessel_volume=0.006))["vessel, each litre"][:2] == (pytest.approx(12.0), "L")


def test_no_interest_is_the_price_over_the_life() -> None:
    assert capital_recovery(0.0, 12.5) == 1.0 / 12.5
    assert capital_recovery(1e-9, 12.5) == pytest.approx(1.0 / 12.5, rel=1e-6)
    for wrong in ((-0.1, 10.0), (3.0, 10.0), (0.05, 0.0)):
        with pytest.raises(InputError):
            capital_recovery(*wrong)
    with pytest.raises(InputError, match="first_cost"):
        cost_of_volume(-1.0, 0.0, 10.0, 0.0, 1.0)


def test_the_demo_s_prices_quote_a_whole_bill() -> None:
    prices = load_workbook(demo_text()).prices
    assert prices is not None
    assert (prices.currency, prices.margin, prices.interest, prices.life) == ("EUR", 0.2, 0.03, 15.0)
    assert prices.pipes["steel-sch40", "1 in"] == 7.5
    assert quote(replace(BILL, feed=SupplyPipe(find_pipe("pe100-sdr11", "63 mm"), 40.0)), prices, 2.0).missing == ()


def read(**entered: object) -> PriceList:
    return read_prices(Table(entered, "prices", "prices", {}))


def test_amounts_may_be_numbers_or_texts_with_either_decimal_mark() -> None:
    found = read(currency="EUR", hour="7,50", pumps={"flap": 180, "poppet": "200.5"}, margin="20 %", life="12")
    assert (found.hour, found.pumps, found.margin, found.life) == (7.5, {"flap": 180.0, "poppet": 200.5}, 0.2, 12.0)
    assert read(currency="EUR", pipes={"STEEL-sch40 1": 7, "custom 26 mm bore": 2}).pipes == {
        ("steel-sch40", "1 in"): 7.0,
        ("custom", "26 mm bore"): 2.0,
    }


@pytest.mark.parametrize(
    ("entered", "field", "said"),
    [
        ({}, "prices, currency", "it is needed"),
        ({"currency": "EUR", "hour": "cheap"}, "prices, hour", "plain number"),
        ({"currency": "EUR", "hour": True}, "prices, hour", "plain number"),
        ({"currency": "EUR", "hour": -3}, "prices, hour", "plain number"),
        ({"currency": "EUR", "hour": "nan"}, "prices, hour", "plain number"),
        ({"currency": "EUR", "life": 0}, "prices, life", "above 0"),
        ({"currency": "EUR", "margin": "-5 %"}, "prices, margin", ""),
        ({"currency": "EUR", "interest": "120 %"}, "prices, interest", "0 to 100 %"),
        ({"currency": "EUR", "pump": {}}, "prices", "Did you mean"),
        ({"currency": "EUR", "pumps": 3}, "prices, pumps", "must be a table"),
        ({"currency": "EUR", "pumps": {"flap": "dear"}}, "prices, pumps, flap", "price of the pump"),
        ({"currency": "EUR", "pipes": {"steel-sch40 7 in": 3}}, "prices, pipes, steel-sch40 7 in", "is listed in"),
        (
            {"currency": "EUR", "pipes": {"steel-sch40 1 in": 3, "steel-sch40 1": 4}},
            "prices, pipes, steel-sch40 1",
            "already",
        ),
        ({"currency": "EUR", "parts": {"strainers": 3}}, "prices, parts, strainers", 'Did you mean "strainer"'),
        ({"currency": "EUR", "hours": {"each pumps": 3}}, "prices, hours, each pumps", 'Did you mean "each pump"'),
    ],
)
def test_a_wrong_price_list_names_its_field(entered: dict[str, object], field: str, said: str) -> None:
    with pytest.raises(InputError) as told:
        read(**entered)
    assert told.value.field == field and said in str(told.value)
