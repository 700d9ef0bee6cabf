"""The console in plain lines: says what happens, takes a command a line. For slow links and screen readers."""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections.abc import Callable, Mapping
from contextlib import AbstractContextManager
from typing import TextIO

from logger.console.earlier import Compared
from logger.console.keys import USES, KeyUse, applies, step
from logger.console.line_report import Reporter, spoken
from logger.console.lines import run_talk
from logger.console.lines.talk import Talk
from logger.console.lines.typed import LeaveError, Lines
from logger.console.literal import literal
from logger.console.places import PLACES, Place, place_called, place_of
from logger.service.client import Reply, ServiceClient

ENTER_AFTER_S = 0.5
FIRST_PICTURE_S = 5.0
OVER = ("awaiting_review", "closed", "aborted", "interrupted", "invalid")
_PLAIN = str.maketrans({"±": "+/-", "µ": "u", "×": "x", "…": "...", "–": "-", "°": "deg"})


class LineMode:
    """One watcher that speaks in lines."""

    def __init__(
        self,
        client: ServiceClient,
        out: TextIO,
        operator: str,
        *,
        ascii_only: bool = False,
        hidden: Callable[[], AbstractContextManager[None]] = contextlib.nullcontext,
    ) -> None:
        """`hidden` keeps what is typed off the screen for as long as it is entered."""
        self._client = client
        self._out = out
        self._ascii = ascii_only
        self._reporter = Reporter()
        self._compared = Compared(client)
        self._asked_at_s = time.monotonic()
        self._asked: object = None
        self._lines: Lines = asyncio.Queue()
        self._answering = asyncio.Event()
        self._talk = Talk(client, self.say, self._next, hidden, operator)
        self._end: asyncio.Future[int] = asyncio.get_running_loop().create_future()

    def say(self, text: str) -> None:
        """Writes a line, in plain letters where the terminal knows no others."""
        shown = spoken(text)
        if self._ascii:
            shown = shown.translate(_PLAIN).encode("ascii", "backslashreplace").decode("ascii")
        try:
            print(shown, file=self._out, flush=True)
        except (OSError, ValueError):
            self.leave(0)

    def leave(self, code: int) -> None:
        """Ends `run` with this exit code."""
        if not self._end.done():
            self._end.set_result(code)

    async def run(self, lines: Lines, start: Mapping[str, str] | None = None) -> int:
        """Until the input ends, the person leaves, or the run that `start` asked for is over."""
        self._lines = lines
        tasks = [
            asyncio.create_task(self._client.run(), name="service client"),
            asyncio.create_task(self._report(start is not None), name="report"),
            asyncio.create_task(self._obey(start), name="obey"),
        ]
        for task in tasks:
            task.add_done_callback(lambda _: self.leave(0))
        await self._end
        for task in tasks:
            task.cancel()
        self._compared.close()
        ended = await asyncio.gather(*tasks, return_exceptions=True)
        for each in ended:
            if isinstance(each, Exception) and not isinstance(each, LeaveError):
                raise each
        return self._end.result()

    async def _report(self, until_over: bool) -> None:
        seen_running = False
        async for watch in self._client.changes():
            for line in self._reporter.take(watch, time.monotonic()):
                self.say(line)
            if watch.snapshot is None or not watch.answering:
                continue
            remark = self._compared.take(watch.snapshot, watch.history)
            if remark:
                self.say(f"This run is {remark}.")
            self._answering.set()
            asked = (watch.snapshot.state, watch.snapshot.instruction.key)
            if asked != self._asked:
                self._asked, self._asked_at_s = asked, time.monotonic()
            over = watch.snapshot.state in OVER
            seen_running = seen_running or (watch.snapshot.run is not None and not over)
            if until_over and seen_running and over:
                self.leave(0)

    async def _obey(self, start: Mapping[str, str] | None) -> None:
        if start is not None:
            await self._start_at_once(start)
        self.say("Type help for the commands. An empty line does what is asked now.")
        with contextlib.suppress(TimeoutError):
            # Lines from a pipe are there before the service has answered.
            async with asyncio.timeout(FIRST_PICTURE_S):
                await self._answering.wait()
        while True:
            await self._do((await self._next()).strip())

    async def _start_at_once(self, start: Mapping[str, str]) -> None:
        await self._answering.wait()
        reply = await self._client.command("start", **start)
        self._talk.answer(reply)
        if not reply.ok:
            self.leave(3)

    async def _next(self) -> str:
        line = await self._lines.get()
        if line is None:
            raise LeaveError
        return line.rstrip("\r\n")

    # what a line does

    async def _do(self, line: str) -> None:
        word, _, rest = line.partition(" ")
        rest = rest.strip()
        use = next((each for each in USES if word.lower() in (each.key, each.word)), None)
        place = _place(line, use, word, rest)
        if not word:
            await self._do_step()
        elif place is not None:
            await place[0].speak(self._talk, place[1])
        elif use is not None:
            await self._use(use, rest)
        else:
            self.say(f"{literal(word, 40)} is no command. Type help for the commands.")

    async def _do_step(self) -> None:
        snapshot = self._talk.snapshot
        now = step(snapshot.can) if snapshot and self._talk.answering else None
        if now is None:
            self.say("Nothing is asked of the keyboard now.")
        elif time.monotonic() - self._asked_at_s < ENTER_AFTER_S:
            self.say("That came before the instruction could be read. Once more, please.")
        elif now[0] in ("accept_weight", "close"):
            await self._talk.command(now[0])
        else:
            await self._use(next(each for each in USES if each.key == now[0]), "")

    async def _use(self, use: KeyUse, rest: str) -> None:
        snapshot = self._talk.snapshot
        if use.key == "q":
            raise LeaveError
        if use.key == "?":
            self._help()
        elif use.key == "g":
            self._say_places()
        elif snapshot is None:
            self._talk.answer(Reply(False, "The service does not answer."))
        elif use.key in "evc" or applies(use, snapshot.can):
            await run_talk.use(self._talk, use.key, rest, snapshot)
        else:
            self.say(f"{use.label} is not possible now.")

    def _say_places(self) -> None:
        for place in PLACES:
            self.say(f"{place.word} or go {place.key}: {place.help}")

    def _help(self) -> None:
        for use in USES:
            words = {"v": "All figures of the moment.", "?": "These lines.", "g": "The places:"}.get(
                use.key, use.help
            )
            self.say(f"{use.word} or {use.key}: {words}")
            if use.key == "g":
                self._say_places()
        self.say("Reasons may follow on the line (hold sieve torn). back leaves a question.")


def _place(line: str, use: KeyUse | None, word: str, rest: str) -> tuple[Place, str] | None:
    """The place that a line goes to, and what follows its name: `go w`, `worklist 3`, `control chart`."""
    if use is not None and use.key == "g" and rest:
        name, _, after = rest.partition(" ")
        found = place_of(name) or place_called(name)
        return None if found is None else (found, after.strip())
    if use is None and (whole := place_called(line)) is not None:
        return whole, ""
    found = place_called(word) if use is None else None
    return None if found is None else (found, rest)
