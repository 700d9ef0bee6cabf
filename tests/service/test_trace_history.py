"""The trace that a late watcher is sent."""

from __future__ import annotations

from logger.core.readings import Channel, Quality, Reading
from logger.service.client import History, _history
from logger.service.history import MOST_POINTS, TraceHistory


def _reading(channel: Channel, at_s: float, value: float) -> Reading:
    return Reading(
        channel=channel, at_ns=round(at_s * 1e9), value=value, quality=Quality.OK, stable=True, raw=""
    )


def test_what_is_sent_is_what_the_console_reads() -> None:
    history = TraceHistory()
    history.add(_reading(Channel.PRESSURE, 9.9, 2500.0))
    history.add(_reading(Channel.MASS, 10.0, 462.0))
    history.estimate = (49.5, 1.23456, 0.1)
    history.add(_reading(Channel.MASS, 10.1, 999.0))
    history.add(_reading(Channel.MASS, 10.5, 461.0))
    sent = history.columns(10_000_000_000, 412.0)
    read = History((0.0, 0.5), (50.0, 49.0), (2500.0, 2500.0), (None, 49.5), (None, 1.2346), (None, 0.1))
    assert _history(sent) == read
    del sent["rate_pct_per_min"]
    assert _history(sent).rate == (None, None), "a service of an earlier version sends none"


def test_a_hello_that_is_no_table_is_taken_as_no_history() -> None:
    for data in (None, 7, {"t_s": 3}, {"t_s": [1.0], "mass_g": [], "dp_pa": []}):
        assert _history(data) == History()


def test_it_stays_bounded() -> None:
    history = TraceHistory()
    for number in range(3 * MOST_POINTS):
        history.add(_reading(Channel.MASS, number * 0.3, 1.0))
    assert MOST_POINTS / 2 <= len(history.columns(0, 0.0)["t_s"]) <= MOST_POINTS
