"""Papers of a designed site: what they print in both languages, units and papers, out of an invented design."""

from __future__ import annotations

import ast
import datetime
import io
import json
import re
import shutil
import subprocess
from dataclasses import replace
from functools import lru_cache
from importlib import import_module
from pathlib import Path

import pytest
import segno
from invented_design import build, choice, design, place, quotation, standpipe_choice, survey
from PIL import Image, ImageChops
from pypdf import PdfReader
from test_sheets import SIZES, text_of, words_of

from clackwork.cautions import CAUTIONS
from clackwork.errors import InputError
from clackwork.sheets.as_built_sheet import as_built_fields
from clackwork.sheets.care_sheet import care_fields
from clackwork.sheets.installation_sheet import installation_fields
from clackwork.sheets.materials_sheet import materials_fields
from clackwork.sheets.proposal_sheet import proposal_fields
from clackwork.sheets.site_case import SiteCase, site_case
from clackwork.sheets.site_sheets import SITE_SHEETS
from clackwork.site.check_reasons import CHECK_REASONS
from clackwork.site.design import Assumed
from clackwork.site.due import care_items
from clackwork.site.heights import typed_height
from clackwork.site.limits import LIMITS
from clackwork.site.promise import REASONS
from clackwork.site.site import Range, Reason
from clackwork.words import load_words, placeholders

DATE = datetime.date(2031, 5, 4)
FIELDS = {
    "proposal": proposal_fields,
    "materials": materials_fields,
    "installation": installation_fields,
    "care": care_fields,
    "as-built": as_built_fields,
}
LANGUAGES = ("en", "es")
ADDRESS = "http" + "://workshop.local/records/site/12"


@lru_cache(maxsize=64)
def printed(sheet: str, language: str = "en", units: str = "metric", paper: str = "a4") -> bytes:
    """A paper of the usual choice."""
    return SITE_SHEETS[sheet](
        survey(), design(), choice(), date=DATE, units=units, paper=paper, language=language, qr=ADDRESS
    )


def case(language: str = "en", units: str = "metric", **changes: object) -> SiteCase:
    """The usual case with something else in it."""
    parts = {"survey": survey(), "design": design(), "choice": choice(), **changes}
    return site_case(**parts, units=units, language=language, date=DATE, qr=None, marks=None)  # type: ignore[arg-type]


def plain(text: str) -> str:
    """With plain blanks and apostrophes."""
    return re.sub(r"\s", " ", text).replace("\N{RIGHT SINGLE QUOTATION MARK}", "'")


