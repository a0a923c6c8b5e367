"""Sheets: what is printed, in both units and on both papers, out of invented results."""

from __future__ import annotations

import datetime
import io
import json
import math
import re
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import get_args

import pytest
from invented_results import UGLY, judgement, promise, site, trace, twin, workbook
from pypdf import PdfReader

from clackwork.answers_text import split_range
from clackwork.cautions import CAUTIONS
from clackwork.errors import InputError
from clackwork.hammer import Anchoring
from clackwork.pipes import custom_pipe
from clackwork.sheets import write_sheets
from clackwork.sheets.judged import trial_print, verdict_sentence
from clackwork.sheets.promise_sheet import HELD, place_cautions, promise_fields, promise_pdf
from clackwork.sheets.trial_section import trial_fields
from clackwork.sheets.twin_section import twin_fields
from clackwork.sheets.typeset import FONT_FOLDER, compile_pdf, file_stem, sentence
from clackwork.site.promise import REASONS
from clackwork.site.site import Range, Reason

DATE = datetime.date(2031, 5, 4)
SIZES = {"a4": (595, 842), "us-letter": (612, 792)}


def text_of(pdf: bytes) -> str:
    """All words of a PDF, every run of white space one blank."""
    return re.sub(r"\s+", " ", " ".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages))


def words_of(fields: object) -> list[str]:
    """Every text anywhere in a sheet's fields, charts left out."""
    if isinstance(fields, str):
        return [fields]
    if isinstance(fields, Mapping):
        return [w for key, inner in fields.items() if key != "svg" for w in words_of(inner)]
    return [w for inner in fields for w in words_of(inner)] if isinstance(fields, list | tuple) else []


@pytest.mark.parametrize("paper", ["a4", "us-letter"])
@pytest.mark.parametrize("units", ["metric", "us"])
def test_promise_prints_answer_figures_and_cautions(units: str, paper: str) -> None:
    pdf = promise_pdf(promise(), site(), trace=trace(), units=units, paper=paper, date=DATE)
    text = text_of(pdf)
    expected = {
        "metric": ("2310 L/day", "1990 to 2630", "18.0 L/min", "24.0 L/min", "3.73 bar", "15.2 m", "12.8 m"),
        "us": ("610 gal/day", "520 to 700", "4.76 gpm", "6.3 gpm", "54 psi", "49.9 ft", "42.0 ft"),
    }[units]
    for words in (
        *expected,
        "Yes, this pump suits this site",
        "d'Aubuisson efficiency",
        "Rankine efficiency",
        "2031-05-04",
    ):
        assert words in text.replace("\N{RIGHT SINGLE QUOTATION MARK}", "'"), words
    assert text.index("Yes, this pump") < text.index("Why") < text.index("What was assumed")
    for name in promise().cautions:
        assert re.sub(r"\s+", " ", CAUTIONS[name].words) in text
    size = PdfReader(io.BytesIO(pdf)).pages[0].mediabox
    assert (round(size.width), round(size.height)) == SIZES[paper]


def test_wrong_units_are_not_there() -> None:
    words = " ".join(words_of(promise_fields(promise(), site(), trace(), units="us", date=DATE)))
    assert not re.search(r"\d (L/min|L/day|bar|m|mm|°C)\b", words)


def test_pressure_never_without_its_caution() -> None:
    bare = replace(promise(), cautions=())
    fields = promise_fields(bare, site(), None, units="metric", date=DATE)
    assert fields["pressure_cautions"] == [CAUTIONS["peak_pressure"].words]
    text = text_of(promise_pdf(bare, site(), date=DATE))
    assert 0 < text.index("rated for") < text.index("Every beat sends a pressure") < text.index("Heights")


def test_every_caution_is_placed_once() -> None:
    placed = place_cautions([*CAUTIONS, "frost"])
    words = [w for section in placed.values() for w in section]
    assert sorted(words) == sorted(caution.words for caution in CAUTIONS.values())
    assert CAUTIONS["dead_head"].words in placed["pressure_cautions"]


