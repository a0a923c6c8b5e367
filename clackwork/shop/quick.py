"""The answer on the phone: what was typed, read field by field; answered from the book's twins; kept as a site."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Any

from clackwork.book import Book, Record
from clackwork.errors import InputError
from clackwork.pipes import Pipe, find_pipe
from clackwork.quantities import Quantity, format_quantity, parse
from clackwork.ram.tuning import TuningBounds
from clackwork.site.design import Assumed
from clackwork.site.quick import QuickAnswer, QuickAsk, QuickAssumptions, quick_answer
from clackwork.site.site import lift_from_source
from clackwork.site.stock import Stock, usual_bounds, usual_stock
from clackwork.site.told import FALL_SPREAD
from clackwork.twin.twin import Twin
from clackwork.workbook_errors import restated
from clackwork.workbook_reader import Table

PUMP, SOURCE = "lift_from_pump", "lift_from_source"


@dataclass(frozen=True)
class AskField:
    """One thing asked on the phone.

    Attributes
    ----------
    key, label, help : str
    kind : str
        Of quantity.
    metric, us : str
        What may be typed.
    needed : bool
    """

    key: str
    label: str
    kind: str
    help: str
    metric: str
    us: str
    needed: bool = True


FIELDS = (
    AskField("fall", "Fall", "head", "From the source down to the pump.", "2 m", "7 ft"),
    AskField("flow", "The source gives", "volume_flow", "When it is driest.", "20 L/min", "5 gpm"),
    AskField("lift", "Lift", "head", "Up to the outlet.", "15 m", "50 ft"),
    AskField("distance", "Delivery pipe", "length", "From the pump to the outlet.", "120 m", "400 ft"),
    AskField(
        "wanted", "Wanted", "daily_volume_flow", "Left out: as much as there is.", "800 L/day", "200 gal/day", False
    ),
    AskField("to_source", "Pump to source", "length", "Along the ground; left out: not known.", "12 m", "40 ft", False),
)
"""What is asked; the lift is above the pump or above the source, as is said beside it."""
_BOUNDS = ("least_stroke", "most_stroke", "least_mass", "most_mass", "lowest_beat_rate", "highest_beat_rate")
ASSUMPTIONS: Mapping[str, tuple[str, str]] = MappingProxyType(
    {
        "drive_pipe": ("Drive pipe", "pipe"),
        "drive_length": ("Its length", "length"),
        "supply_pipe": ("Supply pipe to a standpipe", "pipe"),
        "supply_length": ("Its length", "length"),
        "standpipe_diameter": ("Standpipe across", "small_length"),
        "delivery_pipe": ("Delivery pipe", "pipe"),
        "fittings_loss": ("Its fittings, in velocity heads", "count"),
        "temperature": ("Water temperature", "temperature"),
        "altitude": ("Altitude", "length"),
        "most_pumps": ("Pumps, at most", "count"),
        "least_stroke": ("Stroke, at least", "small_length"),
        "most_stroke": ("Stroke, at most", "small_length"),
        "least_mass": ("Moving mass, at least", "mass"),
        "most_mass": ("Moving mass, at most", "mass"),
        "lowest_beat_rate": ("Beats, at least", "beat_rate"),
        "highest_beat_rate": ("Beats, at most", "beat_rate"),
    }
)
"""What is assumed and may be set: label and kind of quantity, "pipe" for a pipe."""
SPREADS: Mapping[str, str] = MappingProxyType(
    {"fall_spread": "fall", "lift_spread": "lift", "source_flow_spread": "flow"}
)
"""Assumed uncertainties, and the field beside which another one is typed."""
_FIELD_OF = {
    "lift": "lift",
    "fall": "fall",
    "source_flow": "flow",
    "line_length": "distance",
    "ground_to_source": "to_source",
    "wanted_flow": "wanted",
}
"""Field of the page by the name in `QuickAsk`."""


@dataclass(frozen=True)
class Typed:
    """What was typed, read.

    Attributes
    ----------
    texts : mapping of str to str
        By field, as typed.
    lift_from : str
        "pump" or "source".
    ask : QuickAsk or None
        None while something is missing or cannot be read.
    assume : QuickAssumptions
    errors : mapping of str to InputError
        By field.
    missing : tuple of str
        Fields still needed.
    """

    texts: Mapping[str, str]
    lift_from: str
    ask: QuickAsk | None
    assume: QuickAssumptions
    errors: Mapping[str, InputError]
    missing: tuple[str, ...]


@dataclass
class _Reading:
    """Fields while they are read."""

    texts: Mapping[str, str]
    errors: dict[str, InputError] = field(default_factory=dict)
    quantities: dict[str, Quantity] = field(default_factory=dict)

    def of(self, key: str, read: Callable[[str], Any]) -> Any:
        """What a reader makes of a field; None when it is empty or wrong."""
        text = self.texts.get(key, "")
        if not text:
            return None
        try:
            return read(text)
        except InputError as error:
            self.errors[key] = error
            return None

    def quantity(self, key: str, kind: str) -> float | None:
        """A quantity in SI."""

        def read(text: str) -> float:
            self.quantities[key] = parse(text, kind, field=key)
            return self.quantities[key].value

        found: float | None = self.of(key, read)
        return found

    def spread(self, key: str, kind: str) -> tuple[float, float | None] | None:
        """A quantity with what may stand behind ±, as a standard uncertainty."""

        def read(text: str) -> tuple[float, float | None]:
            typed: dict[str, Quantity] = {}
            value, spread = Table({key: text}, "", "ask", typed).spread(key, kind, "")
            self.quantities[key] = typed[f"ask.{key}"]
            return value, spread

        found: tuple[float, float | None] | None = self.of(key, read)
        return found


def read_typed(texts: Mapping[str, str], lift_from: str, twins: Sequence[Twin], stock: Stock | None = None) -> Typed:
    """Read what was typed, every field by itself, so that each error stands beside its own.

    Parameters
    ----------
    texts : mapping of str to str
        By key of `FIELDS` and `ASSUMPTIONS`; empty ones count as not typed.
    lift_from : {"pump", "source"}
    twins : sequence of Twin
        Of the builds that are asked about.
    stock : Stock, optional
        What the workshop builds with; the usual one when not given.
    """
    reading = _Reading({key: text.strip() for key, text in texts.items() if text.strip()})
    missing = tuple(one.key for one in FIELDS if one.needed and one.key not in reading.texts)
    found = _read_ask(reading, lift_from)
    assume = _read_assumptions(reading, twins, stock or usual_stock())
    ask = None
    if not missing and not reading.errors and found is not None:
        try:
            ask = QuickAsk(**found)
        except InputError as error:
            key = _FIELD_OF.get(error.field, "lift")
            reading.errors[key] = restated(error, key, reading.quantities.get(key))
    return Typed(MappingProxyType(dict(reading.texts)), lift_from, ask, assume, reading.errors, missing)


def _read_ask(reading: _Reading, lift_from: str) -> dict[str, Any] | None:
    """What `QuickAsk` takes; None while a needed field is missing or wrong."""
    fall, lift = reading.spread("fall", "head"), reading.spread("lift", "head")
    flow = reading.spread("flow", "volume_flow")
    distance = reading.quantity("distance", "length")
    wanted, ground = reading.quantity("wanted", "daily_volume_flow"), reading.quantity("to_source", "length")
    if fall is None or lift is None or flow is None or distance is None:
        return None
    height, spread = lift
    if lift_from == "source":
        if height <= 0.0:
            allowed = "the outlet must be above the source, else water runs there by itself"
            reading.errors["lift"] = InputError(
                "lift", reading.texts["lift"], allowed, "Say whether it is from the pump."
            )
            return None
        height = lift_from_source(height, fall[0])
        of_fall = FALL_SPREAD * fall[0] if fall[1] is None else fall[1]
        spread = None if spread is None else math.hypot(spread, of_fall)
    return {
        "fall": fall[0],
        "source_flow": flow[0],
        "lift": height,
        "line_length": distance,
        "ground_to_source": ground,
        "wanted_flow": wanted,
        "fall_spread": fall[1],
        "source_flow_spread": flow[1],
        "lift_spread": spread,
        "lift_from_source": lift_from == "source",
    }


def _read_assumptions(reading: _Reading, twins: Sequence[Twin], stock: Stock) -> QuickAssumptions:
    """What was set of that which else is assumed."""
    given: dict[str, Any] = {}
    for key in ("drive_length", "supply_length", "altitude"):
        given[key] = reading.quantity(key, "length")
    given["standpipe_diameter"] = reading.quantity("standpipe_diameter", "small_length")
    given["temperature"] = reading.quantity("temperature", "temperature")
    given["fittings_loss"] = reading.of("fittings_loss", lambda text: _number(text, "fittings_loss", 0.0, 1000.0))
    for key in ("supply_pipe", "delivery_pipe"):
        given[key] = reading.of(key, read_pipe_text)
    drive = reading.of("drive_pipe", read_pipe_text)
    given["drive_pipes"] = {} if drive is None else {twin.build.name: drive for twin in twins}
    _require_sensible(reading, given)
    most = reading.of("most_pumps", lambda text: _number(text, "most_pumps", 1.0, 20.0))
    bounds = {key: reading.quantity(key, ASSUMPTIONS[key][1]) for key in _BOUNDS}
    set_bounds: dict[str, Any] = {key: value for key, value in bounds.items() if value is not None}
    made: dict[str, TuningBounds] = {}
    for twin in twins if set_bounds else ():
        try:
            made[twin.build.name] = replace(usual_bounds(twin.build), **set_bounds)
        except InputError as error:
            reading.errors[next(iter(set_bounds))] = error
    given["stock"] = replace(
        stock, bounds={**stock.bounds, **made}, most_pumps=stock.most_pumps if most is None else int(most)
    )
    return QuickAssumptions(**given)


_SENSIBLE = {
    "drive_length": (0.5, 500.0),
    "supply_length": (0.0, 5000.0),
    "standpipe_diameter": (0.05, 5.0),
    "temperature": (273.15, 333.15),
    "altitude": (-400.0, 5000.0),
}
"""Ends of what may be set: [m], [K]."""


def _require_sensible(reading: _Reading, given: Mapping[str, Any]) -> None:
    """Note what lies outside anything that can be laid."""
    for key, (low, high) in _SENSIBLE.items():
        value = given.get(key)
        if value is not None and not low <= value <= high:
            kind = ASSUMPTIONS[key][1]
            ends = " to ".join(format_quantity(end, kind, "metric") for end in (low, high))
            reading.errors[key] = InputError(key, reading.texts[key], f"it must be {ends}")


def _number(text: str, key: str, low: float, high: float) -> float:
    """A plain number within its ends."""
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        raise InputError(key, f'"{text}"', "it must be a plain number", "Leave its unit away.") from None
    if not low <= value <= high:
        raise InputError(key, text, f"it must be {low:g} to {high:g}")
    return value


def read_pipe_text(text: str) -> Pipe:
    """A pipe from "steel-sch40, 1 in".

    Raises
    ------
    InputError
        No such series or size, or one without a rating.
    """
    series, _, size = (part.strip() for part in text.partition(","))
    if not size:
        raise InputError("pipe", f'"{text}"', 'it must be a series and a size, such as "steel-sch40, 1 in"')
    return find_pipe(series, size)


def pipe_texts(stock: Stock) -> tuple[str, ...]:
    """Every pipe of a stock as it may be typed."""
    pipes = dict.fromkeys((*stock.drive_pipes, *stock.supply_pipes, *stock.delivery_pipes))
    return tuple(f"{pipe.series}, {pipe.size}" for pipe in pipes)


def answer_typed(typed: Typed, twins: Sequence[Twin]) -> QuickAnswer | None:
    """The answer to what was typed; None while it cannot be asked.

    Raises
    ------
    ClackworkError
        The question cannot be answered with these figures.
    """
    return None if typed.ask is None or typed.errors else quick_answer(twins, typed.ask, typed.assume)


def assumed_rows(typed: Typed, answer: QuickAnswer) -> tuple[tuple[Assumed, bool], ...]:
    """Everything that was assumed or set, in the order of `SPREADS` and `ASSUMPTIONS`, and whether it was set."""
    by_name = {one.what: one for one in answer.assumed}
    rows = [(by_name[name], False) for name in SPREADS if name in by_name]
    bounds = (typed.assume.stock or usual_stock()).bounds_of(answer.build)
    for key, (_, kind) in ASSUMPTIONS.items():
        if key in typed.texts:
            rows.append((Assumed(key, typed.texts[key], "typed", "you set it"), True))
        elif key in by_name:
            rows.append((by_name[key], False))
        elif key in _BOUNDS:
            rows.append((Assumed(key, getattr(bounds, key), kind, "of the build's own"), False))
    return tuple(rows)


def site_entered(typed: Typed) -> dict[str, Any]:
    """What was said on the phone as a site's record has it; a survey assumes of figures without limits what the call did."""
    texts = typed.texts
    entered: dict[str, Any] = {
        "note": "As told on the phone.",
        "fall": texts["fall"],
        "source_flow": texts["flow"],
        SOURCE if typed.lift_from == "source" else PUMP: texts["lift"],
        "survey": {"line_length": texts["distance"]},
    }
    if "wanted" in texts:
        entered["wanted_flow"] = texts["wanted"]
    if "to_source" in texts:
        entered["survey"]["ground_to_source"] = texts["to_source"]
    for key, place in (("temperature", "water_temperature"), ("altitude", "altitude")):
        if key in texts:
            entered[place] = texts[key]
    return entered


def keep_as_site(
    book: Book,
    name: str,
    typed: Typed,
    *,
    by: str = "",
    request_id: str | None = None,
) -> Record:
    """Keep what was said on the phone as a site, surveyed by word of mouth and not designed yet.

    Raises
    ------
    InputError
        Something is missing or cannot be used.
    NameTaken
        Another site has that name.
    """
    for key, error in typed.errors.items():
        raise InputError(key, error.value, error.allowed, error.next_step)
    if typed.missing:
        label = next(one.label for one in FIELDS if one.key == typed.missing[0])
        raise InputError(typed.missing[0], "(nothing)", f"it is needed: {label.lower()}")
    return book.add("site", name, site_entered(typed), by=by, request_id=request_id)
