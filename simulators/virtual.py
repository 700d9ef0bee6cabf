"""The whole bench in virtual time: rig, hands and instruments, without a port, a loop or a clock.

What was done in the same order at the same times with the same seed gives the same bytes.
"""

from __future__ import annotations

from typing import Literal

import numpy as np

from simulators.dialects import Channel, Shown, find_dialect
from simulators.hands import Hands
from simulators.instrument import Instrument, LineInstrument
from simulators.modbus import RtuInstrument, TransducerUnit
from simulators.relay import HOLD_S, Relay, RelayLine, RelayUnit
from simulators.rig import VirtualRig
from simulators.scenarios import Arrangement, Scenario, find_scenario

SECOND_NS = 1_000_000_000

Sent = tuple[int, Channel, bytes]
"""Bench time in ns, the port it came out of, the bytes."""

PermitKind = Literal["line", "modbus"]

MODBUS_PRESSURE = "modbus-pressure"
"""Name that stands beside the line dialects for the transducer with registers."""

USUAL_MASS_DIALECT = {"beside": "polled-line-balance", "under": "streamed-line-balance"}
USUAL_PRESSURE_DIALECT = "streamed-line-pressure"

PRESSURE_LATER_NS = 37_000_000
"""The two instruments do not speak in step."""


def check_pressure_dialect(name: str) -> None:
    """Raises UnknownDialectError when the transducer does not speak it."""
    if name != MODBUS_PRESSURE:
        find_dialect(name, "pressure", also=(MODBUS_PRESSURE,))


class VirtualBench:
    """`start_ns` is what the bench clock shows when the rig is switched on.

    With a `permit` the rig has the external relay of relay.py on a third port, and `relay_hold_s` is its
    time-out in bench time.
    """

    def __init__(
        self,
        scenario: Scenario | str,
        seed: int = 1,
        *,
        arrangement: Arrangement | None = None,
        mass_dialect: str | None = None,
        pressure_dialect: str | None = None,
        permit: PermitKind | None = None,
        relay_hold_s: float = HOLD_S,
        start_ns: int = 0,
    ) -> None:
        if isinstance(scenario, str):
            scenario = find_scenario(scenario, arrangement)
        self.scenario = scenario
        self.rig = VirtualRig(scenario, seed)
        self.hands = Hands(self.rig, seed)
        self.now_ns = start_ns
        self.swapped = False
        self._start_ns = start_ns
        self._seed = seed
        self.instruments: dict[Channel, Instrument] = {
            "mass": self._balance(mass_dialect or USUAL_MASS_DIALECT[scenario.arrangement]),
            "pressure": self._transducer(pressure_dialect or USUAL_PRESSURE_DIALECT),
        }
        self._relay = Relay(round(relay_hold_s * SECOND_NS), self.rig.set_permit)
        if permit is not None:
            self.rig.set_permit(False)
            self.instruments["permit"] = self._permit(permit)
        self.plugged = dict.fromkeys(self.instruments, True)

    def _balance(self, name: str) -> Instrument:
        dialect = find_dialect(name, "mass")
        return LineInstrument(dialect, self._look_at_balance, self._rng(1), self._start_ns)

    def _transducer(self, name: str) -> Instrument:
        if name == MODBUS_PRESSURE:
            return self._modbus_transducer()
        dialect = find_dialect(name, "pressure", also=(MODBUS_PRESSURE,))
        first_ns = self._start_ns + PRESSURE_LATER_NS
        return LineInstrument(dialect, self._look_at_pressure, self._rng(2), first_ns)

    def _modbus_transducer(self) -> Instrument:
        unit = TransducerUnit(lambda at_ns: line.faults.shown(self._look_at_pressure(), at_ns))
        line = RtuInstrument((unit,), self._rng(2))
        return line

    def _permit(self, kind: PermitKind) -> Instrument:
        if kind == "modbus":
            return RtuInstrument((RelayUnit(self._relay),), self._rng(3))
        return RelayLine(self._relay, self._rng(3))

    def _rng(self, key: int) -> np.random.Generator:
        return np.random.default_rng(np.random.SeedSequence(self._seed, spawn_key=(88, key)))

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

    def instrument_behind(self, port: Channel) -> Instrument:
        """The instrument whose cable is in this port."""
        other: dict[Channel, Channel] = {"mass": "pressure", "pressure": "mass"}
        return self.instruments[other.get(port, port) if self.swapped else port]

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
            self._relay.update(self.now_ns)
            self.hands.act(at_s)
            sent += self._fire()
        self.now_ns = max(now_ns, self.now_ns)
        self.rig.advance(self.seconds(self.now_ns))
        return sent

    def _next_ns(self) -> int:
        next_ns = min(instrument.next_ns(self.now_ns) for instrument in self.instruments.values())
        next_ns = min(next_ns, self._relay.next_ns)
        hands_s = self.hands.next_s
        if hands_s == float("inf"):
            return next_ns
        return min(next_ns, self._start_ns + int(hands_s * SECOND_NS) + 1)

    def _fire(self) -> list[Sent]:
        sent: list[Sent] = []
        for port in self.instruments:
            for data in self.instrument_behind(port).fire(self.now_ns):
                if self.plugged[port]:
                    sent.append((self.now_ns, port, data))
        return sent