def test_weak_pipe_is_told() -> None:
    words = " ".join(
        words_of(promise_fields(replace(promise(), pressure_margin=0.8), site(), None, units="metric", date=DATE))
    )
    assert "0.8 times, the pipe is too weak" in words


def test_pipe_of_your_own_is_made_to_no_standard() -> None:
    there = site()
    own = replace(
        there, drive_pipe=replace(there.drive_pipe, pipe=custom_pipe(0.0284, 0.0018, "PVC", rating_gauge=6e5))
    )
    for place, assumed in ((there, "bore 52.5 mm, ASTM D1785, free"), (own, "bore 28.4 mm, free")):
        rows = dict(promise_fields(promise(), place, None, units="metric", date=DATE)["assumed"])
        assert rows["Drive pipe"].startswith(assumed), rows["Drive pipe"]


def test_no_says_why_not() -> None:
    refused = replace(
        promise(answer="no"),
        reasons=(Reason("delivers_nothing", "no", REASONS["delivers_nothing"], {}),),
        daily_delivery=Range(0.0, 0.0, 0.0),
    )
    text = text_of(promise_pdf(refused, site(), date=DATE))
    assert "No, not as it stands." in text
    assert "Why not" in text
    assert "It beats but delivers nothing: the lift is above" in text
    assert "at both ends of the range" in text


def test_figures_not_known_are_told() -> None:
    assert split_range(Range(math.nan, math.nan, math.nan), "head", "metric") == ("not known", "")
    lost = replace(promise(), beat_rate=Range(math.nan, math.nan, math.nan), pressure_margin=math.inf)
    assert "not known" in text_of(promise_pdf(lost, site(), date=DATE))


def test_markup_in_names_stays_text() -> None:
    pdf = promise_pdf(promise(UGLY), site(UGLY), trace=trace(), date=DATE)
    assert UGLY in text_of(pdf)
    assert PdfReader(io.BytesIO(pdf)).metadata.title == f"Water at {UGLY}"


def test_same_input_same_bytes_and_date() -> None:
    first, second = (promise_pdf(promise(), site(), trace=trace(), date=DATE) for _ in range(2))
    assert first == second
    assert PdfReader(io.BytesIO(first)).metadata.creation_date.date() == DATE
    assert promise_pdf(promise(), site(), trace=trace(), date=datetime.date(2031, 5, 5)) != first


def test_pdf_is_tagged_titled_and_sets_the_vendored_face_only() -> None:
    reader = PdfReader(io.BytesIO(promise_pdf(promise(), site(), trace=trace(), date=DATE)))
    assert reader.trailer["/Root"]["/MarkInfo"]["/Marked"]
    assert reader.trailer["/Root"]["/Lang"] == "en"
    fonts = {
        font.get_object()["/BaseFont"] for page in reader.pages for font in page["/Resources"].get("/Font", {}).values()
    }
    assert fonts
    assert all("Lato" in name for name in fonts)


def test_face_has_its_licence() -> None:
    assert "SIL OPEN FONT LICENSE" in (FONT_FOLDER / "OFL.txt").read_text(encoding="utf-8")
    assert {path.name for path in FONT_FOLDER.glob("*.ttf")} == {"Lato-Regular.ttf", "Lato-Bold.ttf"}


def test_templates_fetch_nothing() -> None:
    for template in (FONT_FOLDER.parent / "templates").glob("*.typ"):
        assert "@preview" not in template.read_text(encoding="utf-8")


def test_unknown_paper_is_refused() -> None:
    with pytest.raises(InputError, match="a4, us-letter"):
        compile_pdf("promise.typ", {}, paper="a5", date=DATE)


