"""The last lines: links, plant, controls (or the last answer), and the keys that apply now."""

from __future__ import annotations

from textual.content import Content

from logger.console.keys import key_labels
from logger.console.literal import literal
from logger.console.panels.board import Board
from logger.console.panels.ink import BAD, DIM, GOOD, STRONG, first_rows, flow, line, page, paragraph
from logger.console.words import broker_line, controls_line, link_line


def status(board: Board, width: int, height: int) -> Content:
    """The last answer while it is new; else the links with the age of their last reading."""
    return page(first_rows(status_lines(board, width), height, width))


def status_lines(board: Board, width: int) -> list[Content]:
    """All of it."""
    if board.reply is not None:
        mark, style = ("✓ ", GOOD) if board.reply.ok else ("✗ NOT DONE: ", BAD)
        return paragraph(mark + literal(board.reply.text, 400), width, style)
    snapshot = board.snapshot
    parts = [link_line(link) for link in snapshot.links]
    parts += [broker_line(snapshot.broker), controls_line(snapshot)]
    return [line((each, DIM)) for each in flow(parts, width)]


def keys(board: Board, width: int, height: int) -> Content:
    """Keys in reverse, what they do beside them; the asked thing first."""
    return page(key_lines(board, width)[:height])


def key_lines(board: Board, width: int) -> list[Content]:
    """All of it."""
    return key_rows(key_labels(board.snapshot.can, board.answering), width)


def key_rows(labels: list[tuple[str, str]], width: int) -> list[Content]:
    """Key labels flowed over lines; a key is never parted from its label."""
    rows: list[list[tuple[str, str]]] = [[]]
    used = 0
    for key, label in labels:
        size = len(key) + len(label) + 3
        if rows[-1] and used + size - 2 > width:
            rows.append([])
            used = 0
        rows[-1] += [(key, f"{STRONG} reverse"), (f" {label}  ", "")]
        used += size
    return [line(*row).rstrip() for row in rows]
