"""Any run written as CSV or XLSX and read again is the same run."""

from __future__ import annotations

from importlib.resources import files

from hypothesis import given, settings
from hypothesis import strategies as st

from clackwork.book.raw_table import escaped, read_table, unescaped
from clackwork.book.readings_table import Known, RunRow, runs_from, suggest_mapping
from clackwork.book.runs_export import export_runs_csv, export_runs_xlsx
from clackwork.workbook import load_workbook

WORKSHOP = load_workbook((files("clackwork") / "demo" / "workshop.toml").read_text(encoding="utf-8"))
KNOWN = Known(WORKSHOP.rigs, tuple(WORKSHOP.builds))

printable = st.characters(exclude_categories=("Cs", "Cc", "Cf", "Zs", "Zl", "Zp", "Co", "Cn"), include_characters=" ")
names = st.text(printable, min_size=1, max_size=80).map(str.strip).filter(bool)
notes = st.text(st.one_of(printable, st.sampled_from("\n\t,;'\"=+-@")), max_size=300).filter(str.strip)
volumes = st.builds(
    lambda number, unit: f"{number} {unit}",
    st.decimals(1, 20, places=2).map(str) | st.integers(1, 20).map(str) | st.just("1,5") | st.just("1 1/2"),
    st.sampled_from(("L", "gal (imp)", "qt", "litres")),
)
durations = st.sampled_from(("2:00", "120 s", "2 min 3 s", "0:02:00", "1,5 min"))


@st.composite
def runs(draw: st.DrawFn) -> tuple[RunRow, ...]:
    chosen = []
    for name in draw(st.lists(names, min_size=1, max_size=5, unique=True)):
        entered = {"kind": "held_open", "duration": draw(durations), "waste_volume": draw(volumes)}
        if draw(st.booleans()):
            entered["note"] = draw(notes)
        build = draw(st.sampled_from(KNOWN.builds))
        chosen.append(RunRow(0, name, build, draw(st.sampled_from(sorted(KNOWN.rigs))), "", entered))
    return tuple(chosen)


def contents(rows: tuple[RunRow, ...]) -> list[tuple[object, ...]]:
    return [(row.name, row.build, row.rig, row.trial, dict(row.entered)) for row in rows]


@given(runs(), st.sampled_from(("typed", "metric", "us")), st.booleans())
@settings(max_examples=60, deadline=None)
def test_csv(rows: tuple[RunRow, ...], units: str, decimal_comma: bool) -> None:
    table = read_table(export_runs_csv(rows, units, decimal_comma=decimal_comma).encode(), "runs.csv")
    assert contents(runs_from(table, suggest_mapping(table), KNOWN)) == contents(rows)


@given(runs(), st.sampled_from(("typed", "metric", "us")))
@settings(max_examples=20, deadline=None)
def test_xlsx(rows: tuple[RunRow, ...], units: str) -> None:
    table = read_table(export_runs_xlsx(rows, units), "runs.xlsx")
    assert contents(runs_from(table, suggest_mapping(table), KNOWN)) == contents(rows)


@given(st.text(max_size=40))
def test_what_leaves_for_a_spreadsheet_comes_back(text: str) -> None:
    assert unescaped(escaped(text)) == text
