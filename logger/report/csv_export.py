"""Tables as CSV that a spreadsheet opens safely: text stays text, numbers stay numbers.

A cell of a text column that begins like a formula (= + - @, tab, carriage return, line feed, or their
full-width forms) gets an apostrophe in front; in number columns nothing but numbers is let through, so
that -0.001 stays a number. Lines end with CR LF (RFC 4180). Write the file with `ENCODING`, so that
spreadsheets read µ and ± as such.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

ENCODING = "utf-8-sig"

_LIKE_A_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")

Cell = str | float | int | bool | None


@dataclass(frozen=True, slots=True)
class Column:
    """Name of a column, with the unit in it, and what its cells are."""

    name: str
    kind: Literal["text", "number"] = "text"


def to_csv(columns: Sequence[Column], rows: Iterable[Sequence[Cell]]) -> str:
    """The table with its header line. None becomes an empty cell.

    Raises ValueError for a row of the wrong length, and for text, nan or inf in a number column.
    """
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\r\n")
    writer.writerow([safe_text(column.name) for column in columns])
    for number, row in enumerate(rows, start=1):
        if len(row) != len(columns):
            raise ValueError(f"row {number} has {len(row)} cells, the table has {len(columns)} columns")
        writer.writerow([_cell(column, cell, number) for column, cell in zip(columns, row, strict=True)])
    return stream.getvalue()


def safe_text(text: str) -> str:
    """Text that a spreadsheet shows as written instead of computing it."""
    return f"'{text}" if text.startswith(_LIKE_A_FORMULA) else text


def _cell(column: Column, cell: Cell, row: int) -> str:
    if cell is None:
        return ""
    if column.kind == "text":
        return safe_text(cell if isinstance(cell, str) else str(cell))
    if isinstance(cell, bool):
        return str(int(cell))
    if isinstance(cell, str) or not math.isfinite(cell):
        raise ValueError(f"row {row}, column {column.name}: {cell!r} is not a number")
    return repr(cell)


_RECORD_COLUMNS: tuple[tuple[Column, tuple[str, ...]], ...] = (
    (Column("run_id"), ("run_id",)),
    (Column("revision", "number"), ("revision",)),
    (Column("review"), ("review",)),
    (Column("tested_at"), ("tested_at",)),
    (Column("site"), ("site",)),
    (Column("bench"), ("bench",)),
    (Column("operator_id"), ("operator_id",)),
    (Column("sample_id"), ("sample", "sample_id")),
    (Column("lot"), ("sample", "lot")),
    (Column("sampling_point"), ("sample", "point")),
    (Column("method_id"), ("method", "id")),
    (Column("method_revision", "number"), ("method", "revision")),
    (Column("aperture_um", "number"), ("aperture_um",)),
    (Column("sieve_id"), ("sieve", "id")),
    (Column("outcome"), ("outcome",)),
    (Column("charge_g", "number"), ("result", "charge_g")),
    (Column("residue_g", "number"), ("result", "residue_g")),
    (Column("raw_residue_pct", "number"), ("result", "residue_pct")),
    (Column("correction_factor", "number"), ("assessment", "corrected", "factor")),
    (Column("residue_pct", "number"), ("assessment", "residue_pct")),
    (Column("passing_pct", "number"), ("assessment", "passing_pct")),
    (Column("u_pct", "number"), ("assessment", "budget", "u_pct")),
    (Column("expanded_u_pct", "number"), ("assessment", "budget", "expanded_u_pct")),
    (Column("coverage_factor", "number"), ("assessment", "budget", "k")),
    (Column("reported_residue"), ("assessment", "residue_text")),
    (Column("reported_passing"), ("assessment", "passing_text")),
    (Column("reported_expanded_u"), ("assessment", "expanded_u_text")),
    (Column("decision"), ("assessment", "decision", "outcome")),
    (Column("decision_rule"), ("assessment", "decision", "rule")),
    (Column("probability_of_conformity", "number"), ("assessment", "decision", "probability")),
    (Column("no_decision_because"), ("assessment", "undecided")),
    (Column("residue_u_weighing_pct", "number"), ("result", "residue_u_weighing_pct")),
    (Column("residue_max_pct", "number"), ("limits", "residue_max_pct")),
    (Column("residue_min_pct", "number"), ("limits", "residue_min_pct")),
    (Column("simulated", "number"), ("simulated",)),
    (Column("reason"), ("reason",)),
    (Column("record_sha256"), ("record_sha256",)),
)


def records_csv(records: Iterable[Mapping[str, Any]]) -> str:
    """One line a record, from record bodies as JSON values. A run without a result has empty figures."""
    columns = [column for column, _ in _RECORD_COLUMNS]
    return to_csv(columns, [[_find(body, path) for _, path in _RECORD_COLUMNS] for body in records])


def _find(body: Mapping[str, Any], path: Sequence[str]) -> Cell:
    value: Any = body
    for name in path:
        value = value.get(name) if isinstance(value, Mapping) else None
    found: Cell = value
    return found
