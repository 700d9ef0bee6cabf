"""What a start of a run asks the register and the history, in one answer."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from logger.core.register.policy import CheckPolicy
from logger.core.register.state import RegisterState, SieveEntry


@dataclass(frozen=True, slots=True, kw_only=True)
class RegisterLook:
    """State with its head (NUMBER:SHA256), runs counted from the history, and the method as first used.

    `runs_since_balance` counts runs since the balance check that is judged, `sieve_runs` those on the sieve
    asked for, `sieve_runs_since_check` those since its last check. `used_method` is the frozen method of the
    first run with the same id and revision, None before it.
    """

    state: RegisterState = field(default_factory=RegisterState)
    head: str = ""
    runs_since_balance: int = 0
    sieve_runs: int = 0
    sieve_runs_since_check: int = 0
    used_method: dict[str, Any] | None = None


def balance_since(state: RegisterState, policy: CheckPolicy) -> str | None:
    """UTC of the oldest among the newest checks of every weight of the bench; None when one was never made."""
    newest = {check.weight_id: check.utc for check in state.balance_checks}
    known = [newest.get(weight.id) for weight in policy.weights]
    times = [utc for utc in known if utc is not None]
    return min(times) if times and len(times) == len(known) else None


def sieve_since(entry: SieveEntry | None) -> str:
    """Beginning of the day of the sieve's last check, UTC text; the beginning of time before the first."""
    last = None if entry is None else entry.last_check
    return "" if last is None else last.isoformat()
