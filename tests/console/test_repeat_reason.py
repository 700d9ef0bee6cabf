"""A sample that was out of specification: the console asks why it is tested again, and starts with the reason."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from logger.core.run.repeats import NEEDS_REASON
from tests.console import examples
from tests.console.watching import watching

pytestmark = pytest.mark.asyncio
REFUSED = f"This sample is out of specification (run 2: 4.80 %): {NEEDS_REASON}, which is kept."


def answer(name: str, args: dict[str, Any]) -> tuple[bool, str]:
    return (True, "Run 3 is planned.") if args.get("repeat_reason") else (False, REFUSED)


async def test_the_reason_is_asked_for_and_sent_with_the_same_values(tmp_path: Path) -> None:
    async with watching(tmp_path, examples.idle(), answer=answer) as watched:
        await watched.press("enter")
        await watched.until_shown("NEW RUN")
        await watched.press(*"S-1", "ctrl+s")
        await watched.until_shown("TESTED AGAIN")
        await watched.until_shown("out of specification (run 2: 4.80 %)")
        await watched.press(*"wet", "enter")
        await watched.until(lambda: len(watched.sent()) == 2)
        first, again = (args for _, args in watched.sent())
        assert again == first | {"repeat_reason": "wet"}
        await watched.until(lambda: watched.app.screen.id == "bench")


@pytest.mark.full
async def test_without_a_reason_nothing_starts_and_what_was_typed_stays(tmp_path: Path) -> None:
    async with watching(tmp_path, examples.idle(), answer=answer) as watched:
        await watched.press("enter")
        await watched.until_shown("NEW RUN")
        await watched.press(*"S-1", "ctrl+s")
        await watched.until_shown("TESTED AGAIN")
        await watched.press("escape")
        await watched.until_shown("✗ This sample is out of specification")
        assert len(watched.sent()) == 1
