"""Planned, running, started, done, withdrawn: read from the runs."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from logger.core.method import Determinations
from logger.core.refusal import ResultError
from logger.core.register.events import RegisterKind
from logger.core.worklist.status import item_status, statuses
from tests.core.register.entries import NOW, Register
from tests.core.run.plans import interval_method
from tests.core.worklist.test_job import run

K = RegisterKind
TWICE = replace(interval_method(), determinations=Determinations(count=2))


def _planned(*samples: dict[str, Any]) -> Register:
    register = Register()
    register.add(K.SAMPLES_PLANNED, {"source": "plan.csv", "samples": list(samples)})
    return register


def _state(runs: list[Any], **sample: Any) -> tuple[str, str]:
    register = _planned({"sample_id": "S-1", "lot": "L", "method_id": "m"} | sample)
    found = item_status(register.state.worklist.items[1], runs, {"m": TWICE})
    return found.state, found.text


def later(number: int, **changes: Any) -> Any:
    return replace(run(number), started_at="2026-02-01T07:00:00.000Z", **changes)


def test_an_item_goes_from_planned_to_done() -> None:
    assert _state([]) == ("planned", "")
    assert _state([later(1, outcome="", residue_pct=None)])[0] == "running"
    assert _state([later(1, outcome="aborted", residue_pct=None)]) == ("planned", "run 1 ended as aborted")
    assert _state([later(1)]) == ("started", "next: determination 2 of 2, on a fresh test portion")
    assert _state([later(1), later(2)]) == ("done", "run 1, 2")


def test_runs_of_another_lot_time_method_or_before_the_plan_are_not_its_own() -> None:
    for other in (
        later(1, lot="K"),
        later(1, sampled_at="2026-01-31 06:00"),
        later(1, method_id="other"),
        later(1, sample_id="S-2"),
        replace(run(1), started_at="2026-02-01T05:59:59.000Z"),
    ):
        assert _state([other]) == ("planned", "")


def test_order_is_priority_then_due_then_as_planned() -> None:
    register = _planned(
        {"sample_id": "a"},
        {"sample_id": "b", "due": "2031-05-03"},
        {"sample_id": "c", "due": "2031-05-02T06:00"},
        {"sample_id": "d", "priority": 1},
    )
    found = statuses(register.state.worklist, [], {})
    assert [each.item.sample.sample_id for each in found] == ["d", "c", "b", "a"]


def test_withdrawn_with_a_reason_and_put_back() -> None:
    register = _planned({"sample_id": "a"})
    with pytest.raises(ResultError, match="say why"):
        register.add(K.SAMPLE_WITHDRAWN, {"item": 1}, why="")
    register.add(K.SAMPLE_WITHDRAWN, {"item": 1}, why="jar broken")
    found = item_status(register.state.worklist.items[1], [], {})
    assert (found.state, found.text) == ("withdrawn", "jar broken")
    with pytest.raises(ResultError, match="withdrawn already"):
        register.add(K.SAMPLE_WITHDRAWN, {"item": 1}, why="again")
    register.add(K.SAMPLE_RESTORED, {"item": 1})
    assert item_status(register.state.worklist.items[1], [], {}).state == "planned"
    with pytest.raises(ResultError, match="is not withdrawn"):
        register.add(K.SAMPLE_RESTORED, {"item": 1})


def test_a_sample_stands_once_and_numbers_are_never_used_twice() -> None:
    register = _planned({"sample_id": "a"})
    with pytest.raises(ResultError, match="on the list already as item 1"):
        register.add(K.SAMPLES_PLANNED, {"samples": [{"sample_id": "a"}]})
    register.add(K.SAMPLE_WITHDRAWN, {"item": 1}, why="jar broken")
    register.add(K.SAMPLES_PLANNED, {"samples": [{"sample_id": "a"}]})
    assert sorted(register.state.worklist.items) == [1, 2]
    with pytest.raises(ResultError, match="on the list already as item 2"):
        register.add(K.SAMPLE_RESTORED, {"item": 1})


@pytest.mark.parametrize(
    "samples",
    [
        None,
        [],
        ["a"],
        [{"sample_id": "a"}] * 2,
        [{"sample_id": "a", "colour": "red"}],
        [{"sample_id": "a", "priority": 0}],
        [{"sample_id": "a", "priority": True}],
        [{"sample_id": "a", "due": "tomorrow"}],
        [{"sample_id": "a", "aperture_um": -1}],
        [{"sample_id": f"s{n}"} for n in range(101)],
    ],
)
def test_what_the_socket_may_send_is_judged_again(samples: Any) -> None:
    with pytest.raises(ResultError):
        Register().add(K.SAMPLES_PLANNED, {"samples": samples})


def test_who_planned_it_and_when_is_kept() -> None:
    item = _planned({"sample_id": "a"}).state.worklist.items[1]
    assert (item.planned_by, item.planned_utc, item.source) == ("op-7", NOW, "plan.csv")
