"""Sites as pages and as JSON: the answer first, choices side by side and taken as one change, papers, the list, tables."""

from __future__ import annotations

import io
import re
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from pypdf import PdfReader
from shop_case import Shop, shop

from clackwork.cautions import CAUTIONS

PATIENCE = 180.0
TABLE = (
    b"name,fall,source flow,lift from pump,line length\nMill Lane,2.5 m,30 L/min,18 m,120 m\nBad Row,3 m,,20 m,100 m\n"
)


@pytest.fixture
def case(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Shop]:
    """Without a worker: what is asked for waits."""
    monkeypatch.setattr("clackwork.shop.jobs.JobDesk.start", lambda desk: None)
    with shop(tmp_path) as found:
        yield found


def test_without_a_twin_a_site_says_what_to_do(case: Shop) -> None:
    number = case.site().id
    shown = case.page(f"/sites/{number}")
    assert "No build of this book has a twin yet" in shown and "Fit flap" in shown
    refused = case.call("POST", f"/api/sites/{number}/design", {})
    assert refused.status_code == 422 and "Fit a build to its runs first." in refused.json()["error"]
    assert case.call("GET", f"/api/sites/{number}/design").status_code == 404


def test_a_surveyed_site_shows_its_figures_and_drawing(case: Shop) -> None:
    case.fit("flap")
    shown = case.page(f"/sites/{case.site('Long Meadow').id}")
    assert "Surveyed, not designed yet." in shown and "<svg" in shown
    assert "over a notch" in shown and "lactating cow" in shown
    svg = case.browser.get(f"/api/sites/{case.site('Long Meadow').id}/drawing.svg?narrow=true")
    assert svg.headers["content-type"] == "image/svg+xml" and ElementTree.fromstring(svg.text).tag.endswith("svg")


def test_a_designed_site_answers_first(case: Shop) -> None:
    case.fit()
    shown = case.page(f"/sites/{case.designed().id}")
    assert (
        "<strong>Only if:</strong> 1 Two-inch C (invented) pump on 18.0 m of 2 in steel schedule 40, threaded." in shown
    )
    assert "2310 L/day" in shown and "1990 to 2630" in shown
    assert (
        shown.index("Delivered a day") < shown.index("3 choices") < shown.index("Quotation") < shown.index("As entered")
    )
    for name in ("peak_pressure", "water_rights", "untreated_water", "moving_valve", "work_in_water"):
        assert shown.count(CAUTIONS[name].words) == 1, name
    assert "Out of date" not in shown
    assert "gal/day" in case.page(f"/sites/{case.site().id}?units=us")


def test_the_laws_of_fatigue_are_shown_as_a_range(case: Shop) -> None:
    case.fit()
    shown = case.page(f"/sites/{case.designed().id}")
    assert "The published laws disagree: 1.3 years to 9.6 years." in shown
    assert "Bowman: 9.6 years (300 million beats), beyond what its tests covered" in shown


def test_a_design_is_asked_for_once_and_its_costs_compared(case: Shop) -> None:
    case.fit()
    path = f"/sites/{case.site().id}"
    typed = "electric pump; 900; 160; 10; 1400 L/day"
    assert case.browser.fill(f"{path}/design", {"alternatives": typed}).status_code == 303
    assert case.browser.fill(f"{path}/design", {"alternatives": typed}).status_code == 303
    [job] = case.call("GET", "/api/jobs").json()["work"]
    assert job["kind"] == "design" and job["page"] == path
    assert job["arguments"]["alternatives"] == [["electric pump", 900.0, 160.0, 10.0, pytest.approx(1.4)]]
    assert typed in case.page(path) or "waits for its turn" in case.page(path)


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("electric pump; 900", "name; first cost; cost a year; life in years; water a day"),
        ("a; many; 1; 1; 1 L/day", "first cost must be a plain number"),
        ("a; 1; 1; 0; 1 L/day", "life must be above 0"),
        ("a; 1; 1; 1; 5", "unit is missing"),
        ("a; 1; 1; 1; 0 L/day", "must be above 0"),
    ],
)
def test_a_wrong_alternative_is_said_and_kept(case: Shop, typed: str, said: str) -> None:
    case.fit()
    shown = case.browser.fill(f"/sites/{case.site().id}/design", {"alternatives": typed})
    assert shown.status_code == 422 and said.lower() in shown.text.lower() and typed in shown.text


