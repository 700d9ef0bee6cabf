"""Progress of long work: a bar on stderr when it is a terminal that can draw one, otherwise nothing at all.

stdout is never touched, so `--json` and pipes stay clean. The one place that knows the drawing library; it
keeps to NO_COLOR and to a dumb terminal by itself. It may be used from any command:

    with progress("Simulated runs", total=len(cases)) as bar:
        for case in cases:
            judge(case)
            bar.advance()
"""

from __future__ import annotations

import sys
import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Protocol, TextIO, TypeVar

if TYPE_CHECKING:
    from rich.progress import Progress, TaskID

T = TypeVar("T")
REDRAW_S = 0.5


class Bar(Protocol):
    """What the work tells of itself."""

    def advance(self, steps: float = 1.0) -> None:
        """So many steps more are done."""
        ...

    def reach(self, done: float, total: float | None = None) -> None:
        """So many steps are done in all, of `total` when that became known or changed."""
        ...


class NoBar:
    """Nobody watches."""

    def advance(self, steps: float = 1.0) -> None:
        """Draws nothing."""

    def reach(self, done: float, total: float | None = None) -> None:
        """Draws nothing."""


@contextmanager
def progress(title: str, total: float | None = None, stream: TextIO | None = None) -> Iterator[Bar]:
    """A bar for the block; `total` is None while nobody knows how much there is. Taken away at the end."""
    out = stream or sys.stderr
    if not out.isatty():
        yield NoBar()
        return
    from rich.console import Console

    console = Console(file=out)
    if console.is_dumb_terminal:
        yield NoBar()
        return
    from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeRemainingColumn

    # markup=False: a title may carry a name that a person typed.
    columns = (TextColumn("{task.description}", markup=False), BarColumn(), TaskProgressColumn())
    # No thread of its own: the work may start processes, and one that is forked beside a thread can hang.
    with Progress(
        *columns, TimeRemainingColumn(), console=console, transient=True, auto_refresh=False
    ) as drawn:
        yield _Drawn(drawn, drawn.add_task(title, total=total))


def tracked(items: Iterable[T], title: str, total: float | None = None) -> Iterator[T]:
    """The items one by one, with a bar that moves on each."""
    with progress(title, total) as bar:
        for item in items:
            yield item
            bar.advance()


class _Drawn:
    def __init__(self, drawn: Progress, task: TaskID) -> None:
        self._drawn, self._task = drawn, task
        self._shown_s = -REDRAW_S

    def advance(self, steps: float = 1.0) -> None:
        self._drawn.advance(self._task, steps)
        self._show()

    def reach(self, done: float, total: float | None = None) -> None:
        self._drawn.update(self._task, completed=done, total=total)
        self._show()

    def _show(self) -> None:
        now_s = time.monotonic()
        if now_s - self._shown_s >= REDRAW_S:
            self._shown_s = now_s
            self._drawn.refresh()
