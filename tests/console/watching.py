"""Helpers for tests that look at the running console."""

from __future__ import annotations

import contextlib
from collections.abc import AsyncIterator, Callable
from pathlib import Path
from typing import Any

import pytest
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
        """Keys, and what they cause."""
        await self.pilot.press(*keys)
        await self.pilot.pause()

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
            await pilot.pause()
            await pilot.pause(0.05)
            yield watched