def test_twin_section_says_what_pinned_what() -> None:
    fields = twin_fields("two-inch", twin(), units="metric")
    words = " ".join(words_of(fields))
    assert fields["next"] == "A dead-head run at 2.4 m of fall would narrow the promise by 31 %."
    assert ["damping", "0.210", "0.189", "0.231", "60 %", "55 %", "no run: as assumed"] in fields["parameters"]
    rows = {row[0]: row[1:4] for row in fields["parameters"]}
    assert rows["slip volume"] == ["2.10 mL", "1.89 mL", "2.31 mL"]
    assert rows["discharge coefficient"] == ["0.640", "0.576", "0.704"]
    # 2.1 mL / 16.387064 mL = 0.1281 cubic inches
    us = {row[0]: row[1:4] for row in twin_fields("two-inch", twin(), units="us")["parameters"]}
    assert us["slip volume"] == ["0.128 in³", "0.115 in³", "0.141 in³"]
    assert us["discharge coefficient"] == rows["discharge coefficient"]
    assert CAUTIONS["dead_head"].words in words
    assert twin_fields("two-inch", replace(twin(), next_runs=()), units="us")["cautions"] == []
    json.dumps(fields, allow_nan=False)


@pytest.mark.parametrize(
    ("name", "stem"),
    [
        ("Upper field", "upper-field"),
        ("../../etc", "etc"),
        ("a/b\\c:d", "a-b-c-d"),
        ("???", "unnamed"),
        ("Bäche", "bäche"),
    ],
)
def test_file_names_are_safe(name: str, stem: str) -> None:
    assert file_stem(name) == stem


def test_long_file_name_is_cut() -> None:
    assert len(file_stem("x" * 500)) == 60


def test_sentence() -> None:
    assert sentence("needs more water") == "Needs more water."
    assert sentence("Why?") == "Why?"


def trial(units: str = "metric", count: int = 5) -> dict[str, object]:
    book = workbook(count)
    made = book.runs_of_trial(book.trials["flap"])
    return trial_fields(trial_print(judgement(count), book.trials["flap"], made), made, units=units)


def test_trial_tells_the_judgement() -> None:
    judged = judgement()
    fields = trial()
    assert judged.verdict == "different"
    assert fields["verdict"] == "Different: the waste flow of new flap is higher than that of old flap."
    assert fields["reasons"] == list(judged.reasons)
    name, middle, beside = fields["difference"]  # type: ignore[misc]
    assert name == "new flap less old flap"
    assert middle.startswith(f"{judged.difference.value * 60_000:.1f}")
    assert beside.endswith("% interval)")
    assert len(fields["runs"]) == 10  # type: ignore[arg-type]
    assert [row[2] for row in fields["runs"]] == [str(n) for n in range(1, 11)]  # type: ignore[attr-defined]
    assert "gust of wind" in words_of(fields)
    assert "gpm" in " ".join(words_of(trial("us")))
    assert "L/min" not in " ".join(words_of(trial("us")))


def test_one_run_of_each_says_what_its_interval_is() -> None:
    words = " ".join(words_of(trial(count=1)))
    assert "scatter not known" in words
    assert "Not yet known whether the waste flow of new flap differs" in words


def test_builds_are_called_by_their_names() -> None:
    fields = trial()
    causes = [row[0] for row in fields["budget"]]  # type: ignore[attr-defined]
    assert {"scatter of old flap", "scatter of new flap"} <= set(causes)
    assert not [words for words in words_of(fields) if re.search(r"\b(A|B)\b", words) or "_" in words]


def test_a_difference_of_fractions_is_in_percentage_points() -> None:
    book = workbook()
    made = book.runs_of_trial(book.trials["flap"])
    printed = replace(
        trial_print(judgement(), book.trials["flap"], made), figure="daubuisson_efficiency", kind="fraction"
    )
    fields = trial_fields(printed, made, units="us")
    assert fields["difference"][0] == "new flap less old flap, percentage points"
    assert fields["heading"] == "Trial flap: d'Aubuisson efficiency"


