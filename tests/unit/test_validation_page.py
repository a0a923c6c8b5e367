"""The validation page: its text, what it forgives and what not, and its hooks in a small project of its own."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from dataclasses import asdict, replace
from pathlib import Path

import pytest
from validation_page import (
    ABOUT,
    KINDS,
    Case,
    CommittedPage,
    Section,
    check_section,
    differences,
    fault_of,
    read_page,
    write_page,
)

TESTS = Path(__file__).resolve().parents[1]

GOOD = Case("Pipes", "wall", "a standard, table 1", "READ", 2.0, 2.0, 2.001, 0.01, "mm")
RANGE = Case("Pipes", "modulus", "a handbook", "MEM", 2.76, 2.90, 2.8, 0.0, "GPa")
MISS = Case("Ram", "flow", "a table | its note", "READ", 100.0, 100.0, 90.0, 0.01, "L/day", "the row is odd", -0.1)
WATER = Case("Water and air", "density", "a library", "COMP", 998.207, 998.207, 998.20701, 1e-6, "kg/m3")
CASES = [MISS, GOOD, WATER, RANGE]
STUDY = Section("Convergence", "| step | flow |\n|---|---|\n| 1 | 0.1234 |")


def row(page: str, case: str) -> str:
    [line] = [line for line in page.splitlines() if line.startswith(f"| {case} |")]
    return line


# --- cases


@pytest.mark.parametrize(
    ("low", "high", "computed", "error"),
    [
        (2.0, 2.0, 2.2, 0.1),
        (2.0, 2.0, 1.8, -0.1),
        (-2.0, -2.0, -2.2, -0.1),
        (2.0, 4.0, 3.0, 0.0),
        (2.0, 4.0, 5.0, 0.25),
        (2.0, 4.0, 1.0, -0.5),
        (0.0, 0.0, 0.0, 0.0),
        (0.0, 0.0, -1e-9, -float("inf")),
    ],
)
def test_error_counts_from_the_published_value_or_the_nearer_end(
    low: float, high: float, computed: float, error: float
) -> None:
    assert replace(GOOD, low=low, high=high, computed=computed).error == pytest.approx(error)


@pytest.mark.parametrize("computed", [float("nan"), float("inf"), 2.03])
def test_a_bad_case_is_a_fault(computed: float) -> None:
    case = replace(GOOD, computed=computed)
    assert not case.good
    assert "wall" in fault_of(case) and "a standard, table 1" in fault_of(case)
    assert fault_of(GOOD) == fault_of(RANGE) == ""


def test_a_known_miss_must_miss_by_what_it_says() -> None:
    assert fault_of(MISS) == ""
    assert "take known_miss away" in fault_of(replace(MISS, computed=99.5))
    assert "said to be -10 %" in fault_of(replace(MISS, computed=80.0))
    assert "said to be -10 %" in fault_of(replace(MISS, computed=110.0))
    assert "known_miss" not in fault_of(replace(MISS, computed=90.5))


# --- the page


def test_page_counts_groups_and_spells_out() -> None:
    page = write_page(CASES, [STUDY])
    assert ABOUT in page
    assert "**4 cases: 3 good, 1 bad.**" in page
    assert "| Pipes | 2 | 2 | 0 |" in page and "| Ram | 1 | 0 | 1 |" in page
    assert "* Ram, flow: the row is odd" in page
    headings = [line for line in page.splitlines() if line.startswith("## ")]
    assert headings == ["## Water and air", "## Pipes", "## Ram", "## Convergence"]
    assert row(page, "wall") == (
        "| wall | a standard, table 1 (read in the source) | 2 mm | 2.001 mm | 0.05 % | 1 % | good |"
    )
    assert (
        row(page, "modulus")
        == "| modulus | a handbook (from memory) | 2.76 to 2.9 GPa | 2.8 GPa | 0 % | inside | good |"
    )
    assert row(page, "flow").endswith("| 100 L/day | 90 L/day | -10 % | 1 % | **bad**: the row is odd |")
    assert r"a table \| its note" in row(page, "flow")
    assert page.endswith("0.1234 |\n")


def test_every_kind_is_explained_at_the_head() -> None:
    assert [words for words in KINDS.values() if f"*{words}*" not in " ".join(ABOUT.split())] == []


@pytest.mark.parametrize(
    ("value", "text"),
    [(101325.0, "101325"), (1400714.0, "1400714"), (2.193e9, "2.193e+09"), (0.056452, "0.056452"), (3e-7, "3e-07")],
)
def test_figures_read_as_a_person_writes_them(value: float, text: str) -> None:
    page = write_page([replace(GOOD, low=value, high=value, computed=value, unit="")])
    assert row(page, "wall").split(" | ")[2:4] == [text, text]


def test_a_page_reads_back() -> None:
    found = read_page(write_page(CASES, [STUDY]))
    assert found.figures["Ram", "flow"] == ("90 L/day", "-10 %")
    assert found.figures["Water and air", "density"] == ("998.207 kg/m3", "1e-06 %")
    assert len(found.figures) == len(CASES)
    assert found.bodies["Convergence"] == STUDY.body
    assert read_page("") == CommittedPage()


def test_what_comes_twice_is_refused() -> None:
    with pytest.raises(ValueError, match="case Pipes, wall comes twice"):
        write_page([GOOD, replace(GOOD, computed=2.0)])
    with pytest.raises(ValueError, match="section Pipes comes twice"):
        write_page([GOOD], [Section("Pipes", "")])
    write_page([GOOD, replace(GOOD, part="Ram")])


@pytest.mark.parametrize(("title", "body"), [("", "x"), ("two\nlines", "x"), ("t", "# x"), ("t", "a\n## x")])
def test_a_section_that_would_break_the_page_is_refused(title: str, body: str) -> None:
    with pytest.raises(ValueError, match="section"):
        check_section(Section(title, body))
    check_section(Section("t", "### x\n#no heading"))


# --- a committed page against a run


def test_the_same_run_is_alike() -> None:
    assert differences(write_page(CASES, [STUDY]), CASES, [STUDY]) == []


def test_last_digits_and_section_figures_are_forgiven() -> None:
    page = write_page(CASES, [STUDY])
    moved = [replace(case, computed=case.computed * (1.0 + 3e-5)) for case in (MISS, GOOD, RANGE)]
    other = replace(STUDY, body="another machine")
    assert write_page([*moved, WATER], [other]) != page
    assert differences(page, [*moved, WATER], [other]) == []


@pytest.mark.parametrize(
    "changed",
    [
        {"computed": 2.002},
        {"low": 2.0001, "high": 2.0001},
        {"tolerance": 0.02},
        {"source": "a standard, table 2"},
        {"kind": "MEM"},
        {"unit": "in"},
        {"case": "least wall"},
        {"part": "Ram"},
        {"computed": 2.03},
        {"computed": float("nan")},
    ],
)
def test_any_other_change_is_seen(changed: dict[str, object]) -> None:
    page = write_page(CASES, [STUDY])
    assert differences(page, [replace(case, **changed) if case is GOOD else case for case in CASES], [STUDY]) != []  # type: ignore[arg-type]


def test_a_verdict_that_turns_within_the_last_digits_is_seen() -> None:
    edge = replace(GOOD, computed=2.0199)
    assert edge.good
    turned = replace(edge, computed=2.02001)
    assert not turned.good
    assert any("**bad**" in line for line in differences(write_page([edge]), [turned]))


def test_cases_and_sections_that_come_or_go_are_seen() -> None:
    page = write_page(CASES, [STUDY])
    assert any("wall" in line for line in differences(page, [MISS, WATER, RANGE], [STUDY]))
    assert differences(page, [*CASES, replace(GOOD, case="bore")], [STUDY]) != []
    assert differences(page, CASES) != []
    assert differences(page, CASES, [replace(STUDY, title="Energy")]) != []
    assert differences("", CASES) != []
    assert differences(page.rstrip("\n"), CASES, [STUDY]) != []


@pytest.mark.parametrize(
    ("written", "edited"),
    [
        ("-10 %", "-1 %"),
        ("-10 %", "0 %"),
        ("-10 %", "none"),
        ("**bad**: the row is odd |", "good |"),
        ("3 good", "4 good"),
        ("90 L/day", "99 L/day"),
        ("90 L/day", "90 gal/day"),
        ("90 L/day", ""),
    ],
)
def test_a_page_edited_by_hand_is_seen(written: str, edited: str) -> None:
    page = write_page(CASES)
    assert written in page
    assert differences(page.replace(written, edited), CASES) != []


# --- the hooks, in a small project

REFERENCE = """
import pytest

