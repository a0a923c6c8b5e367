"""Twin and performance of a build as pages and as JSON, with the work behind them done by the real worker."""

from __future__ import annotations

import csv
import io
import re
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from invented_twin import demo, performance, twin_of
from pypdf import PdfReader
from web_case import HOME, Browser, add_build, add_pump, served
from workshop_books import demo_text

from clackwork.book import Book
from clackwork.cautions import CAUTIONS
from clackwork.shop import job_rows
from clackwork.shop.job_rows import ask_for
from clackwork.shop.performance_text import performance_plain

PATIENCE = 90.0


@dataclass(frozen=True)
class Case:
    """A browser at a server with the demo's pump in its book."""

    browser: Browser
    book: Book
    build: int

    def get(self, path: str) -> Any:
        return self.browser.get(path.format(build=self.build))

    def page(self, path: str, status: int = 200) -> str:
        found = self.get(path)
        assert found.status_code == status, found.text
        return re.sub(r"\s+", " ", found.text)

    def keep_twin(self) -> int:
        return self.book.keep_twin(self.build, twin_of(demo().builds["flap"]), by="the test").id

    def keep_performance(self) -> None:
        """A performance as the worker leaves it, without the engine being run."""
        job = ask_for(self.book, "performance", {"build_id": self.build}, title="Performance of flap")
        assert job_rows.take_up(self.book, "by hand") is not None
        job_rows.end(self.book, job.id, "by hand", "done", result=performance_plain(performance()))


@pytest.fixture
def case(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Case]:
    """Without a worker: what is asked for waits."""
    monkeypatch.setattr("clackwork.shop.jobs.JobDesk.start", lambda desk: None)
    with served(tmp_path) as browser:
        yield _with_demo(browser)


@pytest.fixture
def working_case(tmp_path: Path) -> Iterator[Case]:
    """With a worker."""
    with served(tmp_path) as browser:
        yield _with_demo(browser)


def _with_demo(browser: Browser) -> Case:
    book = browser.app.state.shelf.book()
    book.take_workbook(demo_text(), pump_name="25 mm")
    build = book.find("build", "flap")
    assert build is not None
    return Case(browser, book, build.id)


def wait_for(case: Case, number: int) -> dict[str, Any]:
    until = time.monotonic() + PATIENCE
    while time.monotonic() < until:
        found: dict[str, Any] = case.browser.get(f"/api/jobs/{number}").json()
        if found["state"] not in ("queued", "running"):
            return found
        time.sleep(0.1)
    raise AssertionError(found)


# ---- twin


def test_a_build_without_a_twin_offers_to_fit_it(case: Case) -> None:
    shown = case.page("/builds/{build}/twin")
    assert "Not fitted yet." in shown and "It has 11 runs." in shown and "Fit the twin" in shown
    assert case.get("/api/builds/{build}/twin").status_code == 404


def test_a_build_without_runs_asks_for_one(case: Case) -> None:
    number = add_build(case.browser, add_pump(case.browser, "40 mm"))
    shown = re.sub(r"\s+", " ", case.browser.get(f"/builds/{number}/twin").text)
    assert "has no run yet" in shown and "Fit the twin" not in shown
    refused = case.browser.call("POST", f"/api/builds/{number}/twin/fit", {})
    assert refused.status_code == 422 and "no run" in refused.json()["error"]


def test_a_twin_answers_first_then_says_why(case: Case) -> None:
    case.keep_twin()
    shown = case.page("/builds/{build}/twin")
    assert "The model meets 1 of 2 readings" in shown and "and misses 1." in shown
    assert "Dead head read on the gauge would narrow it by about 31 %." in shown
    assert shown.index("The model meets") < shown.index("Run next") < shown.index("Not pinned")
    for words in (CAUTIONS["dead_head"].words, CAUTIONS["moving_valve"].words):
        assert words in shown
    assert "3.90 L/min" in shown and "3.96 L/min" in shown and "missed" in shown
    assert "Out of date" not in shown
    assert "1.03 gpm" in case.page("/builds/{build}/twin?units=us")


