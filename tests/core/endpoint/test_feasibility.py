"""Feasibility against figures worked out from the formula by hand (derived; computed here with Python)."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest

from logger.core.endpoint.feasibility import (
    check_feasibility,
    coupling_objection,
    delay_s,
    rate_se_pct_per_min,
    window_needed_s,
)
from logger.core.method import Charge, Endpoint, Method, MethodIdentity, Sieve, Suction, Weighing
from logger.core.rig import Rig

# (charge g, limit, digit g, white g, flicker g, Hz), shortest window s after 30 s and 120 s of rest,
# SE over 120 s after 30 s of rest in units of the limit.
ROWS = [
    ((50, 0.1, 0.001, 0.003, 0.001, 10), 14, 13, 0.05),
    ((20, 0.1, 0.001, 0.003, 0.001, 10), 49, 28, 0.11),
    ((10, 0.1, 0.010, 0.004, 0.001, 10), None, 63, 0.21),
    ((50, 0.1, 0.001, 0.010, 0.006, 5), None, 67, 0.20),
    ((10, 0.05, 0.001, 0.002, 0.001, 10), None, 142, 0.26),
    ((10, 0.1, 0.010, 0.020, 0.005, 10), None, None, 0.39),
]


def rig_of(row: tuple[float, ...]) -> Rig:
    _, _, digit, white, flicker, hz = row
    return Rig(readability_g=digit, white_sd_g=white, flicker_rms_g=flicker, sample_hz=hz)


def method_of(charge: float, limit: float, rest_s: float = 30.0, **weighing: Any) -> Method:
    chosen: dict[str, Any] = {"mode": "live", "rest_s": rest_s, **weighing}
    return Method(
        method=MethodIdentity(id="m", title="t"),
        charge=Charge(mass_g=charge, tolerance_g=0.1),
        sieve=Sieve(aperture_um=45.0),
        suction=Suction(dp_pa=2500.0, band_pa=250.0),
        weighing=Weighing(**chosen),
        endpoint=Endpoint(rule="loss-rate", limit_pct_per_min=limit),
    )


@pytest.mark.parametrize(("row", "after_30", "after_120", "se_x"), ROWS)
def test_window_and_standard_error(
    row: tuple[float, ...], after_30: float | None, after_120: float | None, se_x: float
) -> None:
    charge, limit = row[0], row[1]
    for rest_s, known in ((30.0, after_30), (120.0, after_120)):
        needed = window_needed_s(rig_of(row), charge, limit, 1.25, rest_s)
        assert needed == (None if known is None else pytest.approx(known, rel=0.04))
    assert rate_se_pct_per_min(rig_of(row), charge, limit, 120.0, 30.0) / limit == pytest.approx(
        se_x, abs=0.006
    )


def test_delay_of_accepted_methods() -> None:
    # 450 s, exponent 1.35: 67, 61 and 121 s (by hand).
    delays = [
        check_feasibility(method_of(row[0], row[1]), rig_of(row)).expected_delay_s for row, *_ in ROWS[2:5]
    ]
    assert delays == pytest.approx([67, 61, 121], abs=2.5)
    assert delay_s(1.0) == 0.0


def test_verdicts_of_the_six_rows() -> None:
    found = [check_feasibility(method_of(row[0], row[1]), rig_of(row)) for row, *_ in ROWS]
    assert [f.feasible for f in found] == [True, True, False, False, False, False]
    assert [f.refused for f in found] == [False, False, False, False, False, True]
    assert found[0].remedies == ()
    assert any("a rest of" in remedy for remedy in found[2].remedies)
    assert any("interval mode" in remedy for remedy in found[5].remedies)


def test_refusal_begins_where_half_the_limit_would_be_needed() -> None:
    for share in (0.36, 0.374, 0.376, 0.40):
        drift_only = Rig(readability_g=1e-9, white_sd_g=0.0, flicker_rms_g=0.0, sample_hz=10.0)
        flicker_g = math.sqrt(share**2 - 0.3**2) * 0.1 * 50.0 / 6000.0 * 120.0 / 0.96
        rig = replace(drift_only, flicker_rms_g=flicker_g)
        found = check_feasibility(method_of(50.0, 0.1, 0.0), rig)
        assert found.se_pct_per_min == pytest.approx(share * 0.1, rel=1e-6)
        assert found.refused == (share >= 0.375)


def test_what_is_missing_in_the_rig_file_is_said() -> None:
    found = check_feasibility(method_of(50.0, 0.1), Rig(readability_g=0.001))
    assert len(found.assumptions) == 3


def test_interval_method_needs_its_interval() -> None:
    # sqrt(2) s z 100 / (0.25 limit m0): 10 g and 3 mg need 3.4 min (by hand).
    rig = Rig(readability_g=1e-6, white_sd_g=0.003)
    short = check_feasibility(method_of(10.0, 0.1, mode="interval", interval_s=60.0), rig)
    long = check_feasibility(method_of(10.0, 0.1, mode="interval", interval_s=210.0), rig)
    assert short.window_needed_s == pytest.approx(204, abs=1)
    assert not short.feasible
    assert short.remedies
    assert long.feasible


def test_other_rules_are_always_feasible() -> None:
    method = method_of(10.0, 0.1)
    fixed = replace(method, endpoint=Endpoint(rule="fixed-time", time_s=300.0))
    assert check_feasibility(fixed, Rig(readability_g=1.0)).feasible


@pytest.mark.parametrize(
    ("coupling", "u", "said"),
    [(1.6, 0.0, "more than 1.5"), (0.5, 0.1, "more than a quarter"), (0.5, 0.01, None), (None, None, None)],
)
def test_coupling_that_rules_out_live_weighing(
    coupling: float | None, u: float | None, said: str | None
) -> None:
    rig = Rig(readability_g=0.01, coupling_g_per_kpa=coupling, coupling_u_g_per_kpa=u)
    objection = coupling_objection(method_of(50.0, 0.1), rig, 50.0)
    assert (objection is None) == (said is None)
    assert said is None or (objection is not None and said in objection)


def test_a_charge_of_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match="charge must be above zero"):
        check_feasibility(method_of(50.0, 0.1), Rig(readability_g=0.01), 0.0)
