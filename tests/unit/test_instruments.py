"""Instruments as records of their own, used on several rigs: in workbooks, in the book, and in a book that had none."""

from __future__ import annotations

import shutil
import sqlite3
import zipfile
from collections.abc import Mapping
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from invented_results import twin
from workshop_books import FLAP, RIG, RUN, demo_text

from clackwork.book import Book, InUse, open_book
from clackwork.book.doctor import BAD, WARNING, examine
from clackwork.book.migrate import REVISION
from clackwork.book.places import FILE_NAME
from clackwork.errors import InputError
from clackwork.workbook import load_workbook

OLDER = Path(__file__).resolve().parents[1] / "data" / "backups" / "book-0.1.0.zip"
GAUGE: Mapping[str, Any] = {"sort": "gauge", "full_scale": "4 bar", "accuracy_class": "1 %", "note": "checked in May"}
BARE_RIG = {key: value for key, value in RIG.items() if key != "instruments"}
HEIGHT = {"instruments": {"gauge": {"height_above_datum": "0.2 m"}}}


def test_rigs_of_a_workbook_share_an_instrument_each_in_its_own_place() -> None:
    text = demo_text().replace(
        '"fine gauge", height_above_datum = "0.15 m"', '"fine gauge", height_above_datum = "0.4 m"'
    )
    workbook = load_workbook(text)
    yard, high = workbook.rigs["yard"].instruments, workbook.rigs["yard, high gauge"].instruments
    assert (yard.gauge.name, yard.gauge.full_scale, yard.gauge.height_above_datum) == ("fine gauge", 4e5, 0.4)
    assert (high.gauge.name, high.gauge.height_above_datum) == ("high gauge", 0.15)
    assert (yard.bucket.name, high.bucket.name, yard.bucket.mark_uncertainty) == ("marked tub", "marked tub", 1e-4)
    assert yard.stopwatch == high.stopwatch == workbook.instruments["yard watch"]


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('gauge = { instrument = "fine gauge"', 'gauge = { instrument = "fine gage"', 'Did you mean "fine gauge"?'),
        ('gauge = { instrument = "fine gauge"', 'gauge = { instrument = "marked tub"', "it must be one of fine gauge"),
        ('"fine gauge", height', '"fine gauge", full_scale = "6 bar", height', "instrument 'fine gauge' says it"),
        ('"fine gauge", height', '"fine gauge", name = "other", height', "instrument 'fine gauge' says it"),
        ('"fine gauge", height_above_datum = "0.15 m"', '"fine gauge", height_above_datum = "90 m"', "-50 to 50 m"),
        ('sort = "stopwatch"', 'sort = "watch"', 'Did you mean "stopwatch"?'),
        (
            'sort = "stopwatch"',
            'sort = "stopwatch"\nmark_uncertainty = "1 L"',
            "Known here: note, sort, start_stop_sd",
        ),
        ('full_scale = "4 bar"', 'full_scale = "4 L"', "instrument 'fine gauge', full_scale"),
        ('accuracy_class = "1 %"', 'accuracy_class = "60 %"', "instrument 'fine gauge', accuracy_class"),
        ('mark_uncertainty = "0.1 L"', 'mark_uncertainty = "-0.1 L"', "instrument 'marked tub', mark_uncertainty"),
    ],
)
def test_instruments_of_a_workbook_are_checked(old: str, new: str, said: str) -> None:
    assert old in demo_text()
    with pytest.raises(InputError) as caught:
        load_workbook(demo_text().replace(old, new, 1))
    assert said in str(caught.value)


def shared_gauge(book: Book) -> tuple[Any, Any, Any]:
    """A gauge of the book, and two rigs that use it."""
    gauge = book.add("instrument", "fine gauge", GAUGE)
    yard = book.add("rig", "yard", {**BARE_RIG, **HEIGHT}, links={"gauge": gauge.id})
    return gauge, yard, book.add("rig", "brook", BARE_RIG, links={"gauge": gauge.id})


def test_a_book_s_rigs_share_an_instrument(book: Book) -> None:
    gauge, yard, _ = shared_gauge(book)
    assert gauge.si == {"full_scale_pa": 4e5, "accuracy_class": 0.01}
    assert yard.si["instruments_gauge_height_above_datum_m"] == 0.2
    pump = book.add("pump", "25 mm", {})
    book.add("build", "flap", FLAP, links={"pump": pump.id})
    rigs = book.workbook(pump.id).rigs
    assert [rig.instruments.gauge.full_scale for rig in rigs.values()] == [4e5, 4e5]
    assert [rig.instruments.gauge.height_above_datum for rig in rigs.values()] == [0.2, 0.0]
    book.change("instrument", gauge.id, version=1, entered={**GAUGE, "full_scale": "6 bar"})
    assert book.workbook(pump.id).rigs["brook"].instruments.gauge.full_scale == 6e5
    assert book.list("rig", links={"gauge": gauge.id}).total == 2
    text = book.give_workbook(pump.id)
    again = book.take_workbook(text)
    assert (again.added, again.renamed) == ((), {})


