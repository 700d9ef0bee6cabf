"""The client over a real socket: greets, watches, asks, and survives whatever the other end does."""

from __future__ import annotations

import asyncio
import contextlib
import json
import socket
from collections.abc import AsyncIterator, Callable
from pathlib import Path
from typing import Any

import pytest

from logger.service import client as module
from logger.service.client import GONE, ServiceClient, Watch
from tests.console import examples
from tests.console.fake_service import serving

pytestmark = pytest.mark.asyncio


@contextlib.asynccontextmanager
async def attached(path: Path) -> AsyncIterator[ServiceClient]:
    """A running client."""
    client = ServiceClient(path, retry_s=0.02)
    task = asyncio.create_task(client.run())
    try:
        yield client
    finally:
        task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await task


async def _until(client: ServiceClient, condition: Callable[[Watch], object]) -> Watch:
    for _ in range(800):
        if condition(client.watch()):
            return client.watch()
        await asyncio.sleep(0.01)
    raise AssertionError(f"it did not happen: {client.watch()}")


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "bench.sock"


async def test_the_snapshot_arrives_as_it_was(path: Path) -> None:
    history = {"t_s": [0, 0.5], "mass_g": [50.0, None], "dp_pa": [None, 2500]}
    async with serving(path, examples.alarming(), history=history), attached(path) as client:
        watch = await _until(client, lambda watch: watch.answering)
        assert watch.snapshot == examples.alarming()
        assert watch.history.t_s == (0.0, 0.5)
        assert watch.history.mass_g == (50.0, None)
        assert watch.history.dp_pa == (None, 2500.0)
        assert watch.problem == ""


async def test_changes_give_the_newest_and_come_at_least_once_a_second(path: Path) -> None:
    async with serving(path, examples.idle(), heartbeat_s=60.0) as service, attached(path) as client:
        changes = client.changes()
        await _until(client, lambda watch: watch.answering)
        await anext(changes)
        for snapshot in (examples.taring(), examples.sieving(), examples.finished()):
            await service.show(snapshot)
        await _until(client, lambda watch: watch.snapshot == examples.finished())
        assert (await anext(changes)).snapshot == examples.finished()
        async with asyncio.timeout(1.5):
            assert (await anext(changes)).snapshot == examples.finished()


async def test_commands_are_answered_each_with_its_own_reply(path: Path) -> None:
    def answer(name: str, args: dict[str, Any]) -> tuple[bool, str]:
        return (name == "note", f"{name} {args}")

    async with serving(path, examples.idle(), answer=answer) as service, attached(path) as client:
        await _until(client, lambda watch: watch.answering)
        note, stop = await asyncio.gather(
            client.command("note", kind="other", text="\ud800 [/ \u202e"), client.command("stop", reason="x")
        )
        assert note.ok
        assert not stop.ok
        assert stop.text == "stop {'reason': 'x'}"
        assert service.commands[0] == ("note", {"kind": "other", "text": "\ud800 [/ \u202e"})


async def test_without_a_service_nothing_is_sent(path: Path) -> None:
    async with attached(path) as client:
        await _until(client, lambda watch: watch.problem == "no service at this bench's socket")
        reply = await client.command("stop", reason="x")
        assert reply == module.Reply(False, "The service does not answer. Nothing was sent.")


async def test_the_service_goes_before_it_answers(path: Path) -> None:
    async with (
        serving(path, examples.idle(), answer=lambda name, args: None) as service,
        attached(path) as client,
    ):
        await _until(client, lambda watch: watch.answering)
        asked = asyncio.create_task(client.command("stop", reason="x"))
        await _until(client, lambda watch: service.commands)
        await service.stop()
        assert (await asked) == module.Reply(False, GONE)
        watch = await _until(client, lambda watch: not watch.answering)
        assert watch.snapshot == examples.idle(), "the last picture is kept, as old"


async def test_an_answer_that_never_comes(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "REPLY_S", 0.1)
    async with serving(path, examples.idle(), answer=lambda name, args: None), attached(path) as client:
        await _until(client, lambda watch: watch.answering)
        reply = await client.command("stop", reason="x")
        assert not reply.ok
        assert reply.text.startswith("No answer in 0.1 s.")


async def test_too_many_questions_at_once_are_refused(path: Path) -> None:
    async with serving(path, examples.idle(), answer=lambda name, args: None), attached(path) as client:
        await _until(client, lambda watch: watch.answering)
        asked = [asyncio.create_task(client.command("note")) for _ in range(module.MAX_PENDING)]
        await asyncio.sleep(0.05)
        assert (await client.command("note")).text.startswith("Too many commands")
        for task in asked:
            task.cancel()
        await asyncio.gather(*asked, return_exceptions=True)


