"""What is due at a bench now: one list for the start of a shift, in the order in which it is done."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Literal

from logger.core.register.fitness import Fitness, balance_fitness, pressure_fitness, sieve_fitness
from logger.core.register.policy import CheckPolicy
from logger.core.register.state import RegisterState
from logger.core.shift.policy import ShiftPolicy
from logger.core.shift.words import PART_WORDS

Task = Literal["bag", "air", "zero", "balance", "sieve", "pressure", "blank", "backup", "drill"]
Standing = Literal["failed", "due", "done", "not asked"]

_STANDING: dict[str, Standing] = {"fit": "done", "due": "due", "failed": "failed", "not asked": "not asked"}
_URGENCY: dict[Standing, int] = {"failed": 0, "due": 1, "done": 2, "not asked": 3}
BLANK_DAYS = 90.0
"""A blank run counts this long where its rig file does not say (common practice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DueItem:
    """One task: how it stands, in words, and what to do about it. `subject` is the sieve of a sieve check."""

    task: Task
    subject: str
    title: str
    standing: Standing
    text: str
    how: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ShiftFacts:
    """What the store and the bench know besides the register. Times are UTC, None where not known.

    Runs are counted since: the judged balance check, the last new bag or filter, each sieve's last check.
    `rig_valid_days` as the rig file says. `needs_blank`: the balance carries the rig.
    """

    runs_since_balance: int = 0
    runs_since_part: int = 0
    sieve_runs: Mapping[str, int] = field(default_factory=dict)
    needs_blank: bool = False
    rig_measured_utc: str | None = None
    rig_valid_days: float | None = None
    backup_utc: str | None = None


def due_items(
    state: RegisterState, checks: CheckPolicy, shift: ShiftPolicy, facts: ShiftFacts, utc: str
) -> tuple[DueItem, ...]:
    """Every task of the start of a shift: what failed, then what is due, then the rest, each in order."""
    items = [
        _part(state, shift, facts, utc),
        _air(state, shift, utc),
        _zero(state, shift, utc),
        _of(balance_fitness(state, checks, utc, facts.runs_since_balance), "balance check", _BALANCE),
        *_sieves(state, checks, facts, utc),
        _of(pressure_fitness(state, checks, utc), "pressure check", _PRESSURE),
        _blank(facts, utc),
        _backup(shift, facts, utc),
        _drill(state, shift, utc),
    ]
    return tuple(sorted(items, key=lambda item: _URGENCY[item.standing]))


_BALANCE = "Put each check weight on the empty pan."
_PRESSURE = "Span beside a reference: lastgrain checks pressure"
_SIEVE = "Sieve the reference powder: lastgrain sieves reference {name}"


def _of(found: Fitness, title: str, how: str, subject: str = "") -> DueItem:
    return DueItem(
        task=found.what,
        subject=subject,
        title=title,
        standing=_STANDING[found.standing],
        text=found.text,
        how=how,
    )


def _sieves(state: RegisterState, checks: CheckPolicy, facts: ShiftFacts, utc: str) -> list[DueItem]:
    return [
        _of(
            sieve_fitness(entry, checks, utc, facts.sieve_runs.get(name, 0)),
            f"sieve {name}",
            _SIEVE.format(name=name),
            name,
        )
        for name, entry in sorted(state.sieves.items())
        if not entry.retired
    ]


def _part(state: RegisterState, shift: ShiftPolicy, facts: ShiftFacts, utc: str) -> DueItem:
    last = state.shift.parts[-1] if state.shift.parts else None
    over = []
    if last is None:
        text = "no change of bag or filter is known"
    else:
        days = _days(last.utc, utc)
        text = f"new {PART_WORDS[last.part]} {_ago(days)} and {facts.runs_since_part} runs ago"
        if shift.bag_every_days is not None and days > shift.bag_every_days:
            over.append(f"every {shift.bag_every_days:g} days asked for")
        if shift.bag_every_runs is not None and facts.runs_since_part >= shift.bag_every_runs:
            over.append(f"every {shift.bag_every_runs} runs asked for")
    asked = shift.bag_every_days is not None or shift.bag_every_runs is not None
    how = "Suction off and cold: change it as its maker says, then enter it."
    due = bool(over) or last is None
    return _item("bag", "extractor bag", asked, due, "; ".join([text, *over]), how)


def _air(state: RegisterState, shift: ShiftPolicy, utc: str) -> DueItem:
    last = state.shift.airs[-1] if state.shift.airs else None
    text = "not measured yet" if last is None else f"{last.text}, {_ago(_days(last.utc, utc))} ago"
    due = last is None or _over(last.utc, utc, shift.air_every_hours)
    how = "Read the thermometer and hygrometer at the bench."
    found = _item("air", "temperature, humidity", shift.air_every_hours is not None, due, text, how)
    return found if due or last is None or last.within else _failed(found)


def _zero(state: RegisterState, shift: ShiftPolicy, utc: str) -> DueItem:
    last = state.shift.zeros[-1] if state.shift.zeros else None
    text = "not taken yet" if last is None else f"{last.text}, {_ago(_days(last.utc, utc))} ago"
    due = last is None or _over(last.utc, utc, shift.zero_every_hours)
    how = "With the suction off, take what the transducer shows."
    found = _item("zero", "pressure zero", shift.zero_every_hours is not None, due, text, how)
    return found if last is None or last.passed else _failed(found)


def _blank(facts: ShiftFacts, utc: str) -> DueItem:
    measured, valid_days = facts.rig_measured_utc, facts.rig_valid_days or BLANK_DAYS
    if measured is None:
        text = (
            "this rig has no blank run" if facts.needs_blank else "not needed with the balance beside the rig"
        )
        due = facts.needs_blank
    else:
        days = _days(measured, utc)
        text, due = f"made {_ago(days)} ago, counts {valid_days:g} days", days > valid_days
    asked = facts.needs_blank or measured is not None
    how = "Empty sieve, jet on: lastgrain blank"
    return _item("blank", "blank run", asked, due, text, how)


def _backup(shift: ShiftPolicy, facts: ShiftFacts, utc: str) -> DueItem:
    every = shift.backup_every_days
    last = facts.backup_utc
    text = "no backup is known" if last is None else f"made {_ago(_days(last, utc))} ago"
    due = last is None or (every is not None and _days(last, utc) > every)
    return _item("backup", "backup", every is not None, due, text, "Make one: lastgrain backup TO")


def _drill(state: RegisterState, shift: ShiftPolicy, utc: str) -> DueItem:
    every = shift.drill_every_days
    last = state.shift.drills[-1] if state.shift.drills else None
    text = "none is known" if last is None else f"{_ago(_days(last.utc, utc))} ago: {last.note}"
    due = last is None or (every is not None and _days(last.utc, utc) > every)
    how = "On trial, compared with the live store: lastgrain restore FROM --drill"
    return _item("drill", "restore drill", every is not None, due, text, how)


def _item(task: Task, title: str, asked: bool, due: bool, text: str, how: str) -> DueItem:
    standing: Standing = "not asked" if not asked else "due" if due else "done"
    return DueItem(task=task, subject="", title=title, standing=standing, text=text, how=how)


def _failed(item: DueItem) -> DueItem:
    return DueItem(
        task=item.task,
        subject=item.subject,
        title=item.title,
        standing="failed",
        text=item.text,
        how=item.how,
    )


def _over(earlier_utc: str, utc: str, every_hours: float | None) -> bool:
    return every_hours is not None and 24 * _days(earlier_utc, utc) > every_hours


def _days(earlier_utc: str, utc: str) -> float:
    first, now = (_moment(text) for text in (earlier_utc, utc))
    return max(0.0, (now - first).total_seconds() / 86_400)


def _moment(text: str) -> datetime:
    """A time without an offset is UTC, as everywhere in the store."""
    found = datetime.fromisoformat(text)
    return found.replace(tzinfo=UTC) if found.tzinfo is None else found


def _ago(days: float) -> str:
    if days < 1 / 24:
        return f"{24 * 60 * days:.0f} min"
    return f"{24 * days:.0f} h" if days < 2 else f"{days:.0f} days"
