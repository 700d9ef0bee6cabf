"""Several runs side by side for a person or a program."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from logger.app.paths import DataFolder
from logger.core.run_history import RunHistory
from logger.core.text import printable
from logger.store.history_reader import read_run

MOST = 6
LABEL, LEAST_COLUMN = 12, 14
Figures = dict[str, str | int | float | None]


def compare(data: DataFolder, which: Sequence[str], json_out: bool) -> str | list[Figures]:
    """The figures of each run in the order given. Raises StoreError."""
    columns = [_figures(read_run(data.store, one)) for one in which]
    if json_out:
        return columns
    widths = [max(LEAST_COLUMN, *(len(_shown(value)) for value in column.values())) for column in columns]
    lines = []
    for name in columns[0]:
        cells = [_shown(column[name]).ljust(width) for column, width in zip(columns, widths, strict=True)]
        lines.append(f"{_LABELS[name]:{LABEL}}  {'  '.join(cells)}".rstrip())
    return "\n".join([*lines, *_spread(columns)])


_LABELS = {
    "run": "Run",
    "started_at": "Started",
    "sample_id": "Sample",
    "lot": "Lot",
    "operator_id": "Operator",
    "method_id": "Method",
    "method_revision": "Revision",
    "sieve_id": "Sieve",
    "aperture_um": "Aperture µm",
    "outcome": "Outcome",
    "charge_g": "Charge g",
    "effective_s": "Sieved s",
    "decision_s": "Decided at s",
    "end_value": "At the end",
    "end_unit": "  its unit",
    "residue_pct": "Residue %",
    "expanded_u_pct": "U %",
    "decision": "Decision",
    "review": "Review",
    "deviations": "Deviations",
}


def _figures(run: RunHistory) -> Figures:
    record: dict[str, Any] = run.record() or {}
    line, assessed = run.line, record.get("assessment") or {}
    times, result, end = record.get("times") or {}, record.get("result") or {}, record.get("endpoint") or {}
    return {
        "run": line.number,
        "started_at": line.started_at[:19],
        "sample_id": line.sample_id,
        "lot": line.lot,
        "operator_id": line.operator_id,
        "method_id": line.method_id,
        "method_revision": line.method_revision,
        "sieve_id": line.sieve_id,
        "aperture_um": record.get("aperture_um"),
        "outcome": line.outcome or "open",
        "charge_g": result.get("charge_g"),
        "effective_s": times.get("effective_s"),
        "decision_s": times.get("decision_s"),
        "end_value": end.get("value"),
        "end_unit": end.get("unit"),
        "residue_pct": line.residue_pct,
        "expanded_u_pct": (assessed.get("budget") or {}).get("expanded_u_pct"),
        "decision": line.decision,
        "review": line.review,
        "deviations": len(record.get("deviations") or ()),
    }


def _shown(value: str | int | float | None) -> str:
    if isinstance(value, float):
        return f"{value:.4g}" if abs(value) < 100 else f"{value:.1f}"
    return "-" if value in (None, "") else printable(str(value))


def _spread(columns: Sequence[Figures]) -> list[str]:
    values = [value for column in columns if isinstance(value := column["residue_pct"], float)]
    if len(values) < 2:
        return []
    return ["", f"Residues {min(values):.3f} to {max(values):.3f} %: {max(values) - min(values):.3f} % apart"]
