"""The kinds of quantity met in the work: what units they accept and how they are shown."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from types import MappingProxyType

from clackwork.errors import InputError
from clackwork.unit_table import Unit, unit_labelled


@dataclass(frozen=True)
class Display:
    """How a kind is shown in one system of units.

    Parameters
    ----------
    unit : Unit
        The unit of the figure.
    label : str
        Written after the figure; empty for a count.
    key : str
        The unit at the end of a JSON or CSV key, without the joining underscore.
    """

    unit: Unit
    label: str
    key: str


@dataclass(frozen=True)
class Kind:
    """One kind of quantity.

    Parameters
    ----------
    name : str
        As used in code.
    words : str
        As used in a sentence, with its article.
    dimensions : tuple of str
        Whose units are accepted, the first tried first.
    metric, us : Display
    examples : tuple of str
        What a person may type; every one of them is read in the tests.
    plus_minus_example : str
        The same with an uncertainty.
    lowest : Fraction or None
        The least SI value that can exist; None when any can.
    lowest_words : str
        Said when a value is below it.
    hints : mapping of str to str
        The next step when a unit of another dimension was typed.
    """

    name: str
    words: str
    dimensions: tuple[str, ...]
    metric: Display
    us: Display
    examples: tuple[str, ...]
    plus_minus_example: str
    lowest: Fraction | None = None
    lowest_words: str = ""
    hints: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))


_MASS_FOR_FORCE = 'A force in pounds is written "lbf", in kilograms "kgf".'
_ABSOLUTE = (
    "Give what the gauge shows above the air around it: take away the atmospheric pressure and write it without the a."
)
_WATER_GAUGE = 'If the gauge reads in height of water, write "mH2O" or "ftH2O".'


def _show(dimension: str, unit: str, key: str, label: str | None = None) -> Display:
    """Return a display; the label is the unit's own when none is given."""
    return Display(unit_labelled(dimension, unit), unit if label is None else label, key)


def _kind(
    name: str,
    words: str,
    dimensions: tuple[str, ...],
    metric: tuple[str, ...],
    us: tuple[str, ...],
    examples: str,
    *,
    not_negative: bool = False,
    hints: dict[str, str] | None = None,
) -> Kind:
    """Make a kind; ``examples`` are separated by ``|``, the last with ±."""
    *plain, plus_minus = (example.strip() for example in examples.split("|"))
    return Kind(
        name=name,
        words=words,
        dimensions=dimensions,
        metric=_show(dimensions[0], *metric),
        us=_show(dimensions[0], *us),
        examples=tuple(plain),
        plus_minus_example=plus_minus,
        lowest=Fraction(0) if not_negative else None,
        lowest_words=f"{words} cannot be negative" if not_negative else "",
        hints=MappingProxyType(hints or {}),
    )


_TEMPERATURE = Kind(
    name="temperature",
    words="a temperature",
    dimensions=("temperature",),
    metric=_show("temperature", "°C", "degc"),
    us=_show("temperature", "°F", "degf"),
    examples=("12 °C", "12 degC", "54 F"),
    plus_minus_example="12 °C ± 0.5 °C",
    lowest=Fraction(0),
    lowest_words="it is below absolute zero, -273.15 °C",
    hints=MappingProxyType({"angle": 'Say which degree: "°C" or "°F".'}),
)

