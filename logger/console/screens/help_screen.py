"""Which key does what, and what the shapes mean."""

from __future__ import annotations

from textual.content import Content

from logger.console.keys import USES
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
        "± is the standard uncertainty (k = 1). Effective time counts only while the pressure is in its band."
        " ● stable or in order, ~ moving, ▲ above, ▼ below, ■ needs you.",
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
        "q leaves this console. The service and the run go on; start the console again to come back.",
    ),
)


class HelpScreen(ReadingScreen):
    """The help page."""

    heading = "HELP"

    def show(self, board: Board) -> None:
        """The page does not depend on the board."""
        super().show(board)
        self.fill()

    def text(self, width: int) -> Content:
        """Keys first, then the notes."""
        lines = [line(("KEYS", TITLE)), *_key_lines(width)]
        for title, words in NOTES:
            lines += [Content(), line((title, TITLE)), *paragraph(words, width)]
        return page(lines)


def _key_lines(width: int) -> list[Content]:
    lines = []
    for use in USES:
        first, *rest = paragraph(use.help, width - 5)
        lines.append(line((f"  {use.key}  ", STRONG), first.plain))
        lines += [line("     ", each.plain) for each in rest]
    return lines