def test_a_changed_run_makes_the_twin_out_of_date_and_says_which(case: Case) -> None:
    case.keep_twin()
    run = case.book.find("run", "flap 3")
    assert run is not None
    case.book.change("run", run.id, version=run.version, entered={**run.entered, "beats": 115})
    assert "Out of date." in case.page("/builds/{build}/twin")
    found = case.get("/api/builds/{build}/twin").json()
    assert found["stale"] and any("flap 3" in reason for reason in found["reasons"])


def test_the_twin_as_json_picture_and_table(case: Case) -> None:
    number = case.keep_twin()
    found = case.get("/api/builds/{build}/twin?units=metric").json()
    assert found["twin_id"] == number and found["runs"] == 11 and not found["stale"]
    assert found["residuals"][0]["measured_l_min"] == pytest.approx(3.9)
    for name in ("residuals", "spread"):
        assert case.get(f"/api/builds/{{build}}/twin/charts/{name}").json()["layer"]
        assert case.get(f"/api/builds/{{build}}/twin/charts/{name}.svg").text.startswith("<svg")
    table = case.get("/api/builds/{build}/twin/residuals.csv?units=us")
    assert "attachment" in table.headers["content-disposition"]
    rows = list(csv.DictReader(io.StringIO(table.text)))
    assert float(rows[0]["measured_gal_min"]) == pytest.approx(6.5e-5 * 60.0 / 3.785411784e-3, rel=1e-5)


def test_a_fit_asked_for_from_the_page_waits_with_its_progress_and_can_be_cancelled(case: Case) -> None:
    sent = case.browser.fill(f"/builds/{case.build}/twin", {"draws": "60"})
    assert (sent.status_code, sent.headers["location"]) == (303, f"/builds/{case.build}/twin")
    shown = case.page("/builds/{build}/twin")
    assert "waits for its turn" in shown and "every 1s" in shown and "Fit the twin" not in shown
    (job,) = case.browser.get("/api/jobs").json()["work"]
    assert (job["state"], job["arguments"]["draws"], job["page"]) == ("queued", 60, f"/builds/{case.build}/twin")
    assert case.browser.fill(f"/progress/jobs/{job['id']}/cancel").status_code == 303
    assert "cancelled" in case.page("/builds/{build}/twin")


def test_a_form_that_cannot_be_used_keeps_what_was_typed(case: Case) -> None:
    refused = case.browser.fill(f"/builds/{case.build}/twin", {"draws": "lots"})
    assert refused.status_code == 422 and "whole number" in refused.text and 'value="lots"' in refused.text
    case.keep_twin()
    refused = case.browser.fill(f"/builds/{case.build}/performance", {"falls": "2 kg", "draws": "40"})
    assert refused.status_code == 422 and 'value="2 kg"' in refused.text
    assert case.browser.get("/api/jobs").json()["work"] == []


def test_the_api_refuses_what_cannot_be_done_in_a_sentence(case: Case) -> None:
    api = f"/api/builds/{case.build}"
    for path, body, status in (
        (f"{api}/twin/fit", {"draws": 3}, 422),
        (f"{api}/performance", {}, 422),
        (f"{api}/performance", {"falls": ["1 m"] * 21}, 422),
        ("/api/builds/99999/twin/fit", {}, 404),
        ("/api/jobs/99999/cancel", None, 404),
    ):
        refused = case.browser.call("POST", path, body)
        assert refused.status_code == status, refused.text
        assert refused.json()["error"].count(" ") > 3 and "Traceback" not in refused.text
    for path in (f"{api}/performance", f"{api}/performance.pdf", f"{api}/performance.csv", "/api/jobs/7"):
        assert case.browser.get(path).status_code == 404


# ---- performance


def test_a_build_without_a_twin_is_sent_to_the_fit(case: Case) -> None:
    assert "Fit the twin first" in case.page("/builds/{build}/performance")