_FLOW_EXAMPLES = "5.3 L/min | 0.09 L/s | 1.4 gpm | 5.3 L/min ± 0.1 L/min"
_ALL = (
    _kind(
        "length",
        "a length",
        ("length",),
        ("m", "m"),
        ("ft", "ft"),
        "2.1 m | 40 ft | 6' 2\" | 2.10 m ± 5 mm",
    ),
    _kind(
        "small_length",
        "a length",
        ("length",),
        ("mm", "mm"),
        ("in", "in"),
        "25 mm | 1 1/4 in | 5/8 in | 25.0 mm ± 0.2 mm",
    ),
    _kind(
        "head",
        "a head (height of water)",
        ("length", "water_column"),
        ("m", "m"),
        ("ft", "ft"),
        "2.1 m | 7 ft | 2.10 m ± 5 mm",
    ),
    _kind(
        "area",
        "an area",
        ("area",),
        ("cm²", "cm2"),
        ("in²", "in2"),
        "12 cm2 | 0.07 m2 | 2 sq in | 12 cm2 ± 0.3 cm2",
        not_negative=True,
    ),
    _kind(
        "volume",
        "a volume",
        ("volume",),
        ("L", "l"),
        ("gal", "gal"),
        "10 L | 5 gal (US) | 5 gal (imp) | 10.0 L ± 0.1 L",
        not_negative=True,
        hints={"mass": 'Ounces of volume are written "fl oz".'},
    ),
    _kind(
        "small_volume",
        "a volume",
        ("volume",),
        ("mL", "ml"),
        ("in³", "in3"),
        "5 mL | 2 cm3 | 0.3 cu in | 5.0 mL ± 0.2 mL",
        not_negative=True,
        hints={"mass": 'Ounces of volume are written "fl oz".'},
    ),
    _kind(
        "mass",
        "a mass",
        ("mass",),
        ("kg", "kg"),
        ("lb", "lb"),
        "350 g | 12 oz | 2 lb 3 oz | 350 g ± 2 g",
        not_negative=True,
    ),
    _kind(
        "duration",
        "a duration",
        ("duration",),
        ("s", "s"),
        ("s", "s"),
        "90 s | 3:30 | 3 min 30 s | 1:02:03 | 90.0 s ± 0.2 s",
        not_negative=True,
        hints={"length": 'Minutes are written "min" or "3:30".'},
    ),
    _kind(
        "volume_flow",
        "a flow",
        ("volume_flow",),
        ("L/min", "l_min"),
        ("gal/min", "gal_min", "gpm"),
        _FLOW_EXAMPLES,
    ),
    _kind(
        "daily_volume_flow",
        "a daily flow",
        ("volume_flow",),
        ("L/day", "l_day"),
        ("gal/day", "gal_day"),
        "2000 L/day | 500 gal/day | 1.4 L/min | 2000 L/day ± 100 L/day",
    ),
    _kind(
        "pressure_gauge",
        "a gauge pressure",
        ("pressure", "gauge_pressure"),
        ("bar", "bar"),
        ("psi", "psi"),
        "0.8 bar | 12 psi | 80 kPa | 0.80 bar ± 0.02 bar",
        hints={"absolute_pressure": _ABSOLUTE, "length": _WATER_GAUGE},
    ),
    _TEMPERATURE,
    _kind(
        "temperature_difference",
        "a temperature difference",
        ("temperature_difference",),
        ("°C", "degc_difference"),
        ("°F", "degf_difference"),
        "5 °C | 9 °F | 5 K | 5 °C ± 0.5 °C",
    ),
    _kind(
        "velocity",
        "a velocity",
        ("velocity",),
        ("m/s", "m_s"),
        ("ft/s", "ft_s"),
        "1.2 m/s | 4 ft/s | 1.20 m/s ± 0.05 m/s",
    ),
    _kind(
        "force",
        "a force",
        ("force",),
        ("N", "n"),
        ("lbf", "lbf"),
        "12 N | 3 lbf | 1.2 kgf | 12.0 N ± 0.5 N",
        hints={"mass": _MASS_FOR_FORCE},
    ),
    _kind(
        "stiffness",
        "a stiffness",
        ("stiffness",),
        ("N/m", "n_per_m"),
        ("lbf/in", "lbf_per_in"),
        "560 N/m | 0.56 N/mm | 3.2 lbf/in | 560 N/m ± 20 N/m",
    ),
    _kind(
        "rotational_stiffness",
        "a rotational stiffness",
        ("rotational_stiffness",),
        ("N m/rad", "n_m_per_rad"),
        ("lbf in/rad", "lbf_in_per_rad"),
        "1.2 N m/rad | 0.02 N m/deg | 10 lbf in/rad | 1.2 N m/rad ± 0.1 N m/rad",
    ),
    _kind(
        "density",
        "a density",
        ("density",),
        ("kg/m³", "kg_m3"),
        ("lb/ft³", "lb_ft3"),
        "1140 kg/m3 | 1.14 g/cm3 | 71 lb/ft3 | 1140 kg/m3 ± 10 kg/m3",
        not_negative=True,
    ),
    _kind("angle", "an angle", ("angle",), ("°", "deg"), ("°", "deg"), "12 deg | 12° | 0.2 rad | 12 deg ± 1 deg"),
    _kind(
        "beat_rate",
        "a beat rate",
        ("beat_rate",),
        ("beats/min", "per_min"),
        ("beats/min", "per_min"),
        "60/min | 60 bpm | 60 beats/min | 60/min ± 1/min",
        not_negative=True,
        hints={"duration": 'Count the beats in a minute and write "60/min".'},
    ),
    _kind(
        "fraction",
        "a fraction",
        ("fraction",),
        ("%", "percent"),
        ("%", "percent"),
        "45 % | 0.45 | 45 % ± 2 %",
    ),
    _kind(
        "count",
        "a count",
        ("count",),
        ("beats", "", ""),
        ("beats", "", ""),
        "60 | 120 beats | 60 ± 1",
        not_negative=True,
    ),
    _kind(
        "inertia",
        "a moment of inertia",
        ("inertia",),
        ("kg m²", "kg_m2"),
        ("lb ft²", "lb_ft2"),
        "0.0012 kg m2 | 12 kg cm2 | 4 lb in2 | 12.0 kg cm2 ± 0.5 kg cm2",
        not_negative=True,
    ),
    _kind(
        "modulus",
        "a modulus",
        ("pressure",),
        ("MPa", "mpa"),
        ("psi", "psi"),
        "2760 MPa | 200 GPa | 400 ksi | 200 GPa ± 5 GPa",
        not_negative=True,
    ),
)

KINDS: Mapping[str, Kind] = MappingProxyType({kind.name: kind for kind in _ALL})
"""Every kind by name."""


def find_kind(kind: str) -> Kind:
    """Return the kind named.

    Raises
    ------
    InputError
        No such kind; the message lists them.
    """
    if kind not in KINDS:
        raise InputError("kind", kind, f"it must be one of {', '.join(KINDS)}")
    return KINDS[kind]
