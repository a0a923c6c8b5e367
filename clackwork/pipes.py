"""Drive and delivery pipe: a catalogue of common series, and pipe of your own.

The sizes are in ``pipe_catalogue.csv``, each row with its standard. Bore is outside diameter less twice the
listed wall. Plastic lists its least wall, so the bore given is the widest the standard allows; pipe as made
runs a few percent narrower, and a measured bore is always better.
"""

from __future__ import annotations

import csv
import difflib
import re
from bisect import bisect_right
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from importlib.resources import files

from clackwork.errors import InputError, require_range

_PSI = 6894.757293168  # [Pa] from 0.45359237 kg, 9.80665 m/s2 and 0.0254 m, all exact
_INCH = 0.0254  # [m] exact
_THREADED_PLASTIC_SHARE = 0.5  # ASTM D1785: threading halves the rating of schedule 80

# ASME B31.3 (process piping), equation 3a and table A-1, from memory. Small steel pipe is often furnace
# butt welded (ASTM A53 type F, grade A), the weakest kind sold, so every size is rated as that kind.
_STEEL_ALLOWABLE_STRESS = 16_000 * _PSI  # [Pa] A53 grade A up to 400 F
_STEEL_JOINT_FACTOR = 0.60  # [-] furnace butt weld
_STEEL_Y = 0.4  # [-] ferritic steel, below 482 degC
_THREAD_DEPTH_SHARE = 0.8  # [-] of the pitch, ASME B1.20.1

# Allowable stress of annealed (soldered or brazed) copper tube to 100 F, ASME B31.9; from memory.
_COPPER_ALLOWABLE_STRESS = 6_000 * _PSI  # [Pa]

Factors = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class _Material:
    """What the wall is made of: stiffness under quick loading, roughness new, fall of rating with heat."""

    youngs_modulus: float  # [Pa]
    poisson: float  # [-]
    roughness: float  # [m]
    temperature_factors: Factors  # rising temperature [K], share of the rating [-]
    plastic: bool  # wears out under repeated surges and in the sun, below its rating


def _fahrenheit(degrees: float) -> float:
    return (degrees + 459.67) / 1.8


def _celsius(degrees: float) -> float:
    return degrees + 273.15


# Roughness of new pipe: Moody 1944, drawn tubing 5e-6 ft and commercial steel 1.5e-4 ft.
_SMOOTH = 1.5e-6  # [m]
_COMMERCIAL_STEEL = 4.6e-5  # [m]

# Share of the rating left. PVC: makers' common table (read). PE100: ISO 4427-1 annex A; copper: allowable
# stress 6000 psi at 100 F, 5100 psi at 150 F (ASME B31.9); steel: level to 400 F (ASME B31.3): from memory.
_PVC_FACTORS: Factors = tuple(
    (_fahrenheit(degrees), factor)
    for degrees, factor in (
        (73, 1.00),
        (80, 0.88),
        (90, 0.75),
        (100, 0.62),
        (110, 0.50),
        (120, 0.40),
        (130, 0.30),
        (140, 0.22),
    )
)
_PE100_FACTORS: Factors = ((_celsius(20), 1.00), (_celsius(30), 0.87), (_celsius(40), 0.74))
_STEEL_FACTORS: Factors = ((_celsius(20), 1.00), (_fahrenheit(400), 1.00))
_COPPER_FACTORS: Factors = ((_fahrenheit(100), 1.00), (_fahrenheit(150), 0.85))

# PVC 400 000 psi (cell class 12454 of ASTM D1784; published 2.76-2.90 GPa, 0.38-0.41). PE100 about 1.0 GPa
# under quick loading (static 0.8): from memory. Steel and copper: common handbook values.
_MATERIALS: dict[str, _Material] = {
    "PVC": _Material(2.758e9, 0.38, _SMOOTH, _PVC_FACTORS, True),
    "PE100": _Material(1.0e9, 0.45, _SMOOTH, _PE100_FACTORS, True),
    "steel": _Material(207e9, 0.30, _COMMERCIAL_STEEL, _STEEL_FACTORS, False),
    "copper": _Material(124e9, 0.34, _SMOOTH, _COPPER_FACTORS, False),
}

