"""A person at the bench who mostly does what is asked, sometimes something else, and sometimes nonsense."""

from __future__ import annotations

from typing import Any

import numpy as np

from logger.core.readings import Channel
from logger.core.run.states import ENDED, RunState
from tests.hostile import KEPT
from tests.shifts.world import World

THINKS_EVERY_NS = 1_000_000_000
READS_NS = 8_000_000_000
"""An instruction has been read, and the balance has settled, after this long."""
NONSENSE: tuple[tuple[str, dict[str, Any]], ...] = (
    ("explode", {}),
    ("accept_weight", {"gross_g": "nan"}),
    ("type_weight", {"gross_g": float("nan"), "reason": "x"}),
    ("type_weight", {"gross_g": "1e999", "reason": ""}),
    ("hold", {"reason": 7}),
    ("resume", {}),
    ("stop", {"reason": "\x1b[2J"}),
    ("note", {"kind": "other", "text": None}),
    ("start", {"method_id": 3}),
    ("register", {"kind": "sieve_added", "entry": []}),
)


class Operator:
    """Thinks once a second. `typed` tells that a weight of this run came from the keyboard."""

    def __init__(self, world: World, rng: np.random.Generator) -> None:
        self._world, self._rng = world, rng
        self._next_ns = 0
        self._asked = ("", 0)
        self._rest_until_ns = 0
        self.started = 0

    async def act(self) -> None:
        """Perhaps one command."""
        world = self._world
        now_ns = world.clock.ns
        if world.asked() != self._asked[0]:
            self._asked = (world.asked(), now_ns)
        if now_ns < self._next_ns:
            return
        self._next_ns = now_ns + THINKS_EVERY_NS
        if self._rng.random() < 0.002:
            await self._nonsense()
        engine = world.service.engine
        if engine is None or engine.state in ENDED:
            await self._between_runs()
        else:
            await self._in_run(engine.state, now_ns)

    async def _between_runs(self) -> None:
        world, now_ns = self._world, self._world.clock.ns
        if world.service.engine is not None:
            self._rest_until_ns = now_ns + int(self._rng.uniform(5, 90) * 1e9)
            await self._do("close")
            return
        if now_ns < self._rest_until_ns or not all(world.virtual.plugged.values()):
            return
        method = list(world.methods.values())[int(self._rng.integers(len(world.methods)))]
        world.new_powder(method)
        self.started += 1
        sample = list(KEPT.values())[int(self._rng.integers(len(KEPT)))]
        if self._rng.random() < 0.7:
            sample = f"S-{self.started}"
        await self._do(
            "start", method_id=method.method.id, sample_id=sample, operator_id="op-7", lot=f"L-{self.started}"
        )

    async def _in_run(self, state: RunState, now_ns: int) -> None:
        can, read = self._world.service.can(), now_ns - self._asked[1] > READS_NS
        if "acknowledge" in can:
            await self._do("acknowledge", name="op-7")
        elif "accept_weight" in can and read:
            await self._weigh()
        elif "resume" in can and state is RunState.HELD and read:
            await self._resume()
        else:
            await self._whim()

    async def _weigh(self) -> None:
        shown = self._world.virtual.rig.balance()
        if self._rng.random() < 0.01 and shown.stable and shown.state == "ok":
            await self._do("type_weight", gross_g=shown.mass_g, reason="read off the display")
        else:
            await self._do("accept_weight")

    async def _resume(self) -> None:
        if self._rng.random() < 0.02:
            await self._do("abort", reason="enough")
        elif all(self._world.virtual.plugged[channel.value] for channel in Channel):
            await self._do("resume", reason="put right")

    async def _whim(self) -> None:
        draw = self._rng.random()
        if draw < 0.0010:
            await self._do("note", kind="lid-tapped", text="Lid tapped.")
            self._world.virtual.rig.tap_lid()
        elif draw < 0.0016:
            await self._do("hold", reason="called away")
        elif draw < 0.0018:
            await self._do("stop", reason="no time")
        elif draw < 0.0019:
            await self._do("abort", reason="wrong sample")

    async def _nonsense(self) -> None:
        name, args = NONSENSE[int(self._rng.integers(len(NONSENSE)))]
        if name == "stop" and self._rng.random() < 0.8:
            return
        await self._do(name, **args)

    async def _do(self, command: str, /, **args: Any) -> None:
        reply = await self._world.service.command(command, "op-7", args)
        assert reply.text.strip(), f"{command} was answered with nothing"
