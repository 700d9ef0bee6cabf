"""A person who puts a weight on as asked, and a line that carries what the instrument shows meanwhile."""

from __future__ import annotations

import math
import random
from collections.abc import Iterator
from dataclasses import replace

from drivers.learn.heard import Passage, Step
from drivers.learn.search import Sound, settings_to_try, sound_of
from drivers.profile import SerialSettings
from tests.drivers.learn.invented import Dialect, Shown
from tests.drivers.learn.uart import Wire, received, sent

START_S = 1000.0


def heard(dialect: Dialect, seed: int = 1, *, tares: bool = True) -> list[Passage]:
    """A whole session, as bytes with their arrival."""
    rng = random.Random(seed * 7919)
    passages: list[Passage] = []
    time_s, count = START_S, 95
    for step, shown in _script(dialect, rng, tares):
        if not passages or passages[-1].step is not step:
            passages.append(Passage(step, ()))
        time_s += dialect.period_s
        count += 1
        line = dialect.line(replace(shown, count=count, clock_s=36_000 + int(time_s)))
        chunks = _chunks(line, time_s, rng, dialect.pauses)
        passages[-1] = Passage(step, passages[-1].chunks + chunks)
    return passages


def _chunks(line: bytes, time_s: float, rng: random.Random, pauses: bool) -> tuple[tuple[bytes, int], ...]:
    at_ns = int(time_s * 1e9)
    if not pauses:
        at_ns -= at_ns % 15_000_000  # an adapter hands on what came, wherever it ends
    if rng.random() < 0.5 or len(line) < 4:
        return ((line, at_ns),)
    cut = rng.randint(1, len(line) - 1)
    return ((line[:cut], at_ns), (line[cut:], at_ns + 2_000_000))


def load_steps(dialect: Dialect) -> int:
    """What the person puts on, in digits: 187.3 g, 1.2 kPa."""
    size = {"g": 187.3, "kg": 1.873, "mg": 18_730, "lb": 2.1, "oz": 7.7}.get(dialect.unit)
    if size is None:
        size = {"Pa": 1873.0, "hPa": 18.73, "mbar": 18.73, "kPa": 1.873}.get(
            dialect.unit, 7.3
        ) * dialect.suction
    return round(size * 10.0**dialect.decimals)


def _script(dialect: Dialect, rng: random.Random, tares: bool) -> Iterator[tuple[Step, Shown]]:
    load = load_steps(dialect)
    yield from _still(Step.REST, 0, 0, dialect, rng)
    yield from _ramp(0, load, 0, dialect, rng)
    yield from _still(Step.LOADED, load, 0, dialect, rng)
    if not (dialect.is_balance and tares):
        yield from _ramp(load, 0, 0, dialect, rng)
        yield from _still(Step.REST, 0, 0, dialect, rng)
        return
    yield from _ramp(0, 0, load, dialect, rng)
    yield from _still(Step.TARED, 0, load, dialect, rng)
    yield from _ramp(0, -load, load, dialect, rng)
    yield from _still(Step.BELOW, -load, load, dialect, rng)
    yield from _ramp(0, 0, 0, dialect, rng)
    yield from _still(Step.REST, 0, 0, dialect, rng)


def _lines(seconds: float, dialect: Dialect) -> int:
    return max(round(seconds / dialect.period_s), 14)


def _still(
    step: Step, steps: int, tare: int, dialect: Dialect, rng: random.Random
) -> Iterator[tuple[Step, Shown]]:
    lines = min(_lines(4.0, dialect), 400 if dialect.period_s < 0.02 else 60)
    for i in range(lines):
        noise = rng.choice([-1, 0, 0, 0, 0, 0, 1]) if dialect.decimals or not dialect.is_balance else 0
        yield step, Shown(steps + noise, tare, stable=i > 0.25 * lines or i * dialect.period_s > 0.4)


def _ramp(
    start: int, end: int, tare: int, dialect: Dialect, rng: random.Random
) -> Iterator[tuple[Step, Shown]]:
    lines = min(_lines(2.0, dialect), 40)
    for i in range(lines):
        shape = 1.0 - math.exp(-6.0 * (i + 1) / lines)
        yield (
            Step.BETWEEN,
            Shown(round(start + (end - start) * shape), tare, stable=start == end and i > lines // 2),
        )


def fresh(dialect: Dialect, seed: int, lines: int = 120) -> list[Shown]:
    """What the display may show on another day, after a quarter of a year too."""
    rng = random.Random(seed * 104_729)
    load = abs(load_steps(dialect))
    found = []
    for i in range(lines):
        tare = rng.choice([0, 0, rng.randint(0, 3 * load)]) if dialect.is_balance else 0
        steps = rng.choice(
            [0, 1, -1, rng.randint(-load, load), rng.randint(-load, 4 * load), rng.randint(-9, 9)]
        )
        day = rng.randint(0, 90) * 86_400
        found.append(Shown(steps, tare, rng.random() < 0.6, 300 + i, day + rng.randint(0, 86_399)))
    return found


def found_settings(dialect: Dialect) -> SerialSettings | None:
    """What the search by ear makes of this dialect on a real line."""
    data = b"".join(dialect.line(Shown(steps, 0, True, steps)) for steps in (0, 12, 187, 1873, 1871, 1874))[
        :90
    ]
    levels = sent(data, dialect.wire)
    for settings in settings_to_try():
        sound = heard_as(levels, dialect, settings)
        if sound.settings is not None:
            return sound.settings
    return None


def heard_as(levels: list[int], dialect: Dialect, settings: SerialSettings) -> Sound:
    receiver = Wire(settings.baud, settings.bytesize, settings.parity, settings.stopbits)
    return sound_of(received(levels, dialect.wire.baud, receiver), settings)
