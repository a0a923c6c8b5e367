"""The units a person may type, with exact factors to SI, and the kinds of quantity they belong to.

Every factor is an exact fraction built from a few defined constants, so a typed number is converted
exactly and rounded once, to the nearest float. Sources of the constants:

* SP 811: Thompson and Taylor, *Guide for the Use of the International System of Units (SI)*, NIST Special
  Publication 811, 2008 edition, appendix B.8 (exact factors in bold there).
* International yard and pound: US Federal Register notice of 1 July 1959; SP 811 appendix B.6.

A gallon, quart, pint or fluid ounce without a country is the US one; the imperial gallon must be named.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction

FOOT = Fraction("0.3048")  # [m] international foot, 1959; SP 811 B.6
INCH = FOOT / 12  # [m] 25.4 mm
POUND = Fraction("0.45359237")  # [kg] international pound, 1959; SP 811 B.6
OUNCE = POUND / 16  # [kg] avoirdupois
STANDARD_GRAVITY = Fraction("9.80665")  # [m/s2] standard acceleration of free fall; SP 811 B.8
POUND_FORCE = POUND * STANDARD_GRAVITY  # [N] SP 811 B.8
KILOGRAM_FORCE = STANDARD_GRAVITY  # [N] SP 811 B.8
PSI = POUND_FORCE / INCH**2  # [Pa] pound-force per square inch
US_GALLON = 231 * INCH**3  # [m3] 231 cubic inches by definition; SP 811 B.8
IMPERIAL_GALLON = Fraction("0.00454609")  # [m3] SP 811 B.8, gallon (Canadian and UK)
LITRE = Fraction("0.001")  # [m3]
MINUTE, HOUR, DAY = Fraction(60), Fraction(3600), Fraction(86400)  # [s]
YEAR = Fraction("365.25") * DAY  # [s] Julian year of 365.25 days (IAU); SP 811 lists 365 days instead
CONVENTIONAL_WATER = 1000 * STANDARD_GRAVITY  # [Pa] per metre of water, 1000 kg/m3; SP 811 B.8 "conventional"
CONVENTIONAL_MERCURY = Fraction("13595.1") * STANDARD_GRAVITY  # [Pa] per metre of mercury; SP 811 B.8
ATMOSPHERE = Fraction(101325)  # [Pa] standard atmosphere; SP 811 B.8
ZERO_CELSIUS = Fraction("273.15")  # [K] SP 811 B.8
FAHRENHEIT_DEGREE = Fraction(5, 9)  # [K] SP 811 B.8
ZERO_FAHRENHEIT = Fraction("459.67") * FAHRENHEIT_DEGREE  # [K] SP 811 B.8
PI = Fraction("3.14159265358979323846264338327950288")  # the one factor that no fraction holds exactly
DEGREE = PI / 180  # [rad]


@dataclass(frozen=True)
class Unit:
    """One unit: ``si = typed * factor + offset``.

    Parameters
    ----------
    label : str
        How the unit is written in messages and on paper.
    dimension : str
        What it measures; a key of `DIMENSION_WORDS`.
    factor, offset : Fraction
        Exact, in the SI unit of the dimension.
    names : tuple of str
        Every accepted spelling, ``label`` among them.
    """

    label: str
    dimension: str
    factor: Fraction
    offset: Fraction
    names: tuple[str, ...]


DIMENSION_WORDS = {
    "length": "a length",
    "water_column": "a height of water",
    "area": "an area",
    "volume": "a volume",
    "mass": "a mass",
    "duration": "a duration",
    "volume_flow": "a flow",
    "pressure": "a pressure",
    "gauge_pressure": "a gauge pressure",
    "absolute_pressure": "an absolute pressure",
    "temperature": "a temperature",
    "temperature_difference": "a temperature difference",
    "velocity": "a velocity",
    "force": "a force",
    "stiffness": "a stiffness",
    "rotational_stiffness": "a rotational stiffness",
    "density": "a density",
    "angle": "an angle",
    "beat_rate": "a beat rate",
    "fraction": "a fraction",
    "count": "a count",
    "inertia": "a moment of inertia",
}


def unit_key(name: str) -> str:
    """Return ``name`` without the spaces, dots and carets people put in or leave out ("sq. ft" -> "sqft")."""
    slashed = re.sub(r"\s*\bper\b\s*", "/", unicodedata.normalize("NFKC", name))
    return re.sub(r"[\s.^*·⋅]+", "", slashed)


def _unit(dimension: str, label: str, factor: Fraction | int, names: str = "", offset: Fraction | int = 0) -> Unit:
    """Make a unit; ``names`` are further spellings separated by ``|``."""
    spellings = (label, *(name.strip() for name in names.split("|") if name.strip()))
    return Unit(label, dimension, Fraction(factor), Fraction(offset), spellings)


_LENGTHS = (
    _unit("length", "m", 1, "metre|metres|meter|meters"),
    _unit("length", "mm", Fraction(1, 1000), "millimetre|millimetres|millimeter|millimeters"),
    _unit("length", "cm", Fraction(1, 100), "centimetre|centimetres|centimeter|centimeters"),
    _unit("length", "µm", Fraction(1, 10**6), "um|micron|microns|micrometre|micrometres|micrometer|micrometers"),
    _unit("length", "km", 1000, "kilometre|kilometres|kilometer|kilometers"),
    _unit("length", "in", INCH, '"|inch|inches'),
    _unit("length", "ft", FOOT, "'|foot|feet"),
    _unit("length", "yd", 3 * FOOT, "yard|yards"),
    _unit("length", "mi", 5280 * FOOT, "mile|miles"),
    _unit("length", "thou", INCH / 1000, "mil|mils"),
)

_WATER_COLUMNS = (
    _unit("water_column", "mH2O", 1, "m of water|metres of water|meters of water|m of head|mwc|m wc|mWG"),
    _unit("water_column", "cmH2O", Fraction(1, 100), "cm of water"),
    _unit("water_column", "mmH2O", Fraction(1, 1000), "mm of water"),
    _unit("water_column", "ftH2O", FOOT, "ft of water|feet of water|foot of water|ft of head|feet of head|ftwc"),
    _unit("water_column", "inH2O", INCH, "in of water|inches of water|inch of water|inwc"),
)

_AREAS = (
    _unit("area", "m²", 1, "m2|sq m|square metre|square metres|square meter|square meters"),
    _unit("area", "cm²", Fraction(1, 10**4), "cm2|sq cm|square centimetres|square centimeters"),
    _unit("area", "mm²", Fraction(1, 10**6), "mm2|sq mm|square millimetres|square millimeters"),
    _unit("area", "in²", INCH**2, "in2|sq in|square inch|square inches"),
    _unit("area", "ft²", FOOT**2, "ft2|sq ft|square foot|square feet"),
)

_VOLUMES = (
    _unit("volume", "m³", 1, "m3|cu m|cubic metre|cubic metres|cubic meter|cubic meters"),
    _unit("volume", "L", LITRE, "l|litre|litres|liter|liters|dm3"),
    _unit("volume", "mL", LITRE / 1000, "ml|millilitre|millilitres|milliliter|milliliters|cm3|cc"),
    _unit("volume", "ML", LITRE * 10**6, "megalitre|megalitres|megaliter|megaliters"),
    _unit(
        "volume",
        "gal",
        US_GALLON,
        "gallon|gallons|gals|US gal|gal (US)|gal US|US gallon|US gallons|gallon (US)|gallons (US)|USG",
    ),
    _unit(
        "volume",
        "imp gal",
        IMPERIAL_GALLON,
        "gal (imp)|gal imp|imperial gallon|imperial gallons|imp gallon"
        "|imp gallons|gallon (imp)|gallons (imp)|gal (imperial)|UK gal|gal (UK)|UK gallon|UK gallons|igal",
    ),
    _unit("volume", "qt", US_GALLON / 4, "quart|quarts|qt (US)|US qt"),
    _unit("volume", "pt", US_GALLON / 8, "pint|pints|pt (US)|US pt"),
    _unit("volume", "fl oz", US_GALLON / 128, "fluid ounce|fluid ounces|fl oz (US)|US fl oz"),
    _unit("volume", "ft³", FOOT**3, "ft3|cu ft|cubic foot|cubic feet"),
    _unit("volume", "in³", INCH**3, "in3|cu in|cubic inch|cubic inches"),
)

_MASSES = (
    _unit("mass", "kg", 1, "kilogram|kilograms|kilo|kilos"),
    _unit("mass", "g", Fraction(1, 1000), "gram|grams"),
    _unit("mass", "t", 1000, "tonne|tonnes"),
    _unit("mass", "lb", POUND, "lbs|pound|pounds|lbm"),
    _unit("mass", "oz", OUNCE, "ounce|ounces"),
)

_DURATIONS = (
    _unit("duration", "s", 1, "sec|secs|second|seconds"),
    _unit("duration", "ms", Fraction(1, 1000), "millisecond|milliseconds"),
    _unit("duration", "min", MINUTE, "mins|minute|minutes"),
    _unit("duration", "h", HOUR, "hr|hrs|hour|hours"),
    _unit("duration", "day", DAY, "days|d"),
    _unit("duration", "week", 7 * DAY, "weeks|wk|wks"),
    _unit("duration", "year", YEAR, "years|yr|yrs"),
)

_SHORT_FLOWS = {  # spelling by initials -> (volume label, duration label)
    "lps": ("L", "s"), "lpm": ("L", "min"), "lph": ("L", "h"), "lpd": ("L", "day"),
    "gps": ("gal", "s"), "gpm": ("gal", "min"), "gph": ("gal", "h"), "gpd": ("gal", "day"),
    "US gpm": ("gal", "min"), "gpm (US)": ("gal", "min"), "imp gpm": ("imp gal", "min"),
    "gpm (imp)": ("imp gal", "min"), "igpm": ("imp gal", "min"), "igpd": ("imp gal", "day"),
    "cfs": ("ft³", "s"), "cfm": ("ft³", "min"), "cumec": ("m³", "s"), "cumecs": ("m³", "s"),
}  # fmt: skip


def _flows() -> tuple[Unit, ...]:
    """Every volume over every duration from a second to a day, plus the spellings by initials."""
    flows = []
    for volume in _VOLUMES:
        for duration in _DURATIONS:
            if duration.label not in ("s", "min", "h", "day"):
                continue
            names = [f"{one}/{other}" for one in volume.names for other in duration.names]
            pair = (volume.label, duration.label)
            names += [short for short, labels in _SHORT_FLOWS.items() if labels == pair]
            label = f"{volume.label}/{duration.label}"
            flows.append(Unit(label, "volume_flow", volume.factor / duration.factor, Fraction(0), (label, *names)))
    return tuple(flows)


_PRESSURES = (
    _unit("pressure", "Pa", 1, "pascal|pascals|N/m2"),
    _unit("pressure", "mPa", Fraction(1, 1000), "millipascal"),
    _unit("pressure", "hPa", 100),
    _unit("pressure", "kPa", 1000, "kilopascal|kilopascals"),
    _unit("pressure", "MPa", 10**6, "megapascal|megapascals|N/mm2"),
    _unit("pressure", "GPa", 10**9, "gigapascal|gigapascals"),
    _unit("pressure", "bar", 10**5, "bars"),
    _unit("pressure", "mbar", 100, "millibar|millibars"),
    _unit("pressure", "psi", PSI, "lbf/in2|lb/in2|lb/sq in|lbf/sq in|pounds per square inch"),
    _unit("pressure", "ksi", 1000 * PSI, "kpsi"),
    _unit("pressure", "psf", POUND_FORCE / FOOT**2, "lbf/ft2|lb/ft2|lb/sq ft"),
    _unit("pressure", "kgf/cm²", KILOGRAM_FORCE * 10**4, "kgf/cm2|kg/cm2|kg/sq cm"),
    _unit("pressure", "atm", ATMOSPHERE, "atmosphere|atmospheres"),
    _unit("pressure", "mmHg", CONVENTIONAL_MERCURY / 1000, "mm of mercury"),
    _unit("pressure", "inHg", CONVENTIONAL_MERCURY * INCH, "in of mercury|inches of mercury"),
    *(
        Unit(water.label, "pressure", water.factor * CONVENTIONAL_WATER, Fraction(0), water.names)
        for water in _WATER_COLUMNS
    ),
    _unit("gauge_pressure", "psig", PSI, "psi gauge|psi (g)"),
    _unit("gauge_pressure", "barg", 10**5, "bar gauge|bar (g)"),
    _unit("gauge_pressure", "kPag", 1000, "kPa gauge|kPa (g)"),
    _unit("absolute_pressure", "psia", PSI, "psi abs|psi absolute|psi (a)"),
    _unit("absolute_pressure", "bara", 10**5, "bar abs|bar absolute|bar (a)"),
    _unit("absolute_pressure", "kPaa", 1000, "kPa abs|kPa absolute|kPa (a)"),
)

_CELSIUS_NAMES = "degC|deg C|C|Celsius|degrees C|degrees Celsius"
_FAHRENHEIT_NAMES = "degF|deg F|F|Fahrenheit|degrees F|degrees Fahrenheit"
_TEMPERATURES = (
    _unit("temperature", "°C", 1, _CELSIUS_NAMES, ZERO_CELSIUS),
    _unit("temperature", "°F", FAHRENHEIT_DEGREE, _FAHRENHEIT_NAMES, ZERO_FAHRENHEIT),
    _unit("temperature", "K", 1, "kelvin|kelvins"),
    _unit("temperature_difference", "°C", 1, _CELSIUS_NAMES),
    _unit("temperature_difference", "°F", FAHRENHEIT_DEGREE, _FAHRENHEIT_NAMES),
    _unit("temperature_difference", "K", 1, "kelvin|kelvins"),
)

_VELOCITIES = (
    _unit("velocity", "m/s", 1, "m/sec|metres per second|meters per second"),
    _unit("velocity", "cm/s", Fraction(1, 100), "cm/sec"),
    _unit("velocity", "mm/s", Fraction(1, 1000), "mm/sec"),
    _unit("velocity", "km/h", 1000 / HOUR, "kph"),
    _unit("velocity", "ft/s", FOOT, "ft/sec|fps|feet per second"),
    _unit("velocity", "ft/min", FOOT / MINUTE, "fpm|feet per minute"),
    _unit("velocity", "in/s", INCH, "in/sec|inches per second"),
    _unit("velocity", "mph", 5280 * FOOT / HOUR, "mi/h|miles per hour"),
)

_FORCES = (
    _unit("force", "N", 1, "newton|newtons"),
    _unit("force", "kN", 1000, "kilonewton|kilonewtons"),
    _unit("force", "lbf", POUND_FORCE, "lb-f|lb f|pound-force|pounds-force|pounds force"),
    _unit("force", "ozf", POUND_FORCE / 16, "ounce-force"),
    _unit("force", "kgf", KILOGRAM_FORCE, "kg-f|kilogram-force|kp"),
)

_STIFFNESSES = (
    _unit("stiffness", "N/m", 1, "newtons per metre|newtons per meter"),
    _unit("stiffness", "N/cm", 100),
    _unit("stiffness", "N/mm", 1000),
    _unit("stiffness", "kN/m", 1000),
    _unit("stiffness", "lbf/in", POUND_FORCE / INCH, "lb/in|lbs/in|lbf/inch|lb/inch|pounds per inch"),
    _unit("stiffness", "lbf/ft", POUND_FORCE / FOOT, "lb/ft|lbs/ft|pounds per foot"),
    _unit("stiffness", "kgf/mm", KILOGRAM_FORCE * 1000, "kg/mm"),
    _unit("rotational_stiffness", "N m/rad", 1, "Nm/rad|N-m/rad"),
    _unit("rotational_stiffness", "N m/deg", 1 / DEGREE, "N m/°|Nm/deg|N-m/deg"),
    _unit("rotational_stiffness", "N mm/rad", Fraction(1, 1000), "N-mm/rad"),
    _unit("rotational_stiffness", "lbf in/rad", POUND_FORCE * INCH, "in lbf/rad|lb in/rad|in lb/rad|lbf-in/rad"),
    _unit(
        "rotational_stiffness",
        "lbf in/deg",
        POUND_FORCE * INCH / DEGREE,
        "in lbf/deg|lb in/deg|in lb/deg|lbf in/°|lbf-in/deg",
    ),
    _unit("rotational_stiffness", "lbf ft/rad", POUND_FORCE * FOOT, "ft lbf/rad|lb ft/rad|ft lb/rad|lbf-ft/rad"),
)

_OTHERS = (
    _unit("density", "kg/m³", 1, "kg/m3|kg/cu m|kilograms per cubic metre"),
    _unit("density", "g/cm³", 1000, "g/cm3|g/cc|g/mL|kg/L|kg/dm3"),
    _unit("density", "lb/ft³", POUND / FOOT**3, "lb/ft3|lbm/ft3|lb/cu ft|pcf|pounds per cubic foot"),
    _unit("density", "lb/in³", POUND / INCH**3, "lb/in3|lbm/in3|lb/cu in"),
    _unit("density", "lb/gal", POUND / US_GALLON, "ppg|pounds per gallon"),
    _unit("angle", "°", DEGREE, "deg|degs|degree|degrees"),
    _unit("angle", "rad", 1, "radian|radians"),
    _unit("angle", "mrad", Fraction(1, 1000), "milliradian|milliradians"),
    _unit(
        "beat_rate",
        "beats/min",
        1 / MINUTE,
        "/min|1/min|min-1|bpm|/minute|beats/minute|beat/min|strokes/min|strokes/minute|spm",
    ),
    _unit("beat_rate", "beats/s", 1, "/s|1/s|s-1|Hz|/sec|/second|beats/sec|beats/second|strokes/s"),
    _unit("beat_rate", "beats/h", 1 / HOUR, "/h|1/h|/hr|/hour|beats/hour"),
    _unit("fraction", "%", Fraction(1, 100), "percent|per cent|pct"),
    _unit("count", "beats", 1, "beat|strokes|stroke"),
    _unit("inertia", "kg m²", 1, "kg m2|kg-m2"),
    _unit("inertia", "kg cm²", Fraction(1, 10**4), "kg cm2|kg-cm2"),
    _unit("inertia", "kg mm²", Fraction(1, 10**6), "kg mm2|kg-mm2"),
    _unit("inertia", "g cm²", Fraction(1, 10**7), "g cm2|g-cm2"),
    _unit("inertia", "lb ft²", POUND * FOOT**2, "lb ft2|lb-ft2|lbm ft2"),
    _unit("inertia", "lb in²", POUND * INCH**2, "lb in2|lb-in2|lbm in2"),
)

UNITS: tuple[Unit, ...] = (
    *(_LENGTHS + _WATER_COLUMNS + _AREAS + _VOLUMES + _MASSES + _DURATIONS + _flows()),
    *(_PRESSURES + _TEMPERATURES + _VELOCITIES + _FORCES + _STIFFNESSES + _OTHERS),
)

COMPOUNDS: tuple[tuple[str, ...], ...] = (
    ("yd", "ft", "in"),
    ("m", "cm", "mm"),
    ("lb", "oz"),
    ("week", "day", "h", "min", "s"),
)
"""Labels that may follow one another in one value, largest first: "6 ft 2 in", "3 min 30 s"."""


def _index(pairs: Iterable[tuple[str, Unit]]) -> dict[str, tuple[Unit, ...]]:
    """Collect units under each spelling, without repeating a unit."""
    index: dict[str, tuple[Unit, ...]] = {}
    for key, unit in pairs:
        held = index.get(key, ())
        if unit not in held:
            index[key] = (*held, unit)
    return index


UNITS_BY_KEY = _index((unit_key(name), unit) for unit in UNITS for name in unit.names)
"""Units by exact spelling (capitals matter: mL and ML, mPa and MPa)."""

UNITS_BY_FOLDED_KEY = _index((unit_key(name).casefold(), unit) for unit in UNITS for name in unit.names)
"""Units by spelling without regard to capitals; more than one of a dimension here means capitals decide."""


def unit_labelled(dimension: str, label: str) -> Unit:
    """Return the unit of ``dimension`` whose label is ``label``; KeyError when the table has none."""
    for unit in UNITS_BY_KEY[unit_key(label)]:
        if unit.dimension == dimension:
            return unit
    raise KeyError((dimension, label))
