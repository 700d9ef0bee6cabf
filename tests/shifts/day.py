"""Some hours at a bench, and what came of them."""

from __future__ import annotations

import asyncio
import resource
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tests.shifts.faults import EVERY_S, Faults
from tests.shifts.operator import Operator
from tests.shifts.promises import Promises
from tests.shifts.world import World


@dataclass(frozen=True, slots=True)
class Day:
    """What came of it. Counts by name; memory as the highest resident size, MiB."""

    hours: float
    runs: int
    outcomes: dict[str, int]
    faults: dict[str, int]
    worst_residue_pct: float
    open_files: int
    memory_mib: float
    memory_growth_mib: float
    store_mib: float


def work(
    folder: Path,
    seed: int,
    arrangement: str,
    hours: float,
    every_s: float = EVERY_S,
    tell: Callable[[str], None] = lambda text: None,
) -> Day:
    """Works so many hours. Raises AssertionError when a promise is broken."""
    return asyncio.run(_work(World(folder, seed, arrangement), seed, hours, every_s, tell))


async def _work(world: World, seed: int, hours: float, every_s: float, tell: Callable[[str], None]) -> Day:
    operator_rng, faults_rng = (np.random.default_rng(each) for each in np.random.SeedSequence(seed).spawn(2))
    await world.start()
    operator, promises = Operator(world, operator_rng), Promises(world)
    faults = Faults(world, faults_rng, every_s)
    told, early_mib = 0.0, 0.0
    while world.clock.ns < hours * 3.6e12:
        await world.step()
        await operator.act()
        await world.settle()
        promises.look()
        await faults.act()
        done_h = world.clock.ns / 3.6e12
        if done_h >= told + 1:
            told = done_h
            early_mib = early_mib or _memory_mib()
            tell(f"{done_h:.0f} h, {operator.started} runs, {_memory_mib():.0f} MiB")
    await world.stop()
    promises.whole()
    assert not world.failures, world.failures
    return Day(
        hours=hours,
        runs=operator.started,
        outcomes=dict(promises.outcomes),
        faults=dict(faults.seen),
        worst_residue_pct=promises.worst_residue_pct,
        open_files=_open_files(),
        memory_mib=_memory_mib(),
        memory_growth_mib=_memory_mib() - early_mib if early_mib else 0.0,
        store_mib=world.store.stat().st_size / 2**20,
    )


def _memory_mib() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def _open_files() -> int:
    return sum(1 for _ in Path("/proc/self/fd").iterdir())
