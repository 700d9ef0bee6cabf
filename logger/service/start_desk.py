"""Looks at the wish to start a run from every side and makes the run's plan; refuses with a sentence."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping, Set
from typing import Any

from logger.core.method import Method
from logger.core.ports import Clock, IdSource, Register
from logger.core.register.look import RegisterLook
from logger.core.run.plan import RunPlan, Sample, plain_json
from logger.core.run.repeats import PlannedRepeat, check_repeat, repeat_note
from logger.core.run.start import (
    check_arrangement,
    check_capacity,
    check_endpoint,
    pick_method,
    read_sample,
)
from logger.core.run.start_equipment import check_equipment, check_revision, read_sieve_id
from logger.core.run.start_people import check_approval, check_operator
from logger.service.bench_setup import BenchSetup
from logger.service.clock_watch import clock_unset
from logger.service.job_desk import JobDesk, StartJob


class StartDesk:
    """Moves nothing: what is planned has still to be opened."""

    def __init__(
        self, setup: BenchSetup, clock: Clock, ids: IdSource, register: Register | None, jobs: JobDesk | None
    ) -> None:
        self._setup, self._clock, self._ids = setup, clock, ids
        self._register, self._jobs = register, jobs

    async def plan(
        self, args: Mapping[str, Any], changed_methods: Set[str], require_up: Callable[[], None]
    ) -> RunPlan:
        """The plan of the run that `args` ask for. Raises Refused with a sentence.

        `changed_methods`: those whose files are no longer what the service read. `require_up` raises Refused
        while a link is down.
        """
        setup = self._setup
        sample = read_sample(args)
        method = pick_method(setup.methods, args.get("method_id"))
        check_arrangement(method, setup.plan.arrangement)
        check_capacity(method, setup.plan.capacity_g, setup.plan.balance.readability_g)
        check_endpoint(method, setup.rig, setup.plan.balance)
        look = await _look(self._register, method, args)
        check_revision(method, look.used_method)
        utc, rules = self._clock.utc(), setup.plan.checks
        sample, operator_name = check_operator(sample, look.state.people, rules)
        approval, unapproved = check_approval(method, plain_json(method), look.state, rules, utc)
        job = StartJob(args=args, method=method)
        if self._jobs is not None:
            job = await self._jobs.start(method, sample, args, look.state, utc)
        equipment = check_equipment(method, job.args, look, rules, utc)
        repeat = await _repeat(self._register, sample, method, equipment.aperture_um, args)
        require_up()
        notes = self._notes(method, changed_methods)
        return RunPlan(
            run_id=self._ids.new_id(),
            sample=sample,
            method=method,
            aperture_um=equipment.aperture_um,
            bench=setup.plan,
            rig=setup.rig,
            software=setup.software,
            simulated=setup.simulated,
            sieve_id=equipment.sieve_id,
            sieve=equipment.sieve,
            fitness=equipment.fitness,
            register_head=look.head,
            operator_name=operator_name,
            approval=approval,
            repeat=repeat,
            notes=(*equipment.notes, *unapproved, *repeat_note(repeat), *job.notes, *notes),
            conditions=job.conditions,
            portion=job.portion(equipment.aperture_um),
        )

    def _notes(self, method: Method, changed_methods: Set[str]) -> tuple[tuple[str, str], ...]:
        """What the service itself knows before a run that its record must say."""
        notes, utc = [], self._clock.utc()
        if clock_unset(utc):
            text = (
                f"Clock unsynchronised: the computer shows {utc[:10]}. Times of day and dates of this "
                "record are wrong; durations are not touched."
            )
            notes.append(("clock-unsynchronised", text))
        if method.method.id in changed_methods:
            notes.append(file_changed(method.method.id))
        return tuple(notes)


async def _repeat(
    register: Register | None, sample: Sample, method: Method, aperture_um: float, args: Mapping[str, Any]
) -> PlannedRepeat | None:
    if register is None:
        return None
    asked = (sample.sample_id, sample.lot, method.method.id)
    earlier = await asyncio.to_thread(register.earlier, *asked)
    return check_repeat(method, aperture_um, earlier, args.get("repeat_reason"))


async def _look(register: Register | None, method: Method, args: Mapping[str, Any]) -> RegisterLook:
    if register is None:
        return RegisterLook()
    head = method.method
    return await asyncio.to_thread(register.look, read_sieve_id(args), head.id, head.revision)


def file_changed(method_id: str) -> tuple[str, str]:
    """Key and text of the deviation of a run whose method's file was changed."""
    text = f"The file of method {method_id} was changed after the service read it: the run uses the copy read then."
    return "method-file-changed", text
