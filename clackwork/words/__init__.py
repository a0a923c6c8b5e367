"""All text of the site's papers and drawings, one file a language; figures and units as that language writes them.

``en.toml`` and ``es.toml`` hold the same keys, so another language is one more file beside them. What stands in the
code in English (reasons, cautions, kinds of pipe, units) is looked up by its id or its English, and stays English
where a language has no word for it.
"""

from __future__ import annotations

import math
import re
import string
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from importlib.resources import files
from typing import Any

from clackwork.bench.gum import Estimate
from clackwork.cautions import CAUTIONS
from clackwork.errors import InputError
from clackwork.pipes import Pipe
from clackwork.quantities import format_quantity, format_range, format_with_uncertainty
from clackwork.quantity_writing import GROUP_SPACE
from clackwork.site.due import Due
from clackwork.site.site import Range, Reason

ENGLISH_ELSEWHERE = (
    "unit",
    "reason",
    "due",
    "caution",
    "item",
    "reading",
    "topic",
    "author",
    "month_plan",
    "user",
    "task",
    "wears",
    "work",
)
"""Sections whose English stands in the code, by id or as the word itself; English has none of them."""
_DECIMAL_POINT = re.compile(r"(?<=\d)\.(?=\d)")


@dataclass(frozen=True)
class Words:
    """The text of one language.

    Attributes
    ----------
    language : str
        Name of its file.
    texts : mapping of str to str
        By key, "proposal.title"; a text with a plural has two, "x.one" and "x.other".
    """

    language: str
    texts: Mapping[str, str] = field(repr=False, hash=False)

    def __call__(self, key: str, /, **values: object) -> str:
        """The text of a key, its names in braces filled in.

        A text with a plural goes by its value ``number``.

        Raises
        ------
        KeyError
            No such key, or a name in braces without a value.
        """
        text = self.texts.get(key)
        if text is None and f"{key}.one" in self.texts:
            text = self.texts[f"{key}.{'one' if values['number'] in (1, '1') else 'other'}"]
        if text is None:
            raise KeyError(f"{key} in {self.language}")
        return text.format(**values)

    def known(self, section: str, name: str, otherwise: str | None = None) -> str:
        """The text of a name that may come from a user: itself, or ``otherwise``, where the language has none."""
        return self.texts.get(f"{section}.{name}", name if otherwise is None else otherwise)

    def written(self, text: str) -> str:
        """A text of :mod:`clackwork.quantities` with this language's decimal mark and units."""
        marked = _DECIMAL_POINT.sub(self("number.decimal_mark"), text)
        return _unit_pattern(self).sub(lambda found: self.texts[f"unit.{found[0]}"], marked) if self._units else marked

    @property
    def _units(self) -> list[str]:
        """Units this language writes its own way, longest first."""
        found = [key.removeprefix("unit.") for key in self.texts if key.startswith("unit.")]
        return sorted(found, key=len, reverse=True)

    def quantity(self, value: float, kind: str, units: str, *, figures: int = 3) -> str:
        """An SI value with its unit: "1,40 L/min"; "not known" for what is no number."""
        if not math.isfinite(value):
            return self("number.not_known")
        return self.written(format_quantity(value, kind, units, figures=figures))

    def number(self, value: float, figures: int = 3) -> str:
        """A plain number to so many figures, a whole one in full: "2,21"."""
        return self.quantity(value, "count", "metric", figures=figures)

    def money(self, value: float, currency: str) -> str:
        """An amount of money: "1 234,50 EUR"."""
        return f"{self.written(f'{value:,.2f}'.replace(',', GROUP_SPACE))} {currency}".strip()

    def plus_minus(self, shown: Estimate, kind: str, units: str) -> str:
        """A figure with its standard uncertainty: "3,000 ± 0,015 m"."""
        return self.written(format_with_uncertainty(shown.value, shown.standard_uncertainty, kind, units))

    def split_range(self, shown: Range, kind: str, units: str) -> tuple[str, str]:
        """Middle with its unit, and its range: ("2 100 L/day", "1 800 to 2 400")."""
        ends = (shown.low, shown.middle, shown.high)
        if not all(math.isfinite(value) for value in ends):
            return self._open_range(shown, kind, units)
        if shown.low == shown.high:
            return self.quantity(shown.middle, kind, units), ""
        if kind == "duration":
            low, middle, high = (self.quantity(value, kind, units) for value in ends)
            return middle, self("number.from_to", low=low, high=high)
        middle, _, beside = format_range(*ends, kind, units).rpartition(" (")
        low, _, high = beside.rstrip(")").partition(" to ")
        return self.written(middle), self("number.from_to", low=self.written(low), high=self.written(high))

    def _open_range(self, shown: Range, kind: str, units: str) -> tuple[str, str]:
        """A range that has no upper end."""
        if math.isfinite(shown.low) and shown.low > 0.0:
            return self("number.at_least", low=self.quantity(shown.low, kind, units)), ""
        return self("number.not_known"), ""

    def range(self, shown: Range, kind: str, units: str) -> str:
        """Middle and range in one: "14,2 L/min (12,1 a 16,8)"."""
        middle, beside = self.split_range(shown, kind, units)
        return f"{middle} ({beside})" if beside else middle

    def reason(self, reason: Reason, units: str) -> str:
        """A reason in words, its figures in the units asked for."""
        values = {name: self.quantity(value, kind, units) for name, (value, kind) in reason.values.items()}
        words = self.known("reason", reason.id, reason.words)
        if placeholders(words) != placeholders(reason.words):  # another reason that happens to have the same id
            words = reason.words
        return words.format(**values)

    def due(self, due: Due, units: str) -> str:
        """A thing due in words, its figures in the units asked for; a reason why, typed or English, as it stands."""
        said = self.known("task", due.care, due.said) if due.care else due.said
        values = {name: self.quantity(value, kind, units) for name, (value, kind) in due.reason.values.items()}
        template = self.texts.get(f"due.{due.reason.id}")
        if template is None:
            return self.reason(due.reason, units)
        return template.format(said=said, **values)

    def pipe(self, pipe: Pipe, units: str) -> str:
        """Size and kind of a pipe: "1 in PVC schedule 40"."""
        material = self.known("material", pipe.material)
        if pipe.series == "custom":
            bore = self.quantity(pipe.bore, "small_length", units)
            return self("pipe.custom", material=material, bore=bore)
        return self.known("pipe", pipe.series, self("pipe.other", material=material)).replace(
            "[size]", self.written(pipe.size)
        )

    def caution(self, id: str) -> str:
        """The words of a caution."""
        return self.known("caution", id, CAUTIONS[id].words if id in CAUTIONS else id)