@pytest.mark.parametrize("change", ["site", "twin", "prices"])
def test_a_design_says_when_it_is_out_of_date_and_why(case: Shop, change: str) -> None:
    case.fit("flap")
    site = case.designed()
    if change == "site":
        entered = {**site.entered, "wanted_flow": "1500 L/day"}
        case.book.change("site", site.id, version=site.version, entered=entered)
        said = "The survey or the needs of the site were changed after it."
    elif change == "twin":
        case.fit("flap")
        said = "Build &#39;flap&#39; was fitted again after it."
    else:
        workshop = case.book.workshop()
        entered = {**workshop.entered, "prices": {**workshop.entered["prices"], "hour": 40}}
        case.book.change("workshop", workshop.id, version=workshop.version, entered=entered)
        said = "The workshop&#39;s prices were changed after it."
    shown = case.page(f"/sites/{site.id}")
    assert "Out of date." in shown and said in shown
    assert case.call("GET", f"/api/sites/{site.id}/design").json()["stale"]


def test_a_note_changed_leaves_a_design_as_it_is(case: Shop) -> None:
    case.fit("flap")
    site = case.designed()
    case.book.change("site", site.id, version=site.version, entered={**site.entered, "note": "another"})
    assert "Out of date" not in case.page(f"/sites/{site.id}")


def test_a_choice_is_taken_as_one_change_that_undo_puts_back(case: Shop) -> None:
    case.fit()
    site = case.designed()
    found = case.call("GET", f"/api/sites/{site.id}/design").json()
    assert found["chosen"] is None
    taken = case.browser.fill(
        f"/sites/{site.id}/choose", {"choice": "2", "version": str(site.version), "work": str(found["job_id"])}
    )
    assert taken.status_code == 303
    entered = case.site().entered
    assert entered["design"]["build"] == "Two-inch C (invented)" and entered["design"]["pumps"] == 2
    assert entered["supply_pipe"]["standpipe_diameter"] == "0.3 m" and entered["drive_pipe"]["length"] == "18 m"
    assert [zone["end"] for zone in entered["design"]["zones"]] == ["60 m", "160 m"]
    assert entered["fall_readings"] == site.entered["fall_readings"]
    shown = case.page(f"/sites/{site.id}")
    assert "Out of date" not in shown and ">taken</strong>" in shown
    assert case.call("GET", f"/api/sites/{site.id}/design").json()["chosen"] == 2
    [last] = case.book.changes(kind="site", id=site.id, limit=1)
    case.book.undo(last.id)
    assert case.site().entered == site.entered


def test_another_choice_takes_the_supply_pipe_away(case: Shop) -> None:
    case.fit()
    site = case.designed()
    for number in (2, 1):
        body = {"choice": number, "version": case.site().version, "units": "us"}
        assert case.call("POST", f"/api/sites/{site.id}/design/choose", body).status_code == 200
    assert "supply_pipe" not in case.site().entered and case.site().entered["drive_pipe"]["length"].endswith(" ft")


@pytest.mark.parametrize(
    ("fields", "status", "said"),
    [
        ({"version": "1", "work": "999"}, 409, "designed again"),
        ({"version": "7"}, 409, "was changed since"),
        ({"version": ""}, 422, "number of a choice"),
        ({"choice": "9"}, 422, "1 to 3"),
    ],
)
def test_a_choice_that_cannot_be_taken(case: Shop, fields: dict[str, str], status: int, said: str) -> None:
    case.fit()
    site = case.designed()
    job = case.call("GET", f"/api/sites/{site.id}/design").json()["job_id"]
    form = {"choice": "1", "version": str(site.version), "work": str(job)} | fields
    found = case.browser.fill(f"/sites/{site.id}/choose", form)
    assert found.status_code == status and said in found.text
    assert case.site().version == site.version


@pytest.mark.parametrize("name", ["months", "source", "tank", "lengths"])
@pytest.mark.parametrize("units", ["metric", "us"])
def test_charts_are_given_as_description_and_picture(case: Shop, name: str, units: str) -> None:
    case.fit()
    base = f"/api/sites/{case.designed().id}/charts/{name}"
    spec = case.browser.get(f"{base}?units={units}&wide=true").json()
    assert spec["description"] and ("vconcat" in spec or spec["width"] == "container")
    svg = case.browser.get(f"{base}.svg?units={units}")
    assert svg.status_code == 200 and "NaN" not in svg.text
    for colour in re.findall(r"#([0-9a-fA-F]{6})\b", svg.text):
        assert colour[:2] == colour[2:4] == colour[4:], colour


@pytest.mark.parametrize("name", ["proposal", "materials", "installation", "care", "as-built"])
def test_papers_in_both_languages_papers_and_units(case: Shop, name: str) -> None:
    case.fit()
    base = f"/api/sites/{case.designed().id}/papers/{name}.pdf"
    for query, width in (("units=metric&paper=a4", 595), ("units=us&paper=us-letter&language=es", 612)):
        found = case.browser.get(f"{base}?{query}")
        assert found.status_code == 200, found.text
        reader = PdfReader(io.BytesIO(found.content))
        assert round(float(reader.pages[0].mediabox.width)) == width  # ISO 216 A4, ANSI Letter, in points
        assert "Upper Hazel" in "".join(page.extract_text() for page in reader.pages)
    refused = case.browser.get(f"{base}?language=xx")
    assert refused.status_code == 422 and "language" in refused.json()["error"]