_TITLES = {
    "pvc-sch40": "PVC schedule 40",
    "pvc-sch80": "PVC schedule 80",
    "steel-sch40": "Steel schedule 40, threaded",
    "pe100-sdr11": "Polyethylene PE100 SDR 11 (PN 16)",
    "pe100-sdr13.6": "Polyethylene PE100 SDR 13.6 (PN 12.5)",
    "pe100-sdr17": "Polyethylene PE100 SDR 17 (PN 10)",
    "pvc-pn10": "PVC-U PN 10, metric",
    "pvc-pn16": "PVC-U PN 16, metric",
    "copper-type-l": "Copper tube type L",
}


@dataclass(frozen=True)
class Pipe:
    """One size of pipe.

    Attributes
    ----------
    series, size, standard, material : str
        Catalogue series and size label; ``"custom"`` for pipe of your own.
    bore, wall, outside_diameter : float
        [m]
    youngs_modulus : float
        Of the wall under quick loading [Pa].
    poisson : float
        [-]
    roughness : float
        Of new pipe [m]; old steel is many times rougher.
    rating_gauge : float or None
        Highest steady pressure of the pipe itself at its rating temperature, plain ends for plastic,
        threaded for steel [Pa]; None where no maker's rating was given. Fittings and joints are often
        weaker, and repeated hammer wears plastic out well below it.
    temperature_factors : tuple of (float, float)
        Temperature [K] and share of the rating left [-], rising in temperature.
    plastic : bool
        Whether the wall is plastic, which sun and repeated surges wear out below its rating.
    source : str
        Where the figures come from.
    """

    series: str
    size: str
    standard: str
    material: str
    bore: float
    wall: float
    outside_diameter: float
    youngs_modulus: float
    poisson: float
    roughness: float
    rating_gauge: float | None
    temperature_factors: Factors
    plastic: bool
    source: str

    def rating_at(self, temperature: float, threaded: bool = False) -> float:
        """Return the pressure rating in water of a given temperature.

        Parameters
        ----------
        temperature : float
            Of the pipe wall [K]: plastic in the sun is warmer than its water.
        threaded : bool, optional
            Whether threads are cut into a plastic pipe. Catalogue steel is rated as threaded already.

        Returns
        -------
        float
            [Pa] gauge. The full rating at and below the rating temperature, straight lines between the
            listed temperatures above it.

        Raises
        ------
        InputError
            Below freezing, above the highest listed temperature, when threads would be cut into a pipe
            that must not be threaded, or when the pipe has no rating.
        """
        if self.rating_gauge is None:
            raise InputError(
                "rating_gauge",
                "unknown",
                "this pipe has no pressure rating",
                "Give the maker's rating for it.",
            )
        highest = self.temperature_factors[-1][0]
        require_range(
            "temperature",
            temperature,
            273.15,
            highest,
            "K",
            f"{self.material} pipe has no rating outside this range.",
        )
        rating = self.rating_gauge * _factor_at(self.temperature_factors, temperature)
        if not threaded or self.material == "steel":
            return rating
        if self.series != "pvc-sch80":
            raise InputError(
                "threaded",
                True,
                "of plastic pipe only schedule 80 may be threaded",
                "Use schedule 80 or an adaptor.",
            )
        return rating * _THREADED_PLASTIC_SHARE


@dataclass(frozen=True)
class PipeSeries:
    """Pipe of one kind and standard, its sizes smallest first."""

    name: str
    title: str
    material: str
    standard: str
    pipes: tuple[Pipe, ...]


def _factor_at(factors: Factors, temperature: float) -> float:
    if temperature <= factors[0][0]:
        return factors[0][1]
    upper = min(bisect_right([point[0] for point in factors], temperature), len(factors) - 1)
    (cool, cool_factor), (warm, warm_factor) = factors[upper - 1], factors[upper]
    return cool_factor + (warm_factor - cool_factor) * (temperature - cool) / (warm - cool)