PRINTED = {
    ("proposal", "en", "metric"): (
        "Proposal: water for Upper terrace (invented)", "Yes, but only if", "2310 L/day", "1990 to 2630", "990 L/day",
        "18.0 L/min", "38.4 L/min", "18.0 m of 2 in steel schedule 40", "3.000 ± 0.015 m, by level", "1 (this proposal)",
        "least water taken", "January to July", "Shorten the stroke", "source flow: 54 % of the spread", "Globo Rural",
    ),
    ("proposal", "es", "metric"): (
        "Propuesta: agua para Upper terrace (invented)", "Sí, pero solo si", "2310 L/día", "1990 a 2630", "990 L/día",
        "18,0 L/min", "38,4 L/min", "18,0 m de acero cédula 40 roscado de 2 pulg", "3,000 ± 0,015 m, con nivel",
        "1 (esta propuesta)", "enero a julio", "Acortar la carrera", "caudal de la fuente: 54 % del margen", "vaca lechera",
    ),
    ("proposal", "en", "us"): ("610 gal/day", "4.76 gpm", "59.1 ft of 2 in steel", "9.843 ± 0.049 ft", "thousand gallons"),
    ("proposal", "es", "us"): ("610 gal/día", "4,76 gal/min", "59,1 pies de acero", "9,843 ± 0,049 pies", "los mil galones"),
    ("materials", "en", "metric"): ("Drive pipe, 2 in steel", "18.0 m", "14.50 EUR / m", "261.00 EUR", "4.20 m³"),
    ("materials", "es", "us"): ("Tubería de impulso, acero cédula 40", "59,1 pies", "4,42 EUR / pies", "261,00 EUR"),
    ("installation", "en", "metric"): (
        "0.69 bar", "Waste valve of one pump fills 10 L in", "36.6 s", "33.6 s to 40.3 s", "61.2 beats/min", "1 in 6",
        "air valve at the high point 60.0 m from", "drain at the low point 85.0 m from", "dip at the old wall",
        "1900 N", "settling basin",
    ),
    ("installation", "es", "us"): (
        "10 psi", "llena 2,0 gal en", "61,2 golpes/min", "1 en 6", "a 197 pies del ariete", "420 lbf", "desarenador",
    ),
    ("care", "en", "metric"): (
        "7 days", "620 000", "12 months", "30 000 000", "Change the rubbers", "the ground freezes to 0.40 m",
    ),
    ("care", "es", "metric"): ("7 días", "620 000", "12 meses", "30 000 000", "Cambiar las gomas", "se hiela hasta 0,40 m"),
    ("as-built", "en", "metric"): ("As-built record", "held along its whole length", "60.0 m to 160 m", "Installer"),
    ("as-built", "es", "metric"): ("Registro de lo construido", "sujeta en todo su largo", "60,0 m a 160 m", "Instalador"),
}  # fmt: skip


@pytest.mark.parametrize(("sheet", "language", "units"), PRINTED)
def test_papers_print_their_figures_and_words(sheet: str, language: str, units: str) -> None:
    text = plain(text_of(printed(sheet, language, units)))
    for words in PRINTED[sheet, language, units]:
        assert words in text, words


@pytest.mark.parametrize("sheet", SITE_SHEETS)
@pytest.mark.parametrize("paper", SIZES)
@pytest.mark.parametrize("language", LANGUAGES)
def test_papers_are_tagged_sized_and_in_their_language(language: str, paper: str, sheet: str) -> None:
    reader = PdfReader(io.BytesIO(printed(sheet, language, "metric", paper)))
    assert reader.trailer["/Root"]["/MarkInfo"]["/Marked"]
    assert reader.trailer["/Root"]["/Lang"] == language
    for page in reader.pages:
        assert (round(page.mediabox.width), round(page.mediabox.height)) == SIZES[paper]
    assert "Upper terrace (invented)" in reader.metadata.title
    fonts = {
        font.get_object()["/BaseFont"] for page in reader.pages for font in page["/Resources"].get("/Font", {}).values()
    }
    assert fonts and all("Lato" in name for name in fonts)


@pytest.mark.skipif(shutil.which("pdftoppm") is None, reason="pdftoppm is not installed")
@pytest.mark.parametrize("sheet", SITE_SHEETS)
@pytest.mark.parametrize(("paper", "units"), [("a4", "metric"), ("us-letter", "us")])
@pytest.mark.parametrize("language", LANGUAGES)
def test_nothing_runs_into_the_margins(language: str, paper: str, units: str, sheet: str, tmp_path: Path) -> None:
    """Ink of every page, drawn by another program, stays 15 mm from both sides and 7 mm from foot and head."""
    (tmp_path / "sheet.pdf").write_bytes(printed(sheet, language, units, paper))
    subprocess.run(["pdftoppm", "-r", "50", "-gray", str(tmp_path / "sheet.pdf"), str(tmp_path / "page")], check=True)
    pages = sorted(tmp_path.glob("page*.pgm"))
    assert pages
    for path in pages:
        page = Image.open(path)
        left, top, right, bottom = ImageChops.invert(page).point(lambda ink: 255 * (ink > 40)).getbbox()
        millimetre = 50.0 / 25.4
        assert min(left, page.width - right) > 15.0 * millimetre, path.name
        assert min(top, page.height - bottom) > 7.0 * millimetre, path.name


