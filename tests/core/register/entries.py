"""A register filled by the real entering step."""

from __future__ import annotations

from typing import Any

from logger.core.register.enter import enter
from logger.core.register.events import RegisterEvent, RegisterKind
from logger.core.register.policy import BenchWeight, CheckPolicy
from logger.core.register.state import RegisterState, fold_register
from logger.core.weighing import BalanceSpec

K = RegisterKind
BALANCE = BalanceSpec(readability_g=0.001, repeatability_g=0.0008)
WEIGHTS = (BenchWeight(id="W-200", mass_g=200.0, tolerance_g=0.003, certificate="C-1"),)
POLICY = CheckPolicy(
    weights=WEIGHTS,
    tare_allowed_g=0.02,
    pressure_zero_tolerance_pa=10.0,
    pressure_span_tolerance_pct=2.0,
)
NOW = "2026-02-01T06:00:00.000Z"

SIEVE: dict[str, Any] = {
    "id": "S-45-01",
    "aperture_um": 45.0,
    "frame_mm": 200.0,
    "standard": "ISO 3310-1:2016",
}
REFERENCE: dict[str, Any] = {
    "sieve_id": "S-45-01",
    "certified_pct": 4.9,
    "certified_u_pct": 0.05,
    "found_pct": 4.6,
    "found_u_pct": 0.05,
    "checked_on": "2026-01-12",
    "certificate": "RP-7",
}


class Register:
    """Events so far; `add` enters one more."""

    def __init__(self, policy: CheckPolicy = POLICY) -> None:
        self.policy = policy
        self.events: list[RegisterEvent] = []

    @property
    def state(self) -> RegisterState:
        return fold_register(self.events)

    def add(
        self, kind: RegisterKind, entry: dict[str, Any], utc: str = NOW, why: str = "test", by: str = "op-7"
    ) -> RegisterEvent:
        event = enter(
            kind,
            entry,
            by=by,
            why=why,
            utc=utc,
            state=self.state,
            policy=self.policy,
            balance=BALANCE,
        )
        self.events.append(event)
        return event


def with_sieve(policy: CheckPolicy = POLICY) -> Register:
    """One 45 µm sieve, tared, with a factor."""
    register = Register(policy)
    register.add(K.SIEVE_ADDED, SIEVE)
    register.add(K.SIEVE_TARED, {"sieve_id": "S-45-01", "mass_g": 412.02})
    register.add(K.SIEVE_REFERENCED, REFERENCE)
    return register
