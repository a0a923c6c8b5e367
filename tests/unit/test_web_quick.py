"""The answer on the phone as a page and as JSON: both lifts kept apart, everything assumed shown, a site made of it."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlencode

import pytest
from shop_case import Shop, shop

from clackwork.cautions import CAUTIONS

CALL = {"fall": "2.5 m", "flow": "30 L/min", "lift": "18 m", "distance": "120 m", "wanted": "600 L/day"}
BODY = {"fall": "2.5 m", "flow": "30 L/min", "lift_from_pump": "18 m", "distance": "120 m", "wanted": "600 L/day"}


@pytest.fixture
def case(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Shop]:
    """Without a worker: what is asked for waits."""
    monkeypatch.setattr("clackwork.shop.jobs.JobDesk.start", lambda desk: None)
    with shop(tmp_path) as found:
        yield found


def ask(case: Shop, **more: str) -> str:
    """The page with what was typed."""
    return case.page(f"/ask?{urlencode(CALL | more)}")


def test_without_a_twin_the_page_says_what_to_fit_first(case: Shop) -> None:
    shown = case.page("/ask")
    assert "no build of this book has one yet" in shown
    assert "Fit flap" in shown and "Fit poppet" in shown
    refused = case.call("POST", "/api/quick", BODY)
    assert refused.status_code == 422 and "Fit a build to its runs first." in refused.json()["error"]


def test_the_answer_stands_first_with_what_limits_it_and_its_cautions(case: Shop) -> None:
    case.fit()
    shown = ask(case)
    assert shown.index("verdict") < shown.index("What limits it") < shown.index("water-bars")
    assert re.search(r"<strong>Yes</strong>", shown)
    for name in ("untreated_water", "water_rights", "peak_pressure", "moving_valve"):
        assert CAUTIONS[name].words in shown.replace("&#39;", "'")
    assert "The outlet is 18.0 m above the pump and 15.5 m above the source." in shown


def test_a_lift_from_the_source_is_another_lift(case: Shop) -> None:
    case.fit("flap")
    from_source = case.call("POST", "/api/quick", {**BODY, "lift_from_pump": None, "lift_from_source": "18 m"}).json()
    from_pump = case.call("POST", "/api/quick", BODY).json()
    assert from_source["lift_from_pump_m"] == pytest.approx(20.5) and from_source["lift_from_source_m"] == 18.0
    assert from_pump["lift_from_pump_m"] == 18.0 and from_pump["lift_from_source_m"] == pytest.approx(15.5)
    assert "The outlet is 20.5 m above the pump and 18.0 m above the source." in ask(case, lift_from="source")
    for both in ({**BODY, "lift_from_source": "3 m"}, {**BODY, "lift_from_pump": None}):
        refused = case.call("POST", "/api/quick", both)
        assert refused.status_code == 422 and "give exactly one of them" in refused.json()["error"]


def test_units_change_no_figure(case: Shop) -> None:
    case.fit("flap")
    metric = case.call("POST", "/api/quick", BODY).json()
    us = case.call("POST", "/api/quick", BODY | {"units": "us"}).json()
    litres = metric["daily_delivery_l"]["middle"]
    assert us["daily_delivery_gal"]["middle"] == pytest.approx(litres / 3.785411784)  # NIST Handbook 44, appendix C
    assert "gal/day" in ask(case, units="us")


def test_every_assumption_is_shown_and_can_be_set(case: Shop) -> None:
    case.fit("flap")
    first = case.call("POST", "/api/quick", BODY).json()
    names = {one["what"] for one in first["assumed"]}
    assert {"drive_pipe", "drive_length", "delivery_pipe", "fall_spread", "temperature", "most_stroke"} <= names
    assert all(one["why"] and not one["set"] for one in first["assumed"])
    changed = case.call("POST", "/api/quick", BODY | {"assume": {"drive_length": "20 m", "most_pumps": "1"}}).json()
    by_name = {one["what"]: one for one in changed["assumed"]}
    assert by_name["drive_length"]["set"] and changed["pumps"] == 1
    assert changed["daily_delivery_l"] != first["daily_delivery_l"]
    assert "14 m: you set it." in ask(case, drive_length="14 m")


@pytest.mark.parametrize(
    ("field", "text", "said"),
    [
        ("fall", "2.5", "The unit is missing"),
        ("flow", "30 m", "a flow"),
        ("lift", "2 m", "must be above the fall"),
        ("distance", "5 m", "as long as it climbs"),
        ("drive_pipe", "copper", "a series and a size"),
        ("drive_length", "9 km", "it must be"),
        ("fittings_loss", "many", "plain number"),
        ("most_stroke", "1 mm", "stroke"),
        ("temperature", "90 °C", "it must be"),
    ],
)
def test_the_wrong_thing_typed_is_said_beside_its_field(case: Shop, field: str, text: str, said: str) -> None:
    case.fit("flap")
    shown = ask(case, **{field: text})
    assert f'href="#{field}"' in shown and said.lower() in shown.lower() and "verdict" not in shown


def test_what_is_still_needed_is_said(case: Shop) -> None:
    case.fit("flap")
    assert "Still needed: lift, delivery pipe." in case.page("/ask?fall=2+m&flow=20+L/min")


def test_a_call_becomes_a_site_as_it_was_told(case: Shop) -> None:
    case.fit("flap")
    form = CALL | {"name": "Mill Lane", "lift_from": "source", "request_id": "call-number-one"}
    made = case.browser.fill("/ask/site", form)
    assert made.status_code == 303
    again = case.browser.fill("/ask/site", form)
    assert again.headers["location"] == made.headers["location"]
    site = case.site("Mill Lane")
    assert (site.entered["lift_from_source"], site.entered["fall"]) == ("18 m", "2.5 m")
    assert "drive_pipe" not in site.entered
    assert site.si["line_length_m"] == 120.0
    shown = case.page(made.headers["location"])
    assert "Surveyed, not designed yet." in shown and "(no limits given: assumed)" in shown


def test_a_name_taken_is_said_and_nothing_typed_is_lost(case: Shop) -> None:
    case.fit("flap")
    shown = case.browser.fill("/ask/site", CALL | {"name": "Upper Hazel"})
    assert shown.status_code == 409 and 'value="2.5 m"' in shown.text and "Upper Hazel" in shown.text


def test_kept_by_the_api(case: Shop) -> None:
    case.fit("flap")
    made = case.call("POST", "/api/quick/keep", BODY | {"name": "Oak Hill"})
    assert made.status_code == 201 and made.json()["entered"]["lift_from_pump"] == "18 m"
    assert case.call("POST", "/api/quick/keep", BODY | {"name": "Oak Hill"}).status_code == 409
