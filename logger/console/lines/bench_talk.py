"""The places that show the run of now, in words."""

from __future__ import annotations

from logger.console.lines import run_talk
from logger.console.lines.talk import Talk


async def log(talk: Talk, rest: str) -> None:
    """All events of the run."""
    if talk.snapshot is not None:
        await run_talk.use(talk, "e", "", talk.snapshot)


async def charts(talk: Talk, rest: str) -> None:
    """What the charts would show now: the figures, each beside its limits."""
    if talk.snapshot is not None:
        run_talk.say_moment(talk, talk.snapshot)
