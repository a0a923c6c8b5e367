"""The text of the site's papers: the same keys and names in every language, every key that is asked for, figures alike."""

from __future__ import annotations

import ast
import datetime
import re
from pathlib import Path

import pytest

from clackwork.cautions import CAUTIONS
from clackwork.errors import InputError
from clackwork.life.part_dates import ASSUMED
from clackwork.pipes import series_names
from clackwork.quantities import KINDS
from clackwork.site.check_reasons import CHECK_REASONS
from clackwork.site.commissioning import DOUBTS, OFF
from clackwork.site.commissioning import KINDS as READ
from clackwork.site.costing import HOURS, PARTS
from clackwork.site.due import WORDS as DUE_WORDS
from clackwork.site.due import Due, care_items
from clackwork.site.explaining import CAUSES
from clackwork.site.limits import CONDITIONS, LIMITS
from clackwork.site.needs import PUBLISHED_NEEDS
from clackwork.site.promise import REASONS
from clackwork.site.rules_of_thumb import Chosen, rules_for
from clackwork.site.season import MONTH_WORDS
from clackwork.site.site import Range, Reason
from clackwork.site.visit import PARTS as WEARS
from clackwork.words import ENGLISH_ELSEWHERE, Words, languages, load_words, placeholders

COMPARED = {f"{figure}_{side}": words for figure in READ for side, words in OFF.items()}
EXPLAINED = {f"explained_by_{cause.id}": cause.words for cause in CAUSES.values()}
PACKAGE = Path(__file__).resolve().parents[2] / "clackwork"
USERS = sorted(
    [*(PACKAGE / "sheets").glob("*.py"), *(PACKAGE / "charts").glob("site_*.py"), PACKAGE / "words" / "__init__.py"]
)
OTHERS = [name for name in languages() if name != "en"]
STATED = {
    "caution": {name: caution.words for name, caution in CAUTIONS.items()},
    "reason": REASONS | CHECK_REASONS | LIMITS | CONDITIONS | COMPARED | DOUBTS | EXPLAINED | ASSUMED,
    "due": DUE_WORDS,
    "month_plan": MONTH_WORDS,
    "task": {item.id: item.words for item in care_items()},
    "wears": dict(WEARS),
    "user": dict.fromkeys(PUBLISHED_NEEDS, ""),
    "item": dict.fromkeys(("pump", "drive pipe", "supply pipe", "delivery pipe", "work", *PARTS), ""),
    "work": dict.fromkeys(HOURS, ""),
    "topic": dict.fromkeys((rule.topic for rule in rules_for(Chosen(3.0, 20.0, 0.05, 1.0, 5e-5, 5e-5))), ""),
}
"""What stands in the code in English, by section."""


def test_languages_have_the_same_keys_and_names() -> None:
    english = load_words("en").texts
    assert "es" in OTHERS
    for language in OTHERS:
        texts = load_words(language).texts
        own = {key for key in texts if key.split(".")[0] not in ENGLISH_ELSEWHERE}
        assert own == {key for key in english if key.split(".")[0] not in ENGLISH_ELSEWHERE}
        for key in own:
            assert placeholders(texts[key]) == placeholders(english[key]), key
            assert bool(texts[key].strip()) == bool(english[key].strip()), key


@pytest.mark.parametrize("language", OTHERS)
@pytest.mark.parametrize("section", STATED)
def test_what_the_code_says_in_english_is_translated(language: str, section: str) -> None:
    texts = load_words(language).texts
    for name, english in STATED[section].items():
        assert f"{section}.{name}" in texts, name
        if english:
            assert placeholders(texts[f"{section}.{name}"]) == placeholders(english), name


def test_reasons_of_a_paper_have_ids_of_their_own() -> None:
    assert len(STATED["reason"]) == sum(
        map(len, (REASONS, CHECK_REASONS, LIMITS, CONDITIONS, COMPARED, DOUBTS, EXPLAINED, ASSUMED))
    )


def keys_asked_for(source: str) -> set[str]:
    """Keys given as plain texts to words(...) or self(...) anywhere in a source text."""
    found = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Call) and node.args:
            called = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
            first = node.args[0]
            if called in ("words", "self") and isinstance(first, ast.Constant) and "." in str(first.value):
                found.add(str(first.value))
    return found


def test_every_key_asked_for_is_there() -> None:
    asked = {key for path in USERS for key in keys_asked_for(path.read_text(encoding="utf-8"))}
    assert len(asked) > 80
    texts = load_words("en").texts
    assert {key for key in asked if key not in texts and f"{key}.one" not in texts} == set()


def test_every_plain_text_is_asked_for() -> None:
    """No text without a use: each key, or the part of it before the last name, stands in some source."""
    sources = "\n".join(path.read_text(encoding="utf-8") for path in USERS)
    unused = []
    for key in load_words("en").texts:
        section, _, rest = key.partition(".")
        name = rest.removesuffix(".one").removesuffix(".other")
        if section in ENGLISH_ELSEWHERE or f'"{section}.{name}"' in sources or f'"{name}"' in sources:
            continue
        if re.search(rf'"{section}\.\w*{{', sources) or section in ("pipe", "material", "method", "symptom"):
            continue
        unused.append(key)
    assert unused == []


