"""What goes wrong on a day: cables, instruments, knocks, pressure, clock, service and power."""

from __future__ import annotations

from collections import Counter

import numpy as np

from logger.core.readings import Channel
from logger.core.run.states import WEIGHED, RunState
from simulators.dialects import Channel as Port
from simulators.faults import KINDS
from tests.shifts.world import World

EVERY_S = 240.0
"""Mean time between two faults."""


class Faults:
    """Draws them from its own seed; `seen` counts what came."""

    def __init__(self, world: World, rng: np.random.Generator, every_s: float = EVERY_S) -> None:
        self._world, self._rng, self._every_s = world, rng, every_s
        self._next_ns = self._later()
        self._back_ns: dict[Channel, int] = {}
        self.seen: Counter[str] = Counter()

    async def act(self) -> None:
        """Perhaps one fault; cables come back in their time."""
        now_ns = self._world.clock.ns
        for channel in [channel for channel, at_ns in self._back_ns.items() if now_ns >= at_ns]:
            del self._back_ns[channel]
            self._world.plug(channel, True)
        if now_ns >= self._next_ns:
            self._next_ns = self._later()
            await self._one()

    def _later(self) -> int:
        return self._world.clock.ns + int(self._rng.exponential(self._every_s) * 1e9)

    async def _one(self) -> None:
        draw = self._rng.random()
        if draw < 0.5:
            self._instrument()
        elif draw < 0.68:
            self._unplug()
        elif draw < 0.90:
            self._rig()
        elif draw < 0.93:
            self.seen["clock stepped"] += 1
            self._world.clock.step_s += float(self._rng.normal(0, 600))
        else:
            await self._service(draw)

    def _instrument(self) -> None:
        kinds = list(KINDS)
        kind = kinds[int(self._rng.integers(len(kinds)))]
        seconds = 1.0 if kind == "flood" else float(self._rng.exponential(12.0))
        port: Port = "mass" if self._rng.random() < 0.5 else "pressure"
        self._world.virtual.instruments[port].faults.start(kind, self._world.clock.ns, seconds)
        self.seen[kind] += 1

    def _unplug(self) -> None:
        channel = Channel.MASS if self._rng.random() < 0.5 else Channel.PRESSURE
        if channel not in self._back_ns:
            self._world.plug(channel, False)
            self._back_ns[channel] = self._world.clock.ns + int(self._rng.exponential(15.0) * 1e9)
            self.seen["unplugged"] += 1

    def _rig(self) -> None:
        rig = self._world.virtual.rig
        kind = ("knock", "knock that stays", "sag", "valve", "spill")[int(self._rng.integers(5))]
        self.seen[kind] += 1
        if kind == "knock":
            rig.bump(float(self._rng.uniform(1, 30)))
        elif kind == "knock that stays":
            self._note_blind()
            rig.bump(float(self._rng.uniform(1, 30)), float(self._rng.normal(0, 2)))
        elif kind == "sag":
            rig.sag(float(self._rng.uniform(0.1, 0.9)), float(self._rng.exponential(20.0)))
        elif kind == "valve":
            rig.turn_valve_to(float(self._rng.uniform(1200, 3800)))
        elif rig.load_g > 1:
            rig.remove_powder(float(self._rng.uniform(0.05, 0.5)))

    def _note_blind(self) -> None:
        """A zero that moves under the sieve, between its last sight and the weighing, can be seen by nobody."""
        service = self._world.service
        if service.engine is not None and service.engine.state in WEIGHED | {RunState.RELEASING}:
            self._world.blind_run = service.run_id

    async def _service(self, draw: float) -> None:
        """Stopped by a signal, or the power is gone; the person then puts the rig in order."""
        world = self._world
        self._back_ns.clear()
        world.virtual.plugged.update(dict.fromkeys(world.virtual.plugged, True))
        if draw < 0.965:
            self.seen["service stopped"] += 1
            await world.stop()
        else:
            self.seen["power cut"] += 1
            await world.cut_power()
        world.virtual.rig.suction_off()
        await world.start()
