"""Where one can go from the bench: one line a place. The menu, the help and the line mode all read it.

A screen of a place is a `BoardScreen` without arguments; it finds client, operator and newest picture in
`self.console`. It must work with and without a run, and while the service does not answer.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from importlib import import_module
from typing import TYPE_CHECKING, cast

if TYPE_CHECKING:
    from logger.console.screens.board_screen import BoardScreen

MakeScreen = Callable[[], "BoardScreen"]


@dataclass(frozen=True, slots=True)
class Place:
    """A key of the menu, the place's name, a line that says what it is for, and its screen."""

    key: str
    label: str
    help: str
    make_screen: MakeScreen


def screen_of(name: str) -> MakeScreen:
    """Makes the screen `file:Class` of `logger.console.screens` when it is wanted.

    It is loaded only then: the line mode reads this table without the drawing library.
    """
    module, _, kind = name.partition(":")

    def make() -> BoardScreen:
        loaded = import_module(f"logger.console.screens.{module}")
        return cast("BoardScreen", getattr(loaded, kind)())

    return make


PLACES: tuple[Place, ...] = (
    Place(
        "s",
        "start of shift",
        "What is due now, with its checks and entries.",
        screen_of("shift_screen:ShiftScreen"),
    ),
    Place(
        "w",
        "worklist",
        "Planned samples: choose or scan one and start its run.",
        screen_of("worklist_screen:WorklistScreen"),
    ),
    Place(
        "v",
        "charts",
        "Load, loss rate and pressure over the last runs.",
        screen_of("charts_screen:ChartsScreen"),
    ),
    Place(
        "h",
        "history",
        "All runs: search, open, compare.",
        screen_of("history_screen:HistoryScreen"),
    ),
    Place(
        "k",
        "control chart",
        "Reference powder on each sieve over time.",
        screen_of("control_screen:ControlScreen"),
    ),
    Place("l", "log", "All events of the run, alarms and links.", screen_of("events_screen:EventsScreen")),
)


def place_of(key: str) -> Place | None:
    """The place that this key opens."""
    return next((each for each in PLACES if each.key == key.lower()), None)