def steel_rating(outside_diameter: float, least_wall: float, threads_per_inch: float) -> float:
    """Return the rating of threaded steel pipe.

    Parameters
    ----------
    outside_diameter, least_wall : float
        [m]; the wall less its mill tolerance.
    threads_per_inch : float
        Of the taper thread cut into it.

    Returns
    -------
    float
        [Pa] gauge

    Raises
    ------
    InputError
        When the thread would cut through the wall.

    Notes
    -----
    ASME B31.3 equation 3a turned round, P = 2 S E t/(D - 2 Y t) with the thread depth taken off the wall;
    S 16 000 psi, E 0.60, Y 0.4. Nothing is taken off for rust.
    """
    wall_left = least_wall - _THREAD_DEPTH_SHARE * _INCH / threads_per_inch
    if wall_left <= 0.0:
        raise InputError("least_wall", f"{least_wall * 1e3:.3g} mm", "the thread would cut through it")
    stress = _STEEL_ALLOWABLE_STRESS * _STEEL_JOINT_FACTOR
    return 2.0 * stress * wall_left / (outside_diameter - 2.0 * _STEEL_Y * wall_left)


def copper_rating(outside_diameter: float, least_wall: float) -> float:
    """Return the rating of annealed copper tube [Pa gauge] by Barlow, 2 S t/D, from [m]; S 6000 psi.

    The joint is usually weaker: soft solder holds far less in the larger sizes.
    """
    return 2.0 * _COPPER_ALLOWABLE_STRESS * least_wall / outside_diameter


def _row_rating(row: dict[str, str], outside_diameter: float, least_wall: float) -> float:
    if row["material"] == "steel":
        return steel_rating(outside_diameter, least_wall, float(row["threads_per_inch"]))
    if row["material"] == "copper":
        return copper_rating(outside_diameter, least_wall)
    return float(row["rating_kpa"]) * 1e3


def _pipe_from_row(row: dict[str, str]) -> Pipe:
    material = _MATERIALS[row["material"]]
    outside_diameter = float(row["outside_diameter_mm"]) / 1e3
    wall = float(row["wall_mm"]) / 1e3
    return Pipe(
        series=row["series"],
        size=row["size"],
        standard=row["standard"],
        material=row["material"],
        bore=outside_diameter - 2.0 * wall,
        wall=wall,
        outside_diameter=outside_diameter,
        youngs_modulus=material.youngs_modulus,
        poisson=material.poisson,
        roughness=material.roughness,
        rating_gauge=_row_rating(row, outside_diameter, float(row["least_wall_mm"]) / 1e3),
        temperature_factors=material.temperature_factors,
        plastic=material.plastic,
        source=row["source"],
    )


@lru_cache(maxsize=1)
def catalogue() -> tuple[PipeSeries, ...]:
    """Return every series of the catalogue, in the order of its file."""
    text = files("clackwork").joinpath("pipe_catalogue.csv").read_text(encoding="utf-8")
    by_series: dict[str, list[Pipe]] = {}
    for row in csv.DictReader(text.splitlines()):
        by_series.setdefault(row["series"], []).append(_pipe_from_row(row))
    return tuple(
        PipeSeries(name, _TITLES[name], pipes[0].material, pipes[0].standard, tuple(pipes))
        for name, pipes in by_series.items()
    )


def series_names() -> tuple[str, ...]:
    """Return the names of the series, as `find_pipe` takes them."""
    return tuple(series.name for series in catalogue())


_SIZE = re.compile(r"(?:(\d+)[-\s]+)?(\d+/[1-9]\d*|\d+(?:\.\d+)?)\s*(\"|″|''|in|inch|inches|mm)?\.?")
_VULGAR_FRACTIONS = {"½": "1/2", "¼": "1/4", "¾": "3/4"}


def _size_key(label: str) -> tuple[Fraction, str] | None:
    """Return the size as (number, "in" | "mm" | "" when no unit was typed), or None when unreadable."""
    for sign, plain in _VULGAR_FRACTIONS.items():
        label = label.replace(sign, f" {plain}")
    match = _SIZE.fullmatch(label.strip().lower())
    if match is None:
        return None
    whole, rest, unit = match.groups()
    if unit not in (None, "mm"):
        unit = "in"
    return Fraction(whole or 0) + Fraction(rest), unit or ""


