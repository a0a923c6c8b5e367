"""Visits out of a workbook, in a book and out again; readings that cannot be refused in plain words."""

from __future__ import annotations

import datetime
import json
from pathlib import Path
from typing import Any

import pytest
from workshop_books import demo_text, small_shop

from clackwork.book import Book, open_book
from clackwork.errors import InputError
from clackwork.workbook import load_workbook

READ = {
    "date": "2024-05-03",
    "purpose": "commissioning",
    "waste_volume": "15.0 L",
    "waste_duration": "60 s",
    "delivered_volume": "6.4 L",
    "delivered_duration": "4:00",
    "beats": 124,
    "beats_duration": "2:00",
}
VISIT = """
[[visit]]
name = "first start"
site = "Upper Hazel"
build = "flap"
date = "2024-05-03"
purpose = "commissioning"
who = "Ann"
waste_volume = "15.0 L"
waste_duration = "60 s"
delivered_volume = "6.4 L"
delivered_duration = "4:00"
beats = 124
beats_duration = "2:00"
gauge_pressure = "2.2 bar"
fall = "3.05 m ± 0.02 m"
lift_from_pump = "22.1 m"
stroke = "7.5 mm"
stroke_before = "7 mm"
for_twin = "yes"
found = "a stone in the strainer"
parts = { waste_rubber = { condition = "worn", beats = "12000000 beats", run_time = "2000 h" } }
care = { rubbers = "yes" }

[care.flush]
months = 6
"""


def test_a_visit_is_read_from_a_workbook() -> None:
    workbook = load_workbook(demo_text() + VISIT)
    (visit,) = workbook.visits
    read = visit.readings
    assert (visit.site, visit.build, visit.date) == ("Upper Hazel", "flap", datetime.date(2024, 5, 3))
    assert (read.waste_volume, read.beats, read.pressure_gauge) == (pytest.approx(0.015), 124, pytest.approx(2.2e5))
    assert (read.fall, read.fall_spread) == (pytest.approx(3.05), pytest.approx(0.02 / 3**0.5))
    assert read.lift_spread is None  # without limits that of the survey stands
    assert visit.parts[0].run_time == pytest.approx(7.2e6)
    assert visit.care == ("rubbers",) and visit.for_twin
    assert {item.id: item.months for item in workbook.care}["flush"] == 6


def test_a_visit_goes_into_a_book_and_out_again_without_loss(book: Book, tmp_path: Path) -> None:
    taken = book.take_workbook(demo_text() + VISIT)
    given = book.give_workbook(taken.pump.id)
    with open_book(tmp_path / "other") as other:
        again = other.take_workbook(given)
        assert other.give_workbook(again.pump.id) == given
        assert again.same == () or all(one.kind == "pump" for one in again.same)
    assert load_workbook(given).visits == load_workbook(demo_text() + VISIT).visits
    assert book.take_workbook(demo_text() + VISIT).added == ()


def test_a_visit_in_the_book_keeps_its_figures_and_follows_its_build(book: Book) -> None:
    shop = small_shop(book)
    made = book.add("visit", "first start", READ, links={"site": shop.site.id, "build": shop.flap.id})
    assert made.links["pump"] == shop.pump.id
    assert made.si["waste_volume_m3"] == pytest.approx(0.015) and made.si["delivered_duration_s"] == 240.0
    alone = book.add("visit", "second", READ, links={"site": shop.site.id})
    assert set(alone.links) == {"site"}
    assert [one.name for one in book.workbook(shop.pump.id).visits] == ["first start", "second"]


@pytest.mark.parametrize(
    ("change", "field", "words"),
    [
        ({"waste_duration": None}, "waste_duration", "needs both"),
        ({"beats_duration": None}, "beats_duration", "needs both"),
        ({"delivered_volume": None}, "delivered_volume", "needs both"),
        ({"caught_at": "pump"}, "gauge_pressure", "needs the pressure"),
        ({"date": "2999-01-01"}, "date", "future"),
        ({"date": "last Tuesday"}, "date", "date"),
        ({"date": None}, "date", "needed"),
        ({"purpose": "holiday"}, "purpose", "one of"),
        ({"beats": 0}, "beats", "above 0"),
        ({"waste_volume": "0 L"}, "waste_volume", "above 0"),
        ({"stroke": "0 mm"}, "stroke", "above 0"),
        ({"fall": "900 m"}, "fall", "0.1 to 60 m"),
        ({"care": {"polish": "yes"}}, "care", "no such field"),
        ({"parts": {"waste_rubber": {"condition": "gone"}}}, "condition", "one of"),
        ({"for_twin": "perhaps"}, "for_twin", "one of"),
    ],
)
def test_what_cannot_be_is_refused_at_its_field(book: Book, change: dict[str, Any], field: str, words: str) -> None:
    shop = small_shop(book)
    entered = {key: value for key, value in {**READ, **change}.items() if value is not None}
    with pytest.raises(InputError) as refused:
        book.add("visit", "one", entered, links={"site": shop.site.id})
    assert field in refused.value.field and words in str(refused.value), str(refused.value)


