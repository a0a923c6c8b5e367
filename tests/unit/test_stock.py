"""What a workshop builds with: from a workbook and a book, both ways, and the search keeps to it."""

from __future__ import annotations

from pathlib import Path

import pytest
from invented_twin import demo, demo_text, twin_of

from clackwork.book import open_book
from clackwork.errors import InputError
from clackwork.shop.quick import read_typed
from clackwork.shop.workshop_prices import stock_of
from clackwork.site.search import search_designs
from clackwork.site.stock import usual_stock
from clackwork.workbook import load_workbook

STOCK = """
[stock]
drive_pipes = ["pvc-sch40 1 in", "pvc-sch40 1 1/4 in"]
delivery_pipes = "pe100-sdr11"
most_pumps = 2
standpipe_diameters = ["300 mm", "200 mm"]
"""


def test_what_is_named_is_what_there_is_and_the_rest_as_usual() -> None:
    stock = load_workbook(demo_text() + STOCK).stock
    assert [(pipe.series, pipe.size) for pipe in stock.drive_pipes] == [
        ("pvc-sch40", "1 in"),
        ("pvc-sch40", "1-1/4 in"),
    ]
    assert {pipe.series for pipe in stock.delivery_pipes} == {"pe100-sdr11"} and len(stock.delivery_pipes) > 3
    assert stock.supply_pipes == usual_stock().supply_pipes
    assert stock.most_pumps == 2 and stock.standpipe_diameters == (0.2, 0.3)
    assert demo().stock == usual_stock()


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ('drive_pipes = ["steel-shc40"]', "steel-sch40"),
        ('drive_pipes = ["steel-sch40 1.1 in"]', "no such pipe"),
        ("most_pumps = 40", "1 to 20"),
        ('standpipe_diameters = ["wide"]', "standpipe_diameters"),
        ('drive_pipe = ["steel-sch40"]', "drive_pipes"),
    ],
)
def test_what_is_wrong_is_refused_with_its_place(table: str, said: str) -> None:
    with pytest.raises(InputError, match="stock") as refused:
        load_workbook(f"{demo_text()}\n[stock]\n{table}\n")
    assert said in str(refused.value)


def test_the_search_and_the_quick_answer_keep_to_it() -> None:
    workbook = load_workbook(demo_text() + STOCK)
    twins = [twin_of(workbook.builds["flap"], spread=0.02)]
    found = search_designs(workbook.surveys["Upper Hazel"], twins, workbook.stock, draws=20)
    assert {one.drive_pipe.pipe.series for one in found.choices} == {"pvc-sch40"}
    assert max(one.pumps for one in found.choices) <= 2
    typed = read_typed({}, "pump", twins, workbook.stock)
    assert typed.assume.stock == workbook.stock
    assert read_typed({"most_pumps": "1"}, "pump", twins, workbook.stock).assume.stock.most_pumps == 1


def test_a_book_keeps_it_both_ways(tmp_path: Path) -> None:
    text = demo_text() + STOCK
    with open_book(tmp_path / "book") as book:
        assert stock_of(book) == usual_stock()
        taken = book.take_workbook(text, pump_name="25 mm")
        assert not taken.stock_left and stock_of(book) == load_workbook(text).stock
        given = book.give_workbook(taken.pump.id)
        assert load_workbook(given).stock == load_workbook(text).stock
        again = book.take_workbook(text.replace("most_pumps = 2", "most_pumps = 3"), pump_name="other")
        assert again.stock_left and stock_of(book).most_pumps == 2
