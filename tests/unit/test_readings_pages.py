"""Readings brought in and given out in the page: looked at first, asked about, taken, undone; the same as JSON."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from openpyxl import load_workbook
from web_case import HOME, Browser, served
from workshop_books import demo_text

from clackwork.book import Book, NotThere
from clackwork.book.raw_table import MOST_BYTES, TableError
from clackwork.shop import readings
from clackwork.shop.readings import Choices
from clackwork.web.readings_held import LASTS, MOST_HELD, HeldFiles

GOOD = b"""name,build,rig,kind,time (s),waste (L),delivered (L),gauge (bar)
new 1,flap,yard,delivering,120,24.5,7.80,0.58
new 2,poppet,yard,delivering,2:00,25.9 L,8.90,0.54
"""
ONE_BAD = GOOD.replace(b"0.54", b"9000")
DOUBTFUL = b"""Lauf;build;rig;kind;time (s);waste (L);delivered;gauge (bar)
neu 1;flap;yard;delivering;120;1,234;7,80;0,58
neu 2;poppet;yard;delivering;2:00;2,590;8,90;0,54
"""
NO_UNIT = GOOD.replace(b"waste (L)", b"waste")


@pytest.fixture
def browser(tmp_path: Path) -> Iterator[Browser]:
    with served(tmp_path) as one:
        one.app.state.shelf.book().take_workbook(demo_text(), pump_name="25 mm")
        yield one


def book_of(browser: Browser) -> Book:
    book: Book = browser.app.state.shelf.book()
    return book


def pump_of(browser: Browser) -> int:
    found = book_of(browser).find("pump", "25 mm")
    assert found is not None
    return found.id


def words(answer: Any) -> str:
    """The text of a page as it is read."""
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", answer.text)))


def fields_in(answer: Any) -> dict[str, str]:
    """What the form of a looked-at file would send, by name; radios and buttons are not chosen."""
    form = answer.text.partition('action="/readings"')[2].partition("</form>")[0]
    found = {}
    for tag in re.findall(r"<input [^>]+>", form):
        kind, name = re.search(r'type="(\w+)"', tag), re.search(r' name="([^"]*)"', tag)
        if kind and name and kind[1] in ("hidden", "text"):
            value = re.search(r' value="([^"]*)"', tag)
            found[unescape(name[1])] = unescape(value[1]) if value else ""
    for name, options in re.findall(r'<select id="[^"]*" name="([^"]*)"[^>]*>(.*?)</select>', form, flags=re.DOTALL):
        chosen = re.search(r'<option(?: value="([^"]*)")? selected>([^<]*)', options)
        found[unescape(name)] = unescape(chosen[1] if chosen[1] is not None else chosen[2]) if chosen else ""
    found.pop("form_token")
    return found


def send(browser: Browser, raw: bytes, name: str = "may.csv", fields: dict[str, str] | None = None) -> Any:
    """Choose a file on the pump's page and look into it."""
    given = fields or {"pump": str(pump_of(browser))}
    return browser.fill("/readings", given, files={"file": (name, raw)})


def press(browser: Browser, page: Any, do: str = "look", **changed: str) -> Any:
    """Send the form of a looked-at file with some things changed."""
    fields = fields_in(page) | {"do": do} | {key.replace("__", "."): text for key, text in changed.items()}
    return browser.fill("/readings", fields)


def runs_of(browser: Browser) -> int:
    return book_of(browser).list("run").total


def column(page: Any, header: str) -> int:
    """The place of a column in the form."""
    fields = fields_in(page)
    return next(int(key.partition(".")[2]) for key, text in fields.items() if key[:7] == "header." and text == header)


# ---- in


def test_a_good_file_is_looked_at_taken_and_undone(browser: Browser) -> None:
    before = runs_of(browser)
    assert "/readings" in browser.get(f"/pumps/{pump_of(browser)}").text
    assert "Bring in readings" in browser.get(f"/pumps/{pump_of(browser)}/readings").text
    page = send(browser, GOOD)
    assert page.status_code == 200 and "All 2 rows can be taken; nothing is taken yet" in words(page)
    assert runs_of(browser) == before
    fields = fields_in(page)
    assert fields["field.4"] == "duration" and fields["unit.4"] == "s" and fields["unit.7"] == "bar"
    sent = press(browser, page, "all")
    assert sent.status_code == 303 and runs_of(browser) == before + 2
    taken = browser.get(sent.headers["location"])
    assert "2 runs of 25 mm" in words(taken) and "new 1" in words(taken)
    run = book_of(browser).find("run", "new 2")
    assert run is not None and run.entered["waste_volume"] == "25.9 L" and run.made_by == "the shop"
    file = re.search(r"/api/readings/files/\d+/content", taken.text)
    assert file is not None and browser.get(file[0]).content == GOOD
    undo = re.search(r"/book/undo-together/\d+", taken.text)
    assert undo is not None and browser.fill(undo[0]).status_code == 303
    assert runs_of(browser) == before
    assert "All of it was put back" in words(browser.get(sent.headers["location"]))


