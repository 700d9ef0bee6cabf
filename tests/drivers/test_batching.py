"""How long a line may wait for the next, so that both share a wake-up."""

from __future__ import annotations

import dis
import errno
import os
import sys
import threading
import tty
from collections.abc import Sequence
from types import FrameType
from typing import Any

import pytest
import serial
from hypothesis import given
from hypothesis import strategies as st

from drivers.hand_over import MOST_BATCH_BYTES, HandOver, Lane
from drivers.instrument import LinkTiming, batch_wait_s
from drivers.port_io import read_now, wait_ready
from drivers.transport import Chunk, TransportHooks

TIMING = LinkTiming()


@given(st.floats(0.0005, 10.0))
def test_a_line_on_a_steady_beat_waits_no_longer_than_a_period(period_s: float) -> None:
    wait_s = batch_wait_s(period_s, TIMING)
    assert TIMING.least_batch_s <= wait_s <= TIMING.batch_s
    assert wait_s <= max(1.5 * period_s, TIMING.least_batch_s)


def test_a_beat_uneven_by_a_third_still_goes_two_and_two() -> None:
    """20 lines a second: neither the next line (late) makes a batch of its own nor the one after (early) waits."""
    assert 0.05 * 4 / 3 < batch_wait_s(0.05, TIMING) < 2 * 0.05 * 2 / 3 + 0.01


class Port:
    """A lane fed by hand: `at_s` is the time, `woken` the times at which the loop was asked for and delivered."""

    def __init__(self, hand_over: HandOver, batch_s: float = 0.075, line_end: bytes = b"\n") -> None:
        self.at_s = 100.0
        self.woken: list[float] = []
        self.batches: list[list[bytes]] = []
        self.stamps: list[int] = []
        hooks = TransportHooks(self._now_ns, self._take, lambda error: None, batch_s, line_end)
        self.lane = Lane(hooks, lambda: self.at_s)
        self.hand_over = hand_over
        hand_over.add(self.lane)

    def _now_ns(self) -> int:
        return round(self.at_s * 1e9)

    def _take(self, chunks: Sequence[Chunk]) -> None:
        self.batches.append([data for data, _ in chunks])
        self.stamps += [at_ns for _, at_ns in chunks]

    def hear(self, data: bytes, at_s: float) -> None:
        self.at_s = at_s
        if self.lane.put(data) and self.hand_over.ask():
            self.woken.append(at_s)
            self.hand_over.deliver()

    def waits_s(self) -> float:
        """The longest that a line waited, from its stamp to the next wake-up of any port."""
        assert self.woken
        return max(
            min(w for w in self.woken if w > at_ns / 1e9 - 1e-6) - at_ns / 1e9 for at_ns in self.stamps
        )


def test_a_steady_stream_goes_two_and_two() -> None:
    port = Port(HandOver())
    for k in range(21):
        port.hear(b"%d\n" % k, 100 + 0.05 * k)
    assert port.batches[:3] == [[b"0\n"], [b"1\n", b"2\n"], [b"3\n", b"4\n"]]
    assert len(port.woken) == 11
    assert port.waits_s() == pytest.approx(0.05)


@given(st.floats(0.0, 0.05), st.lists(st.floats(-0.005, 0.005), min_size=80, max_size=80))
def test_two_ports_share_wake_ups_and_no_line_waits_longer_than_for_the_next(
    shift_s: float, uneven_s: list[float]
) -> None:
    hand_over = HandOver()
    ports = [Port(hand_over), Port(hand_over)]
    ports[1].woken = ports[0].woken
    arrivals = [(100 + 0.05 * k + which * shift_s, which) for k in range(40) for which in (0, 1)]
    arrivals = sorted((at_s + late, which) for (at_s, which), late in zip(arrivals, uneven_s, strict=True))
    for at_s, which in arrivals:
        for port in ports:
            port.at_s = at_s
        ports[which].hear(b"x\n", at_s)
    hand_over.deliver()
    ports[0].woken.append(arrivals[-1][0])
    for port in ports:
        assert len(port.stamps) == 40
        assert port.stamps == sorted(port.stamps)
        assert port.waits_s() < 0.05 + 2 * 0.005 + 1e-6
    assert len(ports[0].woken) < 40, "as many as one port alone needs without waiting"


