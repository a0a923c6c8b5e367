"""Water as the ram meets it: properties by temperature, and the air above it by altitude."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from clackwork.errors import require_range

STANDARD_GRAVITY = 9.80665  # [m/s2] ISO 80000-3 (3rd CGPM, 1901)

LOWEST_TEMPERATURE = 273.15  # [K] 0 degC; ice below
HIGHEST_TEMPERATURE = 313.15  # [K] 40 degC; warmer water is outside this trade
LOWEST_ALTITUDE = -400.0  # [m] below any shore on dry land
HIGHEST_ALTITUDE = 5000.0  # [m] above the highest settled places

# U.S. Standard Atmosphere 1976 (NOAA/NASA/USAF), section 1.2 and table 4, lowest layer.
_SEA_LEVEL_PRESSURE = 101325.0  # [Pa]
_SEA_LEVEL_TEMPERATURE = 288.15  # [K]
_LAPSE_RATE = 0.0065  # [K/m] per metre of geopotential altitude
_EARTH_RADIUS = 6356766.0  # [m]
_AIR_MOLAR_MASS = 0.0289644  # [kg/mol]
_GAS_CONSTANT = 8.31432  # [J/(mol K)] the value the 1976 standard fixed, not today's


@dataclass(frozen=True)
class Water:
    """Fresh water at the pressure of the open air of its site.

    Attributes
    ----------
    temperature : float
        [K]
    altitude : float
        Of the site above mean sea level [m].
    density : float
        [kg/m3]
    dynamic_viscosity : float
        [Pa s]
    kinematic_viscosity : float
        [m2/s]
    sound_speed : float
        In unbounded water free of gas [m/s].
    bulk_modulus : float
        Isentropic, density times sound speed squared [Pa].
    vapour_pressure_abs : float
        [Pa]
    atmospheric_pressure_abs : float
        [Pa]
    vapour_head_gauge : float
        Lowest head water can stand before it boils, against the open air [m]; negative.
    """

    temperature: float
    altitude: float
    density: float
    dynamic_viscosity: float
    kinematic_viscosity: float
    sound_speed: float
    bulk_modulus: float
    vapour_pressure_abs: float
    atmospheric_pressure_abs: float
    vapour_head_gauge: float


def atmospheric_pressure_abs(altitude: float) -> float:
    """Return the pressure of the standard atmosphere at an altitude.

    Parameters
    ----------
    altitude : float
        Above mean sea level [m], -400 to 5000.

    Returns
    -------
    float
        [Pa]

    Raises
    ------
    InputError
        When the altitude is outside the range.

    Notes
    -----
    U.S. Standard Atmosphere 1976, equations 18 and 33a. Weather moves the true pressure by about 3 %.
    """
    require_range("altitude", altitude, LOWEST_ALTITUDE, HIGHEST_ALTITUDE, "m", "Was it typed in feet?")
    geopotential = _EARTH_RADIUS * altitude / (_EARTH_RADIUS + altitude)
    exponent = STANDARD_GRAVITY * _AIR_MOLAR_MASS / (_GAS_CONSTANT * _LAPSE_RATE)
    temperature_ratio = 1.0 - _LAPSE_RATE * geopotential / _SEA_LEVEL_TEMPERATURE
    return float(_SEA_LEVEL_PRESSURE * temperature_ratio**exponent)


@lru_cache(maxsize=4096)
def water_at(temperature: float = 283.15, altitude: float = 0.0) -> Water:
    """Return the properties of water open to the air of a site.

    Parameters
    ----------
    temperature : float, optional
        [K], 273.15 to 313.15 (0 to 40 degC). The usual spring, 10 degC, when not given.
    altitude : float, optional
        Of the site [m], -400 to 5000.

    Returns
    -------
    Water

    Raises
    ------
    InputError
        When the temperature or the altitude is outside its range.

    Notes
    -----
    Density, sound speed and vapour pressure by IAPWS-95 (Wagner & Pruss 2002); viscosity by IAPWS
    R12-08. Both are for pure water; a gram of dissolved solids per litre adds about 0.07 % to the density.
    """
    # Imported here: the formulation is not needed until water is, and costs a tenth of a second.
    from chemicals.iapws import iapws95_properties, iapws95_Psat
    from chemicals.viscosity import mu_IAPWS

    hint = "Temperatures inside the package are absolute; was it typed in degC or degF?"
    require_range("temperature", temperature, LOWEST_TEMPERATURE, HIGHEST_TEMPERATURE, "K", hint)
    atmospheric = atmospheric_pressure_abs(altitude)
    properties = iapws95_properties(temperature, atmospheric)  # type: ignore[no-untyped-call]
    density, sound_speed = float(properties[0]), float(properties[6])
    dynamic_viscosity = float(mu_IAPWS(temperature, density))
    vapour_pressure = float(iapws95_Psat(temperature))  # type: ignore[no-untyped-call]
    return Water(
        temperature=temperature,
        altitude=altitude,
        density=density,
        dynamic_viscosity=dynamic_viscosity,
        kinematic_viscosity=dynamic_viscosity / density,
        sound_speed=sound_speed,
        bulk_modulus=density * sound_speed**2,
        vapour_pressure_abs=vapour_pressure,
        atmospheric_pressure_abs=atmospheric,
        vapour_head_gauge=(vapour_pressure - atmospheric) / (density * STANDARD_GRAVITY),
    )
