"""Fitness of a test sieve before a run."""

from __future__ import annotations

from datetime import date

import pytest

from logger.core.refusal import ResultError
from logger.core.sieve_checks import aperture_mismatch, check_due, frame_mismatch, judge_tare
from logger.core.weighing import BalanceSpec

BENCH = BalanceSpec(readability_g=0.01, repeatability_g=0.005)
TODAY = date(2026, 3, 10)


@pytest.mark.parametrize(
    ("tare_g", "verdict"),
    [
        (412.36, "as before"),
        (412.38, "as before"),
        (412.40, "heavier"),
        (412.31, "lighter"),
        (430.00, "another sieve"),
    ],
)
def test_tare_against_the_last_tare(tare_g: float, verdict: str) -> None:
    assert judge_tare(tare_g, 412.36, BENCH).verdict == verdict


def test_tare_sentence_says_what_to_do() -> None:
    assert judge_tare(412.46, 412.36, BENCH).text == (
        "tare 412.46 g, +0.10 g since the last one (chance explains 0.024 g): "
        "meshes may be clogged or the sieve is not clean or not dry: clean it and tare again"
    )
    assert judge_tare(412.46, 412.36, BENCH, allowed_g=0.2).verdict == "as before"


def test_frames() -> None:
    assert frame_mismatch(200.0, 200.0) is None
    mismatch = frame_mismatch(203.0, 200.0)
    assert mismatch is not None
    assert "do not seal with each other" in mismatch
    other = frame_mismatch(76.0, 200.0)
    assert (
        other == "the sieve's frame is 76 mm, the method asks for 200 mm: take a sieve with the right frame"
    )


def test_apertures() -> None:
    assert aperture_mismatch(45.0, (32.0, 45.0)) is None
    assert aperture_mismatch(63.0, (32.0, 45.0)) == (
        "the sieve's aperture is 63 µm, the method asks for 32, 45 µm"
    )


@pytest.mark.parametrize(
    ("runs", "days_ago", "due"), [(10, 10, False), (99, 10, False), (100, 10, True), (10, 365, True)]
)
def test_due_by_runs_and_by_date(runs: int, days_ago: int, due: bool) -> None:
    # Every 100 sievings: EN 196-6 (read second-hand); once a year: common practice.
    last = date.fromordinal(TODAY.toordinal() - days_ago)
    assert check_due(last, runs, TODAY, every_runs=100, every_days=365).due is due


def test_due_texts() -> None:
    found = check_due(date(2026, 3, 1), 30, TODAY, every_runs=100, every_days=5)
    assert found.text == "checked on 2026-03-01, 30 runs since then: 70 runs left, due by days"
    assert check_due(date(2026, 3, 1), 30, TODAY).text == "checked on 2026-03-01, 30 runs since then"
    assert check_due(date(2026, 3, 1), 1, TODAY).text == "checked on 2026-03-01, 1 run since then"
    assert check_due(None, 0, TODAY).due


def test_a_check_in_the_future_is_refused() -> None:
    with pytest.raises(ResultError, match="after today"):
        check_due(date(2026, 3, 11), 0, TODAY)
