"""Reviewing on the screen: what waits, a run's numbers, and a signature whose password is never seen."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from textual.widgets import Input

from logger.app.paths import DataFolder
from tests.console import examples
from tests.console.watching import watching
from tests.kept_history import RUNS, Found, answers, keep_history

pytestmark = pytest.mark.asyncio
PASSWORD = "  Feines Korn "


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str, dict[str, Any]], Found]:
    return answers(keep_history(DataFolder(tmp_path_factory.mktemp("review")), RUNS[:2]))


async def test_a_run_is_looked_at_and_signed_and_the_password_is_not_seen(
    tmp_path: Path, found: Callable[[str, dict[str, Any]], Found]
) -> None:
    replies = iter(
        [(False, "The password of anna is wrong. Try again."), (True, "Run 2: reviewed and accepted.")]
    )
    async with watching(
        tmp_path, examples.idle(), found=found, answer=lambda name, args: next(replies)
    ) as watched:
        await watched.press("g", "r")
        await watched.until_shown("2 shown")
        await watched.press("enter")
        await watched.until_shown("RUN 2 numbers")
        await watched.press("a")
        await watched.until_shown("ACCEPT RUN 2")
        await watched.press(*"anna", "enter", "enter")
        field = watched.app.screen.query_one("#field-password", Input)
        field.value = PASSWORD
        await watched.settle()
        assert PASSWORD.strip() not in watched.text()
        await watched.press("enter")
        await watched.until_shown("The password of anna is wrong")
        assert field.value == "", "a wrong password does not stay"
        field.value = PASSWORD
        await watched.press("enter")
        await watched.until_shown("✓ Run 2: reviewed and accepted.")
        (first, again) = watched.service.commands
        assert first == again
        assert first[0] == "review"
        assert {"do": "accept", "run": "2", "by": "anna", "password": PASSWORD}.items() <= first[1].items()
        assert len(first[1]["seen"]) == 64


async def test_a_rejection_asks_for_its_reason(
    tmp_path: Path, found: Callable[[str, dict[str, Any]], Found]
) -> None:
    async with watching(tmp_path, examples.idle(), found=found) as watched:
        await watched.press("g", "r")
        await watched.until_shown("2 shown")
        await watched.press("down", "enter")
        await watched.until_shown("RUN 1")
        await watched.press("x")
        await watched.until_shown("REJECT RUN 1")
        await watched.press(*"anna", "enter", "enter")
        await watched.app.screen.query_one("#field-password", Input).action_submit()
        await watched.until_shown("reason is needed.")
        assert watched.sent() == []


@pytest.mark.full
async def test_nothing_waits_and_no_answer_are_sentences(tmp_path: Path) -> None:
    empty: Found = (True, "", {"runs": [], "cursor": None})
    async with watching(tmp_path, examples.idle(), found=lambda what, args: empty) as watched:
        await watched.press("g", "r")
        await watched.until_shown("No run waits for a review.")
        await watched.press("enter")
    (tmp_path / "other").mkdir()
    refused = (False, "The store cannot be read.", None)
    async with watching(tmp_path / "other", examples.idle(), found=lambda what, args: refused) as watched:
        await watched.press("g", "r")
        await watched.until_shown("The store cannot be read.")
