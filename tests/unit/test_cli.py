"""The command line: answers, exit codes, and a sentence in the place of every traceback."""

from __future__ import annotations

import csv
import json
import os
import re
import subprocess
import sys
from importlib.resources import files
from pathlib import Path

import pytest
from typer.testing import CliRunner

from clackwork import cli
from clackwork.cautions import CAUTIONS, cautions_beside, cautions_for
from clackwork.errors import ClackworkError
from clackwork.workbook_jobs import Done, attempt, share_of

runner = CliRunner()


@pytest.fixture
def book(tmp_path: Path) -> Path:
    """The embedded workshop as a file."""
    path = tmp_path / "workshop.toml"
    path.write_bytes((files("clackwork") / "demo" / "workshop.toml").read_bytes())
    return path


def test_help_names_every_command() -> None:
    shown = runner.invoke(cli.app, ["--help"]).stdout
    for name in ("judge", "twin", "promise", "beat", "sheet", "demo"):
        assert name in shown


def test_beat_says_the_state_first_and_the_caution_beside_the_surge(book: Path) -> None:
    result = runner.invoke(cli.app, ["beat", str(book), "--build", "poppet", "--head", "12 m"])
    assert result.exit_code == 0, result.stderr
    lines = result.stdout.splitlines()
    assert lines[0] == "Build poppet on yard, 12 m held: beating."
    assert any(line.startswith("    d'Aubuisson efficiency ") for line in lines)
    surge = next(place for place, line in enumerate(lines) if "surge head" in line)
    assert lines[surge + 1].strip().startswith("Caution:")


def test_beat_json_has_units_in_its_keys(book: Path) -> None:
    metric = json.loads(runner.invoke(cli.app, ["beat", str(book), "--head", "12 m", "--json"]).stdout)
    us = json.loads(runner.invoke(cli.app, ["beat", str(book), "--head", "12 m", "--json", "--units", "us"]).stdout)
    assert metric["format"] == "clackwork 1" and us["units"] == "us"
    assert metric["beat"]["waste_flow_l_min"] == pytest.approx(us["beat"]["waste_flow_gal_min"] * 3.785411784)
    assert metric["beat"]["peak_head_m"] == pytest.approx(us["beat"]["peak_head_ft"] * 0.3048)
    assert metric["beat"]["beat_rate_per_min"] == us["beat"]["beat_rate_per_min"]


def test_beat_writes_its_trace(book: Path, tmp_path: Path) -> None:
    path = tmp_path / "traces" / "one.csv"
    result = runner.invoke(cli.app, ["beat", str(book), "--site", "Upper Hazel", "--trace", str(path)])
    assert result.exit_code == 0, result.stderr
    rows = list(csv.reader(path.open(encoding="utf-8")))
    assert rows[0][:2] == ["time_s", "body_head_m"] and len(rows) > 100
    assert all(float(value) == float(value) for row in rows[1:] for value in row)


def test_judge_says_the_verdict_first(book: Path) -> None:
    result = runner.invoke(cli.app, ["judge", str(book), "--trial", "waste"])
    assert result.exit_code == 0, result.stderr
    verdict, difference = result.stdout.splitlines()[:2]
    assert verdict == "Trial waste, waste flow: poppet differs from flap."
    assert re.fullmatch(r"    Difference as a share of flap: \+\d+\.\d % \(.+ to .+, 90 %\)", difference)


def test_judge_json_is_new_less_old_and_compares_only_the_back_pressure_asked_for(book: Path) -> None:
    data = json.loads(runner.invoke(cli.app, ["judge", str(book), "--trial", "efficiency", "--json"]).stdout)
    (judged,) = data["judgements"]
    old, new = judged["old_runs"], judged["new_runs"]
    assert judged["difference_percent"] == pytest.approx(new["mean_percent"] - old["mean_percent"])
    assert len(old["runs"]) == len(new["runs"]) == 3 and data["failures"] == []


def test_a_trial_without_runs_fails_with_a_sentence(book: Path) -> None:
    text = book.read_text(encoding="utf-8").replace('back_pressure_head = "15 m"', 'back_pressure_head = "90 m"')
    book.write_text(text, encoding="utf-8")
    result = runner.invoke(cli.app, ["judge", str(book), "--json"])
    assert result.exit_code == 2 and "no delivering run to compare" in result.stderr
    assert [one["trial"] for one in json.loads(result.stdout)["judgements"]] == ["waste", "shut-off"]


