"""runs sign, correct, invalidate, republish as a person meets them, without a service; and through one."""

from __future__ import annotations

import asyncio
import contextlib
import json
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

import pytest
from argon2 import PasswordHasher

from logger.app.office import make_office, opened
from logger.service.client import ServiceClient
from logger.service.local_server import LocalServer
from logger.store import secrets
from tests.app.stores import MadeStore, made_store
from tests.app.test_people_commands import OTHER, PASSWORD, add_admin, secret
from tests.core.run.made_runs import method
from tests.service.bench import DeskBench

WAIT_S = 10.0


@pytest.fixture(autouse=True)
def cheap(monkeypatch: pytest.MonkeyPatch) -> None:
    """The real hash with little work."""
    made = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
    monkeypatch.setattr(secrets, "hasher", lambda: made)


@pytest.fixture
def store(tmp_path: Path) -> MadeStore:
    made = made_store(tmp_path / "data")
    made.run(method())
    made.run(method(), sample="S-2")
    return made


@pytest.fixture
def staffed(store: MadeStore, tmp_path: Path) -> MadeStore:
    """With an admin who is a reviewer too."""
    assert add_admin(store, tmp_path).code == 0
    return store


def record(store: MadeStore, number: str = "1") -> dict[str, Any]:
    found: dict[str, Any] = store("runs", "show", number, "--json").json["record"]
    return found


def test_without_people_nobody_signs_but_typed_names_correct(store: MadeStore) -> None:
    done = store("runs", "sign", "1", "--accept", "--by", "anna")
    assert (done.code, "Nobody is registered" in done.err) == (3, True)
    lot = ("runs", "correct", "1", "--lot", "L-7", "--by", "op-7", "--why", "label read again")
    assert "Run 1: corrected, waits for a review. Record revision 2" in store(*lot).out
    (made,) = record(store)["corrections"]
    assert (made["name"], made["method"], made["role"]) == ("op-7", "typed", "")
    assert store("runs", "verify").code == 0


def test_a_run_is_signed_corrected_and_declared_invalid(store: MadeStore, tmp_path: Path) -> None:
    add_admin(store, tmp_path)
    me = ("--by", "anna", "--password-file", secret(tmp_path))
    assert "1: reviewed and accepted by Anna Adler (anna)" in store("runs", "sign", "1", "--accept", *me).out
    assert record(store)["review"] == "accepted"
    again = store("runs", "sign", "1", "--reject", "--why", "x", *me)
    assert (again.code, "correct it first" in again.err) == (3, True)
    assert store("runs", "correct", "1", "--sample", "S-9", "--why", "mixed up", *me).code == 0
    own = store("runs", "sign", "1", "--accept", *me)
    assert (own.code, "has corrected this run" in own.err) == (3, True)
    assert store("runs", "invalidate", "1", "--why", "torn sieve", *me).code == 0
    shown = store("runs", "show", "1").out
    for words in (
        "reviewed and accepted as reviewer by Anna Adler (anna)",
        "corrected sample.sample_id 'S-1' to 'S-9' by Anna Adler (anna): mixed up",
        "review: declared invalid by Anna Adler on",
        "Run reviewed and accepted by Anna Adler (anna).",
    ):
        assert words in shown
    assert record(store)["outcome"] == "invalid"
    assert store("runs", "verify").code == 0
    assert "S-9" in store("runs", "list").out


def test_a_corrected_sample_takes_the_run_along(store: MadeStore) -> None:
    """The run is of the sample that its newest record names, in results as in the list."""

    def runs_of(sample: str) -> list[int]:
        found = store("results", "--sample", sample, "--json")
        return (
            [run["run"] for group in found.json for run in group["determinations"]] if not found.code else []
        )

    assert 1 in runs_of("S-1")
    done = store("runs", "correct", "1", "--sample", "S-9", "--by", "op-7", "--why", "mixed up")
    assert done.code == 0, done.err

    assert 1 not in runs_of("S-1")
    assert runs_of("S-9") == [1]


def test_wrong_passwords_and_missing_ones_sign_nothing(store: MadeStore, tmp_path: Path) -> None:
    add_admin(store, tmp_path)
    wrong = ("runs", "sign", "1", "--accept", "--by", "anna", "--password-file", secret(tmp_path, OTHER))
    assert (store(*wrong).code, "is wrong" in store(*wrong).err) == (3, True)
    assert "wait 5 s" in store(*wrong).err
    assert "There is no terminal" in store("runs", "sign", "1", "--accept", "--by", "anna").err
    typed = store("runs", "invalidate", "1", "--why", "x", "--by", "anna")
    assert (typed.code, record(store)["revision"]) == (3, 1)


