"""Figures of several kept runs side by side, a column a run."""

from __future__ import annotations

from collections.abc import Sequence

from textual.content import Content

from logger.console.answers import dict_of, number_of, text_of
from logger.console.kept import KeptRun
from logger.console.literal import fit, pad, wrap
from logger.console.panels.ink import DIM, STRONG, TITLE, line, page
from logger.console.panels.kept_charts import LETTERS
from logger.console.words import NOTHING, duration

LABEL = 13


def compared_table(runs: Sequence[KeptRun], width: int) -> Content:
    """Letters over the columns; texts that are too long for a column are written out below."""
    room = max(8, (width - LABEL) // max(1, len(runs)) - 1)
    head = "".join(pad(f" {letter}", room + 1) for letter, _ in zip(LETTERS, runs, strict=False))
    lines = [line(((" " * LABEL + head).rstrip(), TITLE))]
    cells = [_cells(run) for run in runs]
    for name in cells[0] if cells else ():
        values = "".join(" " + pad(fit(each[name], room), room) for each in cells)
        lines.append(line((name.ljust(LABEL), DIM), values.rstrip()))
    lines += [Content(), *_spread(runs)]
    for letter, run in zip(LETTERS, runs, strict=False):
        row = run.row
        named = f"{letter}: sample {row.sample}, lot {row.lot or NOTHING}, method {row.method}, operator {row.operator}"
        lines += [line((each, DIM)) for each in wrap(f"{named}, sieve {row.sieve or 'not named'}", width)]
    return page(lines)


def _cells(run: KeptRun) -> dict[str, str]:
    record, row = run.record, run.row
    times, endpoint, assessed = (dict_of(record.get(name)) for name in ("times", "endpoint", "assessment"))
    charge_g = number_of(dict_of(record.get("result")).get("charge_g"))
    rate, residue_pct = number_of(endpoint.get("value")), number_of(assessed.get("residue_pct"))
    return {
        "run": str(row.number),
        "started": row.started[:10],
        "sample": row.sample,
        "lot": row.lot or NOTHING,
        "method": row.method,
        "revision": text_of(dict_of(record.get("method")).get("revision")) or NOTHING,
        "sieve": row.sieve or NOTHING,
        "operator": row.operator,
        "outcome": row.outcome,
        "charge g": NOTHING if charge_g is None else f"{charge_g:.3f}",
        "sieved": duration(number_of(times.get("effective_s"))),
        "decided at": duration(number_of(times.get("decision_s"))),
        "at the end": NOTHING if rate is None else f"{rate:.3g} {text_of(endpoint.get('unit'), 6)}",
        "residue %": NOTHING if residue_pct is None else text_of(assessed.get("residue_text"), 20),
        "U %": text_of(assessed.get("expanded_u_text"), 20) or NOTHING,
        "decision": row.decision,
        "deviations": str(len(record.get("deviations") or ())),
    }


def _spread(runs: Sequence[KeptRun]) -> list[Content]:
    """How far apart the residues are, of the runs that have one."""
    found = [number_of(dict_of(run.record.get("assessment")).get("residue_pct")) for run in runs]
    values = [value for value in found if value is not None]
    if len(values) < 2:
        return []
    spread = max(values) - min(values)
    words = f"residues {min(values):.3f} to {max(values):.3f} %, {spread:.3f} % of the charge apart"
    return [line((words, STRONG)), Content()]
