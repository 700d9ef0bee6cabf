"""Every screen at every size: no text is cut, no key is missing, help says its keys; with hostile texts too."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial
from itertools import product
from pathlib import Path

import pytest
from textual.containers import ScrollableContainer
from textual.widget import Widget
from textual.widgets import OptionList, Static

from logger.console.screens.board_screen import BoardScreen
from logger.console.screens.help_screen import HelpScreen
from logger.console.screens.key_line import KeyLine
from logger.console.screens.panel import Panel
from logger.core.snapshot import Snapshot
from tests.console import examples, kept_examples
from tests.console.every_screen import BASES, ELSEWHERE, OPENED, AnyScreen, classes, every_screen
from tests.console.watching import Watching, watching

EVERYTHING = ("start", "acknowledge", "type_weight", "hold", "stop", "abort", "note", "take_controls")
SIZES = ((80, 24), (100, 30), (140, 45))
SETTLED_S = 1.0


def _busy() -> Snapshot:
    return replace(examples.weighing(), can=EVERYTHING, controls_held_by="a.second")


SNAPSHOTS: dict[str, Callable[[], Snapshot]] = {
    "run": _busy,
    "no run": examples.idle,
    "alarms": examples.alarming,
    **{f"hostile {number}": partial(examples.hostile, text) for number, text in enumerate(examples.HOSTILE)},
}
SHORT = {("run", (80, 24)), ("hostile 0", (80, 24))}
LONG = {
    ("run", (100, 30)),
    ("run", (140, 45)),
    *product(("no run", "alarms"), (SIZES[0], SIZES[2])),
    ("hostile 1", (140, 45)),
}
LONG |= {(name, SIZES[0]) for name in list(SNAPSHOTS)[4::2]}
"""In the full tier: each takes a second or two. Every other hostile text; the bench is drawn with all of them."""
CASES = [
    pytest.param(
        name, size, marks=() if (name, size) in SHORT else pytest.mark.full, id=f"{name} {size[0]}x{size[1]}"
    )
    for name, size in sorted(SHORT | LONG)
]


def test_no_screen_is_forgotten() -> None:
    places = {
        type(screen).__name__ for name, screen in every_screen(examples.idle()) if name.startswith("place ")
    }
    assert classes() - places - set(OPENED) - BASES == ELSEWHERE


def _squeezed(text: str) -> str:
    return "".join(text.split())


def _in_scroll(widget: Widget) -> bool:
    return any(isinstance(each, ScrollableContainer) for each in widget.ancestors)


def faults(watched: Watching) -> list[str]:
    """What is wrong with what is on the screen now."""
    screen = watched.app.screen
    found = []
    for widget in screen.walk_children(Widget):
        if not widget.display or not widget.is_on_screen or not widget.region.size:
            continue
        if widget.region.right > watched.app.size.width:
            found.append(f"{widget!r} is wider than the screen")
        if isinstance(widget, OptionList) and widget.virtual_size.width > widget.size.width:
            found.append(f"{widget!r} has rows wider than itself")
        if isinstance(widget, Panel):
            shown = widget._shown[0] if widget._shown else ""
            if _squeezed(shown) != _squeezed("".join(watched.visible(widget))):
                found.append(f"{widget!r} is cut: {shown!r}")
        elif isinstance(widget, Static):
            found += _cut(watched, widget)
    return found + _keys_missing(watched)


def _cut(watched: Watching, widget: Static) -> list[str]:
    text = str(widget.visual)
    if _in_scroll(widget):
        needed = widget.get_content_height(
            widget.container_size, watched.app.screen.size, widget.content_size.width
        )
        return [f"{widget!r} is cut within its page"] if needed > widget.content_size.height else []
    whole = _squeezed(text) in _squeezed("".join(watched.visible(widget)))
    return [] if whole else [f"{widget!r} is cut: {text!r}"]


def _keys_missing(watched: Watching) -> list[str]:
    screen = watched.app.screen
    if not isinstance(screen, BoardScreen):
        return []
    shown = " ".join(f" {' '.join(watched.visible(each))} " for each in screen.query(KeyLine))
    missing = [f"no {key} {label}" for key, label in screen.key_labels() if f"{key} {label}" not in shown]
    return missing + (
        [] if ("Esc", "back") in screen.key_labels() or "Esc" in shown else ["no way back is named"]
    )


async def _settled(watched: Watching) -> list[str]:
    """What is wrong once the screen has had its time to answer and to be drawn."""
    found = ["never drawn"]
    for _ in range(int(SETTLED_S / 0.02)):
        found = faults(watched)
        if not found:
            return []
        await watched.pilot.pause(0.02)
    return found


async def _look(watched: Watching) -> list[str]:
    found = []
    for name, screen in every_screen(watched.service.snapshot):
        watched.app.push_screen(screen)
        await watched.until(partial(_on_top, watched, screen))
        found += [f"{name}: {fault}\n{watched.text()}" for fault in await _settled(watched)]
        found += [f"{name}: {fault}" for fault in await _help(watched, screen)]
        watched.app.pop_screen()
        await watched.settle()
    return found


def _on_top(watched: Watching, screen: AnyScreen) -> bool:
    return watched.app.screen is screen and screen.is_mounted


async def _help(watched: Watching, screen: AnyScreen) -> list[str]:
    if not isinstance(screen, BoardScreen) or isinstance(screen, HelpScreen):
        return []
    watched.app.action_help()
    await watched.settle()
    page = watched.app.screen
    if not isinstance(page, HelpScreen):
        return ["F1 gives no help"]
    said = str(page.query_one("#words", Static).visual)
    missing = [f"its help does not name {key}" for key, _ in screen.key_help() if key not in said]
    watched.app.pop_screen()
    await watched.settle()
    return missing if screen.heading in page.heading and screen.heading else ["its help has no name"]


@pytest.mark.asyncio
@pytest.mark.parametrize(("name", "size"), CASES)
async def test_nothing_is_cut_and_no_key_is_missing(
    name: str, size: tuple[int, int], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    if name != "run":
        monkeypatch.setenv("NO_COLOR", "1")
    async with watching(tmp_path, SNAPSHOTS[name](), size, found=kept_examples.found) as watched:
        found = await _look(watched)
        assert not found, "\n".join(found)
