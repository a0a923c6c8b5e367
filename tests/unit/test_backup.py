"""Backups: one file each, looked into before use, restored whole or not at all, never deleted."""

from __future__ import annotations

import contextlib
import io
import json
import shutil
import sqlite3
import threading
import zipfile
from collections.abc import Callable
from datetime import UTC, datetime
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest

import clackwork
from clackwork.book import Book, BookError, open_book
from clackwork.book import backup as backup_module
from clackwork.book import restoring as restoring_module
from clackwork.book.backup import BEFORE_RESTORE, before_migration, list_backups, make_backup
from clackwork.book.backup_file import LARGEST_BOOK, MANIFEST, read_info
from clackwork.book.doctor import BAD, examine
from clackwork.book.migrate import KNOWN, REVISION
from clackwork.book.places import FILE_NAME, Store, find_place
from clackwork.book.readings_import import kept_mapping
from clackwork.book.restoring import look_into, restore

DEMO = (files("clackwork") / "demo" / "workshop.toml").read_text(encoding="utf-8")
KEPT = Path(__file__).resolve().parents[1] / "data" / "backups"


def content(book: Book) -> list[tuple[Any, ...]]:
    """Everything a book holds, journal and all, but paired devices."""
    with book.reading() as connection:
        return [
            (name, sorted(tuple(row) for row in connection.exec_driver_sql(f'SELECT * FROM "{name}"')))
            for name in ("record", "change", "attachment", "setting")
        ]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A book with the demonstration in it."""
    place = tmp_path / "shop"
    with open_book(place) as book:
        book.take_workbook(DEMO, by="Ana")
        shop = book.workshop()
        book.change("workshop", shop.id, version=shop.version, entered={"title": "Ana's shed"})
        book.remember("card", {"half": 1})
        run = book.list("run").records[0]
        changed = book.change("run", run.id, version=run.version, entered={**run.entered, "note": "rain"}, by="Ana")
        book.undo(book.changes(kind="run", id=changed.id)[0].id)
        book.keep_file("readings.csv", b"name;waste L\na;20,3\n", media_type="text/csv")
    return place


def held(place: Path | str) -> list[tuple[Any, ...]]:
    with open_book(place) as book:
        return content(book)


def test_a_backup_restored_elsewhere_is_the_same_book(folder: Path, tmp_path: Path) -> None:
    made = make_backup(folder)
    assert made.path.parent == folder / "backups" and made.counts["run"] == 23 and made.title == "Ana's shed"
    with zipfile.ZipFile(made.path) as archive:
        assert sorted(archive.namelist()) == [FILE_NAME, MANIFEST]
    plan = look_into(made.path, tmp_path / "other")
    assert plan.present is None and any("no book at this place" in line for line in plan.lines)
    done = restore(plan)
    assert done.before is None and done.put_aside == ()
    assert held(tmp_path / "other") == held(folder)


def test_restoring_keeps_the_present_book_first_and_says_what_it_loses(folder: Path) -> None:
    made = make_backup(folder)
    with open_book(folder) as book:
        before = content(book)
        book.add("pump", "second", {})
        after = content(book)
        plan = look_into(made.path, folder)
        assert plan.changes_lost == 1 and any("loses one change" in line for line in plan.lines)
        assert any(line == "  pump: 1 in the backup, now 2" for line in plan.lines)
        done = restore(plan)  # while the book is open
        assert content(book) == before
        assert done.before is not None and done.before.reason == BEFORE_RESTORE
        book.add("pump", "third", {})
    restore(look_into(done.before.path, folder))
    assert held(folder) == after
    assert len(list_backups(find_place(folder))) == 3  # none was deleted


def test_plans_say_how_book_and_backup_are_related(folder: Path, tmp_path: Path) -> None:
    old = make_backup(folder)
    assert "Nothing has been changed since" in " ".join(look_into(old.path, folder).lines)
    with open_book(folder) as book:
        book.add("pump", "second", {})
    new = make_backup(folder)
    restore(look_into(old.path, folder))
    assert "The backup is newer" in " ".join(look_into(new.path, folder).lines)
    with open_book(folder) as book:
        book.add("pump", "another", {})
    assert "different ways" in " ".join(look_into(new.path, folder).lines)
    with open_book(tmp_path / "stranger"):
        pass
    assert "another book" in " ".join(look_into(new.path, tmp_path / "stranger").lines)


def test_a_backup_is_made_while_others_write(folder: Path, tmp_path: Path) -> None:
    stop, written = threading.Event(), []
    before = make_backup(folder).changes

    def write() -> None:
        with open_book(folder) as book:
            while not stop.is_set():
                written.append(book.add("pump", f"pump {len(written)}", {}).id)

    writer = threading.Thread(target=write)
    writer.start()
    try:
        made = [make_backup(folder, tmp_path / f"{i}.zip") for i in range(3)]
    finally:
        stop.set()
        writer.join()
    assert made[0].changes < made[-1].changes <= before + len(written)
    for i, one in enumerate(made):
        restore(look_into(one.path, tmp_path / f"restored {i}"))
        with open_book(tmp_path / f"restored {i}") as book:
            assert len(book.changes(limit=500)) == min(one.changes, 500)


def test_devices_are_not_in_a_backup_and_stay_as_they_are(folder: Path, tmp_path: Path) -> None:
    token = "token-that-must-not-leave"
    values = f"'phone', '{token}', '{datetime.now(UTC):%Y-%m-%dT%H:%M:%S.%fZ}'"
    with open_book(folder) as book, book.writing() as connection:
        connection.exec_driver_sql(f"INSERT INTO device (name, token_hash, made_at) VALUES ({values})")
    made = make_backup(folder)
    with zipfile.ZipFile(made.path) as archive:
        assert token.encode() not in archive.read(FILE_NAME)
    restore(look_into(made.path, folder))
    with open_book(folder) as book, book.reading() as connection:
        assert connection.exec_driver_sql("SELECT token_hash FROM device").scalars().all() == [token]


def test_jobs_that_had_not_ended_are_not_taken_up_after_a_restore(folder: Path) -> None:
    now = f"{datetime.now(UTC):%Y-%m-%dT%H:%M:%S.%fZ}"
    with open_book(folder) as book, book.writing() as connection:
        for state in ("queued", "running", "done"):
            connection.exec_driver_sql(
                'INSERT INTO job (kind, arguments, state, done, total, message, cancel, worker, "by", made_at) '
                f"VALUES ('fit', '{{}}', '{state}', 0, 0, '', 0, '', '', '{now}')"
            )
    restore(look_into(make_backup(folder).path, folder))
    with open_book(folder) as book, book.reading() as connection:
        states = connection.exec_driver_sql("SELECT state FROM job ORDER BY id").scalars().all()
    assert states == ["cancelled", "cancelled", "done"]


def test_a_backup_is_never_written_over(folder: Path, tmp_path: Path) -> None:
    made = make_backup(folder, tmp_path / "kept.zip")
    before = made.path.read_bytes()
    with pytest.raises(BookError, match="never written over"):
        make_backup(folder, tmp_path / "kept.zip")
    assert made.path.read_bytes() == before
    names = {make_backup(folder).path.name for _ in range(3)}
    assert len(names) == 3
    assert make_backup(folder, tmp_path).path.parent == tmp_path
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith(".") or path.suffix == ".part"] == []


def test_a_backup_of_nothing_is_refused(tmp_path: Path) -> None:
    with pytest.raises(BookError, match="There is no book in"):
        make_backup(tmp_path / "empty")
    (tmp_path / "junk").mkdir()
    (tmp_path / "junk" / FILE_NAME).write_bytes(b"not a database" * 100)
    with pytest.raises(BookError, match="it is no book, or it is damaged"):
        make_backup(tmp_path / "junk")


def test_a_migration_keeps_a_backup_first(folder: Path) -> None:
    store = Store(find_place(folder))
    made = before_migration(store, "0001")
    store.close()
    assert made.reason == "before a migration of tables 0001" and read_info(made.path) == made


def test_a_damaged_book_is_put_aside_not_deleted(folder: Path) -> None:
    made = make_backup(folder)
    before = held(folder)
    for ending in ("-wal", "-shm"):
        (folder / f"{FILE_NAME}{ending}").unlink(missing_ok=True)
    damaged = b"SQLite format 3\0" + b"\xff" * 8000
    (folder / FILE_NAME).write_bytes(damaged)
    plan = look_into(made.path, folder)
    assert any("put aside, not deleted" in line for line in plan.lines)
    done = restore(plan)
    assert [path.read_bytes() for path in done.put_aside if path.name == FILE_NAME] == [damaged]
    assert held(folder) == before


def test_a_failure_half_way_leaves_the_book_as_it_was(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    made = make_backup(folder)
    with open_book(folder) as book:
        book.add("pump", "second", {})
        before = content(book)
    whole = restoring_module.carry_rows

    def broken(*arguments: Any, **options: Any) -> None:
        whole(*arguments, **options)
        raise OSError("the plug was pulled")

    monkeypatch.setattr(restoring_module, "carry_rows", broken)
    with pytest.raises(OSError, match="plug"):
        restore(look_into(made.path, folder))
    assert held(folder) == before


def test_a_backup_changed_after_the_look_is_refused(folder: Path, tmp_path: Path) -> None:
    one, other = make_backup(folder, tmp_path / "one.zip"), make_backup(folder, tmp_path / "other.zip")
    plan = look_into(one.path, folder)
    with open_book(folder) as book:
        book.add("pump", "second", {})
    shutil.copy(make_backup(folder, tmp_path / "third.zip").path, one.path)
    with pytest.raises(BookError, match="has changed since"):
        restore(plan)
    assert other.path.exists()


def rewritten(path: Path, change: Callable[[dict[str, bytes]], None], **options: Any) -> Path:
    """A copy of a zip with its members changed."""
    with zipfile.ZipFile(path) as archive:
        members = {name: archive.read(name) for name in archive.namelist()}
    change(members)
    out = path.with_name("changed.zip")
    with zipfile.ZipFile(out, "w", **options) as archive:
        for name, data in members.items():
            archive.writestr(name, data)
    return out


def with_manifest(**values: Any) -> Callable[[dict[str, bytes]], None]:
    def change(members: dict[str, bytes]) -> None:
        members[MANIFEST] = json.dumps(json.loads(members[MANIFEST]) | values).encode()

    return change


def traversal(members: dict[str, bytes]) -> None:
    members["../../evil.txt"] = b"out of the folder"


def flipped(members: dict[str, bytes]) -> None:
    data = bytearray(members[FILE_NAME])
    data[len(data) // 2] ^= 1
    members[FILE_NAME] = bytes(data)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (traversal, "holds other things"),
        (lambda members: members.pop(MANIFEST), "holds other things"),
        (flipped, "not the one that was kept"),
        (lambda members: members.update({FILE_NAME: b"SQLite format 3\0"}), "has another size"),
        (lambda members: members.update({MANIFEST: b"[1, 2]"}), "cannot be read"),
        (lambda members: members.update({MANIFEST: b"[" * 50_000}), "cannot be read"),
        (lambda members: members.update({MANIFEST: b" " * 200_000}), "more than a book can be"),
        (with_manifest(format=2), "made by a later version"),
        (with_manifest(format="1"), "cannot be read"),
        (with_manifest(made_at="yesterday"), "cannot be read"),
        (with_manifest(members={}), "cannot be read"),
    ],
)
def test_foreign_and_damaged_files_are_refused_in_words(
    folder: Path, tmp_path: Path, change: Callable[[dict[str, bytes]], None], said: str
) -> None:
    path = rewritten(make_backup(folder, tmp_path / "good.zip").path, change)
    before = held(folder)
    with pytest.raises(BookError, match=said):
        look_into(path, folder)
    assert held(folder) == before and not (tmp_path.parent / "evil.txt").exists()


@pytest.mark.parametrize("data", [b"", b"not a zip", b"PK\x05\x06" + bytes(18)])
def test_other_files_are_refused_in_words(folder: Path, tmp_path: Path, data: bytes) -> None:
    path = tmp_path / "other.zip"
    path.write_bytes(data)
    with pytest.raises(BookError, match="no backup of a book"):
        look_into(path, folder)
    with pytest.raises(BookError, match="There is no backup"):
        look_into(tmp_path / "missing.zip", folder)


def test_a_cut_off_backup_is_refused(folder: Path, tmp_path: Path) -> None:
    path = make_backup(folder, tmp_path / "good.zip").path
    data = path.read_bytes()
    (tmp_path / "cut.zip").write_bytes(data[: len(data) * 2 // 3])
    with pytest.raises(BookError, match="no backup of a book"):
        look_into(tmp_path / "cut.zip", folder)
    middle = bytearray(data)
    middle[len(data) // 2 : len(data) // 2 + 50] = bytes(50)
    (tmp_path / "cut.zip").write_bytes(middle)
    with pytest.raises(BookError, match="damaged"):
        look_into(tmp_path / "cut.zip", folder)


def test_a_bomb_is_not_unpacked(folder: Path, tmp_path: Path) -> None:
    def blown(members: dict[str, bytes]) -> None:
        members[FILE_NAME] = bytes(60_000_000)

    path = rewritten(make_backup(folder, tmp_path / "good.zip").path, blown, compression=zipfile.ZIP_DEFLATED)
    assert path.stat().st_size < 200_000
    with pytest.raises(BookError, match="more than a book can be"):
        look_into(path, folder)
    assert LARGEST_BOOK > 60_000_000


def foreign_book(statements: str) -> bytes:
    """An SQLite file made by these statements."""
    with contextlib.closing(sqlite3.connect(":memory:")) as connection:
        connection.executescript(statements)
        return connection.serialize()


BOOK_LIKE = """
    CREATE TABLE record (id INTEGER PRIMARY KEY, kind TEXT, removed INTEGER, entered TEXT);
    CREATE TABLE "change" (id INTEGER PRIMARY KEY, "at" TEXT);
    CREATE TABLE alembic_version (version_num TEXT);
