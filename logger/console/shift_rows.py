"""The rows of the start of a shift and of the worklist, from the service's answers."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, TypeVar

from textual.content import Content

from logger.console.answers import dict_of, dicts_of, number_of, text_of, whole_of
from logger.console.literal import cells, pad, wrap
from logger.console.panels.ink import STRONG, line, page

STANDING_MARKS = {"failed": "■ FAILED", "due": "▲ DUE", "done": "● done", "not asked": "· not due"}
STATE_MARKS = {
    "planned": "○ planned",
    "running": "◆ running",
    "started": "◐ started",
    "done": "● done",
    "withdrawn": "× withdrawn",
}
TITLE_CELLS, TEXT_AT, BELOW_AT = 24, 39, 15
"""Columns of a task. The pointer of the list takes two cells of the first line, so that what is below starts later."""
_STYLES = {"failed": STRONG, "due": STRONG}
"""No colours: the marked row has a ground of its own, on which they could not be read."""
TASK_KEYS = {"bag": "b", "air": "a", "zero": "z", "balance": "c", "drill": "d"}
"""Tasks that can be done at the console, and their keys; the others have a command."""


@dataclass(frozen=True, slots=True)
class Task:
    """One task of the start of a shift; all texts are safe to show."""

    task: str
    title: str
    standing: str
    text: str
    how: str

    @property
    def key(self) -> str:
        """What does it here; empty when it is done elsewhere."""
        return TASK_KEYS.get(self.task, "")

    def row(self, width: int) -> Content:
        """Key, standing and title; how it stands beside them, or below where that is too narrow."""
        mark = STANDING_MARKS.get(self.standing, self.standing)
        head = line(
            (f"{self.key or ' '}  ", STRONG),
            (pad(mark, 9), _STYLES.get(self.standing, "")),
            f" {pad(self.title, TITLE_CELLS).rstrip()}",
        )
        if cells(self.text) <= width - TEXT_AT:
            gap = " " * (TEXT_AT - cells(head.plain))
            return head + f"{gap}{self.text}"
        below = [f"{' ' * BELOW_AT}{each}" for each in wrap(self.text, width - BELOW_AT)]
        return page([head, *(Content(each) for each in below)])


def tasks_of(answer: Any) -> list[Task]:
    """The tasks in their order."""
    return [
        Task(
            task=text_of(each.get("task"), 20),
            title=text_of(each.get("title"), 40),
            standing=text_of(each.get("standing"), 12),
            text=text_of(each.get("text")),
            how=text_of(each.get("how")),
        )
        for each in dicts_of(dict_of(answer).get("items"))
    ]


@dataclass(frozen=True, slots=True)
class CheckWeightRow:
    """A check weight of the bench, g."""

    id: str
    mass_g: float
    tolerance_g: float


def weights_of(answer: Any) -> list[CheckWeightRow]:
    """The check weights, in the bench file's order."""
    return _with_two_figures(CheckWeightRow, answer, "weights", "mass_g", "tolerance_g")


T = TypeVar("T")


def _with_two_figures(
    make: Callable[[str, float, float], T], answer: Any, what: str, first: str, second: str
) -> list[T]:
    """What has an id and both figures; anything else is passed over."""
    found = []
    for each in dicts_of(dict_of(answer).get(what)):
        one, other = number_of(each.get(first)), number_of(each.get(second))
        if isinstance(each.get("id"), str) and one is not None and other is not None:
            found.append(make(each["id"], one, other))
    return found


@dataclass(frozen=True, slots=True)
class PlannedRow:
    """An item of the worklist. Ids as they are, for sending; `row` shows them safely."""

    item: int
    sample_id: str
    lot: str
    point: str
    sampled_at: str
    method_id: str
    sieve_id: str
    aperture_um: float | None
    due: str
    priority: int
    state: str
    text: str

    def fill(self) -> dict[str, str]:
        """What the form of a new run is filled in with."""
        names = ("sample_id", "lot", "point", "sampled_at", "method_id", "sieve_id")
        aperture = {} if self.aperture_um is None else {"aperture_um": f"{self.aperture_um:g}"}
        return {name: getattr(self, name) for name in names} | aperture

    def row(self, width: int) -> Content:
        """Priority, state, sample, method and due in one line; the lot too where there is room."""
        room = max(12, min(40, width - 55))
        lot = f"{pad(text_of(self.lot) or '-', 16)}  " if width >= 100 else ""
        return line(
            f"{self.priority}  {pad(STATE_MARKS.get(self.state, self.state), 11)}  ",
            (pad(text_of(self.sample_id), room), STRONG),
            f"  {lot}{pad(text_of(self.method_id) or '-', 24)}  {text_of(_short(self.due)) or '-'}",
        )


def _short(due: str) -> str:
    """The day; with a time of day the year is left out."""
    day, _, time = due.partition("T")
    return f"{day[5:]} {time}" if time else day


def planned_heading(width: int) -> str:
    """The names of the columns of `PlannedRow.row`, the list's pointer included."""
    room = max(12, min(40, width - 55))
    lot = f"{pad('lot', 16)}  " if width >= 100 else ""
    return f"  p  {pad('state', 11)}  {pad('sample', room)}  {lot}{pad('method', 24)}  due"


def planned_of(answer: Any, name: str = "items") -> list[PlannedRow]:
    """The items in their order."""
    return [_planned(each) for each in dicts_of(dict_of(answer).get(name))]


def _planned(each: dict[str, Any]) -> PlannedRow:
    def raw(name: str) -> str:
        value = each.get(name)
        return value if isinstance(value, str) else ""

    return PlannedRow(
        item=whole_of(each.get("item")),
        sample_id=raw("sample_id"),
        lot=raw("lot"),
        point=raw("point"),
        sampled_at=raw("sampled_at"),
        method_id=raw("method_id"),
        sieve_id=raw("sieve_id"),
        aperture_um=number_of(each.get("aperture_um")),
        due=text_of(each.get("due"), 20),
        priority=whole_of(each.get("priority")),
        state=text_of(each.get("state"), 20),
        text=text_of(each.get("text")),
    )


@dataclass(frozen=True, slots=True)
class SieveRow:
    """A test sieve in use."""

    id: str
    aperture_um: float
    frame_mm: float


def sieves_of(answer: Any) -> list[SieveRow]:
    """The sieves that a run may name."""
    return _with_two_figures(SieveRow, answer, "sieves", "aperture_um", "frame_mm")
