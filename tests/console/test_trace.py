"""The columns behind the chart: bounded, of one run only."""

from __future__ import annotations

from dataclasses import replace

from logger.console.trace import MOST_POINTS, Trace
from logger.core.snapshot import Snapshot
from logger.service.client import History
from tests.console import examples


def _at(elapsed_s: float | None, load_pct: float | None = 50.0, run_id: str = "a") -> Snapshot:
    snapshot = examples.sieving()
    assert snapshot.run is not None
    return replace(snapshot, run=replace(snapshot.run, elapsed_s=elapsed_s, load_pct=load_pct, run_id=run_id))


def test_the_history_comes_first_in_percent_of_the_charge() -> None:
    trace = Trace()
    trace.take(_at(3.0, 40.0), History((1.0, 2.0), (25.06, None), (2000.0, None)))
    assert trace.t_s == [1.0, 2.0, 3.0]
    assert trace.load_pct == [50.0, None, 40.0]
    assert trace.dp_pa == [2000.0, None, 2483.0]


def test_the_same_moment_is_taken_once_and_time_never_falls() -> None:
    trace, history = Trace(), History()
    for elapsed_s in (1.0, 1.0, 2.0, 1.5, 3.0):
        trace.take(_at(elapsed_s), history)
    assert trace.t_s == [1.0, 2.0, 3.0]


def test_another_run_starts_anew_without_the_old_history() -> None:
    trace, history = Trace(), History((1.0,), (50.0,), (1.0,))
    trace.take(_at(2.0), history)
    trace.take(_at(0.5, run_id="b"), history)
    assert trace.t_s == [0.5]
    trace.take(replace(_at(1.0), run=None), history)
    assert trace.t_s == []


def test_no_point_before_the_suction_is_on() -> None:
    trace = Trace()
    trace.take(_at(None), History())
    assert trace.t_s == []


def test_a_long_run_is_thinned_and_keeps_both_ends() -> None:
    trace, history = Trace(), History()
    for step in range(20_000):
        trace.take(_at(step / 4, 100 - step / 400), history)
    assert MOST_POINTS / 2 <= len(trace.t_s) <= MOST_POINTS
    assert trace.t_s[0] == 0.0
    assert trace.t_s[-1] > 4990.0
    assert trace.t_s == sorted(trace.t_s)
    steps = [after - before for before, after in zip(trace.t_s, trace.t_s[1:], strict=False)]
    assert max(steps) < 10 * 5000 / MOST_POINTS
