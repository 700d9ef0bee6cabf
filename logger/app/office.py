"""The office of a bench: through the service where one runs, else by this command, which then holds the store."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from logger.app.bench_files import read_methods
from logger.app.clock import utc_now
from logger.app.ids import UuidV7
from logger.app.kept_runs import frozen_method, frozen_spec
from logger.app.paths import DataFolder
from logger.app.plan import bench_plan
from logger.app.register import ask_service
from logger.core.method import Method
from logger.core.run.commands import Refused
from logger.core.run.plan import BenchPlan
from logger.core.weighing import BalanceSpec
from logger.service.approval_desk import ApprovalDesk
from logger.service.local_socket import answers
from logger.service.office import Office
from logger.service.people_desk import PeopleDesk
from logger.service.review_desk import ReviewDesk
from logger.settings import load_bench
from logger.store.errors import StoreError
from logger.store.journal import Journal
from logger.store.lock import InstanceLock
from logger.store.register import StoreRegister
from logger.store.reviews import StoreReviews
from logger.store.secrets import StorePeople


def make_office(data: DataFolder, journal: Journal, plan: BenchPlan, methods: Mapping[str, Method]) -> Office:
    """The desks over one open store; `methods` are those that the bench offers."""
    register = StoreRegister(data.store, journal.writer, plan.checks)
    people = PeopleDesk(StorePeople(journal.writer, utc_now), register, plan)
    reviews = ReviewDesk(people, register, StoreReviews(journal), _frozen)
    return Office(people, reviews, ApprovalDesk(people, methods))


def _frozen(plan: Mapping[str, Any]) -> tuple[Method, BalanceSpec]:
    try:
        return frozen_method(plan), frozen_spec(plan)
    except StoreError as error:
        raise Refused(str(error)) from error


def ask_office(data: DataFolder, bench: Callable[[], Path], name: str, args: Mapping[str, Any]) -> str:
    """One command; gives the sentence that answers it. A running service knows its bench file itself.

    Raises Refused and `ResultError` for what cannot be done, ConfigError, StoreError.
    """
    if answers(data.socket):
        return asyncio.run(ask_service(data.socket, name, args))
    path = bench()
    file = load_bench(path)
    plan, methods = bench_plan(file), read_methods(file, path)
    with opened(data) as journal:
        return asyncio.run(make_office(data, journal, plan, methods).handle(name, args, utc_now()))


@contextmanager
def opened(data: DataFolder) -> Iterator[Journal]:
    """The store, held by this command as a service would hold it. Raises StoreError."""
    data.prepare()
    with InstanceLock(data.lock):
        journal = Journal(data.store, utc_now, UuidV7().new_id, on_failure=lambda error: None)
        try:
            yield journal
        finally:
            journal.close()
