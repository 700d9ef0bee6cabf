"""What is fixed before a run: sample, people, method, bench, rig, software. Frozen into the record with hashes."""

from __future__ import annotations

import dataclasses
import hashlib
import json
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from logger.core.alarm_limits import AlarmLimits
from logger.core.method import Method
from logger.core.register.fitness import Fitness
from logger.core.register.methods import Approval
from logger.core.register.planned import PlannedSieve
from logger.core.register.policy import CheckPolicy
from logger.core.rig import Rig
from logger.core.run.repeats import PlannedRepeat
from logger.core.shift.conditions import Conditions
from logger.core.shift.policy import ShiftPolicy
from logger.core.weighing import BalanceSpec


@dataclass(frozen=True, slots=True, kw_only=True)
class Sample:
    """What is tested and for whom; free text, carried in payloads only, never in a topic or a file name."""

    sample_id: str
    operator_id: str
    lot: str = ""
    point: str = ""
    sampled_at: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class CarriedPortion:
    """A portion that is not fresh: what run `from_run` left on the next finer sieve, `mass_g` as weighed there."""

    from_run: int
    run_id: str
    mass_g: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchPlan:
    """The part of the bench that a run needs. `link_gap_s`: bench time after which readings are stale.

    `mass_period_s`, `dp_period_s`: bench time between lines as the profiles say, None where not known.
    """

    site: str
    bench: str
    arrangement: str
    balance: BalanceSpec
    capacity_g: float
    zero_tolerance_g: float
    alarms: AlarmLimits
    link_gap_s: float
    mass_period_s: float | None = None
    dp_period_s: float | None = None
    insecure_broker: bool = False
    checks: CheckPolicy = field(default_factory=CheckPolicy)
    shift: ShiftPolicy = field(default_factory=ShiftPolicy)


@dataclass(frozen=True, slots=True, kw_only=True)
class RunPlan:
    """Everything that a run was started with."""

    run_id: str
    sample: Sample
    method: Method
    aperture_um: float
    bench: BenchPlan
    rig: Rig | None
    software: str
    simulated: bool = False
    sieve_id: str = ""
    """As named by the operator; empty when none was named."""
    sieve: PlannedSieve | None = None
    """What the register knows of it; None for a sieve that is not in it."""
    fitness: tuple[Fitness, ...] = ()
    """How the equipment stood at the start."""
    operator_name: str | None = None
    """By the register of people; None where the operator's name was typed."""
    approval: Approval | None = None
    """Of the method, as it stood at the start; None without one."""
    repeat: PlannedRepeat | None = None
    """Of a sample that was out of specification."""
    register_head: str = ""
    """Newest entry of the register at the start, NUMBER:SHA256."""
    notes: tuple[tuple[str, str], ...] = ()
    """Deviations known before the run, key and sentence: noted as soon as it begins."""
    conditions: Conditions | None = None
    """Air and extractor, where they are known."""
    portion: CarriedPortion | None = None
    """None for a fresh test portion."""

    @property
    def charge_target_g(self) -> float:
        """What should be on the sieve: the method's charge, or what is carried over."""
        return self.method.charge.mass_g if self.portion is None else self.portion.mass_g

    def data(self) -> dict[str, Any]:
        """As plain JSON values, with the hashes of method, bench and rig."""
        plain = plain_json(self)
        hashes = {
            f"{part}_sha256": sha256_json(plain[part]) if plain[part] is not None else None
            for part in ("method", "bench", "rig")
        }
        return plain | hashes


def plain_json(value: Any) -> dict[str, Any]:
    """A dataclass as JSON values; infinities become null, since JSON has none."""
    plain: dict[str, Any] = json.loads(
        json.dumps(dataclasses.asdict(value), default=_day).replace("Infinity", "null")
    )
    return plain


def _day(value: object) -> str:
    if isinstance(value, date):
        return value.isoformat()
    raise TypeError(f"{value!r} is no plain value")


def canonical_json(value: Any) -> str:
    """The one text form that is hashed: sorted keys, no spaces, no nan or infinity."""
    return json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)


def sha256_json(value: Any) -> str:
    """SHA-256 of the canonical text, in hexadecimal."""
    return hashlib.sha256(canonical_json(value).encode()).hexdigest()
