"""The pages: first start, records added and changed, conflicts, undo, both systems of units."""

from __future__ import annotations

import re
from collections.abc import Iterator
from html import unescape
from pathlib import Path

import pytest
from web_case import VALVE, Browser, add_build, add_pump, served


@pytest.fixture
def empty(tmp_path: Path) -> Iterator[Browser]:
    with served(tmp_path, title="") as browser:
        yield browser


@pytest.fixture
def own(tmp_path: Path) -> Iterator[Browser]:
    with served(tmp_path) as browser:
        yield browser


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    with served(tmp_path_factory.mktemp("demo"), title="") as browser:
        browser.fill("/start/demo")
        yield browser


# --- first start ---


def test_the_first_page_offers_three_ways_and_makes_nothing(empty: Browser) -> None:
    text = empty.get("/").text
    for words in ("Open the demonstration", "Start a new book", "Look into the backup"):
        assert words in text
    assert not empty.app.state.shelf.has_own and not empty.app.state.shelf.has_demo


def test_pages_of_a_book_lead_to_the_first_page_while_none_is_open(empty: Browser) -> None:
    assert empty.get("/pumps", follow_redirects=False).headers["location"] == "/"
    answer = empty.get("/api/records/pump")
    assert answer.status_code == 404 and "No book is open" in answer.json()["error"]


def test_the_demonstration_is_labelled_on_each_page_and_can_be_thrown_away(empty: Browser) -> None:
    empty.fill("/start/demo")
    shelf = empty.app.state.shelf
    for path in ("/", "/pumps", "/bench", "/sites", "/progress", "/book", "/pumps/new"):
        assert "Invented data" in empty.get(path).text, path
    folder = Path(shelf.place)
    assert (folder / "book.sqlite").is_file()
    answer = empty.fill("/demo/away")
    assert answer.headers["location"] == "/" and not folder.exists() and not shelf.is_open


def test_a_folder_that_holds_something_else_is_left_alone(empty: Browser) -> None:
    folder = empty.app.state.settings.demo_place
    folder.mkdir()
    (folder / "letters.txt").write_text("dear")
    answer = empty.fill("/start/demo")
    assert answer.status_code == 422 and "move it away" in answer.text
    empty.fill("/demo/away")
    assert (folder / "letters.txt").read_text() == "dear"


def test_a_new_book_has_its_name_on_each_page_and_no_invented_data(empty: Browser) -> None:
    refused = empty.fill("/start/new", {"title": "  "})
    assert refused.status_code == 422 and 'aria-invalid="true"' in refused.text
    empty.fill("/start/new", {"title": "Beck & Sons"})
    text = empty.get("/").text
    assert "Beck &amp; Sons" in text and "Invented data" not in text and "Add the first pump" in text


def test_the_own_book_opens_again_at_the_next_start(tmp_path: Path) -> None:
    with served(tmp_path) as browser:
        add_pump(browser, "50 mm")
    with served(tmp_path, title="") as browser:
        assert "50 mm" in browser.get("/pumps").text and "Hillside Rams" in browser.get("/").text


# --- records ---


def test_a_pump_and_a_build_from_their_forms(own: Browser) -> None:
    made = own.fill("/pumps", {"name": "25 mm", "title": "For small springs"})
    pump = made.headers["location"]
    assert "is in the book" in own.get(pump).text and "is in the book" not in own.get(pump).text
    form = own.get(f"/builds/new?pump={pump.rpartition('/')[2]}").text
    assert 'name="waste_valve.stroke"' in form
    fields = {"name": "long stroke", "link.pump": pump.rpartition("/")[2], **VALVE}
    made = own.fill("/builds", fields)
    assert made.status_code == 303, made.text
    text = own.get(made.headers["location"]).text
    assert "guided poppet, 350 g, stroke 7 mm, seat 30 mm" in text and "<svg" in text
    assert "Keep fingers out of the waste valve" in text


