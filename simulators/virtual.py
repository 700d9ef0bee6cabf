"""The whole bench in virtual time: rig, hands and both instruments, without a port, a loop or a clock.

What was done in the same order at the same times with the same seed gives the same bytes.
"""

from __future__ import annotations

import numpy as np

from simulators.dialects import Channel, Dialect, Shown, find_dialect
from simulators.hands import Hands
from simulators.instrument import LineInstrument
from simulators.rig import VirtualRig
from simulators.scenarios import Arrangement, Scenario, find_scenario

SECOND_NS = 1_000_000_000

Sent = tuple[int, Channel, bytes]
"""Bench time in ns, the port it came out of, the bytes."""

OTHER: dict[Channel, Channel] = {"mass": "pressure", "pressure": "mass"}

USUAL_MASS_DIALECT = {"beside": "polled-line-balance", "under": "streamed-line-balance"}
USUAL_PRESSURE_DIALECT = "streamed-line-pressure"

PRESSURE_LATER_NS = 37_000_000
"""The two instruments do not speak in step."""


class VirtualBench:
    """`start_ns` is what the bench clock shows when the rig is switched on."""

    def __init__(
        self,
        scenario: Scenario | str,
        seed: int = 1,
        *,
        arrangement: Arrangement | None = None,
        mass_dialect: str | None = None,
        pressure_dialect: str | None = None,
        start_ns: int = 0,
    ) -> None:
        if isinstance(scenario, str):
            scenario = find_scenario(scenario, arrangement)
        self.scenario = scenario
        self.rig = VirtualRig(scenario, seed)
        self.hands = Hands(self.rig, seed)
        self.now_ns = start_ns
        self._start_ns = start_ns
        self.plugged: dict[Channel, bool] = {"mass": True, "pressure": True}
        self.swapped = False
        mass = find_dialect(mass_dialect or USUAL_MASS_DIALECT[scenario.arrangement], "mass")
        pressure = find_dialect(pressure_dialect or USUAL_PRESSURE_DIALECT, "pressure")
        self.instruments: dict[Channel, LineInstrument] = {
            "mass": self._instrument(mass, seed, start_ns),
            "pressure": self._instrument(pressure, seed, start_ns + PRESSURE_LATER_NS),
        }

    def _instrument(self, dialect: Dialect, seed: int, first_ns: int) -> LineInstrument:
        look = self._look_at_balance if dialect.channel == "mass" else self._look_at_pressure
        key = 1 if dialect.channel == "mass" else 2
        rng = np.random.default_rng(np.random.SeedSequence(seed, spawn_key=(88, key)))
        return LineInstrument(dialect, look, rng, first_ns)

    def _look_at_balance(self) -> Shown:
        out = self.rig.balance()
        return Shown(out.mass_g, out.stable, out.state)

    def _look_at_pressure(self) -> Shown:
        out = self.rig.pressure()
        return Shown(out.dp_pa, out.steady)

    def seconds(self, at_ns: int) -> float:
        """Seconds since the rig was switched on: the time axis of rig, hands and truth."""
        return (at_ns - self._start_ns) / SECOND_NS

    def follow(self, instruction_key: str, at_ns: int | None = None) -> None:
        """Shows the hands the instruction of this moment."""
        self.hands.follow(instruction_key, self.seconds(self.now_ns if at_ns is None else at_ns))

    def instrument_behind(self, port: Channel) -> LineInstrument:
        """The instrument whose cable is in this port."""
        return self.instruments[OTHER[port] if self.swapped else port]

    def write(self, port: Channel, data: bytes, at_ns: int) -> None:
        """Bytes that somebody sends into a port; answers come out of `step_to` a little later."""
        if self.plugged[port]:
            self.instrument_behind(port).receive(data, at_ns)

    def step_to(self, now_ns: int) -> list[Sent]:
        """Lets bench time run until `now_ns` and returns what the instruments sent, in order."""
        sent: list[Sent] = []
        while (due_ns := self._next_ns()) <= now_ns:
            self.now_ns = max(due_ns, self.now_ns)
            at_s = self.seconds(self.now_ns)
            self.rig.advance(at_s)
            self.hands.act(at_s)
            sent += self._fire()
        self.now_ns = max(now_ns, self.now_ns)
        self.rig.advance(self.seconds(self.now_ns))
        return sent

    def _next_ns(self) -> int:
        next_ns = min(instrument.next_ns(self.now_ns) for instrument in self.instruments.values())
        hands_s = self.hands.next_s
        if hands_s == float("inf"):
            return next_ns
        return min(next_ns, self._start_ns + int(hands_s * SECOND_NS) + 1)

    def _fire(self) -> list[Sent]:
        sent: list[Sent] = []
        ports: tuple[Channel, Channel] = ("mass", "pressure")
        for port in ports:
            for data in self.instrument_behind(port).fire(self.now_ns):
                if self.plugged[port]:
                    sent.append((self.now_ns, port, data))
        return sent