def test_a_missing_text_or_language_is_told() -> None:
    with pytest.raises(KeyError, match=r"no\.such in es"):
        load_words("es")("no.such")
    with pytest.raises(InputError, match="en, es"):
        load_words("xx")


def test_plurals() -> None:
    english, spanish = load_words("en"), load_words("es")
    assert english("care.months_each", number=1) == "month"
    assert english("care.months_each", number=6) == "6 months"
    assert spanish("care.months_each", number=1) == "mes"
    assert spanish("care.months_each", number=6) == "6 meses"


@pytest.mark.parametrize(
    ("value", "kind", "units", "english", "spanish"),
    [
        (2.5e-5, "volume_flow", "metric", "1.50 L/min", "1,50 L/min"),
        (2.5e-5, "volume_flow", "us", "0.396 gpm", "0,396 gal/min"),
        (0.012, "small_length", "us", "0.472 in", "0,472 pulg"),
        (2.0e-6, "small_volume", "us", "0.122 in³", "0,122 pulg³"),
        (1.0, "beat_rate", "metric", "60.0 beats/min", "60,0 golpes/min"),
        (400.0 * 86400.0, "duration", "metric", "400 days", "400 días"),
        (float("nan"), "head", "metric", "not known", "no se sabe"),
    ],
)
def test_figures_by_language(value: float, kind: str, units: str, english: str, spanish: str) -> None:
    assert load_words("en").quantity(value, kind, units) == english
    assert load_words("es").quantity(value, kind, units) == spanish


def digits(text: str) -> str:
    """Its digits with the decimal mark as a point."""
    return re.sub(r"[^0-9.+±-]", "", text.replace(",", "."))


@pytest.mark.parametrize("units", ["metric", "us"])
@pytest.mark.parametrize("kind", sorted(KINDS))
def test_language_changes_no_figure(kind: str, units: str) -> None:
    english, spanish = load_words("en"), load_words("es")
    for value in (0.00123, 0.5, 1.0, 47.31, 987.6, 123456.7):
        assert digits(english.quantity(value, kind, units)) == digits(spanish.quantity(value, kind, units))
        shown = Range(0.9 * value, value, 1.2 * value)
        assert digits(english.range(shown, kind, units)) == digits(spanish.range(shown, kind, units))


def test_ranges_and_money() -> None:
    spanish = load_words("es")
    assert spanish.range(Range(2.0e-4, 2.2e-4, 2.4e-4), "volume_flow", "metric") == "13,2 L/min (12,0 a 14,4)"
    assert spanish.split_range(Range(30.0, 40.0, float("inf")), "duration", "metric") == ("30,0 s o más", "")
    assert spanish.split_range(Range(0.0, 0.0, 0.0), "volume_flow", "metric")[1] == ""
    assert (
        spanish.money(1234.5, "EUR").replace("\N{NO-BREAK SPACE}", " ").replace("\N{NARROW NO-BREAK SPACE}", " ")
        == "1 234,50 EUR"
    )


def test_reasons_by_language() -> None:
    reason = Reason(
        "less_than_wanted",
        "only if",
        REASONS["less_than_wanted"],
        {"counted_on": (2.5e-5, "daily_volume_flow"), "wanted": (3.0e-5, "daily_volume_flow")},
    )
    assert load_words("en").reason(reason, "metric") == "2160 L/day can be counted on; 2590 L/day are wanted"
    assert load_words("es").reason(reason, "metric") == "se puede contar con 2160 L/día; se desean 2590 L/día"
    other = Reason("lift", "note", "would be explained by a lift of {found}", {"found": (3.0, "head")})
    assert load_words("es").reason(other, "metric") == "would be explained by a lift of 3.00 m".replace(".", ",")
    assert load_words("es").reason(Reason("new", "note", "not yet said", {}), "metric") == "not yet said"


def test_what_is_due_by_language() -> None:
    figures = {"days_run": (40.0, "count")}
    english = "tighten bolts, look for leaks: {days_run} days since it was done last"
    day = datetime.date(2031, 5, 4)
    due = Due("terrace", "care", Reason("care", "note", english, figures), day, 9, "bolts", "tighten bolts")
    assert load_words("en").due(due, "metric") == english.format(days_run=40)
    assert load_words("es").due(due, "metric") == "apretar pernos, buscar fugas: 40 días desde la última vez"
    stale = Due("terrace", "promise_stale", Reason("promise_stale", "note", "", {}), day, 0, "", "typed {so}")
    assert load_words("es").due(stale, "metric") == "la promesa ya no vale: typed {so}"


def test_every_series_of_pipe_has_words() -> None:
    assert {name for name in series_names() if f"pipe.{name}" not in load_words("en").texts} == set()


def test_a_text_of_a_user_is_kept() -> None:
    words = Words("xx", {"item.strainer": "colador"})
    assert words.known("item", "strainer") == "colador"
    assert words.known("item", "my own valve") == "my own valve"
