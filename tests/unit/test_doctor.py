"""The doctor: what it finds in a sound book, in damaged ones, and in folders a book should not lie in."""

from __future__ import annotations

import contextlib
import json
import sqlite3
from importlib.resources import files
from pathlib import Path

import pytest
from typer.testing import CliRunner

from clackwork import cli
from clackwork.book import BookError, open_book
from clackwork.book.backup import FOLDER_VARIABLE, make_backup
from clackwork.book.doctor import BAD, GOOD, WARNING, Finding, examine
from clackwork.book.folders import folder_warnings, kind_of_drive, sync_mark
from clackwork.book.places import FILE_NAME

DEMO = (files("clackwork") / "demo" / "workshop.toml").read_text(encoding="utf-8")
runner = CliRunner()


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A book with the demonstration, a kept file and a backup."""
    place = tmp_path / "shop"
    with open_book(place) as book:
        book.take_workbook(DEMO)
        book.keep_file("readings.csv", b"name;waste L\na;20,3\n", media_type="text/csv")
    make_backup(place)
    return place


def found(place: Path | str, key: str) -> Finding:
    (one,) = [one for one in examine(place) if one.key == key]
    return one


def damage(place: Path, *statements: str) -> None:
    """Change a book behind its back."""
    with contextlib.closing(sqlite3.connect(place / FILE_NAME)) as connection:
        for statement in statements:
            connection.execute(statement)
        connection.commit()


def test_a_sound_book_has_nothing_against_it(folder: Path) -> None:
    seen = examine(folder)
    assert [one.key for one in seen if one.level == BAD] == []
    assert {one.key for one in seen} == {
        "versions", "folder", "space", "tables", "pages", "links", "journal", "records", "files", "backups",
    }  # fmt: skip
    assert all(one.level == GOOD for one in seen if one.key not in ("folder", "space"))
    assert all(bool(one.next_step) == (one.level != GOOD) for one in seen)


def test_the_doctor_changes_nothing(folder: Path) -> None:
    with open_book(folder) as book:
        before = (book.changes(limit=500), book.list("run", limit=500))
    examine(folder)
    with open_book(folder) as book:
        assert (book.changes(limit=500), book.list("run", limit=500)) == before
    assert sorted(path.name for path in folder.iterdir() if not path.name.startswith(FILE_NAME)) == ["backups"]
    assert len(list((folder / "backups").iterdir())) == 1


@pytest.mark.parametrize(
    ("statement", "key", "said"),
    [
        ("UPDATE record SET name = 'other' WHERE kind = 'pump'", "journal", "is not as its last change says"),
        ("UPDATE record SET version = 7 WHERE kind = 'pump'", "journal", "is not as its last change says"),
        (
            "DELETE FROM \"change\" WHERE record_id = (SELECT id FROM record WHERE name = 'flap 3')",
            "journal",
            "'flap 3' (number 20) is not in the journal",
        ),
        ("UPDATE record SET si = '{}' WHERE name = 'flap 3'", "records", "other figures than its text gives"),
        ("UPDATE attachment SET content = x'00'", "files", "is not as it was kept"),
        ("DELETE FROM attachment", "files", "has lost its bytes"),
        ("UPDATE record SET rig_id = 9999 WHERE name = 'flap 3'", "links", "points to a record that is not there"),
    ],
)
def test_damage_is_found_and_named(folder: Path, statement: str, key: str, said: str) -> None:
    damage(folder, statement)
    one = found(folder, key)
    assert said in one.words and one.level != GOOD and one.next_step


def test_a_text_that_can_no_longer_be_read_is_a_warning(folder: Path) -> None:
    with contextlib.closing(sqlite3.connect(folder / FILE_NAME)) as connection:
        (text,) = connection.execute("SELECT entered FROM record WHERE name = 'flap 3'").fetchone()
        changed = json.dumps(json.loads(text) | {"duration": "two minutes"})
        connection.execute("UPDATE record SET entered = ? WHERE name = 'flap 3'", (changed,))
        connection.commit()
    one = found(folder, "records")
    assert one.level == WARNING and "'flap 3' cannot be read" in one.words and "two minutes" in one.words


def test_damaged_pages_are_found(folder: Path) -> None:
    damage(folder, "PRAGMA wal_checkpoint(TRUNCATE)")
    path = folder / FILE_NAME
    data = bytearray(path.read_bytes())
    for page in range(8, len(data) // 4096 - 2):
        data[page * 4096 : page * 4096 + 400] = b"\xff" * 400
    path.write_bytes(data)
    bad = [one for one in examine(folder) if one.level == BAD]
    assert bad and bad[0].key in ("pages", "tables")


def test_no_book_and_no_database(folder: Path, tmp_path: Path) -> None:
    assert found(tmp_path / "empty", "place").level == BAD
    (folder / FILE_NAME).write_bytes(b"junk" * 4000)
    one = found(folder, "tables")
    assert one.level == BAD and "no book" in one.words and "restore" in one.next_step.casefold()
    with pytest.raises(BookError):
        examine("mysql:" + "//somewhere/book")


def test_tables_of_a_later_version_are_told(folder: Path) -> None:
    damage(folder, "UPDATE alembic_version SET version_num = '9999'")
    one = found(folder, "tables")
    assert one.level == BAD and "9999" in one.words


def test_a_database_is_examined_as_well(postgresql_place: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(FOLDER_VARIABLE, str(tmp_path))
    assert found(postgresql_place, "tables").level == BAD
    with open_book(postgresql_place) as book:
        book.take_workbook(DEMO)
        assert [one.key for one in examine(postgresql_place) if one.level != GOOD] == ["backups"]
        with book.writing() as connection:
            connection.exec_driver_sql("UPDATE record SET version = 7 WHERE kind = 'pump'")
    assert found(postgresql_place, "journal").level == BAD


def test_a_missing_or_damaged_backup_is_told(folder: Path) -> None:
    (kept,) = (folder / "backups").iterdir()
    data = bytearray(kept.read_bytes())
    data[len(data) // 2 : len(data) // 2 + 50] = bytes(50)
    kept.write_bytes(data)
    assert found(folder, "backups").level == BAD
    kept.unlink()
    one = found(folder, "backups")
    assert one.level == WARNING and "There is no backup" in one.words


MOUNTS = (
    "/dev/sda1 / ext4 rw 0 0\n"
    "server:/share /mnt/share nfs4 rw 0 0\n"
    "//box/yard /mnt/yard\\040books cifs rw 0 0\n"
    "there /mnt/there fuse.anything rw 0 0\n"
    "/dev/sdb1 /mnt/share/disk ext4 rw 0 0\n"
    "tmpfs /run tmpfs rw 0 0\n"
)


@pytest.mark.parametrize(
    ("folder", "kind", "key"),
    [
        ("/srv/book", "ext4", None),
        ("/mnt/share/book", "nfs4", "network"),
        ("/mnt/share/disk/book", "ext4", None),
        ("/mnt/shared/book", "ext4", None),
        ("/mnt/yard books/a", "cifs", "network"),
        ("/mnt/there", "fuse.anything", "program"),
        ("/run/book", "tmpfs", "memory"),
    ],
)
def test_drives_over_a_network_are_told(folder: str, kind: str, key: str | None) -> None:
    assert kind_of_drive(Path(folder), MOUNTS) == kind
    assert [one.key for one in folder_warnings(Path(folder), MOUNTS)] == ([key] if key else [])


def test_no_table_of_mounts_is_no_warning() -> None:
    assert folder_warnings(Path("/srv/book"), "") == ()


@pytest.mark.parametrize("mark", [".sync", ".xsync_state.db", ".stfolder", ".cloud", ".shelter", ".shelter.cache"])
def test_marks_of_syncing_programs_are_seen_above_the_book(tmp_path: Path, mark: str) -> None:
    book = tmp_path / "Shelter" / "rams" / "book"
    book.mkdir(parents=True)
    assert sync_mark(book) is None
    (tmp_path / "Shelter" / mark).mkdir()
    (one,) = folder_warnings(book, "")
    assert one.key == "synced" and mark in one.words


@pytest.mark.parametrize(
    "name", ["Sync", "my sync", "Cloud files", "AnyCloud", "AnyDrive", "AnyDrive - Workshop", "My Drive"]
)
def test_usual_names_of_synced_folders(tmp_path: Path, name: str) -> None:
    (tmp_path / name / "book").mkdir(parents=True)
    assert sync_mark(tmp_path / name / "book") is not None


@pytest.mark.parametrize("name", ["drive pipe", "Drive pipes", "drive", "clouded", "synchro", "asynchronous", ".git"])
def test_other_names_are_left_in_peace(tmp_path: Path, name: str) -> None:
    (tmp_path / name / "book").mkdir(parents=True)
    assert sync_mark(tmp_path / name / "book") is None


def test_the_home_folder_is_not_judged_by_its_settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HOME", str(tmp_path))
    (tmp_path / ".anysync").mkdir()
    (tmp_path / "book").mkdir()
    assert sync_mark(tmp_path / "book") is None


def test_the_command_says_all_and_fails_when_something_is_bad(folder: Path) -> None:
    good = runner.invoke(cli.app, ["doctor", str(folder)])
    assert good.exit_code == 0 and "journal: Journal and records agree." in good.stdout
    damage(folder, "DELETE FROM attachment")
    bad = runner.invoke(cli.app, ["doctor", str(folder), "--json"])
    levels = {one["key"]: one["level"] for one in json.loads(bad.stdout)["findings"]}
    assert bad.exit_code == 2 and levels["files"] == "bad" and levels["journal"] == "good"


def test_the_commands_keep_and_bring_back_a_book(folder: Path, tmp_path: Path) -> None:
    kept = tmp_path / "kept.zip"
    made = runner.invoke(cli.app, ["backup", str(folder), "--to", str(kept)])
    assert made.exit_code == 0 and "23 runs" in made.stdout, made.stderr
    again = runner.invoke(cli.app, ["backup", str(folder), "--to", str(kept)])
    assert again.exit_code == 2 and "never written over" in again.stderr
    asked = runner.invoke(cli.app, ["restore", str(kept), "--into", str(tmp_path / "new")])
    assert asked.exit_code == 2 and "run: 23 in the backup" in asked.stdout and "--yes" in asked.stderr
    assert not (tmp_path / "new").exists()
    done = runner.invoke(cli.app, ["restore", str(kept), "--into", str(tmp_path / "new"), "--yes"])
    assert done.exit_code == 0 and "Restored" in done.stdout, done.stderr


def test_the_commands_take_a_workbook_and_give_it_out(tmp_path: Path) -> None:
    source, given = tmp_path / "workshop.toml", tmp_path / "given.toml"
    source.write_text(DEMO, encoding="utf-8")
    place = str(tmp_path / "book")
    taken = runner.invoke(cli.app, ["book", "take", str(source), "--into", place, "--pump", "25 mm"])
    assert taken.exit_code == 0 and "23 runs" in taken.stdout, taken.stderr
    again = runner.invoke(cli.app, ["book", "take", str(source), "--into", place, "--pump", "25 mm"])
    assert "nothing new" in again.stdout and "were there already" in again.stdout
    out = runner.invoke(cli.app, ["book", "give", place, "--pump", "25 mm", "--to", str(given)])
    assert out.exit_code == 0, out.stderr
    assert runner.invoke(cli.app, ["book", "give", place, "--pump", "25 mm", "--to", str(given)]).exit_code == 2
    other = runner.invoke(cli.app, ["book", "take", str(given), "--into", str(tmp_path / "other")])
    assert other.exit_code == 0 and "23 runs" in other.stdout, other.stderr
    missed = runner.invoke(cli.app, ["book", "give", place, "--pump", "25 mn"])
    assert missed.exit_code == 2 and 'Did you mean "25 mm"?' in missed.stderr
