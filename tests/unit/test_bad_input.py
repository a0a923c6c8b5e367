"""Bad input through the command line: each ends in one clear sentence and code 2, or in an answer that says so."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from invented_results import twin as invented_twin
from typer.testing import CliRunner, Result
from workshop_readings import WORKSHOP, reading, retyped

from clackwork import cli
from clackwork.ram.parts import Build

FIRST_LIFT = 'lift_from_pump = "18 m ± 0.3 m"'
Ask = Callable[..., Result]


@pytest.fixture
def ask(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Ask:
    """Run a command on a workbook of the given text or bytes; none may end in a traceback."""
    monkeypatch.delenv("CLACKWORK_DEBUG", raising=False)

    def run(content: str | bytes, command: str, *options: str) -> Result:
        path = tmp_path / "book.toml"
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        return asked(path, command, *options)

    return run


def asked(path: Path, command: str, *options: str) -> Result:
    found = CliRunner().invoke(cli.app, [command, str(path), *options])
    assert "Traceback" not in found.output and "should not have" not in found.output
    assert found.exit_code in (0, 2), found.output
    return found


def refused(found: Result, *said: str) -> None:
    """Code 2, nothing on the output, one sentence that says it."""
    assert (found.exit_code, found.stdout) == (2, "")
    assert len(found.stderr.strip().splitlines()) == 1
    for words in said:
        assert words in found.stderr, found.stderr


def changed(old: str, new: str) -> str:
    """The workshop with one text in it changed."""
    assert old in WORKSHOP
    return WORKSHOP.replace(old, new, 1)


def with_runs(*names: str) -> str:
    """The workshop with these runs only."""
    head, *parts = WORKSHOP.split("[[run]]")
    runs, sites = parts[-1].split("# ---", 1)
    kept = [part for part in [*parts[:-1], runs] if re.search(r'name = "(.*?)"', part)[1] in names]  # type: ignore[index]
    assert len(kept) == len(names)
    return head + "".join(f"[[run]]{part}" for part in kept) + "# ---" + sites


def words(found: Result) -> str:
    """The output with its folded lines made whole."""
    return re.sub(r"\s+", " ", found.stdout)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('stroke = "8 mm"', 'stroke = "8"', ["build 'poppet'", "stroke", "unit is missing", "25 mm"]),
        ('stroke = "8 mm"', "stroke = 8", ["stroke = 8", "text with its unit, in quotes"]),
        ('bore = "20 mm"', 'bore = "-20 mm"', ["build 'flap', delivery_valve, bore = \"-20 mm\"", "2 to 500 mm"]),
        ('bore = "28.4 mm"', 'bore = "-28.4 mm"', ["site 'Sunny Bank'", "-28.4 mm", "5 to 500 mm"]),
        (FIRST_LIFT, 'lift_from_pump = "1.8 m"', ["site 'Dry Gill'", "1.8 m", "above the fall of 2.4 m"]),
        (FIRST_LIFT, f'{FIRST_LIFT}\nlift_from_source = "15 m"', ["site 'Dry Gill'", "exactly one", "both"]),
        (FIRST_LIFT, "", ["site 'Dry Gill'", "exactly one", "neither"]),
        ('title = "', "title = ", ["not valid TOML", "line 8"]),
        ("[rig.yard.instruments]", "[rig.yard.instrumnts]", ['"instrumnts"', 'Did you mean "instruments"?']),
        ('seat_bore = "30 mm"', 'seat_boer = "30 mm"', ["seat_bore = (nothing)", 'Did you mean it by "seat_boer"?']),
        ("[trial.waste]", "[trail.waste]", ['"trail"', 'Did you mean "trial"?']),
        ('kind = "hinged flap"', 'kind = "hinged flop"', ['"hinged flop"', 'Did you mean "hinged flap"?']),
        ('wanted_flow = "1200 L/day"', 'wanted_flow = "1200 m"', ["wanted_flow", "daily flow"]),
        (
            'mass = "140 g"',
            'mass = "140 lb"',
            ["build 'flap', waste_valve, mass = \"140 lb\"", "to 110.2 lb", "Weigh the"],
        ),
        (
            *retyped("flap 3", "gauge_pressure", 'gauge_pressure = "60 psi"'),
            ["run 'flap 3'", '"60 psi"', "ends at 58.02 psi"],
        ),
        (
            *retyped("poppet 2", "waste_volume", 'waste_volume = "1,234 L"'),
            ["run 'poppet 2', waste_volume", "1,234 L"],
        ),
    ],
)
def test_a_bad_field_is_one_sentence(ask: Ask, old: str, new: str, said: list[str]) -> None:
    refused(ask(changed(old, new), "promise"), *said)


@pytest.mark.parametrize("command", ["judge", "twin", "promise", "beat"])
def test_an_empty_file(ask: Ask, command: str) -> None:
    refused(ask(b"", command), "book.toml is empty", "clackwork demo")


def test_a_file_of_50_megabytes(tmp_path: Path) -> None:
    path = tmp_path / "long.toml"
    with path.open("wb") as stream:
        stream.truncate(50_000_000)
    refused(asked(path, "judge"), "long.toml is larger than 2 MB", "split")


@pytest.mark.parametrize(("encoding", "line"), [("utf-16", 1), ("latin-1", 51)])
def test_a_file_that_is_not_utf8(ask: Ask, encoding: str, line: int) -> None:
    assert line == 1 or WORKSHOP[: WORKSHOP.index("°")].count("\n") + 1 == line
    refused(ask(WORKSHOP.encode(encoding, "replace"), "judge"), "not UTF-8", f"line {line}")


def test_no_text_at_all(ask: Ask) -> None:
    refused(ask(bytes(range(256)) * 40, "judge"), "not UTF-8")
    refused(ask(bytes(5000), "judge"), "not valid TOML")


def test_a_vessel_that_empties_before_the_time_given(ask: Ask) -> None:
    # 0.25 pi (0.05 m)^2 2.1 m = 4.123 L, and the first run took more
    old, new = retyped("flap 1", "fall", 'fall = "2.100 m"')
    book = changed(old, new).replace('supply_diameter = "1.00 m"', 'supply_diameter = "0.05 m"', 1)
    taken = f"run 'flap 1', waste_volume = \"{reading('flap 1', 'waste_volume')}\""
    refused(ask(book, "judge"), taken, "holds 4.123 L", "empty before the time given")


def test_a_drawn_volume_beyond_the_vessel(ask: Ask) -> None:
    # 0.25 pi (1 m)^2 2.1 m = 1649 L
    old, new = retyped("flap 1", "fall", 'fall = "2.100 m"\ndrawn_volume = "1700 L"')
    found = ask(changed(old, new), "twin")
    refused(found, "run 'flap 1', drawn_volume = \"1700 L\"", "holds 1649 L")


def test_a_trial_with_one_run_of_each_is_not_judged(ask: Ask) -> None:
    found = ask(with_runs("flap 2", "poppet 2"), "judge", "--trial", "waste")
    assert found.exit_code == 0
    assert found.stdout.startswith("Trial waste, waste flow: whether poppet differs from flap is not yet known.")
    assert "scatter is not known" in words(found) and "(1 run)" in words(found)


def test_a_trial_with_one_run_of_all(ask: Ask) -> None:
    found = ask(with_runs("flap 2"), "judge", "--trial", "waste")
    refused(found, "Trial waste: Build poppet has no shut_beating run to compare", "make one")


@pytest.mark.parametrize("command", ["twin", "promise"])
def test_no_runs_at_all(ask: Ask, command: str) -> None:
    refused(ask(with_runs(), command), "[[run]]")


CONTRADICTED = with_runs("flap 1", "flap 2", "flap 5", "flap 9", "poppet 2", "poppet 5", "poppet 9").replace(
    *retyped("flap 2", "waste_volume", 'waste_volume = "98 L"')
)
"""Three runs made alike, one of which is said to have spilt several times as much."""


def test_contradictory_runs_are_not_judged(ask: Ask) -> None:
    found = ask(CONTRADICTED, "judge", "--trial", "waste")
    assert found.exit_code == 0 and "is not yet known" in found.stdout.splitlines()[0]
    assert "Runs flap 2, flap 5, flap 9 scatter" in words(found)


@pytest.mark.slow
def test_contradictory_runs_are_fitted_with_a_warning(ask: Ask) -> None:
    found = ask(CONTRADICTED, "twin", "--build", "flap")
    assert found.exit_code == 0
    assert "Note: The model does not meet run flap" in words(found) and "check what was written down" in words(found)


def fit_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """Put a usual pump in the place of every fit."""
    values = {
        "discharge_coefficient": 0.65,
        "closing_coefficient": 0.6,
        "delivery_loss": 4.0,
        "slip_volume": 1e-6,
        "body_air": 2e-6,
    }

    def fitted(build: Build, *_: object, **__: object) -> object:
        draws = np.tile(list(values.values()), (4, 1))
        return replace(invented_twin(), build=build, parameter_names=tuple(values), best=values, draws=draws)

    monkeypatch.setattr("clackwork.twin.fit.fit_twin", fitted)


def test_a_drive_pipe_without_a_rating_stops_only_its_own_site(ask: Ask, monkeypatch: pytest.MonkeyPatch) -> None:
    fit_nothing(monkeypatch)
    book = changed(', rating = "6 bar"', "")
    refused_site = ask(book, "promise", "--site", "Sunny Bank", "--build", "poppet")
    assert refused_site.exit_code == 2
    assert "Site Sunny Bank, build poppet: drive_pipe, rating = (nothing)" in refused_site.stderr
    assert '"150 psi"' in refused_site.stderr
    assert ask(book, "beat", "--site", "Reed Bottom").exit_code == 0


def test_a_run_that_contradicts_itself_is_told_as_typed(ask: Ask) -> None:
    old, new = retyped("flap 3", "waste_volume", 'drawn_volume = "1 gal"')
    found = ask(changed(old, new), "twin", "--build", "flap")
    delivered = f"Build flap: run 'flap 3', delivered_volume = \"{reading('flap 3', 'delivered_volume')}\""
    # the buckets' marks allow 2 (0.1 L + 0.03 L) more than the 1 gal = 3.785 L said to be drawn
    assert found.exit_code == 2 and f"{delivered} is not usable: it must be 0 to 3.785 L. No more" in found.stderr


def test_a_build_that_stalls_at_the_site_is_a_no(ask: Ask, monkeypatch: pytest.MonkeyPatch) -> None:
    fit_nothing(monkeypatch)
    found = ask(WORKSHOP, "promise", "--site", "Reed Bottom", "--build", "poppet", "--units", "us")
    assert found.exit_code == 0 and found.stdout.startswith("Reed Bottom, build poppet: No.")
    assert "in 100 of 100 cases the waste valve stands open" in words(found)
    assert re.search(r"Delivered a day +0(\.0+)? gal", found.stdout)
    assert "Peak in the body" not in found.stdout and "Surge if shut by hand" in found.stdout
    assert "Note: it does not beat, so there is no running peak" in words(found)
