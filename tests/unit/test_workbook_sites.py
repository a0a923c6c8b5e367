"""Places of a workbook: by readings or typed, designed or not, chosen and built; errors; through a book unchanged."""

from __future__ import annotations

import datetime
import math
from pathlib import Path
from typing import Any

import pytest
from workshop_books import SITE, demo_text

from clackwork.beat_case import beat_case
from clackwork.book import open_book
from clackwork.book.kinds import Around, read_entered
from clackwork.errors import InputError
from clackwork.site.source_flow import driest
from clackwork.site.told import ASSUMED, FALL_SPREAD, FLOW_SPREAD, LIFT_SPREAD, told_readings
from clackwork.web.summaries import summary
from clackwork.workbook import load_workbook
from clackwork.workbook_reader import Table, parse_toml
from clackwork.workbook_sites import Place, read_place

BARE: dict[str, Any] = {
    "fall": "3 m",
    "lift_from_pump": "22 m",
    "source_flow": "30 L/min",
    "survey": {"line_length": "90 m"},
}
LEVEL = {"method": "level", "setups": [{"back": "2.9 m", "fore": "0.4 m"}]}
SHEEP = {"what": "sheep", "number": 1}
ZONE = {"series": "pe100-sdr11", "size": "25 mm", "start": "0 m", "end": "90 m"}
BUCKET = {"method": "bucket", "volume": "10 L", "times": ["20 s", "20.2 s"]}


def place(**more: Any) -> Place:
    """A place with some fields changed; None takes one away."""
    entered = {key: value for key, value in {**BARE, **more}.items() if value is not None}
    return read_place(Table(entered, "site 'a'", "site.a", {}), "a")


def test_a_place_without_pipes_is_surveyed_and_not_designed() -> None:
    found = place()
    assert found.site is None and found.design is None
    assert found.survey.line_length == 90.0 and found.survey.fall_method == "typed"


def test_a_typed_place_is_what_it_was_before_there_were_surveys() -> None:
    found = read_place(Table(dict(SITE), "site 'a'", "site.a", {}), "a")
    assert (
        found.site is not None
        and found.site.line.lift == 22.0
        and found.site.fall_spread == pytest.approx(0.03 / math.sqrt(3.0))
    )
    assert found.survey.line_length == 90.0 and found.site.source_flow == found.survey.source[0].flow.value


def test_figures_without_limits_are_as_good_as_those_told_on_the_phone() -> None:
    told = place(fall="3 m", lift_from_pump=None, lift_from_source="19 m", source_flow="30 L/min").survey
    assert told.fall.standard_uncertainty == pytest.approx(FALL_SPREAD * 3.0)
    assert told.lift.standard_uncertainty == pytest.approx(math.hypot(LIFT_SPREAD * 19.0, FALL_SPREAD * 3.0))
    assert told.source[0].flow.relative_uncertainty == pytest.approx(FLOW_SPREAD)
    assert {part.source for part in (*told.fall.budget, *told.lift.budget, *told.source[0].flow.budget)} == {ASSUMED}
    assert told_readings(told.fall, told.lift, driest(told)) == ("fall", "lift", "source flow")


def test_no_limits_are_not_limits_of_nothing() -> None:
    exact = place(
        fall="3 m ± 0 m", lift_from_pump=None, lift_from_source="19 m", source_flow="30 L/min ± 0 L/min"
    ).survey
    assert exact.fall.standard_uncertainty == exact.source[0].flow.standard_uncertainty == 0.0
    assert told_readings(exact.fall, exact.lift, driest(exact)) == ("lift",)
    fall_only = place(fall="3 m", lift_from_pump=None, lift_from_source="19 m ± 0.1 m").survey
    assert told_readings(fall_only.fall, fall_only.lift, driest(fall_only)) == ("fall", "source flow")


def test_a_designed_site_says_which_limits_are_assumed() -> None:
    found = read_place(Table(dict(SITE), "site 'a'", "site.a", {}), "a").site
    assert found is not None and found.told == ("lift", "source flow")
    assert found.source_flow_spread == pytest.approx(FLOW_SPREAD * found.source_flow)


def test_readings_stand_in_place_of_typed_figures() -> None:
    found = place(
        fall=None, fall_readings=LEVEL, lift_from_pump=None, lift_from_source_readings={"method": "hose", "steps": ["9 m"]},
        source_flow=None, source=[BUCKET, {"method": "notch", "heads": ["60 mm"], "date": "2031-09-01"}],
    ).survey  # fmt: skip
    assert found.fall.value == pytest.approx(2.5) and found.fall_method == "level"
    assert found.lift.value == pytest.approx(11.5) and found.lift_method == "hose"
    assert [one.method for one in found.source] == ["bucket", "notch"]
    assert found.source[1].date == datetime.date(2031, 9, 1)
    assert driest(found).value == pytest.approx(0.01 / 20.1, rel=1e-3)


