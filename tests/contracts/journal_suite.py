"""What every run journal must do, whatever it is made of. Subclass with a fixture `made`."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass
from typing import Any

import pytest

from logger.core.ports import RunJournal
from logger.core.readings import Reading
from logger.core.record import ChainHead, build_record
from logger.core.run.events import Event, EventKind
from tests.store.quick_runs import MadeRun, short_run

WAIT_S = 10.0


@dataclass
class JournalUnderTest:
    """`flush` waits until all is durable. The others give what a reader of the store finds."""

    journal: RunJournal
    flush: Callable[[], Any]
    events: Callable[[str], list[Event]]
    readings: Callable[[str], list[Reading]]
    record: Callable[[str], dict[str, Any] | None]


def kept(made: JournalUnderTest, run: MadeRun) -> dict[str, Any]:
    """The whole run, as the service hands it over."""
    journal = made.journal
    journal.start_run(run.run_id, run.events[0]).result(WAIT_S)
    for place in range(0, len(run.readings), 7):
        journal.add(run.run_id, [], run.readings[place : place + 7])
    journal.add(run.run_id, run.events[1:])
    return journal.issue_record(run.run_id, lambda head: build_record(run.run_id, run.facts, head)).result(
        WAIT_S
    )


class JournalSuite:
    """Subclass as Test... with a fixture `made`."""

    def test_runs_are_numbered_from_one(self, made: JournalUnderTest) -> None:
        runs = [short_run(seed) for seed in (1, 2, 3)]
        numbers = [made.journal.start_run(run.run_id, run.events[0]).result(WAIT_S) for run in runs]
        assert numbers == [1, 2, 3]

    def test_a_run_cannot_begin_twice(self, made: JournalUnderTest) -> None:
        run = short_run(1)
        made.journal.start_run(run.run_id, run.events[0]).result(WAIT_S)
        with pytest.raises(Exception, match=r".") as told:
            made.journal.start_run(run.run_id, run.events[0]).result(WAIT_S)
        assert "Traceback" not in str(told.value)
        made.flush()
        assert made.events(run.run_id) == run.events[:1]

    def test_everything_handed_over_is_kept_in_order(self, made: JournalUnderTest) -> None:
        run = short_run(1, readings=50)
        kept(made, run)
        assert made.events(run.run_id)[: len(run.events)] == run.events
        assert made.readings(run.run_id) == run.readings

    def test_two_runs_do_not_mix(self, made: JournalUnderTest) -> None:
        one, two = short_run(1, readings=20), short_run(2, readings=20)
        for run in (one, two):
            made.journal.start_run(run.run_id, run.events[0]).result(WAIT_S)
        for place in range(20):
            for run in (one, two):
                made.journal.add(run.run_id, [], run.readings[place : place + 1])
        made.flush()
        assert made.readings(one.run_id) == one.readings
        assert made.readings(two.run_id) == two.readings

    def test_the_record_sees_everything_before_it_and_is_chained(self, made: JournalUnderTest) -> None:
        run = short_run(1)
        body = kept(made, run)
        assert made.record(run.run_id) == body
        assert (body["journal"]["events"], body["outcome"]) == (len(run.events), "aborted")
        last = made.events(run.run_id)[-1]
        assert last.kind is EventKind.RECORD_ISSUED
        assert last.data == {"revision": 1, "sha256": body["record_sha256"]}

    def test_the_head_moves_with_every_batch(self, made: JournalUnderTest) -> None:
        heads: list[ChainHead] = []
        for seed in (1, 2):
            run = short_run(seed)
            made.journal.start_run(run.run_id, run.events[0]).result(WAIT_S)
            made.journal.add(run.run_id, run.events[1:])

            def build(head: ChainHead, run: MadeRun = run) -> Any:
                heads.append(head)
                return build_record(run.run_id, run.facts, head)

            made.journal.issue_record(run.run_id, build).result(WAIT_S)
        assert heads[0].batch < heads[1].batch
        assert len({head.sha256 for head in heads}) == 2

    def test_a_record_that_cannot_be_built_stores_nothing(self, made: JournalUnderTest) -> None:
        run = short_run(1)
        made.journal.start_run(run.run_id, run.events[0]).result(WAIT_S)

        def build(head: ChainHead) -> Any:
            raise ValueError("not ended")

        failed: Future[Any] = made.journal.issue_record(run.run_id, build)
        with pytest.raises(ValueError, match="not ended"):
            failed.result(WAIT_S)
        assert made.record(run.run_id) is None
        assert made.events(run.run_id) == run.events[:1]

    def test_packing_changes_nothing_that_can_be_read_and_may_be_asked_twice(
        self, made: JournalUnderTest
    ) -> None:
        run = short_run(1, readings=200)
        kept(made, run)
        before = made.events(run.run_id), made.readings(run.run_id)
        made.journal.archive(run.run_id).result(WAIT_S)
        made.journal.archive(run.run_id).result(WAIT_S)
        assert (made.events(run.run_id), made.readings(run.run_id)) == before