def test_a_performance_answers_first_with_cautions_beside_the_pressures(case: Case) -> None:
    case.keep_twin()
    assert "Not drawn yet." in case.page("/builds/{build}/performance")
    case.keep_performance()
    shown = case.page("/builds/{build}/performance")
    assert "At a fall of 2.10 m, lifting to 15.0 m:" in shown
    for words in (CAUTIONS["peak_pressure"].words, CAUTIONS["dead_head"].words, CAUTIONS["water_rights"].words):
        assert words in shown
    pressure, all_figures = shown.index("Pressure in the pump"), shown.index("All figures")
    assert pressure < shown.index(CAUTIONS["peak_pressure"].words) < all_figures
    assert "paper=a4" in shown and "paper=us-letter" in case.page("/builds/{build}/performance?units=us")


def test_a_performance_of_an_earlier_twin_says_so(case: Case) -> None:
    case.keep_twin()
    case.keep_performance()
    assert "The build was fitted again (fit 1 of flap) after this was drawn." in case.page(
        "/builds/{build}/performance"
    )
    assert case.get("/api/builds/{build}/performance").json()["reasons"]


def test_downloads_in_both_units_and_on_both_papers(case: Case) -> None:
    case.keep_twin()
    case.keep_performance()
    for units, other, width, pressure in (("metric", "us-letter", 595, "bar"), ("us", "a4", 612, "psi")):
        pdf = case.get(f"/api/builds/{{build}}/performance.pdf?units={units}")
        assert pdf.headers["content-type"] == "application/pdf"
        assert 'filename="performance-flap.pdf"' in pdf.headers["content-disposition"]
        read = PdfReader(io.BytesIO(pdf.content))
        assert round(read.pages[0].mediabox[2]) == width
        assert pressure in " ".join(page.extract_text() for page in read.pages)
        other = case.get(
            f"/api/builds/{{build}}/performance.pdf?units={units}&paper={'a4' if width == 612 else 'us-letter'}"
        )
        assert round(PdfReader(io.BytesIO(other.content)).pages[0].mediabox[2]) != width
        table = case.get(f"/api/builds/{{build}}/performance.csv?units={units}").text
        assert f"peak_pressure_gauge_{pressure}" in table.splitlines()[0]
    for name in ("delivered-flow", "water-drawn", "efficiency", "peak-pressure"):
        assert case.get(f"/api/builds/{{build}}/performance/charts/{name}.svg").text.startswith("<svg")
        wide = case.get(f"/api/builds/{{build}}/performance/charts/{name}?wide=true").json()
        assert wide["width"] == "container" and "title" not in wide
    assert case.get("/api/builds/{build}/performance/charts/colour").status_code == 422


# ---- work done


def test_a_performance_is_drawn_by_the_worker_and_shown(working_case: Case) -> None:
    case = working_case
    case.keep_twin()
    sent = case.browser.fill(f"/builds/{case.build}/performance", {"falls": "2,1 m; 5 ft", "draws": "20"})
    assert sent.status_code == 303
    (job,) = case.browser.get("/api/jobs").json()["work"]
    assert job["arguments"]["falls_m"] == pytest.approx([1.524, 2.1])
    done = wait_for(case, job["id"])
    assert (done["state"], done["percent"], done["message"]) == ("done", 100, "")
    found = case.get("/api/builds/{build}/performance").json()
    assert found["falls_m"] == pytest.approx([1.524, 2.1]) and found["whole"] and found["reasons"] == []
    assert found["provenance"]["twin_name"] == "fit 1 of flap"
    assert "At a fall of 2.10 m" in case.page("/builds/{build}/performance")
    assert "done" in case.page("/progress/jobs")
    state = case.page(f"/progress/jobs/{job['id']}/state?whole=yes")
    assert 'hx-trigger="load"' in state and "#build-work" in state