def test_a_date_may_be_one_of_toml_and_is_kept_as_text(tmp_path: Path) -> None:
    text = demo_text() + '\n[site.late]\nfall = "3 m"\nlift_from_pump = "9 m"\nsurvey = { line_length = "30 m" }\n'
    text += '[[site.late.source]]\ndate = 2031-10-02\nmethod = "typed"\nflow = "9 L/min"\n'
    assert load_workbook(text).surveys["late"].source[0].date == datetime.date(2031, 10, 2)
    with open_book(tmp_path / "shop") as book:
        book.take_workbook(text, pump_name="25 mm")
        found = book.find("site", "late")
        assert found is not None and found.entered["source"][0]["date"] == "2031-10-02"
        assert book.workbook(None).surveys["late"].source[0].date == datetime.date(2031, 10, 2)


def test_site_as_designed_uses_what_the_stream_leaves() -> None:
    pipes = {key: SITE[key] for key in ("drive_pipe", "delivery_line")}
    site = place(survey={"stream_keeps": "10 L/min"}, **pipes).site
    assert site is not None and site.source_flow == pytest.approx(20e-3 / 60.0)


def test_needs_route_and_the_rest() -> None:
    found = place(
        survey={
            "ground_to_source": "12 m",
            "frost_depth": "60 cm",
            "carries": ["iron", "sand"],
            "drinkers": "people",
            "wall_temperature": "50 °C",
            "monthly_share": [1, "80 %", *[1.0] * 10],
        },
        needs={
            "fire_reserve": "2 m3",
            "days_of_cover": 3,
            "use": [
                {"what": "sheep", "number": 10},
                {"what": "beds", "number": 1, "each": "50 L/day", "months": "11-2"},
            ],
        },
        route=[{"distance": "0 m", "height": "0 m"}, {"distance": "120 m", "height": "22 m", "note": "tank"}],
    ).survey
    assert found.line_length == 120.0 and found.route is not None and found.route.points[1].note == "tank"
    assert found.carries == ("sand", "iron") and found.monthly_share is not None and found.monthly_share[1] == 0.8
    assert found.needs is not None and found.needs.each[1].months == (1, 2, 11, 12)
    assert found.needs.daily_in(1) == pytest.approx(0.19) and found.needs.daily_in(6) == pytest.approx(0.14)


def test_what_was_chosen_and_built() -> None:
    chosen = {
        "build": "flap",
        "pumps": 2,
        "stroke": "6 mm",
        "zones": [ZONE],
        "tank_volume": "3 m3",
    }
    found = place(design=chosen, as_built={**chosen, "pumps": 1, "date": "2031-11-02", "note": "one for now"})
    assert found.design is not None and found.design.pumps == 2 and found.design.zones[0].end == 90.0
    assert found.as_built is not None and found.as_built.date == datetime.date(2031, 11, 2)


