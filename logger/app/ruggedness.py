"""`lastgrain method ruggedness`: a plan of runs as CSV, and what its runs say about pressure, charge and time."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from logger.app.kept_runs import kept_run
from logger.app.paths import DataFolder
from logger.core.joining import KeptRun
from logger.core.ruggedness import Effect, PlannedRun, effects, plan
from logger.settings import ConfigError
from logger.store import history
from logger.store.errors import StoreError

RUN, RESIDUE = "run", "residue_pct"
LEVELS = {"-1": -1, "0": 0, "1": 1, "+1": 1}
SAME = 0.02
"""Settings of a factor that differ by less than this (relative) are the same setting."""
CENTRE = 0.25
"""A setting this near to the middle, in halves of the range, is a centre run."""


def plan_csv(factors: Sequence[str], centre_runs: int) -> str:
    """The plan as CSV to be filled in: a run's number, or its residue in %. Raises ValueError."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow([*factors, RUN, RESIDUE])
    for run in plan(factors, centre_runs):
        writer.writerow(
            [*(f"{run.levels[factor]:+d}" if run.levels[factor] else "0" for factor in factors), "", ""]
        )
    return stream.getvalue()


def ruggedness(given: Sequence[str], data: DataFolder, allowed_pct: float) -> tuple[Effect, ...]:
    """Effects from a filled plan (one CSV file) or from kept runs whose methods differ.

    Raises ConfigError, StoreError and ValueError with the sentence for the person.
    """
    if len(given) == 1 and not given[0].isdigit():
        return effects(_filled_plan(Path(given[0]), data), allowed_pct)
    return effects(_runs_by_setting(_kept(given, data)), allowed_pct)


# --- a filled plan ------------------------------------------------------------------------------------


def _filled_plan(path: Path, data: DataFolder) -> list[PlannedRun]:
    try:
        rows = list(csv.reader(path.read_text(encoding="utf-8-sig").splitlines()))
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise ConfigError(path, f"cannot be read ({error}); make one with --plan") from None
    if not rows or RESIDUE not in rows[0]:
        raise ConfigError(path, f"is no plan: its header has no column {RESIDUE}; make one with --plan")
    head = [cell.strip() for cell in rows[0]]
    factors = [name for name in head if name not in (RUN, RESIDUE)]
    filled = ((n, dict(zip(head, row, strict=False))) for n, row in enumerate(rows[1:], start=2) if any(row))
    return [_planned(path, line, row, factors, data) for line, row in filled]


def _planned(path: Path, line: int, row: dict[str, str], factors: list[str], data: DataFolder) -> PlannedRun:
    levels = {}
    for factor in factors:
        text = row.get(factor, "").strip()
        if text not in LEVELS:
            raise ConfigError(path, f"line {line}: {factor} must be -1, 0 or +1, is {text!r}")
        levels[factor] = LEVELS[text]
    return PlannedRun(levels, _residue(path, line, row, data))


def _residue(path: Path, line: int, row: dict[str, str], data: DataFolder) -> float | None:
    text, run = row.get(RESIDUE, "").strip(), row.get(RUN, "").strip()
    if text:
        try:
            value = float(text)
        except ValueError:
            value = math.nan
        if not 0.0 <= value <= 100.0:
            raise ConfigError(path, f"line {line}: {RESIDUE} must be a share from 0 to 100 %, is {text!r}")
        return value
    return _residue_of(_kept([run], data)[0]) if run else None


# --- kept runs ----------------------------------------------------------------------------------------


def _kept(numbers: Sequence[str], data: DataFolder) -> list[KeptRun]:
    with history.reading(data.store) as connection:
        return [kept_run(connection, number) for number in numbers]


def _residue_of(run: KeptRun) -> float:
    if run.found is None:
        raise StoreError(f"Run {run.number} has no residue ({run.outcome or 'still open'}): leave it out.")
    return run.found.residue_pct


def _settings(run: KeptRun) -> dict[str, float]:
    method = run.method
    stop = (
        method.endpoint.time_s if method.endpoint.rule == "fixed-time" else method.endpoint.limit_pct_per_min
    )
    name = "time" if method.endpoint.rule == "fixed-time" else "limit"
    found = {"pressure": method.suction.dp_pa, "charge": method.charge.mass_g}
    return found if stop is None else {**found, name: stop}


def _runs_by_setting(runs: Sequence[KeptRun]) -> list[PlannedRun]:
    """Factors are what differs between the runs' own methods: pressure, charge, time or limit."""
    settings: list[dict[str, Any]] = [_settings(run) for run in runs]
    shared = set.intersection(*(set(found) for found in settings)) if settings else set()
    factors = [
        name
        for name in ("pressure", "charge", "time", "limit")
        if name in shared and max(s[name] for s in settings) > (1 + SAME) * min(s[name] for s in settings)
    ]
    if not factors:
        raise ValueError(
            "the runs' methods do not differ in pressure, charge, time or limit; give a filled plan instead"
            " (make one with --plan pressure,charge,time)"
        )
    return [
        PlannedRun({name: _level(name, found[name], settings) for name in factors}, _residue_of(run))
        for run, found in zip(runs, settings, strict=True)
    ]


def _level(name: str, value: float, settings: Sequence[dict[str, Any]]) -> int:
    low, high = min(s[name] for s in settings), max(s[name] for s in settings)
    place = (2.0 * value - low - high) / (high - low)
    if abs(place) > 1.0 - CENTRE:
        return 1 if place > 0 else -1
    if abs(place) < CENTRE:
        return 0
    raise ValueError(
        f"{name} was set to {value:g} between low ({low:g}), middle and high ({high:g}): use three levels"
    )
