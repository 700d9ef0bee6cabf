"""Reviews in the store: chained, atomic under kill -9, published as the next revision; sending again."""

from __future__ import annotations

import json
import shutil
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from logger.app.clock import utc_now
from logger.app.ids import UuidV7
from logger.core.record import build_record
from logger.core.register.enter import enter
from logger.core.register.events import RegisterEvent, RegisterKind
from logger.core.register.people import Person
from logger.core.register.policy import CheckPolicy
from logger.core.register.state import RegisterState
from logger.core.review import ReviewKind
from logger.core.review_steps import SendAgain, correct, invalidate, sign, typed_author
from logger.core.run.commands import Refused
from logger.core.run.events import Event
from logger.core.run.facts import fold
from logger.core.run.plan import sha256_json
from logger.core.run.recompute import read_changes
from logger.core.run.states import RunState
from logger.store.bundle import chained_files, check_bundle, with_manifest
from logger.store.history import find_run, reading, record_texts, run_events
from logger.store.journal import Journal
from logger.store.outbox_rows import mark_sent
from logger.store.reviews import StoreReviews
from logger.store.verify import verify
from tests.core.register.entries import BALANCE, NOW
from tests.core.typed_runs import typed_events

ROSA = Person(id="rosa", name="Rosa Roth", roles=("reviewer",), added_utc=NOW)
ANNA = typed_author("anna")
WAIT_S = 10.0


def open_journal(path: Path) -> Journal:
    return Journal(path, utc_now, UuidV7().new_id, on_failure=lambda error: None)


