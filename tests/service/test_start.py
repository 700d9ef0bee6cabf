"""Starting a run at the service: one at a time, on what the register says, and told why not."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from logger.app.clock import BenchClock, utc_now
from logger.app.ids import UuidV7
from logger.app.serve import NoPlant
from logger.core.readings import Channel
from logger.core.run.commands import Reply
from logger.core.run.live import no_live_rate
from logger.service.bench_service import BenchService
from logger.service.bench_setup import BenchSetup
from logger.store.journal import Journal
from logger.store.register import StoreRegister
from tests.core.run.made_runs import method
from tests.core.run.plans import bench_plan

pytestmark = pytest.mark.asyncio
START = {"method_id": "m", "sample_id": "S-1", "operator_id": "op-7"}
SIEVE = {"id": "S-45-01", "aperture_um": 45.0, "frame_mm": 200.0, "standard": "ISO 3310-1:2016"}


@dataclass
class Desk:
    """A bench without instruments, over a real store."""

    journal: Journal

    def service(self) -> BenchService:
        setup = BenchSetup(
            plan=bench_plan(),
            methods={"m": method()},
            rig=None,
            software="test",
            speed=1.0,
            simulated=False,
            live_rate=no_live_rate,
            ports={Channel.MASS: "a", Channel.PRESSURE: "b"},
            profiles={Channel.MASS: "p", Channel.PRESSURE: "q"},
        )
        register = StoreRegister(self.journal.path, self.journal.writer, setup.plan.checks)
        made = BenchService(setup, BenchClock(1.0), UuidV7(), self.journal, NoPlant(), register=register)
        for channel in Channel:
            made.on_link(channel, "up", "")
        return made


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    journal = Journal(tmp_path / "s.sqlite", utc_now, UuidV7().new_id, on_failure=lambda error: None)
    yield Desk(journal)
    journal.close()


async def enter(service: BenchService, kind: str, entry: dict[str, Any]) -> Reply:
    return await service.command("register", "", {"kind": kind, "entry": entry, "by": "op-7", "why": "test"})


async def test_of_two_starts_at_once_one_is_refused(desk: Desk) -> None:
    service = desk.service()
    replies = await asyncio.gather(*(service.command("start", "op-7", START) for _ in range(3)))
    assert [reply.ok for reply in replies].count(True) == 1
    assert {reply.text for reply in replies if not reply.ok} == {"A run is just being started on this bench."}
    late = await service.command("start", "op-7", START)
    assert "A run is open" in late.text


async def test_a_refused_start_leaves_the_bench_free(desk: Desk) -> None:
    service = desk.service()
    assert not (await service.command("start", "op-7", START | {"sieve_id": "S\u202e"})).ok
    assert (await service.command("start", "op-7", START)).ok


async def test_the_plan_freezes_what_the_register_knows(desk: Desk) -> None:
    service = desk.service()
    assert (await enter(service, "sieve_added", SIEVE)).text == "Sieve S-45-01, 45 µm, is in the register."
    assert (await enter(service, "sieve_tared", {"sieve_id": "S-45-01", "mass_g": 412.02})).ok
    assert (await service.command("start", "op-7", START | {"sieve_id": "S-45-01"})).ok
    assert service.engine is not None
    plan = service.engine.run.plan
    assert plan.sieve is not None
    assert (plan.sieve_id, plan.sieve.last_tare_g, plan.sieve.runs_before) == ("S-45-01", 412.02, 0)
    assert plan.register_head.startswith("2:")
    assert plan.notes == ()


@pytest.mark.parametrize(
    ("kind", "entry", "words"),
    [
        ("sieve_eaten", {}, "knows no entry 'sieve_eaten'"),
        (7, {}, "knows no entry 7"),
        ("sieve_added", [], "knows no entry"),
        ("sieve_added", {"id": 7}, "id must be text"),
        ("sieve_tared", {"sieve_id": "S-9", "mass_g": 400}, "not in the register"),
        ("pressure_checked", {"zero_pa": 0.0, "span": [1]}, "span"),
        ("pressure_checked", {"zero_pa": 0.0, "span": 1}, "span"),
        ("balance_checked", {"weight_id": ["W"], "zero_g": 0}, "weight_id must be text"),
        ("sieve_referenced", {"sieve_id": "S-9"}, "not in the register"),
    ],
)
async def test_whatever_is_sent_as_an_entry_is_answered(
    desk: Desk, kind: str, entry: dict[str, Any], words: str
) -> None:
    reply = await enter(desk.service(), kind, entry)
    assert not reply.ok
    assert words in reply.text


async def test_a_bench_without_register_says_so_and_starts(desk: Desk) -> None:
    service = desk.service()
    service._register = None
    assert "keeps no register" in (await enter(service, "sieve_added", SIEVE)).text
    assert (await service.command("start", "op-7", START)).ok


async def test_a_register_that_cannot_be_read_refuses_the_start(desk: Desk) -> None:
    service = desk.service()
    spoil = "INSERT INTO register VALUES (1, 'no entry', '', '')"
    await asyncio.wrap_future(desk.journal.writer.submit(lambda c: c.execute(spoil).rowcount))
    reply = await service.command("start", "op-7", START)
    assert (reply.ok, "The register cannot be read" in reply.text) == (False, True)
