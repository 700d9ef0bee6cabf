"""Whatever a scanner, an instrument or a person sends is shown literally, on every screen."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from textual.events import Paste

from logger.console.literal import literal
from logger.core.snapshot import Snapshot
from tests.console import examples
from tests.console.test_screens import assert_nothing_cut
from tests.console.watching import watching

pytestmark = pytest.mark.asyncio
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


@pytest.mark.parametrize("text", examples.HOSTILE, ids=range(len(examples.HOSTILE)))
async def test_hostile_texts_on_the_other_screens(text: str, tmp_path: Path) -> None:
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


async def test_a_pasted_escape_sequence_stays_text(tmp_path: Path) -> None:
    """A scanner may send anything that a label holds; it reaches the service as it was typed."""
    async with watching(tmp_path, examples.idle()) as watched:
        await watched.press("n")
        await watched.until_shown("NEW RUN")
        await watched.press("left_square_bracket", "slash", "ctrl+s")
        await watched.until(lambda: watched.sent())
        assert watched.sent()[0][1]["sample_id"] == "[/"


async def test_a_very_long_scan_is_limited(tmp_path: Path) -> None:
    async with watching(tmp_path, examples.idle()) as watched:
        await watched.press("n")
        await watched.until(lambda: watched.app.focused)
        assert watched.app.focused is not None
        watched.app.focused.post_message(Paste("9" * 10_000 + "\x1b[2J"))
        await watched.press("ctrl+s")
        await watched.until(lambda: watched.sent())
        assert watched.sent()[0][1]["sample_id"] == "9" * 120
