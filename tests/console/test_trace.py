"""The curves behind the charts: bounded, of one run only, no spike lost."""

from __future__ import annotations

from dataclasses import replace

import pytest

from logger.console.curve import MOST, Curve
from logger.console.trace import MARKS_MOST, Trace
from logger.core.snapshot import EventView, RateView, Snapshot
from logger.service.client import History
from tests.console import examples


def _at(elapsed_s: float | None, load_g: float = 25.06, run_id: str = "a") -> Snapshot:
    snapshot = examples.sieving()
    assert snapshot.run is not None
    load_pct = 100 * load_g / 50.12
    run = replace(snapshot.run, elapsed_s=elapsed_s, load_pct=load_pct, run_id=run_id)
    return replace(snapshot, run=run)


def test_the_history_comes_first_in_percent_of_the_charge() -> None:
    trace = Trace()
    trace.take(
        _at(3.0, 20.048),
        History(
            (-1.0, 1.0, 2.0),
            (50.2, 26.0, None),
            (0.0, 2000.0, None),
            (50.12, 25.06, None),
            (None, 9.0, None),
            (None,) * 3,
        ),
    )
    assert trace.load.t_s == [1.0, 3.0]
    assert trace.load.low == pytest.approx([50.0, 40.0])
    assert trace.load.joined == [False, False], "a reading was missing in between"
    assert trace.dp.high == [2000.0, 2483.0]
    assert trace.rate.low == [9.0, 0.84]
    assert trace.band.t_s == [3.0]
    assert (trace.band.low[0], trace.band.high[0]) == pytest.approx((0.78, 0.90))


def test_the_same_moment_is_taken_once_and_time_never_falls() -> None:
    trace, history = Trace(), History()
    for elapsed_s in (1.0, 1.0, 2.0, 1.5, 3.0):
        trace.take(_at(elapsed_s), history)
    assert trace.load.t_s == [1.0, 2.0, 3.0]


def test_another_run_starts_anew_without_the_old_history() -> None:
    trace, history = Trace(), History((1.0,), (50.0,), (1.0,), (50.0,), (None,), (None,))
    trace.take(_at(2.0), history)
    assert trace.marks
    trace.take(replace(_at(0.5, run_id="b"), events=()), history)
    assert trace.load.t_s == [0.5]
    assert not trace.marks
    trace.take(replace(_at(1.0), run=None), history)
    assert trace.load.t_s == []


def test_nothing_before_the_suction_is_on_and_nothing_after_the_result() -> None:
    trace = Trace()
    trace.take(_at(None), History())
    assert trace.load.t_s == []
    finished = examples.finished()
    trace.take(finished, History())
    assert trace.dp.t_s == []


def test_marks_are_kept_when_the_log_moves_on_and_stay_bounded() -> None:
    trace, history = Trace(), History()
    note = EventView(seq=1, utc="", kind="noted", level="info", text="", mark="tapped", elapsed_s=5.0)
    for seq in range(3 * MARKS_MOST):
        trace.take(replace(_at(seq + 1.0), events=(replace(note, seq=seq),)), history)
    assert len(trace.marks) == MARKS_MOST
    assert 0 in trace.marks
    silent = replace(note, mark="", seq=99_999)
    trace.take(replace(_at(9_999.0), events=(silent,)), history)
    assert 99_999 not in trace.marks


def test_an_interval_run_has_no_live_load() -> None:
    trace = Trace()
    trace.take(replace(examples.weighing()), History())
    assert trace.load.t_s == []
    assert trace.rate.t_s == []
    assert trace.dp.t_s == [402.0]


def test_a_rate_that_is_missing_leaves_a_gap() -> None:
    trace, history = Trace(), History()
    for t_s, rate in ((1.0, 5.0), (2.0, None), (3.0, 4.0)):
        snapshot = _at(t_s)
        assert snapshot.run is not None
        view: RateView = replace(snapshot.run.rate, rate_pct_per_min=rate)
        trace.take(replace(snapshot, run=replace(snapshot.run, rate=view)), history)
    assert trace.rate.t_s == [1.0, 3.0]
    assert trace.rate.joined == [False, False]


def test_a_long_curve_is_bounded_keeps_both_ends_and_every_spike() -> None:
    curve = Curve()
    for step in range(50_000):
        curve.add(step / 4, 99.0 if step == 31_234 else 10.0 + (step % 2))
        assert len(curve.t_s) <= MOST
    assert len(curve.t_s) > MOST / 3
    assert curve.t_s[0] == 0.0
    assert curve.t_s[-1] > 12_450
    assert curve.t_s == sorted(curve.t_s)
    assert max(curve.high) == 99.0
    assert max(curve.low) <= 11.0
    assert all(curve.joined[1:])
    gaps = [after - before for before, after in zip(curve.t_s, curve.t_s[1:], strict=False)]
    assert max(gaps) < 6 * 12_500 / MOST