def keep(journal: Journal, number: int = 1) -> str:
    """One finished run with its record, packed."""
    run_id = f"00000000-0000-7000-8000-{number:012d}"
    events = typed_events(run_id=run_id)
    journal.start_run(run_id, events[0]).result(WAIT_S)
    for event in events[1:]:
        journal.add(run_id, [event])
        journal.flush().result(WAIT_S)
    facts = fold(events)
    journal.issue_record(run_id, lambda head: build_record(run_id, facts, head)).result(WAIT_S)
    journal.archive(run_id).result(WAIT_S)
    return run_id


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A closed store with two runs, in a folder of its own."""
    made = tmp_path_factory.mktemp("kept") / "s.sqlite"
    journal = open_journal(made)
    keep(journal, 1)
    keep(journal, 2)
    journal.close()
    return made.parent


@pytest.fixture
def path(kept: Path, tmp_path: Path) -> Path:
    shutil.copytree(kept, tmp_path / "store")
    return tmp_path / "store" / "s.sqlite"


@pytest.fixture
def journal(path: Path) -> Iterator[Journal]:
    failures: list[Exception] = []
    made = Journal(path, utc_now, UuidV7().new_id, on_failure=failures.append)
    yield made
    made.close()
    assert failures == []


def accept(reviews: StoreReviews, which: str = "1") -> dict[str, Any]:
    seen = reviews.look(which)
    return reviews.append(seen, sign(seen.body, ROSA, ReviewKind.ACCEPTED, "", NOW)).result(WAIT_S)


def relabel(reviews: StoreReviews, lot: str) -> dict[str, Any]:
    seen = reviews.look("1")
    changes = read_changes(seen.body, fold(seen.events), {"lot": lot})
    return reviews.append(seen, correct(seen.body, changes, {}, ANNA, "label", NOW)).result(WAIT_S)


def declare_invalid(reviews: StoreReviews) -> dict[str, Any]:
    seen = reviews.look("1")
    return reviews.append(seen, invalidate(seen.body, ANNA, "sieve torn", NOW)).result(WAIT_S)


def sound(path: Path) -> bool:
    with reading(path) as connection:
        return all(finding.sound for finding in verify(connection))


def records(path: Path, number: str = "1") -> list[tuple[int, str]]:
    with reading(path) as connection:
        return record_texts(connection, find_run(connection, number).run_id)


def unsent(path: Path) -> list[tuple[int, str, str]]:
    with reading(path) as connection:
        return connection.execute(
            "SELECT seq, kind, run_id FROM outbox WHERE sent_at IS NULL AND set_aside IS NULL ORDER BY seq"
        ).fetchall()


def test_each_step_is_the_next_revision_chained_and_queued(path: Path, journal: Journal) -> None:
    reviews, first = StoreReviews(journal), records(path)
    assert accept(reviews)["review"] == "accepted"
    assert sound(path)
    assert relabel(reviews, "L-2")["review"] == "unreviewed"
    assert sound(path)
    assert declare_invalid(reviews)["outcome"] == "invalid"
    assert sound(path)
    kept = records(path)
    assert kept[0] == first[0], "what was there before stays as it was, byte by byte"
    assert [revision for revision, _ in kept] == [1, 2, 3, 4]
    with reading(path) as connection:
        run_id = find_run(connection, "1").run_id
        events = run_events(connection, run_id)
        published = connection.execute(
            "SELECT json_extract(body, '$.revision') FROM outbox WHERE kind = 'record' AND run_id = ? ORDER BY seq",
            (run_id,),
        ).fetchall()
    kinds = [event.kind.value for event in events if event.utc != NOW][-7:]
    assert [each for (each,) in published] == [1, 2, 3, 4]
    assert kinds == [
        "reviewed", "closed", "record_issued", "corrected", "record_issued", "declared_invalid", "record_issued",
    ]  # fmt: skip
    assert fold(events).state is RunState.CLOSED
    assert fold(events).plan["sample"]["lot"] == "L-2"


def test_a_bundle_of_a_reviewed_run_is_checked_anywhere(path: Path, journal: Journal) -> None:
    reviews = StoreReviews(journal)
    accept(reviews)
    accept(reviews, "2")
    relabel(reviews, "L-2")
    with reading(path) as connection:
        row = find_run(connection, "1")
        files = with_manifest(row.number, row.run_id, chained_files(connection, row))
    assert {"record-1.json", "record-2.json", "record-3.json"} <= set(files)
    assert [finding.verdict for finding in check_bundle(files)] == ["no-outside-head"]
    assert not any(b"argon2" in data for data in files.values())


@pytest.mark.parametrize(
    "part",
    ["name", *(pytest.param(name, marks=pytest.mark.full) for name in ("utc", "meaning", "record_sha256"))],
)
def test_an_altered_signature_is_found(path: Path, part: str) -> None:
    journal = open_journal(path)
    accept(StoreReviews(journal))
    journal.close()
    body = json.loads(records(path)[1][1])
    body["signatures"][0][part] = "0"
    plain = {name: value for name, value in body.items() if name != "record_sha256"}
    body["record_sha256"] = sha256_json(plain)
    with closing(sqlite3.connect(path)) as other:
        other.execute("UPDATE record SET body = ? WHERE revision = 2", (json.dumps(body),))
        other.commit()
    with reading(path) as connection:
        findings = verify(connection)
    assert [f.verdict for f in findings] == ["altered"]
    assert "record revision 2 was altered" in findings[0].text


def test_who_looked_at_another_revision_is_told_to_look_again(path: Path, journal: Journal) -> None:
    reviews = StoreReviews(journal)
    seen = reviews.look("1")
    step = sign(seen.body, ROSA, ReviewKind.ACCEPTED, "", NOW)
    relabel(reviews, "L-2")
    with pytest.raises(Refused, match="has changed meanwhile"):
        reviews.append(seen, step).result(WAIT_S)
    assert [revision for revision, _ in records(path)] == [1, 2]


def test_an_event_after_the_look_counts_as_a_change(path: Path, journal: Journal) -> None:
    reviews = StoreReviews(journal)
    seen = reviews.look("1")
    step = sign(seen.body, ROSA, ReviewKind.ACCEPTED, "", NOW)
    noted = Event(type(step.kind).NOTED, 0, NOW, {"by": "op-7", "note": "other", "text": "dust"})
    journal.add(seen.run_id, [noted])
    with pytest.raises(Refused, match="has changed meanwhile"):
        reviews.append(seen, step).result(WAIT_S)


def test_what_is_not_there_is_said(path: Path, journal: Journal) -> None:
    reviews = StoreReviews(journal)
    with pytest.raises(Refused, match="There is no run 9"):
        reviews.look("9")
    events = typed_events(run_id="open")
    journal.start_run("open", events[0]).result(WAIT_S)
    with pytest.raises(Refused, match="no record yet"):
        reviews.look("3")


_KILLED = """
import os, signal, sys
from pathlib import Path
from logger.app.clock import utc_now
from logger.app.ids import UuidV7
from logger.core.review import ReviewKind
from logger.core.review_steps import sign
from logger.store.journal import Journal
from logger.store.reviews import StoreReviews
from tests.store.test_reviews import NOW, ROSA
path, place = Path(sys.argv[1]), sys.argv[2]
armed = False
def utc():
    if armed:
        os.kill(os.getpid(), signal.SIGKILL)
    return utc_now()