def test_a_performance_is_drawn_for_the_pipe_of_a_site(working_case: Case) -> None:
    case = working_case
    case.keep_twin()
    site = case.book.find("site", "Upper Hazel")
    assert site is not None
    assert f'<option value="site {site.id}">of site Upper Hazel</option>' in case.page("/builds/{build}/performance")
    asked = {"falls": "3 m", "draws": "20", "pipe": f"site {site.id}"}
    assert case.browser.fill(f"/builds/{case.build}/performance", asked).status_code == 303
    (job,) = case.browser.get("/api/jobs").json()["work"]
    assert wait_for(case, job["id"])["state"] == "done"
    found = case.get("/api/builds/{build}/performance").json()
    assert (found["rig"], found["is_site"], found["is_fitted"], found["measured"]) == ("Upper Hazel", True, False, [])
    assert found["pipe_length_m"] == 18.0  # as the demonstration's site has it
    shown = case.page("/builds/{build}/performance")
    assert "Drawn for the drive pipe of site Upper Hazel: no run was made on it" in shown
    assert f'<option value="site {site.id}" selected>' in shown
    case.book.change("site", site.id, version=1, entered={**site.entered, "note": "muddy"})
    assert "Draw it again." not in case.page("/builds/{build}/performance")
    longer = {**site.entered, "drive_pipe": {**site.entered["drive_pipe"], "length": "20 m"}}
    case.book.change("site", site.id, version=2, entered=longer)
    assert "Site &#39;Upper Hazel&#39; was changed after this was drawn." in case.page("/builds/{build}/performance")


def test_a_performance_is_drawn_for_one_pipe_that_is_there(case: Case) -> None:
    case.keep_twin()
    rig, [site] = case.book.list("rig").records[0], case.book.list("site", search="reed").records
    api = f"/api/builds/{case.build}/performance"
    both = case.browser.call("POST", api, {"rig": rig.id, "site": site.id})
    assert both.status_code == 422 and "Choose a rig or a site." in both.text
    assert case.browser.call("POST", api, {"site": rig.id}).status_code == 404
    case.book.remove("site", site.id, version=1)
    assert "it has been taken away" in case.browser.call("POST", api, {"site": site.id}).text
    asked = case.browser.call("POST", api, {"rig": rig.id}).json()
    assert (asked["arguments"]["pipe_of"], asked["arguments"]["pipe_number"]) == ("rig", rig.id)


def test_a_fit_that_cannot_be_made_ends_in_a_sentence(working_case: Case) -> None:
    case = working_case
    build = case.book.add(
        "build", "leaden", _leaden(case), links={"pump": case.book.get("build", case.build).links["pump"]}
    )
    run = case.book.find("run", "flap 2")
    assert run is not None
    links = {"build": build.id, "rig": run.links["rig"]}
    case.book.add("run", "leaden 1", run.entered, links=links)
    asked = case.browser.call("POST", f"/api/builds/{build.id}/twin/fit", {"draws": 60}).json()
    failed = wait_for(case, asked["id"])
    assert failed["state"] == "failed"
    assert "hardly ever beats as its runs say it did" in failed["message"]
    shown = re.sub(r"\s+", " ", case.browser.get(f"/builds/{build.id}/twin").text)
    assert "hardly ever beats" in shown and "Fit the twin" in shown and "Traceback" not in shown


def _leaden(case: Case) -> dict[str, Any]:
    """The flap with a weight that no such flow lifts."""
    entered = dict(case.book.get("build", case.build).entered)
    return entered | {"waste_valve": {**entered["waste_valve"], "mass": "9 kg"}}


def test_pages_are_for_forms_of_this_page_only(case: Case) -> None:
    stranger = case.browser.post(
        f"/builds/{case.build}/twin", data={"draws": "60"}, headers={"origin": "http://evil.example"}
    )
    assert stranger.status_code == 403
    assert case.browser.post(f"/api/builds/{case.build}/twin/fit", json={}).status_code == 403
    assert case.browser.post(f"/api/builds/{case.build}/twin/fit", json={}, headers={"origin": HOME}).status_code == 202