def test_an_instrument_goes_only_where_it_fits(book: Book) -> None:
    gauge, yard, _ = shared_gauge(book)
    tub = book.add("instrument", "marked tub", {"sort": "bucket"})
    with pytest.raises(InputError, match="rig 'lane', gauge = marked tub is not usable: it is a bucket"):
        book.add("rig", "lane", BARE_RIG, links={"gauge": tub.id})
    with pytest.raises(InputError, match="given as a link"):
        book.add("rig", "lane", {**BARE_RIG, "instruments": {"gauge": {"instrument": "fine gauge"}}})
    with pytest.raises(InputError, match="instrument 'fine gauge' says it"):
        book.add("rig", "lane", RIG, links={"gauge": gauge.id})
    with pytest.raises(InputError, match="rig 'yard', which uses it"):
        book.change("instrument", gauge.id, version=1, entered={"sort": "bucket"})
    with pytest.raises(InUse, match="rig 'yard', rig 'brook' rest on it"):
        book.remove("instrument", gauge.id, version=1)
    book.change("rig", yard.id, version=1, links={"gauge": None}, entered=BARE_RIG)
    assert book.get("rig", yard.id).links == {}


def test_a_change_of_an_instrument_that_a_run_cannot_bear_is_refused(book: Book) -> None:
    gauge, yard, _ = shared_gauge(book)
    pump = book.add("pump", "25 mm", {})
    flap = book.add("build", "flap", FLAP, links={"pump": pump.id})
    book.add("run", "flap 3", RUN, links={"build": flap.id, "rig": yard.id})  # read at 0.58 bar
    with pytest.raises(InputError, match="run 'flap 3', which stood on it, could no longer be read") as caught:
        book.change("instrument", gauge.id, version=1, entered={**GAUGE, "full_scale": "0.5 bar"})
    assert caught.value.field == "instrument 'fine gauge'"
    with pytest.raises(InputError, match="run 'flap 3', which stood on it"):
        fine = book.add("instrument", "low gauge", {"sort": "gauge", "full_scale": "0.5 bar"})
        book.change("rig", yard.id, version=1, links={"gauge": fine.id})
    changed = book.change("instrument", gauge.id, version=1, entered={**GAUGE, "full_scale": "2 bar"})
    undone = book.undo(book.changes(kind="instrument", id=changed.id)[0].id)
    assert undone.after["entered"] == GAUGE


def test_a_changed_instrument_makes_the_twin_stale_and_its_note_does_not(book: Book) -> None:
    gauge, yard, _ = shared_gauge(book)
    pump = book.add("pump", "25 mm", {})
    flap = book.add("build", "flap", FLAP, links={"pump": pump.id})
    book.add("run", "flap 3", RUN, links={"build": flap.id, "rig": yard.id})
    book.keep_twin(flap.id, twin())

    def reasons() -> tuple[str, ...]:
        kept = book.twin_of(flap.id)
        assert kept is not None
        return kept.reasons

    book.change("instrument", gauge.id, version=1, entered={**GAUGE, "note": "checked in June"})
    assert reasons() == ()
    book.change("instrument", gauge.id, version=2, entered={**GAUGE, "accuracy_class": "2 %"})
    assert reasons() == ("Instrument 'fine gauge' was changed after the fit.",)
    book.change("rig", yard.id, version=1, links={"gauge": None})
    assert "Rig 'yard' was changed after the fit." in reasons()


def test_a_book_of_the_first_tables_is_migrated_and_goes_on(tmp_path: Path) -> None:
    """The file inside the backup that revision 0001 wrote is put in its place and opened: no imitation of an older book."""
    folder = tmp_path / "book"
    folder.mkdir()
    with zipfile.ZipFile(OLDER) as archive:
        (folder / FILE_NAME).write_bytes(archive.read(FILE_NAME))
    shutil.copy(folder / FILE_NAME, tmp_path / "before.sqlite")
    with closing(sqlite3.connect(tmp_path / "before.sqlite")) as before:
        columns = [row[1] for row in before.execute("PRAGMA table_info(record)")]
        was = before.execute("SELECT * FROM record ORDER BY id").fetchall()
        assert before.execute("SELECT version_num FROM alembic_version").fetchone() == ("0001",)
        assert "gauge_id" not in columns
    with open_book(folder) as book:
        with book.reading() as connection:
            rows = connection.exec_driver_sql(f"SELECT {', '.join(columns)} FROM record ORDER BY id").fetchall()
            figures = columns.index("si")  # read again, as this version reads what was typed
            assert [(*row[:figures], *row[figures + 1 :]) for row in rows] == [
                (*row[:figures], *row[figures + 1 :]) for row in was
            ]
            assert connection.exec_driver_sql("SELECT version_num FROM alembic_version").scalar() == REVISION
        rig = book.list("rig").records[0]
        assert rig.entered["instruments"]["gauge"]["name"] == "fine gauge"
        gauge = book.add("instrument", "fine gauge", {"sort": "gauge", "full_scale": "4 bar"})
        without = {key: one for key, one in rig.entered["instruments"].items() if key != "gauge"}
        changed = book.change(
            "rig",
            rig.id,
            version=rig.version,
            links={"gauge": gauge.id},
            entered={**rig.entered, "instruments": without},
        )
        assert changed.links == {"gauge": gauge.id}
        book.undo(book.changes(kind="rig", id=rig.id)[0].id)
        assert book.get("rig", rig.id).entered == rig.entered
    (kept,) = (folder / "backups").glob("*.zip")
    assert "before-a-migration-of-tables-0001" in kept.name
    assert [one.words for one in examine(folder) if one.level == BAD] == []
    assert not [one for one in examine(folder) if one.level == WARNING and one.key == "records"]
