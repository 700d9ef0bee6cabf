"""What is left when the terminal is too small to draw in: the key values, as many as fit."""

from __future__ import annotations

from textual.content import Content

from logger.console.literal import fit, literal, wrap
from logger.console.panels.board import Board
from logger.console.panels.figures import OLD
from logger.console.panels.ink import page
from logger.console.words import mass_line, pressure_figure, pressure_word, rate_line, state_words

NEEDED = (80, 24)
"""Columns and rows that every screen fits in without cut text."""


def too_small(width: int, height: int) -> bool:
    """Whether the screens would be cut."""
    return width < NEEDED[0] or height < NEEDED[1]


def small(board: Board, width: int, height: int) -> Content:
    """That it is too small, state and alarms, mass, pressure, then the rest."""
    lines = wrap(f"too small: {NEEDED[0]}x{NEEDED[1]} needed", width)
    values = _values(board)
    for index, value in enumerate(values):
        wrapped = wrap(value, width)
        last = index == len(values) - 1
        room = height - len(lines)
        lines += wrapped if len(wrapped) <= room or last else [fit(value, width)]
    return page(Content(each) for each in lines[: max(1, height)])


def _values(board: Board) -> list[str]:
    snapshot = board.snapshot
    alarms = f" ■ {len(snapshot.alarms)} alarm(s)" if snapshot.alarms else ""
    state = state_words(snapshot.state).upper() if board.answering else "NO SERVICE"
    values = [
        f"{state}{alarms}",
        mass_line(snapshot.mass) if board.answering else OLD,
        f"{pressure_figure(snapshot.pressure)} {pressure_word(snapshot.pressure)}"
        if board.answering
        else OLD,
        literal(snapshot.instruction.text, 200),
    ]
    if snapshot.run is not None:
        values.append(f"loss rate {rate_line(snapshot.run.rate)}")
    return values + [literal(alarm.text, 200) for alarm in snapshot.alarms]