def test_a_high_gauge_reading_needs_no_gauge_described(book: Book) -> None:
    shop = small_shop(book)
    entered = {**READ, "gauge_pressure": "14 bar"}
    book.add("visit", "high", entered, links={"site": shop.site.id})
    (visit,) = book.workbook().visits
    assert visit.readings.instruments.gauge.full_scale == pytest.approx(1.6e6)


def test_a_visit_meant_for_the_twin_makes_it_stale_and_a_note_does_not(book: Book) -> None:
    from invented_twin import twin_of

    shop = small_shop(book)
    build = book.workbook(shop.pump.id).builds["flap"]
    book.keep_twin(shop.flap.id, twin_of(build))
    links = {"site": shop.site.id, "build": shop.flap.id}
    aside = book.add("visit", "only looked", READ, links=links)
    kept = book.twin_of(shop.flap.id)
    assert kept is not None and not kept.stale
    book.change("visit", aside.id, version=1, entered={**READ, "for_twin": "yes"})
    kept = book.twin_of(shop.flap.id)
    assert kept is not None and kept.reasons == ("Visit 'only looked' came after the fit.",)
    book.keep_twin(shop.flap.id, twin_of(build))
    book.change("visit", aside.id, version=2, entered={**READ, "for_twin": "yes", "note": "wet", "found": "leaves"})
    kept = book.twin_of(shop.flap.id)
    assert kept is not None and not kept.stale
    site = book.get("site", shop.site.id)
    book.change("site", site.id, version=1, entered={**site.entered, "fall": "2.9 m"})
    kept = book.twin_of(shop.flap.id)
    assert kept is not None and kept.reasons == ("Site 'Upper Hazel' was changed after the fit.",)


def test_the_workshop_keeps_its_own_care(book: Book) -> None:
    small_shop(book)
    workshop = book.workshop()
    book.change("workshop", workshop.id, version=workshop.version, entered={"care": {"rubbers": {"months": 24}}})
    assert {item.id: item.months for item in book.workbook().care}["rubbers"] == 24
    with pytest.raises(InputError, match="polish"):
        book.change("workshop", workshop.id, version=workshop.version + 1, entered={"care": {"polish": {"months": 24}}})


def test_the_commands_answer_from_a_book_and_say_what_is_wrong(tmp_path: Path) -> None:
    from invented_twin import twin_of
    from typer.testing import CliRunner

    from clackwork.cli import app

    folder = tmp_path / "one"
    with open_book(folder) as book:
        shop = small_shop(book)
        book.keep_twin(shop.flap.id, twin_of(book.workbook(shop.pump.id).builds["flap"], draws=30))
        book.add("visit", "first start", READ, links={"site": shop.site.id, "build": shop.flap.id})
    run = CliRunner()
    shown = run.invoke(app, ["visits", str(folder), "--units", "us"])
    assert shown.exit_code == 0 and "first start (commissioning, flap)" in shown.stdout and "gpm" in shown.stdout
    told = json.loads(run.invoke(app, ["visits", str(folder), "--json"]).stdout)
    assert told["format"] == "clackwork 1" and told["visits"][0]["visit"] == "first start"
    due = json.loads(run.invoke(app, ["due", str(folder), "--on", "2026-05-03", "--json"]).stdout)
    assert {"rubbers", "flush"} <= {one["care"] for one in due["due"]}
    assert run.invoke(app, ["due", str(folder), "--site", "Uper Hazel"]).exit_code == 2
    assert run.invoke(app, ["due", str(folder), "--on", "Tuesday"]).exit_code == 2
    assert run.invoke(app, ["visits", str(tmp_path / "nothing")]).exit_code == 2
