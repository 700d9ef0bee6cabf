"""Test sieves: nominal apertures, tolerances of the two standard series, and what a certificate adds.

The formulae of ISO 3310-1:2000 and ASTM E11 (from memory; all rows of E11-17 from 20 µm to 4 mm agree):
X = 2 w^0.75 / 3 + 4 w^0.25 and Y = w^0.98 / 27 + 1.6. For ISO 3310-1:2016 all 59 rows agree with 0.9
times both: an inference, not read in the text. Sieves are named by aperture in µm; mesh numbers are not
sizes ("No. 400" is 38 µm here and 37 µm in older tables).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from logger.core.refusal import require, require_not_negative
from logger.core.sieve_table import E11_ROWS, ISO_ROWS

Standard = Literal["ISO 3310-1:2016", "ASTM E11-17", "certificate"]

FINEST_WOVEN_UM = 20.0
"""Below this, woven wire has no tolerance in either series: the certificate of the sieve must give it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tolerance:
    """Permitted deviation of the mean aperture `y_um` and excess of any single one `x_um`, µm."""

    aperture_um: float
    standard: str
    y_um: float
    x_um: float
    name: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TestSieve:
    """One test sieve as the register knows it. `mean_aperture_um` and its u come from its certificate."""

    __test__ = False  # keeps pytest from taking the class for a test

    id: str
    aperture_um: float
    frame_mm: float
    standard: Standard
    certificate: str = ""
    certified_on: str = ""
    mean_aperture_um: float | None = None
    mean_aperture_u_um: float | None = None

    def __post_init__(self) -> None:
        require(bool(self.id.strip()), "a test sieve needs an id")
        require(self.aperture_um > 0, f"sieve {self.id}: aperture_um must be above zero")
        require(self.frame_mm > 0, f"sieve {self.id}: frame_mm must be above zero")
        mean, u = self.mean_aperture_um, self.mean_aperture_u_um
        both = (mean is None) == (u is None)
        require(both, f"sieve {self.id}: give mean aperture and its uncertainty together")
        if mean is not None and u is not None:
            require_not_negative(mean_aperture_um=mean, mean_aperture_u_um=u)
            named = bool(self.certificate.strip() and self.certified_on.strip())
            require(named, f"sieve {self.id}: a mean aperture needs its certificate and its date")

    @property
    def aperture_u_um(self) -> float:
        """Standard uncertainty of the mean aperture, µm: the certificate's, else Y as a rectangle.

        Raises `ResultError` where neither exists (electroformed sieves without a certificate value).
        """
        if self.mean_aperture_u_um is not None:
            return self.mean_aperture_u_um
        return tolerance(self.aperture_um, self.standard).y_um / math.sqrt(3)

    @property
    def aperture_basis(self) -> str:
        """Where `aperture_u_um` comes from, for the budget."""
        if self.mean_aperture_u_um is not None:
            return f"certificate {self.certificate} of {self.certified_on}"
        y_um = tolerance(self.aperture_um, self.standard).y_um
        return f"tolerance Y = {y_um:g} µm of {self.standard}, rectangular"


def apertures_um(standard: Standard) -> tuple[float, ...]:
    """All nominal apertures of a series from 20 µm to 4 mm, finest first."""
    return tuple(_rows(standard))


def tolerance(aperture_um: float, standard: Standard) -> Tolerance:
    """Printed tolerances of a nominal aperture; `ResultError` when the series does not have it."""
    require(
        aperture_um >= FINEST_WOVEN_UM and standard != "certificate",
        f"a {aperture_um:g} µm sieve by {standard} has no tolerance in a table: "
        "enter mean aperture and uncertainty from its certificate",
    )
    rows = _rows(standard)
    if aperture_um not in rows:
        nearest = min(rows, key=lambda known: abs(known - aperture_um))
        require(
            False, f"{aperture_um:g} µm is no nominal aperture of {standard}; the nearest is {nearest:g} µm"
        )
    y_um, x_um, name = rows[aperture_um]
    return Tolerance(aperture_um=aperture_um, standard=standard, y_um=y_um, x_um=x_um, name=name)


def _rows(standard: Standard) -> dict[float, tuple[float, float, str]]:
    if standard == "ASTM E11-17":
        return {w: (y, x, name) for w, name, y, x in E11_ROWS}
    return {w: (y, x, f"{w:g} µm") for w, y, x in ISO_ROWS}
