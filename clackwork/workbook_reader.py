"""A TOML table read with care: every error names the table and the field, every quantity keeps its text."""

from __future__ import annotations

import datetime
import difflib
import math
import tomllib
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from clackwork.errors import ClackworkError, InputError, require_range
from clackwork.quantities import Quantity, parse, parse_plus_minus

MOST_BYTES = 2_000_000
"""Largest workbook read; a year of daily runs is a tenth of it."""

_LONGEST_NAME = 80


class WorkbookError(ClackworkError):
    """A workbook that cannot be read as a whole: missing, too large, not text, not TOML."""


def read_source(source: Path | str) -> str:
    """The text of a workbook.

    Parameters
    ----------
    source : Path or str
        A file; a string that holds a line break is the text itself.

    Raises
    ------
    WorkbookError
        Missing or unreadable file, over 2 MB, empty, or not UTF-8.
    """
    if isinstance(source, str) and ("\n" in source or not source.strip()):
        name, raw = "The workbook", source.encode("utf-8", "surrogateescape")
    else:
        path = Path(source)
        name, raw = f"The workbook {path.name}", _read_bytes(path)
    if len(raw) > MOST_BYTES:
        raise WorkbookError(f"{name} is larger than 2 MB; split its runs over several workbooks.")
    if not raw.strip():
        raise WorkbookError(f"{name} is empty; clackwork demo --out FOLDER writes one to start from.")
    try:
        return raw.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise WorkbookError(f"{name} is not UTF-8 text (line {line}); save it as UTF-8 in your editor.") from error


def _read_bytes(path: Path) -> bytes:
    """At most one byte more than is allowed, so that a huge file is never held."""
    try:
        with path.open("rb") as stream:
            return stream.read(MOST_BYTES + 1)
    except FileNotFoundError as error:
        raise WorkbookError(f"There is no workbook {path}; check the name and the folder.") from error
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise WorkbookError(f"The workbook {path} cannot be read: {reason}.") from error


def parse_toml(text: str) -> dict[str, Any]:
    """The tables of a workbook.

    Raises
    ------
    WorkbookError
        Not TOML; the sentence has the line.
    """
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise WorkbookError(
            f"The workbook is not valid TOML: {error}. Look at that line and the one before it for a "
            f"missing quote, "
            "bracket or equals sign."
        ) from error
    except (RecursionError, ValueError) as error:
        raise WorkbookError("The workbook is not valid TOML: a value in it is nested too deep or too long.") from error


def nearest(word: str, known: Iterable[str]) -> str:
    """'Did you mean "stroke"?', or the list when nothing is near."""
    names = sorted(known)
    near = difflib.get_close_matches(word, names, n=1, cutoff=0.5)
    if near:
        return f'Did you mean "{near[0]}"?'
    return f"Known here: {', '.join(names)}." if names else ""


