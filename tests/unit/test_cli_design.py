"""``clackwork quick`` and ``clackwork design`` from a book whose twins are there."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from invented_twin import demo, twin_of
from pypdf import PdfReader
from typer.testing import CliRunner
from workshop_books import demo_text

from clackwork.book import open_book
from clackwork.cautions import CAUTIONS
from clackwork.cli import app

CALL = ["--fall", "2.5 m", "--flow", "30 L/min", "--lift-from-pump", "18 m", "--distance", "120 m"]


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A book with the demo and an invented twin of its flap."""
    folder = tmp_path_factory.mktemp("book")
    with open_book(folder) as book:
        book.take_workbook(demo_text())
        build = book.find("build", "flap")
        assert build is not None
        book.keep_twin(build.id, twin_of(demo().builds["flap"]))
    yield str(folder)


def run(*words: str, code: int = 0) -> str:
    """What a command prints, or what it says when it fails."""
    found = CliRunner().invoke(app, list(words))
    assert found.exit_code == code, found.output
    return found.stdout if code == 0 else found.stderr


def test_a_call_is_answered_with_its_reasons_and_what_was_assumed(place: str) -> None:
    said = run("quick", place, *CALL, "--wanted", "600 L/day")
    assert said.startswith("Yes: 1 flap pump on ")
    assert "above the pump and 15.5 m above the source." in " ".join(said.split())
    for words in ("What limits it:", "Delivered a day", "Assumed, as nothing else was said:", "Fall may be off by"):
        assert words in said
    one_line = " ".join(said.split())
    for name in ("untreated_water", "water_rights", "peak_pressure", "moving_valve"):
        assert " ".join(CAUTIONS[name].words.split()) in one_line


def test_units_change_no_figure_of_a_call(place: str) -> None:
    metric, us = (json.loads(run("quick", place, *CALL, "--json", "--units", units)) for units in ("metric", "us"))
    litres = metric["quick"]["daily_delivery_l"]["middle"]
    assert us["quick"]["daily_delivery_gal"]["middle"] == pytest.approx(litres / 3.785411784)  # NIST Handbook 44


def test_what_is_assumed_can_be_set(place: str) -> None:
    found = json.loads(run("quick", place, *CALL, "--set", "drive_length=20 m", "--json"))
    [length] = [one for one in found["quick"]["assumed"] if one["what"] == "drive_length"]
    assert length["set"] and length["words"] == "20 m"


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--lift-from-source", "3 m"], "give exactly one of them"),
        (["--fall", "2"], "--fall"),
        (["--distance", "3 m"], "--distance"),
        (["--set", "drivelength=3 m"], 'Did you mean "drive_length"?'),
        (["--build", "nobody"], "it has no fitted build"),
    ],
)
def test_the_wrong_thing_typed(place: str, words: list[str], said: str) -> None:
    assert said in run("quick", place, *CALL, *words, code=2)


def test_what_is_missing_is_said_by_its_option(place: str) -> None:
    assert "--flow = (nothing)" in run("quick", place, "--fall", "2 m", "--lift-from-pump", "9 m", code=2)


def test_a_folder_without_a_book_is_no_book(tmp_path: Path) -> None:
    assert "there is no book" in run("quick", str(tmp_path), *CALL, code=2)
    assert not list(tmp_path.iterdir())


def test_a_book_without_a_twin_says_what_to_do(tmp_path: Path) -> None:
    with open_book(tmp_path / "bare"):
        pass
    assert "Fit one on its page" in run("quick", str(tmp_path / "bare"), *CALL, code=2)


def test_a_site_must_be_named_where_there_are_several(place: str) -> None:
    assert "name one of the sites: " in run("design", place, code=2)
    assert "no site of that name" in run("design", place, "--site", "Nowhere", code=2)
    assert "language" in run("design", place, "--site", "Dry Gill", "--language", "xx", code=2)


@pytest.mark.slow
def test_a_site_is_designed_and_its_papers_written(place: str, tmp_path: Path) -> None:
    other = "electric pump; 900; 160; 10; 1400 L/day"
    words = ["design", place, "--site", "Dry Gill", "--draws", "20", "--alternative", other, "--out", str(tmp_path)]
    said = run(*words, "--paper", "letter", "--language", "es", "--units", "us")
    assert said.startswith("Dry Gill: ") and "Drive pipe" in said and "gal/day" in said
    names = {path.name for path in tmp_path.iterdir()}
    assert names == {
        f"dry-gill-{name}"
        for name in ("proposal.pdf", "materials.pdf", "installation.pdf", "care.pdf", "as-built.pdf", "drawing.svg")
    }
    page = PdfReader(tmp_path / "dry-gill-proposal.pdf").pages[0]
    assert round(float(page.mediabox.width)) == 612 and "Dry Gill" in page.extract_text()