def test_a_stalled_pump_is_called_stalled(book: Path) -> None:
    result = runner.invoke(cli.app, ["beat", str(book), "--site", "Reed Bottom", "--build", "poppet"])
    assert result.stdout.splitlines()[0].endswith("stalled open.")
    assert "waste flow" in result.stdout and "surge head" in result.stdout
    assert "beat rate" not in result.stdout and "efficiency" not in result.stdout


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["beat", "FILE", "--build", "popet"], 'Did you mean "poppet"?'),
        (["beat", "FILE", "--head", "12"], "--head"),
        (["beat", "FILE", "--rig", "yard", "--site", "Dry Gill"], "not both"),
        (["promise", "FILE", "--site", "Dry Gil"], 'Did you mean "Dry Gill"?'),
        (["twin", "absent.toml"], "no workbook"),
        (["judge", "FILE", "--trial", "wast"], 'Did you mean "waste"?'),
    ],
)
def test_errors_are_one_sentence_and_code_two(book: Path, arguments: list[str], said: str) -> None:
    result = runner.invoke(cli.app, [str(book) if one == "FILE" else one for one in arguments])
    assert result.exit_code == 2
    assert said in result.stderr and result.stdout == ""
    assert "Traceback" not in result.stderr and len(result.stderr.strip().splitlines()) == 1


def test_an_unexpected_error_is_a_sentence_unless_details_are_asked(
    book: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object) -> None:
        raise RuntimeError("a bolt fell out")

    monkeypatch.setattr(cli, "_open", broken)
    monkeypatch.delenv("CLACKWORK_DEBUG", raising=False)
    result = runner.invoke(cli.app, ["beat", str(book)])
    assert result.exit_code == 70
    assert "CLACKWORK_DEBUG=1" in result.stderr and "Traceback" not in result.stderr
    monkeypatch.setenv("CLACKWORK_DEBUG", "1")
    assert "a bolt fell out" in runner.invoke(cli.app, ["beat", str(book)]).stderr


def test_the_keyboard_ends_with_130_and_keeps_what_is_done(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("clackwork.workbook_jobs.fit_builds", stop)
    result = runner.invoke(cli.app, ["demo", "--out", str(tmp_path)])
    assert result.exit_code == 130
    assert result.stderr.strip().endswith("Stopped; what was finished by then is kept.")
    assert json.loads((tmp_path / "judgements.json").read_text(encoding="utf-8"))["judgements"]
    assert (tmp_path / "workshop.toml").exists() and not list(tmp_path.glob("*.part"))


def test_a_folder_that_cannot_be_written_is_a_sentence(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file, not a folder")
    result = runner.invoke(cli.app, ["demo", "--out", str(tmp_path / "taken")])
    assert result.exit_code == 2 and "cannot be written" in result.stderr


def test_start_up_is_light() -> None:
    code = "import sys, clackwork.cli; print([m for m in ('numba', 'scipy', 'numpy', 'fluids') if m in sys.modules])"
    shown = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, env=os.environ, check=True)
    assert shown.stdout.strip() == "[]"


def test_a_failed_piece_is_a_sentence_and_the_rest_goes_on() -> None:
    def fail() -> int:
        raise ClackworkError("it has no runs")

    done = Done()
    assert attempt(done, "Build old", fail) is None
    assert attempt(done, "Build new", lambda: 3) == 3
    assert done.failures == ["Build old: it has no runs"]


def test_progress_of_pieces_adds_up() -> None:
    seen: list[tuple[int, int]] = []
    share_of(lambda done, total: seen.append((done, total)), 1, 4)(1, 2)
    assert seen == [(1500, 4000)]


def test_every_topic_has_cautions() -> None:
    topics = (
        "peak_pressure", "dead_head", "plastic_pipe", "untreated_water", "water_rights", "frost", "moving_valve",
        "work_in_water", "pressure_test",
    )  # fmt: skip
    for topic in topics:
        assert CAUTIONS[topic] in cautions_for(topic)
    assert {one.id for one in cautions_beside("surge_head")} == {"peak_pressure"}
    assert cautions_for("nothing") == ()