def test_records_are_sent_again_under_their_numbers(store: MadeStore) -> None:
    one = store("runs", "republish", "1", "--by", "op-7", "--why", "the historian was away")
    assert "messages of run 1 go to the plant again, under their old numbers." in one.out
    both = ("runs", "republish", "--from", "1", "--to", "2", "--by", "op-7")
    assert "runs 1 to 2" in store(*both).out
    assert (
        "numbers 1 to 3" in store("runs", "republish", "--seq", "--from", "1", "--to", "3", "--by", "x").out
    )
    assert store("runs", "republish", "1", "--from", "1", "--by", "x").code == 2
    assert store("runs", "republish", "9", "--by", "x").code == 5


@contextlib.asynccontextmanager
async def served(store: MadeStore) -> AsyncIterator[ServiceClient]:
    """A service with this store's office on its socket."""
    desk = DeskBench()
    with opened(store.data) as journal:
        desk.service.office = make_office(
            store.data, journal, desk.service.setup.plan, desk.service.setup.methods
        )
        server = LocalServer(desk.service, store.data.socket)
        client = ServiceClient(store.data.socket, retry_s=0.02)
        tasks = [asyncio.create_task(server.run()), asyncio.create_task(client.run())]
        try:
            async with asyncio.timeout(WAIT_S):
                async for watch in client.changes():
                    if watch.answering:
                        break
            yield client
        finally:
            for task in reversed(tasks):
                task.cancel()
            await asyncio.gather(*tasks, return_exceptions=True)


@pytest.mark.asyncio
async def test_a_signature_through_the_service_needs_no_controls(staffed: MadeStore, tmp_path: Path) -> None:
    store = staffed
    seen = record(store)["record_sha256"]
    wish: dict[str, Any] = {"do": "accept", "run": "1", "by": "ANNA", "seen": seen}
    async with served(store) as client:
        assert not (await client.command("review", **wish)).ok
        blind = await client.command("review", **(wish | {"seen": None}), password=PASSWORD)
        assert "names the record that was looked at" in blind.text
        nameless = {"first": 1, "last": 1, "by": "anna"}
        assert "needs the password" in (await client.command("send_again", **nameless)).text
        assert not (await client.command("review", **wish, password="no")).ok
        done = await client.command("review", **wish, password=PASSWORD)
        assert (done.ok, "reviewed and accepted by Anna Adler (anna)" in done.text) == (True, True)
        stale = await client.command("review", **(wish | {"do": "invalidate", "why": "x"}), password=PASSWORD)
        assert "now in revision 2: look at it again first" in stale.text
        snapshot = client.watch().snapshot
        assert snapshot is not None
        assert snapshot.controls_held_by == ""
        # The command line goes through the same service, which holds the store.
        command = ("runs", "correct", "2", "--lot", "L", "--why", "y", "--by", "anna")
        other = await asyncio.to_thread(store, *command, "--password-file", secret(tmp_path))
        assert other.code == 0, other.err
        async with asyncio.timeout(WAIT_S):
            async for watch in client.changes():
                if watch.snapshot is not None and watch.snapshot.revised == 2:
                    break  # what was refused does not count
    assert (record(store)["review"], record(store, "2")["sample"]["lot"]) == ("accepted", "L")


@pytest.mark.asyncio
@pytest.mark.parametrize(
    "args",
    [
        {"do": "correct", "run": "1", "by": "anna", "changes": {"weighings": 7}, "password": PASSWORD},
        {"do": "accept", "run": "1", "by": "anna", "password": "\udce4dler"},
        *(
            pytest.param(args, marks=pytest.mark.full)
            for args in (
                {},
                {"do": "accept"},
                {"do": "accept", "run": 1, "by": "anna", "password": 5},
                {"do": "correct", "run": "1", "by": "anna", "changes": 7, "password": PASSWORD},
                {"do": "correct", "run": "1", "by": "anna", "changes": [1, 2], "password": PASSWORD},
                {"do": "dance", "run": "1", "by": "anna"},
            )
        ),
    ],
)
async def test_odd_wishes_over_the_socket_get_a_sentence(staffed: MadeStore, args: dict[str, Any]) -> None:
    store = staffed
    async with served(store) as client:
        reply = await client.command("review", **args)
        assert not reply.ok
        assert reply.text.endswith(".")
        for name in ("people", "send_again"):
            assert not (await client.command(name, **args)).ok
        snapshot = client.watch().snapshot
        assert snapshot is not None
    assert PASSWORD not in json.dumps(record(store))
