"""Time alone moves a run on only while no reading does; on a loop whose time leaps from timer to timer."""

from __future__ import annotations

import asyncio
from collections.abc import Coroutine
from itertools import pairwise
from typing import Any

import pytest

from logger.app.beat import LONGEST_S, QUIET_S, TICK_S, Beat


class LeapingLoop(asyncio.SelectorEventLoop):
    """Never waits: its time is that of the next timer."""

    def __init__(self) -> None:
        super().__init__()
        self.now_s = 1000.0
        self._look = self._selector.select  # type: ignore[attr-defined]
        self._selector.select = self._leap  # type: ignore[attr-defined]

    def _leap(self, timeout: float | None = None) -> Any:
        self.now_s += timeout or 0.0
        return self._look(0)

    def time(self) -> float:
        return self.now_s


def play(body: Coroutine[Any, Any, None]) -> None:
    with asyncio.Runner(loop_factory=LeapingLoop) as runner:
        runner.run(body)


async def ticks_during(seconds: float, readings_every_s: float | None) -> list[float]:
    """Times of ticks, s from the start, while readings come evenly."""
    loop = asyncio.get_running_loop()
    begun_s, ticks = loop.time(), list[float]()
    beat = Beat(lambda: ticks.append(loop.time() - begun_s))
    running = asyncio.create_task(beat.run())
    while loop.time() - begun_s < seconds:
        await asyncio.sleep(readings_every_s or seconds)
        if readings_every_s:
            beat.moved()
    running.cancel()
    with pytest.raises(asyncio.CancelledError):
        await running
    before = len(ticks)
    beat.moved()  # an instrument that ends later than the clock
    await asyncio.sleep(1.0)
    assert len(ticks) == before, "it beats on after its end"
    return ticks


def test_without_readings_it_ticks_ten_times_a_second() -> None:
    async def body() -> None:
        assert await ticks_during(4.95, None) == pytest.approx([TICK_S * k for k in range(1, 50)], abs=1e-6)

    play(body())


@pytest.mark.parametrize("every_s", [0.01, 0.05, 0.1])
def test_a_stream_is_left_alone_but_for_once_a_second(every_s: float) -> None:
    async def body() -> None:
        ticks = await ticks_during(20.0, every_s)
        gaps = [b - a for a, b in pairwise(ticks)]
        assert max(gaps) <= LONGEST_S + QUIET_S + every_s
        assert min(gaps) >= LONGEST_S - every_s - TICK_S

    play(body())


def test_between_slow_readings_time_speaks() -> None:
    async def body() -> None:
        ticks = await ticks_during(20.0, 0.5)
        gaps = [b - a for a, b in pairwise(ticks)]
        assert max(gaps) <= QUIET_S + TICK_S + 1e-6
        assert len(ticks) > 20 / 0.5 * 2

    play(body())


def test_a_tick_that_fails_ends_it() -> None:
    def fail() -> None:
        raise ZeroDivisionError("a fault inside the service")

    async def body() -> None:
        with pytest.raises(ZeroDivisionError):
            await Beat(fail).run()

    play(body())