def test_runs_without_notes_have_no_column_for_them() -> None:
    book = workbook()
    made = book.runs_of_trial(book.trials["flap"])
    bare = [replace(run, note="") for run in made]
    printed = replace(trial_print(judgement(), book.trials["flap"], made), odd=())
    for runs, width in ((made, 7), (bare, 6)):
        fields = trial_fields(printed, runs, units="metric")
        assert len(fields["runs_head"]) == width and {len(row) for row in fields["runs"]} == {width}


def test_runs_that_help_nothing_are_not_proposed() -> None:
    useless = replace(twin().next_runs[1], narrowing=0.004)
    fields = twin_fields("two-inch", replace(twin(), next_runs=(twin().next_runs[0], useless)), units="metric")
    assert fields["next"] == twin().next_runs[0].sentence and fields["more_runs"] == []


def test_every_way_to_hold_a_pipe_has_words() -> None:
    assert set(HELD) == set(get_args(Anchoring))


def test_every_verdict_has_a_sentence() -> None:
    judged = judgement()
    fall = replace(judged, difference=replace(judged.difference, value=-judged.difference.value))
    assert "is lower than" in verdict_sentence(fall)
    assert verdict_sentence(replace(judged, verdict="the same within the margin")).startswith("The same within")


@pytest.mark.parametrize(("units", "paper"), [("metric", "a4"), ("us", "us-letter")])
def test_write_sheets(tmp_path: Path, units: str, paper: str) -> None:
    name = "Upper field (invented)"
    written = write_sheets(
        workbook(), {"flap": judgement()}, {"Two-inch B": twin()}, {name: promise()}, tmp_path / "new" / "out",
        units=units, paper=paper, date=DATE, traces={name: trace()},
    )  # fmt: skip
    assert [path.name for path in written] == [
        "test-report.pdf", "promise-upper-field-invented.pdf", "trial-flap.svg", "twin-two-inch-b-residuals.svg",
        "twin-two-inch-b-spread.svg", "promises.svg", "site-upper-field-invented.svg", "beat-upper-field-invented.svg",
    ]  # fmt: skip
    text = text_of(written[0].read_bytes())
    for words in (
        "Test report: Spring trials (invented)", "Different: the waste flow of new flap is higher", "gust of wind",
        "Where the uncertainty comes from", "scatter of the runs", "What pinned what",
        "would narrow the promise by 31 %",
        "The damping stayed at its prior.", {"metric": "L/min", "us": "gpm"}[units],
    ):  # fmt: skip
        assert words in text, words
    assert all(path.stat().st_size > 1000 for path in written)


def test_write_sheets_with_little_writes_little(tmp_path: Path) -> None:
    assert write_sheets(workbook(), {}, {}, {}, tmp_path, date=DATE) == []
    [report, *charts] = write_sheets(workbook(), {"flap": judgement()}, {}, {}, tmp_path, date=DATE)
    assert report.name == "test-report.pdf"
    assert [path.name for path in charts] == ["trial-flap.svg"]


def test_names_that_come_to_one_file_name_are_kept_apart(tmp_path: Path) -> None:
    book = workbook(site_names=("A b", "A-b"))
    promises = {"A b": promise("A b"), "A-b": promise("A-b")}
    names = [path.name for path in write_sheets(book, {}, {}, promises, tmp_path, date=DATE)]
    assert names[:2] == ["promise-a-b.pdf", "promise-a-b-2.pdf"]
    assert len(set(names)) == len(names)


def test_promise_for_an_unknown_site_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="Upper field"):
        write_sheets(workbook(), {}, {}, {"elsewhere": promise("elsewhere")}, tmp_path, date=DATE)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(("key", "value"), [("units", "imperial"), ("paper", "a5")])
def test_unknown_choice_is_refused(tmp_path: Path, key: str, value: str) -> None:
    with pytest.raises(InputError, match=value):
        write_sheets(workbook(), {}, {}, {}, tmp_path, date=DATE, **{key: value})  # type: ignore[arg-type]
