"""Air density and air buoyancy: what a reading in grams is worth as true mass.

Buoyancy cancels in residue and passing, where the same powder is weighed in the same air; it matters for
reported grams. The powder's true density is meant, never its bulk density.
"""

from __future__ import annotations

import math

from logger.core.refusal import require, require_finite

WEIGHT_DENSITY = 8000.0
"""Conventional density of the adjusting weights, kg/m3 (OIML R 111, from memory)."""

NOMINAL_AIR_DENSITY = 1.2
"""Air density for which balances are adjusted, kg/m3 (OIML R 111, from memory)."""


def air_density(pressure_hpa: float, humidity_pct: float, temperature_c: float) -> float:
    """Density of moist air, kg/m3, by the approximation of OIML R 111 (from memory).

    Raises `ResultError` outside 600 to 1100 hPa, 0 to 100 % and 5 to 40 °C: a wrong unit is likelier.
    """
    _check_air(pressure_hpa, humidity_pct, temperature_c)
    vapour = 0.009 * humidity_pct * math.exp(0.061 * temperature_c)
    return (0.34848 * pressure_hpa - vapour) / (273.15 + temperature_c)


def true_mass_factor(powder_density: float, air_density_kg_m3: float = NOMINAL_AIR_DENSITY) -> float:
    """True mass over reading of a balance adjusted with steel weights; densities in kg/m3."""
    require_finite(powder_density=powder_density, air_density_kg_m3=air_density_kg_m3)
    require(
        powder_density > 10 * air_density_kg_m3 > 0,
        f"a powder of {powder_density:g} kg/m3 in air of {air_density_kg_m3:g} kg/m3 cannot be meant: "
        "both are in kg/m3",
    )
    return (1 - NOMINAL_AIR_DENSITY / WEIGHT_DENSITY) / (1 - air_density_kg_m3 / powder_density)


def sieve_buoyancy_g(sieve_g: float, air_change_kg_m3: float) -> float:
    """Apparent change in g of a steel sieve's mass when air density changes between two weighings.

    The half-width to enter as `buoyancy_g` of a balance: 0.6 mg for 400 g and 0.012 kg/m3.
    """
    return sieve_g * abs(air_change_kg_m3) / WEIGHT_DENSITY


def _check_air(pressure_hpa: float, humidity_pct: float, temperature_c: float) -> None:
    require(
        600 <= pressure_hpa <= 1100 and 0 <= humidity_pct <= 100 and 5 <= temperature_c <= 40,
        f"air of {pressure_hpa:g} hPa, {humidity_pct:g} % and {temperature_c:g} °C cannot be meant: "
        "pressure in hPa, relative humidity in %, temperature in °C",
    )
