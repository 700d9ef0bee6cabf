"""The simulated operator: reads the instruction on the screen and does it, once, after a human while.

When an instruction stays on the screen for long, the operator looks at the bench again and puts right what
is not as it was asked: the sieve in its place, suction on or off, the pressure at its figure, the portion
within its tolerance.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from simulators.rig import VirtualRig

SECOND_LOOK_S = 20.0
PRESSURE_OFF_SHARE = 0.03
PORTION_OFF_SHARE = 0.012
"""Half a gram in 25 g is what methods allow; an operator aims at less."""

Act = Callable[[], object]


@dataclass(frozen=True, slots=True)
class Move:
    """One movement: how long it takes to get to it (median, s), and what it is."""

    after_s: float
    act: Act


class Hands:
    """Hands on one rig. All times are bench time in s; delays are seeded, some 20 % either way."""

    def __init__(self, rig: VirtualRig, seed: int) -> None:
        self._rig = rig
        self._rng = np.random.default_rng(np.random.SeedSequence(seed, spawn_key=(77,)))
        self._key: str | None = None
        self._due: list[tuple[float, Act]] = []
        self._look_again_s = float("inf")
        self.holds = False
        """True while the operator leaves the bench alone, whatever the screen says."""

    def follow(self, instruction_key: str, now_s: float) -> None:
        """Tells what the screen says now. A new instruction is acted on once; an unknown one is not."""
        if instruction_key != self._key:
            self._key = instruction_key
            self._plan(self._moves(instruction_key), now_s)
        self.act(now_s)

    @property
    def next_s(self) -> float:
        """When the hands will move next, infinity while they have nothing to do."""
        if self.holds:
            return float("inf")
        return self._due[0][0] if self._due else self._look_again_s

    def act(self, now_s: float) -> None:
        """Does every movement whose time has come."""
        if self.holds:
            return
        while self._due and self._due[0][0] <= now_s:
            _, act = self._due.pop(0)
            act()
        if not self._due and now_s >= self._look_again_s:
            self._plan(self._corrections(self._key or ""), now_s)

    def _plan(self, moves: list[Move], now_s: float) -> None:
        at_s = now_s
        self._due = []
        for move in moves:
            at_s += move.after_s * float(np.exp(0.2 * self._rng.standard_normal()))
            self._due.append((at_s, move.act))
        self._look_again_s = at_s + SECOND_LOOK_S

    # --- what each instruction asks for -----------------------------------------------------------------

    def _moves(self, key: str) -> list[Move]:
        rig = self._rig
        if rig.arrangement == "under":
            return self._moves_under(key)
        plans: dict[str, list[Move]] = {
            "check_instruments": [Move(1.5, rig.clear_pan)],
            "weigh_empty_sieve": [Move(1.5, rig.clear_pan), Move(3.0, rig.place_sieve)],
            "weigh_charge": [Move(7.0, self._pour_if_empty)],
            "switch_suction_on": [Move(5.0, rig.sieve_to_rig), Move(2.5, rig.suction_on)],
            "switch_suction_off": [Move(2.0, rig.suction_off)],
            "held": [Move(2.0, self._suction_off_if_on)],
            "weigh_sieve": [Move(2.0, rig.take_foreign_things_off), Move(3.0, rig.sieve_to_balance)],
            "finished": [Move(3.0, rig.clear_pan)],
            "idle": [Move(3.0, rig.clear_pan)],
        }
        return plans.get(key, [])

    def _moves_under(self, key: str) -> list[Move]:
        rig = self._rig
        plans: dict[str, list[Move]] = {
            "clear_platform": [
                Move(1.5, rig.take_foreign_things_off),
                Move(1.5, lambda: rig.set_lid(False)),
                Move(2.0, rig.sieve_away),
            ],
            "weigh_empty_sieve": [Move(3.0, rig.place_sieve)],
            "weigh_charge": [
                Move(1.5, lambda: rig.set_lid(False)),
                Move(7.0, self._pour_if_empty),
                Move(2.0, lambda: rig.set_lid(True)),
            ],
            "switch_suction_on": [Move(2.5, rig.suction_on)],
            "switch_suction_off": [Move(2.0, rig.suction_off)],
            "held": [Move(2.0, self._suction_off_if_on)],
        }
        return plans.get(key, [])

    def _pour_if_empty(self) -> None:
        if self._rig.load_g <= 0:
            self._rig.pour_charge()

    def _suction_off_if_on(self) -> None:
        if self._rig.suction_is_on:
            self._rig.suction_off()

    # --- the second look --------------------------------------------------------------------------------

    def _corrections(self, key: str) -> list[Move]:
        if key in {"weigh_empty_sieve", "weigh_charge", "weigh_sieve"}:
            return self._correct_weighing(key)
        if key == "clear_platform" and self._rig.sieve_at == "rig":
            return [Move(3.0, self._rig.sieve_away)]
        if key == "switch_suction_on":
            return self._correct_suction()
        if key in {"switch_suction_off", "held", "wait_pressure"} and self._rig.suction_is_on:
            return [Move(2.0, self._rig.suction_off)]
        return []

    def _correct_weighing(self, key: str) -> list[Move]:
        rig = self._rig
        moves: list[Move] = []
        if rig.suction_is_on:
            moves.append(Move(2.0, rig.suction_off))
        if not self._sieve_is_weighed():
            moves.append(Move(3.0, rig.sieve_to_balance))
        if rig.other_on_pan_g:
            moves.append(Move(2.0, rig.take_foreign_things_off))
        if key == "weigh_empty_sieve" and rig.load_g > 0:
            moves.append(Move(5.0, rig.place_sieve))
        if key == "weigh_charge":
            moves += self._correct_portion()
        return moves

    def _sieve_is_weighed(self) -> bool:
        return self._rig.sieve_at == ("rig" if self._rig.arrangement == "under" else "balance")

    def _correct_portion(self) -> list[Move]:
        rig = self._rig
        if rig.load_g <= 0:
            return [Move(7.0, self._pour_if_empty)]
        missing_g = rig.scenario.portion_g - rig.load_g
        if abs(missing_g) <= PORTION_OFF_SHARE * rig.scenario.portion_g:
            return []
        if missing_g > 0:
            return [Move(4.0, lambda: rig.add_powder(missing_g))]
        return [Move(4.0, lambda: rig.remove_powder(-missing_g))]

    def _correct_suction(self) -> list[Move]:
        rig = self._rig
        moves: list[Move] = []
        if rig.sieve_at != "rig" or not rig.lid_is_closed:
            moves.append(Move(4.0, rig.sieve_to_rig))
        if not rig.suction_is_on:
            moves.append(Move(2.0, rig.suction_on))
        elif not moves and self._pressure_is_off():
            moves.append(Move(3.0, lambda: rig.turn_valve_to(rig.scenario.dp_nominal_pa)))
        return moves

    def _pressure_is_off(self) -> bool:
        nominal = self._rig.scenario.dp_nominal_pa
        return abs(self._rig.dp_pa - nominal) > PRESSURE_OFF_SHARE * nominal
