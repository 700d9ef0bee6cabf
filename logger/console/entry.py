"""The console's two entry points: drawn, and in lines. Textual is loaded only for the first."""

from __future__ import annotations

import asyncio
import os
import sys
from collections.abc import Mapping
from functools import partial
from pathlib import Path

from logger.console.console import WriteReport
from logger.console.line_mode import LineMode
from logger.console.lines.typed import lines_of
from logger.console.terminal import ENDED_BY_SIGNAL, TerminalGuard, hidden, speaks_utf8, why_not_drawn
from logger.service.client import ServiceClient

GOES_ON = "The service goes on, and so does a run. Start the console again to come back."


def run_console(
    socket_path: Path,
    operator: str | None = None,
    *,
    write_report: WriteReport | None = None,
    lasting: bool = True,
) -> int:
    """Draws the bench until the person leaves; line mode where the terminal cannot be drawn on.

    `lasting` is false where the service ends with the console, as in the demo.
    Returns 0 when left by key, 130 when ended by a signal or a lost terminal.
    """
    interactive = sys.stdin.isatty() and sys.stdout.isatty()
    why = why_not_drawn(os.environ, sys.stdout.encoding, interactive)
    if why:
        greeting = f"{why} The console writes lines instead of drawing."
        return run_text(socket_path, operator, greeting=greeting, lasting=lasting)
    return asyncio.run(_draw(socket_path, operator, write_report, lasting))


async def _draw(
    socket_path: Path, operator: str | None, write_report: WriteReport | None, lasting: bool
) -> int:
    from logger.console.app import ConsoleApp

    app = ConsoleApp(ServiceClient(socket_path), operator, write_report, lasting=lasting)
    loop = asyncio.get_running_loop()
    with TerminalGuard(partial(loop.call_soon_threadsafe, app.action_leave_now)) as guard:
        code = await app.run_async(mouse=False)
        if not guard.ended and lasting:
            print(GOES_ON)
    return ENDED_BY_SIGNAL if guard.ended else code or 0


def run_text(
    socket_path: Path,
    operator: str | None = None,
    *,
    greeting: str = "",
    start: Mapping[str, str] | None = None,
    lasting: bool = True,
) -> int:
    """Writes what happens in plain lines and takes commands a line at a time.

    With `start` (the arguments of the start command) that run is asked for at once, and the line mode
    ends when the run waits for review or is over. Returns 0, 3 when the start was refused, 130 when
    ended by a signal.
    """
    return asyncio.run(_speak(socket_path, operator, greeting, start, lasting))


async def _speak(
    socket_path: Path, operator: str | None, greeting: str, start: Mapping[str, str] | None, lasting: bool
) -> int:
    ascii_only = not speaks_utf8(os.environ, sys.stdout.encoding)
    client, typed = ServiceClient(socket_path), partial(hidden, sys.stdin.fileno())
    mode = LineMode(client, sys.stdout, operator or "", ascii_only=ascii_only, hidden=typed)
    loop = asyncio.get_running_loop()
    with TerminalGuard(partial(loop.call_soon_threadsafe, mode.leave, ENDED_BY_SIGNAL)) as guard:
        if greeting:
            mode.say(greeting)
        code = await mode.run(lines_of(sys.stdin.fileno(), sys.stdin.encoding), start)
        if not guard.ended and lasting:
            mode.say(GOES_ON)
    return code
