"""The menu of places, and help on every screen."""

from __future__ import annotations

from pathlib import Path

import pytest

from logger.console.keys import USES
from logger.console.places import PLACES
from logger.console.screens.board_screen import BoardScreen
from tests.console import examples
from tests.console.watching import watching


def test_no_key_opens_two_places_or_hides_a_key_of_the_menu() -> None:
    keys = [place.key for place in PLACES]
    assert len(set(keys)) == len(keys)
    assert all(len(key) == 1 and key == key.lower() for key in keys)
    assert not set(keys) & set("q?")
    assert len({place.label for place in PLACES}) == len(PLACES)
    assert all(len(place.help) <= 54 for place in PLACES), "a place is one row at 80 columns"


def test_every_place_has_a_screen_of_its_own() -> None:
    screens = [place.make_screen() for place in PLACES]
    assert all(isinstance(screen, BoardScreen) for screen in screens)
    assert len({type(screen) for screen in screens}) == len(PLACES)


@pytest.mark.asyncio
async def test_the_menu_shows_every_place_and_opens_one_by_key_or_enter(tmp_path: Path) -> None:
    async with watching(tmp_path, examples.idle()) as watched:
        for keys in (["g", PLACES[-1].key], ["g", *["down"] * (len(PLACES) - 1), "enter"]):
            await watched.press(keys[0])
            await watched.until_shown("GO TO")
            for place in PLACES:
                assert f"{place.key} {place.label}" in watched.words()
                assert place.help in watched.words()
            await watched.press(*keys[1:])
            await watched.until(lambda: type(watched.app.screen) is type(PLACES[-1].make_screen()))
            await watched.press("escape")
            await watched.until(lambda: watched.app.screen.id == "bench")


@pytest.mark.asyncio
async def test_help_says_the_keys_of_the_screen_below(tmp_path: Path) -> None:
    async with watching(tmp_path, examples.idle()) as watched:
        await watched.press("question_mark")
        await watched.until_shown("HELP: THE BENCH")
        assert all(use.help in watched.words() for use in USES[:5])
        await watched.press("question_mark")
        assert watched.app.screen.query_one("#title").is_attached
        await watched.press("escape", "n", "f1")
        await watched.until_shown("HELP: NEW RUN")
        await watched.until_shown("Ctrl+S start now")
        await watched.press("escape")
        await watched.until_shown("F1 help")
        await watched.press("escape", "q", "question_mark")
        assert "Leave this console?" in watched.words()
