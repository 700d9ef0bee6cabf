"""Reviewing on the screen: what waits, a run's numbers, and a signature whose password is never seen."""

from __future__ import annotations

import copy
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from textual.widgets import Input

from logger.app.paths import DataFolder
from tests.console import examples
from tests.console.watching import Watching, watching
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
        await watched.press(*"anna", "enter")
        field = watched.app.screen.query_one("#field-password", Input)
        field.value = PASSWORD
        await watched.settle()
        assert field.has_focus, "the password is typed right after the id, into a field that shows nothing"
        assert PASSWORD.strip() not in watched.text()
        await watched.press("enter", "enter")
        await watched.until_shown("The password of anna is wrong")
        assert field.value == "", "a wrong password does not stay"
        assert field.has_focus
        field.value = PASSWORD
        await watched.press("enter", "enter")
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
        await watched.press(*"anna", "enter", *"secret", "enter", "enter")
        await watched.until_shown("reason is needed.")
        assert watched.sent() == []


class Elsewhere:
    """The answers of the service, in which run 2 is revised from somewhere else."""

    def __init__(self, found: Callable[[str, dict[str, Any]], Found]) -> None:
        self._found, self.revision, self.review = found, 1, "unreviewed"

    async def revise(self, watched: Watching, revision: int, review: str) -> None:
        """As the service tells it: the picture counts one revision more."""
        self.revision, self.review = revision, review
        shown = watched.service.snapshot
        await watched.service.show(replace(shown, revised=shown.revised + 1))

    def __call__(self, what: str, args: dict[str, Any]) -> Found:
        ok, text, data = copy.deepcopy(self._found(what, args))
        if what == "runs":
            data["runs"] = [
                each for each in data["runs"] if each["number"] == 1 or self.review == "unreviewed"
            ]
        if what == "run" and args["which"] == "2":
            sha256 = f"{self.revision:064}"
            now = {"revision": self.revision, "review": self.review}
            data["run"] |= now
            data["record"] |= {**now, "record_sha256": sha256}
        return ok, text, data


async def test_who_reviews_reads_a_run_again_that_was_corrected_meanwhile(
    tmp_path: Path, found: Callable[[str, dict[str, Any]], Found]
) -> None:
    elsewhere = Elsewhere(found)
    async with watching(tmp_path, examples.idle(), found=elsewhere) as watched:
        await watched.press("g", "r")
        await watched.until_shown("2 shown")
        await watched.press("enter")
        await watched.until_shown("RUN 2 numbers")
        await watched.until_shown("unreviewed; revision 1 of the record")
        await elsewhere.revise(watched, 2, "unreviewed")
        await watched.until_shown("✗ This page is old: the record is now in revision 2, unreviewed.")
        await watched.until_shown("Enter read again")
        await watched.press("a")
        assert "ACCEPT RUN 2" not in watched.words(), "nobody signs what changed under their eyes"
        assert "revision 1 of the record" in watched.words()
        await watched.press("enter")
        await watched.until_shown("revision 2 of the record")
        assert "This page is old" not in watched.words()
        await watched.press("a")
        await watched.until_shown("ACCEPT RUN 2")
        await watched.press(*"anna", "enter", *"secret", "enter", "enter")
        await watched.until(lambda: watched.sent())
        assert watched.sent()[0][1]["seen"] == f"{2:064}", "what is on the screen is what is signed"


async def test_an_own_signature_makes_no_page_old(
    tmp_path: Path, found: Callable[[str, dict[str, Any]], Found]
) -> None:
    elsewhere = Elsewhere(found)

    def sign(name: str, args: dict[str, Any]) -> tuple[bool, str]:
        elsewhere.revision, elsewhere.review = 2, "accepted"
        return True, "Run 2: reviewed and accepted."

    async with watching(tmp_path, examples.idle(), found=elsewhere, answer=sign) as watched:
        await watched.press("g", "r")
        await watched.until_shown("2 shown")
        await watched.press("enter")
        await watched.until_shown("revision 1 of the record")
        await watched.press("a")
        await watched.until_shown("ACCEPT RUN 2")
        await watched.press(*"anna", "enter", *"secret", "enter", "enter")
        await watched.until_shown("✓ Run 2: reviewed and accepted.")
        await watched.until_shown("revision 2 of the record")
        assert "a accept" not in watched.words(), "it is signed"
        await watched.press("a")
        await watched.until_shown("✗ This run waits for no review")
        asked = len(watched.service.questions)
        await elsewhere.revise(watched, 2, "accepted")
        await watched.until(lambda: len(watched.service.questions) > asked)
        await watched.settle()
        assert "This page is old" not in watched.words()


async def test_the_list_of_what_waits_follows_and_the_mark_stays_on_its_run(
    tmp_path: Path, found: Callable[[str, dict[str, Any]], Found]
) -> None:
    elsewhere = Elsewhere(found)
    async with watching(tmp_path, examples.idle(), found=elsewhere) as watched:
        await watched.press("g", "r")
        await watched.until_shown("2 shown")
        await watched.press("down")
        await watched.until_shown("▸ 1 ")
        await elsewhere.revise(watched, 2, "accepted")
        await watched.until_shown("1 shown")
        await watched.until_shown("▸ 1 ")
        await elsewhere.revise(watched, 3, "unreviewed")
        await watched.until_shown("2 shown")
        await watched.until_shown("▸ 1 ")


async def test_an_open_page_of_the_history_follows_by_itself(
    tmp_path: Path, found: Callable[[str, dict[str, Any]], Found]
) -> None:
    elsewhere = Elsewhere(found)
    async with watching(tmp_path, examples.idle(), found=elsewhere) as watched:
        await watched.press("g", "h")
        await watched.until_shown("2 shown")
        await watched.press("enter")
        await watched.until_shown("RUN 2 chart")
        await watched.press("n")
        await watched.until_shown("unreviewed; revision 1 of the record")
        await elsewhere.revise(watched, 2, "rejected")
        await watched.until_shown("✓ Read again: the record is now in revision 2, rejected.")
        await watched.until_shown("rejected; revision 2 of the record")


async def test_what_happened_while_the_service_was_away_is_asked_for(
    tmp_path: Path, found: Callable[[str, dict[str, Any]], Found]
) -> None:
    """A service that was started again counts from nothing."""
    elsewhere = Elsewhere(found)
    async with watching(tmp_path, examples.idle(), found=elsewhere) as watched:
        await watched.press("g", "h")
        await watched.until_shown("2 shown")
        await watched.press("enter")
        await watched.until_shown("RUN 2 chart")
        await watched.press("n")
        await watched.until_shown("revision 1 of the record")
        await watched.service.stop()
        await watched.until(lambda: watched.app.board is not None and not watched.app.board.answering)
        elsewhere.revision, elsewhere.review = 2, "rejected"
        await watched.service.start()
        await watched.until_shown("rejected; revision 2 of the record")


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