@pytest.mark.parametrize(
    ("more", "field", "said"),
    [
        ({"fall": None}, "site 'a', fall", "needed"),
        ({"fall_readings": LEVEL}, "site 'a', fall and fall_readings", "exactly one"),
        ({"fall": "90 m", "lift_from_pump": "95 m"}, "site 'a', fall", "0.1 to 60 m"),
        ({"lift_from_source": "9 m"}, "site 'a', lift_from_pump and lift_from_source", "exactly one"),
        ({"lift_from_pump": None}, "site 'a', lift_from_pump and lift_from_source", "exactly one"),
        ({"lift_from_pump": "2 m"}, "site 'a', lift_from_pump", "above the fall of 3 m"),
        ({"lift_from_pump": None, "lift_from_pump_readings": LEVEL}, "site 'a', lift_from_pump_readings", "above the fall"),
        ({"source": [BUCKET]}, "site 'a', source_flow and source", "exactly one"),
        ({"source_flow": None, "source": []}, "site 'a', source", "needed"),
        ({"source_flow": None, "source": [BUCKET, {"method": "buckit"}]}, "site 'a', source number 2, method", '"bucket"'),
        (
            {"source_flow": None, "source": [{**BUCKET, "times": ["20 s", "20"]}]},
            "site 'a', source number 1, times number 2",
            "unit",
        ),
        ({"source_flow": None, "source": [{**BUCKET, "volume": "9 m"}]}, "site 'a', source number 1, volume", "length"),
        ({"source_flow": None, "source": [{**BUCKET, "tims": []}]}, "site 'a', source number 1", '"times"'),
        ({"source_flow": None, "source": [{**BUCKET, "date": "14.8.31"}]}, "site 'a', source number 1, date", "year first"),
        ({"source_flow": None, "source": {"method": "typed"}}, "site 'a', source", "[[site.a.source]]"),
        ({"survey": {}}, "site 'a', survey, line_length", "needed"),
        ({"survey": {"line_length": "90 m", "ground_to_source": "2 m"}}, "site 'a', survey, ground_to_source", "3 to"),
        ({"survey": {"line_length": "90 m", "frost": "1 m"}}, "site 'a', survey", '"frost_depth"'),
        ({"survey": {"line_length": "90 m", "carries": ["gold"]}}, "site 'a', survey, carries", "sand"),
        ({"survey": {"line_length": "90 m", "monthly_share": [1.0] * 11}}, "site 'a', survey, monthly_share", "12 numbers"),
        ({"survey": {"line_length": "90 m", "wall_temperature": "120 °C"}}, "site 'a', survey, wall_temperature", "0 to 80"),
        ({"survey": {"line_length": "90 m", "stream_keeps": "-1 L/min"}}, "site 'a', survey, stream_keeps", "0 or more"),
        ({"route": [{"distance": "0 m", "height": "0 m"}]}, "site 'a', route", "two at least"),
        (
            {"route": [{"distance": "0 m", "height": "0 m"}, {"distance": "90 m", "height": "19 m"}]},
            "site 'a', route",
            "22.0 m above the pump",
        ),
        ({"needs": {"use": [{"what": "unicorn", "number": 1}]}}, "site 'a', needs, use number 1, what", "one of person"),
        ({"needs": {"use": [{"what": "sheep"}]}}, "site 'a', needs, use number 1, number", "needed"),
        ({"needs": {"use": [{**SHEEP, "months": "0-9"}]}}, "site 'a', needs, use number 1, months", "4-9"),
        ({"drive_pipe": SITE["drive_pipe"]}, "site 'a', delivery_line", "needed"),
        ({"design": {"zones": [{**ZONE, "start": "5 m"}]}}, "site 'a', design, zones", "begin at 0 m"),
        ({"fall": None, "fall_readings": {"method": "level", "setups": []}}, "site 'a', fall_readings, setups", "needed"),
        ({"wanted": "9 L/day"}, "site 'a'", '"wanted_flow"'),
    ],
)  # fmt: skip
def test_errors_name_table_and_field(more: dict[str, Any], field: str, said: str) -> None:
    with pytest.raises(InputError) as told:
        place(**more)
    assert told.value.field == field
    assert said in str(told.value)


def test_a_job_that_needs_a_designed_place_says_so() -> None:
    workbook = load_workbook(demo_text())
    assert "Fern Clough" in workbook.surveys and "Fern Clough" not in workbook.sites
    with pytest.raises(InputError, match="surveyed and not designed yet"):
        beat_case(workbook, "flap", None, "Fern Clough", None)


def test_a_book_keeps_si_figures_of_readings() -> None:
    entered = parse_toml(demo_text())["site"]["Upper Hazel"]
    found = read_entered("site", "Upper Hazel", entered, Around({}))
    assert found["fall_m"] == pytest.approx(3.0, abs=0.002) and found["lift_m"] == pytest.approx(22.0, abs=0.002)
    assert found["source_2_times_1_s"] == 35.3 and found["fall_readings_setups_1_back_m"] == 1.842


def test_surveys_go_through_a_book_and_out_again(tmp_path: Path) -> None:
    text = demo_text()
    with open_book(tmp_path / "shop") as book:
        pump = book.take_workbook(text, pump_name="25 mm").pump
        given = book.give_workbook(pump.id)
    assert parse_toml(given)["site"] == parse_toml(text)["site"]
    assert load_workbook(given).surveys == load_workbook(text).surveys


def test_a_place_by_readings_has_its_figures_in_one_line(tmp_path: Path) -> None:
    with open_book(tmp_path / "shop") as book:
        book.take_workbook(demo_text(), pump_name="25 mm")
        hazel, gill = (book.find("site", name) for name in ("Upper Hazel", "Dry Gill"))
    assert hazel is not None and gill is not None
    assert summary(hazel, "metric") == "fall 3.00 m, lift 22.0 m, source 32.0 L/min, wanted 1200 L/day"
    assert summary(gill, "us").startswith("fall 7.874 ft ± 0.16 ft, lift 59.06 ft")
