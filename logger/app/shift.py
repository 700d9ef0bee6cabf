"""The start of a shift and the worklist for the command line; the same figures as the service's questions."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from logger.app.bench_files import read_methods, read_rig
from logger.app.clock import utc_now
from logger.app.paths import DataFolder
from logger.app.plan import bench_plan
from logger.app.register import enter
from logger.core.method import Method
from logger.core.refusal import ResultError
from logger.core.register.events import RegisterKind
from logger.core.rig import Rig
from logger.core.run.plan import BenchPlan
from logger.core.text import printable
from logger.core.worklist.csv_import import read_worklist_csv
from logger.core.worklist.entries import MOST_AT_ONCE
from logger.service.job_desk import JobDesk
from logger.service.queries import Handler
from logger.service.shift_queries import shift_answer, shift_queries, worklist_answer
from logger.settings import load_bench
from logger.store.shift_book import StoreShiftBook

_MARKS = {"failed": "FAILED", "due": "DUE", "done": "done", "not asked": "-"}
_EVERYTHING = 1_000_000


def job_desk(data: DataFolder, bench: BenchPlan, rig: Rig | None, methods: Mapping[str, Method]) -> JobDesk:
    """The desk over the bench's store."""
    return JobDesk(StoreShiftBook(data.store, bench.checks), bench, rig, methods)


def shift_questions(desk: JobDesk, bench: BenchPlan) -> dict[str, Handler]:
    """For the service's table."""
    return shift_queries(desk, bench, utc_now)


def _desk_of_files(data: DataFolder, bench_path: Path) -> tuple[JobDesk, BenchPlan]:
    bench = load_bench(bench_path)
    plan = bench_plan(bench)
    return job_desk(data, plan, read_rig(bench, bench_path), read_methods(bench, bench_path)), plan


def list_shift(data: DataFolder, bench_path: Path, json_out: bool) -> tuple[bool, str | dict[str, Any]]:
    """Whether nothing is due or failed, and the list. Raises ConfigError, Refused."""
    desk, plan = _desk_of_files(data, bench_path)
    answer = shift_answer(desk, plan, utc_now())
    ready = all(item["standing"] in ("done", "not asked") for item in answer["items"])
    if json_out:
        return ready, {"ready": ready, **answer}
    lines = []
    for item in answer["items"]:
        lines.append(f"{_MARKS[item['standing']]:6}  {item['title'][:24]:24}  {printable(item['text'])}")
        if item["standing"] in ("failed", "due"):
            lines.append(f"{'':34}{printable(item['how'])}")
    head = "Nothing is due." if ready else "Before the first run of this shift:"
    return ready, "\n".join([head, "", *lines])


def list_worklist(
    data: DataFolder, bench_path: Path | None, everything: bool, json_out: bool
) -> str | list[dict[str, Any]]:
    """The open items in the order in which they should be done, or all. Raises ConfigError, Refused."""
    if bench_path is None:
        raise ResultError("name the bench file (--bench): its methods say when a sample is done")
    desk, _ = _desk_of_files(data, bench_path)
    found = worklist_answer(desk, _EVERYTHING)
    items = found["items"] if everything else found["items"][: found["open"]]
    if json_out:
        return list(items)
    if not items:
        return (
            "No sample is planned."
            if found["all"] == 0
            else "No planned sample is open (--all shows the rest)."
        )
    lines = [f"{'item':>5}  {'state':9}  {'sample':20}  {'lot':12}  {'method':22}  {'due':16}  prio"]
    for item in items:
        cells = [printable(item[name]) for name in ("sample_id", "lot", "method_id")]
        lines.append(
            f"{item['item']:>5}  {item['state']:9}  {cells[0][:20]:20}  {cells[1][:12]:12}  {cells[2][:22]:22}  "
            f"{item['due'].replace('T', ' '):16}  {item['priority']:>4}"
        )
        if item["text"]:
            lines.append(f"{'':7}{printable(item['text'])}")
    return "\n".join(lines)


def import_worklist(
    data: DataFolder, bench_path: Path, file: Path, by: str, check_only: bool
) -> tuple[list[str], dict[str, Any]]:
    """Plans the samples of a file; gives lines for the person and the same as JSON values.

    Every row is read and judged before the first is kept. Raises `ResultError` with all faults of the file,
    Refused, ConfigError, StoreError.
    """
    try:
        content = file.read_bytes()
    except OSError as error:
        raise ResultError(f"{printable(str(file))} cannot be read: {error.strerror}") from error
    bench = load_bench(bench_path)
    desk, _ = _desk_of_files(data, bench_path)
    found = read_worklist_csv(
        content, file.name, desk.state().worklist, read_methods(bench, bench_path).keys()
    )
    samples = [sample.plain() for sample in found.samples]
    for first in range(0, 0 if check_only else len(samples), MOST_AT_ONCE):
        entry = {"source": file.name[:120], "samples": samples[first : first + MOST_AT_ONCE]}
        enter(data, lambda: bench_path, RegisterKind.SAMPLES_PLANNED, entry, by, "imported")
    verb = "can be planned" if check_only else "planned"
    count = len(samples)
    lines = [*found.notices, *found.duplicates, f"{count} sample{'' if count == 1 else 's'} {verb}."]
    plain = {
        "planned": 0 if check_only else count,
        "samples": samples,
        "duplicates": list(found.duplicates),
        "notices": list(found.notices),
    }
    return lines, plain


def check_withdrawal(data: DataFolder, bench_path: Path, number: int) -> None:
    """An item that is done or under way is no longer withdrawn. Raises `ResultError`."""
    desk, _ = _desk_of_files(data, bench_path)
    status = next((each for each in desk.worklist() if each.item.number == number), None)
    if status is not None and status.state in ("done", "running"):
        raise ResultError(f"item {number} is {status.state} ({status.text}): it stays as it is")