def test_a_line_in_pieces_waits_as_a_whole() -> None:
    """An adapter hands on every 16 ms: the end of a line counts, not its pieces."""
    port = Port(HandOver())
    for k in range(10):
        port.hear(b"12.", 100 + 0.05 * k)
        port.hear(b"5\n", 100.016 + 0.05 * k)
    assert port.batches[0] == [b"12.", b"5\n"]
    assert port.batches[1] == [b"12.", b"5\n", b"12.", b"5\n"]
    assert port.waits_s() <= 0.066 + 1e-6


def test_lines_that_end_otherwise_are_handed_on_too() -> None:
    """Another instrument, or noise: nobody would ever hear of it."""
    port = Port(HandOver())
    for k in range(41):
        port.hear(b"x\r", 100 + 0.05 * k)
    assert sum(map(len, port.batches)) >= 36
    assert port.waits_s() <= 0.2 + 1e-6


def test_a_flood_wakes_the_loop_no_more_often_than_allowed() -> None:
    port = Port(HandOver(), batch_s=0.02)
    for k in range(2001):
        port.hear(b"x\n", 100 + k / 2000)
    assert 50 <= len(port.woken) <= 101
    assert sum(map(len, port.batches)) >= 1960


def test_many_bytes_are_due_whatever_the_time() -> None:
    port = Port(HandOver(), batch_s=60.0)
    port.hear(b"x\n", 100.0)
    port.hear(b"y" * MOST_BATCH_BYTES, 100.001)
    assert len(port.woken) == 1
    port.hear(b"y", 100.002)
    assert len(port.woken) == 2


def test_without_a_batch_all_comes_at_once() -> None:
    port = Port(HandOver(), batch_s=0.0, line_end=b"")
    port.hear(b"a", 100.0)
    port.hear(b"b", 100.0001)
    assert port.batches == [[b"a"], [b"b"]]


def test_a_delivery_in_the_middle_of_an_ask_leaves_no_line_waiting() -> None:
    """Between the look at the note and the writing of it, which only a build without the interpreter's lock does."""
    port = Port(HandOver())
    port.lane.put(b"1\n")
    assert port.hand_over.ask()
    port.lane.put(b"2\n")
    loop = threading.Thread(target=port.hand_over.deliver)

    def deliver_now(frame: FrameType, event: str, argument: object) -> Any:
        if frame.f_code.co_name != "ask":
            return None
        frame.f_trace_opcodes = True
        names = {at.offset: at.opname for at in dis.get_instructions(frame.f_code)}
        if event == "opcode" and names[frame.f_lasti] == "STORE_ATTR":
            loop.start()
            loop.join(0.1)
            frame.f_trace_opcodes = False
            return None
        return deliver_now

    before = sys.gettrace()
    sys.settrace(deliver_now)
    try:
        asked = port.hand_over.ask()
    finally:
        sys.settrace(before)
    loop.join()
    port.lane.put(b"3\n")
    if asked or port.hand_over.ask():
        port.hand_over.deliver()
    assert [line for batch in port.batches for line in batch] == [b"1\n", b"2\n", b"3\n"]


def test_a_port_that_was_closed_hears_nothing_more() -> None:
    hand_over = HandOver()
    gone, stays = Port(hand_over), Port(hand_over)
    for port in (gone, stays):
        port.hear(b"1\n", 100.0)
    gone.hear(b"2\n", 100.01)
    hand_over.remove(gone.lane)
    hand_over.remove(gone.lane)
    stays.hear(b"2\n", 101.0)
    assert gone.batches == [[b"1\n"]]
    assert stays.batches == [[b"1\n"], [b"2\n"]]


@pytest.mark.skipif(os.name == "nt", reason="pseudo terminals are POSIX")
def test_what_has_arrived_is_read_at_once_and_a_hang_up_is_an_error() -> None:
    master, slave = os.openpty()
    tty.setraw(slave)
    with serial.Serial(os.ttyname(slave)) as port:
        device = port.fileno()
        assert wait_ready([device], 0.0) == []
        os.write(master, b"abc" * 100)
        assert wait_ready([device], 5.0) == [device]
        assert read_now(device) == b"abc" * 100
        os.close(slave)
        os.close(master)
        assert wait_ready([device], 5.0) == [device]
        with pytest.raises(OSError, match="gone") as caught:
            read_now(device)
    assert caught.value.errno == errno.EIO
