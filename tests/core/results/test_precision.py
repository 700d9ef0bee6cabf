"""Precision studies and outlier tests."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest
import scipy.stats.tests
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from logger.core.outliers import cochran, cochran_critical, grubbs, grubbs_critical
from logger.core.precision import material_precision, precision_study, spread
from logger.core.refusal import ResultError

ANOVA = Path(scipy.stats.tests.__path__[0]) / "data" / "nist_anova"


def nist(name: str, shift: str = "0") -> list[list[float]]:
    groups: dict[str, list[float]] = {}
    for line in (ANOVA / f"{name}.dat").read_text().splitlines()[60:]:
        if line.strip():
            group, value = line.split()
            groups.setdefault(group, []).append(float(Decimal(value) - Decimal(shift)))
    return list(groups.values())


@pytest.mark.parametrize(
    ("name", "shift", "between", "within", "f", "digits"),
    [  # NIST StRD analysis of variance, certified values; data read from SciPy's copies.
        ("SiRstv", "0", 1.27865654e-02, 1.0831828e-02, 1.18046237440255, 1e-10),
        ("AtmWtAg", "0", 3.63834187500000e-09, 2.28155932971014e-10, 15.9467335677930, 1e-8),
        # 13 leading digits alike: exact when the common part is taken off before it becomes a float,
        # and as good as the floats themselves (0.0001 in 0.1) when it is not.
        ("SmLs07", "1000000000000", 0.21, 0.01, 21.0, 1e-12),
        ("SmLs07", "0", 0.21, 0.01, 21.0, 3e-3),
    ],
)
def test_nist_analysis_of_variance(
    name: str, shift: str, between: float, within: float, f: float, digits: float
) -> None:
    found = spread(nist(name, shift))
    assert found.f == pytest.approx(f, rel=digits)
    assert found.between == pytest.approx(between, rel=digits)
    assert found.within == pytest.approx(within, rel=digits)


@settings(deadline=None, max_examples=50)
@given(st.lists(st.lists(st.floats(0, 100), min_size=2, max_size=5), min_size=2, max_size=6))
def test_spread_against_scipy(groups: list[list[float]]) -> None:
    found = spread(groups)
    if found.within > 1e-6:
        assert found.f == pytest.approx(float(stats.f_oneway(*groups).statistic), rel=1e-6, abs=1e-9)


@pytest.mark.parametrize(
    ("groups", "count", "at_5", "at_1"),
    # ISO 5725-2, table 4 (from memory): Cochran's critical values.
    [(5, 2, 0.841, 0.928), (8, 3, 0.516, 0.615), (10, 2, 0.602, 0.718), (3, 4, 0.798, 0.883)],
)
def test_cochran_critical_values(groups: int, count: int, at_5: float, at_1: float) -> None:
    assert cochran_critical(0.05, count, groups) == pytest.approx(at_5, abs=1.1e-3)
    assert cochran_critical(0.01, count, groups) == pytest.approx(at_1, abs=1.1e-3)


@pytest.mark.parametrize(
    ("groups", "at_5", "at_1"),
    # ISO 5725-2, table 5 (from memory): Grubbs' critical values for one mean.
    [(3, 1.155, 1.155), (5, 1.715, 1.764), (8, 2.126, 2.274), (10, 2.290, 2.482)],
)
def test_grubbs_critical_values(groups: int, at_5: float, at_1: float) -> None:
    assert grubbs_critical(0.05, groups) == pytest.approx(at_5, abs=1.1e-3)
    assert grubbs_critical(0.01, groups) == pytest.approx(at_1, abs=1.1e-3)


def test_critical_values_hold_their_level_by_simulation() -> None:
    rng = np.random.default_rng(9)
    draws = rng.standard_normal((20_000, 6))
    distance = np.abs(draws - draws.mean(axis=1, keepdims=True)).max(axis=1) / draws.std(axis=1, ddof=1)
    assert float(np.mean(distance > grubbs_critical(0.05, 6))) == pytest.approx(0.05, abs=0.006)
    variances = rng.chisquare(2, (20_000, 6))
    shares = variances.max(axis=1) / variances.sum(axis=1)
    assert float(np.mean(shares > cochran_critical(0.05, 3, 6))) == pytest.approx(0.05, abs=0.006)


@pytest.mark.parametrize("groups", range(5, 21))
def test_two_at_one_end_hold_their_level_by_simulation(groups: int) -> None:
    rng = np.random.default_rng(groups)
    draws = np.sort(rng.standard_normal((100_000, groups)), axis=1)
    rest = draws[:, :-2]
    ratio = rest.var(axis=1) * (groups - 2) / (draws.var(axis=1) * groups)
    limits = grubbs(list(np.linspace(1, 2, groups)))[1]
    assert float(np.mean(ratio < limits.critical_5)) == pytest.approx(0.025, abs=0.0025)
    assert float(np.mean(ratio < limits.critical_1)) == pytest.approx(0.005, abs=0.0012)


def test_a_straggler_is_less_than_an_outlier() -> None:
    # Critical for five means: 1.715 at 5 % and 1.764 at 1 %; this one lies at 1.74.
    straggler = grubbs([0.0, 0.1, -0.1, 0.16, 1.0])[0]
    assert 1.715 < straggler.statistic < 1.764
    assert straggler.mark == "straggler"
    found = cochran([1.0, 1.0, 1.0, 1.0, 25.0], 2)
    assert found is not None
    assert found.mark == "straggler"  # 25 / 29 = 0.862 between 0.841 and 0.928


def test_two_that_mask_each_other_are_found_together() -> None:
    tests = {t.name: t for t in grubbs([3.00, 3.02, 2.99, 3.01, 3.00, 3.02, 3.60, 3.61])}
    assert tests["Grubbs, one"].mark == "none"
    assert tests["Grubbs, two highest"].mark == "outlier"
    assert tests["Grubbs, two highest"].indices == (6, 7)
    assert tests["Grubbs, two lowest"].mark == "none"


def test_one_wild_variance_and_one_wild_mean() -> None:
    found = cochran([0.01, 0.012, 0.009, 0.011, 0.35], 3)
    assert found is not None
    assert (found.mark, found.indices) == ("outlier", (4,))
    one = grubbs([3.00, 3.02, 2.99, 3.01, 4.00])[0]
    assert (one.mark, one.indices) == ("outlier", (4,))


def test_worked_study_of_three_operators() -> None:
    # By hand: cell means 3.1, 3.3, 3.5; within mean square 0.02; between 2 x 0.08 / 2 = 0.08;
    # s_L^2 = (0.08 - 0.02) / 2 = 0.03; s_R^2 = 0.05.
    found = material_precision("filler", {"A": [3.0, 3.2], "B": [3.2, 3.4], "C": [3.4, 3.6]})
    assert found.mean_pct == pytest.approx(3.3)
    assert found.s_r_pct == pytest.approx(0.02**0.5)
    assert found.s_between_pct == pytest.approx(0.03**0.5)
    assert found.s_big_r_pct == pytest.approx(0.05**0.5)
    assert found.r_pct == pytest.approx(2.8 * 0.02**0.5)
    assert found.big_r_pct == pytest.approx(2.8 * 0.05**0.5)
    assert not found.between_negative
    assert found.text == "filler: r = 0.40 %, R = 0.63 % from 3 groups"


def test_study_finds_the_precision_it_was_made_from() -> None:
    rng = np.random.default_rng(4)
    groups = {
        f"op{i}": list(5 + 0.3 * rng.standard_normal() + 0.2 * rng.standard_normal(4)) for i in range(400)
    }
    found = spread(list(groups.values()))
    assert found.within**0.5 == pytest.approx(0.2, rel=0.05)
    assert ((found.between - found.within) / found.mean_count) ** 0.5 == pytest.approx(0.3, rel=0.1)


def test_negative_between_variance_counts_as_zero_and_is_said() -> None:
    found = material_precision("m", {"A": [3.0, 3.4], "B": [3.1, 3.3]})
    assert found.between_negative
    assert found.s_big_r_pct == found.s_r_pct


def test_unequal_cells_and_several_materials() -> None:
    found = precision_study(
        {"coarse": {"A": [9.0, 9.2, 9.1], "B": [9.4, 9.5]}, "fine": {"A": [1.0, 1.1], "B": [1.0, 1.2]}}
    )
    assert [m.material for m in found] == ["fine", "coarse"]
    assert found[1].values == 5


def test_marked_values_are_named_not_removed() -> None:
    cells = {"A": [3.0, 3.01], "B": [3.0, 3.02], "C": [3.01, 3.0], "D": [3.02, 3.0], "E": [2.6, 3.6]}
    assert (
        "E outlier by Cochran; E outlier by Grubbs, one; nothing was removed"
        in material_precision("m", cells).text
    )


@pytest.mark.parametrize(
    ("groups", "words"),
    [
        ({"A": [1.0, 2.0]}, "two or more groups"),
        ({"A": [1.0], "B": [2.0]}, "two or more values in at least one group"),
        ({"A": [1.0, 2.0], "B": []}, "without values"),
        ({"A": [1.0, 2.0], "B": [float("nan"), 1.0]}, "value 1 of B is not a number"),
    ],
)
def test_studies_that_show_nothing_are_refused(groups: dict[str, list[float]], words: str) -> None:
    with pytest.raises(ResultError, match=words):
        material_precision("m", groups)
