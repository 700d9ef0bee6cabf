"""A small history with readings in it, and the real answers of the service to questions about it."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from logger.app.history import questions
from logger.app.paths import DataFolder
from logger.core.method import Method
from logger.core.readings import Channel, Reading
from logger.core.record import build_record
from logger.core.refusal import ResultError
from logger.core.run.commands import Command, Do, Refused
from logger.core.run.events import EventKind as E
from tests.core.run.made_runs import PLANNED, end, live_method, method, planned_engine
from tests.store.quick_runs import open_journal

SECOND = 1_000_000_000
Found = tuple[bool, str, Any]


@dataclass(frozen=True)
class Kept:
    """One run to keep; `outcome` None aborts it."""

    residue_g: float = 0.95
    outcome: E | None = E.ENDPOINT_REACHED
    sample: str = "MILL-2-0417"
    lot: str = "L-88"
    live: bool = False
    sieve: bool = True


RUNS = (
    Kept(),
    Kept(0.99),
    Kept(0.97, live=True),
    Kept(1.2, sample="MILL-2-0418"),
    Kept(outcome=None, sample="MILL-2-0418"),
    Kept(0.93, sample="MILL-2-0419", lot="", outcome=E.TIME_LIMIT_REACHED, sieve=False),
)


def readings(live: bool) -> list[Reading]:
    """Two of each instrument a second, for 90 s: a falling load, a pressure that sags once."""
    found = []
    for place in range(180):
        at_s = place / 2
        load_g = 25.0 * (0.04 + 0.96 * math.exp(-at_s / 12))
        dp_pa = 0.0 if at_s > 70 else 2500 + 20 * math.sin(at_s) - (600 if 40 < at_s < 43 else 0)
        at_ns = int(at_s * SECOND)
        if live:
            found.append(
                Reading(Channel.MASS, at_ns, round(400 + load_g, 3), stable=False, resolution=0.001, raw="m")
            )
        found.append(Reading(Channel.PRESSURE, at_ns + 1000, round(dp_pa, 1), resolution=1.0, raw="p"))
    return found


def keep_history(data: DataFolder, runs: Sequence[Kept] = RUNS) -> DataFolder:
    """The folder with these runs, a day apart, numbered from 1."""
    data.prepare()
    journal = open_journal(data.store)
    for number, kept in enumerate(runs, start=1):
        chosen: Method = live_method() if kept.live else method()
        run_id = f"00000000-0000-7000-8000-{number:012d}"
        engine = planned_engine(
            chosen,
            PLANNED if kept.sieve else None,
            run_id=run_id,
            sample=kept.sample,
            lot=kept.lot,
            utc=f"2026-02-{number % 28 + 1:02}T06:30:00.000Z",
        )
        if kept.outcome is None:
            engine.command(Command(Do.ABORT, "op-7", {"reason": "wrong sample"}), 0)
        else:
            end(engine.run, kept.outcome, residue_g=kept.residue_g)
        events, facts = engine.take_events(), engine.run.facts
        journal.start_run(run_id, events[0]).result()
        journal.add(run_id, events[1:], [] if kept.outcome is None else readings(kept.live))
        journal.issue_record(run_id, lambda head, r=run_id, f=facts: build_record(r, f, head)).result()  # type: ignore[misc]
        journal.archive(run_id).result()
    journal.close()
    return data


def answers(data: DataFolder) -> Callable[[str, dict[str, Any]], Found]:
    """Answers questions as the service does, for the fake service of the console's tests."""
    known = questions(data)

    def found(what: str, args: dict[str, Any]) -> Found:
        try:
            return True, "", known[what](args)
        except (Refused, ResultError) as refusal:
            return False, str(refusal), None

    return found
