"""Checks of balance, pressure transducer and sieves for a person: standing and history."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from logger.app.clock import utc_now
from logger.app.paths import DataFolder
from logger.app.register import read_plan, read_register
from logger.core.refusal import ResultError
from logger.core.register.fitness import balance_fitness, pressure_fitness, sieve_fitness
from logger.core.register.look import balance_since, sieve_since
from logger.core.run.plan import plain_json
from logger.core.text import printable
from logger.store.history import reading
from logger.store.register import runs_since, sieve_runs


def list_checks(data: DataFolder, bench_path: Path, limit: int, json_out: bool) -> str | dict[str, Any]:
    """How everything stands by the bench's rules, and the newest checks. Raises StoreError, ConfigError."""
    policy, state, utc = read_plan(bench_path).checks, read_register(data), utc_now()
    since, runs, of_sieves = balance_since(state, policy), 0, dict.fromkeys(state.sieves, 0)
    if data.store.exists():
        with reading(data.store) as connection:
            runs = 0 if since is None else runs_since(connection, since)
            of_sieves = {
                name: sieve_runs(connection, name, sieve_since(entry)) for name, entry in state.sieves.items()
            }
    standing = [balance_fitness(state, policy, utc, runs), pressure_fitness(state, policy, utc)]
    standing += [
        sieve_fitness(entry, policy, utc, of_sieves[name])
        for name, entry in sorted(state.sieves.items())
        if not entry.retired
    ]
    balance, pressure = state.balance_checks[-limit:], state.pressure_checks[-limit:]
    if json_out:
        return {
            "overdue": policy.overdue,
            "standing": [plain_json(found) for found in standing],
            "balance_checks": [plain_json(check) for check in balance],
            "pressure_checks": [plain_json(check) for check in pressure],
        }
    what = "refuses" if policy.overdue == "blocks" else "is a deviation of"
    lines = [f"A check that is overdue {what} the run; one that failed refuses it.", ""]
    lines += [f"{found.what:9}  {found.standing:10}  {printable(found.text)}" for found in standing]
    history = [("balance", check) for check in balance] + [("pressure", check) for check in pressure]
    lines += ["", "Newest checks"] if history else []
    for what, check in sorted(history, key=lambda item: item[1].utc):
        word = "passed" if check.passed else "FAILED"
        lines.append(f"  {check.utc[:16]}  {what:8}  {word}  {printable(check.by)}  {printable(check.text)}")
    return "\n".join(lines)


def span_points(texts: list[str]) -> list[dict[str, float]]:
    """Points given as APPLIED:READING in Pa. Raises `ResultError` for what is none."""
    points = []
    for text in texts:
        applied, colon, shown = text.partition(":")
        try:
            if not colon:
                raise ValueError
            points.append({"applied_pa": float(applied), "reading_pa": float(shown)})
        except ValueError:
            raise ResultError(
                f"--span is written APPLIED:READING in Pa, for example 2500:2506, not {text!r}"
            ) from None
    return points
