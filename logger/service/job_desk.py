"""Jobs of samples at the bench: what a run begins with, and what is offered at its end."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from logger.core.method import Method
from logger.core.register.state import RegisterState
from logger.core.rig import Rig
from logger.core.run.commands import Refused
from logger.core.run.plan import BenchPlan, CarriedPortion, RunPlan, Sample
from logger.core.shift.book import ShiftBook
from logger.core.shift.conditions import Conditions, condition_notes, conditions_of
from logger.core.shift.due import DueItem, due_items
from logger.core.snapshot import NextRunView
from logger.core.worklist.items import Worklist
from logger.core.worklist.job import NextStep, RunMade, complete_text, next_step
from logger.core.worklist.start import carried_portion, with_next_sieve
from logger.core.worklist.status import ItemStatus, statuses
from logger.service.readings_blocks import shift_utc

OFFERED_DAYS = 7
"""A job that was left this long ago is no longer offered when the service starts."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StartJob:
    """What the store knows before a run: earlier runs of the sample, the step that is next, air and extractor."""

    args: Mapping[str, Any]
    method: Method
    runs: tuple[RunMade, ...] = ()
    step: NextStep | None = None
    conditions: Conditions | None = None

    @property
    def notes(self) -> list[tuple[str, str]]:
        """Deviations that are known before the run."""
        return condition_notes(self.method, self.conditions)

    def portion(self, aperture_um: float) -> CarriedPortion | None:
        """What is carried over to this sieve. Raises Refused when it is not the next one."""
        return carried_portion(self.method, self.step, self.runs, aperture_um)


class JobDesk:
    """Reads the store beside the event loop; `bench`, `rig` and `methods` are the service's own."""

    def __init__(
        self, book: ShiftBook, bench: BenchPlan, rig: Rig | None, methods: Mapping[str, Method]
    ) -> None:
        self._book, self._bench, self._rig, self._methods = book, bench, rig, methods
        self.due_now = 0
        """Tasks of the start of a shift that are due or failed, as last looked at."""
        self.left: NextRunView | None = None
        """What the sample of the newest run still needs, from before this service was started; None once a run ended."""
        self._looked_back = False

    async def look(self, utc: str) -> None:
        """Counts what is due anew, the first time also what was left; as before where the store cannot be read."""
        with contextlib.suppress(Refused):
            items = await asyncio.to_thread(self.due, utc)
            self.due_now = sum(item.standing in ("due", "failed") for item in items)
            if not self._looked_back:
                self.left, self._looked_back = await asyncio.to_thread(self._left, utc), True

    async def start(
        self, method: Method, sample: Sample, args: Mapping[str, Any], state: RegisterState, utc: str
    ) -> StartJob:
        """For one run that is about to begin. Raises Refused when the store cannot be read."""
        return await asyncio.to_thread(self._start, method, sample, args, state, utc)

    def _start(
        self, method: Method, sample: Sample, args: Mapping[str, Any], state: RegisterState, utc: str
    ) -> StartJob:
        runs = self._runs(sample, method)
        step = next_step(method, runs)
        part = state.shift.parts[-1:]
        part_runs = self._book.count_since(part[0].utc) if part else 0
        return StartJob(
            args=with_next_sieve(args, step, str(args.get("sieve_id", "")).strip() in state.sieves),
            method=method,
            runs=tuple(runs),
            step=step,
            conditions=conditions_of(state.shift, self._bench.shift, utc, part_runs),
        )

    def _runs(self, sample: Sample, method: Method) -> list[RunMade]:
        head = method.method
        return self._book.runs_of_sample(sample.sample_id, sample.lot, head.id, head.revision)

    async def after(self, plan: RunPlan) -> NextRunView | None:
        """What the sample's job asks for after a run; None when it asks for nothing and is alone."""
        self.left, self._looked_back = None, True
        try:
            return await asyncio.to_thread(self._after, plan)
        except Refused:
            return None

    def _after(self, plan: RunPlan) -> NextRunView | None:
        return self._following(plan.method, plan.sample, plan.sieve_id, plan.aperture_um)

    def _left(self, utc: str) -> NextRunView | None:
        """What is still needed after the newest run of the store; nothing of a job that is complete."""
        runs = self._book.runs_since(shift_utc(utc, -OFFERED_DAYS * 86_400))
        last = runs[-1] if runs else None
        method = None if last is None else self._methods.get(last.method_id)
        if last is None or method is None or method.method.revision != last.revision:
            return None
        # Who was the operator then need not be who works now: the console fills in its own.
        sample = Sample(
            sample_id=last.sample_id,
            operator_id="",
            lot=last.lot,
            point=last.point,
            sampled_at=last.sampled_at,
        )
        found = self._following(method, sample, last.sieve_id, last.aperture_um)
        return None if found is None or found.complete else found

    def _following(
        self, method: Method, sample: Sample, sieve_id: str, aperture_um: float | None
    ) -> NextRunView | None:
        """The next step of a sample's job; `sieve_id` and `aperture_um` are those of the run before."""
        runs = self._runs(sample, method)
        step = next_step(method, runs)
        text = complete_text(method, runs) if step is None else f"Next: {step.text}."
        if not text or not any(run.counts for run in runs):
            return None
        same_sieve = step is not None and step.aperture_um == aperture_um
        return NextRunView(
            text=text,
            complete=step is None,
            method_id=method.method.id,
            sample_id=sample.sample_id,
            operator_id=sample.operator_id,
            lot=sample.lot,
            point=sample.point,
            sampled_at=sample.sampled_at,
            sieve_id=sieve_id if same_sieve else "",
            aperture_um=None if step is None else step.aperture_um,
        )

    # --- questions; these block -------------------------------------------------------------------------

    def due(self, utc: str) -> tuple[DueItem, ...]:
        """What is due at this bench now."""
        state, rig = self._book.state(), self._rig
        facts = replace(
            self._book.facts(state),
            needs_blank=self._bench.arrangement == "under",
            rig_measured_utc=None if rig is None else rig.measured_at,
            rig_valid_days=None if rig is None else rig.valid_days,
        )
        return due_items(state, self._bench.checks, self._bench.shift, facts, utc)

    def worklist(self, since_utc: str = "") -> list[ItemStatus]:
        """Items planned since a time with their states, in order."""
        items = {
            number: item
            for number, item in self._book.state().worklist.items.items()
            if item.planned_utc >= since_utc
        }
        if not items:
            return []
        first = min(item.planned_utc for item in items.values())
        return statuses(Worklist(items=items), self._book.runs_since(first), self._methods)

    def state(self) -> RegisterState:
        """The register as it stands."""
        return self._book.state()
