"""Specific surface, and the Sauter mean straight from the points: passing linear in size between them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

from logger.core.distribution.points import SievePoint
from logger.core.refusal import require


def specific_surface_m2_per_cm3(sauter_um: float) -> float:
    """Surface of the powder's volume, as of spheres without pores: 6 / D[3, 2]; 1/µm is m²/cm³ (ISO 9276-2)."""
    return 6 / sauter_um


def sauter_from_points_um(points: Sequence[SievePoint]) -> float:
    """Sauter mean D[3, 2], µm: 1 / sum dQ ln(d2 / d1) / (d2 - d1).

    Raises `ResultError` when the points do not reach 0 % and 100 % passing: surface sits in the finest
    powder, so an open fine end makes any figure a guess. Rising points are refused too.
    """
    first, last = points[0], points[-1]
    require(
        abs(first.passing_pct) < 1e-9 and abs(last.residue_pct) < 1e-9,
        f"the sieves leave {first.passing_pct:.1f} % below {first.aperture_um:g} µm and "
        f"{last.residue_pct:.1f} % above {last.aperture_um:g} µm: a Sauter mean from the points alone "
        "would be a guess; take it from a fit where that exists",
    )
    steps = [(a, b, a.residue_pct - b.residue_pct) for a, b in pairwise(points)]
    require(all(share >= 0 for _, _, share in steps), "the points rise: no Sauter mean is given")
    return 100 / math.fsum(
        share * math.log(b.aperture_um / a.aperture_um) / (b.aperture_um - a.aperture_um)
        for a, b, share in steps
    )
