"""The example in docs/uncertainty.md is what the code gives."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from logger.core.assessment import assess
from logger.core.method import Determinations
from logger.core.residue import residue
from logger.core.residue_budget import endpoint_component
from logger.core.sieves import TestSieve
from logger.core.weighing import BalanceSpec
from logger.settings.files import config_dir, load_method

DOC = Path(__file__).resolve().parents[3] / "docs" / "uncertainty.md"


def test_documented_example() -> None:
    shipped = load_method(config_dir() / "methods" / "filler-45-interval.toml")
    method = replace(shipped, determinations=Determinations(count=2, repeatability_limit_pct=0.6))
    balance = BalanceSpec(readability_g=0.001, repeatability_g=0.0008, repeatability_dof=9, linearity_g=0.002)
    sieve = TestSieve(id="S-45-01", aperture_um=45, frame_mm=200, standard="ISO 3310-1:2016")
    found = [
        residue(412.356, 437.360, 415.118, balance),
        residue(412.357, 437.402, 415.209, balance),
    ]
    endpoint = endpoint_component(rate_pct_per_min=0.08, interval_s=120, late_s=10)
    result = assess(found, [endpoint, endpoint], method, balance, sieve)
    assert "\n".join(result.budget.lines) in DOC.read_text(encoding="utf-8")
