"""Runs out of a table of readings: columns suggested, doubts asked, errors by row and column, nothing taken too early."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import replace
from importlib.resources import files
from typing import Any

import pytest

from clackwork.book.column_figures import has_unit, marks_in, resolved
from clackwork.book.raw_table import Cell, RawTable, TableError, read_table
from clackwork.book.readings_table import (
    ImportRefused,
    Known,
    RunRow,
    TableMapping,
    preview,
    remembered,
    runs_from,
    suggest_mapping,
    with_answers,
)
from clackwork.book.run_columns import QUANTITIES, RUN_FIELDS, units_for
from clackwork.book.runs_export import export_runs_csv, export_runs_xlsx
from clackwork.errors import InputError
from clackwork.quantities import parse
from clackwork.workbook import load_workbook

TEXT = (files("clackwork") / "demo" / "workshop.toml").read_text(encoding="utf-8")
WORKSHOP = load_workbook(TEXT)
KNOWN = Known(
    WORKSHOP.rigs,
    (*WORKSHOP.builds, "third"),
    {name: one.builds for name, one in WORKSHOP.trials.items()},
    frozenset({"flap 1"}),
)
FIXED = {"build": "flap", "rig": "yard", "kind": "delivering"}


def table_of(text: str, **answers: str) -> RawTable:
    return read_table(text.encode(), "yard.csv", answers)


def mapped(text: str, fixed: Mapping[str, str] = FIXED, **answers: str) -> tuple[RawTable, TableMapping]:
    """A table and what is suggested for it, with answers given by words in place of colons."""
    table = table_of(text)
    given = {key.replace("__", ":").replace("_of_", " "): answer for key, answer in answers.items()}
    return table, replace(with_answers(suggest_mapping(table), given), fixed=dict(fixed))


def uses(header: str, unit_below: str = "") -> tuple[str, str]:
    table = RawTable("t", "csv", (header, "zzz"), (unit_below, ""), ((Cell("1"), Cell("2")),), (2,))
    one = suggest_mapping(table).columns[0]
    return one.field, one.unit


@pytest.mark.parametrize(
    ("header", "expected"),
    [
        ("duration (s)", ("duration", "s")),
        ("Duration [min]", ("duration", "min")),
        ("duration_s", ("duration", "s")),
        ("waste_volume_l", ("waste_volume", "L")),
        ("Waste L", ("waste_volume", "L")),
        ("Waste / gal", ("waste_volume", "gal")),
        ("Waste, litres", ("waste_volume", "litres")),
        ("delivered_volume_gal", ("delivered_volume", "gal")),
        ("Delivered (imp gal)", ("delivered_volume", "imp gal")),
        ("drawn volume in L", ("drawn_volume", "L")),
        ("Water temp °C", ("water_temperature", "°C")),
        ("water_temperature_degf", ("water_temperature", "°F")),
        ("gauge_pressure_psi", ("gauge_pressure", "psi")),
        ("Gauge", ("gauge_pressure", "")),
        ("back pressure head (m)", ("back_pressure_head", "m")),
        ("Fall", ("fall", "")),
        ("fall_end_ft", ("fall_end", "ft")),
        ("Beats", ("beats", "")),
        ("beats_count", ("beats", "")),
        ("tilt deg", ("tilt", "°")),
        ("Run", ("name", "")),
        ("Kind of run", ("kind", "")),
        ("Remarks", ("note", "")),
        ("delivred volume L", ("delivered_volume", "L")),
        ("waste (kg)", ("", "")),
        ("price", ("", "")),
    ],
)
def test_columns_are_suggested_by_likeness_and_unit(header: str, expected: tuple[str, str]) -> None:
    assert uses(header) == expected


def test_every_field_is_suggested_for_its_own_name() -> None:
    assert [uses(name)[0] for name in RUN_FIELDS] == list(RUN_FIELDS)


def test_a_row_of_units_below_the_headers_is_used() -> None:
    assert uses("waste", "gal") == ("waste_volume", "gal")


def test_a_name_with_two_meanings_is_told_and_not_chosen() -> None:
    mapping = suggest_mapping(table_of("name,head m,volume\na,3,4\n"))
    assert [one.field for one in mapping.columns] == ["name", "", ""]
    assert any('"head m" could be' in note and "fall" in note for note in mapping.notes)


def test_two_columns_of_one_meaning_are_told_and_not_chosen() -> None:
    mapping = suggest_mapping(table_of("name,waste,wasted\na,3,4\n"))
    assert [one.field for one in mapping.columns] == ["name", "", ""]
    assert any("could each be waste_volume" in note for note in mapping.notes)


def test_a_mapping_is_remembered_and_only_for_columns_called_so() -> None:
    first = with_answers(
        suggest_mapping(table_of("name,head m,W\na,3,4\n")), {"field:W": "waste_volume", "unit:W": "gal"}
    )
    first = with_answers(replace(first, fixed=FIXED), {"field:head m": "fall", "unit:head m": "m"})
    kept = remembered(first)
    again = suggest_mapping(table_of("name,W,Head  m,other\nb,3,4,5\n"), kept)
    assert [(one.field, one.unit) for one in again.columns] == [
        ("name", ""), ("waste_volume", "gal"), ("fall", "m"), ("", ""),
    ]  # fmt: skip
    assert again.fixed == FIXED and any("last time" in note for note in again.notes)
    more = remembered(suggest_mapping(table_of("name,beats\na,3\n")), kept)
    assert set(more["columns"]) == {"name", "head m", "W", "beats"}


@pytest.mark.parametrize("kept", [{}, {"columns": 3}, {"columns": {"W": {"field": "none"}}}, {"columns": {"W": 4}}])
def test_a_kept_mapping_that_is_not_understood_is_passed_over(kept: dict[str, Any]) -> None:
    assert suggest_mapping(table_of("name,W\na,3\n"), kept).header_of("waste_volume") is None


def test_answers_are_checked() -> None:
    mapping = suggest_mapping(table_of("name,W\na,3\n"))
    with pytest.raises(InputError, match="no such column"):
        with_answers(mapping, {"field:X": "beats"})
    with pytest.raises(InputError, match="must be one of name, build"):
        with_answers(mapping, {"field:W": "wust"})
    with pytest.raises(InputError, match="unit of volume"):
        with_answers(mapping, {"field:W": "waste_volume", "unit:W": "bar"})


GOOD = (
    "name,duration (s),Waste L,Delivered (L),beats,gauge (bar),fall (m),temp C,note\n"
    "a,120,24.5,7.80,116,0.58,2.086,11.5,calm\n"
    "b,2:00,24.4 L,2 gal,117,8.5 psi,2.08,11,\n"
)


def test_rows_become_entered_tables_with_the_text_typed() -> None:
    rows = runs_from(*mapped(GOOD), KNOWN)
    assert rows[0] == RunRow(
        2, "a", "flap", "yard", "",
        {
            "kind": "delivering", "duration": "120 s", "waste_volume": "24.5 L", "delivered_volume": "7.80 L",
            "beats": 116, "gauge_pressure": "0.58 bar", "fall": "2.086 m", "water_temperature": "11.5 C", "note": "calm",
        },
    )  # fmt: skip
    assert rows[1].entered["duration"] == "2:00" and rows[1].entered["delivered_volume"] == "2 gal"
    assert rows[1].entered["gauge_pressure"] == "8.5 psi" and "note" not in rows[1].entered


def test_a_preview_has_si_values_and_the_run() -> None:
    found = preview(*mapped(GOOD), KNOWN)
    assert found.is_ready and len(found.rows) == 2 and found.errors == ()
    read = found.rows[1].read["delivered_volume"]
    assert read.text == "2 gal" and read.value == pytest.approx(2 * 3.785411784e-3)
    assert found.rows[0].reading is not None and found.rows[0].reading.duration == 120.0


def test_names_are_made_from_the_file_when_no_column_gives_them() -> None:
    rows = runs_from(*mapped("duration s,waste L,delivered L,gauge bar\n120,24,7,0.5\n121,25,7,0.5\n"), KNOWN)
    assert [row.name for row in rows] == ["yard 1", "yard 2"]


def test_rows_with_nothing_in_the_chosen_columns_are_left_out_and_told() -> None:
    text = GOOD.replace("beats", "zzz") + ",,,,9,,,,\n"
    found = preview(*mapped(text), KNOWN)
    assert len(found.rows) == 2 and any("row 4" in note for note in found.notes)


@pytest.mark.parametrize(
    ("column", "cell", "said"),
    [
        ("Waste L", "2O.3", 'Row 2, column "Waste L": "2O.3" is not usable'),
        ("Waste L", "-3", 'column "Waste L": "-3" is not usable: a volume cannot be negative'),
        ("Waste L", "3 bar", '"3 bar" is not usable: "bar" is a unit of pressure'),
        ("Waste L", "30000", 'column "Waste L": "30000 L" and "7.80 L" delivered is not usable: the supply vessel'),
        ("fall (m)", "200", 'column "fall (m)": "200 m" is not usable: it must be 0.05 to 60 m'),
        ("beats", "11.5", 'column "beats": "11.5" is not usable: a count must be a whole number'),
        ("beats", "0", 'column "beats": "0" is not usable: a delivering run has some'),
        ("gauge (bar)", "900", 'column "gauge (bar)": "900 bar" is not usable: the gauge of rig'),
        ("name", "flap 1", 'column "name": "flap 1" is not usable: the book has a run of that name'),
        ("name", "b", 'Row 3, column "name": "b" is not usable: row 2 has that name already'),
        ("duration (s)", "-", 'column "duration (s)": "-" is not usable'),
    ],
)
def test_errors_name_row_column_value_and_what_is_allowed(column: str, cell: str, said: str) -> None:
    lines = [line.split(",") for line in GOOD.splitlines()]
    lines[1][lines[0].index(column)] = cell
    table, mapping = mapped("\n".join(",".join(line) for line in lines))
    with pytest.raises(ImportRefused) as caught:
        runs_from(table, mapping, KNOWN)
    assert said in str(caught.value)
    assert len(caught.value.preview.errors) == 1 and "Nothing was taken" in str(caught.value)
    assert len(runs_from(table, mapping, KNOWN, only_good=True)) == 1


def test_every_bad_cell_of_a_row_is_told() -> None:
    found = preview(*mapped("name,duration s,waste L,gauge bar\na,x,y,z\n"), KNOWN)
    assert [error.column for error in found.errors] == ["duration s", "waste L", "gauge bar"]


@pytest.mark.parametrize(
    ("fixed", "said"),
    [
        ({**FIXED, "build": "flup"}, 'column "build": "flup" is not usable: it must be one of'),
        ({**FIXED, "kind": "floating"}, 'column "kind": "floating" is not usable: it must be one of'),
        ({**FIXED, "trial": "tria"}, 'column "trial": "tria" is not usable: it must be one of'),
        ({**FIXED, "build": "third", "trial": "waste"}, 'column "trial": "waste" is not usable: that trial compares'),
        ({"build": "flap", "kind": "delivering"}, 'column "rig": (nothing) is not usable: it is needed'),
    ],
)
def test_links_and_kinds_are_checked(fixed: dict[str, str], said: str) -> None:
    found = preview(*mapped(GOOD, fixed), KNOWN)
    assert said in found.errors[0].sentence and not found.good


def test_kinds_may_be_written_as_words() -> None:
    text = "name,kind,duration s,waste L\na,Held open,60,20\nb,shut-beating,60,5\nc,hold open,60,20\n"
    found = preview(*mapped(text), KNOWN)
    assert [row.run.entered["kind"] for row in found.rows][:2] == ["held_open", "shut_beating"]
    (error,) = found.errors
    assert error.row == 4 and 'Did you mean "held_open"?' in error.sentence


def test_nothing_is_taken_when_no_row_is_good() -> None:
    table, mapping = mapped("name,duration s\na,x\n")
    with pytest.raises(ImportRefused, match="No row of yard"):
        runs_from(table, mapping, KNOWN, only_good=True)


def test_one_field_is_not_read_from_two_columns() -> None:
    table = table_of("name,waste,W\na,3,4\n")
    mapping = with_answers(suggest_mapping(table), {"field:W": "waste_volume", "unit:W": "L"})
    with pytest.raises(InputError, match='"waste" is read as waste_volume already'):
        preview(table, mapping, KNOWN)


def test_a_missing_unit_is_asked_and_nothing_taken_before() -> None:
    text = "name,duration,waste,delivered,gauge\na,2:00,24 L,7,0.5 bar\n"
    table, mapping = mapped(text)
    found = preview(table, mapping, KNOWN)
    (question,) = found.questions
    assert question.key == "unit:delivered" and question.choices[0][0] == "L" and found.errors == ()
    with pytest.raises(ImportRefused, match='Column "delivered"'):
        runs_from(table, mapping, KNOWN, only_good=True)
    (row,) = runs_from(table, with_answers(mapping, {"unit:delivered": "gal"}), KNOWN)
    assert row.entered["delivered_volume"] == "7 gal" and row.entered["waste_volume"] == "24 L"


def falls(*cells: str, others: str = "10") -> str:
    rows = "".join(f"r{i};120;{others};{cell}\n" for i, cell in enumerate(cells))
    return f"name;duration s;waste L;fall m\n{rows}"


HELD = {**FIXED, "kind": "held_open"}


def test_a_comma_before_three_digits_is_asked_for_its_column() -> None:
    table, mapping = mapped(falls("2,107", "2,095", others="20,3"), HELD)
    found = preview(table, mapping, KNOWN)
    (question,) = found.questions
    assert question.key == "decimal:fall m" and question.likely == "comma" and "2,107" in question.words
    rows = runs_from(table, with_answers(mapping, {"decimal:fall m": "comma"}), KNOWN)
    assert [row.entered["fall"] for row in rows] == ["2.107 m", "2.095 m"]
    found = preview(table, with_answers(mapping, {"decimal:fall m": "point"}), KNOWN)
    assert '"2107 m"' in found.errors[0].sentence


def test_another_figure_of_the_column_settles_it_and_is_told() -> None:
    table, mapping = mapped(falls("2,107", "2,1"), HELD)
    found = preview(table, mapping, KNOWN)
    assert found.questions == () and any("2,107 is read as 2.107" in note for note in found.notes)
    assert [row.entered["fall"] for row in found.good] == ["2.107 m", "2,1 m"]


def test_a_point_among_decimal_commas_is_asked() -> None:
    table, mapping = mapped(falls("2.107", others="20,3"), HELD)
    (question,) = preview(table, mapping, KNOWN).questions
    assert question.key == "decimal:fall m"
    (row,) = runs_from(table, with_answers(mapping, {"decimal:fall m": "point"}), KNOWN)
    assert row.entered["fall"] == "2.107 m"


def test_a_point_alone_is_decimal() -> None:
    (row,) = runs_from(*mapped(falls("2.107"), HELD), KNOWN)
    assert row.entered["fall"] == "2.107 m"


def test_numbers_of_a_spreadsheet_are_not_in_doubt() -> None:
    assert marks_in([Cell("2.107", is_number=True), Cell("20,3")]).doubtful_point == ""


@pytest.mark.parametrize(
    ("text", "seen"),
    [
        ("20,3 L", "comma"), ("0,125", "comma"), ("1.234,5", "comma"), ("1.234.567", "comma"),
        ("20.3", "point"), ("0.125", "point"), ("1,234.5", "point"), ("1,234,567", "point"),
        ("1,234", "doubtful_comma"), ("-999,999 m", "doubtful_comma"), ("1.234", "doubtful_point"),
        ("1234", ""), ("2:00.5", ""), ("two", ""),
    ],
)  # fmt: skip
def test_decimal_marks(text: str, seen: str) -> None:
    marks = marks_in([Cell(text)])
    assert {name for name in ("comma", "point", "doubtful_comma", "doubtful_point") if getattr(marks, name)} == (
        {seen} if seen else set()
    )


def test_doubtful_numbers_resolved() -> None:
    found = [resolved(token, mark) for token in ("1,234", "1.234") for mark in ("comma", "point")]
    assert found == ["1.234", "1234", "1234", "1.234"]


def test_hours_that_may_be_minutes_are_asked() -> None:
    text = "name,duration,waste L,delivered L,gauge bar\na,2:00:00,24,7,0.5\nb,3:00:00,24,7,0.5\n"
    table, mapping = mapped(text)
    (question,) = preview(table, mapping, KNOWN).questions
    assert question.key == "clock:duration" and [words for _, words in question.choices] == ["2 h 0 min", "2 min 0 s"]
    rows = runs_from(table, with_answers(mapping, {"clock:duration": "minutes"}), KNOWN)
    assert [row.entered["duration"] for row in rows] == ["2:00", "3:00"]
    rows = runs_from(table, with_answers(mapping, {"clock:duration": "hours"}), KNOWN)
    assert [row.entered["duration"] for row in rows] == ["2:00:00", "3:00:00"]


@pytest.mark.parametrize("clock", ["0:02:00", "1:02:03", "2:00"])
def test_other_clock_times_are_not_asked(clock: str) -> None:
    table, mapping = mapped(f"name,duration,waste L,delivered L,gauge bar\na,{clock},24,7,0.5\n")
    assert preview(table, mapping, KNOWN).questions == ()


@pytest.mark.parametrize("text", ["20.3 L", "3:30", "1 1/4 in", "6' 2\"", "1,234 m", "abc"])
def test_texts_with_a_unit(text: str) -> None:
    assert has_unit(text)


@pytest.mark.parametrize("text", ["20.3", "1 1/4", "1,234", "1e3", "-2"])
def test_texts_without_a_unit(text: str) -> None:
    assert not has_unit(text)


def test_every_unit_offered_can_be_read() -> None:
    for kind in set(QUANTITIES.values()):
        assert all(parse(f"1 {unit}", kind) for unit in units_for(kind))


def demo_rows() -> tuple[RunRow, ...]:
    """The runs of the embedded workshop."""
    tables = tomllib.loads(TEXT)["run"]
    links = ("name", "build", "rig")
    return tuple(
        RunRow(0, *(one[key] for key in links), "", {key: value for key, value in one.items() if key not in links})
        for one in tables
    )


def same(rows: tuple[RunRow, ...]) -> list[RunRow]:
    return [replace(row, row=0, entered=dict(row.entered)) for row in rows]


@pytest.mark.parametrize("units", ["typed", "metric", "us"])
@pytest.mark.parametrize("form", ["csv", "csv with commas", "xlsx"])
def test_an_export_read_again_loses_nothing(units: str, form: str) -> None:
    rows = demo_rows()
    if form == "xlsx":
        table = read_table(export_runs_xlsx(rows, units), "runs.xlsx")
    else:
        table = read_table(export_runs_csv(rows, units, decimal_comma="commas" in form).encode(), "runs.csv")
    known = Known(WORKSHOP.rigs, tuple(WORKSHOP.builds))
    assert same(runs_from(table, suggest_mapping(table), known)) == same(rows)


def test_an_export_has_plain_figures_beside_the_texts() -> None:
    lines = export_runs_csv(demo_rows()[:1], "us").splitlines()
    row = dict(zip(lines[0].split(","), lines[1].split(","), strict=True))
    assert row["waste_volume"] == "20.3 L" and float(row["waste_volume_gal"]) == pytest.approx(20.3 / 3.785411784)
    assert row["duration_s"] == "23.8"
    comma = export_runs_csv(demo_rows()[:1], "metric", decimal_comma=True).splitlines()
    assert dict(zip(comma[0].split(";"), comma[1].split(";"), strict=True))["duration_s"] == "23,8"


def test_an_export_knows_its_units_and_what_a_spreadsheet_holds() -> None:
    with pytest.raises(InputError, match="typed, metric, us"):
        export_runs_csv(demo_rows(), "imperial")
    row = replace(demo_rows()[0], entered={"kind": "held_open", "note": "bell \a"})
    with pytest.raises(TableError, match="cannot hold"):
        export_runs_xlsx([row])
