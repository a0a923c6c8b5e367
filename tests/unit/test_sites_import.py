"""Places out of a table: columns, units and decimal commas, errors by row, nothing lost, never twice."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from clackwork.book import Book, open_book
from clackwork.book.raw_table import TableError
from clackwork.book.readings_table import ImportRefused
from clackwork.book.run_columns import ColumnUse, units_for
from clackwork.book.sites_table import SITES
from clackwork.cli import app
from clackwork.quantities import KINDS
from clackwork.shop.readings import Choices
from clackwork.shop.site_tables import look_at_sites, take_site_table

ROWS = (
    "site;fall (m);source flow (L/min);lift above source (m);line length (m);who drinks;carries;remark;owner\n"
    "North;3,0 ± 0,05;24;18,5;120;People;sand, iron;invented;A\n"
    "South;2,2;12 gpm;30;260;;;;B\n"
).encode()
HUNDREDS = 400


@pytest.fixture
def book(tmp_path: Path) -> Book:
    return open_book(tmp_path / "shop")


def rows(raw: bytes) -> bytes:
    """The columns of the table above with other rows."""
    return ROWS.splitlines(keepends=True)[0] + raw


def test_a_table_is_looked_at_before_anything_is_taken(book: Book) -> None:
    seen = look_at_sites(book, ROWS, "places.csv")
    assert seen["ready"] and seen["rows_new"] == 2 and book.list("site").total == 0
    fields = {one["header"]: (one["field"], one["unit"]) for one in seen["columns"]}
    assert fields["site"] == ("name", "") and fields["line length (m)"] == ("survey.line_length", "m")
    assert any('"owner"' in note for note in seen["notes"])  # what is not read is said


def test_rows_are_kept_as_a_workbook_has_them(book: Book) -> None:
    taken = take_site_table(book, ROWS, "places.csv", by="A")
    north, south = (one.entered for one in taken.sites)
    assert north == {
        "fall": "3,0 ± 0,05 m",
        "source_flow": "24 L/min",
        "lift_from_source": "18,5 m",
        "survey": {"line_length": "120 m", "drinkers": "people", "carries": ["sand", "iron"]},
        "note": "invented",
    }
    assert south["source_flow"] == "12 gpm"
    surveys = book.workbook(None).surveys
    assert surveys["North"].lift.value == pytest.approx(21.5) and surveys["North"].carries == ("sand", "iron")
    assert taken.file is not None and book.file_bytes(taken.file.id) == ROWS


def test_the_same_table_again_takes_nothing(book: Book) -> None:
    take_site_table(book, ROWS, "places.csv")
    again = take_site_table(book, ROWS, "places.csv")
    assert again.sites == () and again.same == ("North", "South") and again.file is None
    assert book.list("site").total == 2 and book.list("file").total == 1
    more = take_site_table(book, ROWS + b"East;4;50;20;90;;;;\n", "more.csv")
    assert [one.name for one in more.sites] == ["East"] and book.list("site").total == 3


@pytest.mark.parametrize(
    ("line", "column", "said"),
    [
        (b"East;0,01;24;18;90;;;;\n", "fall (m)", "0.1 to 60 m"),
        (b"East;lots;24;18;90;;;;\n", "fall (m)", "begin with a number"),
        (b"East;3;24;;90;;;;\n", "lift above source (m)", "exactly one"),
        (b"East;3;24;18;;;;;\n", "line length (m)", "needed"),
        (b"East;3;24;18;90;wolves;;;\n", "who drinks", "nobody, animals, people"),
        (b"East;3;24;18;90;;gold;;\n", "carries", "sand"),
        (b";3;24;18;90;;;;\n", "site", "1 to 80"),
        (b"north;3;24;18;90;;;;\n", "site", "row 2 has that name already"),
        (b"East;3;24 m;18;90;;;;\n", "source flow (L/min)", "unit of length"),
    ],
)
def test_errors_name_row_and_column(book: Book, line: bytes, column: str, said: str) -> None:
    seen = look_at_sites(book, ROWS + line, "places.csv")
    found = [error for row in seen["rows"] for error in row["errors"]]
    assert [error["column"] for error in found] == [column] and said in found[0]["sentence"]
    assert found[0]["sentence"].startswith("Row 4")
    with pytest.raises(ImportRefused, match="one row has an error"):
        take_site_table(book, ROWS + line, "places.csv")
    assert book.list("site").total == 0
    assert len(take_site_table(book, ROWS + line, "places.csv", only_good=True).sites) == 2


def test_another_place_of_the_same_name_is_never_written_over(book: Book) -> None:
    take_site_table(book, ROWS, "places.csv")
    changed = rows(b"North;9;24;18,5;120;;;;\n")
    seen = look_at_sites(book, changed, "places.csv")
    assert "says something else" in seen["rows"][0]["errors"][0]["sentence"]
    with pytest.raises(ImportRefused):
        take_site_table(book, changed, "places.csv", only_good=True)
    assert book.workbook(None).surveys["North"].fall.value == 3.0


def test_what_is_in_doubt_is_asked_and_nothing_taken_until_answered(book: Book) -> None:
    raw = b'name,fall,source flow (L/min),lift from pump (m),line length (m)\nEast,3,24,20,"1,200"\n'
    seen = look_at_sites(book, raw, "places.csv")
    assert {one["key"] for one in seen["questions"]} == {"unit:fall", "decimal:line length (m)"}
    with pytest.raises(ImportRefused, match="yet"):
        take_site_table(book, raw, "places.csv", only_good=True)
    chosen = Choices({"fall": ColumnUse("fall", "fall", "m")}, answers={"decimal:line length (m)": "point"})
    assert take_site_table(book, raw, "places.csv", chosen).sites[0].entered["survey"]["line_length"] == "1200 m"


def test_columns_are_remembered(book: Book) -> None:
    raw = b"name,drop,source flow (L/min),lift from pump (m),line length (m)\nEast,3,24,20,90\n"
    take_site_table(book, raw, "places.csv", Choices({"drop": ColumnUse("drop", "fall", "ft")}))
    other = raw.replace(b"East,3", b"West,9")
    assert look_at_sites(book, other, "more.csv")["columns"][1]["unit"] == "ft"


def test_pipes_in_a_table_make_a_designed_place(book: Book) -> None:
    raw = (
        "name,fall (m),source_flow (L/min),lift_from_pump (m),line length (m),drive_pipe.series,drive_pipe.size,"
        "drive_pipe.length (m),delivery_line.series,delivery_line.size\n"
        "East,3,24,20,90,steel-sch40,1 in,18,pe100-sdr11,25 mm\n"
    )
    take_site_table(book, raw.encode(), "places.csv")
    site = book.workbook(None).sites["East"]
    assert site.line.length == 90.0 and site.drive_pipe.length == 18.0


def test_places_by_the_hundred(book: Book) -> None:
    lines = [f"Place {place};3,0;24;18,5;{90 + place};;;;\n" for place in range(HUNDREDS)]
    taken = take_site_table(book, rows("".join(lines).encode()), "all.csv")
    assert len(taken.sites) == HUNDREDS and book.list("site").total == HUNDREDS
    assert take_site_table(book, rows("".join(lines).encode()), "all.csv").sites == ()


def test_two_columns_for_one_field_are_refused(book: Book) -> None:
    chosen = Choices({"remark": ColumnUse("remark", "fall", "m"), "fall (m)": ColumnUse("fall (m)", "fall", "m")})
    seen = look_at_sites(book, ROWS, "places.csv", chosen)
    assert "read as fall already" in seen["refused"] and not seen["ready"]
    with pytest.raises(ImportRefused):
        take_site_table(book, ROWS, "places.csv", chosen)


def test_a_table_without_names(book: Book) -> None:
    assert "name of the place" in look_at_sites(book, b"fall (m),source (L/min)\n3,4\n", "p.csv")["refused"]
    with pytest.raises(TableError):
        look_at_sites(book, b"   ", "p.csv")


def test_every_field_has_a_known_kind_and_units() -> None:
    assert set(SITES.quantities) <= set(SITES.order) and set(SITES.also_called) <= set(SITES.order)
    for kind in SITES.quantities.values():
        assert kind in KINDS and units_for(kind)


def run(*arguments: Any) -> Any:
    return CliRunner().invoke(app, [str(one) for one in arguments])


def test_in_the_terminal(tmp_path: Path) -> None:
    file, shop = tmp_path / "places.csv", tmp_path / "shop"
    file.write_bytes(ROWS)
    seen = run("sites", "take", file, "--into", shop, "--look")
    assert seen.exit_code == 0 and "2 new, 0 there already" in seen.stderr
    first, again = (run("sites", "take", file, "--into", shop) for _ in range(2))
    assert "Took 2 sites." in first.stdout and "Took nothing new; 2 were there already." in again.stdout
    listed = run("sites", "list", shop, "--units", "us")
    assert "North (surveyed): fall 9.84" in listed.stdout
    assert '"fall_m": 2.2' in run("sites", "list", shop, "--json").stdout
    file.write_bytes(ROWS + b"East;0,01;24;18;90;;;;\n")
    bad = run("sites", "take", file, "--into", shop)
    assert bad.exit_code == 2 and "Row 4" in bad.stderr and "Traceback" not in bad.stderr
    missing = run("sites", "take", tmp_path / "none.csv", "--into", shop)
    assert missing.exit_code == 2 and "cannot be read" in missing.stderr
    wrong = run("sites", "take", file, "--into", shop, "--unit", "fall")
    assert wrong.exit_code == 2 and "--unit" in wrong.stderr
