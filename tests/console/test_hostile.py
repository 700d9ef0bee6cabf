"""Whatever a scanner, an instrument or a person sends is shown literally, on every screen."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from textual.events import Paste
from textual.widgets import Input

from logger.console.literal import literal
from logger.core.snapshot import Snapshot
from tests.console import examples
from tests.console.test_screens import assert_nothing_cut
from tests.console.watching import Watching, watching

pytestmark = pytest.mark.asyncio
SOME = [
    text if number % 4 == 0 else pytest.param(text, marks=pytest.mark.full)
    for number, text in enumerate(examples.HOSTILE)
]
"""All of them are on every screen in `test_every_screen`."""
EVERYTHING = ("start", "acknowledge", "type_weight", "hold", "stop", "abort", "note", "take_controls")


def _hostile(text: str) -> Snapshot:
    return replace(examples.hostile(text), can=EVERYTHING)


@pytest.mark.parametrize("size", [(80, 24), pytest.param((140, 45), marks=pytest.mark.full), (20, 5)])
@pytest.mark.parametrize("text", examples.HOSTILE, ids=range(len(examples.HOSTILE)))
async def test_hostile_texts_on_the_bench(text: str, size: tuple[int, int], tmp_path: Path) -> None:
    async with watching(tmp_path, _hostile(text), size) as watched:
        await assert_nothing_cut(watched)
        seen = watched.text()
        assert not any(
            (ord(char) < 32 and char != "\n") or char in "\x7f\x85\u202e\u2066\u200b" for char in seen
        )
        if size != (20, 5):
            first_words = literal(text, 400)[:12].split()[0]
            assert first_words in seen
        assert watched.app.return_value is None, "no action link was taken"


@pytest.mark.parametrize("text", SOME, ids=range(len(SOME)))
async def test_hostile_texts_are_shown_and_come_back_as_answers(text: str, tmp_path: Path) -> None:
    shown = literal(text, 400)[:10].split()[0]
    async with watching(tmp_path, _hostile(text), answer=lambda name, args: (False, text)) as watched:
        for key in ("e", "n", "c", "k"):
            await watched.press(key)
            await watched.until_shown(shown)
            await watched.press("escape")
            await watched.until(lambda: watched.app.screen.id == "bench")
        await watched.press("t")
        await watched.until_shown(f"✗ NOT DONE: {shown}")
        await watched.press("h", *"x", "enter")
        await watched.until_shown(f"✗ {shown}")


async def test_typed_brackets_stay_text(tmp_path: Path) -> None:
    async with watching(tmp_path, examples.idle()) as watched:
        await watched.press("n")
        await watched.until_shown("NEW RUN")
        await watched.press("left_square_bracket", "slash", "ctrl+s")
        await watched.until(lambda: watched.sent())
        assert watched.sent()[0][1]["sample_id"] == "[/"


async def _paste(watched: Watching, text: str) -> None:
    await watched.until(lambda: watched.app.focused)
    assert watched.app.focused is not None
    watched.app.focused.post_message(Paste(text))
    await watched.settle()


async def test_a_scanner_gone_wild_is_not_taken(tmp_path: Path) -> None:
    async with watching(tmp_path, examples.idle()) as watched:
        await watched.press("n")
        await _paste(watched, "9" * 10_000)
        await watched.until_shown("✗ Longer than 120 characters, and was not taken.")
        await watched.press("ctrl+s")
        await watched.until_shown("✗ sample is needed.")
        assert watched.sent() == []


@pytest.mark.parametrize("text", ["AB\x1b[2J", "AB\u202eCD", "AB\x1dCD", "A\u200bB", "A\nB"])
async def test_what_cannot_be_seen_is_not_taken(text: str, tmp_path: Path) -> None:
    async with watching(tmp_path, examples.idle()) as watched:
        await watched.press("n")
        await _paste(watched, text)
        await watched.until_shown("✗ It held characters that cannot be shown, and was not taken.")
        await _paste(watched, "[/bold]")
        await watched.until_shown("[/bold]")
        assert watched.app.screen.query_one("#field-sample_id", Input).value == "[/bold]"


async def test_a_pasted_line_end_is_enter(tmp_path: Path) -> None:
    async with watching(tmp_path, examples.idle()) as watched:
        await watched.press("n")
        await _paste(watched, "MILL-2-0417\r\n")
        await watched.until(lambda: watched.app.focused and watched.app.focused.id == "field-operator_id")
        assert watched.app.screen.query_one("#field-sample_id", Input).value == "MILL-2-0417"
