"""Questions over a real socket: answered beside the loop, without controls, and refused with a sentence."""

from __future__ import annotations

import asyncio
import contextlib
import threading
import time
from collections.abc import AsyncIterator, Mapping
from pathlib import Path
from typing import Any

import pytest

from logger.core.run.commands import Refused
from logger.service.client import QueryReply, ServiceClient
from logger.service.local_server import MOST_QUESTIONS, LocalServer
from logger.service.queries import ANSWER_LIMIT, Handler, Queries, asked_number, asked_text
from tests.service.bench import DeskBench

WAIT_S = 10.0


@contextlib.asynccontextmanager
async def asking(path: Path, handlers: Mapping[str, Handler]) -> AsyncIterator[ServiceClient]:
    """A client of a real service that answers these questions."""
    server = LocalServer(DeskBench().service, path, Queries(handlers))
    client = ServiceClient(path, retry_s=0.02)
    tasks = [asyncio.create_task(server.run()), asyncio.create_task(client.run())]
    try:
        async with asyncio.timeout(WAIT_S):
            async for watch in client.changes():
                if watch.answering:
                    break
        yield client
    finally:
        for task in reversed(tasks):
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)


@pytest.mark.asyncio
async def test_an_answer_carries_data_and_takes_no_controls(tmp_path: Path) -> None:
    async with asking(tmp_path / "s", {"echo": lambda args: {"got": dict(args)}}) as client:
        reply = await client.query("echo", text="µ \ud800 \u202e", number=3)
        assert reply == QueryReply(True, "", {"got": {"text": "µ \ud800 \u202e", "number": 3}})
        snapshot = client.watch().snapshot
        assert snapshot is not None
        assert snapshot.controls_held_by == ""


@pytest.mark.asyncio
async def test_unknown_refused_broken_and_endless_questions_get_a_sentence(tmp_path: Path) -> None:
    def refuse(args: Mapping[str, Any]) -> Any:
        raise Refused("Not today.")

    def fall(args: Mapping[str, Any]) -> Any:
        raise KeyError("secret")

    handlers: dict[str, Handler] = {"no": refuse, "bug": fall, "long": lambda args: "x" * ANSWER_LIMIT}
    async with asking(tmp_path / "s", handlers) as client:
        told = {name: await client.query(name) for name in ("no", "bug", "long", "drop table \x1b[2J")}
    assert told["no"] == QueryReply(False, "Not today.")
    assert "KeyError" in told["bug"].text
    assert "secret" not in told["bug"].text
    assert "too long" in told["long"].text
    other = told["drop table \x1b[2J"]
    assert (other.ok, other.data) == (False, None)
    assert "bug, long, no" in other.text
    assert "\x1b" not in other.text


@pytest.mark.asyncio
async def test_a_slow_question_delays_no_command_and_only_so_many_wait(tmp_path: Path) -> None:
    release = threading.Event()

    def slow(args: Mapping[str, Any]) -> Any:
        assert release.wait(WAIT_S)
        return "found"

    async with asking(tmp_path / "s", {"slow": slow}) as client:
        asked = [asyncio.create_task(client.query("slow")) for _ in range(MOST_QUESTIONS)]
        await asyncio.sleep(0)
        start_s = time.monotonic()
        command = await client.command("take_controls", name="op-7")
        assert command.ok
        assert "Too many questions" in (await client.query("slow")).text
        assert time.monotonic() - start_s < WAIT_S / 2
        assert not any(task.done() for task in asked)
        release.set()
        assert {reply.data for reply in await asyncio.gather(*asked)} == {"found"}


@pytest.mark.asyncio
async def test_a_question_asked_ahead_is_answered_for_nobody() -> None:
    done = threading.Event()
    queries = Queries({"slow": lambda args: done.set()})
    queries.ask_ahead("slow", {})
    assert await asyncio.to_thread(done.wait, WAIT_S)
    queries.close()


@pytest.mark.asyncio
async def test_lines_that_are_no_question_are_told_so() -> None:
    queries = Queries({"runs": lambda args: 1})
    for what in (None, 3, ["runs"], {"runs": 1}, "", "RUNS"):
        answer = await queries.answer({"what": what})
        assert not answer.ok
        assert "there are: runs" in answer.text
    queries.close()


@pytest.mark.parametrize("value", [None, 3, ["a"], "x" * 65, "a\x1bb", "\ud800"])
def test_a_text_must_be_a_short_text(value: object) -> None:
    with pytest.raises(Refused, match="method id"):
        asked_text({"method_id": value}, "method_id")


@pytest.mark.parametrize("value", [None, True, 1.5, "7", 0, 101])
def test_a_number_must_be_within_its_bounds(value: object) -> None:
    with pytest.raises(Refused, match="limit must be a whole number from 1 to 100"):
        asked_number({"limit": value}, "limit", 20, 1, 100)