PART = "Pipes"

@pytest.mark.parametrize("size", [10, 9, 2])
def test_size(record_case, size):
    record_case(f"size {size}", "a standard", size, size * 1.0001, 0.01, "mm")
"""
OTHER = """
import os

def test_miss(record_case):
    record_case("miss", "a table", 100.0, 90.0, 0.01, known_miss="odd row", missed_by=-0.1)

def test_study(record_section):
    record_section("Study", os.environ.get("STUDY", "one text"))
"""


@pytest.fixture
def project(tmp_path: Path) -> Path:
    """A project with this one's conftest, two reference tests and a unit test."""
    for folder in ("docs", "tests/reference", "tests/unit"):
        (tmp_path / folder).mkdir(parents=True)
    for name in ("conftest.py", "validation_hooks.py", "validation_page.py"):
        shutil.copy(TESTS / name, tmp_path / "tests" / name)
    (tmp_path / "pytest.ini").write_text("[pytest]\nmarkers =\n    unit\n    reference\n")
    (tmp_path / "tests/reference/test_sizes.py").write_text(REFERENCE)
    (tmp_path / "tests/reference/test_ram_reference.py").write_text(OTHER)
    (tmp_path / "tests/unit/test_u.py").write_text("def test_u():\n    pass\n")
    return tmp_path


