"""Checks of balance, pressure transducer and sieves for a person: standing and history."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from logger.app.clock import utc_now
from logger.app.paths import DataFolder
from logger.app.register import read_plan, read_register
from logger.core.buoyancy import NOMINAL_AIR_DENSITY, air_density, sieve_buoyancy_g, true_mass_factor
from logger.core.distribution.points import mass_balance
from logger.core.drying import DryingWeighing, constant_mass
from logger.core.refusal import ResultError
from logger.core.register.fitness import balance_fitness, pressure_fitness, sieve_fitness
from logger.core.register.look import balance_since, sieve_since
from logger.core.run.plan import plain_json
from logger.core.text import printable
from logger.store.history import find_run, reading, record_body
from logger.store.register import runs_since, sieve_runs

TYPICAL_SIEVE_G = 400.0


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


def drying(texts: list[str], json_out: bool) -> tuple[bool, str | dict[str, Any]]:
    """Whether weighings given as MINUTES:GRAMS show constant mass, with the answer. Raises `ResultError`."""
    pairs = [_pair(text, "a weighing is written MINUTES:GRAMS, for example 60:99.48") for text in texts]
    found = constant_mass([DryingWeighing(at_s=60 * minutes, mass_g=mass_g) for minutes, mass_g in pairs])
    return found.reached, plain_json(found) if json_out else f"{found.text[:1].upper()}{found.text[1:]}."


def air(
    pressure_hpa: float,
    humidity_pct: float,
    temperature_c: float,
    powder_density: float | None,
    json_out: bool,
) -> str | dict[str, Any]:
    """Density of the air and what it does to weighings. Raises `ResultError`."""
    density = air_density(pressure_hpa, humidity_pct, temperature_c)
    apparent_g = sieve_buoyancy_g(TYPICAL_SIEVE_G, density - NOMINAL_AIR_DENSITY)
    factor = None if powder_density is None else true_mass_factor(powder_density, density)
    if json_out:
        return {"air_density_kg_m3": density, "true_mass_factor": factor, "sieve_apparent_g": apparent_g}
    lines = [
        f"Air density {density:.4f} kg/m3.",
        f"A steel sieve of {TYPICAL_SIEVE_G:g} g differs by {1000 * apparent_g:.2f} mg from air of "
        f"{NOMINAL_AIR_DENSITY:g} kg/m3: the half-width to enter as buoyancy_g when the air changes as much in a run.",
    ]
    if factor is not None:
        lines.append(
            f"True mass of the powder is {factor:.6f} times the reading. It cancels in residue and passing."
        )
    return "\n".join(lines)


def _pair(text: str, sentence: str) -> tuple[float, float]:
    first, colon, second = text.partition(":")
    try:
        if not colon:
            raise ValueError
        return float(first), float(second)
    except ValueError:
        raise ResultError(f"{sentence}, not {text!r}") from None


def span_points(texts: list[str]) -> list[dict[str, float]]:
    """Points given as APPLIED:READING in Pa. Raises `ResultError` for what is none."""
    sentence = "--span is written APPLIED:READING in Pa, for example 2500:2506"
    pairs = [_pair(text, sentence) for text in texts]
    return [{"applied_pa": applied_pa, "reading_pa": reading_pa} for applied_pa, reading_pa in pairs]


def losses(
    data: DataFolder, which: str, collected_g: float, limit_pct: float, json_out: bool
) -> tuple[bool, str | dict[str, Any]]:
    """Charge of a run against its residue and the passing that was collected. Raises StoreError, `ResultError`."""
    with reading(data.store) as connection:
        body = record_body(connection, find_run(connection, which).run_id)
    result = None if body is None else body["result"]
    if result is None:
        raise ResultError(f"run {which} has no result to balance")
    found = mass_balance(result["charge_g"], result["residue_g"], collected_g, limit_pct)
    return found.within, plain_json(found) if json_out else f"{found.text}."
