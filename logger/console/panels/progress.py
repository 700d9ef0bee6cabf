"""How far the run is: times, what is still open; and whose run it is."""

from __future__ import annotations

from textual.content import Content

from logger.console.gauge import progress_bar
from logger.console.literal import literal
from logger.console.panels.board import Board
from logger.console.panels.ink import BAD, DIM, STRONG, first_rows, flow, line, page, paragraph
from logger.console.words import duration
from logger.core.snapshot import RunView


def times(board: Board, width: int, height: int) -> Content:
    """Elapsed and effective time, the interval, and what is still open or why the run is held."""
    return page(first_rows(time_lines(board, width), height, width))


def time_lines(board: Board, width: int) -> list[Content]:
    """All of it; empty without a run."""
    run = board.snapshot.run
    if run is None:
        return []
    lines = [line((each, STRONG)) for each in flow(_clocks(run), width)]
    if run.held_reason:
        return lines + paragraph(f"■ ON HOLD: {literal(run.held_reason, 200)}", width, BAD)
    remark = board.earlier.remark
    said = paragraph(f"◆ {remark}", width, STRONG) if remark else []
    return [*lines, *said, *paragraph(_open(run), width)]


def _clocks(run: RunView) -> list[str]:
    limit = f"max {duration(run.max_time_s)}"
    if run.elapsed_s is None and run.effective_s == 0:
        parts = [f"suction not yet on, {limit}"]
    else:
        parts = [f"elapsed {duration(run.elapsed_s)} of {limit}", f"effective {duration(run.effective_s)}"]
    if run.interval_target_s is not None and run.result is None:
        bar = progress_bar(run.interval_done_s, run.interval_target_s, 8)
        parts.append(f"interval {duration(run.interval_done_s)}/{duration(run.interval_target_s)} {bar}")
    elif run.effective_s < run.min_time_s:
        parts.append(f"at least {duration(run.min_time_s)}")
    if run.out_of_band_s >= 1:
        parts.append(f"out of band {run.out_of_band_s:.0f} s")
    return parts


def _open(run: RunView) -> str:
    """Why the run ended, or what still keeps it going."""
    if run.result is not None:
        return f"ended: {literal(run.result.reason, 300).removeprefix('Endpoint: ')}"
    conditions = "; ".join(literal(each, 120) for each in run.rate.open_conditions)
    return f"still open: {conditions}" if conditions else ""


def sample(board: Board, width: int, height: int) -> Content:
    """Whose run it is."""
    run = board.snapshot.run
    return page(paragraph(identity(run, width) if run else "no run on the bench", width, DIM)[:height])


def identity(run: RunView, width: int = 80) -> str:
    """Sample, method and operator in one line; long titles whole where there is room."""
    lot = f", lot {literal(run.lot, 16)}" if run.lot else ""
    return (
        f"sample {literal(run.sample_id, 24)}{lot} · {literal(run.method_title, max(40, width - 70))}"
        f" (rev. {run.method_revision}) · {literal(run.operator_id, 20)}"
    )
