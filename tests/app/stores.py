"""Small stores of made runs, and the command line in this process: exit code, stdout, stderr."""

from __future__ import annotations

import contextlib
import io
import itertools
import json
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from unittest.mock import patch

from logger import cli
from logger.app.clock import utc_now
from logger.app.ids import UuidV7
from logger.app.paths import DataFolder
from logger.core.method import Method
from logger.core.record import build_record
from logger.core.register.planned import PlannedSieve
from logger.core.run.commands import Command, Do
from logger.core.run.events import EventKind as E
from logger.settings import config_dir
from logger.store.journal import Journal
from tests.core.run.made_runs import UTC, end, planned_engine

BENCH = config_dir() / "benches" / "demo-beside.toml"
WAIT_S = 10.0


@dataclass(frozen=True)
class Done:
    """What a command left behind."""

    code: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        return json.loads(self.out)


@dataclass
class MadeStore:
    """A data folder with a store that made runs go into."""

    data: DataFolder
    bench: Path = BENCH
    _numbers: Iterator[int] = field(default_factory=lambda: itertools.count(1))

    def run(
        self,
        method: Method,
        residue_g: float = 0.95,
        *,
        outcome: E | None = E.ENDPOINT_REACHED,
        sieve: PlannedSieve | None = None,
        sample: str = "S-1",
        lot: str = "",
        aperture_um: float = 45.0,
        charge_g: float = 25.0,
        utc: str = UTC,
    ) -> str:
        """One kept run; `outcome` None aborts it before anything is weighed."""
        run_id = f"00000000-0000-7000-8000-{next(self._numbers):012d}"
        engine = planned_engine(
            method, sieve, run_id=run_id, sample=sample, lot=lot, aperture_um=aperture_um, utc=utc
        )
        if outcome is None:
            engine.command(Command(Do.ABORT, "op-7", {"reason": "wrong sample"}), 0)
        else:
            end(engine.run, outcome, residue_g=residue_g, charge_g=charge_g)
        events = engine.take_events()
        facts = engine.run.facts
        journal = Journal(self.data.store, utc_now, UuidV7().new_id, on_failure=lambda error: None)
        journal.start_run(run_id, events[0]).result(WAIT_S)
        journal.add(run_id, events[1:])
        journal.issue_record(run_id, lambda head: build_record(run_id, facts, head)).result(WAIT_S)
        journal.close()
        return run_id

    def __call__(self, *arguments: str) -> Done:
        """`lastgrain ARGUMENTS` on this store and its bench."""
        return lastgrain("--data", str(self.data.root), "--bench", str(self.bench), *arguments)


def made_store(root: Path, bench: Path = BENCH) -> MadeStore:
    """An empty one in `root`."""
    data = DataFolder(root)
    data.prepare()
    return MadeStore(data, bench)


def lastgrain(*arguments: str) -> Done:
    """The command line itself, in this process."""
    out, err, code = io.StringIO(), io.StringIO(), 0
    with (
        patch.object(sys, "argv", ["lastgrain", *arguments]),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
    ):
        try:
            cli.main()
        except SystemExit as ended:
            code = ended.code if isinstance(ended.code, int) else 1
    return Done(code, out.getvalue(), err.getvalue())
