"""Parts in service and switches as pages and as JSON: a look entered, a study kept, out of date and printed."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from invented_switch import keep_study, switch_found
from pypdf import PdfReader
from shop_case import Shop, shop

from clackwork.book import Record
from clackwork.shop import endurance
from clackwork.shop.photographs import photographs_of
from clackwork.switch_words import switch_words

PNG = b"\x89PNG\r\n\x1a\n" + b"\0" * 40
"""A photograph, by its first bytes (PNG: W3C Recommendation, 5.2)."""
SYSTEMS = ("metric", "us")


@pytest.fixture
def works(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Shop]:
    """Without a worker: what is asked for waits."""
    monkeypatch.setattr("clackwork.shop.jobs.JobDesk.start", lambda desk: None)
    with shop(tmp_path) as found:
        yield found


def named(works: Shop, kind: str, name: str) -> Record:
    found = works.book.find(kind, name)  # type: ignore[arg-type]
    assert found is not None
    return found


def studied(works: Shop) -> Record:
    """The demo's switch, studied on invented twins, as the worker leaves it."""
    works.fit()
    return keep_study(works.book)


def test_parts_are_listed_by_what_they_show(works: Shop) -> None:
    shown = works.page("/parts")
    assert "4 in the records, 2 failed" in shown and "No mark yet" in shown and "yard, poppet" in shown
    assert "2023-02-18: taken out" in shown
    told = works.call("GET", "/api/parts/life?units=us").json()
    assert [one["material"] for one in told["parts"]] == ["plastic", "rubber"]
    pump = named(works, "pump", "25 mm")
    assert "Parts in service" in works.page(f"/pumps/{pump.id}")


def test_a_look_is_entered_from_its_form(works: Shop) -> None:
    part = named(works, "part", "yard, poppet")
    assert "Enter a look" in works.page(f"/parts/{part.id}")
    assert "Last look 2023-07-08: runs on" in works.page(f"/parts/{part.id}/look")
    typed = {"version": "1", "date": "2023-10-07", "outcome": "failed", "beats": "19900000", "cause": "cracked"}
    sent = works.browser.fill(f"/parts/{part.id}/look", {**typed, "seen_failing": "no", "found": "at the stem"})
    assert sent.status_code == 303
    look = works.book.get("part", part.id).entered["look"][-1]
    assert look == {
        **{"date": "2023-10-07", "outcome": "failed", "beats": "19900000", "cause": "cracked"},
        **{"seen_failing": "no", "found": "at the stem"},
    }
    assert "Enter a look" not in works.page(f"/parts/{part.id}")


@pytest.mark.parametrize(
    ("typed", "field", "said"),
    [
        ({"date": "2023-03-01"}, "date", "must not be before the look of 2023-07-08"),
        ({"date": "2023-01-01"}, "date", "must not be before"),
        ({"beats": "100"}, "beats", "Beats do not go backwards"),
        ({"wear": "0.2 mm"}, "wear", "It needs what it may be off by"),
        ({"wear": "0.2"}, "wear", "unit"),
        ({"date": "2099-01-01"}, "date", "lies in the future"),
        ({"outcome": "broke"}, "outcome", "must be one of"),
    ],
)
def test_a_look_that_cannot_be_is_shown_again_with_why(
    works: Shop, typed: dict[str, str], field: str, said: str
) -> None:
    part = named(works, "part", "yard, poppet")
    entered = {"version": "1", "date": "2023-10-07", "outcome": "runs on", "found": "a grey film", **typed}
    shown = works.browser.fill(f"/parts/{part.id}/look", entered)
    assert shown.status_code == 422
    page = re.sub(r"\s+", " ", shown.text)
    error = re.search(rf'id="error-{field}">([^<]*)<', page)
    assert error and said in error[1], page
    assert "a grey film" in page and works.book.get("part", part.id).version == 1


def test_two_looks_at_once_lose_nothing(works: Shop) -> None:
    part = named(works, "part", "yard, poppet")
    look = {"version": 1, "date": "2023-10-07", "outcome": "runs on"}
    assert works.call("POST", f"/api/parts/{part.id}/looks", look).status_code == 201
    second = {"version": "1", "date": "2023-10-08", "outcome": "runs on", "found": "still sound"}
    shown = works.browser.fill(f"/parts/{part.id}/look", second)
    assert shown.status_code == 409 and "still sound" in shown.text and 'value="2"' in shown.text
    assert works.call("POST", f"/api/parts/{part.id}/looks", look).status_code == 409
    bad = {"version": 2, "date": "2023-01-07", "outcome": "runs on"}
    assert works.call("POST", f"/api/parts/{part.id}/looks", bad).status_code == 422