@pytest.mark.parametrize("sheet", FIELDS)
@pytest.mark.parametrize("units", ["metric", "us"])
def test_language_changes_no_figure_on_paper(units: str, sheet: str) -> None:
    """The figures of every text, in order, are the same in both languages."""
    texts = [words_of(FIELDS[sheet](case(language, units))) for language in LANGUAGES]
    assert len(texts[0]) == len(texts[1])
    for english, spanish in zip(*texts, strict=True):
        if "alt" not in english and "rectangle" not in english:
            assert sorted(re.findall(r"\d+", digits_of(english))) == sorted(re.findall(r"\d+", digits_of(spanish))), (
                english
            )


def digits_of(text: str) -> str:
    """A text with its decimal marks as points and its groups of three joined."""
    return re.sub(r"(?<=\d)[\s\u00a0\u202f](?=\d{3}\b)", "", re.sub(r"(?<=\d),(?=\d)", ".", text))


@pytest.mark.parametrize("sheet", FIELDS)
def test_metric_units_are_not_on_a_us_paper(sheet: str) -> None:
    words = " ".join(text for text in words_of(FIELDS[sheet](case("en", "us"))) if "SDR" not in text)
    assert not re.search(r"\d (L/min|L/day|L|bar|m|kg|°C|N)\b", words)


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("sheet", SITE_SHEETS)
def test_cautions_are_printed_once_in_the_language(sheet: str, language: str) -> None:
    text = plain(text_of(printed(sheet, language)))
    words = load_words(language)
    assert text.count(plain(words.caution("peak_pressure"))) == 1
    expected = {
        "proposal": ("untreated_water", "water_rights", "dead_head", "plastic_pipe", "moving_valve", "frost"),
        "materials": ("pressure_test", "plastic_pipe", "untreated_water"),
        "installation": ("work_in_water", "moving_valve", "dead_head", "pressure_test", "frost", "water_rights"),
        "care": ("frost", "moving_valve", "work_in_water", "dead_head"),
        "as-built": ("moving_valve", "dead_head"),
    }[sheet]
    for name in expected:
        assert text.count(plain(words.caution(name))) == 1, name
    if language != "en":
        assert not any(plain(caution.words) in text for caution in CAUTIONS.values())


def test_cautions_stand_by_their_figures() -> None:
    text = plain(text_of(printed("installation")))
    start, caution = text.index("First start"), text.index("Never shut the delivery")
    assert start < caution < text.index("Does it run as promised?")
    text = plain(text_of(printed("proposal")))
    assert text.index("The source gives") < text.index("Ask the authority") < text.index("What is proposed")


@pytest.mark.parametrize("sheet", SITE_SHEETS)
def test_same_date_same_bytes(sheet: str) -> None:
    make = SITE_SHEETS[sheet]
    first, second = (make(survey(), design(), choice(), date=DATE) for _ in range(2))
    assert first == second
    assert make(survey(), design(), choice(), date=datetime.date(2031, 5, 5)) != first


@pytest.mark.parametrize("sheet", SITE_SHEETS)
@pytest.mark.parametrize(
    ("asked", "told"),
    [({"language": "xx"}, "en, es"), ({"paper": "a5"}, "a4, us-letter"), ({"units": "si"}, "metric, us")],
)
def test_unknown_language_paper_or_units_are_told(sheet: str, asked: dict[str, str], told: str) -> None:
    with pytest.raises(InputError, match=told):
        SITE_SHEETS[sheet](survey(), design(), choice(), date=DATE, **asked)


