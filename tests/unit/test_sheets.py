"""Sheets: what is printed, in both units and on both papers, out of invented results."""

from __future__ import annotations

import datetime
import io
import json
import math
import re
from collections.abc import Mapping
from dataclasses import replace

import pytest
from invented_results import UGLY, promise, site, trace, twin
from pypdf import PdfReader

from clackwork.cautions import CAUTIONS
from clackwork.errors import InputError
from clackwork.sheets.promise_sheet import place_cautions, promise_fields, promise_pdf, sentence, split_range
from clackwork.sheets.twin_section import twin_fields
from clackwork.sheets.typeset import FONT_FOLDER, compile_pdf, file_stem
from clackwork.site.site import Range

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
    assert not re.search(
        r"\d (L/min|L/day|bar|m|mm|°C)\b", words.replace("24 L/min", "").replace("18 L/min", "")
    )


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
        words_of(
            promise_fields(replace(promise(), pressure_margin=0.8), site(), None, units="metric", date=DATE)
        )
    )
    assert "0.8 times, the pipe is too weak" in words


def test_no_says_why_not() -> None:
    refused = replace(
        promise(answer="no"), reasons=("it beats but delivers nothing",), daily_delivery=Range(0.0, 0.0, 0.0)
    )
    text = text_of(promise_pdf(refused, site(), date=DATE))
    assert "No, not as it stands." in text
    assert "Why not" in text
    assert "It beats but delivers nothing." in text
    assert "in every case" in text


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
        font.get_object()["/BaseFont"]
        for page in reader.pages
        for font in page["/Resources"].get("/Font", {}).values()
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
    fields = twin_fields("two-inch", twin())
    words = " ".join(words_of(fields))
    assert fields["next"] == "A dead-head run at 2.4 m of fall would narrow the promise by 31 %."
    assert ["damping", "0.21", "0.189", "0.231", "60 %", "55 %", "no run: as assumed"] in fields["parameters"]
    assert "slip volume" in words
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
