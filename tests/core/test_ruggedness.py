"""Effects of a planned set of runs: known ones come back, small ones are called rugged."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from logger.core.ruggedness import PlannedRun, effects, plan


def made(runs: tuple[PlannedRun, ...], truth: dict[str, float], sd: float, seed: int = 1) -> list[PlannedRun]:
    rng = np.random.default_rng(seed)
    return [
        replace(r, residue_pct=8.0 + sum(truth[f] * v / 2 for f, v in r.levels.items()) + sd * rng.normal())
        for r in runs
    ]


def test_plan_has_all_corners_for_three_factors_and_half_for_five() -> None:
    assert len(plan(["pressure", "charge", "time"])) == 8 + 3
    five = plan(["a", "b", "c", "d", "e"], centre_runs=0)
    assert len(five) == 16
    for factor in "abcde":
        assert sum(run.levels[factor] for run in five) == 0


def test_effects_are_told_with_their_uncertainty() -> None:
    truth = {"pressure": -0.8, "charge": 0.05, "time": -0.3}
    found = {e.factor: e for e in effects(made(plan(list(truth), 5), truth, 0.03), 0.2)}
    for factor, effect in truth.items():
        assert found[factor].effect_pct == pytest.approx(effect, abs=4 * found[factor].effect_u_pct)
    assert [found[f].matters for f in truth] == [True, False, True]
    assert "rugged against charge" in found["charge"].text


def test_noise_that_hides_an_effect_is_said() -> None:
    found = effects(made(plan(["pressure"], 3), {"pressure": 0.0}, 0.5, seed=3), 0.2)
    assert "not told well enough" in found[0].text or found[0].matters


def test_too_few_runs_are_refused() -> None:
    runs = made(plan(["pressure", "charge"]), {"pressure": 0.1, "charge": 0.1}, 0.01)
    with pytest.raises(ValueError, match="too few runs"):
        effects(runs[:2], 0.2)
    with pytest.raises(ValueError, match="one to six"):
        plan([])
