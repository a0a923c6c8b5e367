"""Dates on which a part is looked at and renewed, on the care card and on the list of what is due."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from invented_design import choice, design, survey
from shop_case import Shop, shop
from test_sheets import text_of

from clackwork.life.exposures import Exposure
from clackwork.life.part_dates import life_alike, part_dates
from clackwork.life.stress import LifeModel
from clackwork.sheets.site_sheets import care_pdf
from clackwork.shop.part_service import card_dates, read_parts
from clackwork.shop.sites_due import sites_due

DAY = datetime.date(2024, 1, 1)
YEAR = 365.25 * 86400.0


@pytest.fixture
def works(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Shop]:
    """Without a worker."""
    monkeypatch.setattr("clackwork.shop.jobs.JobDesk.start", lambda desk: None)
    with shop(tmp_path) as found:
        yield found


def certain(beats: float) -> LifeModel:
    """A life of which a tenth fails by exactly so many beats."""
    shape = np.full(50, 2.0)
    scale = beats / (-np.log(0.9)) ** (1.0 / shape)
    model = life_alike([], "rubber")
    return LifeModel(1.0, scale, shape, np.zeros(50), 3.0, 5.0, 50.0, 0.0, model.priors)


def test_dates_follow_from_beats_by_hand() -> None:
    dates = part_dates(certain(YEAR), "waste_rubber", "rubber", DAY, 1.0)  # a beat a second: a year
    assert dates.months == pytest.approx((12.0, 12.0, 12.0)) and dates.yearly_beats == pytest.approx(YEAR)
    assert dates.renew_on == datetime.date(2024, 12, 31)  # 365 days after, as 365.25 are rounded
    assert dates.look_on == datetime.date(2024, 5, 2)  # a third of it
    half = part_dates(certain(YEAR), "waste_rubber", "rubber", DAY, 0.5, running_share=0.5)
    assert half.months[1] == pytest.approx(48.0) and half.yearly_beats == pytest.approx(YEAR / 4.0)
    seen = part_dates(certain(YEAR), "waste_rubber", "rubber", DAY, 1.0, last_look=datetime.date(2024, 11, 1))
    assert seen.look_on == seen.renew_on  # the next look would come after it is to be renewed


def test_what_is_known_narrows_the_dates() -> None:
    few = part_dates(life_alike([], "rubber"), "waste_rubber", "rubber", DAY, 1.0)
    lives = [Exposure(beats, beats) for beats in (2.6e7, 3.0e7, 3.2e7, 3.5e7, 4.1e7, 2.9e7)]
    many = part_dates(life_alike(lives, "rubber"), "waste_rubber", "rubber", DAY, 1.0)
    assert many.months[2] / many.months[0] < 0.3 * few.months[2] / few.months[0]
    assert (many.parts, many.failures, few.parts) == (6, 6, 0)


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
    told = works.call("GET", "/api/due?ahead=3650").json()["due"]
    assert {one["what"] for one in told} & {"part_look", "part_renew"}


def test_the_care_card_has_its_parts_in_both_languages(works: Shop) -> None:
    read = read_parts(works.book)
    dates = card_dates(read, {}, works.site("Sunny Bank").id, "flap", 1.0, DAY)
    assert [(one.name, one.part, one.fitted) for one in dates] == [("", "waste_rubber", DAY)]
    assert card_dates(read, {}, works.site().id, "flap", 0.0, DAY) == ()
    unseen = part_dates(life_alike([], "plastic"), "delivery_seat", "plastic", DAY, 1.0)
    assert "order of magnitude only: seat of the delivery valve" in " ".join(
        text_of(care_pdf(survey(), design(), choice(), date=DAY, parts=(unseen,))).split()
    )
    for language, said in (
        ("en", ("Parts that wear", "Rubber or face of the waste valve", "million beats a year", "10 of 100")),
        (
            "es",
            ("Partes que se gastan", "Goma o cara de la válvula de desperdicio", "millones de golpes al año", "10 de 100"),
        ),
    ):
        text = text_of(care_pdf(survey(), design(), choice(), date=DAY, language=language, parts=dates))
        for words in (*said, str(dates[0].look_on), str(dates[0].renew_on)):
            assert words in text
