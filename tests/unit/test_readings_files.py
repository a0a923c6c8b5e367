"""Tables of readings out of CSV and XLSX files: what is read, what is asked, what is refused."""

from __future__ import annotations

import datetime
import io
import re
import zipfile

import pytest
from openpyxl import Workbook

from clackwork.book import raw_table
from clackwork.book.raw_table import RawTable, TableError, column_letters, escaped, read_table, unescaped


def texts(table: RawTable) -> list[list[str]]:
    return [[cell.text for cell in row] for row in table.rows]


def xlsx(rows: list[list[object]], **others: list[list[object]]) -> bytes:
    """A spreadsheet with these rows on its first sheet, the others on sheets of their own."""
    book = Workbook()
    assert book.active is not None
    book.active.title = "runs"
    for row in rows:
        book.active.append(row)
    for title, more in others.items():
        sheet = book.create_sheet(title)
        for row in more:
            sheet.append(row)
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
def test_the_delimiter_is_found(delimiter: str, mark: str) -> None:
    text = mark + "\r\n".join(delimiter.join(row) for row in (["name", "waste L"], ["a", "20.3"], ["b", "20.4"]))
    table = read_table(text.encode(), "runs.csv")
    assert table.headers == ("name", "waste L") and texts(table) == [["a", "20.3"], ["b", "20.4"]]
    assert table.questions == () and table.row_numbers == (2, 3)


def test_decimal_commas_do_not_pass_for_delimiters() -> None:
    table = read_table(b"name;fall (m);waste (L)\na;2,1;20,3\nb;2,2;20,4\n", "runs.csv")
    assert texts(table)[0] == ["a", "2,1", "20,3"] and table.questions == ()


def test_two_ways_to_cut_columns_are_asked() -> None:
    raw = b"name, build;note, more\na,flap;x,y\nb,flap;x,z\n"
    table = read_table(raw, "runs.csv")
    (question,) = table.questions
    assert question.key == "delimiter" and {answer for answer, _ in question.choices} == {",", ";"}
    assert read_table(raw, "runs.csv", {"delimiter": ";"}).headers == ("name, build", "note, more")
    assert read_table(raw, "runs.csv", {"delimiter": ","}).questions == ()


def test_a_line_that_tells_the_delimiter_is_believed_and_counted() -> None:
    table = read_table(b"sep=;\r\nname;note, more\r\na;x, y\r\n", "runs.csv")
    assert table.headers == ("name", "note, more") and table.row_numbers == (3,)


def test_quoted_cells_hold_line_breaks_and_delimiters() -> None:
    table = read_table(b'name,note\na,"two\nlines, one ""quote"""\n', "runs.csv")
    assert texts(table) == [["a", 'two\nlines, one "quote"']]


def test_an_encoding_that_is_not_unicode_is_asked() -> None:
    raw = "name;T (°C)\na;10,5\n".encode("cp1252")
    (question,) = read_table(raw, "runs.csv").questions
    assert question.key == "encoding" and "line 1" in question.words
    assert any("T (°C)" in words for _, words in question.choices)
    assert read_table(raw, "runs.csv", {"encoding": "cp1252"}).headers == ("name", "T (°C)")
    assert read_table(raw, "runs.csv", {"encoding": "cp1252"}).questions == ()


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_unicode_is_not_asked(encoding: str) -> None:
    table = read_table("name;T (°C)\na;10\n".encode(encoding), "runs.csv")
    assert table.headers == ("name", "T (°C)") and table.questions == ()


def test_headers_rows_above_units_below_and_blank_rows() -> None:
    raw = b"Yard readings,,\n\nname,duration,waste\n,s,L\na,120,20.3\n,,\nb,121,20.1\n"
    table = read_table(raw, "runs.csv")
    assert table.headers == ("name", "duration", "waste") and table.units == ("", "s", "L")
    assert table.row_numbers == (5, 7)
    assert any("row 3" in note for note in table.notes) and any("units" in note for note in table.notes)


def test_columns_of_one_name_are_told_apart() -> None:
    table = read_table(b"name,waste,waste,\na,1,2,3\n", "runs.csv")
    assert table.headers == ("name", "waste", "waste (column C)", "no name (column D)")
    assert any("Two columns" in note for note in table.notes)


@pytest.mark.parametrize(
    ("raw", "said"),
    [
        (b"", "is empty"),
        (b"  \n ", "is empty"),
        (b"just words\nand more\n", "is not a table"),
        (b"1,2\n3,4\n", "is not a table"),
        (b"name,note\n", "no row of readings"),
        (b"name,note\na\0,b\n", "not a text or XLSX"),
        (b'name,note\na,"b\n', "is not a table"),
        (b"\xd0\xcf\x11\xe0" + bytes(100), "old or locked spreadsheet"),
        (b"PK\x03\x04 and no more", "damaged"),
        (b"name,note\na," + b"x" * 11_000, "row 2: a cell has more than 10000"),
        (("name" + ",c" * 70 + "\n" + "a" + ",1" * 70).encode(), "more than 60 columns"),
        (b"name,note\n" + b"a,b\n" * 2_001, "more than 2000 rows"),
        (b"\xff\xfe\x00", "damaged"),
    ],
)
def test_files_that_are_no_table_are_refused_in_words(raw: bytes, said: str) -> None:
    with pytest.raises(TableError, match=said):
        read_table(raw, "runs.csv")


