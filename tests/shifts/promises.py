"""What must hold on every day, whatever happens: looked at all the time, after each run, and at the end."""

from __future__ import annotations

from collections import Counter

from logger.core.record import ChainHead, build_record
from logger.core.run.events import Event
from logger.core.run.facts import fold
from logger.core.run.states import ENDED, RunState
from logger.service.picture import snapshot
from logger.store import history
from logger.store.verify import verify
from tests.shifts.world import World

LOOKS_EVERY = 20
LID_OPEN_PA = 60.0
"""`lid_open_pa` of the shipped benches, and some for the transducer's noise."""
LID_LATE_S = 2.0
"""How old a pressure may be before it counts as unknown, and a look or two."""
LONGEST_RUN_S = 4 * 3600.0
RESIDUE_PCT = 0.25
"""Weighed residue against what lies on the simulated sieve, % of the charge: the zero's tolerance of the shipped
bench is 0.2 % of it."""
TELLING = frozenset({"balance-zero", "typed-weight", "loss-rose", "live-load-differs", "load-step"})
"""Deviations that say that the weighed residue may be off."""


class Promises:
    """Raises AssertionError with a sentence when one is broken."""

    def __init__(self, world: World) -> None:
        self._world = world
        self._looks = 0
        self._lid_wrong_since_ns = 0
        self._open = ("", 0)
        self._checked = ""
        self.outcomes: Counter[str] = Counter()
        self.worst_residue_pct = 0.0

    def look(self) -> None:
        """Each step."""
        self._looks += 1
        if self._looks % LOOKS_EVERY == 0:
            self._lid()
        service = self._world.service
        if service.run_id != self._open[0]:
            self._open = (service.run_id, self._world.clock.ns)
        if service.engine is None:
            return
        if service.engine.ended:
            self._run_ended()
        elapsed_s = (self._world.clock.ns - self._open[1]) / 1e9
        assert elapsed_s < LONGEST_RUN_S, f"run {service.run_id} is stuck in {service.engine.state}"

    def _lid(self) -> None:
        """The lid may be opened only when it really may."""
        dp_pa, now_ns = self._world.virtual.rig.dp_pa, self._world.clock.ns
        free = "may be opened" in snapshot(self._world.service).pressure.lid
        if not free or dp_pa < LID_OPEN_PA:
            self._lid_wrong_since_ns = now_ns
        wrong_s = (now_ns - self._lid_wrong_since_ns) / 1e9
        assert wrong_s <= LID_LATE_S, (
            f"the lid was called free at {dp_pa:.0f} Pa, {wrong_s:.1f} s after it rose"
        )

    def _run_ended(self) -> None:
        service = self._world.service
        if service.run_id == self._checked or service.trouble:
            return
        self._checked = service.run_id
        body = self._stored(service.run_id)
        if body["result"] is not None:
            self._result(body)

    def _stored(self, run_id: str) -> dict[str, object]:
        """The record is in the store, and the store's events tell the same story as the run did."""
        engine = self._world.service.engine
        assert engine is not None
        with history.reading(self._world.store) as connection:
            body = history.record_body(connection, run_id)
            events = history.run_events(connection, run_id)
        assert body is not None, f"run {run_id} ended without a record"
        facts = engine.run.facts
        folded = fold(events)
        assert (folded.state, folded.weighings) == (facts.state, facts.weighings)
        assert (body["result"] is not None) == (facts.state is RunState.AWAITING_REVIEW)
        return body

    def _result(self, body: dict[str, object]) -> None:
        """A result is what lies on the sieve, or the record says what was odd."""
        result, deviations = body["result"], body["deviations"]
        assert isinstance(result, dict)
        assert isinstance(deviations, list)
        on_sieve_g = self._world.virtual.rig.load_g
        off_pct = 100 * abs(result["residue_g"] - on_sieve_g) / result["charge_g"]
        told = [entry["key"] for entry in deviations if entry["key"] in TELLING]
        if told or body["run_id"] == self._world.blind_run:
            return
        self.worst_residue_pct = max(self.worst_residue_pct, off_pct)
        assert off_pct < RESIDUE_PCT, (
            f"run {body['run_id']}: residue {result['residue_g']:.3f} g, on the sieve {on_sieve_g:.3f} g, "
            f"and nothing said so: {deviations}"
        )

    def whole(self) -> None:
        """At the end of the day: chain, messages, and one record for every run."""
        with history.reading(self._world.store) as connection:
            findings = verify(connection)
            runs = history.list_runs(connection, 100_000)
            for run in runs:
                self._kept(run.run_id, history.run_events(connection, run.run_id), run.outcome)
            rows = connection.execute("SELECT seq, kind, run_id FROM outbox ORDER BY seq").fetchall()
        assert all(finding.sound for finding in findings), findings
        assert [seq for seq, _, _ in rows] == list(range(1, len(rows) + 1)), "a gap in the messages"
        records = Counter(run_id for _, kind, run_id in rows if kind == "record")
        ended = {run.run_id for run in runs if run.outcome}
        assert set(records) == ended, "runs and published records differ"
        assert set(records.values()) <= {1}, "a record was queued twice"
        self.outcomes = Counter(run.outcome or "open" for run in runs)

    def _kept(self, run_id: str, events: list[Event], outcome: str) -> None:
        facts = fold(events)
        open_now = run_id == self._world.service.run_id
        assert open_now or facts.state in ENDED, f"run {run_id} was left {facts.state}"
        if facts.state in ENDED:
            assert build_record(run_id, facts, ChainHead(0, "")).outcome == outcome