def test_a_decimal_comma_is_asked_for_and_can_be_asked_again(browser: Browser) -> None:
    page = send(browser, DOUBTFUL, "mai.csv")
    page = press(browser, page, **{f"field__{column(page, 'Lauf')}": "name"})
    page = press(browser, page, **{f"unit__{column(page, 'delivered')}": "L"})
    assert 'Column "waste (L)": 1,234 can be read in two ways' in words(page)
    assert "1 thing to settle first" in words(page)
    refused = press(browser, page, "all")
    assert refused.status_code == 422 and "Nothing was taken" in words(refused)
    assert fields_in(refused) == fields_in(page)  # nothing chosen is lost
    page = press(browser, page, **{"answer__decimal:waste (L)": "comma"})
    assert "All 2 rows can be taken" in words(page) and "1.234 L" in words(page)
    again = press(browser, page, again="decimal:waste (L)")
    assert "can be read in two ways" in words(again)
    press(browser, page, "all")
    run = book_of(browser).find("run", "neu 1")
    assert run is not None and run.si["waste_volume_m3"] == pytest.approx(1.234e-3)


def test_a_missing_unit_is_asked_and_a_unit_of_another_kind_is_left_behind(browser: Browser) -> None:
    page = send(browser, NO_UNIT)
    place = column(page, "waste")
    assert "choose its unit" in words(page) and "1 thing to settle first" in words(page)
    page = press(browser, page, **{f"unit__{place}": "gal"})
    assert "All 2 rows" in words(page) and "24.5 gal" in words(page)
    page = press(browser, page, **{f"field__{place}": "back_pressure_head"})
    assert page.status_code == 200 and fields_in(page)[f"unit.{place}"] == ""
    refused = browser.call("POST", "/api/readings/look", asked_of(page) | unit("waste", "waste_volume", "bar"))
    assert refused.status_code == 200 and "must be a unit of" in refused.json()["refused"]


def test_what_was_changed_is_looked_at_before_it_is_taken(browser: Browser) -> None:
    page = send(browser, GOOD)
    changed = press(browser, page, "all", **{f"unit__{column(page, 'waste (L)')}": "gal"})
    assert changed.status_code == 409 and "You changed something since you looked" in words(changed)
    assert "24.5 gal" in words(changed) and book_of(browser).find("run", "new 1") is None
    assert press(browser, changed, "all").status_code == 303
    run = book_of(browser).find("run", "new 1")
    assert run is not None and run.entered["waste_volume"] == "24.5 gal"


def asked_of(page: Any) -> dict[str, str]:
    return {"upload": fields_in(page)["upload"]}


def unit(header: str, field: str, words: str) -> dict[str, Any]:
    return {"columns": [{"header": header, "field": field, "unit": words}]}


def test_two_columns_for_one_field_keep_what_was_chosen(browser: Browser) -> None:
    page = send(browser, GOOD)
    page = press(browser, page, **{f"field__{column(page, 'delivered (L)')}": "waste_volume"})
    assert "is read as waste_volume already" in words(page)
    assert fields_in(page)[f"field.{column(page, 'delivered (L)')}"] == "waste_volume"
    assert press(browser, page, "all").status_code == 422 and book_of(browser).find("run", "new 1") is None


def test_only_the_good_rows(browser: Browser) -> None:
    before = runs_of(browser)
    page = send(browser, ONE_BAD)
    assert "1 of 2 rows can be taken" in words(page) and "Row 3, gauge (bar)" in words(page)
    assert '<strong class="error">' in page.text
    refused = press(browser, page, "all")
    assert refused.status_code == 422 and "one row has an error" in words(refused) and runs_of(browser) == before
    assert press(browser, refused, "good").status_code == 303
    assert runs_of(browser) == before + 1 and book_of(browser).find("run", "new 1") is not None


@pytest.mark.parametrize(
    ("raw", "name", "sentence"),
    [
        (b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 8, "photo.png", "photo.png"),
        (b"PK\x03\x04 no zip at all", "book.zip", "book.zip"),
        (b"", "empty.csv", "empty.csv is empty"),
        (b"1;2;3\n4;5;6\n", "bare.csv", "not a table with a first row of column names"),
        (b"a" * (MOST_BYTES + 1), "long.csv", "larger than 5 MB"),
    ],
)
def test_a_foreign_file_is_refused_in_a_sentence(browser: Browser, raw: bytes, name: str, sentence: str) -> None:
    page = send(browser, raw, name)
    assert page.status_code == 422 and sentence in words(page) and 'id="error-file"' in page.text
    twin = browser.post(
        "/api/readings/files", data={"pump": pump_of(browser)}, files={"file": (name, raw)}, headers=API
    )
    assert twin.status_code == 422 and sentence in twin.json()["error"]


