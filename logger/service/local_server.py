"""The local socket: consoles attach here, on this machine only, in a folder no one else can enter.

JSON lines. To a watcher: hello (with the trace so far), then whole snapshots, at once when something
happened and at most four times a second otherwise, and replies. From a watcher: commands, and questions
(`query`) whose replies carry data and may come later than those of commands sent after them. A slow watcher
is dropped; a reading never is.
"""

from __future__ import annotations

import asyncio
import contextlib
import itertools
import json
import logging
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from logger.core.run.commands import Refused, Reply
from logger.core.snapshot_json import snapshot_to_json
from logger.core.text import clean_text
from logger.service.bench_service import BenchService
from logger.service.local_socket import serve_local
from logger.service.office import COMMANDS as OFFICE_COMMANDS
from logger.service.picture import snapshot
from logger.service.queries import Answer, Queries

_LOG = logging.getLogger("lastgrain.service")
PROTOCOL = 1
COMMAND_LIMIT = 64 * 1024
LEAST_GAP_S = 0.03
USUAL_GAP_S = 0.25
MOST_WATCHERS = 16
MOST_QUESTIONS = 4
"""Questions of one watcher that may wait for their answers."""
BACKLOG_LIMIT = 8 * 1024 * 1024
"""A watcher that has not read this much is gone or stuck."""


