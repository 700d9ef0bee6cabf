"""From the last byte of a line on the port to the decision about it, against the sampling interval.

A writer thread notes when each line went into a pseudo terminal; driver, codec and the live estimator run as in
the service. What is measured is the time until the estimator has taken the reading and said whether to stop.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import threading
import time
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from drivers.instrument import LineInstrument
from drivers.profile import LineProfile
from logger.app.instruments import bench_profiles, to_core
from logger.core.endpoint.estimator import LossRateEstimator
from logger.core.readings import Channel
from logger.core.rig import Rig
from logger.settings import config_dir, load_bench, load_method
from tests.benchmarks.feeder import open_pty

HZ = 20.0
SECONDS = 30.0


def _line(k: int) -> bytes:
    """A load that falls towards its tail, in the streamed balance's dialect."""
    mass_g = 445.0 - 40 * (1 - np.exp(-k / HZ / 60)) + 0.01 * ((k * 7919) % 5)
    number = f"{mass_g:.2f}".replace(".", ",")
    return f"{'g':<2} {number:>10} = {k % 10000:04d}\r".encode()


async def _delays_s(hz: float, seconds: float) -> list[float]:
    bench = load_bench(config_dir() / "benches" / "demo-under.toml")
    profile = bench_profiles(bench)[Channel.MASS]
    assert isinstance(profile, LineProfile)
    profile = replace(profile, period_s=1 / hz)
    method = load_method(config_dir() / "methods" / "filler-45-live.toml")
    estimator = LossRateEstimator(
        method.endpoint, method.suction, method.weighing, Rig(readability_g=0.01), 50.0, 20.0
    )
    master, path = open_pty()
    written: dict[bytes, float] = {}
    delays: list[float] = []
    start = time.monotonic()

    def take(readings: Sequence[object]) -> None:
        for reading in to_core(Channel.MASS, readings):  # type: ignore[arg-type]
            estimator.add(reading.at_ns / 1e9 - start, reading.value, 2500.0, True)
            assert not estimator.stopped
            sent = written.get(reading.raw.encode()[-6:])
            if sent is not None:
                delays.append(time.monotonic() - sent)

    def write() -> None:
        for k in range(int(hz * seconds)):
            time.sleep(max(0.0, start + 0.5 + k / hz - time.monotonic()))
            line = _line(k)
            with contextlib.suppress(BlockingIOError):
                written[line[:-1][-6:]] = time.monotonic()
                os.write(master, line)

    instrument = LineInstrument(
        profile,
        path,
        now_ns=time.monotonic_ns,
        on_readings=take,
        on_link=lambda event: None,
        speed=1.0,
        others=[],
    )
    running = asyncio.create_task(instrument.run())
    feeder = threading.Thread(target=write)
    feeder.start()
    await asyncio.to_thread(feeder.join)
    await asyncio.sleep(0.3)
    running.cancel()
    with contextlib.suppress(asyncio.CancelledError):
        await running
    return delays


def measure(hz: float = HZ, seconds: float = SECONDS) -> dict[str, float]:
    """Quantiles in ms, and the 99th as a share of the sampling interval plus 5 ms."""
    delays_ms = 1000 * np.array(asyncio.run(_delays_s(hz, seconds)))
    assert len(delays_ms) > 0.9 * hz * seconds, "lines were lost on the way"
    allowed_ms = 1000 / hz + 5
    p99_ms = float(np.quantile(delays_ms, 0.99))
    return {"median_ms": float(np.median(delays_ms)), "p99_ms": p99_ms, "ratio": p99_ms / allowed_ms}
