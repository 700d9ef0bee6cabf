"""The test sieve: holes of several sizes, and how easily a grain finds its way through them.

A sphere falls through a square hole when it meets it away from the wires: the chance goes with
(1 - d/w)^2 (Gaudin's geometry, from memory of the textbooks), so that the last near-mesh grains pass
hundreds of times slower than the fines. A real mesh has a spread of hole sizes, so that a long run
sieves on its largest holes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

HOLES = 15
HOLES_REACH_SD = 2.5
"""The mesh is inspected: holes much larger than this are cause for rejecting a sieve."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mesh:
    """Mean aperture and standard deviation of single apertures in µm."""

    aperture_um: float
    aperture_sd_um: float


def hole_sizes_um(mesh: Mesh) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Hole sizes and the share of holes that have them (sums to 1)."""
    z = np.linspace(-HOLES_REACH_SD, HOLES_REACH_SD, HOLES)
    share = np.exp(-0.5 * z * z)
    return mesh.aperture_um + mesh.aperture_sd_um * z, share / share.sum()


def ease_of_passing(size_um: NDArray[np.float64], mesh: Mesh, exponent: float) -> NDArray[np.float64]:
    """For each grain size: passing rate as a share of that of dust, 0 for grains above the largest hole."""
    holes, share = hole_sizes_um(mesh)
    clearance = np.clip(1.0 - size_um[:, None] / holes[None, :], 0.0, None)
    return np.asarray((clearance**exponent) @ share)


def class_edges_um(mesh: Mesh) -> NDArray[np.float64]:
    """Edges of the size classes, narrow where the mesh cuts."""
    w = mesh.aperture_um
    top = w + (HOLES_REACH_SD + 0.1) * mesh.aperture_sd_um
    fines = np.geomspace(0.01 * w, 0.5 * w, 11)
    near = np.linspace(0.5 * w, top, 41)[1:]
    coarse = np.geomspace(top, 12.0 * w, 7)[1:]
    return np.concatenate((np.array([0.0]), fines, near, coarse))


def log_normal_below(size_um: float, d50_um: float, sigma_g: float) -> float:
    """Share of the mass finer than `size_um`; `sigma_g` is d84/d50 (DIN 66144)."""
    if size_um <= 0:
        return 0.0
    return 0.5 * (1.0 + math.erf(math.log(size_um / d50_um) / math.log(sigma_g) / math.sqrt(2.0)))