class LocalServer:
    """Serves one bench on its local socket."""

    def __init__(self, service: BenchService, path: Path, queries: Queries | None = None) -> None:
        """Without `queries` every question is refused."""
        self._service, self._path = service, path
        self._queries = queries or Queries({})
        self._watchers: dict[str, Watcher] = {}
        self._watched = asyncio.Event()
        self._numbers = itertools.count(1)
        self._handlers: set[asyncio.Task[None]] = set()

    async def run(self) -> None:
        """Serves until cancelled; removes the socket at the end."""
        server = await serve_local(self._attend, self._path, COMMAND_LIMIT)
        try:
            await self._broadcast()
        finally:
            server.close()
            for handler in self._handlers:
                handler.cancel()
            await asyncio.gather(*self._handlers, return_exceptions=True)
            self._queries.close()
            self._path.unlink(missing_ok=True)

    async def _broadcast(self) -> None:
        changed = self._service.changed
        while True:
            await self._watched.wait()
            # Not wait_for: in Python 3.11 it swallows a cancellation that meets the event.
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(USUAL_GAP_S):
                    await changed.wait()
            changed.clear()
            self._send_all()
            # Many events in one instant make one picture.
            await asyncio.sleep(LEAST_GAP_S)

    def _send_all(self) -> None:
        for watcher in list(self._watchers.values()):
            watcher.send_snapshot()

    async def _attend(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        if task is not None:
            self._handlers.add(task)
        watcher = Watcher(f"c{next(self._numbers)}", self._service, writer)
        try:
            if len(self._watchers) < MOST_WATCHERS:
                self._watchers[watcher.name] = watcher
                self._watched.set()
                await self._talk(watcher, reader)
        except (ConnectionError, ValueError, asyncio.CancelledError):
            # The end of the service cancels this task, whose end nobody awaits but a callback that would log it.
            pass
        finally:
            self._leave(watcher)
            if task is not None:
                self._handlers.discard(task)

    async def _talk(self, watcher: Watcher, reader: asyncio.StreamReader) -> None:
        watcher.send_hello()
        watcher.send_snapshot()
        while line := await reader.readline():
            await self._serve(watcher, line)

    def _leave(self, watcher: Watcher) -> None:
        self._watchers.pop(watcher.name, None)
        if not self._watchers:
            self._watched.clear()
        if self._service.controls_held_by == watcher.holder_name:
            self._service.controls_held_by = ""
            self._service.changed.set()
        watcher.close()

    async def _serve(self, watcher: Watcher, line: bytes) -> None:
        message = _parse(line)
        if message is None:
            watcher.send_reply(None, Reply(False, "That line is no command."))
            return
        if message.get("do") == "query":
            watcher.ask(message, self._queries)
            return
        try:
            reply = await self._command(watcher, message)
        except Exception as error:
            # A wish that nobody thought of costs an answer, not the console's connection.
            _LOG.exception("a command could not be carried out")
            reply = Reply(False, f"The service could not do it ({type(error).__name__}); its log says more.")
        watcher.send_snapshot()
        watcher.send_reply(message.get("id"), reply)

    async def _command(self, watcher: Watcher, message: Mapping[str, Any]) -> Reply:
        name, args = message.get("do"), message.get("args", {})
        if not isinstance(name, str) or not isinstance(args, dict):
            return Reply(False, "That line is no command.")
        service = self._service
        if name == "take_controls":
            return self._take(watcher, args)
        if name == "release_controls":
            watcher.release()
            return Reply(True, "Controls released.")
        if name in ("register", *OFFICE_COMMANDS):
            # An entry moves no run and carries the name of who makes it: controls stay where they are.
            return await service.command(name, watcher.person, args)
        if service.controls_held_by not in ("", watcher.holder_name):
            return Reply(False, f"{service.controls_held_by} holds the controls: take them first.")
        if not watcher.holder_name:
            self._take(watcher, {"name": args.get("operator_id") or args.get("name") or ""})
        service.controls_held_by = watcher.holder_name
        return await service.command(name, watcher.person, args)

    def _take(self, watcher: Watcher, args: Mapping[str, Any]) -> Reply:
        try:
            person = clean_text("name", args.get("name", ""), longest=64) or "someone at the bench"
        except Refused as refusal:
            return Reply(False, str(refusal))
        watcher.take(person)
        self._service.changed.set()
        return Reply(True, f"{person} holds the controls.")


class Watcher:
    """One attached console."""

    def __init__(self, name: str, service: BenchService, writer: asyncio.StreamWriter) -> None:
        self.name = name
        self.person = ""
        self._service, self._writer = service, writer
        self._count = itertools.count(1)
        self._questions: set[asyncio.Task[None]] = set()

    @property
    def holder_name(self) -> str:
        """How this watcher appears as holder of the controls; empty before it ever took them."""
        return f"{self.person} ({self.name})" if self.person else ""

    def take(self, person: str) -> None:
        """Hold the controls under this name, whoever held them before."""
        self.person = person
        self._service.controls_held_by = self.holder_name

    def release(self) -> None:
        """Let go of the controls, if this watcher holds them."""
        if self._service.controls_held_by == self.holder_name:
            self._service.controls_held_by = ""
        self._service.changed.set()

    def send_hello(self) -> None:
        """Protocol, software and the trace so far."""
        service = self._service
        zero_ns, tare_g = service.clock.now_ns(), 0.0
        if service.engine is not None:
            facts = service.engine.run.facts
            zero_ns, tare_g = facts.suction_start_ns or zero_ns, facts.tare_g or 0.0
        history = service.history.columns(zero_ns, tare_g)
        self._send(
            {"type": "hello", "protocol": PROTOCOL, "software": service.setup.software, "history": history}
        )

    def send_snapshot(self) -> None:
        """The picture of this moment."""
        data = snapshot_to_json(snapshot(self._service, self.holder_name))
        self._send({"type": "snapshot", "n": next(self._count), "data": data})

    def send_reply(self, number: object, reply: Reply) -> None:
        """The answer to one command."""
        self._send({"type": "reply", "id": number, "ok": reply.ok, "text": reply.text})

    def ask(self, message: Mapping[str, Any], queries: Queries) -> None:
        """Have a question answered, without waiting: a key pressed meanwhile must not wait either."""
        number, args = message.get("id"), message.get("args", {})
        if not isinstance(args, dict):
            self.send_answer(number, Answer(False, "That line is no question."))
        elif len(self._questions) >= MOST_QUESTIONS:
            self.send_answer(number, Answer(False, "Too many questions at a time: wait for an answer."))
        else:
            task = asyncio.create_task(self._answer(number, args, queries))
            self._questions.add(task)
            task.add_done_callback(self._questions.discard)

    async def _answer(self, number: object, args: Mapping[str, Any], queries: Queries) -> None:
        self.send_answer(number, await queries.answer(args))

    def send_answer(self, number: object, answer: Answer) -> None:
        """The answer to one question. Its data is JSON text already, made on the thread that found it."""
        head = json.dumps({"type": "reply", "id": number, "ok": answer.ok, "text": answer.text})
        self._send_line(f'{head[:-1]}, "data": {answer.data}}}')

    def close(self) -> None:
        """Drop the connection."""
        for task in self._questions:
            task.cancel()
        self._writer.close()

    def _send(self, message: dict[str, Any]) -> None:
        self._send_line(json.dumps(message))

    def _send_line(self, line: str) -> None:
        if self._writer.transport.get_write_buffer_size() > BACKLOG_LIMIT:
            self._writer.transport.abort()
        elif not self._writer.is_closing():
            self._writer.write(line.encode() + b"\n")


def _parse(line: bytes) -> dict[str, Any] | None:
    try:
        message = json.loads(line)
    except (ValueError, RecursionError):
        return None
    return message if isinstance(message, dict) else None
