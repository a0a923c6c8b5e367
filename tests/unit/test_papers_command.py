"""``clackwork sheet --papers``: the papers of a workbook's surveyed sites beside its other sheets."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest
from invented_design import choice, design, survey
from invented_twin import demo, twin_of
from pypdf import PdfReader
from typer.testing import CliRunner
from workshop_books import demo_text

from clackwork import workbook_jobs
from clackwork.cli import app
from clackwork.cli_frame import Paper
from clackwork.cli_papers import design_papers, kinds_asked
from clackwork.errors import InputError
from clackwork.site import search
from clackwork.workbook import load_workbook


def refused(*words: str) -> str:
    """What a command says that is refused."""
    found = CliRunner().invoke(app, ["sheet", *words])
    assert found.exit_code == 2, found.output
    return " ".join(found.stderr.split())


def test_an_unknown_paper_or_language_is_refused_before_the_work(tmp_path: Path) -> None:
    file = tmp_path / "workshop.toml"
    file.write_text(demo_text(), encoding="utf-8")
    said = refused(str(file), "--out", str(tmp_path / "out"), "--papers", "proposals")
    assert "--papers" in said and "proposals" in said and "as-built" in said and 'Did you mean "proposal"?' in said
    assert "en, es" in refused(str(file), "--out", str(tmp_path / "out"), "--papers", "all", "--language", "xx")
    assert not (tmp_path / "out").exists()
    assert kinds_asked(["care", "proposal", "care"]) == ("proposal", "care")
    assert len(kinds_asked(["all", "care"])) == 6 and kinds_asked([]) == ()


def test_papers_of_every_surveyed_site_are_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The search itself is tested elsewhere: here its place is taken by an invented design, and by a refusal."""
    workbook = load_workbook(demo_text())
    first, *others = workbook.surveys
    asked = []

    def searched(place: object, *_: object, **__: object) -> object:
        name = place.name  # type: ignore[attr-defined]
        asked.append(name)
        if name != first:
            raise InputError("line_length", "9 m", "it cannot be shorter")
        return design()

    monkeypatch.setattr(search, "search_designs", searched)
    workbook = replace(workbook, surveys={**workbook.surveys, first: survey(name=first)})
    done = workbook_jobs.Done()
    assert design_papers(workbook, done, kinds_asked(["all"]), tmp_path, "us", Paper.letter, "es") == []
    assert "no build could be fitted" in done.failures[0]
    done = workbook_jobs.Done()
    done.twins["flap"] = twin_of(demo().builds["flap"])
    written = design_papers(workbook, done, kinds_asked(["proposal", "drawing"]), tmp_path, "us", Paper.letter, "es")
    assert asked == [first, *others]
    assert len(done.failures) == len(others) and all("line_length" in one for one in done.failures)
    assert [path.name.rpartition("-")[2] for path in written] == ["proposal.pdf", "drawing.svg"]
    page = PdfReader(written[0]).pages[0]
    assert (round(page.mediabox.width), round(page.mediabox.height)) == (612, 792)
    text = re.sub(r"\s+", " ", page.extract_text())
    assert "Propuesta" in text and "gal/min" in text and choice().build.name in text


def test_the_care_card_of_a_workbook_has_the_dates_of_its_parts(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    workbook = load_workbook(demo_text())
    first = next(iter(workbook.surveys))
    best = choice(twin_name="flap")
    monkeypatch.setattr(search, "search_designs", lambda *_, **__: design(choices=(best,)))
    workbook = replace(workbook, surveys={first: survey(name=first)})
    done = workbook_jobs.Done()
    done.twins["flap"] = twin_of(demo().builds["flap"])
    card = design_papers(workbook, done, kinds_asked(["care"]), tmp_path, "metric", Paper.a4, "en")[0]
    text = re.sub(r"\s+", " ", "".join(page.extract_text() for page in PdfReader(card).pages))
    assert "Parts that wear" in text and "Rubber or face of the waste valve" in text
    assert "taken for granted" not in text  # the engine tells how it lands there and in the records
    bare = design_papers(replace(workbook, parts=()), done, kinds_asked(["care"]), tmp_path, "metric", Paper.a4, "en")[
        0
    ]
    assert "Parts that wear" not in "".join(page.extract_text() for page in PdfReader(bare).pages)
