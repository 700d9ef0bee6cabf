"""Earlier runs of the method behind the run of now, and the remark when it is not like them."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from logger.console.curve import Curve
from logger.console.earlier import LASTS_S, Earlier, EarlierRun, ask_earlier
from logger.core.snapshot import RunView, Snapshot, WeighingView
from logger.service.client import ServiceClient
from tests.console import examples, kept_examples
from tests.console.fake_service import serving
from tests.console.watching import Watching, watching

Found = Callable[[str, dict[str, Any]], tuple[bool, str, Any] | None]
LIKE = tuple(EarlierRun(((0.0, 100.0), (180.0, load), (300.0, load - 1))) for load in (18.0, 19.0, 20.0))


def _run(snapshot: Snapshot) -> RunView:
    assert snapshot.run is not None
    return snapshot.run


async def _asked(folder: Path, run: RunView, found: Found) -> tuple[EarlierRun, ...]:
    async with serving(folder / "bench.sock", examples.idle(), found=found) as service:
        client = ServiceClient(service.path, retry_s=0.02)
        task = asyncio.create_task(client.run())
        try:
            async for watch in client.changes():
                if watch.answering:
                    return await ask_earlier(client, run)
            raise AssertionError
        finally:
            task.cancel()
            await asyncio.gather(task, return_exceptions=True)


@pytest.mark.asyncio
async def test_the_last_five_that_came_to_a_result_are_asked_for(tmp_path: Path) -> None:
    live = await _asked(tmp_path, _run(examples.sieving()), kept_examples.found)
    assert len(live) == 5, "one of the six was aborted"
    assert live[0].load[0][0] == 4.0
    assert all(t0 <= t1 for run in live for (t0, _), (t1, _) in zip(run.load, run.load[1:], strict=False))
    weighed = await _asked(tmp_path, _run(examples.weighing()), kept_examples.found)
    assert [t_s for t_s, _ in weighed[0].load] == [0.0, 60.0, 120.0, 180.0, 240.0, 300.0]
    assert weighed[0].dp


@pytest.mark.asyncio
@pytest.mark.parametrize(
    "change", [{"method_revision": 4}, {"aperture_um": 45.0}], ids=["revision", "aperture"]
)
async def test_what_was_done_otherwise_is_left_out(change: dict[str, Any], tmp_path: Path) -> None:
    run = replace(_run(examples.sieving()), **change)
    assert await _asked(tmp_path, run, kept_examples.found) == ()


@pytest.mark.asyncio
@pytest.mark.parametrize("data", [None, [], {"runs": 7}, {"runs": [7, {}, {"outcome": "endpoint"}]}])
async def test_an_answer_that_is_none_draws_nothing(data: object, tmp_path: Path) -> None:
    run = replace(_run(examples.sieving()), method_revision=3)
    assert await _asked(tmp_path, run, lambda what, args: (True, "", data)) == ()
    odd = {
        "record": {"aperture_um": 32.0},
        "curves": {"loads": [[[1.0, None], ["x", 2], [3.0, 4.0]], 5], "pressures": 1},
    }
    rows = {"runs": [{"outcome": "endpoint", "method_revision": 3, "run_id": "a"}]}
    answers = {"runs": rows, "run": odd}
    found = await _asked(tmp_path, run, lambda what, args: (True, "", answers[what]))
    assert found == (EarlierRun(((3.0, 4.0),)),)


def _live(load_pct: float, effective_s: float) -> tuple[Snapshot, Curve]:
    snapshot = examples.sieving()
    run = replace(_run(snapshot), effective_s=effective_s)
    return replace(snapshot, run=run), Curve.of([(effective_s, load_pct)])


def test_a_live_load_must_stay_outside_before_a_word_is_said() -> None:
    earlier = Earlier(_run(examples.sieving()).run_id, LIKE)
    for load_pct, effective_s, said in (
        (30.0, 180.0, ""),
        (30.0, 180.0 + LASTS_S - 1, ""),
        (
            30.0,
            180.0 + LASTS_S,
            "slower than the last 3 runs of this method: load 30.0 %, theirs 17.9 to 20.0 %",
        ),
        (20.0, 200.0, ""),
        (30.0, 201.0, ""),
        (12.0, 230.0, "faster than the last 3 runs"),
    ):
        earlier.judge(*_live(load_pct, effective_s))
        assert earlier.remark.startswith(said), effective_s
        assert bool(earlier.remark) == bool(said), effective_s


def test_a_weighing_speaks_at_once_and_a_result_silences() -> None:
    snapshot = examples.weighing()
    run = replace(_run(snapshot), weighings=(WeighingView(effective_s=180.0, load_g=6.0, load_pct=30.0),))
    earlier = Earlier(run.run_id, LIKE)
    earlier.judge(replace(snapshot, run=run), Curve())
    assert earlier.remark.startswith("slower than the last 3 runs of this method: load 30.0 %")
    earlier.judge(replace(snapshot, run=replace(run, result=_run(examples.finished()).result)), Curve())
    assert earlier.remark == ""


def test_out_of_its_band_or_of_another_run_nothing_is_compared() -> None:
    earlier = Earlier(_run(examples.sieving()).run_id, LIKE)
    snapshot, curve = _live(60.0, 180.0)
    for other in (
        replace(snapshot, pressure=replace(snapshot.pressure, in_band=False)),
        replace(snapshot, state="held"),
        replace(snapshot, run=replace(_run(snapshot), run_id="other")),
        replace(snapshot, run=None),
    ):
        for _ in range(3):
            earlier.judge(other, curve)
        assert earlier.remark == ""


@pytest.mark.asyncio
@pytest.mark.parametrize("size", [(80, 24), (140, 45)])
async def test_dots_and_the_remark_are_seen(size: tuple[int, int], tmp_path: Path) -> None:
    snapshot = examples.weighing()
    slow = tuple(replace(each, load_pct=min(100.0, each.load_pct + 30)) for each in _run(snapshot).weighings)
    odd = replace(snapshot, run=replace(_run(snapshot), weighings=slow))
    async with watching(tmp_path, odd, size, found=kept_examples.found) as watched:
        await watched.until_shown("◆ slower than the last 5 runs of this method: load 54.3 %, theirs 20.")
        await watched.press("g", "v")
        await watched.until_shown("dots: last 5 runs")
        for title in ("LOAD % over effective", "RATE %/min over effective", "PRESSURE Pa over elapsed"):
            await watched.press("v")
            await watched.until(partial(_alone, watched, title))
            assert watched.text().count("·") > 20, title
        assert [q[0] for q in watched.service.questions].count("run") == 5, "asked once a run"


def _alone(watched: Watching, title: str) -> bool:
    return watched.text().count(" over ") == 1 and title in watched.text()
