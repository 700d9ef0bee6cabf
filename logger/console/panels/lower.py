"""The lower half beside the charts: the weighings and the newest events."""

from __future__ import annotations

from textual.content import Content

from logger.console.literal import fit, literal, wrap
from logger.console.panels.board import Board
from logger.console.panels.ink import BAD, DIM, STRONG, TITLE, line, page
from logger.console.words import LEVEL_MARKS, LEVEL_WORDS, clock, duration
from logger.core.snapshot import EventView, WeighingView


def weighings(board: Board, width: int, height: int) -> Content:
    """The weighings, the newest last, with the loss rate of each interval."""
    run = board.snapshot.run
    rows = _weighing_rows(run.weighings) if run else []
    head = f"{'sieved':>7}{'load g':>9}{'load %':>8}{'%/min':>7}"
    shown = rows[-max(0, height - 1) :]
    lines = [line((fit(head, width), TITLE))]
    lines += [line(fit(row, width)) for row in shown[:-1]] + [
        line((fit(row, width), STRONG)) for row in shown[-1:]
    ]
    return page(lines if rows else [*lines, line(("  no weighing yet", DIM))][: max(1, height)])


def _weighing_rows(weighed: tuple[WeighingView, ...]) -> list[str]:
    rows = []
    for index, each in enumerate(weighed):
        rate = _rate_since(weighed[index - 1], each) if index else None
        shown = "" if rate is None else f"{rate:.2f}"
        rows.append(f"{duration(each.effective_s):>7}{each.load_g:>9.3f}{each.load_pct:>8.2f}{shown:>7}")
    return rows


def _rate_since(before: WeighingView, after: WeighingView) -> float | None:
    minutes = (after.effective_s - before.effective_s) / 60
    return (before.load_pct - after.load_pct) / minutes if minutes > 0 else None


def events(board: Board, width: int, height: int) -> Content:
    """The newest events that fit whole, newest first; a longer list is behind a key."""
    everything = board.snapshot.events
    lines = [line(("EVENTS", TITLE), ("  newest first, e shows all", DIM))]
    for event in reversed(everything):
        block = event_lines(event, width)
        if len(lines) + len(block) > height:
            break
        lines += block
    if len(lines) == 1 and everything and height > 1:
        lines += event_lines(everything[-1], width)[: height - 1]
    return page(lines[:height])


def event_lines(event: EventView, width: int) -> list[Content]:
    """One event wrapped, with its time, and its level as a mark and a word."""
    word = LEVEL_WORDS[event.level]
    mark = LEVEL_MARKS[event.level]
    text = f"{clock(event.utc)} {mark} {word + ' ' if word else ''}{literal(event.text, 400)}"
    style = BAD if word else ""
    first, *rest = wrap(text, width) or [""]
    indent = 11 if width > 40 else 2
    lines = [line((first, style))]
    tail = wrap(" ".join(rest), width - indent)
    return lines + [line((" " * indent + each, style)) for each in tail]
