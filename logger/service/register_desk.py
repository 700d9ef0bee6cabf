"""Entries of the register as they arrive from a person, and the sentence that answers them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from logger.core.register.enter import enter
from logger.core.register.events import RegisterEvent, RegisterKind
from logger.core.register.state import RegisterState
from logger.core.register.words import GUARDED, people_text
from logger.core.run.commands import Refused
from logger.core.run.plan import BenchPlan
from logger.core.shift.words import shift_text


def entry_maker(
    args: Mapping[str, Any], by: str, utc: str, bench: BenchPlan
) -> Callable[[RegisterState], RegisterEvent]:
    """What makes the entry once the state is known. Raises Refused for a request that is none."""
    kind, entry = args.get("kind"), args.get("entry")
    if kind not in list(RegisterKind) or kind in GUARDED or not isinstance(entry, Mapping):
        raise Refused(f"The register knows no entry {kind!r}.")
    chosen, values = RegisterKind(kind), dict(entry)
    person, why = str(args.get("by") or by), str(args.get("why", ""))

    def make(state: RegisterState) -> RegisterEvent:
        return enter(
            chosen,
            values,
            by=person,
            why=why,
            utc=utc,
            state=state,
            policy=bench.checks,
            balance=bench.balance,
            shift=bench.shift,
        )

    return make


def entered_text(event: RegisterEvent) -> str:
    """One sentence about the entry that was kept."""
    own = shift_text(event) or people_text(event)
    if own:
        return own
    data = event.data
    made: dict[RegisterKind, Callable[[], str]] = {
        RegisterKind.SIEVE_ADDED: lambda: (
            f"Sieve {data['id']}, {data['aperture_um']:g} µm, is in the register."
        ),
        RegisterKind.SIEVE_RETIRED: lambda: f"Sieve {data['sieve_id']} is retired: {event.why}.",
        RegisterKind.SIEVE_TARED: lambda: (
            f"Sieve {data['sieve_id']}, clean: {data['mass_g']:g} g; {data['text']}."
        ),
        RegisterKind.SIEVE_REFERENCED: lambda: (
            f"Sieve {data['sieve_id']}: factor {data['factor']:.4f}, standard uncertainty "
            f"{data['factor_u']:.2g}, of {data['checked_on']}."
        ),
        RegisterKind.BALANCE_CHECKED: lambda: f"{_passed(data)}: {data['text']}.",
        RegisterKind.PRESSURE_CHECKED: lambda: f"{_passed(data)}: {data['text']}.",
    }
    return made[event.kind]()


def _passed(data: Mapping[str, Any]) -> str:
    return "Passed" if data["passed"] else "FAILED"
