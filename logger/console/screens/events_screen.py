"""All events of the run and all alarms, newest first."""

from __future__ import annotations

from textual.content import Content

from logger.console.literal import literal
from logger.console.panels.board import Board
from logger.console.panels.ink import BAD, DIM, TITLE, line, page, paragraph
from logger.console.panels.lower import event_lines
from logger.console.screens.reading_screen import ReadingScreen
from logger.console.words import LEVEL_MARKS, LEVEL_WORDS, broker_line, link_line
from logger.core.snapshot import Snapshot


class EventsScreen(ReadingScreen):
    """The log."""

    heading = "EVENTS"

    def show(self, board: Board) -> None:
        """Filled anew when something happened."""
        super().show(board)
        self.fill()

    def text(self, width: int, height: int) -> Content:
        """Alarms, events, links."""
        board = self.console.board
        if board is None:
            return Content()
        snapshot = board.snapshot
        lines = [*_alarms(snapshot, width), line(("EVENTS, newest first", TITLE))]
        for event in reversed(snapshot.events):
            lines += event_lines(event, width)
        if not snapshot.events:
            lines.append(line(("none yet", DIM)))
        return page([*lines, Content(), *_links(snapshot, width)])


def _alarms(snapshot: Snapshot, width: int) -> list[Content]:
    lines: list[Content] = []
    for alarm in snapshot.alarms:
        head = f"{LEVEL_MARKS[alarm.level]} {LEVEL_WORDS[alarm.level]} "
        lines += paragraph(head + literal(alarm.text, 400), width, BAD)
    return [line(("ALARMS", TITLE)), *lines, Content()] if lines else []


def _links(snapshot: Snapshot, width: int) -> list[Content]:
    lines = [line(("LINKS", TITLE))]
    for link in snapshot.links:
        words = f"{link_line(link)}, {literal(link.port, 60)}, {literal(link.profile, 30)}: {literal(link.text, 200)}"
        lines += paragraph(words, width)
    broker = snapshot.broker
    return lines + paragraph(f"{broker_line(broker)}: {literal(broker.text, 200)}", width)