def test_a_form_in_error_keeps_what_was_typed_and_says_it_beside_the_field(own: Browser) -> None:
    fields = {"name": "odd", "link.pump": str(add_pump(own)), **VALVE, "waste_valve.stroke": "7 <m>"}
    answer = own.fill("/builds", fields)
    assert answer.status_code == 422
    assert 'value="7 &lt;m&gt;"' in answer.text and 'value="350 g"' in answer.text and 'value="odd"' in answer.text
    field = re.search(r'<div class="field wrong".*?id="waste_valve.stroke".*?</p>\s*</div>', answer.text, re.S)
    assert field and 'aria-invalid="true"' in field[0] and "error-waste_valve.stroke" in field[0]
    assert own.get("/api/records/build").json()["total"] == 0


def test_a_form_sent_twice_makes_one_record(own: Browser) -> None:
    request_id = re.search(r'name="request_id" value="([\w-]+)"', own.get("/pumps/new").text)
    assert request_id
    fields = {"name": "25 mm", "request_id": request_id[1]}
    assert own.fill("/pumps", fields).headers["location"] == own.fill("/pumps", fields).headers["location"]
    assert own.get("/api/records/pump").json()["total"] == 1


def test_a_name_that_is_taken_is_said_at_the_name(own: Browser) -> None:
    add_pump(own)
    answer = own.fill("/pumps", {"name": "25 mm"})
    assert answer.status_code == 409 and 'id="error-name"' in answer.text


def test_two_people_change_one_record_and_nothing_is_lost(own: Browser) -> None:
    build = add_build(own, add_pump(own))
    path = f"/builds/{build}"
    opened = dict(re.findall(r'name="([\w.]+)"[^>]*?value="([^"]*)"', own.get(f"{path}/edit").text))
    link = {"link.pump": str(own.get(f"/api/records/build/{build}").json()["links"]["pump"])}
    sort = {"waste_valve.kind": "guided poppet"}
    mine = {**VALVE, **sort, **link, "name": "long stroke", "version": opened["version"]}
    assert own.fill(path, {**mine, "waste_valve.mass": "400 g", "waste_valve.stroke": "9 mm"}).status_code == 303
    late = own.fill(path, {**mine, "waste_valve.stroke": "8 mm", "air_vessel.volume": "4 L"})
    assert late.status_code == 409
    rows = {
        cells[0]: cells[1:]
        for row in re.findall(r'<tr class="differs">(.*?)</tr>', late.text, re.S)
        if (cells := [unescape(cell) for cell in re.findall(r"<t[hd][^>]*>([^<]*)</t", row)])
    }
    assert rows == {
        "Stroke": ["9 mm", "8 mm", "yours"],
        "Mass of the moving part": ["400 g", "350 g", "theirs"],
        "Volume inside": ["3 L", "4 L", "yours"],
    }
    form = dict(re.findall(r'name="([\w.]+)"[^>]*?value="([^"]*)"', late.text))
    assert (form["waste_valve.mass"], form["waste_valve.stroke"]) == ("400 g", "8 mm") and form["version"] == "2"
    kept = {key: form[key] for key in mine if key in form}
    assert own.fill(path, {**kept, **sort, **link}).status_code == 303
    entered = own.get(f"/api/records/build/{build}").json()["entered"]
    assert entered["waste_valve"] | {"kind": ""} == {
        "kind": "",
        "mass": "400 g",
        "stroke": "8 mm",
        "seat_bore": "30 mm",
    }
    assert entered["air_vessel"] == {"volume": "4 L"}


def test_a_revision_begins_as_the_build_before_it_and_says_what_differs(own: Browser) -> None:
    pump = add_pump(own)
    build = add_build(own, pump)
    form = own.get(f"/builds/new?pump={pump}&revision_of={build}").text
    assert 'value="7 mm"' in form and 'name="name" value=""' in form and 'name="version"' not in form
    links = {"link.pump": str(pump), "link.revision_of": str(build)}
    made = own.fill("/builds", {"name": "longer", **links, **VALVE, "waste_valve.stroke": "8 mm"})
    text = own.get(made.headers["location"]).text
    assert "What differs from long stroke" in text and "7 mm" in text and "8 mm" in text


