"""Runs of a table taken into a book: all or nothing, the file kept, the columns remembered, out again without loss."""

from __future__ import annotations

from dataclasses import replace
from importlib.resources import files
from pathlib import Path

import pytest

from clackwork.book import Book, NotThere, open_book
from clackwork.book.raw_table import read_table
from clackwork.book.readings_import import kept_mapping, known_to, run_rows, take_runs
from clackwork.book.readings_table import ImportRefused, RunRow, preview, suggest_mapping
from clackwork.book.runs_export import export_runs_csv, export_runs_xlsx

DEMO = (files("clackwork") / "demo" / "workshop.toml").read_text(encoding="utf-8")
FIXED = {"rig": "yard", "kind": "delivering"}
ROWS = (
    "name;build;time (s);waste (L);delivered (L);gauge (bar);trial\n"
    "new 1;flap;120;24,5;7,80;0,58;efficiency\n"
    "new 2;poppet;2:00;25,9 L;8,90;0,54;\n"
)


@pytest.fixture
def book(tmp_path: Path) -> Book:
    made = open_book(tmp_path / "shop")
    made.take_workbook(DEMO, pump_name="25 mm")
    return made


def pump_of(book: Book) -> int:
    found = book.find("pump", "25 mm")
    assert found is not None
    return found.id


def state(book: Book) -> tuple[int, int, int]:
    return book.list("run").total, book.list("file").total, len(book.changes(limit=500))


def test_runs_are_taken_with_their_file_in_one_action(book: Book) -> None:
    raw, pump = ROWS.encode(), pump_of(book)
    table = read_table(raw, "may.csv")
    mapping = replace(suggest_mapping(table), fixed=FIXED)
    before = state(book)
    taken = take_runs(book, pump, table, mapping, raw, by="Ana")
    assert [run.name for run in taken.runs] == ["new 1", "new 2"]
    assert taken.runs[1].entered["waste_volume"] == "25,9 L" and taken.runs[1].si["waste_volume_m3"] == 0.0259
    assert taken.runs[0].made_by == "Ana" and book.get("trial", taken.runs[0].links["trial"]).name == "efficiency"
    assert "trial" not in taken.runs[1].links
    assert book.file_bytes(taken.file.id) == raw and taken.file.name == "may.csv"
    assert state(book) == (before[0] + 2, before[1] + 1, before[2] + 3)
    book.undo_together(book.changes(limit=1)[0].id)
    assert state(book)[:2] == before[:2]


def test_the_same_file_again_is_refused_for_its_names(book: Book) -> None:
    raw, pump = ROWS.encode(), pump_of(book)
    table = read_table(raw, "may.csv")
    mapping = replace(suggest_mapping(table), fixed=FIXED)
    take_runs(book, pump, table, mapping, raw)
    before = state(book)
    with pytest.raises(ImportRefused, match="a run of that name already"):
        take_runs(book, pump, table, mapping, raw)
    assert state(book) == before


def test_good_rows_are_taken_only_when_asked_for(book: Book) -> None:
    raw, pump = ROWS.replace("0,54", "9000").encode(), pump_of(book)
    table = read_table(raw, "may.csv")
    mapping = replace(suggest_mapping(table), fixed=FIXED)
    before = state(book)
    with pytest.raises(ImportRefused, match=r'Row 3, column "gauge \(bar\)"'):
        take_runs(book, pump, table, mapping, raw)
    assert state(book) == before and kept_mapping(book) == {}
    taken = take_runs(book, pump, table, mapping, raw, only_good=True)
    assert [run.name for run in taken.runs] == ["new 1"]


def test_columns_are_remembered_for_the_next_file(book: Book) -> None:
    raw, pump = ROWS.encode(), pump_of(book)
    table = read_table(raw, "may.csv")
    take_runs(book, pump, table, replace(suggest_mapping(table), fixed=FIXED), raw)
    again = suggest_mapping(read_table(ROWS.replace("new", "newer").encode(), "june.csv"), kept_mapping(book))
    assert again.fixed == FIXED and any("last time" in note for note in again.notes)
    assert preview(read_table(ROWS.replace("new", "newer").encode(), "june.csv"), again, known_to(book, pump)).is_ready


def test_files_of_one_name_are_kept_side_by_side(book: Book) -> None:
    pump = pump_of(book)
    for names in ("new", "newer", "newest"):
        raw = ROWS.replace("new", names).encode()
        table = read_table(raw, "may.csv")
        take_runs(book, pump, table, replace(suggest_mapping(table), fixed=FIXED), raw)
    assert [one.name for one in book.list("file").records] == ["may.csv", "may.csv (2)", "may.csv (3)"]


def test_only_what_the_pump_has_is_known(book: Book) -> None:
    other = book.add("pump", "other", {})
    known = known_to(book, other.id)
    assert known.builds == () and known.run_names == frozenset() and "yard" in known.rigs
    with pytest.raises(NotThere):
        known_to(book, 9999)


@pytest.mark.parametrize("form", ["csv", "xlsx"])
def test_runs_go_out_and_into_another_book_without_loss(book: Book, tmp_path: Path, form: str) -> None:
    rows = run_rows(book, pump_of(book))
    assert len(rows) == 23
    raw = export_runs_xlsx(rows, "us") if form == "xlsx" else export_runs_csv(rows, "us").encode()
    table = read_table(raw, f"runs.{form}")
    with open_book(tmp_path / "other") as other:
        other.take_workbook(DEMO.split("[[run]]")[0], pump_name="25 mm")
        take_runs(other, pump_of(other), table, suggest_mapping(table), raw)
        assert [plain(row) for row in run_rows(other, pump_of(other))] == [plain(row) for row in rows]
        mine, theirs = (one.list("run", limit=100).records for one in (book, other))
        assert [one.si for one in mine] == [one.si for one in theirs]


def plain(row: RunRow) -> tuple[object, ...]:
    return row.name, row.build, row.rig, row.trial, dict(row.entered)


def test_runs_of_one_build_go_out_alone(book: Book) -> None:
    pump = pump_of(book)
    build = book.find("build", "flap", links={"pump": pump})
    assert build is not None
    assert {row.build for row in run_rows(book, pump, {"build": build.id})} == {"flap"}