API = {"origin": HOME}


def test_no_file_no_pump_and_a_body_too_large(browser: Browser) -> None:
    none = browser.fill("/readings", {"pump": str(pump_of(browser))})
    assert none.status_code == 422 and "Choose a CSV or XLSX file" in words(none)
    assert send(browser, GOOD, fields={"pump": "999999"}).status_code == 404
    assert send(browser, GOOD, fields={"pump": "x"}).status_code == 422
    assert send(browser, b"a" * 6_100_000).status_code == 413
    assert browser.get("/pumps/999999/readings").status_code == 404


def test_the_same_file_twice_is_told_and_refused_for_its_names(browser: Browser) -> None:
    press(browser, send(browser, GOOD), "all")
    before = runs_of(browser)
    page = send(browser, GOOD, "copy of may.csv")
    assert "This very file was taken before" in words(page) and "0 of 2 rows can be taken" in words(page)
    assert "the book has a run of that name already" in words(page)
    assert press(browser, page, "good").status_code == 422 and runs_of(browser) == before


def test_what_was_chosen_outlives_a_file_held_no_more_and_a_mended_one(browser: Browser) -> None:
    page = send(browser, NO_UNIT)
    place = column(page, "waste")
    page = press(browser, page, **{f"unit__{place}": "gal"})
    del browser.app.state.held_readings
    gone = press(browser, page, "all")
    assert gone.status_code == 410 and "choose it once more" in words(gone)
    page = send(browser, NO_UNIT.replace(b"new 1", b"mended 1"), fields=fields_in(gone))
    assert "24.5 gal" in words(page) and "mended 1" in words(page)
    mended = send(browser, NO_UNIT.replace(b"24.5", b"24.6"), fields=fields_in(page) | {"do": "all"})
    assert mended.status_code == 200 and "24.6 gal" in words(mended)  # what was not looked at is not taken
    assert book_of(browser).find("run", "new 1") is None


def test_fields_that_are_the_same_for_all_are_needed_then_remembered(browser: Browser) -> None:
    raw = b"time (s),waste (L),delivered (L),gauge (bar)\n120,24.5,7.80,0.58\n120,25.9,8.90,0.54\n"
    page = send(browser, raw)
    assert "3 things to settle first" in words(page)
    page = press(browser, page, fixed__build="flap", fixed__rig="yard", fixed__kind="delivering", fixed__name="dusk")
    assert "All 2 rows" in words(page) and "dusk 2" in words(page)
    press(browser, page, "all")
    fields = fields_in(send(browser, raw.replace(b"120", b"121")))
    assert (fields["fixed.build"], fields["fixed.rig"], fields["fixed.name"]) == ("flap", "yard", "")


def test_hostile_names_are_shown_as_text(browser: Browser) -> None:
    raw = GOOD.replace(b"new 1", b"<script>alert(1)</script>").replace(b"waste (L)", b'"<b>"" x"')
    page = send(browser, raw, '<i>".csv')
    assert page.status_code == 200 and "<script>alert" not in page.text and "<b>" not in page.text
    assert "<script>alert(1)</script>" in unescape(page.text)


# ---- as JSON


def test_the_twin_in_json(browser: Browser) -> None:
    pump = pump_of(browser)
    sent = browser.post("/api/readings/files", data={"pump": pump}, files={"file": ("may.csv", DOUBTFUL)}, headers=API)
    assert sent.status_code == 201, sent.text
    seen = sent.json()
    assert [one["field"] for one in seen["columns"]][4:6] == ["duration", "waste_volume"] and not seen["ready"]
    wanted: dict[str, Any] = {
        "upload": seen["upload"],
        "columns": [
            {"header": "Lauf", "field": "name"},
            {"header": "delivered", "field": "delivered_volume", "unit": "L"},
        ],
        "answers": {"decimal:waste (L)": "comma"},
    }
    refused = browser.call("POST", "/api/readings/take", {"upload": seen["upload"]})
    assert refused.status_code == 422 and "can be read in two ways" in refused.json()["error"]
    looked = browser.call("POST", "/api/readings/look", wanted).json()
    assert looked["ready"] and looked["rows_good"] == 2 and looked["questions"] == []
    assert looked["rows"][1]["entered"]["duration"] == "2:00"
    done = browser.call("POST", "/api/readings/take", wanted)
    assert done.status_code == 201 and [run["name"] for run in done.json()["runs"]] == ["neu 1", "neu 2"]
    file = done.json()["file_id"]
    assert browser.get(f"/api/readings/files/{file}").json() == done.json()
    assert [one["id"] for one in browser.get(f"/api/pumps/{pump}/readings/files").json()] == [file]
    undone = browser.call("POST", f"/api/journal/{done.json()['change_id']}/undo-together")
    assert undone.status_code == 200 and browser.get(f"/api/readings/files/{file}").json()["undone"]
    assert browser.call("POST", "/api/readings/look", {"upload": "nothing"}).status_code == 404
    assert browser.get("/api/readings/files/999999").status_code == 404
    assert browser.get("/api/readings/files/999999/content").status_code == 404


