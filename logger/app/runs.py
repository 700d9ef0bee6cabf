"""Reading the history for a person or a program."""

from __future__ import annotations

import re
from dataclasses import asdict
from pathlib import Path
from typing import Any

from logger.app.assessment_lines import assessment_lines
from logger.app.condition_lines import condition_lines
from logger.app.paths import DataFolder
from logger.app.progress import progress
from logger.core.record import ChainHead
from logger.core.record_assessment import read_assessment
from logger.core.record_code import record_code
from logger.core.review import review_lines, review_text
from logger.core.run.words import event_text
from logger.core.run_list import OPEN, RunFilter, RunLine
from logger.core.text import printable
from logger.report.wording import decimals_of
from logger.settings import ConfigError
from logger.store import history
from logger.store.batches import head as newest_batch
from logger.store.bundle import check_bundle, read_bundle
from logger.store.head_file import read_head_file
from logger.store.history_reader import list_page
from logger.store.verify import Finding, verify
from logger.store.verify_run import verify_run


def list_runs(
    data: DataFolder, wanted: RunFilter, limit: int, before: int | None, json_out: bool
) -> str | list[dict[str, Any]]:
    """Newest runs first, as lines or as JSON values. Raises StoreError."""
    found = list_page(data.store, wanted, limit, before)
    if json_out:
        return [asdict(line) for line in found.runs]
    head = f"{'No':>5}  {'started (UTC)':19}  {'sample':16}  {'method':22}  {'outcome':11}  {'residue':>8}  decision"
    lines = [head, *(_row(line) for line in found.runs)]
    if found.cursor is not None:
        lines.append(f"There are more: --limit, or --before {found.cursor} for the next page.")
    elif not found.runs and wanted != RunFilter():
        lines.append("No run fits. Words are found by their beginnings; take a filter away.")
    return "\n".join(lines)


def _row(line: RunLine) -> str:
    residue = "" if line.residue_pct is None else f"{line.residue_pct:.2f} %"
    started = line.started_at[:19].replace("T", " ")
    reviewed = f" ({line.review})" if line.review not in ("", "unreviewed") else ""
    return (
        f"{line.number:>5}  {started:19}  {printable(line.sample_id)[:16]:16}  {line.method_id[:22]:22}  "
        f"{line.outcome or OPEN:11}  {residue:>8}  {line.decision or '-'}{reviewed}"
    )


def show_run(data: DataFolder, which: str, json_out: bool) -> str | dict[str, Any]:
    """One run. Raises StoreError when there is none, or several, of that name."""
    with history.reading(data.store) as connection:
        row = history.find_run(connection, which)
        body = history.record_body(connection, row.run_id)
        events = history.run_events(connection, row.run_id)
    if json_out:
        return {
            "run": asdict(row),
            "record": body,
            "events": [{"kind": e.kind.value, "utc": e.utc, "data": e.data} for e in events],
        }
    lines = [
        f"Run {row.number}  {row.run_id}",
        *(record_lines(body) if body else ["The run has no record yet."]),
    ]
    lines += ["", "Events"]
    lines += [f"  {event.utc[11:19]}  {printable(event_text(event.kind, event.data))}" for event in events]
    return "\n".join(lines)


def record_lines(body: dict[str, Any]) -> list[str]:
    """A record for a person; masses with the digits of the balance's display."""
    sample, method, result = body["sample"], body["method"], body["result"]
    places = decimals_of((body.get("displays") or {}).get("mass_digit_g"))
    lines = [
        f"Sample     {printable(sample['sample_id'])}   lot {printable(sample['lot']) or '-'}   "
        f"point {printable(sample['point']) or '-'}",
        f"Operator   {printable(body['operator_id'])}",
        f"Method     {method['id']} revision {method['revision']}: {method['title']}",
        f"Outcome    {body['outcome']}   review: {printable(review_text(body))}",
        f"Reason     {printable(body['reason'])}",
    ]
    lines += [f"Sieve      {_sieve_words(body)}"]
    if result is not None:
        lines += [
            f"Weighed    residue {result['residue_g']:.{places}f} g of {result['charge_g']:.{places}f} g: "
            f"{result['residue_pct']:.3f} %, standard uncertainty of weighing "
            f"{result['residue_u_weighing_pct']:.3f} %"
        ]
        lines += [f"Note       {printable(text)}" for text in result["warnings"]]
    lines += [
        f"Equipment  {entry['what']} ({entry['standing']}): {printable(entry['text'])}"
        for entry in body.get("fitness", ())
    ]
    lines += condition_lines(body)
    lines += [f"Deviation  {printable(entry['text'])}" for entry in body["deviations"]]
    lines += [f"Review     {printable(text)}" for text in review_lines(body)]
    assessed = read_assessment(body.get("assessment"))
    if assessed is not None:
        lines += ["", *assessment_lines(assessed, body["outcome"])]
    if body["weighings"]:
        lines += ["", "  effective s    load g    load %"]
    lines += [
        f"  {w['effective_s']:11.1f}  {w['load_g']:8.{places}f}  {w['load_pct']:8.3f}"
        for w in body["weighings"]
    ]
    lines.append(f"Code       {record_code(body['record_sha256'])}")
    lines.append(f"Head       {body['journal']['head_batch']}:{body['journal']['head_sha256']}")
    return lines


def _sieve_words(body: dict[str, Any]) -> str:
    sieve, aperture = body.get("sieve"), f"{body['aperture_um']:g} µm"
    if sieve is None:
        return f"{aperture}, not named"
    if not sieve["registered"]:
        return f"{aperture}, {printable(sieve['id'])} (not in the register)"
    return f"{aperture}, {sieve['id']} by {sieve['standard']}, {sieve['runs_before']} runs before this one"


def verify_store(data: DataFolder, head: str | None, register: str | None = None) -> list[Finding]:
    """Verdicts on the whole store; `head` and `register` were kept elsewhere.

    Raises StoreError, and ConfigError for a head that is none.
    """
    outside = None if head is None else _head(head)
    if register is not None:
        _head(register, "--register", "NUMBER:SHA256, as `runs verify` prints it")
    noted = read_head_file(data.store)
    with history.reading(data.store) as connection, progress("Verifying batches") as bar:
        last = newest_batch(connection).batch
        return verify(
            connection,
            outside,
            None if noted is None else noted.head,
            lambda batch: bar.reach(batch, last),
            register or "",
        )


def verify_one(data: DataFolder, which: str, head: str | None) -> list[Finding]:
    """Verdicts on one run and the places in the chain that it hangs between. Raises as `verify_store` does."""
    outside = None if head is None else _head(head)
    with history.reading(data.store) as connection:
        row = history.find_run(connection, which)
        return verify_run(connection, row.run_id, row.number, outside)


def verify_bundle(path: Path, head: str | None) -> list[Finding]:
    """Verdicts on an exported run. Raises StoreError for what is no bundle, ConfigError for what is no head."""
    return check_bundle(read_bundle(path), None if head is None else _head(head))


def _head(
    text: str, option: str = "--head", form: str = "BATCH:SHA256, as `runs show` prints it"
) -> ChainHead:
    batch, _, sha256 = text.partition(":")
    if re.fullmatch("[0-9]{1,15}", batch) is None or re.fullmatch("[0-9a-f]{64}", sha256) is None:
        raise ConfigError(option, f"{text!r} is no head; it is written {form}")
    return ChainHead(int(batch), sha256)