"""


@pytest.mark.parametrize(
    ("statements", "said"),
    [
        ("CREATE TABLE stamps (id INTEGER PRIMARY KEY);", "no book of this program"),
        (BOOK_LIKE, "no book of this program"),
        (BOOK_LIKE + "INSERT INTO alembic_version VALUES ('9999');", "later version of clackwork"),
        (
            BOOK_LIKE + "CREATE TRIGGER t AFTER INSERT ON record BEGIN DELETE FROM record; END;",
            "no book of this program",
        ),
        (BOOK_LIKE + "INSERT INTO alembic_version VALUES ('0001');", "no book of this program"),
    ],
)
def test_a_database_that_is_no_book_is_refused(folder: Path, tmp_path: Path, statements: str, said: str) -> None:
    made = make_backup(folder, tmp_path / "good.zip")
    data = foreign_book(statements)

    def swapped(members: dict[str, bytes]) -> None:
        import hashlib

        members[FILE_NAME] = data
        member = {"bytes": len(data), "sha256": hashlib.sha256(data).hexdigest()}
        with_manifest(members={FILE_NAME: member})(members)

    path = rewritten(made.path, swapped)
    before = held(folder)
    with pytest.raises(BookError, match=said):
        restore(look_into(path, folder))
    assert held(folder) == before


def test_a_locked_zip_is_refused(folder: Path, tmp_path: Path) -> None:
    data = bytearray(make_backup(folder, tmp_path / "good.zip").path.read_bytes())
    for mark, place in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        at = data.find(mark)
        while at != -1:
            data[at + place] |= 1
            at = data.find(mark, at + 4)
    (tmp_path / "locked.zip").write_bytes(data)
    with pytest.raises(BookError, match="password"):
        look_into(tmp_path / "locked.zip", folder)


def test_a_full_disk_is_told_before_anything_is_done(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    made = make_backup(folder)
    usage = shutil.disk_usage(folder)._replace(free=1000)
    monkeypatch.setattr(shutil, "disk_usage", lambda path: usage)
    with pytest.raises(BookError, match="too little to restore"):
        look_into(made.path, folder)


def test_a_folder_that_cannot_be_written_is_told(folder: Path, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(BookError, match="cannot be written"):
        make_backup(folder, tmp_path / "file" / "backup.zip")


def test_progress_is_told(folder: Path) -> None:
    seen: list[tuple[int, int]] = []
    make_backup(folder, progress=lambda done, total: seen.append((done, total)))
    assert seen and seen[-1][0] == seen[-1][1] > 0


def test_backups_of_a_database_go_to_the_folder_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    place = find_place("postgresql+psycopg:" + "//nobody@localhost/none")
    monkeypatch.setenv(backup_module.FOLDER_VARIABLE, str(tmp_path))
    assert backup_module.backups_folder(place) == tmp_path
    monkeypatch.delenv(backup_module.FOLDER_VARIABLE)
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    assert backup_module.backups_folder(place) == tmp_path / "home" / "clackwork-backups"


def test_a_backup_moves_a_book_between_databases(
    folder: Path, tmp_path: Path, postgresql_place: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(backup_module.FOLDER_VARIABLE, str(tmp_path / "kept"))
    whole = held(folder)
    restore(look_into(make_backup(folder).path, postgresql_place))
    with open_book(postgresql_place) as book:
        assert content(book) == whole
        added = book.add("pump", "second", {})  # numbers go on from the largest
        book.remove("pump", added.id, version=1)
        after = content(book)
    there = make_backup(postgresql_place)
    assert there.path.parent == tmp_path / "kept" and there.counts == make_backup(folder).counts
    restore(look_into(there.path, tmp_path / "back"))
    assert held(tmp_path / "back") == after
    plan = look_into(make_backup(folder, tmp_path / "first.zip").path, postgresql_place)
    assert plan.changes_lost == 2
    done = restore(plan)
    assert done.before is not None and done.before.changes == there.changes
    assert held(postgresql_place) == whole


@pytest.mark.parametrize("path", sorted(KEPT.glob("*.zip")), ids=lambda path: path.stem)
def test_backups_of_every_released_version_load(path: Path, tmp_path: Path) -> None:
    restore(look_into(path, tmp_path / "book"))
    with open_book(tmp_path / "book") as book:
        assert book.workshop().entered["note"] == "All of it is invented."
        (pump,) = book.list("pump").records
        workbook, text = book.workbook(pump.id), book.give_workbook(pump.id)
        (file,) = book.list("file").records
        assert book.file_bytes(file.id) == b"name;waste L\na;20,3\n"
        assert {change.by for change in book.changes(kind="run")} == {"Ana"}
        assert [one.action for one in book.changes(kind="run")].count("undo") == 1
        assert kept_mapping(book)["columns"]["Waste L"]["unit"] == "L"
        twins = [book.twin_of(build.id) for build in book.list("build").records]
    assert len(workbook.runs) == 23 and set(workbook.builds) == {"flap", "poppet"}
    assert len([one for one in twins if one is not None]) == 1
    assert [one.words for one in examine(tmp_path / "book") if one.level == BAD] == []
    with open_book(tmp_path / "again") as book:
        instruments, sites = (0, 4) if path.stem == "book-0.1.0" else (6, 6)  # the demonstration has grown since
        assert len(book.take_workbook(text).added) == 1 + 23 + 2 + 2 + 3 + sites + instruments


def test_a_backup_of_these_tables_is_kept() -> None:
    assert f"book-{clackwork.__version__}-tables-{REVISION}" in [path.stem for path in KEPT.glob("*.zip")]
    assert {read_info(path).tables for path in KEPT.glob("*.zip")} == set(KNOWN)


def test_a_list_of_backups_passes_over_other_files(folder: Path) -> None:
    made = [make_backup(folder) for _ in range(2)]
    (folder / "backups" / "other.zip").write_bytes(io.BytesIO(b"nothing").getvalue())
    assert [one.path for one in list_backups(find_place(folder))] == [one.path for one in reversed(made)]