def test_taking_away_and_putting_back(own: Browser) -> None:
    pump = add_pump(own)
    build = add_build(own, pump)
    refused = own.fill(f"/pumps/{pump}/remove", {"version": "1"})
    assert refused.status_code == 409 and "long stroke" in unescape(refused.text)
    assert own.fill(f"/builds/{build}/remove", {"version": "1"}).status_code == 303
    assert "long stroke" not in re.sub(r"<p class=.notice.*?</p>", "", own.get(f"/pumps/{pump}").text, flags=re.S)
    undo = re.search(r'action="(/book/undo/\d+)"', own.get("/book").text)
    assert undo
    own.fill(undo[1])
    assert "long stroke" in own.get(f"/pumps/{pump}").text


@pytest.mark.parametrize(
    "path", ["/pumps/999", "/builds/0", "/sites/abc", "/runs/99999999999", "/nowhere", "/trials/1/edit"]
)
def test_what_is_not_there_is_said_plainly(own: Browser, path: str) -> None:
    answer = own.get(path)
    assert answer.status_code == 404 and "<h1>" in answer.text and "detail" not in answer.text


def test_what_is_typed_is_never_markup(own: Browser) -> None:
    words = "<script>alert(1)</script>"
    pump = add_pump(own, f"p {words}")
    own.fill(f"/pumps/{pump}", {"name": f"p {words}", "version": "1", "note": f'"{words}'})
    for path in (
        "/",
        "/pumps",
        f"/pumps/{pump}",
        f"/pumps/{pump}/edit",
        "/book",
        f"/pumps?search={words}",
        "/progress",
    ):
        assert words not in own.get(path).text, path


# --- lists, units ---


def test_lists_are_searched_and_paged(own: Browser) -> None:
    for number in range(60):
        add_pump(own, f"pump {number}")
    text = own.get("/pumps").text
    assert text.count('class="row"') == 50 and "1 to 50 of 60" in text
    assert own.get("/pumps?search=&offset=50").text.count('class="row"') == 10
    found = own.get("/pumps?search=pump+17").text
    assert found.count('class="row"') == 1 and 'value="pump 17"' in found
    assert own.get("/pumps?offset=rubbish").status_code == 200


@pytest.mark.parametrize("path", ["/", "/pumps", "/bench", "/sites", "/progress", "/book", "/runs", "/api", "/live"])
def test_every_page_in_both_systems(demo: Browser, path: str) -> None:
    for system in ("metric", "us"):
        answer = demo.get(path, params={"units": system})
        assert answer.status_code == 200, answer.text


def test_every_record_of_the_demonstration_has_its_pages(demo: Browser) -> None:
    for kind in ("pump", "build", "rig", "trial", "run", "site"):
        for record in demo.get(f"/api/records/{kind}").json()["records"]:
            for path in (f"/{kind}s/{record['id']}", f"/{kind}s/{record['id']}/edit"):
                for system in ("us", "metric"):
                    answer = demo.get(path, params={"units": system})
                    assert answer.status_code == 200 and record["name"] in unescape(answer.text), path


def test_the_switch_changes_figures_and_stays(demo: Browser) -> None:
    assert "fall 2.4 m ± 0.05 m" in demo.get("/sites?units=metric").text
    assert "fall 7.874 ft" in demo.get("/sites?units=us").text
    assert "fall 7.874 ft" in demo.get("/sites").text
    [build] = demo.get("/api/records/build?search=flap").json()["records"]
    assert "(typed 7 mm)" in demo.get(f"/builds/{build['id']}").text
    assert "0.276 in" in demo.get(f"/builds/{build['id']}").text
    demo.get("/?units=metric")
    assert "units=us" in demo.get("/sites?search=dry").text and "search=dry" in demo.get("/sites?search=dry").text


