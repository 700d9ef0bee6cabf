"""History of 100,000 runs against 1,000: `python -m tests.benchmarks.history [RUNS]`.

List, search, filters, opening one run and verifying one run, each through the calls that service and command line
use, in one process and by turns on both stores; milliseconds of CPU (so that a busy machine says the same), medians of
the rounds, and their ratio. The stores are whole: real chain, packed readings, records with their hashes. Needs
about 2 GB of disk and some minutes.
"""

from __future__ import annotations

import json
import sqlite3
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any

from logger.app.history import plain_curves
from logger.core.record import ChainHead, build_record
from logger.core.run.events import Event, EventKind
from logger.core.run.facts import fold
from logger.core.run.plan import canonical_json, sha256_json
from logger.core.run_list import RunFilter
from logger.service.history_queries import history_queries
from logger.store import history
from logger.store.archive import MARK_BYTES
from logger.store.batches import chained
from logger.store.chain import GENESIS
from logger.store.history_reader import StoreHistory
from logger.store.journal_text import events_text
from logger.store.packing import Packable, pack
from logger.store.readings_codec import encode
from logger.store.run_index import index_path
from logger.store.verify_run import verify_run
from tests.core.run.made_runs import PLANNED, end, method, planned_engine
from tests.kept_history import readings
from tests.store.big_history import METHODS, OPERATORS, lot_of, run_id_of, sample_of, started_at
from tests.store.quick_runs import open_journal

SMALL, LARGE, ROUNDS = 1000, 100_000, 25
BATCHES = 40
"""Packed batches of readings a run."""


