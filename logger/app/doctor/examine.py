"""All examinations one after the other; none of them stops the next."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from logger.app.doctor import computer, instruments, records
from logger.app.doctor.bench import find_bench, methods_and_rig
from logger.app.doctor.findings import Finding
from logger.app.paths import DataFolder


async def examine(data: DataFolder, bench_path: Path, try_s: float = 4.0) -> list[Finding]:
    """Everything found. Works while the service runs: then it is asked about the ports it owns.

    `try_s` is how long each instrument is listened to when no service runs.
    """
    now = datetime.now(UTC)
    found = [
        *computer.versions(),
        *computer.clock(data, now),
        *computer.terminal(),
        *computer.data_folder(data),
    ]
    picture, about_service = await records.service(data)
    bench, about_bench = find_bench(bench_path)
    found += about_bench
    if bench is not None:
        found += methods_and_rig(bench, bench_path, now)
    if picture is not None:
        found += instruments.by_service(picture)
    elif bench is not None:
        found += [finding async for finding in instruments.by_trying(bench, try_s)]
    found += records.store(data)
    if bench is not None:
        found += [finding async for finding in records.broker(bench, bench_path)]
    return found + about_service