@lru_cache(maxsize=8)
def _unit_pattern(words: Words) -> re.Pattern[str]:
    """Any unit that a language writes its own way, standing alone."""
    names = "|".join(re.escape(name) for name in words._units)
    return re.compile(rf"(?<![\w/])(?:{names})(?![\w/²³])")


def languages() -> tuple[str, ...]:
    """Names of the languages there are, English first."""
    found = sorted(each.name.removesuffix(".toml") for each in files(__name__).iterdir() if each.name.endswith(".toml"))
    return ("en", *(name for name in found if name != "en"))


def load_words(language: str) -> Words:
    """The text of a language.

    Parameters
    ----------
    language : str
        One of :func:`languages`: "en", "es".

    Raises
    ------
    InputError
        No such language; the message lists them.
    """
    if language not in languages():
        raise InputError("language", language, f"it must be one of {', '.join(languages())}")
    return _read(language)


@lru_cache(maxsize=8)
def _read(language: str) -> Words:
    """One file, read once."""
    table = tomllib.loads(files(__name__).joinpath(f"{language}.toml").read_text(encoding="utf-8"))
    return Words(language, dict(_flat(table, "")))


def _flat(table: Mapping[str, Any], above: str) -> list[tuple[str, str]]:
    """Keys with their texts, the names of the tables before them."""
    found: list[tuple[str, str]] = []
    for name, value in table.items():
        key = f"{above}{name}"
        found += _flat(value, f"{key}.") if isinstance(value, Mapping) else [(key, str(value))]
    return found


def placeholders(text: str) -> set[str]:
    """Names in braces of a text."""
    return {name for _, name, _, _ in string.Formatter().parse(text) if name}
