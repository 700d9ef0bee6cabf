"""The result of a sample from its determinations, for a person or a program."""

from __future__ import annotations

from typing import Any

from logger.app.assessment_lines import assessment_lines
from logger.app.kept_runs import kept_run
from logger.app.paths import DataFolder
from logger.core.joining import Joined, KeptRun, join
from logger.core.record_assessment import kept
from logger.core.run.plan import plain_json
from logger.core.text import printable
from logger.store.errors import StoreError
from logger.store.history import reading
from logger.store.samples import runs_of_sample


def sample_results(
    data: DataFolder, sample_id: str, lot: str | None, slope_pct_per_um: float | None, json_out: bool
) -> str | list[dict[str, Any]]:
    """One result for each method, aperture and sieve of the sample. Raises StoreError."""
    with reading(data.store) as connection:
        runs = [kept_run(connection, run_id) for run_id in runs_of_sample(connection, sample_id, lot)]
    if not runs:
        of_lot = "" if lot is None else f" of lot {lot}"
        raise StoreError(f"There is no run of sample {sample_id}{of_lot}; `lastgrain runs list` shows them.")
    results = join(runs, slope_pct_per_um)
    if json_out:
        return [_plain(joined) for joined in results]
    return "\n\n".join("\n".join(_lines(joined)) for joined in results)


def _plain(joined: Joined) -> dict[str, Any]:
    return {
        **plain_json(joined.belongs),
        "determinations": [_run(run) for run in joined.runs],
        "left_out": [plain_json(run) for run in joined.left_out],
        "status": "incomplete" if joined.verdict is None else joined.verdict.status,
        "verdict": None if joined.verdict is None else plain_json(joined.verdict),
        "next": joined.text,
        "problem": joined.problem,
        "assessment": None if joined.assessment is None else plain_json(kept(joined.assessment)),
    }


def _run(run: KeptRun) -> dict[str, Any]:
    found = run.found
    return {
        "run": run.number,
        "run_id": run.run_id,
        "started_at": run.started_at,
        "raw_residue_pct": None if found is None else found.residue_pct,
        "residue_u_weighing_pct": None if found is None else found.residue_u_pct,
    }


def _lines(joined: Joined) -> list[str]:
    belongs = joined.belongs
    sieve = f"sieve {printable(belongs.sieve_id)}" if belongs.sieve_id else "sieve not named"
    lines = [
        f"Sample {printable(belongs.sample_id)}, lot {printable(belongs.lot) or '-'}"
        f"{' (simulated)' if belongs.simulated else ''}",
        f"Method {belongs.method_id} revision {belongs.revision}, {belongs.aperture_um:g} µm, {sieve}",
        "",
        f"  {'run':>5}  {'started (UTC)':16}  {'raw residue %':>13}  {'u of weighing %':>15}",
    ]
    for run in joined.runs:
        if run.found is not None:
            lines.append(
                f"  {run.number:>5}  {run.started_at[:16].replace('T', ' ')}  {run.found.residue_pct:>13.3f}  "
                f"{run.found.residue_u_pct:>15.4f}"
            )
    lines += [f"  run {run.number} does not count: {printable(run.reason)}" for run in joined.left_out]
    final = joined.verdict is not None and joined.verdict.status == "final"
    lines += ["", f"{'Agreement' if final else 'Next     '}  {joined.text}"]
    if joined.problem:
        lines.append(f"No result  {joined.problem}")
    if joined.assessment is not None:
        lines += assessment_lines(kept(joined.assessment))
    return lines