class Maker:
    """Writes runs that differ in their texts and share their readings."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection
        self._seq, self._hash = 0, GENESIS
        engine = planned_engine(method(), PLANNED, run_id="r")
        end(engine.run)
        self._planned, *self._events = engine.take_events()
        self._facts = fold([self._planned, *self._events])
        each = readings(live=True)
        size = len(each) // BATCHES
        self._parts = [
            Packable(part[-1].at_ns, "2026-01-01T00:00:00.000Z", "[]", encode(part))
            for part in (each[at : at + size] for at in range(0, size * BATCHES, size))
        ]
        self._packed = pack(self._parts)
        self._body = build_record("r", self._facts, ChainHead(1, "0" * 64)).body()

    def run(self, number: int) -> None:
        """One whole run: plan, packed readings, what happened, its record."""
        run_id, texts = run_id_of(number), (sample_of(number), OPERATORS[number % 9], lot_of(number))
        planned = self._plan(number)
        self._connection.execute(
            "INSERT INTO run VALUES (?, ?, ?, ?, ?, ?, 1, ?, 1)",
            (run_id, number, *texts, METHODS[number % 4], planned.utc),
        )
        self._batch(run_id, [planned])
        self._stretch(run_id)
        self._batch(run_id, self._events)
        body = self._record(number)
        self._connection.execute(
            "INSERT INTO record VALUES (?, 1, 'endpoint', ?, ?)",
            (run_id, body["assessment"]["residue_pct"], canonical_json(body)),
        )
        issued = {"revision": 1, "sha256": body["record_sha256"]}
        self._batch(run_id, [Event(EventKind.RECORD_ISSUED, 10**11, planned.utc, issued)])

    def _plan(self, number: int) -> Event:
        data = dict(self._planned.data)
        sample = {"sample_id": sample_of(number), "lot": lot_of(number), "operator_id": OPERATORS[number % 9]}
        data["sample"] = data["sample"] | sample
        data["method"] = data["method"] | {"method": data["method"]["method"] | {"id": METHODS[number % 4]}}
        return replace(self._planned, data=data, utc=started_at(number))

    def _record(self, number: int) -> dict[str, Any]:
        body = dict(self._body)
        del body["record_sha256"]
        body["run_id"], body["operator_id"] = run_id_of(number), OPERATORS[number % 9]
        body["sample"] = body["sample"] | {"sample_id": sample_of(number), "lot": lot_of(number)}
        body["journal"] = body["journal"] | {"head_batch": self._seq, "head_sha256": self._hash}
        if number % 50 == 0:
            body["review"] = "accepted"
        return body | {"record_sha256": sha256_json(body)}

    def _batch(self, run_id: str, events: list[Event]) -> None:
        content = Packable(events[-1].at_ns, events[-1].utc, events_text(events), b"")
        before, self._seq = self._hash, self._seq + 1
        self._hash = chained(before, self._seq, run_id, content)
        self._connection.execute(
            "INSERT INTO batch VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
            (self._seq, run_id, content.at_ns, content.utc, content.events, b"", before, self._hash),
        )

    def _stretch(self, run_id: str) -> None:
        first, before, marks = self._seq + 1, self._hash, b""
        for content in self._parts:
            self._seq += 1
            self._hash = chained(self._hash, self._seq, run_id, content)
            marks += bytes.fromhex(self._hash)[:MARK_BYTES]
        self._connection.execute(
            "INSERT INTO stretch VALUES (?, ?, ?, ?, ?, ?, ?)",
            (first, self._seq, run_id, before, self._hash, marks, self._packed),
        )


def whole_store(path: Path, count: int) -> Path:
    """A store of so many runs."""
    open_journal(path).close()
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.execute("PRAGMA synchronous = OFF")
        connection.execute("BEGIN")
        maker = Maker(connection)
        for number in range(1, count + 1):
            maker.run(number)
        connection.execute("COMMIT")
    return path


def questions(path: Path, count: int) -> dict[str, Callable[[], Any]]:
    """What is measured, by name; each gives something."""
    reader = StoreHistory(path)
    ask = history_queries(reader, plain_curves)
    middle = count // 2
    asked = RunFilter(text=f"{OPERATORS[middle % 9]} {lot_of(middle)}")

    def verified() -> Any:
        with history.reading(path) as connection:
            (found,) = verify_run(connection, run_id_of(middle), middle)
        return found.sound

    return {
        "list, newest 50": lambda: reader.list_runs(RunFilter(), 50).runs,
        "list, a page in the middle": lambda: reader.list_runs(RunFilter(), 50, middle).runs,
        "search, one sample": lambda: reader.list_runs(RunFilter(text=sample_of(middle)), 50).runs,
        "search, operator and lot": lambda: reader.list_runs(asked, 50).runs,
        "filter, method and review": lambda: (
            reader.list_runs(RunFilter(method_id=METHODS[2], review="accepted"), 20).runs
        ),
        "open one run, with curves": lambda: ask["run"]({"which": str(middle)})["curves"],
        "verify one run": verified,
    }


def measure(
    small: dict[str, Callable[[], Any]], large: dict[str, Callable[[], Any]]
) -> dict[str, list[float]]:
    """CPU milliseconds on each store and their ratio, by turns so that both see the same machine."""
    found = {}
    for name in small:
        taken: tuple[list[float], list[float]] = ([], [])
        for round_ in range(ROUNDS + 1):
            for times, ask in zip(taken, (small[name], large[name]), strict=True):
                start_s = time.thread_time()
                assert ask(), name
                if round_:
                    times.append(1000 * (time.thread_time() - start_s))
        few, many = (statistics.median(times) for times in taken)
        found[name] = [round(few, 2), round(many, 2), round(many / few, 2)]
    return found


def main() -> None:
    """Measures and prints one JSON document; what it is doing goes to stderr."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else LARGE
    with tempfile.TemporaryDirectory(prefix="lastgrain-history-") as root:
        stores = []
        for runs in (SMALL, count):
            start_s = time.perf_counter()
            path = whole_store(Path(root) / f"{runs}.sqlite", runs)
            made_s = time.perf_counter() - start_s
            StoreHistory(path).list_runs(RunFilter(), 1)
            indexed_s = time.perf_counter() - start_s - made_s
            sizes = [file.stat().st_size / 1e6 for file in (path, index_path(path))]
            print(
                f"{runs} runs: {sizes[0]:.0f} MB, made in {made_s:.0f} s, indexed in {indexed_s:.1f} s, "
                f"index {sizes[1]:.1f} MB",
                file=sys.stderr,
            )
            stores.append(questions(path, runs))
        print(json.dumps(measure(*stores), indent=1))


if __name__ == "__main__":
    main()