@pytest.mark.parametrize("sheet", SITE_SHEETS)
def test_every_paper_prints_for_every_kind_of_place(sheet: str) -> None:
    stopped = replace(
        choice().promise,
        answer="no",
        state_shares={"stalled open": 1.0},
        daily_delivery=Range(0.0, 0.0, 0.0),
        delivered_flow=Range(0.0, 0.0, 0.0),
        beat_rate=Range(0.0, 0.0, 0.0),
    )
    bare = survey(
        route=None, needs=None, wanted_flow=None, frost_depth=0.0, carries=(), stream_keeps=0.0, drinkers="nobody"
    )
    others = (
        (bare, choice(zones=(), months=(), rules=(), checks=(), quotation=None, tank_volume=None)),
        (survey(), choice(promise=stopped, reasons=stopped.reasons)),
        (survey(), standpipe_choice()),
        (survey(), choice(quotation=quotation(priced=False))),
    )
    for known, one in others:
        for language in LANGUAGES:
            pdf = SITE_SHEETS[sheet](known, design(choices=(one,), measure_again=()), one, date=DATE, language=language)
            assert pdf.startswith(b"%PDF")


def test_no_price_leaves_room_to_write() -> None:
    fields = materials_fields(case(choice=choice(quotation=None)))
    assert all(row[2:] == ["", ""] for row in fields["bill"])
    names = [row[0] for row in fields["bill"]]
    assert names[:2] == [f"Pump, {build().name}", "Drive pipe, 2 in steel schedule 40, threaded"]
    assert "Tank" in names and "Air valve" in names
    assert fields["sums"] == []


def test_a_line_without_a_price_is_named() -> None:
    fields = materials_fields(case())
    assert fields["missing"] == "Without a price yet, and not in the sum: Gate valve."
    assert [row for row in fields["bill"] if row[0] == "Gate valve"] == [["Gate valve", "2", "", ""]]


def test_a_price_a_foot_is_that_a_metre() -> None:
    # 14.50 a metre times 0.3048 metres a foot is 4.42 a foot
    rows = {row[0]: row for row in materials_fields(case(units="us"))["bill"]}
    assert rows["Drive pipe, 2 in steel schedule 40, threaded"][1:] == ["59.1 ft", "4.42 EUR / ft", "261.00 EUR"]


def test_what_limits_is_said_once() -> None:
    assert proposal_fields(case())["limit"] == ""
    limit = Reason("less_than_wanted", "note", REASONS["less_than_wanted"], {
        "counted_on": (2.5e-5, "daily_volume_flow"), "wanted": (3.0e-5, "daily_volume_flow"),
    })  # fmt: skip
    assert proposal_fields(case(design=design(limit=limit)))["limit"].startswith("2160 L/day can be counted on")


def test_tuning_bands_are_those_of_the_choice() -> None:
    rows = dict(installation_fields(case())["tuning"])
    assert rows["Stroke of the waste valve"].startswith("11.0 mm; from 9.00 mm to 13.0 mm")
    bands = installation_fields(case())["bands"]
    assert bands[0][1:3] == ["61.2 beats/min", "57.5 to 64.9"]
    assert all(row[3:] == ["", "", ""] for row in bands)


def test_the_code_is_that_of_the_address() -> None:
    with_code = proposal_fields(replace(case(), qr=ADDRESS))["qr"]
    other = proposal_fields(replace(case(), qr=ADDRESS + "3"))["qr"]
    assert ADDRESS in with_code["alt"]
    assert (
        segno.make(ADDRESS, error="m").svg_inline(scale=6, border=2, dark="#000", light="#fff", omitsize=True)
        == with_code["svg"]
        != other["svg"]
    )
    assert proposal_fields(case())["qr"] is None


def test_names_stay_text() -> None:
    ugly = 'Spring #1 *top* $x$ [a] @b \\ "q" <svg>'
    one = choice(site=place(name=ugly))
    pdf = SITE_SHEETS["proposal"](survey(name=ugly), design(choices=(one,)), one, date=DATE)
    assert PdfReader(io.BytesIO(pdf)).metadata.title == f"Proposal: water for {ugly}"
    assert ugly in text_of(pdf)


