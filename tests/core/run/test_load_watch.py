"""A load that no sieving explains is told from one that sieving does explain, at every stage of a run."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest

from logger.core.run.load_watch import LoadFinding, LoadWatch

CHARGE_G = 25.0


def tail_g(t_s: float) -> float:
    """A quick start, then a tail that falls as a power of time."""
    return 1.0 + 18.0 * math.exp(-t_s / 40.0) + 6.0 * math.pow(1 + t_s / 60.0, -0.8)


def findings(load_g: Callable[[float], float], until_s: float, noise_g: float = 0.01) -> list[LoadFinding]:
    subject, rng, found = LoadWatch(CHARGE_G, 0.05), np.random.default_rng(7), []
    for count in range(round(until_s * 10)):
        t_s = count / 10
        reading_g = load_g(t_s) + noise_g * float(rng.standard_normal())
        for one in (subject.impossible(t_s, reading_g), subject.step(t_s, reading_g)):
            if one is not None:
                found.append(one)
    return found


@pytest.mark.parametrize("noise_g", [0.001, 0.05, 0.2])
def test_powder_that_passes_is_never_a_finding(noise_g: float) -> None:
    assert findings(tail_g, 400, noise_g) == []


@pytest.mark.parametrize("at_s", [15.0, 60.0, 300.0])
@pytest.mark.parametrize("spilt_g", [2.0, 6.0])
def test_a_spill_is_a_loss_of_about_its_size(at_s: float, spilt_g: float) -> None:
    (found, *_) = findings(lambda t_s: tail_g(t_s) - (spilt_g if t_s > at_s else 0.0), at_s + 8)
    assert found.kind == "loss"
    assert found.step_g == pytest.approx(-spilt_g, abs=0.5)


def test_a_knock_with_a_shift_is_no_loss() -> None:
    def knocked(t_s: float) -> float:
        return tail_g(t_s) - (3.0 if t_s > 100 else 0.0) + 20.0 * math.exp(-((t_s - 101) ** 2) / 0.3)

    assert {found.kind for found in findings(knocked, 110)} == {"knock"}


def test_a_knock_that_leaves_nothing_is_no_finding() -> None:
    assert findings(lambda t_s: tail_g(t_s) + 20.0 * math.exp(-((t_s - 101) ** 2) / 0.1), 120) == []


def test_what_was_put_on_is_a_gain() -> None:
    assert {found.kind for found in findings(lambda t_s: tail_g(t_s) + (4.0 if t_s > 50 else 0.0), 58)} == {
        "gain"
    }


def test_a_tared_platform_is_impossible_within_four_seconds() -> None:
    first = findings(lambda t_s: tail_g(t_s) - (400.0 if t_s > 5 else 0.0), 9)[0]
    assert first.kind == "impossible"
    assert first.step_g < -300


def test_after_a_change_of_pressure_a_new_level_is_learned() -> None:
    subject = LoadWatch(CHARGE_G, 0.05)
    for count in range(300):
        t_s, load_g = count / 10, 10.0 - (3.0 if count >= 150 else 0.0)
        if count == 150:
            subject.forget()
        assert subject.step(t_s, load_g) is None


def test_a_small_rise_is_told_though_a_fall_of_its_size_would_not_be() -> None:
    """Sieving never adds mass: 1.5 g on a charge of 25 g is a knock that stayed."""
    found = findings(lambda t_s: tail_g(t_s) + (1.5 if t_s > 150 else 0.0), 200.0)
    assert [one.kind for one in found] == ["gain"]
    assert found[0].step_g == pytest.approx(1.5, abs=0.2)
