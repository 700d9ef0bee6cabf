"""Enter on a weight whose stable mark has just gone takes that weight or none."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from logger.console.awaited import WAITED_S, awaited
from logger.core.snapshot import Snapshot
from tests.console import examples
from tests.console.watching import watching


def _mass(value_g: float | None, stable: bool) -> Snapshot:
    snapshot = examples.weighing()
    return replace(snapshot, mass=replace(snapshot.mass, value_g=value_g, stable=stable))


@pytest.mark.parametrize(
    ("value_g", "stable", "after_s", "found"),
    [
        (416.63, True, 0.5, "take"),
        (416.65, True, 0.5, "take"),
        (416.66, True, 0.5, "moved"),
        (0.0, True, 0.5, "moved"),
        (416.63, False, 0.5, "wait"),
        (416.63, False, WAITED_S, "late"),
        (None, False, 0.5, "gone"),
    ],
)
def test_only_the_weight_that_was_seen(
    value_g: float | None, stable: bool, after_s: float, found: str
) -> None:
    waiting = awaited(_mass(416.63, False), 100.0)
    assert waiting is not None
    assert waiting.look(_mass(value_g, stable), 100.0 + after_s) == found


def test_another_step_or_a_balance_in_order_waits_for_nothing() -> None:
    waiting = awaited(_mass(416.63, False), 0.0)
    assert waiting is not None
    assert waiting.look(replace(_mass(416.63, True), state="taring"), 0.1) == "gone"
    assert awaited(_mass(416.63, True), 0.0) is None
    assert awaited(_mass(None, False), 0.0) is None


@pytest.mark.asyncio
async def test_it_is_taken_when_it_rests_where_it_was_seen(tmp_path: Path) -> None:
    async with watching(tmp_path, _mass(416.63, False)) as watched:
        await watched.press("enter")
        await watched.until_shown("Waiting for the balance to rest at 416.63 g.")
        assert watched.sent() == []
        await watched.service.show(_mass(416.64, True))
        await watched.until(lambda: watched.sent() == [("accept_weight", {})])


@pytest.mark.asyncio
async def test_elsewhere_it_takes_nothing_and_escape_stops_it(tmp_path: Path) -> None:
    async with watching(tmp_path, _mass(416.63, False)) as watched:
        await watched.press("enter")
        await watched.service.show(_mass(0.0, True))
        await watched.until_shown("NOT DONE: The balance now stands elsewhere than at 416.63 g")
        await watched.service.show(_mass(416.63, False))
        await watched.until_shown("~ moving")
        await watched.press("enter")
        await watched.until_shown("Waiting for the balance")
        await watched.press("escape")
        await watched.until_shown("Nothing was taken.")
        await watched.service.show(_mass(416.63, True))
        await watched.until_shown("● STABLE")
        assert watched.sent() == []