@pytest.mark.parametrize(
    ("width", "language", "said"),
    [
        (0.0, "en", "taken as exact"),
        (0.0, "es", "se toma como exacto"),
        (None, "en", "no limits given: assumed"),
        (None, "es", "sin límites dados: se supone"),
    ],
)
def test_a_figure_is_said_to_be_exact_or_without_limits(width: float | None, language: str, said: str) -> None:
    fields = proposal_fields(case(language, survey=survey(fall=typed_height(survey().fall.value, width))))
    row = dict(fields["rests_on"])[load_words(language)("survey.fall")]
    assert said in row and ("±" in row) is (width is None)
    assert said not in str(proposal_fields(case(language))["rests_on"])


def test_what_to_measure_again_says_which_limits_were_assumed() -> None:
    plain = design()
    assumed = replace(plain, assumed=(Assumed("fall_spread", 0.15, "head", "why"),))
    said, before = (proposal_fields(case(design=one))["again"] for one in (assumed, plain))
    assert [("assumed" in line) for line in said] == [name == "fall" for name, _ in plain.measure_again][: len(said)]
    assert "assumed" not in str(before)


def english_pieces() -> set[str]:
    """Runs of three words or more that only the English catalogue, or the English of the code, says."""
    english, spanish = load_words("en").texts, load_words("es").texts
    stated = [*english.items(), *((f"reason.{id}", text) for id, text in (REASONS | CHECK_REASONS | LIMITS).items())]
    stated += [(f"caution.{id}", one.words) for id, one in CAUTIONS.items()]
    stated += [(f"task.{one.id}", one.words) for one in care_items()]
    pieces = (part.strip(" .,;:()") for key, text in stated if spanish.get(key) != text for part in PIECE.split(text))
    return {piece for piece in pieces if len(piece.split()) >= 3}


PIECE = re.compile(r"\{\w+\}|[.;:]")


@pytest.mark.parametrize("sheet", FIELDS)
@pytest.mark.parametrize("which", ["usual", "standpipe", "refused"])
def test_spanish_papers_say_nothing_in_english(which: str, sheet: str) -> None:
    chosen = standpipe_choice() if which == "standpipe" else choice()
    if which == "refused":
        everything = REASONS | CHECK_REASONS | LIMITS
        said = (
            Reason(id, "no", text, dict.fromkeys(placeholders(text), (1.0, "count"))) for id, text in everything.items()
        )
        chosen = replace(chosen, reasons=tuple(said))
    fields = FIELDS[sheet](case("es", choice=chosen, design=replace(design(), choices=(chosen,))))
    text = plain(json.dumps({key: value for key, value in fields.items() if key != "drawing"}, ensure_ascii=False))
    pieces = english_pieces()
    assert len(pieces) > 250
    assert [piece for piece in pieces if plain(piece) in text] == []
    assert any(plain(piece) in plain(json.dumps(FIELDS[sheet](case("en", choice=chosen)))) for piece in pieces)


SITE_SOURCES = ["site_case", "proposal_sheet", "materials_sheet", "installation_sheet", "care_sheet", "as_built_sheet"]


@pytest.mark.parametrize("module", SITE_SOURCES)
def test_no_sentence_stands_in_the_code_of_a_paper(module: str) -> None:
    """Texts of two words and more are ids of the catalogue, docstrings or of an error: nothing else is printed."""
    source = Path(import_module(f"clackwork.sheets.{module}").__file__ or "").read_text(encoding="utf-8")
    known = {key.partition(".")[2] for key in load_words("es").texts} | {"only if"}
    tree = ast.parse(source)
    aside = [node for node in ast.walk(tree) if isinstance(node, ast.Raise)]
    aside += [node for node in ast.walk(tree) if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)]
    left_out = {id(inner) for node in aside for inner in ast.walk(node)}
    texts = [
        node.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in left_out
    ]
    assert [text for text in texts if re.search(r"[A-Za-z]{2,} [A-Za-z]{2,}", text) and text not in known] == []
