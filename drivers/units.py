"""The units an instrument may speak and their exact conversion to g and Pa; nothing else converts.

Scaling goes through the decimal text, so that "0.412356" kg is exactly the float of 412.356.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Final, Literal

BaseUnit = Literal["g", "Pa"]


class Quantity(StrEnum):
    """What an instrument measures."""

    MASS = "mass"
    PRESSURE = "pressure"


class Unit(StrEnum):
    """A unit the drivers convert."""

    G = "g"
    MG = "mg"
    KG = "kg"
    PA = "Pa"
    HPA = "hPa"
    KPA = "kPa"
    MBAR = "mbar"

    @property
    def quantity(self) -> Quantity:
        """Mass or pressure."""
        return Quantity.MASS if self in _MASS_UNITS else Quantity.PRESSURE

    @property
    def base(self) -> BaseUnit:
        """The unit that values of this quantity are converted to."""
        return "g" if self in _MASS_UNITS else "Pa"

    @property
    def exponent(self) -> int:
        """Power of ten between this unit and g or Pa (SI prefixes; 1 mbar is 100 Pa)."""
        return _EXPONENTS[self]


_MASS_UNITS: Final = frozenset({Unit.G, Unit.MG, Unit.KG})
_EXPONENTS: Final = {
    Unit.G: 0,
    Unit.MG: -3,
    Unit.KG: 3,
    Unit.PA: 0,
    Unit.HPA: 2,
    Unit.KPA: 3,
    Unit.MBAR: 2,
}

_FOREIGN_MASS = ("t", "ct", "lb", "oz", "ozt", "gn", "dwt", "tl", "N", "%", "pcs", "PCS")
_FOREIGN_PRESSURE = ("bar", "psi", "Torr", "mmHg", "mmH2O", "cmH2O", "inH2O", "inHg", "MPa")
FOREIGN_UNITS: Final = frozenset({*_FOREIGN_MASS, *_FOREIGN_PRESSURE})
"""Units that instruments can be switched to and that are never converted: such a line is a wrong unit,
not garbage. From memory of common balance and transducer menus."""


def to_base(number: str, unit: Unit) -> float:
    """The value in g or Pa of a plain decimal number (digits, at most one point, optional sign)."""
    return float(f"{number}e{unit.exponent}")


def resolution_in_base(decimals: int, unit: Unit) -> float:
    """One step of the last of `decimals` digits, in g or Pa."""
    return float(f"1e{unit.exponent - decimals}")
