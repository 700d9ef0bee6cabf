"""The study command on a small case: the estimator beside simple rules, with the rig's own truth."""

from __future__ import annotations

import io

import pytest

from logger.app.study import Case, judge_case, study_command


def test_table_has_every_rule_and_scenario() -> None:
    out = io.StringIO()
    assert study_command(["easy"], seeds=1, troubles=["none"], jobs=1, out=out) == 0
    lines = out.getvalue().splitlines()
    for start in ("| estimator | 1 |", "| slope 60 s | 1 |", "| once a minute | 1 |", "| fixed 300 s | 1 |"):
        assert any(line.startswith(start) for line in lines)
    assert any(line.startswith("| easy | 1 |") for line in lines)


@pytest.mark.parametrize("trouble", ["bump", "sag", "dropout"])
def test_estimator_is_not_early_on_the_virtual_rig(trouble: str) -> None:
    judged = judge_case(Case("easy", trouble, 5))
    stop = judged.stops[0]
    assert judged.crossing_s is not None
    assert stop.rate_x is not None
    assert stop.rate_x < 1.25
    assert stop.delay_s is not None
    assert stop.delay_s < 120


def test_names_that_do_not_exist_are_a_usage_error() -> None:
    err = io.StringIO()
    assert study_command(["easyy"], err=err) == 2
    assert "did you mean easy" in err.getvalue()
    assert study_command(["easy"], troubles=["flood"], err=err) == 2
