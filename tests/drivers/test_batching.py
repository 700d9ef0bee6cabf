"""How long a line may wait for the next, so that both share a wake-up."""

from __future__ import annotations

import os
import tty

import pytest
import serial
from hypothesis import given
from hypothesis import strategies as st

from drivers.instrument import LinkTiming, batch_wait_s
from drivers.port_lock import read_now

TIMING = LinkTiming()


@given(st.floats(0.0005, 10.0))
def test_a_line_on_a_steady_beat_waits_no_longer_than_a_period(period_s: float) -> None:
    wait_s = batch_wait_s(period_s, TIMING)
    assert TIMING.least_batch_s <= wait_s <= TIMING.batch_s
    assert wait_s <= max(1.5 * period_s, TIMING.least_batch_s)


def test_a_beat_uneven_by_a_third_still_goes_two_and_two() -> None:
    """20 lines a second: neither the next line (late) makes a batch of its own nor the one after (early) waits."""
    assert 0.05 * 4 / 3 < batch_wait_s(0.05, TIMING) < 2 * 0.05 * 2 / 3 + 0.01


@pytest.mark.skipif(os.name == "nt", reason="pseudo terminals are POSIX")
def test_what_has_arrived_is_read_without_waiting_and_nothing_is_no_error() -> None:
    master, slave = os.openpty()
    tty.setraw(slave)
    with serial.Serial(os.ttyname(slave), timeout=5.0) as port:
        assert read_now(port) == b""
        os.write(master, b"abc" * 100)
        assert port.read(1) + read_now(port) == b"abc" * 100
        os.close(slave)
        os.close(master)
        assert read_now(port) == b"", "a hang-up is for the waiting read to report"
        with pytest.raises(serial.SerialException):
            port.read(1)
