from __future__ import annotations

import pytest

from simulators.physics.powder import Bed, BedInputs
from simulators.scenarios import SCENARIOS, Scenario, UnknownScenarioError, find_scenario


def minutes_to_limit(scenario: Scenario, limit_pct_per_min: float) -> tuple[float | None, float]:
    """Effective minutes until the true rate is at the limit, and the residue then in % of the charge."""
    bed = Bed(scenario.powder, scenario.mesh)
    bed.add(100.0)
    for half_s in range(1, 2 * 60 * 30):
        out = bed.update(0.5 * half_s, BedInputs(2500.0, 2500.0))
        if out.rate_g_per_min_nominal <= limit_pct_per_min:
            return half_s / 120.0, out.load_g
    return None, bed.load_g


@pytest.mark.parametrize("name", ["demo-filler", "loading-filter"])
def test_the_demo_is_done_after_eight_to_ten_minutes(name: str) -> None:
    minutes, residue_pct = minutes_to_limit(find_scenario(name), 0.1)
    assert minutes is not None
    assert 8.0 <= minutes <= 10.0
    assert 8.0 < residue_pct < 14.0


@pytest.mark.parametrize("name", sorted(set(SCENARIOS) - {"friable"}))
def test_every_other_powder_is_done_within_twenty_minutes(name: str) -> None:
    minutes, _ = minutes_to_limit(find_scenario(name), 0.1)
    assert minutes is not None
    assert 2.0 < minutes < 20.0


def test_the_friable_one_is_never_done() -> None:
    assert minutes_to_limit(find_scenario("friable"), 0.1)[0] is None


def test_the_tiny_residue_is_tiny_and_the_coarse_one_is_not() -> None:
    assert minutes_to_limit(find_scenario("tiny-residue"), 0.1)[1] < 1.0
    assert minutes_to_limit(find_scenario("coarse"), 0.1)[1] > 40.0


def test_every_scenario_has_both_arrangements() -> None:
    assert len(SCENARIOS) >= 8
    for name in SCENARIOS:
        beside, under = find_scenario(name, "beside"), find_scenario(name, "under")
        assert beside.scale is beside.bench_balance
        assert under.scale is under.platform
        assert under.portion_g >= 50.0
        assert under.scale.dead_load_g + under.sieve_g + under.portion_g < under.scale.capacity_g
        assert beside.sieve_g + beside.portion_g < beside.scale.capacity_g


def test_an_unknown_name_gets_a_sentence_with_the_nearest() -> None:
    with pytest.raises(UnknownScenarioError, match=r"no scenario 'demo-filer'; did you mean demo-filler\?"):
        find_scenario("demo-filer")
    with pytest.raises(UnknownScenarioError, match="There are: demo-filler, "):
        find_scenario("zzzz")
