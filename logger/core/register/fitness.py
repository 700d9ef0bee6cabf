"""Is the equipment fit for a run now? Balance, pressure transducer and sieve against the bench's rules."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Literal

from logger.core.refusal import ResultError
from logger.core.register.policy import CheckPolicy
from logger.core.register.state import BalanceCheck, PressureCheck, RegisterState, SieveEntry
from logger.core.sieve_checks import check_due

Standing = Literal["fit", "due", "failed", "not asked"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitness:
    """How one piece of equipment stands; `due` blocks or warns as the bench says, `failed` blocks."""

    what: Literal["balance", "pressure", "sieve"]
    standing: Standing
    text: str


def balance_fitness(state: RegisterState, policy: CheckPolicy, utc: str, runs_since: int) -> Fitness:
    """The balance by its newest checks: the last one of every check weight counts.

    `runs_since` is the number of runs since the newest check.
    """
    newest = {check.weight_id: check for check in state.balance_checks}
    failed = [check for check in newest.values() if not check.passed]
    if failed:
        return Fitness(what="balance", standing="failed", text=failed[-1].text)
    if policy.balance_every_hours is None and policy.balance_every_runs is None:
        return Fitness(what="balance", standing="not asked", text=_last_words(state.balance_checks))
    missing = [weight.id for weight in policy.weights if weight.id not in newest]
    if missing:
        text = f"the balance was never checked with {', '.join(missing)}"
        return Fitness(what="balance", standing="due", text=text)
    oldest = min((newest[weight.id] for weight in policy.weights), key=lambda check: check.utc)
    hours = _hours(oldest.utc, utc)
    over = []
    if policy.balance_every_hours is not None and hours > policy.balance_every_hours:
        over.append(f"{hours:.0f} h ago, every {policy.balance_every_hours:g} h asked for")
    if policy.balance_every_runs is not None and runs_since >= policy.balance_every_runs:
        over.append(f"{runs_since} runs ago, every {policy.balance_every_runs} runs asked for")
    if over:
        text = f"the balance was last checked {' and '.join(over)}"
        return Fitness(what="balance", standing="due", text=text)
    text = f"checked {hours:.1f} h and {runs_since} runs ago: {oldest.text}"
    return Fitness(what="balance", standing="fit", text=text)


def _last_words(checks: tuple[BalanceCheck, ...]) -> str:
    return checks[-1].text if checks else "no check is asked for on this bench, and none was made"


def pressure_fitness(state: RegisterState, policy: CheckPolicy, utc: str) -> Fitness:
    """The pressure transducer by its newest check."""
    last = state.pressure_checks[-1] if state.pressure_checks else None
    if last is not None and not last.passed:
        return Fitness(
            what="pressure", standing="failed", text=f"pressure check of {last.utc[:10]}: {last.text}"
        )
    spanned = next((check for check in reversed(state.pressure_checks) if check.span), None)
    asked = [
        (name, check, days)
        for name, check, days in (
            ("transducer", last, policy.pressure_every_days),
            ("span", spanned, policy.pressure_span_every_days),
        )
        if days is not None
    ]
    if not asked:
        text = "no check is asked for on this bench" if last is None else last.text
        return Fitness(what="pressure", standing="not asked", text=text)
    today = date.fromisoformat(utc[:10])
    dues = [(name, check_due(_day_of(check), 0, today, every_days=days)) for name, check, days in asked]
    over = [(name, due) for name, due in dues if due.due]
    text = "; ".join(f"pressure {name} {due.text}" for name, due in over or dues)
    return Fitness(what="pressure", standing="due" if over else "fit", text=text)


def _day_of(check: PressureCheck | None) -> date | None:
    return None if check is None else date.fromisoformat(check.utc[:10])


def sieve_fitness(entry: SieveEntry, policy: CheckPolicy, utc: str, runs_since: int) -> Fitness:
    """The sieve by its last check with a reference powder, else by its certificate."""
    if policy.sieve_every_runs is None and policy.sieve_every_days is None:
        return Fitness(what="sieve", standing="not asked", text="no check is asked for on this bench")
    today = date.fromisoformat(utc[:10])
    try:
        due = check_due(entry.last_check, runs_since, today, policy.sieve_every_runs, policy.sieve_every_days)
    except ResultError as error:
        return Fitness(what="sieve", standing="due", text=f"sieve {entry.sieve.id}: {error}")
    text = f"sieve {entry.sieve.id} {due.text}"
    return Fitness(what="sieve", standing="due" if due.due else "fit", text=text)


def _hours(earlier_utc: str, utc: str) -> float:
    first, now = (datetime.fromisoformat(text).astimezone(UTC) for text in (earlier_utc, utc))
    return (now - first).total_seconds() / 3600
