"""Test sieves for a person: a list, one sieve with its history, its drift and its control chart."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from logger.app.clock import utc_now
from logger.app.paths import DataFolder
from logger.app.register import read_plan, read_register
from logger.core.control_chart import LEAST_START, ControlChart, control_chart, control_limits
from logger.core.correction import CorrectionFactor, factor_drift
from logger.core.refusal import ResultError
from logger.core.register.fitness import Fitness, sieve_fitness
from logger.core.register.look import sieve_since
from logger.core.register.policy import CheckPolicy
from logger.core.register.state import RegisterState, SieveEntry
from logger.core.rounding import rounded_u_text
from logger.core.run.plan import plain_json
from logger.core.sieves import tolerance
from logger.core.text import printable
from logger.store.history import reading
from logger.store.register import sieve_runs, sieve_tares


@dataclass(frozen=True, slots=True, kw_only=True)
class SieveView:
    """One sieve as listed: what the register and the history say of it today."""

    entry: SieveEntry
    runs: int
    runs_since_check: int
    fitness: Fitness
    run_tares: tuple[tuple[int, str, float], ...]


def find_entry(state: RegisterState, sieve_id: str) -> SieveEntry:
    """The sieve of this id. Raises `ResultError` that lists what there is."""
    entry = state.sieves.get(sieve_id)
    if entry is None:
        known = ", ".join(sorted(state.sieves)) or "none"
        raise ResultError(f"sieve {sieve_id!r} is not in the register; there are: {known}")
    return entry


def list_sieves(data: DataFolder, bench_path: Path | None, json_out: bool) -> str | list[dict[str, Any]]:
    """All sieves, finest first. Raises StoreError."""
    policy = CheckPolicy() if bench_path is None else read_plan(bench_path).checks
    entries = sorted(read_register(data).sieves.values(), key=lambda e: (e.sieve.aperture_um, e.sieve.id))
    views = [_view(data, entry, policy) for entry in entries]
    if json_out:
        return [_plain(view) for view in views]
    if not views:
        return "No sieve is in the register; `lastgrain sieves add` enters one."
    lines = [
        f"{'id':14}  {'aperture':>9}  {'frame':>6}  {'standard':16}  {'runs':>5}  {'factor':>7}  standing"
    ]
    for view in views:
        sieve, factor = view.entry.sieve, view.entry.factor
        standing = "retired" if view.entry.retired else f"{view.fitness.standing}: {view.fitness.text}"
        lines.append(
            f"{sieve.id:14}  {sieve.aperture_um:>6g} µm  {sieve.frame_mm:>3g} mm  {sieve.standard:16}  "
            f"{view.runs:>5}  {'-' if factor is None else f'{factor.factor:.4f}':>7}  {printable(standing)}"
        )
    return "\n".join(lines)


def show_sieve(
    data: DataFolder, bench_path: Path | None, sieve_id: str, json_out: bool
) -> str | dict[str, Any]:
    """One sieve with its history. Raises StoreError, `ResultError`."""
    policy = CheckPolicy() if bench_path is None else read_plan(bench_path).checks
    view = _view(data, find_entry(read_register(data), sieve_id), policy)
    return _plain(view) if json_out else "\n".join(_lines(view))


def _view(data: DataFolder, entry: SieveEntry, policy: CheckPolicy) -> SieveView:
    with reading(data.store) as connection:
        runs = sieve_runs(connection, entry.sieve.id)
        since = sieve_runs(connection, entry.sieve.id, sieve_since(entry))
        tares = tuple(sieve_tares(connection, entry.sieve.id))
    fitness = sieve_fitness(entry, policy, utc_now(), since)
    return SieveView(entry=entry, runs=runs, runs_since_check=since, fitness=fitness, run_tares=tares)


def _plain(view: SieveView) -> dict[str, Any]:
    entry = view.entry
    drift = factor_drift(entry.factors)
    return {
        **plain_json(entry.sieve),
        "added_utc": entry.added_utc,
        "retired": entry.retired,
        "runs": view.runs,
        "runs_since_check": view.runs_since_check,
        "standing": view.fitness.standing,
        "standing_text": view.fitness.text,
        "tares": [plain_json(tare) for tare in entry.tares],
        "run_tares": [{"run": run, "utc": utc, "mass_g": mass_g} for run, utc, mass_g in view.run_tares],
        "factors": [_factor(factor) for factor in entry.factors],
        "factor": None if entry.factor is None else _factor(entry.factor),
        "drift": None if drift is None else plain_json(drift),
    }


def _factor(factor: CorrectionFactor) -> dict[str, Any]:
    return {
        **plain_json(factor),
        "factor": factor.factor,
        "factor_u": factor.factor_u,
        "correction_pct": factor.correction_pct,
    }


def _lines(view: SieveView) -> list[str]:
    entry, sieve = view.entry, view.entry.sieve
    lines = [
        f"Sieve      {sieve.id}: {sieve.aperture_um:g} µm, frame {sieve.frame_mm:g} mm, {sieve.standard}",
        f"Tolerance  {_tolerance_words(entry)}",
        f"In use     since {entry.added_utc[:10]}, {view.runs} runs, {view.runs_since_check} since the last check",
        f"Standing   {view.fitness.standing}: {printable(view.fitness.text)}",
    ]
    if sieve.mean_aperture_um is not None:
        lines.append(
            f"Aperture   mean {sieve.mean_aperture_um:g} µm, standard uncertainty {sieve.mean_aperture_u_um:g} µm, "
            f"certificate {printable(sieve.certificate)} of {sieve.certified_on}"
        )
    if entry.retired:
        lines.append(f"Retired    {printable(entry.retired)}")
    lines += [f"Factor     {_factor_words(factor)}" for factor in entry.factors]
    drift = factor_drift(entry.factors)
    lines += [f"Drift      {drift.text}"] if drift is not None else []
    lines += [
        f"Tare       {tare.mass_g:g} g, clean, {tare.utc[:16]} by {printable(tare.by)}"
        for tare in entry.tares
    ]
    lines += [f"Tare       {mass_g:g} g, run {run}, {utc[:16]}" for run, utc, mass_g in view.run_tares[-10:]]
    return lines


def _tolerance_words(entry: SieveEntry) -> str:
    try:
        found = tolerance(entry.sieve.aperture_um, entry.sieve.standard)
    except ResultError as refusal:
        return str(refusal)
    return f"mean within ± {found.y_um:g} µm, no aperture more than {found.x_um:g} µm over ({found.name})"


def _factor_words(factor: CorrectionFactor) -> str:
    return (
        f"{factor.factor:.4f}, standard uncertainty {rounded_u_text(factor.factor_u)}, {factor.checked_on}: "
        f"certified {factor.certified_pct:g} %, found {factor.found_pct:g} %, {printable(factor.certificate)}"
    )


def chart(
    data: DataFolder, sieve_id: str, certificate: str, start: int, json_out: bool
) -> str | dict[str, Any]:
    """Control chart of a reference powder on one sieve: its first checks set the limits.

    Raises `ResultError` with too few checks, StoreError.
    """
    entry = find_entry(read_register(data), sieve_id)
    named = sorted({factor.certificate for factor in entry.factors})
    if not certificate and len(named) > 1:
        raise ResultError(
            f"sieve {sieve_id} was checked with several powders: name one with --certificate "
            f"({', '.join(named)})"
        )
    checks = sorted(
        (f for f in entry.factors if f.certificate == (certificate or f.certificate)),
        key=lambda f: f.checked_on,
    )
    values = [factor.found_pct for factor in checks]
    centre_pct, sd_pct = control_limits(values[: max(start, LEAST_START)])
    found = control_chart(values, centre_pct, sd_pct)
    if json_out:
        points = [
            {"checked_on": str(f.checked_on), **plain_json(point)}
            for f, point in zip(checks, found.points, strict=True)
        ]
        return plain_json(found) | {"sieve_id": sieve_id, "points": points}
    return "\n".join(_chart_lines(found, checks))


def _chart_lines(found: ControlChart, checks: list[CorrectionFactor]) -> list[str]:
    lines = [
        f"Centre {found.centre_pct:.3f} %, standard deviation {found.sd_pct:.3f} % "
        f"(moving range of the first checks)",
        f"Warning {found.warning_pct[0]:.3f} to {found.warning_pct[1]:.3f} %, "
        f"action {found.action_pct[0]:.3f} to {found.action_pct[1]:.3f} %",
        "",
        f"{'date':10}  {'found %':>8}  {'s':>6}  {_scale()}",
    ]
    for check, point in zip(checks, found.points, strict=True):
        words = "" if point.signal == "none" else f"  {point.signal}: {point.reason}"
        lines.append(
            f"{check.checked_on}  {point.value_pct:>8.3f}  {point.distance:>+6.2f}  {_mark(point.distance)}{words}"
        )
    return lines


def _scale() -> str:
    return "-3  -2  -1   0  +1  +2  +3"


def _mark(distance: float) -> str:
    """A row of 25 places from -3 s to +3 s with the point in it."""
    row = list("|   |   |   |   |   |   |")
    row[min(24, max(0, round(12 + 4 * distance)))] = "o"
    return "".join(row)
