"""A part beside the run that fails is told, started again with growing pauses, and said to work again."""

from __future__ import annotations

import asyncio
import logging
from itertools import pairwise
from pathlib import Path

import pytest

from logger.app.file_watch import watch_files
from logger.app.side_jobs import keep_going
from tests.publish.listener import until

pytestmark = pytest.mark.asyncio


async def test_it_is_started_again_and_each_failure_is_told(caplog: pytest.LogCaptureFixture) -> None:
    starts: list[float] = []
    told: list[tuple[str, str]] = []
    works = asyncio.Event()

    async def part() -> None:
        starts.append(asyncio.get_running_loop().time())
        if len(starts) < 4:
            raise RuntimeError("broken")
        works.set()
        await asyncio.Event().wait()

    with caplog.at_level(logging.ERROR):
        job = asyncio.create_task(
            keep_going("drawer", part, lambda *said: told.append(said), first_wait_s=0.02)
        )
        async with asyncio.timeout(5):
            await works.wait()
            await until(lambda: told[-1] == ("drawer", ""))
        job.cancel()
        await asyncio.wait([job])
    assert job.cancelled()
    pauses = [b - a for a, b in pairwise(starts)]
    assert pauses[0] >= 0.02
    assert pauses[2] > pauses[0], "no tight loop"
    failures = [text for _, text in told if text]
    assert len(failures) == 3
    assert all("RuntimeError" in text and "started again" in text for text in failures)
    assert "broken" in caplog.text


async def test_a_cancelled_part_ends() -> None:
    job = asyncio.create_task(keep_going("p", asyncio.Event().wait, lambda name, text: None))  # type: ignore[arg-type]
    await asyncio.sleep(0)
    job.cancel()
    await asyncio.wait([job])
    assert job.cancelled()


async def test_a_changed_file_is_told_once_and_a_touched_one_not(tmp_path: Path) -> None:
    files = {name: tmp_path / name for name in ("a", "b", "c")}
    for path in files.values():
        path.write_text("as read", encoding="utf-8")
    told: list[str] = []
    job = asyncio.create_task(watch_files(files, told.append, every_s=0.02))
    await asyncio.sleep(0.1)
    files["a"].touch()
    files["b"].write_text("edited", encoding="utf-8")
    files["c"].unlink()
    await asyncio.sleep(0.3)
    files["b"].write_text("edited again", encoding="utf-8")
    await asyncio.sleep(0.2)
    assert not job.done()
    job.cancel()
    await asyncio.wait([job])
    assert sorted(told) == ["b", "c"]
