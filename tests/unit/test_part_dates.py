"""Dates on which a part is looked at and renewed, on the care card and on the list of what is due."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import sqlalchemy as sa
from invented_design import choice, design, survey
from shop_case import Shop, shop
from sqlalchemy.engine import Engine
from test_sheets import text_of

from clackwork.book import open_book
from clackwork.life.part_dates import UNKNOWN, BeatsAt, KindLife, PartAt, life_of_kind, part_dates
from clackwork.life.part_record import Look, PartRecord
from clackwork.life.stress import LifeModel
from clackwork.sheets.site_sheets import care_pdf
from clackwork.shop.all_records import all_records
from clackwork.shop.part_service import dates_for_card, keep_landings, parts_at, read_parts
from clackwork.shop.sites_due import _rates, sites_due

DAY = datetime.date(2024, 1, 1)
YEAR = 365.25 * 86400.0


@pytest.fixture
def works(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Shop]:
    """Without a worker."""
    monkeypatch.setattr("clackwork.shop.jobs.JobDesk.start", lambda desk: None)
    with shop(tmp_path) as found:
        yield found


COUNTED = BeatsAt(1.0, "counted")


def certain(beats: float, exponent: float = 0.0, *, with_landing: bool = False) -> KindLife:
    """A life of which a tenth fails by exactly so many beats, at landings of 2 J/m2 where they are told."""
    shape = np.full(50, 2.0)
    scale = beats / (-np.log(0.9)) ** (1.0 / shape)
    priors = life_of_kind([], "waste_rubber", "rubber", DAY).model.priors
    model = LifeModel(2.0, scale, shape, np.full(50, exponent), 3.0, 5.0, 50.0, 0.0, priors)
    return KindLife("waste_rubber", "rubber", model, with_landing, ())


def lived(name: str, beats: float | None, at: BeatsAt, outcome: str = "failed") -> PartAt:
    """A part of a year."""
    look = Look(datetime.date(2023, 12, 31), outcome, beats=beats, seen_failing=outcome == "failed")
    fitted = datetime.date(2022, 12, 31)
    return PartAt(PartRecord(name, "waste_rubber", "rubber", "flap", "a place", False, fitted, (look,)), at)


def test_dates_follow_from_beats_by_hand() -> None:
    dates = part_dates(certain(YEAR), DAY, COUNTED)  # a beat a second: a year
    assert dates.months == pytest.approx((12.0, 12.0, 12.0)) and dates.yearly_beats == pytest.approx(YEAR)
    assert dates.renew_on == datetime.date(2024, 12, 31)  # 365 days after, as 365.25 are rounded
    assert dates.look_on == datetime.date(2024, 5, 2)  # a third of it
    half = part_dates(certain(YEAR), DAY, BeatsAt(0.5, "counted"), running_share=0.5)
    assert half.months[1] == pytest.approx(48.0) and half.yearly_beats == pytest.approx(YEAR / 4.0)
    seen = part_dates(certain(YEAR), DAY, COUNTED, last_look=datetime.date(2024, 11, 1))
    assert seen.look_on == seen.renew_on  # the next look would come after it is to be renewed


def test_harder_landings_bring_the_dates_forward_by_hand() -> None:
    life = certain(YEAR, 1.5, with_landing=True)
    hard, soft = (part_dates(life, DAY, BeatsAt(1.0, "engine", landing)) for landing in (8.0, 2.0))
    assert soft.months[1] == pytest.approx(12.0) and hard.months[1] == pytest.approx(12.0 / 4.0**1.5)
    alike = part_dates(certain(YEAR, 1.5), DAY, BeatsAt(1.0, "engine", 8.0))
    assert alike.months[1] == pytest.approx(12.0)  # no record tells how hard it landed
    assert [[one.id for one in each.assumed] for each in (hard, alike)] == [[], ["alike_unseen"]]


def test_what_is_taken_for_granted_is_told_with_the_dates() -> None:
    records = [
        lived("first", 3e7, BeatsAt(1.0, "counted", 3.0)),
        lived("second", 3.1e7, BeatsAt(1.0, "counted", 5.0)),
        lived("third", None, UNKNOWN),
    ]
    life = life_of_kind(records, "waste_rubber", "rubber", DAY)
    assert life.with_landing and life.model.reference == pytest.approx(15.0**0.5)
    found = part_dates(life, DAY, UNKNOWN).assumed
    assert [one.id for one in found] == ["usual_rate", "alike_here", "records_rate", "records_alike"]
    assert found[0].values["rate"][0] == 1.0 and found[2].values["records"][0] == 1.0
    known = life_of_kind(records[:2], "waste_rubber", "rubber", DAY)
    assert part_dates(known, DAY, BeatsAt(1.0, "promised", 4.0)).assumed == ()
    spring = part_dates(life_of_kind([], "waste_spring", "other", DAY), DAY, BeatsAt(1.0, "promised", 4.0))
    assert [one.id for one in spring.assumed] == ["beats_alone"]


def test_what_is_known_narrows_the_dates() -> None:
    few = part_dates(life_of_kind([], "waste_rubber", "rubber", DAY), DAY, COUNTED)
    lives = [lived(f"{beats}", beats, COUNTED) for beats in (2.6e7, 3.0e7, 3.2e7, 3.5e7, 4.1e7, 2.9e7)]
    many = part_dates(life_of_kind(lives, "waste_rubber", "rubber", DAY), DAY, COUNTED)
    assert many.months[2] / many.months[0] < 0.3 * few.months[2] / few.months[0]
    assert (many.parts, many.failures, few.parts) == (6, 6, 0)


def test_rates_of_many_sites_are_asked_in_few_queries(tmp_path: Path) -> None:
    entered = {"fall": "3 m", "lift_from_pump": "22 m", "source_flow": "30 L/min", "survey": {"line_length": "90 m"}}
    read = {"date": "2026-03-01", "purpose": "service", "beats": "120", "beats_duration": "100 s"}
    asked: list[object] = []

    def note(*what: object) -> None:
        asked.append(what[2])

    counts = []
    with open_book(tmp_path) as book:
        for number in range(12):
            site = book.add("site", f"place {number}", entered)
            book.add("visit", f"visit {number}", read, links={"site": site.id})
            if number in (1, 11):
                wanted = {one.id for one in all_records(book, "site")}
                asked.clear()
                sa.event.listen(Engine, "before_cursor_execute", note)
                try:
                    rates = _rates(book, wanted)
                finally:
                    sa.event.remove(Engine, "before_cursor_execute", note)
                assert {(one.rate, one.rate_from) for one in rates.values()} == {(1.2, "counted")} and len(
                    rates
                ) == number + 1
                counts.append(len(asked))
    assert counts[0] == counts[1] > 0


def test_a_part_that_runs_at_a_site_is_due_there(works: Shop) -> None:
    pump = works.book.list("pump").records[0]
    build, site = works.book.find("build", "flap"), works.site()
    assert build is not None
    entered = {"part": "waste_rubber", "material": "rubber", "fitted": "2023-03-11"}
    links = {"pump": pump.id, "build": build.id, "site": site.id}
    works.book.add("part", "Upper Hazel, third rubber", entered, links=links)
    found = [one for one in sites_due(works.book, DAY, site_id=site.id, ahead=400) if one.due.what.startswith("part")]
    assert [one.due.site for one in found] == ["Upper Hazel"] and "third rubber" in found[0].due.reason.words
    assert not [one for one in sites_due(works.book, DAY) if one.due.site == "Dry Gill" and "part" in one.due.what]
    assert "Upper Hazel, third rubber" in works.page("/due")
    shown = works.page("/parts?risk=10")
    assert "Service and spares" in shown and "10 chances in 100 of running out" in shown
    assert works.call("GET", "/api/parts/life?risk=0.1").json()["service"][0]["risk"] == 0.1
    told = works.call("GET", "/api/due?ahead=3650").json()["due"]
    said = next(one for one in told if one["what"] in ("part_look", "part_renew"))
    assert [one["id"] for one in said["assumed"]][:2] == ["usual_rate", "alike_unseen"]
    assert "Taken for granted: its beats there are neither counted nor worked out yet: 60.0 beats/min" in works.page(
        "/due"
    )


def test_the_engine_tells_how_parts_beat_and_land(works: Shop) -> None:
    works.fit()
    assert keep_landings(works.book) == 5 and keep_landings(works.book) == 0
    read = read_parts(works.book)
    found = {one.part.name: one.beats for one in parts_at(works.book, read, {})}
    hazel = found["Upper Hazel, first rubber"]
    assert hazel.rate_from == "engine" and 0.5 < hazel.rate < 2.0 and hazel.landing is not None
    counted = BeatsAt(0.9, "counted")
    of_site = {one.site: counted for one in read if one.site is not None}
    again = {one.part.name: one.beats for one in parts_at(works.book, read, of_site)}
    assert again["Upper Hazel, first rubber"] == replace(counted, landing=hazel.landing)
    build = works.book.find("build", "flap")
    assert build is not None
    works.book.change("build", build.id, version=build.version, entered={**build.entered, "note": "seen again"})
    stale = {one.part.name: one.beats for one in parts_at(works.book, read_parts(works.book), {})}
    assert stale["Upper Hazel, first rubber"] == UNKNOWN  # until it is worked out again


def test_the_care_card_has_its_parts_in_both_languages(works: Shop) -> None:
    read = read_parts(works.book)
    records = parts_at(works.book, read, {})
    promised = BeatsAt(1.0, "promised")
    dates = dates_for_card(read, records, works.site("Sunny Bank").id, "flap", promised, DAY)
    assert [(one.name, one.part, one.fitted) for one in dates] == [("", "waste_rubber", DAY)]
    assert dates_for_card(read, records, works.site().id, "flap", BeatsAt(0.0, "promised"), DAY) == ()
    unseen = part_dates(life_of_kind([], "delivery_seat", "plastic", DAY), DAY, promised)
    assert "order of magnitude only: seat of the delivery valve" in " ".join(
        text_of(care_pdf(survey(), design(), choice(), date=DAY, parts=(unseen,))).split()
    )
    for language, said in (
        (
            "en",
            (
                *("Parts that wear", "Rubber or face of the waste valve", "million beats a year", "10 of 100"),
                *("taken for granted", "alike everywhere"),
            ),
        ),
        (
            "es",
            (
                *(
                    "Partes que se gastan",
                    "Goma o cara de la válvula de desperdicio",
                    "millones de golpes al año",
                    "10 de 100",
                ),
                *("se da por supuesto", "todas partes"),
            ),
        ),
    ):
        card = care_pdf(survey(), design(), choice(), date=DAY, language=language, parts=dates)
        text = " ".join(text_of(card).split())
        for words in (*said, str(dates[0].look_on), str(dates[0].renew_on)):
            assert words in text
