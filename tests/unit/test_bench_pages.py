"""The pages of the bench and their JSON: a trial planned, judged, drawn; runs from a phone; the card and its worker."""

from __future__ import annotations

import re
from collections.abc import Iterator
from html import unescape
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
from web_case import Browser, add_build, add_pump, served

RUN = {"kind": "shut_beating", "duration": "3:00", "beats": 150, "waste_volume": "16.3 L"}
STATIC = Path(str(files("clackwork") / "web" / "static"))


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    """For reading only."""
    with served(tmp_path_factory.mktemp("demo"), title="") as browser:
        browser.fill("/start/demo")
        yield browser


@pytest.fixture
def own(tmp_path: Path) -> Iterator[Browser]:
    with served(tmp_path) as browser:
        text = (files("clackwork") / "demo" / "workshop.toml").read_text(encoding="utf-8")
        browser.app.state.shelf.book().take_workbook(text, pump_name="25 mm")
        yield browser


def number_of(browser: Browser, kind: str, name: str) -> int:
    found = browser.get(f"/api/records/{kind}", params={"limit": 500}).json()["records"]
    return next(one["id"] for one in found if one["name"] == name)


def sent(browser: Browser, **more: Any) -> dict[str, Any]:
    """A run of the flap as a phone sends it."""
    whole = {
        "build_id": number_of(browser, "build", "flap"),
        "rig_id": number_of(browser, "rig", "yard"),
        "entered": RUN,
        "request_id": "card-0123456789",
    }
    return whole | more


def words_of(text: str) -> str:
    """A page without its tags."""
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", text)).split())


# --- a trial judged


def test_the_page_and_the_api_say_the_same_sentence(demo: Browser) -> None:
    trial = number_of(demo, "trial", "waste")
    told = demo.get(f"/api/bench/trials/{trial}").json()
    page = words_of(demo.get(f"/trials/{trial}").text)
    assert told["sentence"] in page
    assert told["enough_sentence"] in page
    for part in told["budget"]:
        assert part["amount_words"] in page
    for doubt in told["doubts"]:
        assert doubt["sentence"] in page
    assert page.index(told["sentence"]) < page.index("What the uncertainty is made of") < page.index("What changed")


@pytest.mark.parametrize("name", ["waste", "shut-off", "efficiency"])
@pytest.mark.parametrize("units", ["metric", "us"])
def test_every_trial_of_the_demonstration_is_shown_and_drawn(demo: Browser, name: str, units: str) -> None:
    trial = number_of(demo, "trial", name)
    asked = {"units": units}
    assert demo.get(f"/trials/{trial}", params=asked).status_code == 200
    for narrow in ("true", "false"):
        spec = demo.get(f"/api/bench/trials/{trial}/chart", params=asked | {"narrow": narrow}).json()
        assert "flap" in spec["description"]
        drawn = demo.get(f"/api/bench/trials/{trial}/chart.svg", params=asked | {"narrow": narrow})
        assert drawn.headers["content-type"].startswith("image/svg+xml") and "<svg" in drawn.text


def test_units_asked_for_are_in_the_keys(demo: Browser) -> None:
    trial = number_of(demo, "trial", "waste")
    us = demo.get(f"/api/bench/trials/{trial}", params={"units": "us"}).json()
    metric = demo.get(f"/api/bench/trials/{trial}", params={"units": "metric"}).json()
    ratio = metric["judgement"]["difference_l_min"] / us["judgement"]["difference_gal_min"]
    assert ratio == pytest.approx(3.785411784)
    assert "gpm" in us["builds"][0]["mean_words"]


def test_a_dead_head_trial_shows_its_caution(demo: Browser) -> None:
    trial = number_of(demo, "trial", "shut-off")
    told = demo.get(f"/api/bench/trials/{trial}").json()
    assert told["cautions"]
    assert words_of(demo.get(f"/trials/{trial}").text).count(told["cautions"][0]) == 1
    assert demo.get(f"/api/bench/trials/{trial}/card").json()["card_cautions"]["dead_head"]


def test_a_trial_without_runs_has_a_page_and_no_chart(own: Browser) -> None:
    pump = add_pump(own, "40 mm")
    links = {"old_build": add_build(own, pump, "one"), "new_build": add_build(own, pump, "two")}
    entered = {"figure": "waste_flow", "kind": "shut_beating", "margin": "5 %", "difference_that_matters": "10 %"}
    made = own.call("POST", "/api/records/trial", {"name": "first", "entered": entered, "links": links}).json()
    page = own.get(f"/trials/{made['id']}")
    assert "no run was made" in page.text and "data-spec-url" not in page.text
    refused = own.get(f"/api/bench/trials/{made['id']}/chart")
    assert refused.status_code == 422 and "no run" in refused.json()["error"]
    assert own.get(f"/api/bench/trials/{made['id']}/card").json()["picture"] is None


def test_a_trial_taken_away_still_has_its_page(own: Browser) -> None:
    trial = number_of(own, "trial", "waste")
    own.app.state.shelf.book().remove("trial", trial, version=1)
    assert "Taken away" in own.get(f"/trials/{trial}").text
    assert own.get(f"/api/bench/trials/{trial}").status_code == 422


@pytest.mark.parametrize("path", ["", "/plan", "/chart", "/chart.svg", "/card"])
def test_a_trial_that_is_not_there(demo: Browser, path: str) -> None:
    assert demo.get(f"/api/bench/trials/99999{path}").status_code == 404


# --- a trial planned


