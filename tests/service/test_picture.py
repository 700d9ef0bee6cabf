"""What watchers are shown of the instruments once a run is over: they are read on, and the lid is not called free."""

from __future__ import annotations

import asyncio
from dataclasses import replace

import pytest

from logger.core.method import Endpoint
from logger.core.readings import Channel
from logger.core.run.instruct import LID_CLOSED, LID_UNKNOWN
from logger.service.picture import AFTER_RUN, snapshot
from tests.core.run.plans import interval_method
from tests.service.bench import STARTED, DeskBench

pytestmark = pytest.mark.asyncio


async def _aborted() -> DeskBench:
    bench = DeskBench()
    assert (await bench.service.command("start", "op-7", STARTED)).ok
    assert (await bench.service.command("abort", "op-7", {"reason": "wrong sample"})).ok
    await asyncio.gather(*(task for task in asyncio.all_tasks() if task.get_name() == "finish-run"))
    assert snapshot(bench.service).state == "aborted"
    return bench


@pytest.mark.parametrize(("dp_pa", "lid"), [(2400.0, LID_CLOSED), (-2400.0, LID_CLOSED), (2.0, AFTER_RUN)])
async def test_the_pressure_is_live_after_a_run_and_the_lid_is_left_to_a_look(dp_pa: float, lid: str) -> None:
    bench = await _aborted()
    for _ in range(30):
        bench.second(dp_pa=dp_pa)
    shown = snapshot(bench.service).pressure
    assert (shown.dp_pa, shown.quality, shown.lid) == (dp_pa, "ok", lid)


async def test_after_a_run_a_lost_transducer_makes_the_lid_unknown() -> None:
    bench = await _aborted()
    bench.second(dp_pa=2.0)
    bench.service.on_link(Channel.PRESSURE, "lost", "unplugged")
    assert snapshot(bench.service).pressure.lid == LID_UNKNOWN


@pytest.mark.parametrize(
    ("endpoint", "words"),
    [
        (Endpoint(rule="loss-rate", limit_pct_per_min=0.1), "loss rate 0.1 %/min"),
        (Endpoint(rule="fixed-time", time_s=300.0), "fixed time 300 s"),
        (Endpoint(rule="relative-change", change_pct=0.2), "change 0.2 %"),
        (Endpoint(rule="relative-change", change_g=0.1), "change 0.1 g"),
        (Endpoint(rule="relative-change", change_pct=0.2, change_g=0.1), "change 0.2 % or 0.1 g"),
        (
            Endpoint(rule="relative-change", change_pct=0.2, change_g=0.1, combine="both"),
            "change 0.2 % and 0.1 g",
        ),
    ],
)
async def test_a_method_says_what_ends_a_run(endpoint: Endpoint, words: str) -> None:
    bench = DeskBench()
    bench.service.setup = replace(
        bench.service.setup, methods={"m": replace(interval_method(), endpoint=endpoint)}
    )
    (shown,) = snapshot(bench.service).methods
    assert shown.summary.endswith(f" Pa, {words}")
