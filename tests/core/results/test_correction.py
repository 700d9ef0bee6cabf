"""Correction for the sieve with a reference powder."""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.core.correction import CorrectionFactor, correct, correct_raw, factor_drift
from logger.core.refusal import ResultError
from logger.core.residue import residue
from logger.core.rounding import rounded_text
from logger.core.weighing import BalanceSpec

BENCH = BalanceSpec(readability_g=0.001, repeatability_g=0.0008)


def factor(certified: float, found: float, **more: Any) -> CorrectionFactor:
    values: dict[str, Any] = {
        "sieve_id": "S-45-01",
        "certified_pct": certified,
        "certified_u_pct": 0.3,
        "found_pct": found,
        "found_u_pct": 0.25,
        "checked_on": date(2026, 1, 12),
        "certificate": "RP-7",
    }
    return CorrectionFactor(**(values | more))


def test_astm_c430_example() -> None:
    # ASTM C430: certified 0.122 g, found 0.093 g on 1 g; C = +31.18 % (from memory, recomputed).
    check = factor(12.2, 9.3)
    assert check.correction_pct == pytest.approx(31.1828, abs=5e-5)
    assert check.factor == pytest.approx(1 + check.correction_pct / 100, rel=1e-15)
    # Residue 0.088 g on 1 g: Rc = 11.5441 %; with C printed as +31.2 it is 11.5456, both 11.5 and 88.5.
    done = correct_raw(8.8, 0.25, check)
    assert done.residue_pct == pytest.approx(11.5441, abs=5e-5)
    with_printed_c = 8.8 * (100 + round(check.correction_pct, 1)) / 100
    assert with_printed_c == pytest.approx(11.5456, abs=5e-5)
    assert rounded_text(done.residue_pct, 1) == "11.5"
    assert rounded_text(done.passing_pct, 1) == "88.5"
    # Standard uncertainties 0.3, 0.25 and 0.25: u = 0.533 (computed).
    assert done.residue_u_pct == pytest.approx(0.533, abs=5e-4)


def test_en_196_6_example() -> None:
    # EN 196-6: F = R0 / RP, R = F (R1 + R2) / 2 (from memory): 4.9 / 4.6, 3.1 and 3.4 give 3.46, so 3.5 %.
    check = factor(4.9, 4.6)
    assert check.factor == pytest.approx(1.0652, abs=5e-5)
    done = correct_raw((3.1 + 3.4) / 2, 0.1, check)
    assert done.residue_pct == pytest.approx(3.46, abs=5e-3)
    assert rounded_text(done.residue_pct, 1) == "3.5"


@settings(deadline=None)
@given(st.floats(0.5, 40), st.floats(0.5, 40), st.floats(0.0, 20))
def test_percentage_and_factor_are_one_number(certified: float, found: float, raw: float) -> None:
    check = factor(certified, found)
    if raw * check.factor <= 100:
        by_percentage = raw * (100 + check.correction_pct) / 100
        assert correct_raw(raw, 0.1, check).residue_pct == pytest.approx(by_percentage, rel=1e-12)


def test_uncertainty_by_monte_carlo() -> None:
    rng = np.random.default_rng(2)
    c, f, r = (m + u * rng.standard_normal(400_000) for m, u in ((12.2, 0.1), (9.3, 0.1), (8.8, 0.1)))
    check = factor(12.2, 9.3, certified_u_pct=0.1, found_u_pct=0.1)
    assert correct_raw(8.8, 0.1, check).residue_u_pct == pytest.approx(float(np.std(r * c / f)), rel=0.01)


def test_raw_and_corrected_are_both_kept_and_never_corrected_twice() -> None:
    raw = residue(412.356, 437.360, 413.118, BENCH)
    done = correct(raw, factor(4.9, 4.6), "S-45-01")
    assert done.raw_pct == raw.residue_pct
    assert done.residue_pct == pytest.approx(raw.residue_pct * 4.9 / 4.6)
    with pytest.raises(ResultError, match="corrected for its sieve already"):
        correct(done, factor(4.9, 4.6), "S-45-01")


def test_a_factor_of_another_sieve_is_refused() -> None:
    raw = residue(412.356, 437.360, 413.118, BENCH)
    with pytest.raises(ResultError, match="belongs to sieve S-45-01, the run used sieve S-45-02"):
        correct(raw, factor(4.9, 4.6), "S-45-02")


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"found_pct": 0.0}, "no factor can be formed"),
        ({"checked_on": None}, "has no date"),
        ({"certificate": " "}, "names no certificate"),
        ({"certified_pct": 0.0}, "certified residue must be"),
        ({"sieve_id": ""}, "belongs to one sieve"),
        ({"found_u_pct": -0.1}, "found_u_pct must not be negative"),
    ],
)
def test_factors_that_cannot_be_stood_behind(more: dict[str, Any], words: str) -> None:
    with pytest.raises(ResultError, match=words):
        factor(4.9, 4.6, **more)


def test_a_corrected_residue_above_100_is_refused() -> None:
    with pytest.raises(ResultError, match="does not fit this powder"):
        correct_raw(90.0, 0.1, factor(12.2, 9.3))


def test_drift_within_and_beyond_its_uncertainty() -> None:
    first = factor(12.2, 12.0, found_u_pct=0.1)
    near = factor(12.2, 11.9, found_u_pct=0.1, checked_on=date(2026, 7, 12))
    far = factor(12.2, 11.2, found_u_pct=0.1, checked_on=date(2027, 1, 12))
    still = factor_drift([near, first])
    moved = factor_drift([far, first, near])
    assert still is not None
    assert moved is not None
    assert not still.significant
    assert still.trend_pct_per_year is None
    assert moved.significant
    assert moved.change_pct == pytest.approx(100 * np.log(12.0 / 11.2))
    # The same certificate: its error is common to both checks and does not count.
    assert moved.change_u_pct == pytest.approx(100 * np.hypot(0.1 / 12.0, 0.1 / 11.2))
    assert moved.trend_pct_per_year == pytest.approx(6.9, abs=0.6)
    assert moved.text == (
        "factor 1.0893 on 2027-01-12 against 1.0167 on 2026-01-12: +6.9 % with a standard uncertainty of "
        "1.2 %, the sieve has changed (apertures have grown or torn): inspect it and decide on its further use"
    )
    shrunk = factor_drift([first, factor(12.2, 13.0, found_u_pct=0.1, checked_on=date(2027, 1, 12))])
    assert shrunk is not None
    assert "clogged or narrowed" in shrunk.text
    assert factor_drift([first]) is None


def test_a_new_certificate_counts_in_the_drift() -> None:
    first = factor(12.2, 12.0, found_u_pct=0.1)
    other = factor(11.4, 11.2, found_u_pct=0.1, checked_on=date(2027, 1, 12), certificate="RP-8")
    found = factor_drift([first, other])
    assert found is not None
    assert found.change_u_pct > 100 * np.hypot(0.1 / 12.0, 0.1 / 11.2)


def test_drift_never_mixes_sieves() -> None:
    with pytest.raises(ResultError, match="one sieve's checks"):
        factor_drift([factor(4.9, 4.6), factor(4.9, 4.6, sieve_id="S-45-02")])
