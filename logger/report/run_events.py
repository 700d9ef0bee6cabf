"""What happened in a run, in order, with the letters that mark it on the chart."""

from __future__ import annotations

import string

from logger.core.run.events import Event, EventKind
from logger.core.run.words import event_level, event_text
from logger.report.document import Column, Lines, Section, Table
from logger.report.run_chart import Mark
from logger.report.run_sheet import RunSheet
from logger.report.texts import Texts
from logger.report.wording import clock_time, since_text, told

MARKED = frozenset(
    {
        EventKind.BAND_LEFT,
        EventKind.ENDPOINT_REACHED,
        EventKind.TIME_LIMIT_REACHED,
        EventKind.STOPPED,
        EventKind.HELD,
        EventKind.RESUMED,
        EventKind.SUCTION_SEEN_ON,
        EventKind.SUCTION_SEEN_OFF,
        EventKind.ABORTED,
        EventKind.INVALIDATED,
        EventKind.INTERRUPTED,
        EventKind.DEVIATION,
        EventKind.NOTED,
        EventKind.ALARM_RAISED,
        EventKind.LINK_CHANGED,
    }
)
ROUTINE = frozenset(
    {
        EventKind.DRAW_DOWN_BEGUN,
        EventKind.BAND_REACHED,
        EventKind.INTERVAL_OVER,
        EventKind.PRESSURE_RELEASED,
        EventKind.LOAD_WEIGHED,
    }
)
"""Steps of every interval; the weighings have a table of their own."""
FEW_EVENTS, MOST_EVENTS = 26, 90
"""A report is for reading. Few events stand whole; of more, routine steps are left out; of very many, the first
and the last are shown."""
_LETTERS = string.ascii_lowercase + string.ascii_uppercase


def event_marks(sheet: RunSheet) -> tuple[Mark, ...]:
    """A letter for each event worth a mark while the chart lasts."""
    curves = sheet.curves
    start = _start_ns(sheet)
    if curves is None or start is None:
        return ()
    times = [((e.at_ns - start) / 1e9, e) for e in sheet.events if e.kind in MARKED]
    shown = [(at_s, e) for at_s, e in times if 0 <= at_s <= curves.end_s][: len(_LETTERS)]
    return tuple(
        Mark(letter, at_s, event_level(event) in ("warning", "alarm"))
        for letter, (at_s, event) in zip(_LETTERS, shown, strict=False)
    )


def events_section(sheet: RunSheet, marks: tuple[Mark, ...], t: Texts) -> Section:
    """The list, and how many events a long one leaves out."""
    letters, start = _by_event(sheet, marks), _start_ns(sheet)
    few = len(sheet.events) <= FEW_EVENTS
    rows: list[tuple[str, ...]] = [
        (letters.get(index, ""), clock_time(event.utc), _since(event, start), _words(event, t))
        for index, event in enumerate(sheet.events)
        if few or event.kind not in ROUTINE
    ]
    head = (
        Column(t("events.mark")),
        Column(t("events.time")),
        Column(t("events.since"), "right"),
        Column(t("events.what")),
    )
    shown = _ends(rows, t)
    table = Table(t("events.title"), head, tuple(shown), wide=3, halves=True)
    if few:
        return Section(t("events.title"), (table,))
    steps = len(sheet.events) - len(rows)
    note = t("events.left_out_note", steps=steps, number=sheet.number)
    return Section(t("events.title"), (table, Lines((note,), "small")))


def _ends(rows: list[tuple[str, ...]], t: Texts) -> list[tuple[str, ...]]:
    left_out = len(rows) - MOST_EVENTS
    if left_out <= 0:
        return rows
    half = MOST_EVENTS // 2
    return [*rows[:half], ("", "", "", t("events.left_out", number=left_out)), *rows[-half:]]


def _start_ns(sheet: RunSheet) -> int | None:
    return next((e.at_ns for e in sheet.events if e.kind is EventKind.SUCTION_SEEN_ON), None)


def _since(event: Event, start_ns: int | None) -> str:
    return "" if start_ns is None else since_text((event.at_ns - start_ns) / 1e9)


def _by_event(sheet: RunSheet, marks: tuple[Mark, ...]) -> dict[int, str]:
    """Letter by the event's place in the list."""
    start = _start_ns(sheet) or 0
    waiting = list(marks)
    found: dict[int, str] = {}
    for index, event in enumerate(sheet.events):
        here = waiting and event.kind in MARKED and (event.at_ns - start) / 1e9 == waiting[0].at_s
        if here:
            found[index] = waiting.pop(0).letter
    return found


def _words(event: Event, t: Texts) -> str:
    return told(event_text(event.kind, event.data), t)
