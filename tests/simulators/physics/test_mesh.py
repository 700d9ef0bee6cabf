from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import lognorm

from simulators.physics.mesh import (
    Mesh,
    class_edges_um,
    ease_of_passing,
    hole_sizes_um,
    log_normal_below,
)

EVEN = Mesh(aperture_um=100.0, aperture_sd_um=1e-9)
SPREAD = Mesh(aperture_um=45.0, aperture_sd_um=2.2)


def test_near_mesh_grains_pass_two_decades_more_slowly() -> None:
    """Relative rates of the square-hole geometry, (1 - d/w)^2, worked by hand."""
    ease = ease_of_passing(np.array([50.0, 80.0, 90.0, 95.0, 100.0, 120.0]), EVEN, 2.0)
    assert ease == pytest.approx([0.25, 0.04, 0.01, 0.0025, 0.0, 0.0], abs=1e-6)


def test_holes_have_the_mean_and_nearly_the_spread_of_the_mesh() -> None:
    size, share = hole_sizes_um(SPREAD)
    assert share.sum() == pytest.approx(1.0)
    assert share @ size == pytest.approx(45.0)
    assert np.sqrt(share @ (size - 45.0) ** 2) == pytest.approx(2.2, rel=0.15)


def test_a_spread_lets_grains_through_that_an_even_mesh_would_keep() -> None:
    ease = ease_of_passing(np.array([47.0, 60.0]), SPREAD, 2.0)
    assert 0 < ease[0] < 1e-3
    assert ease[1] == 0


def test_classes_are_narrow_where_the_mesh_cuts() -> None:
    edges = class_edges_um(SPREAD)
    assert np.all(np.diff(edges) > 0)
    near = np.diff(edges[(edges > 0.75 * 45) & (edges < 1.1 * 45)])
    assert near.max() < 0.02 * 45


@pytest.mark.parametrize("size_um", [0.5, 9.0, 18.0, 45.0, 200.0])
def test_log_normal_agrees_with_scipy(size_um: float) -> None:
    """Computed with SciPy's log-normal."""
    ours = log_normal_below(size_um, 18.0, 2.0)
    assert ours == pytest.approx(lognorm(s=np.log(2.0), scale=18.0).cdf(size_um), abs=1e-12)


def test_log_normal_has_nothing_below_zero_size() -> None:
    assert log_normal_below(0.0, 18.0, 2.0) == 0.0