journal = Journal(path, utc, UuidV7().new_id, on_failure=print)
reviews = StoreReviews(journal)
seen = reviews.look("1")
step = sign(seen.body, ROSA, ReviewKind.ACCEPTED, "", NOW)
armed = place == "inside"
reviews.append(seen, step).result(10)
os.kill(os.getpid(), signal.SIGKILL)
"""


@pytest.mark.parametrize(
    ("place", "revisions"), [("inside", [1]), pytest.param("after", [1, 2], marks=pytest.mark.full)]
)
def test_a_kill_leaves_all_of_a_signature_or_nothing(path: Path, place: str, revisions: list[int]) -> None:
    before = unsent(path)
    done = subprocess.run([sys.executable, "-c", _KILLED, str(path), place], check=False, timeout=60)
    assert done.returncode == -signal.SIGKILL
    open_journal(path).close()
    assert sound(path)
    assert [revision for revision, _ in records(path)] == revisions
    new = [kind for _, kind, _ in unsent(path)[len(before) :]]
    assert new == ([] if place == "inside" else ["record", "event", "event", "event"]), (
        "it still goes to the plant"
    )


def make_again(state: RegisterState, what: str, messages: int) -> RegisterEvent:
    entry = {"what": what, "messages": messages}
    return enter(
        RegisterKind.SENT_AGAIN,
        entry,
        by="op-7",
        why="gap",
        utc=NOW,
        state=state,
        policy=CheckPolicy(),
        balance=BALANCE,
    )


def test_what_is_sent_again_has_its_old_number_and_id(path: Path, journal: Journal) -> None:
    def all_sent(connection: sqlite3.Connection) -> list[tuple[Any, ...]]:
        rows = connection.execute("SELECT seq, message_id, body, run_id FROM outbox ORDER BY seq").fetchall()
        for seq, *_ in rows:
            mark_sent(connection, [seq], NOW)
        return rows

    rows = journal.writer.submit(all_sent).result(WAIT_S)
    assert unsent(path) == []
    reviews = StoreReviews(journal)
    event = reviews.send_again(SendAgain(first=1, last=1), make_again).result(WAIT_S)
    mine = [row for row in rows if row[3].endswith("1")]
    assert (event.data["what"], event.data["messages"]) == ("run 1", len(mine))
    with reading(path) as connection:
        again = connection.execute(
            "SELECT seq, message_id, body, run_id FROM outbox WHERE sent_at IS NULL ORDER BY seq"
        ).fetchall()
    assert again == mine
    reviews.send_again(SendAgain(first=1, last=len(rows), by_seq=True), make_again).result(WAIT_S)
    assert len(unsent(path)) == len(rows)
    assert sound(path)


@pytest.mark.parametrize(("first", "last"), [(0, 1), (2, 1), (1, 10**6)])
def test_an_impossible_range_is_refused(journal: Journal, first: int, last: int) -> None:
    with pytest.raises(Refused, match="Name at most"):
        StoreReviews(journal).send_again(SendAgain(first=first, last=last), make_again).result(WAIT_S)


def test_nothing_to_send_is_said_and_no_entry_is_made(path: Path, journal: Journal) -> None:
    wanted = SendAgain(first=7, last=9)
    with pytest.raises(Exception, match="no message to send again"):
        StoreReviews(journal).send_again(wanted, make_again).result(WAIT_S)
