"""A bench with registered people: who may start a run, how it is left, and that a review frees the bench."""

from __future__ import annotations

import asyncio
import dataclasses
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from logger.core.register.enter import enter
from logger.core.register.events import RegisterEvent, RegisterKind
from logger.core.register.policy import CheckPolicy
from logger.core.register.state import RegisterState
from logger.core.run.engine import RunEngine
from logger.core.run.states import RunState
from logger.store.journal import Journal
from logger.store.register import StoreRegister
from tests.core.register.entries import BALANCE, NOW
from tests.core.run.made_runs import end, method, planned_engine
from tests.service.bench import STARTED, DeskBench
from tests.store.quick_runs import open_journal

WAIT_S = 10.0


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Journal]:
    made = open_journal(tmp_path / "s.sqlite")
    yield made
    made.close()


def staffed(journal: Journal) -> DeskBench:
    """A bench whose register has an admin, and an operator."""
    register = StoreRegister(journal.path, journal.writer, CheckPolicy())
    for person_id, roles in (("anna", ["admin"]), ("bruno", ["operator"])):
        entry = {"id": person_id, "name": person_id.title(), "roles": roles}
        register.enter(lambda state, entry=entry: _added(state, entry)).result(WAIT_S)  # type: ignore[misc]
    desk = DeskBench()
    desk.service._register = register
    return desk


def _added(state: RegisterState, entry: dict[str, Any]) -> RegisterEvent:
    return enter(
        RegisterKind.PERSON_ADDED,
        entry,
        by="anna",
        why="test",
        utc=NOW,
        state=state,
        policy=CheckPolicy(),
        balance=BALANCE,
    )


def start(desk: DeskBench, operator: str) -> Any:
    return asyncio.run(desk.service.command("start", operator, STARTED | {"operator_id": operator}))


def test_only_a_registered_operator_starts_and_stands_by_name_in_the_plan(journal: Journal) -> None:
    desk = staffed(journal)
    assert "not registered" in start(desk, "op-7").text
    assert "no role operator" in start(desk, "anna").text
    assert start(desk, "BRUNO").ok
    plan = desk.journal.events[0].data
    assert (plan["sample"]["operator_id"], plan["operator_name"]) == ("bruno", "Bruno")


def awaiting_review(desk: DeskBench, operator_name: str | None) -> RunEngine:
    """The bench with a whole run on it."""
    engine = planned_engine(method())
    engine.run.plan = dataclasses.replace(engine.run.plan, operator_name=operator_name)
    end(engine.run)
    engine.take_events()
    desk.service.engine, desk.service.run_id = engine, "r"
    return engine


@pytest.mark.parametrize(
    ("operator_name", "left"), [("Bruno", RunState.AWAITING_REVIEW), (None, RunState.CLOSED)]
)
def test_a_registered_operators_run_is_closed_by_its_review(
    operator_name: str | None, left: RunState
) -> None:
    desk = DeskBench()
    engine = awaiting_review(desk, operator_name)
    assert asyncio.run(desk.service.command("close", "bruno", {})).ok
    assert (desk.service.engine, engine.state) == (None, left)


def test_a_review_frees_the_bench_that_still_shows_the_run(journal: Journal) -> None:
    desk = DeskBench()
    awaiting_review(desk, "Bruno")
    desk.service.run_revised("another run")
    assert desk.service.engine is not None
    desk.service.run_revised("r")
    assert desk.service.can() == ("start",)
