"""Questions to the installed service on real ports, while a run is open and after it was aborted."""

from __future__ import annotations

from pathlib import Path

import pytest

from logger.store.run_index import index_path
from tests.system.real_bench import START, real_bench

pytestmark = [pytest.mark.asyncio, pytest.mark.full]


async def test_the_history_answers_during_a_run_and_after_it(tmp_path: Path) -> None:
    async with real_bench(tmp_path, speed=30.0) as bench:
        ask = bench.client.query
        assert (await ask("runs")).data == {"runs": [], "cursor": None}
        await bench.do("start", **START)
        await bench.operate("sieving")
        (open_run,) = (await ask("runs", text="s-1", outcome="open")).data["runs"]
        answer = await ask("run", which=str(open_run["number"]))
        assert (answer.ok, answer.data["record"]) == (True, None)
        assert any(event["text"] == "Suction seen on." for event in answer.data["events"])
        await bench.do("abort", reason="enough seen")
        await bench.until(lambda p: "start" in p.can)
        (kept,) = (await ask("runs", outcome="aborted")).data["runs"]
        answer = await ask("run", which=kept["run_id"])
        assert answer.data["record"]["reason"] == "enough seen"
        assert sum(map(len, answer.data["curves"]["pressures"])) > 5
        assert (await ask("control")).data == {"series": [], "chart": None}
        refused = await ask("everything")
        assert (refused.ok, "control, " in refused.text) == (False, True)
        assert (await bench.client.command("note", kind="other", text="x")).ok is False
    assert index_path(bench.data.store).exists()
