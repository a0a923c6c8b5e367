"""``clackwork tune``: spans read, tunings found and told, refusals in a sentence."""

from __future__ import annotations

import json
from dataclasses import replace
from importlib.resources import files
from pathlib import Path

import pytest
from click.testing import Result
from typer.testing import CliRunner

from clackwork.cli import app
from clackwork.errors import InputError
from clackwork.ram.sensitivity import StallEdge
from clackwork.tune_report import edge_words, read_span

DEMO = (files("clackwork") / "demo" / "workshop.toml").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("tune") / "book.toml"
    path.write_text(DEMO, encoding="utf-8")
    return path


def tune(book: Path, *words: str) -> Result:
    return CliRunner().invoke(app, ["tune", str(book), "--build", "poppet", *words])


def test_spans() -> None:
    assert read_span("4 mm..12 mm", "small_length", "--stroke", (0.0, 0.0)) == pytest.approx((4e-3, 12e-3))
    assert read_span("8 mm", "small_length", "--stroke", (0.0, 0.0)) == pytest.approx((8e-3, 8e-3))
    assert read_span(None, "mass", "--mass", (0.1, 0.2)) == (0.1, 0.2)
    for wrong in ("12 mm..4 mm", "1 mm..2 mm..3 mm", "4..12 mm", "4 kg..5 kg"):
        with pytest.raises(InputError, match="--stroke"):
            read_span(wrong, "small_length", "--stroke", (0.0, 0.0))


def test_edges_in_words() -> None:
    edge = StallEdge("mass", "stalled open", 0.2, 0.17)
    assert edge_words(edge) == "17 % more mass: stalled open"
    assert edge_words(replace(edge, share=-0.2)) == "20 % less mass: stalled open"
    assert edge_words(replace(edge, share=1.54)) == "2.5 times the mass: stalled open"


def test_at_a_site_one_delivers_most_and_one_needs_least(book: Path) -> None:
    shown = tune(book, "--site", "Upper Hazel", "--stroke", "4 mm..12 mm", "--json")
    assert shown.exit_code == 0
    most, least = json.loads(shown.stdout)["tunings"]
    assert (most["aim"], least["aim"]) == ("most delivered", "least water")
    assert most["beat"]["delivered_flow_l_min"] >= least["beat"]["delivered_flow_l_min"] >= 1200.0 / 1440.0 - 1e-9
    assert least["beat"]["drawn_flow_l_min"] <= most["beat"]["drawn_flow_l_min"] <= 32.0
    for one in (most, least):
        assert 4.0 <= one["stroke_mm"] <= 12.0 and one["tried"] > 5
        assert one["mass_kg"] == most["mass_kg"], "without a span the mass stays"
        assert {edge["input"] for edge in one["edges"]} == {"mass", "stroke", "fall"}
        assert one["edges"][one["nearest"]]["state"]


def test_on_a_rig_in_us_units(book: Path) -> None:
    shown = tune(book, "--head", "12 m", "--mass", "200 g..400 g", "--units", "us", "--water", "30 L/min")
    assert shown.exit_code == 0
    assert "delivers most for the water there is: a stroke of" in shown.stdout
    assert "draws least for what it delivers: a stroke of" in shown.stdout
    assert "gpm" in shown.stdout and "Margin to stalling" in shown.stdout and "Caution" in shown.stdout


def test_what_cannot_be_found_is_a_sentence(book: Path) -> None:
    shown = tune(book, "--site", "Upper Hazel", "--stroke", "4 mm..8 mm", "--wanted", "90000 L/day")
    assert shown.exit_code == 2
    assert "delivers most for the water" in shown.stdout
    assert "What draws least for what is wanted: No tuning of build 'poppet' serves" in shown.stderr


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--site", "Upper Hazel"), "--stroke and --mass = (nothing)"),
        (("--stroke", "4 mm..8 mm"), "--head = (nothing)"),
        (("--site", "Uper Hazel", "--stroke", "4 mm..8 mm"), 'Did you mean "Upper Hazel"?'),
        (("--site", "Upper Hazel", "--stroke", "8 mm..4 mm"), '--stroke = "8 mm..4 mm"'),
    ],
)
def test_refusals(book: Path, words: tuple[str, ...], said: str) -> None:
    shown = tune(book, *words)
    assert shown.exit_code == 2 and shown.stdout == ""
    assert said in shown.stderr and "Traceback" not in shown.stderr
