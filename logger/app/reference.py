"""Found residue of a reference powder from runs on the sieve: the mean of their raw residues."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from logger.app.paths import DataFolder
from logger.core.determinations import sd
from logger.core.refusal import require
from logger.store import history


def found_by_runs(data: DataFolder, sieve_id: str, which: Sequence[str]) -> dict[str, Any]:
    """`found_pct`, `found_u_pct`, `checked_on` and `run_ids` from the records of these runs.

    Raw residues count, whatever the method says of correction: a factor is never found through itself.
    The uncertainty is that of one run's budget (without its correction) for one run; for several the larger
    of that over the root of their number and of their own scatter. Raises StoreError, `ResultError`.
    """
    bodies = [_body(data, name) for name in which]
    ids = [body["run_id"] for body in bodies]
    require(len(set(ids)) == len(ids), "one of the runs is given twice: name each once")
    for name, body in zip(which, bodies, strict=True):
        _check(name, body, sieve_id)
    values = [float(body["result"]["residue_pct"]) for body in bodies]
    single_u = max(_raw_u(body) for body in bodies) / math.sqrt(len(values))
    scatter = sd(values) / math.sqrt(len(values)) if len(values) > 1 else 0.0
    return {
        "found_pct": math.fsum(values) / len(values),
        "found_u_pct": max(single_u, scatter),
        "checked_on": max(body["tested_at"] for body in bodies)[:10],
        "run_ids": ids,
    }


def _body(data: DataFolder, which: str) -> dict[str, Any]:
    with history.reading(data.store) as connection:
        row = history.find_run(connection, which)
        body = history.record_body(connection, row.run_id)
    require(body is not None, f"run {which} has no record yet: it is still open")
    return body or {}


def _check(which: str, body: dict[str, Any], sieve_id: str) -> None:
    used = (body.get("sieve") or {}).get("id", "")
    require(used == sieve_id, f"run {which} was made on sieve {used or '(none named)'}, not on {sieve_id}")
    require(
        body["outcome"] == "endpoint" and body["result"] is not None,
        f"run {which} ended as {body['outcome']}: only a run that reached its endpoint finds a residue",
    )


def _raw_u(body: dict[str, Any]) -> float:
    assessed = body["assessment"]
    if assessed["corrected"] is not None:
        return float(assessed["corrected"]["raw_residue_u_pct"])
    return float(assessed["budget"]["u_pct"])