def test_a_look_sent_again_after_its_answer_was_lost_is_kept_once(works: Shop) -> None:
    part = named(works, "part", "yard, poppet")
    assert "visit_keep.js" in works.page(f"/parts/{part.id}/look")
    assert f'data-done="/parts/{part.id}/look"' in works.page(f"/parts/{part.id}")
    typed = {"version": "1", "date": "2023-10-07", "outcome": "runs on", "found": "a grey film"}
    for _ in range(2):
        assert works.browser.fill(f"/parts/{part.id}/look", typed).status_code == 303
    looks = works.book.get("part", part.id).entered["look"]
    assert [one["date"] for one in looks] == ["2023-04-22", "2023-07-08", "2023-10-07"]


def test_photographs_of_a_part_are_kept_once_and_shown(works: Shop) -> None:
    at_rig, at_site = named(works, "part", "yard, poppet"), named(works, "part", "Dry Gill, rubber")
    for part in (at_rig, at_site):
        for _ in range(2):  # the same one sent again is kept once
            sent = works.browser.fill("/photographs", {"part": str(part.id)}, files={"photograph": ("x", PNG, "x/y")})
            assert sent.status_code == 303 and sent.headers["location"] == f"/parts/{part.id}#photographs"
        [file] = photographs_of(works.book, part.id, "part")
        assert file.name == f"{part.name}, picture 1.png" and works.book.file_bytes(file.id) == PNG
        assert f'src="/api/photographs/{file.id}"' in works.page(f"/parts/{part.id}")
    refused = works.browser.fill("/photographs", {"part": str(at_rig.id)}, files={"photograph": ("a", b"GIF8", "x/y")})
    assert refused.status_code == 422 and "JPEG, PNG or WebP" in refused.text and at_rig.name in refused.text


def test_an_endurance_test_is_planned_on_its_page_and_as_json(works: Shop) -> None:
    assert "no build of this book has one yet" in works.page("/endurance")
    works.fit()
    assert 'href="/endurance"' in works.page("/parts")
    form = works.page("/endurance")
    assert "Plan it" in form and 'value="90 %"' in form and "no build of this book" not in form
    build, site = named(works, "build", "poppet"), works.site()
    rig = named(works, "rig", "yard")
    query = f"link.build={build.id}&link.site={site.id}&link.rig={rig.id}&part=waste_rubber&material=plastic"
    shown = works.page(f"/endurance?{query}&months=12&reliability=90+%25&level=90+%25&shape=1&most_parts=4&falls=2+m")
    assert "Run 4 parts side by side at 2.00 m of fall" in shown and "One after another" in shown
    assert "Caution." in shown and "its rating" in shown and "no published source" in shown and "12 months" in shown
    wrong = works.page(f"/endurance?{query}&months=soon", 422)
    assert 'id="error-months"' in wrong and "plain number" in wrong
    wrong = works.page(f"/endurance?{query}&months=12&falls=2", 422)
    assert 'id="error-falls"' in wrong
    asked = {"build_id": build.id, "site_id": site.id, "rig_id": rig.id, "part": "waste_rubber", "material": "plastic"}
    told = works.call("POST", "/api/endurance", {**asked, "falls": ["2 m"], "units": "us"}).json()
    assert "6.56 ft of fall" in told["answer"] and len(told["stands"][0]["tests"]) == 8
    assert told["exponent_counted"]["harder"] == 0.0 and told["records"] == 1
    refused = works.call("POST", "/api/endurance", {**asked, "lowest_exponent": 1.0})
    assert refused.status_code == 422 and "both or neither" in refused.text
    assert works.call("POST", "/api/endurance", {**asked, "site_id": 10**6}).status_code == 404


