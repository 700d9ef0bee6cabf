"""One line of the history from the store's rows: what the run froze, and what its newest record says now."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import fields
from typing import Any

from logger.core.run_list import RunLine

COLUMNS: tuple[str, ...] = tuple(field.name for field in fields(RunLine))
"""In the order of a line's values."""

LINES = """
SELECT run.number, run.run_id, run.started_at, run.sample_id, run.lot, run.operator_id, run.method_id,
       run.method_revision, record.outcome, record.residue_pct, record.revision, record.body
FROM run LEFT JOIN record ON record.run_id = run.run_id
  AND record.revision = (SELECT max(revision) FROM record WHERE run_id = run.run_id)
"""
"""A row a run, for `line_of`."""


def line_of(row: Sequence[Any]) -> RunLine:
    """The line of a row of LINES."""
    number, run_id, started_at, *known, method_id, method_revision, outcome, residue_pct, revision, body = row
    values = of_body(body or "", [*known, 0])
    return RunLine(
        number=number,
        run_id=run_id,
        started_at=started_at,
        method_id=method_id,
        method_revision=method_revision,
        outcome=outcome or "",
        residue_pct=residue_pct,
        revision=revision or 0,
        **(values | {"simulated": bool(values["simulated"])}),
    )


def line_from(row: Sequence[Any]) -> RunLine:
    """The line of values in the order of COLUMNS."""
    values = dict(zip(COLUMNS, row, strict=True))
    return RunLine(**(values | {"simulated": bool(values["simulated"])}))


def of_body(body: str, known: Sequence[Any]) -> dict[str, Any]:
    """What a list shows of a record's body; of a damaged one what the run's own line says.

    `known`: sample, lot, operator, and whether the run was simulated, by that line.
    """
    sample_id, lot, operator_id, simulated = known
    values = {"sample_id": sample_id, "lot": lot, "operator_id": operator_id, "simulated": simulated}
    values |= {"decision": "", "review": "", "sieve_id": ""}
    try:
        plain = json.loads(body)
        sample, assessed, sieve = plain["sample"], plain["assessment"] or {}, plain["sieve"] or {}
        values |= {
            "sample_id": str(sample["sample_id"]),
            "lot": str(sample["lot"]),
            "operator_id": str(plain["operator_id"]),
            "decision": str((assessed.get("decision") or {}).get("outcome", "")),
            "review": str(plain["review"]),
            "sieve_id": str(sieve.get("id", "")),
            "simulated": int(bool(plain["simulated"])),
        }
    except (ValueError, KeyError, TypeError, AttributeError):
        pass
    return values