def test_a_file_over_the_limit_is_refused() -> None:
    with pytest.raises(TableError, match="larger than 5 MB"):
        read_table(b"a" * (raw_table.MOST_BYTES + 1), "runs.csv")


def test_names_are_shown_without_folders_or_control_characters() -> None:
    with pytest.raises(TableError, match=r"^runs\.csv is empty"):
        read_table(b"", "C:\\yard\\ru\nns.csv")


def test_numbers_texts_and_formulas_of_a_spreadsheet() -> None:
    table = read_table(xlsx([["name", "waste L", "beats"], ["a", 20.3, 116], ["b", "20,3 L", 0.1 + 0.2]]), "runs.xlsx")
    assert texts(table) == [["a", "20.3", "116"], ["b", "20,3 L", "0.3"]]
    assert table.rows[0][1].is_number and not table.rows[1][1].is_number


def test_dates_and_formulas_without_a_value_are_refused_plainly() -> None:
    rows: list[list[object]] = [
        ["name", "duration", "waste L"],
        ["a", datetime.time(2, 0), "=1+1"],
        ["b", datetime.datetime(2024, 5, 6), 3],
        ["c", datetime.timedelta(minutes=2), "#DIV/0!"],
    ]
    table = read_table(xlsx(rows), "runs.xlsx")
    assert all("date or a time" in row[1].fault for row in table.rows)
    assert "formula without a value" in table.rows[0][2].fault
    assert table.rows[1][2].fault == "" and "failed" in table.rows[2][2].fault


def test_formulas_give_the_value_last_worked_out() -> None:
    raw = xlsx([["name", "waste L", "note"], ["a", "=4*5", "=B2"]])
    old, new = zipfile.ZipFile(io.BytesIO(raw)), io.BytesIO()
    with zipfile.ZipFile(new, "w") as out:
        for member in old.namelist():
            content = old.read(member)
            if member == "xl/worksheets/sheet1.xml":
                content, count = re.subn(rb"<f>4\*5</f><v\s*/>", b"<f>4*5</f><v>20</v>", content)
                assert count == 1
                content, count = re.subn(rb'<c r="C2"><f>B2</f><v\s*/>', b'<c r="C2" t="str"><f>B2</f><v></v>', content)
                assert count == 1
            out.writestr(member, content)
    table = read_table(new.getvalue(), "runs.xlsx")
    assert table.rows[0][1] == raw_table.Cell("20", is_number=True)
    assert table.rows[0][2] == raw_table.EMPTY


def test_the_sheet_is_asked_when_there_are_several() -> None:
    raw = xlsx([["name", "waste L"], ["a", 20.3]], other=[["name", "note"], ["b", "x"]], blank=[])
    (question,) = read_table(raw, "runs.xlsx").questions
    assert [answer for answer, _ in question.choices] == ["runs", "other"]
    table = read_table(raw, "runs.xlsx", {"sheet": "other"})
    assert table.questions == () and texts(table) == [["b", "x"]]


def test_other_archives_and_bombs_are_refused() -> None:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as out:
        out.writestr("content.xml", "<a/>")
    with pytest.raises(TableError, match="not an XLSX"):
        read_table(stream.getvalue(), "runs.ods")
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as out:
        out.writestr("xl/workbook.xml", bytes(60_000_000))
    assert len(stream.getvalue()) < 100_000
    with pytest.raises(TableError, match="unpacks to more"):
        read_table(stream.getvalue(), "runs.xlsx")


def test_a_damaged_spreadsheet_is_refused_in_words() -> None:
    raw, stream = xlsx([["name", "waste"], ["a", 1]]), io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(raw)) as old, zipfile.ZipFile(stream, "w") as out:
        for member in old.namelist():
            out.writestr(member, b"<broken" if member.endswith("sheet1.xml") else old.read(member))
    with pytest.raises(TableError, match="damaged"):
        read_table(stream.getvalue(), "runs.xlsx")


def test_a_far_off_cell_is_not_followed() -> None:
    book = Workbook()
    assert book.active is not None
    book.active.append(["name", "waste"])
    book.active.append(["a", 1])
    book.active.cell(1_000_000, 1, "far")
    stream = io.BytesIO()
    book.save(stream)
    with pytest.raises(TableError, match="more than 2000 rows"):
        read_table(stream.getvalue(), "runs.xlsx")


def test_column_letters() -> None:
    assert [column_letters(place) for place in (0, 25, 26, 701, 702)] == ["A", "Z", "AA", "ZZ", "AAA"]


@pytest.mark.parametrize("text", ["=1+1", "@x", "+cmd", "-x", "\tx", "'=1", "''=1", "-2+cmd|' /C calc'!A0"])
def test_formulas_do_not_leave_as_formulas_and_come_back_as_typed(text: str) -> None:
    assert escaped(text) == f"'{text}"
    assert unescaped(escaped(text)) == text


@pytest.mark.parametrize("text", ["20.3 L", "-5 °C", "'quoted'", "a=b", ""])
def test_plain_texts_leave_as_they_are(text: str) -> None:
    assert escaped(text) == text == unescaped(text)


def test_a_bar_in_a_note_is_no_second_way_to_cut() -> None:
    table = read_table(b"name,build,kind\na|b,flap,held_open\n", "runs.csv")
    assert table.headers == ("name", "build", "kind") and table.questions == ()