def _find_series(name: str) -> PipeSeries:
    def key(text: str) -> str:
        return re.sub(r"[^a-z0-9]", "", text.lower())

    known = {key(series.name): series for series in catalogue()}
    if key(name) in known:
        return known[key(name)]
    near = difflib.get_close_matches(key(name), known, n=3, cutoff=0.3) or list(known)
    names = ", ".join(known[each].name for each in near)
    raise InputError(
        "series",
        name,
        f"the nearest known series: {names}",
        "For any other pipe give its bore, wall and material.",
    )


def find_pipe(series: str, size: str) -> Pipe:
    """Return a pipe from the catalogue.

    Parameters
    ----------
    series : str
        Such as ``"steel-sch40"``; case, spaces and signs are ignored.
    size : str
        Such as ``"1-1/4 in"``, ``1 1/4"``, ``"1.25"`` or ``"25 mm"``.

    Returns
    -------
    Pipe

    Raises
    ------
    InputError
        When the series or the size is not in the catalogue; names the nearest that are.
    """
    found = _find_series(series)
    wanted = _size_key(size)
    if wanted is not None:
        for pipe in found.pipes:
            listed = _size_key(pipe.size)
            if listed is not None and wanted[0] == listed[0] and wanted[1] in ("", listed[1]):
                return pipe
    sizes = ", ".join(pipe.size for pipe in found.pipes)
    raise InputError(
        "size",
        size,
        f"{found.name} is listed in {sizes}",
        "For any other size give its bore, wall and material.",
    )


def material_names() -> tuple[str, ...]:
    """Return the materials `custom_pipe` knows."""
    return tuple(_MATERIALS)


def custom_pipe(
    bore: float,
    wall: float,
    material: str,
    *,
    rating_gauge: float | None = None,
    youngs_modulus: float | None = None,
    poisson: float | None = None,
    roughness: float | None = None,
    source: str = "measured",
) -> Pipe:
    """Return a pipe of your own size.

    Parameters
    ----------
    bore : float
        Inside diameter [m], 5 mm to 500 mm.
    wall : float
        [m], 0.3 mm up to half the bore.
    material : str
        One of `material_names`; gives whatever is left out below, and the fall of the rating with heat.
    rating_gauge : float, optional
        Maker's rating at 20 degC (73 F) [Pa], above 0. None: unknown, and `Pipe.rating_at` will refuse.
    youngs_modulus, poisson, roughness : float, optional
        [Pa] 1e6 to 1e12; 0 to 0.5; [m] 0 up to a twentieth of the bore.
    source : str, optional
        Where the figures come from.

    Returns
    -------
    Pipe

    Raises
    ------
    InputError
        When a value is out of range or the material is not known.
    """
    known = {name.lower(): name for name in _MATERIALS}
    if material.strip().lower() not in known:
        raise InputError("material", material, f"it must be one of {', '.join(_MATERIALS)}")
    name = known[material.strip().lower()]
    kind = _MATERIALS[name]
    require_range("bore", bore * 1e3, 5.0, 500.0, "mm", "Was it another unit?")
    require_range("wall", wall * 1e3, 0.3, bore * 1e3 / 2.0, "mm", "Was it another unit?")
    if rating_gauge is not None:
        require_range("rating_gauge", rating_gauge / 1e3, 1.0, 1e6, "kPa", "Was it another unit?")
    modulus = kind.youngs_modulus if youngs_modulus is None else youngs_modulus
    ratio = kind.poisson if poisson is None else poisson
    rough = kind.roughness if roughness is None else roughness
    return Pipe(
        series="custom",
        size=f"{bore * 1e3:.4g} mm bore",
        standard="none",
        material=name,
        bore=bore,
        wall=wall,
        outside_diameter=bore + 2.0 * wall,
        youngs_modulus=require_range("youngs_modulus", modulus, 1e6, 1e12, "Pa"),
        poisson=require_range("poisson", ratio, 0.0, 0.5, ""),
        roughness=require_range("roughness", rough, 0.0, bore / 20.0, "m", "Was it another unit?"),
        rating_gauge=rating_gauge,
        temperature_factors=kind.temperature_factors,
        plastic=kind.plastic,
        source=source,
    )
