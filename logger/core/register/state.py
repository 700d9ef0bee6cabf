"""The register as it stands: folded from its events alone, in the order in which they were entered."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date

from logger.core.correction import CorrectionFactor
from logger.core.register.events import RegisterEvent, RegisterKind
from logger.core.register.files import Seen, apply_files
from logger.core.register.methods import Approvals, apply_approval
from logger.core.register.people import People, apply_person
from logger.core.shift.state import SHIFT_STEPS, ShiftState
from logger.core.sieves import TestSieve
from logger.core.worklist.items import WORKLIST_STEPS, Worklist


@dataclass(frozen=True, slots=True, kw_only=True)
class Tare:
    """Mass of a clean, dry sieve in g, when it was weighed (UTC) and by whom."""

    mass_g: float
    utc: str
    by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SieveEntry:
    """One test sieve with its history, oldest first. `retired` is the reason, empty while in use."""

    sieve: TestSieve
    added_utc: str
    tares: tuple[Tare, ...] = ()
    factors: tuple[CorrectionFactor, ...] = ()
    retired: str = ""

    @property
    def factor(self) -> CorrectionFactor | None:
        """The factor of the newest check with a reference powder; a later entry of the same day counts."""
        found: CorrectionFactor | None = None
        for factor in self.factors:
            if found is None or factor.checked_on >= found.checked_on:
                found = factor
        return found

    @property
    def last_check(self) -> date | None:
        """When the sieve was last checked: reference powder, else the date of its certificate."""
        if self.factor is not None:
            return self.factor.checked_on
        return date.fromisoformat(self.sieve.certified_on) if self.sieve.certified_on else None


@dataclass(frozen=True, slots=True, kw_only=True)
class BalanceCheck:
    """One check of the balance with a check weight; masses in g."""

    utc: str
    by: str
    weight_id: str
    certificate: str
    mass_g: float
    tolerance_g: float
    zero_g: float
    reading_g: float
    deviation_g: float
    passed: bool
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SpanPoint:
    """Pressure applied and read, Pa."""

    applied_pa: float
    reading_pa: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PressureCheck:
    """One check of the pressure transducer: its zero, and readings beside a reference, Pa.

    `certificate` is that of the reference, valid until the day `valid_until` where it says one.
    """

    utc: str
    by: str
    reference: str
    zero_pa: float
    span: tuple[SpanPoint, ...]
    passed: bool
    text: str
    certificate: str = ""
    valid_until: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class RegisterState:
    """Everything the register knows. Checks and approvals oldest first; `seen` files by name."""

    sieves: Mapping[str, SieveEntry] = field(default_factory=dict)
    balance_checks: tuple[BalanceCheck, ...] = ()
    pressure_checks: tuple[PressureCheck, ...] = ()
    people: People = field(default_factory=dict)
    approvals: Approvals = ()
    seen: Seen = field(default_factory=dict)
    shift: ShiftState = field(default_factory=ShiftState)
    worklist: Worklist = field(default_factory=Worklist)


def fold_register(events: Iterable[RegisterEvent]) -> RegisterState:
    """The state after all these events."""
    state = RegisterState()
    for event in events:
        state = _STEPS[event.kind](state, event)
    return state


def _with(state: RegisterState, entry: SieveEntry) -> RegisterState:
    return replace(state, sieves={**state.sieves, entry.sieve.id: entry})


def _added(state: RegisterState, event: RegisterEvent) -> RegisterState:
    return _with(state, SieveEntry(sieve=TestSieve(**event.data), added_utc=event.utc))


def _retired(state: RegisterState, event: RegisterEvent) -> RegisterState:
    return _with(state, replace(state.sieves[event.data["sieve_id"]], retired=event.why))


def _tared(state: RegisterState, event: RegisterEvent) -> RegisterState:
    entry = state.sieves[event.data["sieve_id"]]
    tare = Tare(mass_g=event.data["mass_g"], utc=event.utc, by=event.by)
    return _with(state, replace(entry, tares=(*entry.tares, tare)))


def _referenced(state: RegisterState, event: RegisterEvent) -> RegisterState:
    entry = state.sieves[event.data["sieve_id"]]
    return _with(state, replace(entry, factors=(*entry.factors, factor_of(event.data))))


def factor_of(data: Mapping[str, object]) -> CorrectionFactor:
    """The factor from an entry's data, its date written as YYYY-MM-DD."""
    known = {name: data[name] for name in CorrectionFactor.__dataclass_fields__}
    checked_on = date.fromisoformat(str(data["checked_on"]))
    return CorrectionFactor(**(known | {"checked_on": checked_on}))  # type: ignore[arg-type]


def _balance(state: RegisterState, event: RegisterEvent) -> RegisterState:
    check = BalanceCheck(utc=event.utc, by=event.by, **event.data)
    return replace(state, balance_checks=(*state.balance_checks, check))


def _pressure(state: RegisterState, event: RegisterEvent) -> RegisterState:
    span = tuple(SpanPoint(**point) for point in event.data["span"])
    check = PressureCheck(utc=event.utc, by=event.by, **(event.data | {"span": span}))
    return replace(state, pressure_checks=(*state.pressure_checks, check))


def _person(state: RegisterState, event: RegisterEvent) -> RegisterState:
    return replace(state, people=apply_person(state.people, event))


def _approval(state: RegisterState, event: RegisterEvent) -> RegisterState:
    return replace(state, approvals=apply_approval(state.approvals, event))


def _files(state: RegisterState, event: RegisterEvent) -> RegisterState:
    return replace(state, seen=apply_files(state.seen, event))


def _shift(state: RegisterState, event: RegisterEvent) -> RegisterState:
    return replace(state, shift=SHIFT_STEPS[event.kind](state.shift, event))


def _worklist(state: RegisterState, event: RegisterEvent) -> RegisterState:
    return replace(state, worklist=WORKLIST_STEPS[event.kind](state.worklist, event))


_STEPS: dict[RegisterKind, Callable[[RegisterState, RegisterEvent], RegisterState]] = {
    RegisterKind.SIEVE_ADDED: _added,
    RegisterKind.SIEVE_RETIRED: _retired,
    RegisterKind.SIEVE_TARED: _tared,
    RegisterKind.SIEVE_REFERENCED: _referenced,
    RegisterKind.BALANCE_CHECKED: _balance,
    RegisterKind.PRESSURE_CHECKED: _pressure,
    RegisterKind.PERSON_ADDED: _person,
    RegisterKind.PERSON_CHANGED: _person,
    RegisterKind.PERSON_RETIRED: _person,
    RegisterKind.PASSWORD_SET: _person,
    RegisterKind.METHOD_APPROVED: _approval,
    RegisterKind.METHOD_WITHDRAWN: _approval,
    RegisterKind.FILES_SEEN: _files,
    RegisterKind.SENT_AGAIN: lambda state, event: state,
    **dict.fromkeys(SHIFT_STEPS, _shift),
    **dict.fromkeys(WORKLIST_STEPS, _worklist),
}
