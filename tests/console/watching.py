"""Helpers for tests that look at the running console."""

from __future__ import annotations

import contextlib
import unicodedata
from collections.abc import AsyncIterator, Callable
from pathlib import Path
from typing import Any

import pytest
from textual.drivers.headless_driver import HeadlessDriver
from textual.events import Key, Resize
from textual.geometry import Size
from textual.keys import REPLACED_KEYS, _character_to_key, _get_unicode_name_from_key
from textual.pilot import Pilot
from textual.widget import Widget

from logger.console.app import ConsoleApp
from logger.console.screens.bench_screen import BenchScreen
from logger.core.snapshot import Snapshot
from logger.service.client import ServiceClient
from tests.console.fake_service import FakeService, serving

SIZES = ((80, 24), (140, 45))
MORE_SIZES = tuple(pytest.param(size, marks=pytest.mark.full) for size in ((110, 36), (100, 30), (200, 60)))


class Watching:
    """A console under test with the service that it watches."""

    def __init__(self, app: ConsoleApp, pilot: Pilot[int], service: FakeService) -> None:
        self.app, self.pilot, self.service = app, pilot, service

    async def until(self, condition: Callable[[], object], seconds: float = 8.0) -> None:
        """Waits for it; fails with what is on the screen."""
        for _ in range(int(seconds / 0.02)):
            if condition():
                return
            await self.pilot.pause(0.02)
        raise AssertionError(f"it did not happen; on the screen:\n{self.text()}")

    async def until_shown(self, words: str) -> None:
        """Waits until these words are on the screen (line breaks are spaces)."""
        await self.until(lambda: words in self.words())

    async def press(self, *keys: str) -> None:
        """Keys one after the other, and what they cause.

        The library's own way of pressing waits until the process has been idle for a while, after each key.
        """
        for key in keys:
            await self._press(key)
        await self.settle()

    async def _press(self, key: str) -> None:
        name = _character_to_key(key) if len(key) == 1 and not key.isalnum() else key
        press = Key(name, _character_of(name))
        press.set_sender(self.app)
        assert self.app._driver is not None
        self.app._driver.send_message(press)
        await self.settle()

    async def settle(self) -> None:
        """Until everything that was under way has been handled: a message may cause another, and that a third."""
        for _ in range(3):
            await self.pilot.pause(0.0)

    async def resize(self, width: int, height: int) -> None:
        """The terminal gets another size."""
        assert isinstance(self.app._driver, HeadlessDriver)
        self.app._driver._size = Size(width, height)
        self.app.post_message(Resize(Size(width, height), Size(width, height)))
        await self.settle()

    def lines(self) -> list[str]:
        """What is on the screen."""
        return [strip.text for strip in self.app.screen._compositor.render_strips()]

    def text(self) -> str:
        """All lines."""
        return "\n".join(self.lines())

    def words(self) -> str:
        """All words with single spaces."""
        return " ".join(self.text().split())

    def visible(self, widget: Widget) -> list[str]:
        """What is on the screen where this widget is."""
        region = widget.content_region
        strips = self.app.screen._compositor.render_strips()[region.y : region.bottom]
        return [strip.crop(region.x, region.right).text.rstrip() for strip in strips]

    def sent(self) -> list[tuple[str, dict[str, Any]]]:
        """The commands that reached the service."""
        return self.service.commands


def _character_of(key: str) -> str | None:
    """What a key types, None for one that types nothing."""
    try:
        return unicodedata.lookup(_get_unicode_name_from_key(REPLACED_KEYS.get(key, key)))
    except KeyError:
        return key if len(key) == 1 else None


@contextlib.asynccontextmanager
async def watching(
    folder: Path,
    snapshot: Snapshot,
    size: tuple[int, int] = (80, 24),
    *,
    enter_after_s: float = 0.0,
    **service: Any,
) -> AsyncIterator[Watching]:
    """A console that shows this snapshot."""
    path = folder / "bench.sock"
    async with serving(path, snapshot, **service) as fake:
        app = ConsoleApp(ServiceClient(path, retry_s=0.05), "j.tester")
        app.ENTER_AFTER_S = enter_after_s
        async with app.run_test(size=size) as pilot:
            watched = Watching(app, pilot, fake)
            await watched.until(lambda: isinstance(app.screen, BenchScreen) and app.screen.ready)
            await watched.settle()
            await pilot.pause(0.05)
            yield watched