def run(project: Path, *arguments: str, **variables: str) -> subprocess.CompletedProcess[str]:
    kept = {name: value for name, value in os.environ.items() if not name.startswith("PYTEST")}
    alone = {"PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1", **variables}
    command = [sys.executable, "-m", "pytest", "-q", "-p", "xdist.plugin", *arguments]
    return subprocess.run(command, cwd=project, env={**kept, **alone}, capture_output=True, text=True)


@pytest.mark.parametrize("workers", ["0", "2"])
def test_the_page_is_written_then_holds_until_something_changes(project: Path, workers: str) -> None:
    page, spread = project / "docs/validation.md", ("-n", workers)
    missing = run(project, *spread, "tests")
    assert missing.returncode == 1
    assert "docs/validation.md is not there" in missing.stdout and "--write-validation" in missing.stdout
    written = run(project, *spread, "tests/reference", "--write-validation")
    assert written.returncode == 0
    assert "docs/validation.md written: 4 cases, 3 good, 1 bad." in written.stdout
    text = page.read_text()
    places = [text.index(words) for words in ("## Pipes", "size 10", "size 9", "size 2", "## Ram", "**bad**: odd row")]
    assert places == sorted(places)
    held = run(project, *spread, "tests", STUDY="another text")
    assert held.returncode == 0
    assert "is what 4 cases and 1 sections of this run found" in held.stdout
    page.write_text(text.replace("| 9 mm |", "| 8 mm |"))
    stale = run(project, *spread, "tests")
    assert stale.returncode == 1
    assert "docs/validation.md is not what this run found" in stale.stdout
    assert "FAILED docs/validation.md::page" in stale.stdout
    assert "-| size 9 | a standard (read in the source) | 8 mm |" in stale.stdout


@pytest.mark.parametrize(
    "arguments",
    [
        ("tests/unit",),
        ("tests/reference/test_sizes.py",),
        ("tests", "-k", "not miss"),
        ("tests", "-n", "2", "-m", "unit"),
        ("tests", "-n", "2", "--deselect", "tests/reference/test_sizes.py::test_size[9]"),
        ("tests/reference/test_sizes.py::test_size", "tests/reference/test_ram_reference.py::test_miss"),
        ("tests", "--collect-only"),
    ],
)
def test_a_run_of_some_tests_says_nothing(project: Path, arguments: tuple[str, ...]) -> None:
    done = run(project, *arguments)
    assert done.returncode == 0, done.stdout
    assert "validation" not in done.stdout


def test_failed_tests_leave_the_page_alone(project: Path) -> None:
    (project / "tests/reference/test_sizes.py").write_text(REFERENCE.replace("1.0001", "1.1"))
    failed = run(project, "tests")
    assert failed.returncode == 1
    assert "size 10: 11 against 10 mm, error 10 %, tolerance 1 %; a standard" in failed.stdout
    assert "docs/validation.md" not in failed.stdout
    unwritten = run(project, "tests", "-n", "2", "--write-validation")
    assert unwritten.returncode == 1
    assert "docs/validation.md was not written: 3 reference tests failed." in unwritten.stdout
    assert not (project / "docs/validation.md").exists()
    (project / "tests/reference/test_sizes.py").write_text(REFERENCE)
    again = run(project, "tests", "--lf")
    assert again.returncode == 0
    assert "3 passed" in again.stdout and "validation" not in again.stdout


def test_writing_from_some_tests_says_so_and_from_none_fails(project: Path) -> None:
    some = run(project, "tests", "--write-validation", "-k", "size")
    assert some.returncode == 0
    assert "3 cases, 3 good, 0 bad. It may lack cases: 2 reference tests were deselected" in some.stdout
    none = run(project, "tests/unit", "--write-validation")
    assert none.returncode == 1
    assert "no reference test recorded a case" in none.stdout


def test_a_case_that_comes_twice_fails_the_run(project: Path) -> None:
    (project / "tests/reference/test_sizes.py").write_text(REFERENCE.replace('f"size {size}"', '"size"'))
    twice = run(project, "tests", "-n", "2")
    assert twice.returncode == 1
    assert "case Pipes, size comes twice on the validation page" in twice.stdout


def test_rows_travel_between_processes_as_plain_values() -> None:
    assert {type(value) for value in asdict(MISS).values()} <= {str, float}