def test_a_workshop_that_works_in_us_units_sees_them_first(own: Browser) -> None:
    own.fill("/book/workshop", {"version": "2", "title": "Hillside Rams", "units": "us"})
    assert re.search(r'<strong aria-current="true">US</strong>', own.get("/").text)


def test_dead_heads_carry_their_caution(demo: Browser) -> None:
    runs = demo.get("/api/records/run?limit=100").json()["records"]
    dead = next(run for run in runs if run["entered"]["kind"] == "dead_head")
    other = next(run for run in runs if run["entered"]["kind"] == "held_open")
    assert "Never shut the delivery of a running pump" in demo.get(f"/runs/{dead['id']}").text
    assert "Never shut the delivery" not in demo.get(f"/runs/{other['id']}").text


# --- backups ---


def test_a_backup_is_made_given_out_looked_into_and_restored(own: Browser) -> None:
    add_pump(own, "kept")
    assert own.fill("/book/backup").status_code == 303
    [name] = re.findall(r'href="/book/backups/([^"]+)"', own.get("/book").text)
    content = own.get(f"/book/backups/{name}").content
    assert content[:2] == b"PK"
    add_pump(own, "lost")
    fields = {"form_token": (None, own.token()), "backup": ("from-home.zip", content, "application/zip")}
    looked = own.post("/book/restore", files=fields, follow_redirects=False)
    assert looked.status_code == 303, looked.text
    plan = own.get(looked.headers["location"]).text
    assert "Nothing has been done yet" in plan and "lost" not in own.get("/pumps?search=kept").text
    sha256 = re.search(r'name="sha256" value="(\w{64})"', plan)
    assert sha256
    assert own.fill(looked.headers["location"], {"sha256": "0" * 64}).status_code == 404
    own.fill(looked.headers["location"], {"sha256": sha256[1]})
    assert [one["name"] for one in own.get("/api/records/pump").json()["records"]] == ["kept"]
    assert len(own.get("/api/book/backups").json()) == 3  # made, brought, and of the book before it was restored


@pytest.mark.parametrize("name", ["../book.sqlite", "..%2fbook.sqlite", "%2e%2e/web-key", "absent.zip"])
def test_nothing_but_a_backup_is_given_out(own: Browser, name: str) -> None:
    assert own.get(f"/book/backups/{name}").status_code == 404


def test_what_is_no_backup_is_not_kept(own: Browser) -> None:
    fields = {"form_token": (None, own.token()), "backup": ("x.zip", b"PK no", "application/zip")}
    answer = own.post("/book/restore", files=fields, follow_redirects=False)
    assert answer.status_code == 422 and "x.zip" in answer.text and ".part" not in answer.text
    assert own.get("/api/book/backups").json() == []


def test_a_trial_without_a_rig_leads_to_one(own: Browser) -> None:
    """The run card once took a whole run to the yard and the book then refused it for want of a rig."""
    pump = add_pump(own)
    links = {role: add_build(own, pump, role) for role in ("old_build", "new_build")}
    entered = {"figure": "waste_flow", "kind": "shut_beating", "margin": "5 %", "difference_that_matters": "10 %"}
    made = own.call("POST", "/api/records/trial", {"name": "waste", "entered": entered, "links": links})
    trial = f"/trials/{made.json()['id']}"
    assert "Add a rig first" in own.get(trial).text
    assert 'href="/rigs/new">Add a rig first' in own.get("/runs/new").text
    rig = {"fall": "2 m", "drive_pipe": {"series": "steel-sch40", "size": "1 in", "length": "12 m"}}
    assert own.call("POST", "/api/records/rig", {"name": "yard", "entered": rig}).status_code == 201
    assert "Add a rig first" not in own.get(trial).text + own.get("/runs/new").text