def test_another_life_is_planned_without_the_engine_until_the_book_is_changed(
    works: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    works.fit()
    ran = []
    see = endurance.see_places
    monkeypatch.setattr(endurance, "see_places", lambda *all_of, **named_of: ran.append(1) or see(*all_of, **named_of))
    build = named(works, "build", "poppet")
    asked = endurance.EnduranceAsked("poppet", "waste_rubber", "plastic", "Upper Hazel", "yard", 12.0, falls=(2.0,))
    first = endurance.plan_of_book(works.book, asked, build.id)
    longer = endurance.plan_of_book(works.book, replace(asked, months=24.0, reliability=0.8), build.id)
    assert len(ran) == 1 and longer.beats == pytest.approx(2.0 * first.beats)
    works.book.change("build", build.id, version=build.version, entered={**build.entered, "note": "seen again"})
    assert endurance.plan_of_book(works.book, asked, build.id) == first and len(ran) == 2


def test_a_switch_wants_its_builds_fitted_first(works: Shop) -> None:
    switch = named(works, "switch", "poppet")
    shown = works.page(f"/switches/{switch.id}")
    assert "Not studied yet" in shown and "Fit first" in shown
    refused = works.call("POST", f"/api/switches/{switch.id}/study", {})
    assert refused.status_code == 422 and "no twin yet" in refused.text
    assert works.call("GET", f"/api/switches/{switch.id}/study").status_code == 404
    works.fit()
    asked = works.call("POST", f"/api/switches/{switch.id}/study", {"draws": 40, "request_id": "one"}).json()
    assert asked["state"] == "queued" and asked["page"] == f"/switches/{switch.id}"
    assert works.browser.fill(f"/switches/{switch.id}/study", {"draws": "5"}).status_code == 422
    assert "Study of switch poppet" in works.page(f"/switches/{switch.id}")


def test_a_study_is_shown_kept_and_told_when_it_is_out_of_date(works: Shop) -> None:
    switch = studied(works)
    asked, found = switch_found()
    words = switch_words(found, asked, "EUR", "metric")
    shown = works.page(f"/switches/{switch.id}")
    for said in (words["verdict"], "By size", "Every place", "Upper Hazel", "warranty for a reserve of 20 EUR"):
        assert said in shown
    assert "Caution." in shown and "Out of date" not in shown
    assert words["verdict"] in works.page("/switches")
    assert "gal/day" in works.page(f"/switches/{switch.id}?units=us")
    told = works.call("GET", f"/api/switches/{switch.id}/study?units=metric").json()
    assert told["verdict"] == words["verdict"] and told["reasons"] == []
    part = named(works, "part", "yard, poppet")
    works.call("POST", f"/api/parts/{part.id}/looks", {"version": 1, "date": "2023-10-07", "outcome": "runs on"})
    shown = works.page(f"/switches/{switch.id}?units=metric")
    assert "Out of date" in shown and "A part in service was entered, looked at or taken away after it." in shown


def drawn_values(spec: dict[str, Any]) -> list[Any]:
    return [(row["place"], row["low"], row["middle"], row["high"]) for row in spec["data"]["values"]]


def test_charts_and_sheet_of_a_study(works: Shop) -> None:
    switch = studied(works)
    base = f"/api/switches/{switch.id}/study"
    _, found = switch_found()
    spec = works.call("GET", f"{base}/charts/worth").json()
    by_fall = sorted(found.study.places, key=lambda one: one.fall)
    ranges = [one.worth_change for one in by_fall]
    assert [row[1:] for row in drawn_values(spec)] == [(one.low, one.middle, one.high) for one in ranges]
    us, metric = (
        drawn_values(works.call("GET", f"{base}/charts/delivery?units={one}").json()) for one in ("us", "metric")
    )
    assert us[0][2] == pytest.approx(metric[0][2] / 3.785411784)  # litres to US gallons: NIST SP 811, B.8
    for narrow in ("", "?narrow=true"):
        assert works.call("GET", f"{base}/charts/worth.svg{narrow}").text.startswith("<svg")
    assert works.call("GET", f"{base}/charts/costs").status_code == 422
    for units, paper, size in (("metric", "a4", (595, 842)), ("us", "us-letter", (612, 792))):
        pdf = PdfReader(io.BytesIO(works.browser.get(f"{base}.pdf?units={units}&paper={paper}").content))
        text = " ".join(page.extract_text() for page in pdf.pages)
        assert tuple(round(float(one)) for one in pdf.pages[0].mediabox[2:]) == size
        assert "Switch study: poppet" in text and "Worth measuring" in text and "Caution" in text
        assert ("gal/day" in text) == (units == "us")
