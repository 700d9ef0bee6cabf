"""What changed between two pictures, as plain sentences: for line mode and screen readers."""

from __future__ import annotations

import re

from logger.console.keys import step
from logger.console.literal import literal
from logger.console.words import (
    CHANNEL_WORDS,
    LEVEL_WORDS,
    age,
    clock,
    controls_line,
    duration,
    forecast,
    mass_line,
    place,
    pressure_figure,
    pressure_word,
    rate_line,
    result_line,
    state_words,
)
from logger.core.snapshot import EventView, MassView, Snapshot
from logger.service.client import LOOKING, Watch

PROGRESS_S = 30.0
"""How often the figures are said while something goes on."""
REPEAT_S = 5.0
"""An instruction whose words change (a countdown) is said again no more often than this."""
SAME_DIGITS = 5
"""A weight nearer than so many of its last digits to the one that was told is the same."""
_SHAPES = re.compile(r"[●▲▼■◌○◆✓✗~·] ?")


def spoken(text: str) -> str:
    """The text without the shapes that only help the eye."""
    return " ".join(_SHAPES.sub("", text).split())


def figures(snapshot: Snapshot) -> list[str]:
    """All figures of the moment, a line each."""
    pressure = snapshot.pressure
    lines = [
        f"Mass {mass_line(snapshot.mass)}.",
        f"Pressure {' '.join((pressure_figure(pressure), pressure_word(pressure))).strip()}. {literal(pressure.lid)}",
    ]
    run = snapshot.run
    if run is not None:
        load = "" if run.load_pct is None else f", load {run.load_pct:.2f} %"
        lines.append(f"Elapsed {duration(run.elapsed_s)}, effective {duration(run.effective_s)}{load}.")
        lines.append(f"Loss rate: {rate_line(run.rate)}. {forecast(run.rate)}")
        lines += [f"Still open: {literal(each)}." for each in run.rate.open_conditions]
    return [spoken(each) for each in lines]


class Reporter:
    """Remembers what was said. `take` returns the new sentences."""

    def __init__(self) -> None:
        self._before: Snapshot | None = None
        self._answering: bool | None = None
        self._last_seq = -1
        self._said_g: float | None = None
        self._asked_at_s = self._figures_at_s = float("-inf")

    def take(self, watch: Watch, now_s: float) -> list[str]:
        """What is new in this picture, seen at `now_s` of any monotonic clock."""
        lines = self._link(watch)
        if watch.snapshot is None or not watch.answering:
            return lines
        before, self._before = self._before, watch.snapshot
        lines += self._events(watch.snapshot)
        lines += self._changes(before, watch.snapshot, now_s)
        return [spoken(each) for each in lines]

    def _link(self, watch: Watch) -> list[str]:
        looking = self._answering is None and watch.problem == LOOKING
        if watch.answering == self._answering or looking:
            return []
        self._answering, first = watch.answering, self._answering is None
        if watch.answering:
            return [] if first else ["The service answers again."]
        seen = "" if watch.age_s is None else f" Last heard {age(watch.age_s)} ago."
        return [f"The service does not answer: {literal(watch.problem)}.{seen}"]

    def _events(self, snapshot: Snapshot) -> list[str]:
        first = self._last_seq < 0
        new = [each for each in snapshot.events if each.seq > self._last_seq]
        if new:
            self._last_seq = new[-1].seq
        return [_event(each) for each in (new[-3:] if first else new)]

    def _changes(self, before: Snapshot | None, now: Snapshot, now_s: float) -> list[str]:
        lines: list[str] = []
        if before is None:
            lines.append(f"Bench {place(now)}. {controls_line(now)}.")
        elif (before.controls_held_by, before.you_hold_controls) != (
            now.controls_held_by,
            now.you_hold_controls,
        ):
            lines.append(f"Now {controls_line(now)}.")
        lines += _alarms(before, now) + _links(before, now) + _state(before, now)
        lines += self._asked(before, now, now_s)
        lines += self._weight(now)
        return lines + self._progress(now, now_s)

    def _asked(self, before: Snapshot | None, now: Snapshot, now_s: float) -> list[str]:
        asked = now.instruction
        if before is not None and before.instruction == asked and step(before.can) == step(now.can):
            return []
        same_step = before is not None and before.instruction.key == asked.key and before.state == now.state
        if same_step and now_s - self._asked_at_s < REPEAT_S:
            self._before = before if before is not None and before.instruction != asked else now
            return []
        self._asked_at_s = now_s
        enter = step(now.can)
        tail = f" Enter: {enter[1]}." if enter else ""
        return [f"Do now: {literal(asked.text)}. {literal(asked.detail)}{tail}".replace("..", ".")]

    def _weight(self, now: Snapshot) -> list[str]:
        """A weight that has just come to rest while one is asked for; the same one is not told again."""
        mass = now.mass
        if "accept_weight" not in now.can or mass.value_g is None or self._moved_away(mass):
            self._said_g = None
        if (
            "accept_weight" not in now.can
            or not mass.stable
            or mass.value_g is None
            or self._said_g is not None
        ):
            return []
        self._said_g = mass.value_g
        return [f"Mass {mass_line(mass)}."]

    def _moved_away(self, mass: MassView) -> bool:
        """From the weight that was told; a digit or two of noise is not worth a line."""
        if self._said_g is None or mass.value_g is None:
            return False
        return abs(mass.value_g - self._said_g) >= SAME_DIGITS * 10.0**-mass.decimals

    def _progress(self, now: Snapshot, now_s: float) -> list[str]:
        run = now.run
        if run is None or run.elapsed_s is None or now.state not in ("sieving", "drawing_down"):
            self._figures_at_s = now_s
            return []
        if now_s - self._figures_at_s < PROGRESS_S:
            return []
        self._figures_at_s = now_s
        return figures(now)


def _event(event: EventView) -> str:
    word = LEVEL_WORDS[event.level]
    return f"{clock(event.utc)} {word + ': ' if word else ''}{literal(event.text)}"


def _alarms(before: Snapshot | None, now: Snapshot) -> list[str]:
    old = {each.key: each for each in before.alarms} if before else {}
    new = {each.key: each for each in now.alarms}
    raised = [
        f"{LEVEL_WORDS[each.level] or each.level.upper()}: {literal(each.text)}"
        for key, each in new.items()
        if key not in old
    ]
    return raised + [f"Cleared: {literal(each.text)}" for key, each in old.items() if key not in new]


def _links(before: Snapshot | None, now: Snapshot) -> list[str]:
    old = {each.channel: each.state for each in before.links} if before else {}
    return [
        f"The {CHANNEL_WORDS[each.channel]} link is {each.state}. {literal(each.text)}"
        for each in now.links
        if each.state != old.get(each.channel, "up")
    ]


def _state(before: Snapshot | None, now: Snapshot) -> list[str]:
    if before is not None and before.state == now.state:
        return []
    lines = [f"State: {state_words(now.state)}."]
    if now.run is not None and now.run.held_reason and now.state == "held":
        lines.append(f"On hold: {literal(now.run.held_reason)}.")
    if now.run is not None and now.run.result is not None:
        lines.append(f"Result: {result_line(now.run.result)}. {literal(now.run.result.reason)}")
    return lines