async def test_it_comes_back_when_the_service_does(path: Path) -> None:
    async with serving(path, examples.idle()) as service, attached(path) as client:
        await _until(client, lambda watch: watch.answering)
        await service.stop()
        await _until(client, lambda watch: not watch.answering)
        async with serving(path, examples.finished()):
            watch = await _until(client, lambda watch: watch.answering)
            await _until(client, lambda watch: watch.snapshot == examples.finished())
            assert watch.problem == ""


async def test_another_protocol_is_refused_with_a_sentence(path: Path) -> None:
    async with serving(path, examples.idle(), protocol=2), attached(path) as client:
        watch = await _until(client, lambda watch: "protocol" in watch.problem)
        assert watch.problem == (
            "the service speaks protocol 2, this console 1: start both from the same version"
        )
        assert watch.snapshot is None


@pytest.mark.parametrize(
    "line",
    [
        b"garbage\n",
        b"\xff\xfe\n",
        b"[1]\n",
        b"[" * 100_000 + b"\n",
        b'{"type":"snapshot","n":1,"data":{}}\n',
        b'{"type":"snapshot","n":1}\n',
        b"x" * (module.LINE_LIMIT + 1000),
    ],
    ids=["garbage", "no-utf8", "list", "deep", "empty-snapshot", "no-data", "too-long"],
)
async def test_nonsense_ends_the_connection_and_a_new_one_is_made(line: bytes, path: Path) -> None:
    async with serving(path, examples.idle()) as service, attached(path) as client:
        await _until(client, lambda watch: watch.answering)
        with contextlib.suppress(OSError):
            await service.send_raw(line)
        watch = await _until(client, lambda watch: not watch.answering)
        assert watch.problem.startswith("the service sent")
        await _until(client, lambda watch: watch.answering)


@pytest.mark.parametrize(
    "message",
    [
        {"type": "news"},
        {"type": "reply", "id": 999, "ok": True},
        {"type": "reply", "id": "x"},
        {"no": "type"},
        {"type": "reply", "id": [1]},
    ],
)
async def test_messages_that_are_for_nobody_are_passed_over(message: dict[str, Any], path: Path) -> None:
    async with serving(path, examples.idle()) as service, attached(path) as client:
        await _until(client, lambda watch: watch.answering)
        await service.send_raw(json.dumps(message).encode() + b"\n")
        await service.show(examples.finished())
        await _until(client, lambda watch: watch.answering and watch.snapshot == examples.finished())


@pytest.mark.parametrize("history", [None, {}, {"t_s": [1], "mass_g": [], "dp_pa": []}, {"t_s": "abc"}, []])
async def test_a_history_that_is_none_is_taken_as_empty(history: Any, path: Path) -> None:
    async with serving(path, examples.idle(), history=history), attached(path) as client:
        watch = await _until(client, lambda watch: watch.answering)
        assert watch.history == module.History()


async def test_a_silent_service_does_not_answer(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The connection stays open; only the age of what was heard shows it."""
    monkeypatch.setattr(module, "SILENT_S", 0.2)
    monkeypatch.setattr(module, "RECONNECT_S", 60.0)
    async with serving(path, examples.idle(), heartbeat_s=60.0), attached(path) as client:
        await _until(client, lambda watch: watch.answering)
        watch = await _until(client, lambda watch: not watch.answering)
        assert watch.age_s is not None
        assert watch.age_s >= 0.2
        assert not (await client.command("stop", reason="x")).ok


async def test_a_stuck_connection_is_made_anew(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "RECONNECT_S", 0.2)
    async with serving(path, examples.idle(), heartbeat_s=60.0) as service, attached(path) as client:
        await _until(client, lambda watch: watch.answering)
        watch = await _until(client, lambda watch: not watch.answering)
        assert watch.problem == "nothing heard for 0.2 s"
        service.heartbeat_s = 0.05
        await _until(client, lambda watch: watch.answering)


async def test_a_socket_that_nobody_serves(path: Path) -> None:
    with socket.socket(socket.AF_UNIX) as stale:
        stale.bind(str(path))
    async with attached(path) as client:
        await _until(client, lambda watch: watch.problem == "no service answers at this bench's socket")


async def test_an_old_picture_is_not_called_current_by_a_greeting(path: Path) -> None:
    """After a reconnect only a snapshot of the new connection counts."""
    async with serving(path, examples.idle()) as service, attached(path) as client:
        await _until(client, lambda watch: watch.answering)
        client._note_loss("gone")
        client._take({"type": "hello", "protocol": 1})
        assert not client.watch().answering
        await service.show(examples.finished())
        await _until(client, lambda watch: watch.answering and watch.snapshot == examples.finished())