def test_a_choice_that_is_not_there(case: Shop) -> None:
    case.fit()
    number = case.designed().id
    assert case.browser.get(f"/api/sites/{number}/charts/months?choice=9").status_code == 404
    assert case.browser.get(f"/sites/{number}?choice=9").status_code == 404


def test_the_list_shows_answers_and_asks_for_those_missing(case: Shop) -> None:
    assert "once a build is" in case.page("/sites")
    assert case.browser.fill("/sites/answers", {}).status_code == 422
    case.fit("flap")
    assert "Work out the answers" in case.page("/sites")
    assert case.browser.fill("/sites/answers", {}).status_code == 303
    assert "Answers at all sites" in case.page("/sites")
    listed = case.call("GET", "/api/sites?limit=2").json()
    assert listed["total"] == 6 and [one["answer"] for one in listed["sites"]] == [None, None]


def test_a_table_of_sites_is_looked_at_and_taken(case: Shop) -> None:
    sent = case.browser.post(
        "/sites/table",
        data={"form_token": case.browser.token()},
        files={"file": ("sites.csv", TABLE)},
        follow_redirects=False,
    )
    shown = re.sub(r"\s+", " ", sent.text)
    assert "1 of 2 rows can be taken; nothing is taken yet." in shown and case.book.find("site", "Mill Lane") is None
    fields = dict(
        re.findall(r'<input type="hidden" name="(upload|looked|header\.\d+|was\.\d+)" value="([^"]*)"', sent.text)
    )
    for place in range(5):
        fields[f"field.{place}"] = fields[f"was.{place}"]
        chosen = re.search(rf'name="unit\.{place}".*?</select>', sent.text, re.DOTALL)
        fields[f"unit.{place}"] = ""
        assert chosen is None or "selected" not in chosen[0]
    wrong = case.browser.fill("/sites/table", {**fields, "looked": "", "do": "good"})
    assert wrong.status_code == 409 and case.book.find("site", "Mill Lane") is None
    taken = case.browser.fill("/sites/table", {**fields, "do": "good"})
    assert taken.status_code == 303 and case.site("Mill Lane").si["line_length_m"] == 120.0


def test_a_table_by_the_api(case: Shop) -> None:
    sent = case.browser.post(
        "/api/sites/tables", files={"file": ("s.csv", TABLE)}, headers={"origin": "http://127.0.0.1:8765"}
    )
    assert sent.status_code == 201 and sent.json()["rows_bad"] == 1
    body = {"upload": sent.json()["upload"]}
    assert case.call("POST", "/api/sites/tables/take", body).status_code == 422
    taken = case.call("POST", "/api/sites/tables/take", body | {"only_good": True})
    assert taken.status_code == 201 and [one["name"] for one in taken.json()["sites"]] == ["Mill Lane"]


def wait_for(found: Shop, number: int) -> dict[str, Any]:
    until = time.monotonic() + PATIENCE
    while time.monotonic() < until:
        job: dict[str, Any] = found.browser.get(f"/api/jobs/{number}").json()
        if job["state"] not in ("queued", "running"):
            return job
        time.sleep(0.2)
    raise AssertionError(job)


@pytest.mark.slow
def test_the_worker_designs_a_site_and_answers_all(tmp_path: Path) -> None:
    with shop(tmp_path) as found:
        found.fit()
        site = found.site("Dry Gill")
        asked = found.call("POST", f"/api/sites/{site.id}/design", {"draws": 20}).json()
        done = wait_for(found, asked["id"])
        assert done["state"] == "done", done["message"]
        design = found.call("GET", f"/api/sites/{site.id}/design").json()
        assert design["answer"] in ("yes", "only if", "no") and 2 <= len(design["choices"]) <= 5
        assert not design["stale"]
        body = {"choice": 1, "version": site.version}
        assert found.call("POST", f"/api/sites/{site.id}/design/choose", body).status_code == 200
        assert found.call("GET", f"/api/sites/{site.id}/design").json() | {"chosen": None} == design
        answers = found.call("POST", "/api/sites/answers", {}).json()
        assert wait_for(found, answers["id"])["state"] == "done"
        listed = found.call("GET", "/api/sites").json()["sites"]
        assert all(one["answer"] and not one["answer"]["stale"] for one in listed)
        by_name = {one["site"]["name"]: one["answer"] for one in listed}
        assert by_name["Dry Gill"]["designed"] and not by_name["Long Meadow"]["designed"]
        assert "L/day" in found.page("/sites")
