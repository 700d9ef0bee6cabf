"""Which key does what, and what the shapes mean."""

from __future__ import annotations

from collections.abc import Sequence

from textual.content import Content

from logger.console.console import KeyLabels
from logger.console.panels.board import Board
from logger.console.panels.ink import STRONG, TITLE, line, page, paragraph
from logger.console.screens.reading_screen import ReadingScreen

NOTES = (
    (
        "THE ONE KEY",
        "Enter (or space) does what is asked now: read the cautions, accept the weight, close the run.",
    ),
    (
        "FIGURES",
        "± is the standard uncertainty (k = 1) on the bench, the expanded one in a kept run and its report."
        " Effective time counts only while the pressure is in its band."
        " ● stable or in order, ~ moving, ▲ above, ▼ below, ◆ worth a look, ■ needs you.",
    ),
    (
        "CONTROLS",
        "Several consoles may watch; one holds the controls. Keys that would do nothing now are not shown below.",
    ),
    (
        "SAFETY",
        "Lastgrain is a logger, not a safety device. The suction is switched on by hand at the rig, never from"
        " here. Open the lid only when the console says that it may be opened, or after a look at the rig.",
    ),
    (
        "LEAVING",
        "q leaves this console. The service and the run go on (those of the demo end); start the console"
        " again to come back.",
    ),
)


class HelpScreen(ReadingScreen):
    """Help for the screen that it lies over: that screen's keys, then what is the same everywhere."""

    def __init__(self, name: str, keys: KeyLabels, about: Sequence[str] = ()) -> None:
        super().__init__()
        self.heading = f"HELP: {name}"
        self._keys = keys
        self._about = about

    def show(self, board: Board) -> None:
        """The page does not depend on the board."""
        super().show(board)
        self.fill()

    def text(self, width: int, height: int) -> Content:
        """Keys first, then the notes."""
        lines = [each for words in self._about for each in [*paragraph(words, width), Content()]]
        lines += [line(("KEYS", TITLE)), *_key_lines(self._keys, width)]
        for title, words in NOTES:
            lines += [Content(), line((title, TITLE)), *paragraph(words, width)]
        return page(lines)


def _key_lines(keys: KeyLabels, width: int) -> list[Content]:
    column = max((len(key) for key, _ in keys), default=1) + 4
    lines = []
    for key, words in keys:
        first, *rest = paragraph(words, width - column) or [Content()]
        lines.append(line((f"  {key}".ljust(column), STRONG), first.plain))
        lines += [line(" " * column, each.plain) for each in rest]
    return lines