def test_strangers_may_not_send(browser: Browser) -> None:
    strange = {"origin": "http://evil.example"}
    pump = {"pump": pump_of(browser)}
    for path in ("/readings", "/api/readings/files"):
        assert browser.post(path, data=pump, files={"file": ("a.csv", GOOD)}, headers=strange).status_code == 403


# ---- out


@pytest.mark.parametrize(
    ("units", "extra"), [("typed", None), ("metric", "waste_volume_l"), ("us", "waste_volume_gal")]
)
def test_given_out_and_brought_in_again(browser: Browser, units: str, extra: str | None) -> None:
    pump = pump_of(browser)
    csv = browser.get(f"/api/pumps/{pump}/readings.csv?units={units}&decimal_comma=true")
    assert csv.headers["content-disposition"].startswith('attachment; filename="runs of 25 mm.csv"')
    head = csv.content.decode("utf-8-sig").splitlines()[0].casefold().split(";")
    assert "waste_volume" in head and (extra is None or extra in head)
    xlsx = browser.get(f"/api/pumps/{pump}/readings.xlsx?units={units}")
    sheet = load_workbook(io.BytesIO(xlsx.content)).active
    assert sheet is not None and sheet.max_row == runs_of(browser) + 1
    other = book_of(browser).take_workbook(demo_text(), pump_name="a copy").pump.id
    for run in book_of(browser).list("run", links={"pump": other}, limit=500).records:
        book_of(browser).remove("run", run.id, version=run.version)
    for raw in (csv.content, xlsx.content):
        seen = readings.look_at(book_of(browser), other, raw, "again")
        assert seen["ready"] and seen["rows_total"] == sheet.max_row - 1
    assert browser.get(f"/api/pumps/{pump}/readings.csv?units=cubits").status_code == 422
    assert browser.get("/api/pumps/999999/readings.xlsx").status_code == 404


def test_a_name_of_any_letters_becomes_a_file_name(browser: Browser) -> None:
    made = browser.call("POST", "/api/records/pump", {"name": 'Widder "Ö" 25/30'}).json()
    answer = browser.get(f"/api/pumps/{made['id']}/readings.csv")
    assert answer.headers["content-disposition"].endswith("filename*=UTF-8''runs%20of%20Widder%20%C3%96%202530.csv")
    assert "add both" not in browser.get(f"/pumps/{made['id']}/readings").text
    assert "Add a build" in browser.get(f"/pumps/{made['id']}/readings").text


# ---- held files


def test_held_files_are_few_and_short_lived() -> None:
    now = [0.0]
    held = HeldFiles(lambda: now[0])
    first = held.hold("book", 3, "../a.csv", b"x")
    assert held.get(first, "book").name == "a.csv"
    with pytest.raises(NotThere):
        held.get(first, "another book")
    keys = [held.hold("book", 3, "b.csv", b"y") for _ in range(MOST_HELD)]
    with pytest.raises(NotThere):
        held.get(first, "book")
    now[0] = LASTS
    with pytest.raises(NotThere):
        held.get(keys[-1], "book")
    with pytest.raises(TableError):
        held.hold("book", 3, "c.csv", b"z" * (MOST_BYTES + 1))


def test_rows_with_errors_are_told_after_the_first(browser: Browser) -> None:
    lines = GOOD.decode().splitlines()
    rows = [lines[1].replace("new 1", f"row {number}") for number in range(40)]
    rows[30] = rows[30].replace("120", "soon")
    raw = "\n".join([lines[0], *rows]).encode()
    seen = readings.look_at(book_of(browser), pump_of(browser), raw, "long.csv", Choices(), most_rows=5)
    assert [row["name"] for row in seen["rows"]][4:] == ["row 4", "row 30"]
    assert (seen["rows_total"], seen["rows_good"], seen["rows_bad"]) == (40, 39, 1)
