"""The head line, the alarms, and the one thing to do now in letters as large as the place allows."""

from __future__ import annotations

from textual.content import Content

from logger.console.bigtext import big_lines
from logger.console.literal import cells, fit, literal, wrap
from logger.console.panels.board import Board
from logger.console.panels.ink import BAD, BLUE, DIM, SHOUT, STRONG, TITLE, first_rows, line, page, paragraph
from logger.console.words import LEVEL_MARKS, LEVEL_WORDS, age, clock, place, state_words
from logger.core.snapshot import AlarmView

TEXT_LIMIT = 400
"""Longer texts from outside are cut: a sentence for a person is shorter."""


def header(board: Board, width: int, height: int) -> Content:
    """Bench at the left, state in the middle, time at the right."""
    snapshot = board.snapshot
    state = f" {state_words(snapshot.state).upper()} "
    right = f"{clock(snapshot.utc)} UTC"
    left = fit(f"Lastgrain {place(snapshot)}", max(0, width - cells(state) - cells(right) - 2))
    gap = max(2, width - cells(left) - cells(state) - cells(right))
    return line(
        (left, TITLE), " " * (gap - gap // 2), (state, f"bold reverse {BLUE}"), " " * (gap // 2), (right, DIM)
    )


def alarms(board: Board, width: int, height: int) -> Content:
    """Alarms, worst first; those that find no room are counted. First of all a silent service."""
    lines = [] if board.answering else _silence(board, width)
    rest = sorted(board.snapshot.alarms, key=_urgency)
    for index, alarm in enumerate(rest):
        wrapped = wrap(_alarm_text(alarm), width)
        more = len(rest) - index
        if lines and len(lines) + len(wrapped) > height - (more > 1):
            lines.append(line((f"■ and {more} more: press e to read them", BAD)))
            break
        style = SHOUT if alarm.level == "alarm" else BAD
        lines += [Content.styled(each, style) for each in wrapped]
    return page(lines)


def _urgency(alarm: AlarmView) -> int:
    return ("alarm", "warning", "notice", "info").index(alarm.level)


def _alarm_text(alarm: AlarmView) -> str:
    head = f"{LEVEL_MARKS[alarm.level]} {LEVEL_WORDS[alarm.level]}".strip()
    return f"{head} {literal(alarm.text, TEXT_LIMIT)}"


def alarm_rows(board: Board, width: int) -> int:
    """Rows that all alarms would need."""
    silence = 0 if board.answering else len(_silence(board, width))
    return silence + sum(len(wrap(_alarm_text(alarm), width)) for alarm in board.snapshot.alarms)


def _silence(board: Board, width: int) -> list[Content]:
    text = f"■ SERVICE NOT ANSWERING: this picture is {age(board.age_s)} old ({literal(board.problem, 200)})"
    return paragraph(text, width, SHOUT)


def instruction(board: Board, width: int, height: int) -> Content:
    """The instruction in big letters with its plain words and its detail below, never cut before them."""
    return page(first_rows(instruction_lines(board, width, height), height, width))


def instruction_lines(board: Board, width: int, height: int) -> list[Content]:
    """As many lines as are needed, at most `height` unless the plain words alone need more."""
    text, detail = _words(board)
    plain = paragraph(text, width, STRONG)
    plain += paragraph(detail, width)
    big = big_lines(text.rstrip("."), width, height - len(plain))
    style = f"bold {BLUE}" if board.answering and not board.snapshot.alarms else BAD
    return [Content.styled(each, style) for each in big] + plain


def _words(board: Board) -> tuple[str, str]:
    if not board.answering:
        return (
            "Service not answering",
            "Keys are off until it answers. The suction obeys its own switch at the rig.",
        )
    asked = board.snapshot.instruction
    return literal(asked.text, TEXT_LIMIT), literal(asked.detail, TEXT_LIMIT)