def test_the_plan_of_the_form_is_that_of_the_api(own: Browser) -> None:
    old, new = number_of(own, "build", "flap"), number_of(own, "build", "poppet")
    asked = {"figure": "waste_flow", "kind": "shut_beating", "margin": "5 %", "difference_that_matters": "10 %"}
    told = own.call("POST", "/api/bench/plan", {"old_build": old, "new_build": new, **asked}).json()
    shown = words_of(own.get("/bench/plan", params={"link.old_build": old, "link.new_build": new, **asked}).text)
    for sentence in (*told["sentences"], *(line.replace("->", "→") for line in told["changes"])):
        assert sentence in shown
    assert told["order"].count("flap") == told["order"].count("poppet") == told["runs_advised"]


def test_a_plan_not_yet_possible_says_what_it_waits_for(own: Browser) -> None:
    assert "Choose the two builds" in own.get("/bench/plan").text
    old = number_of(own, "build", "flap")
    asked = {"figure": "waste_flow", "kind": "shut_beating", "margin": "five", "difference_that_matters": "10 %"}
    shown = own.get("/bench/plan", params={"link.old_build": old, "link.new_build": old, **asked})
    assert shown.status_code == 200 and "must differ" in shown.text


def test_a_trial_is_added_by_its_form_once(own: Browser) -> None:
    old, new = number_of(own, "build", "flap"), number_of(own, "build", "poppet")
    assert own.get(f"/trials/new?old_build={old}&new_build={new}").status_code == 200
    fields = {
        "name": "spill", "link.old_build": old, "link.new_build": new, "figure": "waste_flow", "kind": "shut_beating",
        "margin": "5 %", "difference_that_matters": "10 %", "request_id": "form-1",
    }  # fmt: skip
    first, second = (own.fill("/trials", fields) for _ in range(2))
    assert first.status_code == second.status_code == 303
    assert first.headers["location"] == second.headers["location"]
    assert "spill" in own.get("/bench").text


def test_a_trial_refused_keeps_what_was_typed(own: Browser) -> None:
    old, new = number_of(own, "build", "flap"), number_of(own, "build", "poppet")
    fields = {
        "name": "spill", "link.old_build": old, "link.new_build": new, "figure": "waste_flow", "kind": "shut_beating",
        "margin": "five", "difference_that_matters": "10 %", "scatter": "2 %",
    }  # fmt: skip
    answer = own.fill("/trials", fields)
    assert answer.status_code == 422
    for text in ('value="five"', 'value="spill"', 'value="2 %"', 'aria-invalid="true"'):
        assert text in answer.text


# --- runs from a phone


def test_a_run_from_a_phone_is_kept_once(own: Browser) -> None:
    trial = number_of(own, "trial", "waste")
    before = own.get(f"/api/bench/trials/{trial}/card").json()
    body = sent(own, trial_made_at=before["trial"]["made_at"])
    first, second = (own.call("POST", f"/api/bench/trials/{trial}/runs", body) for _ in range(2))
    assert first.status_code == second.status_code == 201
    assert first.json()["run"] == second.json()["run"]
    assert first.json()["run"]["entered"] == RUN
    card = first.json()["card"]
    assert len(card["runs"]) == len(before["runs"]) + 1
    assert "<svg" in card["picture"]


@pytest.mark.parametrize(
    ("more", "field"),
    [
        ({"entered": {**RUN, "waste_volume": "0 L"}}, "waste_volume"),
        ({"entered": {**RUN, "duration": "long"}}, "duration"),
        ({"entered": {**RUN, "colour": "blue"}}, "colour"),
        ({"request_id": "short"}, "request_id"),
    ],
)
def test_a_run_refused_names_the_field(own: Browser, more: dict[str, Any], field: str) -> None:
    trial = number_of(own, "trial", "waste")
    total = own.get("/api/records/run").json()["total"]
    answer = own.call("POST", f"/api/bench/trials/{trial}/runs", sent(own, **more))
    assert answer.status_code == 422
    assert field in answer.json()["error"]
    assert own.get("/api/records/run").json()["total"] == total


def test_a_run_of_another_book_is_not_taken(own: Browser) -> None:
    trial = number_of(own, "trial", "waste")
    body = sent(own, trial_made_at="2020-01-01T00:00:00+00:00")
    answer = own.call("POST", f"/api/bench/trials/{trial}/runs", body)
    assert answer.status_code == 404 and "another book" in answer.json()["error"]


def test_a_run_is_taken_only_from_this_page(own: Browser) -> None:
    trial = number_of(own, "trial", "waste")
    answer = own.post(f"/api/bench/trials/{trial}/runs", json=sent(own), headers={"origin": "null"})
    assert answer.status_code == 403


# --- the card


def test_the_card_may_be_shown_for_a_week_without_asking(demo: Browser) -> None:
    card = demo.get("/bench/card?trial=1")
    assert card.headers["cache-control"] == "private, max-age=604800"
    assert "script-src 'self'" in card.headers["content-security-policy"]
    assert not re.search(r"<script(?![^>]*\bsrc=)|\bon\w+=|style=", card.text)


def test_the_worker_reaches_the_bench_only(demo: Browser) -> None:
    worker = demo.get("/bench/run_worker.js")
    assert worker.headers["content-type"].startswith("text/javascript")
    assert "service-worker-allowed" not in worker.headers
    assert worker.headers["cache-control"] == "no-cache"


@pytest.mark.parametrize("script", sorted(path.name for path in STATIC.glob("run_*.js")))
def test_scripts_are_short_and_build_no_code(script: str) -> None:
    text = (STATIC / script).read_text(encoding="utf-8")
    assert len(text.splitlines()) <= 500
    assert not re.search(r"\beval\(|new Function|innerHTML|document\.write", text)
