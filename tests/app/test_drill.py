"""restore --drill: a sound backup is entered as tried, one that does not fit the live store is not."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from logger.app.register import read_entries
from logger.core.run.plan import sha256_json
from logger.store.lock import InstanceLock
from tests.app.stores import MadeStore, made_store
from tests.core.run.made_runs import method


@pytest.fixture
def store(tmp_path: Path) -> MadeStore:
    made = made_store(tmp_path / "data")
    made.run(method())
    return made


def test_a_backup_is_tried_and_the_trial_leaves_an_entry_and_nothing_else(
    store: MadeStore, tmp_path: Path
) -> None:
    copy = tmp_path / "copy.sqlite"
    assert store("backup", str(copy)).code == 0
    store.run(method(), sample="S-2")
    done = store("restore", "--drill", str(copy), "--by", "op-7")
    assert (done.code, done.err) == (0, "")
    assert "can be restored: 1 runs and 1 records" in done.out
    assert "1 runs and 1 records came after it" in done.out
    (entry,) = read_entries(store.data)
    assert (entry["kind"], entry["by"]) == ("restore_drilled", "op-7")
    assert entry["data"]["note"].startswith("copy.sqlite: 1 runs and 1 records restored and verified")
    assert not list(store.data.root.glob("drill-*"))
    assert not list(store.data.root.glob("*before-restore*")), "the live store was not touched"
    assert store("runs", "verify").code == 0


def test_a_backup_that_has_what_the_live_store_lacks_fails_the_drill(
    store: MadeStore, tmp_path: Path
) -> None:
    copy = tmp_path / "copy.sqlite"
    assert store("backup", str(copy)).code == 0
    with closing(sqlite3.connect(store.data.store)) as live:
        (text,) = live.execute("SELECT body FROM record").fetchone()
        body = json.loads(text) | {"reason": "nicer"}
        del body["record_sha256"]
        body["record_sha256"] = sha256_json(body)
        live.execute("UPDATE record SET body = ?", (json.dumps(body),))
        live.commit()
    done = store("restore", "--drill", str(copy), "--by", "op-7")
    assert (done.code, "The drill failed: revision 1 of the record" in done.err) == (5, True)
    assert read_entries(store.data) == []


def test_a_broken_backup_and_a_missing_name_are_refused(store: MadeStore, tmp_path: Path) -> None:
    copy = tmp_path / "copy.sqlite"
    store("backup", str(copy))
    assert "say who you are" in store("restore", "--drill", str(copy)).err.lower()
    copy.write_bytes(copy.read_bytes()[:5000])
    assert store("restore", "--drill", str(copy), "--by", "op-7").code == 5
    assert not list(store.data.root.glob("drill-*"))


def test_a_restore_in_earnest_still_asks_for_the_service_to_end(store: MadeStore, tmp_path: Path) -> None:
    copy = tmp_path / "copy.sqlite"
    store("backup", str(copy))
    with InstanceLock(store.data.lock):
        assert store("restore", str(copy)).code == 5