class Table:
    """One table of a workbook while it is read.

    Parameters
    ----------
    values : object
        What TOML gave.
    label : str
        For messages: "run 'flap 3'".
    path : str
        For `Workbook.typed`: "run.flap 3".
    typed : dict
        Collects every quantity by path, shared by all tables of the workbook.
    """

    def __init__(self, values: object, label: str, path: str, typed: dict[str, Quantity]) -> None:
        self.label = label
        self.path = path
        self._typed = typed
        self._asked: set[str] = set()
        if not isinstance(values, dict):
            raise InputError(label, _shown(values), "it must be a table", f"Write a line [{path}] above its fields.")
        self._values: dict[str, Any] = values

    def __contains__(self, key: str) -> bool:
        self._asked.add(key)
        return key in self._values

    def field(self, key: str) -> str:
        """The field as messages name it: "run 'flap 3', beats"."""
        return f"{self.label}, {key}" if self.label else key

    def error(self, key: str, value: object, allowed: str, next_step: str = "") -> InputError:
        """An error at a field of this table."""
        return InputError(self.field(key), _shown(value), allowed, next_step)

    def typed(self, key: str) -> Quantity | None:
        """The quantity read at a field of this table, with its text; None when there is none."""
        return self._typed.get(f"{self.path}.{key}")

    def typed_text(self, key: str) -> str:
        """The text of a quantity read at a field of this table; empty when there is none."""
        quantity = self.typed(key)
        return "" if quantity is None else quantity.text

    def missing(self, key: str, wanted: str) -> InputError:
        """An error for a field that is needed and not there; names one that may be it, misspelt."""
        near = difflib.get_close_matches(key, [one for one in self._values if one not in self._asked], n=1)
        misspelt = f'Did you mean it by "{near[0]}"?' if near else ""
        return InputError(self.field(key), "(nothing)", f"it is needed: {wanted}", misspelt)

    def _take(self, key: str) -> Any:
        self._asked.add(key)
        return self._values.get(key)

    def quantity(self, key: str, kind: str) -> float | None:
        """SI value of a quantity, None when absent; its text is kept."""
        value = self._take(key)
        if value is None:
            return None
        if kind == "count" and isinstance(value, int) and not isinstance(value, bool):
            value = str(value)
        if not isinstance(value, str):
            raise self.error(key, value, 'it must be text with its unit, in quotes, such as "2.1 m"')
        read = parse(value, kind, field=self.field(key))
        self._typed[f"{self.path}.{key}"] = read
        return read.value

    def needed(self, key: str, kind: str, wanted: str) -> float:
        """SI value of a quantity that must be there."""
        value = self.quantity(key, kind)
        if value is None:
            raise self.missing(key, wanted)
        return value

    def spread(self, key: str, kind: str, wanted: str) -> tuple[float, float | None]:
        """SI value and standard uncertainty of "6.0 m ± 0.05 m"; what follows ± are limits, taken as rectangular.

        The uncertainty is None where no ± was written, and 0 of "± 0".
        """
        value = self._take(key)
        if value is None:
            raise self.missing(key, wanted)
        if not isinstance(value, str) or not any(mark in value for mark in ("±", "+", "plus")):
            return self.needed(key, kind, wanted), None
        read, limits = parse_plus_minus(value, kind, field=self.field(key))
        self._typed[f"{self.path}.{key}"] = read
        return read.value, limits.value / math.sqrt(3.0)  # GUM (JCGM 100:2008) 4.3.7

    def number(self, key: str, low: float, high: float) -> float | None:
        """A plain number without a unit, None when absent."""
        value = self._take(key)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise self.error(key, value, f"it must be a plain number, {low:g} to {high:g}, without quotes or unit")
        return require_range(self.field(key), float(value), low, high, "")

    def amount(self, key: str, wanted: str, most: float = 1e9) -> float | None:
        """A sum of money or a like figure from 0 up: a plain number, or one as text, "7.50" or "7,50"; None when absent."""
        value = self._take(key)
        if value is None:
            return None
        text = value.strip().replace(",", ".") if isinstance(value, str) else value
        allowed = f'{wanted}, a plain number such as "7.50" from 0 to {most:g}'
        try:
            number = float(text) if not isinstance(text, bool) else math.nan
        except (TypeError, ValueError) as error:
            raise self.error(key, value, allowed, "Leave unit and currency away.") from error
        if not 0.0 <= number <= most:
            raise self.error(key, value, allowed)
        return number

    @property
    def keys(self) -> tuple[str, ...]:
        """Every field written here, for a table whose fields are names of one's own."""
        return tuple(self._values)

    def whole(self, key: str, low: int, high: int) -> int | None:
        """A whole number, None when absent."""
        value = self._take(key)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int):
            raise self.error(key, value, f"it must be a whole number, {low} to {high}")
        require_range(self.field(key), float(value), low, high, "")
        return value

    def text(self, key: str) -> str | None:
        """A text, None when absent."""
        value = self._take(key)
        if value is None:
            return None
        if not isinstance(value, str):
            raise self.error(key, value, "it must be text in quotes")
        return value

    def name(self, key: str, wanted: str) -> str:
        """A name that must be there."""
        value = self.text(key)
        if value is None:
            raise self.missing(key, wanted)
        return checked_name(value, self.field(key))

    def choice(self, key: str, known: Iterable[str], wanted: str) -> str:
        """One of the words known; refused with the nearest."""
        value, words = self.text(key), sorted(known)
        if value is None:
            raise self.missing(key, f"{wanted}, one of {', '.join(words)}")
        if value not in words:
            raise self.error(
                key,
                value,
                f"it must be one of {', '.join(words) or '(none described)'}",
                nearest(value, words) if words else "",
            )
        return value

    def names(self, key: str, known: Iterable[str], count: int, wanted: str) -> tuple[str, ...]:
        """A list of exactly ``count`` different known names."""
        value, words = self._take(key), sorted(known)
        if value is None:
            raise self.missing(key, wanted)
        if not isinstance(value, list) or len(value) != count or not all(isinstance(one, str) for one in value):
            raise self.error(key, value, f"it must be a list of {count} names: {wanted}")
        for one in value:
            if one not in words:
                raise self.error(key, one, f"it must be one of {', '.join(words)}", nearest(one, words))
        if len(set(value)) != count:
            raise self.error(key, value, "the names must differ")
        return tuple(value)

    def table(self, key: str) -> Table | None:
        """A table inside this one, None when absent."""
        value = self._take(key)
        path = f"{self.path}.{key}" if self.path else key
        return None if value is None else Table(value, self.field(key), path, self._typed)

    def needed_table(self, key: str, wanted: str) -> Table:
        """A table inside this one that must be there."""
        inner = self.table(key)
        if inner is None:
            raise self.missing(key, wanted)
        return inner

    def named_tables(self, key: str) -> dict[str, Table]:
        """The tables [key.NAME] in the order written."""
        value = self._take(key)
        if value is None:
            return {}
        if not isinstance(value, dict):
            raise InputError(key, _shown(value), f"it must be tables with names, such as [{key}.first]")
        found = {}
        for name, inner in value.items():
            checked_name(name, f"[{key}.NAME]")
            if not isinstance(inner, dict):
                raise InputError(f"{key}, {name}", _shown(inner), f"it must stand in a table with a name, [{key}.NAME]")
            found[name] = Table(inner, f"{key} '{name}'", f"{key}.{name}", self._typed)
        return found

    def listed_tables(self, key: str) -> list[Table]:
        """The tables [[key]], each labelled by its name, or by its place where it has none."""
        value = self._take(key)
        if value is None:
            return []
        if not isinstance(value, list) or not all(isinstance(one, dict) for one in value):
            inside = f"{self.path}." if self.path else ""
            raise InputError(
                self.field(key),
                _shown(value),
                f"each must stand under its own line [[{inside}{key}]] with two brackets",
            )
        found = []
        for place, inner in enumerate(value, start=1):
            name = inner.get("name")
            known = isinstance(name, str) and name.strip()
            label = f"{key} '{name}'" if known else f"{key} number {place}"
            path = f"{key}.{name if known else place}"
            found.append(Table(inner, self.field(label), f"{self.path}.{path}" if self.path else path, self._typed))
        return found

    def quantities(self, key: str, kind: str, wanted: str) -> tuple[float, ...]:
        """SI values of a list of quantities that must be there; a single one may stand without brackets."""
        value = self._take(key)
        if value is None:
            raise self.missing(key, wanted)
        texts = [value] if isinstance(value, str) else value
        if not isinstance(texts, list) or not texts or not all(isinstance(one, str) for one in texts):
            raise self.error(key, value, 'it must be a list of texts with units, such as ["31.2 s", "30.9 s"]')
        found = []
        for place, text in enumerate(texts, start=1):
            read = parse(text, kind, field=self.field(f"{key} number {place}"))
            self._typed[f"{self.path}.{key}.{place}"] = read
            found.append(read.value)
        return tuple(found)

    def words(self, key: str, known: Iterable[str]) -> tuple[str, ...]:
        """A list of known words, empty when absent; each once, in the order of the known."""
        words = list(known)
        given = self.texts(key, f"words out of {', '.join(words)}")
        for one in given:
            if one not in words:
                raise self.error(key, one, f"it must be one of {', '.join(words)}", nearest(one, words))
        return tuple(word for word in words if word in given)

    def texts(self, key: str, wanted: str) -> tuple[str, ...]:
        """A list of texts, empty when absent; a single one may stand without brackets."""
        value = self._take(key)
        given = [] if value is None else [value] if isinstance(value, str) else value
        if not isinstance(given, list) or not all(isinstance(one, str) for one in given):
            raise self.error(key, value, f"it must be a list of {wanted}")
        return tuple(given)

    def numbers(self, key: str, count: int, low: float, high: float) -> tuple[float, ...] | None:
        """A list of exactly ``count`` numbers, plain or as fractions ("80 %"); None when absent."""
        value = self._take(key)
        if value is None:
            return None
        if not isinstance(value, list) or len(value) != count:
            raise self.error(key, value, f"it must be a list of {count} numbers")
        found = []
        for place, one in enumerate(value, start=1):
            field = self.field(f"{key} number {place}")
            if isinstance(one, bool) or not isinstance(one, int | float | str):
                raise InputError(field, _shown(one), f"it must be a number, {low:g} to {high:g}")
            number = parse(one, "fraction", field=field).value if isinstance(one, str) else float(one)
            found.append(require_range(field, number, low, high, ""))
        return tuple(found)

    def date(self, key: str) -> datetime.date | None:
        """A date, "2026-08-14", None when absent."""
        value = self._take(key)
        if value is None or (isinstance(value, datetime.date) and not isinstance(value, datetime.datetime)):
            return value
        try:
            return datetime.date.fromisoformat(value)
        except (TypeError, ValueError) as error:
            raise self.error(key, value, 'it must be a date, year first, such as "2026-08-14"') from error

    def finish(self) -> None:
        """Refuse any field that was not asked for, with the nearest that was.

        Raises
        ------
        InputError
            An unknown field.
        """
        for key in self._values:
            if key not in self._asked:
                raise InputError(
                    self.label or "the workbook", f'"{key}"', "there is no such field here", nearest(key, self._asked)
                )


def checked_name(name: str, field: str) -> str:
    """A name of 1 to 80 printable characters.

    Raises
    ------
    InputError
        Empty, too long or with control characters.
    """
    if not name.strip() or len(name) > _LONGEST_NAME or not name.isprintable():
        raise InputError(field, _shown(name), f"a name is 1 to {_LONGEST_NAME} printable characters")
    return name


def _shown(value: object) -> str:
    """A value for a message: at most 60 printable characters, text in quotes."""
    if isinstance(value, Mapping):
        return "a table"
    text = f'"{value}"' if isinstance(value, str) else str(value)
    text = "".join(character if character.isprintable() else " " for character in text)
    return text if len(text) <= 60 else f"{text[:57]}..."
